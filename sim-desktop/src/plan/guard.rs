//! How limits are decided by, and windows drawn in by the uncertainty of the tool.
//!
//! The windows are drawn in when the plan is compiled, not when a tool is named: so desk and adapter judge by the same limits, the
//! digest of the procedure in every journal vouches for them, and an audit comes to the same. Knows nothing of how an uncertainty comes
//! about.
//!
//! # Why when the plan is compiled
//!
//! *Context:* a tool is named at the stand, and its uncertainty draws the limits in. *Choice:* at compile time, by
//! the least sure tool that a stage may be done with (`plan/guard.rs`): the adapter gets drawn windows without
//! knowing of tools, the procedure's digest covers them, and what cannot be guarded is refused before work. The
//! uncertainty itself is one function (`uncertainty.rs`). *Alternative:* when the tool is named: the same procedure
//! would judge differently, and an audit would have to know. *Would change our mind:* plans that list many tools and
//! name none at their stages.

use crate::limited::Limited as _;
use evendraw_core::procedure::{Override, OverrideAim, Prevailing, Stage, StageKind, TorqueWindow};
use evendraw_core::unit::Torque;

use super::build::Tool;
use super::diagnostic::Diagnostics;
use super::quantity::newton_meters;
use super::stage::StagePlan;
use crate::words;

/// How a value is held against a limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Decide {
    /// By the value as it was measured.
    #[default]
    Simple,
    /// By the value with its uncertainty: accepted only where it lies inside for certain, so the limits are drawn in by the
    /// expanded uncertainty. [ISO 14253-1, decision rule for proving conformance; from memory]
    Guarded,
}

impl Decide {
    /// All, the default first.
    pub const ALL: [Self; 2] = [Self::Simple, Self::Guarded];

    /// The word a plan uses.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Simple => "simple",
            Self::Guarded => "guarded",
        }
    }
}

/// What a joint must know of the plan's tools.
#[derive(Clone, Copy)]
pub(super) struct Instruments<'a> {
    pub(super) tools: &'a [Tool],
    /// Whether any tool is listed, also one that could not be read.
    pub(super) has_any: bool,
    pub(super) decide: Decide,
}

impl Instruments<'_> {
    /// Draws in every torque window. Each stage keeps its windows as printed beside it.
    pub(super) fn draw_in(
        &self,
        stages: &mut [Stage],
        overrides: &mut [Override],
        plans: &mut [StagePlan],
        to: &Diagnostics,
    ) {
        if self.decide == Decide::Simple {
            return;
        }
        for ((index, stage), plan) in (0_u8..=u8::MAX).zip(stages).zip(plans) {
            let Some((window, on_top)) = window_of(&mut stage.kind) else {
                continue;
            };
            plan.printed_windows.push((None, *window));
            self.draw_one(window, on_top, plan, to);
            for own in overrides.iter_mut().filter(|own| own.stage == index) {
                if let OverrideAim::Torque(window) = &mut own.aim {
                    plan.printed_windows.push((Some(own.fastener), *window));
                    self.draw_one(window, on_top, plan, to);
                }
            }
        }
    }

    fn draw_one(
        &self,
        window: &mut TorqueWindow,
        on_top: Torque,
        plan: &StagePlan,
        to: &Diagnostics,
    ) {
        let stage = plan.number;
        let usable = usable(self.tools, plan, window.target + on_top);
        if usable.is_empty() {
            to.error(
                &plan.place,
                format!("stage {stage} cannot be guarded: no tool of the plan reaches it"),
                "here",
                "list the tool with its accuracy, or decide = \"simple\"",
            );
            return;
        }
        let most = |limit: Torque| {
            let all = usable.iter().map(|tool| tool.uncertainty(limit + on_top));
            all.collect::<Option<Vec<Torque>>>()?.into_iter().max()
        };
        let (Some(below), Some(above)) = (most(window.min), most(window.max.min(CEILING))) else {
            let silent = usable.iter().find(|tool| tool.accuracy_ppm.is_none());
            let id = silent.map_or("", |tool| tool.id.as_str());
            to.error(
                &plan.place,
                format!(
                    "stage {stage} cannot be guarded: the accuracy of tool `{id}` is not stated"
                ),
                "here",
                "state it (accuracy = \"2 %\"), or name another tool for this stage",
            );
            return;
        };
        let drawn = drawn(*window, below, above);
        match drawn {
            Some(drawn) => *window = drawn,
            None => {
                let worst = usable
                    .iter()
                    .max_by_key(|tool| tool.uncertainty(window.max.min(CEILING) + on_top));
                to.error(
                    &plan.place,
                    format!(
                        "nothing is left of the window of stage {stage}: {} to {}, drawn in by {} below and {} above",
                        newton_meters(window.min),
                        newton_meters(window.max),
                        words::torque(below),
                        words::torque(above),
                    ),
                    "here",
                    format!(
                        "a wider window, or a tool better than {} (tool = \"…\" of this stage)",
                        worst.map_or("this", |tool| tool.id.as_str())
                    ),
                );
            }
        }
    }
}

/// No window reaches this far: a side without a limit does, and has no uncertainty either.
const CEILING: Torque = Torque::from_millinewton_meters(100_000_000);

