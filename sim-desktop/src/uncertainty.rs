//! How sure a torque reading is: the expanded uncertainty of a tool, and whether a value lies within it of a limit.
//!
//! One function for the sheet, the record, the desk and the windows of a guarded plan. In whole mN·m, so that the same plan comes to the
//! same limits everywhere. Knows nothing of verdicts: a remark changes none.

use evendraw_core::audit::added;
use evendraw_core::procedure::StageKind;
use evendraw_core::record::{Attempt, Entry};
use evendraw_core::unit::Torque;
use serde_json::{Value, json};

use crate::job::status::InHand;
use crate::plan::{JointPlan, Plan, Tool};
use crate::quantity::newton_meters;

/// Expanded uncertainty, k = 2, of a torque read with a tool of this accuracy, a share of the reading in parts per million, and this
/// step; none where the accuracy is not stated. A step that is not stated counts for nothing: it is part of a stated accuracy.
///
/// A stated accuracy is a limit of error, so rectangular: u = a/√3 [GUM 4.3.7]. A value read to a step d is rectangular over ±d/2:
/// u = d/√12 = 0.29 d [GUM F.2.2.1]. Together the root of the sum of squares [GUM 5.1.2], times two [GUM 6.2.1; ISO 14253-1]. So
/// U = √((4a² + d²)/3), rounded up to the next mN·m.
#[must_use]
pub fn expanded(torque: Torque, accuracy_ppm: Option<i64>, step: Option<Torque>) -> Option<Torque> {
    let size = u128::from(torque.millinewton_meters().unsigned_abs());
    let ppm = u128::from(u64::try_from(accuracy_ppm?).unwrap_or(0).min(10_000_000));
    // Both in millionths of mN·m: at most 10^9 · 10^7, whose square fits by far.
    let accuracy = size * ppm;
    let step = step.map_or(0, |step| {
        u128::from(step.millinewton_meters().unsigned_abs()) * 1_000_000
    });
    let square = (4 * accuracy * accuracy + step * step).div_ceil(3);
    let root = square.isqrt();
    let root = root + u128::from(root * root < square);
    let millis = root.div_ceil(1_000_000);
    Some(Torque::from_millinewton_meters(
        i32::try_from(millis).unwrap_or(i32::MAX),
    ))
}

impl Tool {
    /// Expanded uncertainty, k = 2, of a torque read with it; none where its accuracy is not stated.
    #[must_use]
    pub fn uncertainty(&self, torque: Torque) -> Option<Torque> {
        expanded(torque, self.accuracy_ppm, self.step)
    }
}

/// The uncertainty of a judged torque.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Judged {
    /// Expanded, of the torque that was judged; none where no tool was named or its accuracy is not stated.
    pub uncertainty: Option<Torque>,
    /// The printed limit that the value lies within its uncertainty of.
    pub near: Option<Torque>,
}

/// Of an attempt at a stage with a torque window; none at others. `tool` is the one in use, if it is known and in the plan.
#[must_use]
pub fn judged(plan: &JointPlan, tool: Option<&Tool>, attempt: &Attempt) -> Option<Judged> {
    let window = plan
        .printed_window(attempt.step)?
        .raised(added(&plan.procedure, attempt));
    let kind = plan.procedure.stage_of(attempt.step)?.kind;
    // As the verdict takes them: the peak against the upper limit, and against the lower one what stood at the end of a turn.
    let low = match kind {
        StageKind::Turn { .. } => attempt.final_torque,
        _ => attempt.peak,
    };
    let near = |value: Torque, limit: Torque, is_limit: bool| {
        let uncertainty = tool.and_then(|tool| tool.uncertainty(limit))?;
        (is_limit && (value - limit).abs() <= uncertainty).then_some(limit)
    };
    Some(Judged {
        uncertainty: tool.and_then(|tool| tool.uncertainty(attempt.peak)),
        near: near(low, window.min, window.min > Torque::ZERO)
            .or_else(|| near(attempt.peak, window.max, window.max < Torque::MAX)),
    })
}

/// As [`judged`], with the tool that the joint's records name before this one.
#[must_use]
pub fn judged_in<'e>(
    plan: &Plan,
    joint: &JointPlan,
    entries: impl Iterator<Item = &'e Entry>,
    (seq, attempt): (u32, &Attempt),
) -> Option<Judged> {
    let mut hand = InHand::default();
    for entry in entries.take_while(|entry| entry.seq != seq) {
        hand.take(&entry.record, |id| plan.tool(id));
    }
    judged(joint, hand.tool().copied(), attempt)
}

