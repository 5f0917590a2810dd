//! Records as objects for scripts, rows for tables and lines for people.
//!
//! Knows nothing of files. Joints, fasteners and steps get their names from [`Names`], as records carry numbers only.

use evendraw_core::audit::torque_window;
use evendraw_core::procedure::{AngleWindow, EngineState, Procedure, TorqueWindow};
use evendraw_core::record::{
    Added, AfterPass, Attempt, Decision, Doubt, Entry, Manner, Record, Role, Seen,
};
use evendraw_core::unit::{Angle, Torque};
use serde_json::{Map, Value, json};

use crate::peers::is_of_peers;
use crate::words;

/// What the numbers in records stand for.
#[derive(Clone, Debug, Default)]
pub struct Names {
    joints: Vec<(u8, JointNames)>,
}

#[derive(Clone, Debug)]
struct JointNames {
    id: String,
    labels: Vec<String>,
    steps: Vec<(Option<u8>, u8)>,
    procedure: Box<Procedure>,
}

impl Names {
    /// No names: everything is told by number.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// With the names of one more joint.
    #[must_use]
    pub fn with(mut self, number: u8, id: &str, procedure: &Procedure) -> Self {
        let labels = procedure
            .fasteners()
            .iter()
            .map(|fastener| fastener.label.to_string())
            .collect();
        let steps = procedure
            .steps()
            .iter()
            .map(|step| (step.fastener(), step.stage()))
            .collect();
        self.joints.push((
            number,
            JointNames {
                id: id.to_owned(),
                labels,
                steps,
                procedure: Box::new(procedure.clone()),
            },
        ));
        self
    }

    fn of(&self, joint: u8) -> Option<&JointNames> {
        self.joints
            .iter()
            .find(|(number, _)| *number == joint)
            .map(|(_, names)| names)
    }

    /// The joint's id; its number where it has no name.
    #[must_use]
    pub fn joint(&self, joint: u8) -> String {
        self.of(joint)
            .map_or_else(|| format!("joint {joint}"), |names| names.id.clone())
    }

    /// The fastener's label; its index where it has none.
    #[must_use]
    pub fn fastener(&self, joint: u8, fastener: u8) -> String {
        self.of(joint)
            .and_then(|names| names.labels.get(usize::from(fastener)))
            .cloned()
            .unwrap_or_else(|| format!("index {fastener}"))
    }

    /// The fastener's label and the stage from 1 that a step stands for.
    #[must_use]
    pub fn step(&self, joint: u8, step: u16) -> (Option<String>, Option<u32>) {
        match self
            .of(joint)
            .and_then(|names| names.steps.get(usize::from(step)))
        {
            Some(&(fastener, stage)) => (
                fastener.map(|fastener| self.fastener(joint, fastener)),
                Some(u32::from(stage) + 1),
            ),
            None => (None, None),
        }
    }
}

fn newton_meters(torque: Torque) -> f64 {
    f64::from(torque.millinewton_meters()) / 1_000.0
}

fn degrees(angle: Option<Angle>) -> Value {
    angle.map_or(Value::Null, |angle| {
        json!(f64::from(angle.millidegrees()) / 1_000.0)
    })
}

const fn added_word(added: Added) -> Option<&'static str> {
    match added {
        Added::Nothing => None,
        Added::Unknown => Some("unknown"),
        Added::Given(_) => Some("given"),
        Added::Measured(_) => Some("measured"),
        Added::Typed(_) => Some("typed"),
    }
}

/// Low and high; null for a side that is open.
fn torque_limits(window: &TorqueWindow) -> Value {
    let low = (window.min > Torque::ZERO).then(|| newton_meters(window.min));
    let high = (window.max < Torque::MAX).then(|| newton_meters(window.max));
    json!([low, high])
}

/// A judged attempt, with the keys that scripts rely on: the window is the one it was held against, running torque put in.
#[must_use]
pub fn attempt_object(names: &Names, joint: u8, attempt: &Attempt) -> Value {
    let reasons: Vec<&str> = attempt.reasons.iter().map(|reason| reason.word()).collect();
    let mut object = json!({
        "record": "attempt",
        "joint": names.joint(joint),
        "fastener": names.fastener(joint, attempt.fastener),
        "stage": u32::from(attempt.stage) + 1,
        "attempt": attempt.attempt,
        "pulls": attempt.pulls,
        "peak_torque_Nm": newton_meters(attempt.peak),
        "final_torque_Nm": newton_meters(attempt.settled),
        "angle_deg": degrees(attempt.angle),
        "verdict": words::verdict(attempt.verdict),
        "reasons": reasons,
        "evidence": "measured",
        "prevailing_Nm": attempt.prevailing.torque().map(newton_meters),
    });
    if let Some(procedure) = names.of(joint).map(|names| &names.procedure) {
        let (key, limits) = match procedure.angle_window(attempt.step) {
            Some(AngleWindow { min, max, .. }) => {
                let high = (max < Angle::MAX).then_some(max);
                ("window_deg", json!([degrees(Some(min)), degrees(high)]))
            }
            None => {
                let window = torque_window(procedure, attempt);
                (
                    "window_Nm",
                    window.as_ref().map_or(Value::Null, torque_limits),
                )
            }
        };
        object[key] = limits;
    }
    object
}