/// The tools that a stage may be done with: those it names; else all that reach its torque.
pub(crate) fn usable<'t>(tools: &'t [Tool], plan: &StagePlan, torque: Torque) -> Vec<&'t Tool> {
    let named = tools
        .iter()
        .filter(|tool| plan.tools.contains(&tool.id))
        .collect::<Vec<_>>();
    if !plan.tools.is_empty() {
        return named;
    }
    tools.iter().filter(|tool| tool.reaches(torque)).collect()
}

/// The stage's torque window, and the running torque that comes on top as far as it is known beforehand. A hold has no window: its
/// torque is its own least.
fn window_of(kind: &mut StageKind) -> Option<(&mut TorqueWindow, Torque)> {
    match kind {
        StageKind::Tighten { window, prevailing } => {
            let on_top = match prevailing {
                Prevailing::Given(torque) => *torque,
                Prevailing::None | Prevailing::Measure => Torque::ZERO,
            };
            Some((window, on_top))
        }
        StageKind::Repeat { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. }
        | StageKind::Turn {
            torque: Some(window),
            ..
        } => Some((window, Torque::ZERO)),
        _ => None,
    }
}

/// The window with both limits moved inwards, sides without a limit left; the target stays inside. None where nothing is left.
fn drawn(window: TorqueWindow, below: Torque, above: Torque) -> Option<TorqueWindow> {
    let min = if window.min > Torque::ZERO {
        window.min + below
    } else {
        window.min
    };
    let max = if window.max < Torque::MAX {
        window.max - above
    } else {
        window.max
    };
    (min <= max).then(|| TorqueWindow {
        target: window.target.limited(min, max),
        min,
        max,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn torque(value: i32) -> Torque {
        Torque::from_millinewton_meters(value)
    }

    #[test]
    fn both_limits_move_inwards_and_the_target_with_them() {
        let window = TorqueWindow {
            target: torque(40_000),
            min: torque(40_000),
            max: torque(44_000),
        };
        let drawn_in = drawn(window, torque(466), torque(512)).expect("a window");
        assert_eq!(
            (drawn_in.min, drawn_in.max, drawn_in.target),
            (torque(40_466), torque(43_488), torque(40_466))
        );
        assert_eq!(drawn(window, torque(2_000), torque(2_001)), None);
        let open = TorqueWindow {
            target: torque(9_000),
            min: Torque::ZERO,
            max: torque(10_000),
        };
        let drawn_in = drawn(open, torque(100), torque(100)).expect("a window");
        assert_eq!((drawn_in.min, drawn_in.max), (Torque::ZERO, torque(9_900)));
        let open = TorqueWindow {
            max: Torque::MAX,
            ..window
        };
        assert_eq!(
            drawn(open, torque(100), torque(100)).map(|window| window.max),
            Some(Torque::MAX)
        );
    }

    fn plan(build: &str, tool: &str, stage: &str) -> String {
        format!(
            "[build]\ntitle = \"t\"\n{build}\n[[tool]]\nid = \"A1\"\nkind = \"adapter\"\ncapacity = \"200 N·m\"\n{tool}\n\
             [[joint]]\nid = \"j\"\npositions = {{ 1 = [0, 0], 2 = [50, 0] }}\n\
             [[joint.stage]]\ndo = \"tighten\"\ntorque = \"40 N·m\"\n{stage}\n"
        )
    }

    fn said(text: &str) -> String {
        match crate::plan::Plan::parse("p.toml", text) {
            Ok(_) => "taken".to_owned(),
            Err(errors) => errors.report(false),
        }
    }

    const GUARDED: &str = "decide = \"guarded\"";

    /// 1 % of 38.40 and 0.1 N·m: 0.448 and so 38.848; of 41.60: 0.484 and so 41.116. One fastener has a target of its own.
    #[test]
    fn a_guarded_plan_is_judged_by_drawn_in_windows() {
        let text = plan(
            GUARDED,
            "accuracy = \"1 %\"\nstep = \"0.1 N·m\"",
            "each = { 2 = \"30 N·m\" }",
        );
        let plan = crate::plan::Plan::parse("p.toml", &text)
            .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
        let own = plan.joints()[0].first_plan();
        let first = own.procedure.torque_window(0).expect("a window");
        assert_eq!((first.min, first.max), (torque(38_848), torque(41_116)));
        let printed = own.printed_window(0).expect("a window");
        assert_eq!((printed.min, printed.max), (torque(38_400), torque(41_600)));
        let second = own.procedure.torque_window(1).expect("a window");
        assert!(second.min > torque(28_800) && second.max < torque(31_200));
        assert_eq!(
            own.printed_window(1).map(|window| window.min),
            Some(torque(28_800))
        );
    }

    #[test]
    fn what_cannot_be_guarded_is_refused_with_what_would_help() {
        for (build, tool, stage, words) in [
            (GUARDED, "", "", "the accuracy of tool `A1` is not stated"),
            (
                GUARDED,
                "accuracy = \"4 %\"",
                "",
                "nothing is left of the window of stage 1",
            ),
            (
                GUARDED,
                "accuracy = \"1 %\"\nlowest = \"60 N·m\"",
                "",
                "no tool of the plan reaches it",
            ),
            ("decide = \"gaurded\"", "", "", "did you mean `guarded`?"),
        ] {
            let said = said(&plan(build, tool, stage));
            assert!(said.contains(words), "{said}");
        }
        for (build, tool) in [
            ("decide = \"simple\"", ""),
            ("", ""),
            (GUARDED, "accuracy = \"2 %\""),
        ] {
            assert_eq!(said(&plan(build, tool, "")), "taken");
        }
    }
}