impl Judged {
    /// For people: `±0.47 N·m`, and the limit where the value is near it; `torque` says how one is read.
    #[must_use]
    pub fn words(&self, torque: impl Fn(Torque) -> String) -> String {
        let uncertainty = self.uncertainty.map_or_else(
            || "uncertainty unknown".to_owned(),
            |uncertainty| format!("±{}", torque(uncertainty)),
        );
        match self.remark(torque) {
            Some(remark) => format!("{uncertainty}, {remark}"),
            None => uncertainty,
        }
    }

    /// The remark alone, where there is one.
    #[must_use]
    pub fn remark(&self, torque: impl Fn(Torque) -> String) -> Option<String> {
        let limit = torque(self.near?);
        Some(format!("within the uncertainty of the limit {limit}"))
    }

    /// For scripts: adds the keys to an attempt.
    pub fn add_to(&self, object: &mut Value) {
        object["uncertainty_Nm"] = json!(self.uncertainty.map(newton_meters));
        object["near_limit_Nm"] = json!(self.near.map(newton_meters));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words;

    const fn torque(value: i32) -> Torque {
        Torque::from_millinewton_meters(value)
    }

    /// A hand-held meter at 100 V: limits of error of the reference ±0.011 V, read to 0.1 V; combined 0.030 V. [EA-4/02 example S9, from
    /// memory] Its k is 1.65, as one rectangle rules; ours is 2 by ISO 14253-1.
    #[test]
    fn limits_of_error_and_a_step_combine_as_in_the_worked_example() {
        let own = expanded(torque(100_000), Some(110), Some(torque(100)));
        assert_eq!(own, Some(torque(60)));
    }

    /// By hand: 1 % of 40 N·m is ±0.4, u 0.23094; a step of 0.1 N·m, u 0.028868; together 0.232737, twice that 0.465475.
    #[test]
    fn one_percent_and_a_tenth_at_forty() {
        assert_eq!(
            expanded(torque(40_000), Some(10_000), Some(torque(100))),
            Some(torque(466))
        );
        // 2 · 0.4/√3 = 0.46188, and 0.29 · 2 of a step of 1 N·m. [GUM F.2.2.1]
        assert_eq!(
            expanded(torque(40_000), Some(10_000), None),
            Some(torque(462))
        );
        assert_eq!(
            expanded(torque(0), Some(10_000), Some(torque(1_000))),
            Some(torque(578))
        );
    }

    #[test]
    fn what_is_not_stated_is_unknown_and_never_zero() {
        assert_eq!(expanded(torque(40_000), None, Some(torque(100))), None);
        let unknown = Judged {
            uncertainty: None,
            near: None,
        };
        assert_eq!(unknown.words(words::torque), "uncertainty unknown");
        let mut object = json!({});
        unknown.add_to(&mut object);
        assert!(object["uncertainty_Nm"].is_null() && object["near_limit_Nm"].is_null());
    }

    #[test]
    fn the_ends_of_the_range_have_an_answer() {
        let most = Some(torque(i32::MAX));
        assert!(expanded(Torque::MAX, Some(i64::MAX), most).is_some());
        assert_eq!(expanded(Torque::MAX, Some(-1), None), Some(Torque::ZERO));
    }

    /// 38.41 against 38.40 with a tool of 1 %, and 39.50 well inside.
    #[test]
    fn a_value_just_inside_is_remarked() {
        let text = "[[tool]]\nid = \"A1\"\nkind = \"adapter\"\ncapacity = \"200 N·m\"\naccuracy = \"1 %\"\nstep = \"0.1 N·m\"\n\
            [[joint]]\nid = \"j\"\npositions = { 1 = [0, 0] }\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"40 N·m\"\n";
        let plan =
            Plan::parse("p.toml", text).unwrap_or_else(|errors| panic!("{}", errors.report(false)));
        let own = plan.joints()[0].first_plan();
        let at = |peak: i32, tool| {
            let attempt = Attempt {
                step: 0,
                fastener: 0,
                stage: 0,
                attempt: 1,
                pulls: 1,
                verdict: evendraw_core::verdict::Verdict::Accepted,
                reasons: evendraw_core::verdict::Reasons::NONE,
                peak: torque(peak),
                final_torque: torque(peak),
                angle: None,
                prevailing: evendraw_core::record::Added::Nothing,
                restart: None,
                trace: 0,
                took_ms: 0,
            };
            judged(own, tool, &attempt).expect("a torque window")
        };
        let tool = plan.tool("A1");
        assert_eq!(
            at(38_410, tool).words(words::torque),
            "±0.45 N·m, within the uncertainty of the limit 38.40 N·m"
        );
        assert_eq!(at(38_000, tool).near, Some(torque(38_400)));
        assert_eq!(at(39_500, tool).words(words::torque), "±0.46 N·m");
        assert_eq!(at(41_700, tool).near, Some(torque(41_600)));
        assert_eq!(at(38_410, None).words(words::torque), "uncertainty unknown");
    }
}