/// Any record as an object: its kind, its own fields, then `seq`, `boot` and `at_s`, where it stands in the order of things.
#[must_use]
pub fn object(names: &Names, entry: &Entry) -> Value {
    let joint = entry.joint;
    let mut own = match fields(names, entry) {
        Value::Object(own) => own,
        _ => Map::new(),
    };
    own.entry("joint")
        .or_insert_with(|| json!(names.joint(joint)));
    own.insert("seq".into(), json!(entry.seq));
    own.insert("boot".into(), json!(entry.boot));
    #[expect(
        clippy::cast_precision_loss,
        reason = "µs of a century fit the 53 bits of a float"
    )]
    own.insert("at_s".into(), json!(entry.at.micros() as f64 / 1e6));
    Value::Object(own)
}

fn fields(names: &Names, entry: &Entry) -> Value {
    let joint = entry.joint;
    let on = |kind: &str, step: u16| {
        let (fastener, stage) = names.step(joint, step);
        json!({ "record": kind, "joint": names.joint(joint), "fastener": fastener, "stage": stage })
    };
    let with = |mut object: Value, more: Value| {
        if let (Value::Object(object), Value::Object(more)) = (&mut object, more) {
            object.extend(more);
        }
        object
    };
    let fastener = |fastener: u8| names.fastener(joint, fastener);
    match &entry.record {
        Record::Started(started) => json!({
            "record": "started", "rules": started.rules, "procedure": format!("{:08x}", started.procedure),
            "rehearsal": started.rehearsal,
        }),
        Record::Begun(begun) => on("begun", begun.step),
        Record::Attempt(attempt) => with(
            attempt_object(names, joint, attempt),
            json!({
                "prevailing": added_word(attempt.prevailing),
                "restart_torque_Nm": attempt.restart.map(newton_meters),
                "trace": (attempt.trace != 0).then(|| format!("{:08x}", attempt.trace)),
                "took_s": f64::from(attempt.took_ms) / 1_000.0,
            }),
        ),
        Record::Done(done) => with(
            on("done", done.step),
            json!({ "manner": match done.manner { Manner::Hand => "by hand", Manner::Paper => "from paper, unmeasured" } }),
        ),
        Record::Answered(answered) => with(
            on("answered", answered.step),
            json!({ "yes": answered.yes, "note": answered.note.as_str() }),
        ),
        Record::Measured(measured) => with(
            on("measured", measured.step),
            json!({
                "length_mm": f64::from(measured.length.micrometers()) / 1_000.0, "verdict": words::verdict(measured.verdict),
            }),
        ),
        Record::Waited(waited) => with(
            on("waited", waited.step),
            json!({ "seconds": waited.seconds, "verdict": words::verdict(waited.verdict) }),
        ),
        Record::Person(person) => json!({
            "record": "person", "name": person.name.as_str(), "role": role(person.role),
        }),
        Record::Tool(tool) => {
            json!({ "record": "tool", "id": tool.id.as_str(), "waiver": tool.waiver.as_str() })
        }
        Record::Condition(condition) => json!({
            "record": "condition", "found": condition.found.as_str(), "matches": condition.matches,
        }),
        Record::Anchor(anchor) => json!({ "record": "anchor", "unix_s": anchor.unix_seconds }),
        Record::Zero(zero) => json!({
            "record": "zero", "taken": zero.taken, "offset_Nm": newton_meters(zero.offset),
        }),
        Record::Loosened(loosened) => json!({
            "record": "loosened", "joint": names.joint(joint), "fastener": fastener(loosened.fastener),
            "elsewhere": loosened.elsewhere, "cause": loosened.cause.as_str(),
        }),
        Record::Fitted(fitted) => json!({
            "record": "fitted", "joint": names.joint(joint), "fastener": fastener(fitted.fastener),
        }),
        Record::Skipped(skipped) => with(
            on("skipped", skipped.step),
            json!({ "reason": skipped.reason.as_str() }),
        ),
        Record::Noted(noted) => json!({
            "record": "noted", "joint": names.joint(joint), "fastener": noted.fastener.map(fastener),
            "doubt": match noted.doubt { Doubt::None => Value::Null, Doubt::Raised => json!("raised"), Doubt::Settled => json!("settled") },
            "text": noted.text.as_str(),
        }),
        Record::Decided(decided) => with(
            on("decided", decided.step),
            json!({ "decision": decision(decided.decision), "note": decided.note.as_str() }),
        ),
        Record::Marked(marked) => json!({
            "record": "marked", "joint": names.joint(joint), "fastener": fastener(marked.fastener),
        }),
        Record::Rechecked(rechecked) => with(
            on("rechecked", rechecked.step),
            json!({
                "peak_torque_Nm": newton_meters(rechecked.peak), "moved_deg": degrees(rechecked.moved),
                "verdict": words::verdict(rechecked.verdict),
            }),
        ),
        Record::Pass(pass) => json!({
            "record": "pass", "joint": names.joint(joint), "stage": u32::from(pass.stage) + 1, "pass": pass.pass,
            "moved": pass.moved, "next": after_pass(pass.next),
        }),
        Record::Moment(moment) => json!({ "record": "moment", "moment": moment.moment }),
        Record::Due(due) => json!({
            "record": "due", "joint": names.joint(joint), "stage": u32::from(due.stage) + 1, "state": engine(due.state),
        }),
        Record::Apart(apart) => json!({ "record": "apart", "note": apart.note.as_str() }),
        Record::Running(running) => json!({
            "record": "running", "joint": names.joint(joint), "fastener": fastener(running.fastener),
            "prevailing_Nm": newton_meters(running.torque),
            "seen": match running.seen { Seen::Measured => "measured", Seen::Typed => "typed" },
        }),
        Record::Recovered(recovered) => json!({
            "record": "recovered", "dropped_bytes": recovered.dropped, "quarantined_bytes": recovered.quarantined,
        }),
    }
}

/// The columns of the table, in their order.
pub const CSV_HEADER: &str = "record,joint,fastener,stage,attempt,pulls,peak_torque_Nm,final_torque_Nm,angle_deg,verdict,\
    reasons,words,seq,boot,at_s,prevailing_Nm,prevailing";

/// Any record as a row of the table; what a kind has no value for stays empty.
#[must_use]
pub fn csv_row(names: &Names, entry: &Entry) -> String {
    let object = object(names, entry);
    let plain = |key: &str| match object.get(key) {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(text)) => text.clone(),
        Some(Value::Array(list)) => list
            .iter()
            .filter_map(Value::as_str)
            .collect::<Vec<_>>()
            .join(" "),
        Some(other) => other.to_string(),
    };
    let cells = CSV_HEADER.split(',').map(|column| match column.trim() {
        "words" => quoted(&line(names, entry)),
        column => quoted(&plain(column)),
    });
    cells.collect::<Vec<_>>().join(",")
}

fn quoted(text: &str) -> String {
    // A cell that a table program would take for a formula is kept a text.
    let is_number = text.parse::<f64>().is_ok();
    let text = if !is_number && text.starts_with(['=', '+', '-', '@']) {
        format!("'{text}")
    } else {
        text.to_owned()
    };
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

/// Any record as a line for people, without its joint, number and time.
#[must_use]
pub fn line(names: &Names, entry: &Entry) -> String {
    let joint = entry.joint;
    let at = |step: u16| match names.step(joint, step) {
        (Some(fastener), Some(stage)) => format!("fastener {fastener}, stage {stage}"),
        (None, Some(stage)) => format!("stage {stage}"),
        _ => format!("step {step}"),
    };
    let behind = |text: &str| {
        if text.is_empty() {
            String::new()
        } else {
            format!(" ({text})")
        }
    };
    let fastener = |index: u8| format!("fastener {}", names.fastener(joint, index));
    match &entry.record {
        Record::Started(started) => format!(
            "started{}, rules {}, procedure {:08x}",
            if started.rehearsal {
                " as a REHEARSAL"
            } else {
                ""
            },
            started.rules,
            started.procedure
        ),
        Record::Begun(begun) => format!("{}: first load", at(begun.step)),
        Record::Attempt(attempt) => attempt_line(names, joint, attempt),
        Record::Done(done) => match done.manner {
            Manner::Hand => format!("{}: done by hand", at(done.step)),
            Manner::Paper => format!("{}: ticked on paper, unmeasured", at(done.step)),
        },
        Record::Answered(answered) => format!(
            "{}: answered {}{}",
            at(answered.step),
            if answered.yes { "yes" } else { "NO" },
            behind(answered.note.as_str())
        ),
        Record::Measured(measured) => format!(
            "{}: measured {}, {}",
            at(measured.step),
            words::length(measured.length),
            words::verdict(measured.verdict)
        ),
        Record::Waited(waited) => format!(
            "{}: waited {}, {}",
            at(waited.step),
            words::seconds(u64::from(waited.seconds)),
            words::verdict(waited.verdict)
        ),
        Record::Person(person) => format!("{}: {}", role(person.role), person.name),
        Record::Tool(tool) => format!("tool {}{}", tool.id, behind(tool.waiver.as_str())),
        Record::Condition(condition) => format!(
            "on the threads: {}, {}",
            condition.found,
            if condition.matches {
                "as the plan assumes"
            } else {
                "NOT as the plan assumes"
            }
        ),
        Record::Anchor(anchor) => {
            format!("wall time {}", words::wall_time(Some(anchor.unix_seconds)))
        }
        Record::Zero(zero) => {
            let word = if zero.taken {
                "zero taken"
            } else {
                "zero REFUSED"
            };
            format!(
                "{word}, {} from the factory zero",
                words::torque(zero.offset)
            )
        }
        Record::Loosened(loosened) => format!(
            "{} loosened{}{}",
            fastener(loosened.fastener),
            if loosened.elsewhere {
                " by work on another joint"
            } else {
                ""
            },
            behind(loosened.cause.as_str())
        ),
        Record::Fitted(fitted) => format!("{}: new one fitted", fastener(fitted.fastener)),
        Record::Skipped(skipped) => format!("{} LEFT OUT: {}", at(skipped.step), skipped.reason),
        Record::Noted(noted) => {
            let whom = noted
                .fastener
                .map_or_else(|| "the joint".to_owned(), fastener);
            let word = match noted.doubt {
                Doubt::None => "note",
                Doubt::Raised if is_of_peers(noted) => "UNLIKE ITS PEERS",
                Doubt::Raised => "FELT WRONG",
                Doubt::Settled => "looked at and found good",
            };
            format!("{whom}: {word}{}", behind(noted.text.as_str()))
        }
        Record::Decided(decided) => format!(
            "{}: decided: {}{}",
            at(decided.step),
            decision(decided.decision),
            behind(decided.note.as_str())
        ),
        Record::Marked(marked) => format!("{} marked as final", fastener(marked.fastener)),
        Record::Rechecked(rechecked) => format!(
            "{}: checked again at {}, moved {}, {}",
            at(rechecked.step),
            words::torque(rechecked.peak),
            rechecked
                .moved
                .map_or_else(|| "unknown".to_owned(), words::angle),
            words::verdict(rechecked.verdict)
        ),
        Record::Pass(pass) => format!(
            "stage {}, pass {}: {} moved; {}",
            u32::from(pass.stage) + 1,
            pass.pass,
            pass.moved,
            after_pass(pass.next)
        ),
        Record::Moment(moment) => format!("moment {} came", u32::from(moment.moment) + 1),
        Record::Due(due) => format!(
            "stage {} became due, engine {}",
            u32::from(due.stage) + 1,
            engine(due.state)
        ),
        Record::Running(running) => format!(
            "{}: running torque {}, {}",
            fastener(running.fastener),
            words::torque(running.torque),
            words::seen(running.seen)
        ),
        Record::Apart(apart) => format!("mock-up taken apart{}", behind(apart.note.as_str())),
        Record::Recovered(recovered) => format!(
            "RECOVERED: {} bytes of a torn record dropped, {} damaged bytes set aside",
            recovered.dropped, recovered.quarantined
        ),
    }
}

/// A judged attempt as a line for people.
#[must_use]
pub fn attempt_line(names: &Names, joint: u8, attempt: &Attempt) -> String {
    let mut line = format!(
        "fastener {}, stage {}",
        names.fastener(joint, attempt.fastener),
        u32::from(attempt.stage) + 1
    );
    if attempt.attempt > 1 {
        line.push_str(&format!(", attempt {}", attempt.attempt));
    }
    line.push_str(&format!(": {}", words::torque(attempt.settled)));
    // The peak is read less its noise, so of a flat end it may come out a hair below.
    let peak = words::torque_number(attempt.peak);
    if attempt.peak > attempt.settled && peak != words::torque_number(attempt.settled) {
        line.push_str(&format!(" (peak {peak})"));
    }
    if let Some(angle) = attempt.angle {
        line.push_str(&format!(", {}", words::angle(angle)));
    }
    if attempt.pulls > 1 {
        line.push_str(&format!(", {} pulls", attempt.pulls));
    }
    if let Some(added) = words::added(attempt.prevailing) {
        line.push_str(&format!(", {added}"));
    }
    line.push_str(&format!(", {}", words::verdict(attempt.verdict)));
    let reasons = words::reasons(attempt.reasons);
    if !reasons.is_empty() {
        line.push_str(&format!(": {reasons}"));
    }
    line
}

/// A decision in words.
#[must_use]
pub fn decision(decision: Decision) -> String {
    match decision {
        Decision::Again => "pull again".to_owned(),
        Decision::Restart(stage) => {
            format!("loosen fully and restart at stage {}", u32::from(stage) + 1)
        }
        Decision::Replace => "replace the fastener".to_owned(),
        Decision::Observed => "seen by its mark, not measured".to_owned(),
        Decision::Waive => "left as it is".to_owned(),
    }
}

const fn role(role: Role) -> &'static str {
    match role {
        Role::Operator => "operator",
        Role::Witness => "witness",
    }
}

const fn after_pass(next: AfterPass) -> &'static str {
    match next {
        AfterPass::Converged => "nothing moves any more",
        AfterPass::Again => "once more",
        AfterPass::NotConverged => "NOT CONVERGED at the most passes allowed",
    }
}

const fn engine(state: EngineState) -> &'static str {
    match state {
        EngineState::Cold => "cold",
        EngineState::Hot => "hot",
        EngineState::Any => "hot or cold",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evendraw_core::record::{Noted, Tool};
    use evendraw_core::text::Text;
    use evendraw_core::unit::Instant;
    use evendraw_core::verdict::{Reason, Reasons, Verdict};

    fn entry(record: impl Into<Record>) -> Entry {
        Entry {
            joint: 0,
            seq: 3,
            boot: 1,
            at: Instant::from_micros(2_500_000),
            record: record.into(),
        }
    }

    fn attempt() -> Attempt {
        Attempt {
            step: 0,
            fastener: 2,
            stage: 1,
            attempt: 1,
            pulls: 2,
            verdict: Verdict::Rejected,
            reasons: Reasons::NONE.with(Reason::AngleHigh),
            peak: Torque::from_millinewton_meters(64_125),
            settled: Torque::from_millinewton_meters(63_900),
            angle: Some(Angle::from_millidegrees(97_000)),
            prevailing: Added::Measured(Torque::from_millinewton_meters(8_250)),
            restart: None,
            trace: 0,
            took_ms: 1_200,
        }
    }

    /// The keys are a contract with other people's scripts.
    #[test]
    fn an_attempt_has_the_keys_that_scripts_rely_on() {
        let object = attempt_object(&Names::new(), 0, &attempt());
        assert_eq!(
            object.to_string(),
            r#"{"record":"attempt","joint":"joint 0","fastener":"index 2","stage":2,"attempt":1,"pulls":2,"peak_torque_Nm":64.125,"final_torque_Nm":63.9,"angle_deg":97.0,"verdict":"rejected","reasons":["angle-high"],"evidence":"measured","prevailing_Nm":8.25}"#
        );
        let unknown = Attempt {
            angle: None,
            ..attempt()
        };
        assert!(attempt_object(&Names::new(), 0, &unknown)["angle_deg"].is_null());
    }

    #[test]
    fn every_row_of_the_table_has_every_column() {
        let note = Noted {
            fastener: None,
            doubt: Doubt::Raised,
            text: Text::cut("it squeaked, twice; \"odd\""),
        };
        let formula = Tool {
            id: Text::cut("=A1"),
            waiver: Text::empty(),
        };
        for record in [entry(attempt()), entry(note), entry(formula)] {
            let row = csv_row(&Names::new(), &record);
            let mut in_quotes = false;
            let commas = row.chars().filter(|&character| {
                in_quotes ^= character == '"';
                character == ',' && !in_quotes
            });
            assert_eq!(commas.count(), CSV_HEADER.matches(',').count(), "{row}");
        }
        assert!(
            csv_row(&Names::new(), &entry(attempt()))
                .starts_with("attempt,joint 0,index 2,2,1,2,64.125,63.9,97.0,rejected,angle-high,")
        );
    }
}
