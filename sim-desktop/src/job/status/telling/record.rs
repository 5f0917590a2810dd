//! A record of the core in words: every kind, in the one match that tells of records.

use evendraw_core::ledger::NONE;
use evendraw_core::procedure::{EngineState, Moment, StageKind};
use evendraw_core::record::{
    AfterPass, Decision, Doubt, Entry, Manner, Record, Revised, Role, Seen,
};
use evendraw_core::verdict::Verdict;
use serde_json::{Value, json};

use super::attempt::{tell_attempt, tell_read, tell_setting};
use super::scripts::degrees;
use super::{About, List, Names, Telling, place};
use crate::job::status::Shown;
use crate::mark::Mark;
use crate::peers::is_of_peers;
use crate::quantity::newton_meters;
use crate::words;

/// What a record says. Every kind of record is told here, and nowhere else.
#[must_use]
pub fn tell(names: &Names, entry: &Entry) -> Telling {
    let names = names.at(entry);
    let joint = entry.joint;
    let step = |kind, step, words: String| Telling::new(kind, About::Step(step), words);
    let whole = |kind, words: String| Telling::new(kind, About::Joint, words);
    let behind = |text: &str| {
        if text.is_empty() {
            String::new()
        } else {
            format!(" ({text})")
        }
    };
    match &entry.record {
        Record::Started(own) => {
            let trial = if own.rehearsal { " as a REHEARSAL" } else { "" };
            let words = format!(
                "started{trial}, rules {}, procedure {:08x}",
                own.rules, own.procedure
            );
            whole("started", words)
                .with("rules", own.rules)
                .with("procedure", format!("{:08x}", own.procedure))
                .with("rehearsal", own.rehearsal)
        }
        Record::Begun(own) => step("begun", own.step, "first load".to_owned()),
        Record::Attempt(own) => tell_attempt(names, joint, own),
        Record::Read(own) => tell_read(names, joint, &entry.record, own),
        Record::BySetting(own) => tell_setting(names, joint, &entry.record, own),
        Record::Done(own) => {
            let (manner, words, mark, list) = match own.manner {
                Manner::Hand => ("by hand", "done by hand", Mark::Accepted, List::None),
                Manner::Paper => {
                    let words = "from paper, unmeasured";
                    (words, words, Mark::Unmeasured, List::Exceptions)
                }
            };
            step("done", own.step, words.to_owned())
                .with("manner", manner)
                .marked(mark)
                .on(list)
        }
        Record::Answered(own) => {
            let words = if own.yes { "yes" } else { "NO" };
            step(
                "answered",
                own.step,
                format!("answered {words}{}", behind(own.note.as_str())),
            )
            .with("yes", own.yes)
            .with("note", own.note.as_str())
            .unless(own.yes, Mark::Rejected)
        }
        Record::Measured(own) => {
            let verdict = match (own.verdict, names.kind(joint, own.step)) {
                (Verdict::Rejected, Some(StageKind::Measure { min, max })) => {
                    format!("outside its window, {}", words::length_window(min, max))
                }
                _ => words::verdict(own.verdict).to_owned(),
            };
            step(
                "measured",
                own.step,
                format!("measured {}, {verdict}", words::length(own.length)),
            )
            .with("length_mm", f64::from(own.length.micrometers()) / 1_000.0)
            .with("verdict", words::verdict(own.verdict))
            .unless(own.verdict == Verdict::Accepted, Mark::Rejected)
        }
        Record::Waited(own) => step("waited", own.step, waited(names, joint, own))
            .with("seconds", own.seconds)
            .with("verdict", words::verdict(own.verdict))
            .unless(own.verdict == Verdict::Accepted, Mark::Rejected),
        Record::Person(own) => whole("person", format!("{}: {}", role(own.role), own.name))
            .with("name", own.name.as_str())
            .with("role", role(own.role)),
        Record::Tool(own) => {
            let telling = if own.waiver.is_empty() {
                whole("tool", format!("tool {}", own.id))
            } else {
                whole(
                    "tool",
                    format!("tool {} used on a reason: {}", own.id, own.waiver),
                )
                .marked(Mark::Skipped)
                .on(List::Exceptions)
            };
            telling
                .with("id", own.id.as_str())
                .with("waiver", own.waiver.as_str())
        }
        Record::Condition(own) => {
            let words = if own.matches {
                "as the plan assumes"
            } else {
                "NOT as the plan assumes"
            };
            whole(
                "condition",
                format!("on the threads: {}, {words}", own.found),
            )
            .with("found", own.found.as_str())
            .with("matches", own.matches)
            .unless(own.matches, Mark::Doubtful)
        }
        Record::Anchor(own) => {
            let words = format!("wall time {}", words::wall_time(Some(own.unix_seconds)));
            whole("anchor", words).with("unix_s", own.unix_seconds)
        }
        Record::Zero(own) => {
            let words = if own.taken {
                "zero taken"
            } else {
                "zero REFUSED"
            };
            whole(
                "zero",
                format!(
                    "{words}, {} from the factory zero",
                    words::torque(own.offset)
                ),
            )
            .with("taken", own.taken)
            .with("offset_Nm", newton_meters(own.offset))
            .unless(own.taken, Mark::Doubtful)
        }
        Record::Loosened(own) => {
            let by = if own.elsewhere {
                " by work on another joint"
            } else {
                ""
            };
            let words = format!("loosened{by}{}", behind(own.cause.as_str()));
            Telling::new("loosened", About::Fastener(own.fastener), words)
                .with("elsewhere", own.elsewhere)
                .with("cause", own.cause.as_str())
                .marked(Mark::Disturbed)
                .on(List::Redone)
        }
        Record::Fitted(own) => {
            Telling::new("fitted", About::Fastener(own.fastener), "new one fitted")
                .marked(Mark::Open)
                .on(List::Redone)
        }
        Record::Skipped(own) => step("skipped", own.step, format!("SKIPPED: {}", own.reason))
            .with("reason", own.reason.as_str())
            .marked(Mark::Skipped)
            .on(List::Exceptions),
        Record::Noted(own) => {
            let about = own.fastener.map_or(About::Joint, About::Fastener);
            let (words, doubt) = match own.doubt {
                Doubt::None => ("note", Value::Null),
                Doubt::Raised if is_of_peers(own) => ("UNLIKE ITS PEERS", json!("raised")),
                Doubt::Raised => ("FELT WRONG", json!("raised")),
                Doubt::Settled => ("looked at and found good", json!("settled")),
            };
            let words = format!("{words}{}", behind(own.text.as_str()));
            let telling = Telling::new("noted", about, words)
                .with("doubt", doubt)
                .with("text", own.text.as_str());
            match own.doubt {
                Doubt::None => telling.on(List::Notes),
                // What the comparison finds today is told beside the records, with what was said of it.
                Doubt::Raised if is_of_peers(own) => telling.marked(Mark::Doubtful).on(List::Notes),
                Doubt::Raised => telling.marked(Mark::Doubtful).on(List::Exceptions),
                Doubt::Settled => telling.marked(Mark::Accepted).on(List::Notes),
            }
        }
        Record::Decided(own) => {
            let words = format!(
                "decided: {}{}",
                decision(own.decision),
                behind(own.note.as_str())
            );
            let telling = step("decided", own.step, words)
                .with("decision", decision(own.decision))
                .with("note", own.note.as_str());
            match own.decision {
                Decision::Observed => telling.marked(Mark::Unmeasured).on(List::Exceptions),
                Decision::Waive => telling.marked(Mark::Skipped).on(List::Exceptions),
                Decision::Again | Decision::Restart(_) | Decision::Replace => {
                    telling.marked(Mark::Disturbed).on(List::Redone)
                }
            }
        }
        Record::Marked(own) => {
            Telling::new("marked", About::Fastener(own.fastener), "marked as final")
                .marked(Mark::Final)
        }
        Record::Rechecked(own) => {
            let shown = names.step(joint, own.step);
            let shown = shown.map_or(Shown::NEWTON_METERS, |(_, stage)| names.shown(joint, stage));
            let moved = own.moved.map_or_else(|| "unknown".to_owned(), words::angle);
            let is_well = own.verdict == Verdict::Accepted;
            let words = format!(
                "checked again at {}, moved {moved}, {}",
                shown.words(own.peak),
                words::verdict(own.verdict)
            );
            step("rechecked", own.step, words)
                .with("peak_torque_Nm", newton_meters(own.peak))
                .with("moved_deg", degrees(own.moved))
                .with("verdict", words::verdict(own.verdict))
                .on(List::Notes)
                .unless(is_well, Mark::Doubtful)
        }
        Record::Pass(own) => {
            let words = format!(
                "pass {}: {} moved; {}",
                own.pass,
                own.moved,
                after_pass(own.next)
            );
            let telling = Telling::new("pass", About::Stage(own.stage), words)
                .with("pass", own.pass)
                .with("moved", own.moved)
                .with("next", after_pass(own.next));
            match own.next {
                AfterPass::NotConverged => telling.marked(Mark::Doubtful).on(List::Exceptions),
                AfterPass::Converged | AfterPass::Again => telling.on(List::Notes),
            }
        }
        Record::Moment(own) => {
            let name = names.moment(joint, Moment::Named(own.moment));
            whole("moment", name.clone())
                .with("moment", own.moment)
                .with("name", name)
                .on(List::Notes)
        }
        Record::Due(own) => {
            let words = format!("became due, engine {}", engine(own.state));
            Telling::new("due", About::Stage(own.stage), words)
                .with("state", engine(own.state))
                .on(List::Notes)
        }
        Record::Apart(own) => whole(
            "apart",
            format!("mock-up taken apart{}", behind(own.note.as_str())),
        )
        .with("note", own.note.as_str())
        .marked(Mark::MockUp)
        .on(List::Notes),
        Record::Running(own) => {
            let seen = match own.seen {
                Seen::Measured => "measured",
                Seen::Typed => "typed",
            };
            let (torque, how) = (words::torque(own.torque), words::seen(own.seen));
            let words = format!("running torque {torque}, {how}");
            Telling::new("running", About::Fastener(own.fastener), words)
                .with("prevailing_Nm", newton_meters(own.torque))
                .with("seen", seen)
                .on(List::Notes)
        }
        Record::Reassigned(own) => {
            let telling = tell_attempt(names, joint, &own.attempt);
            Telling {
                kind: "reassigned",
                words: format!(
                    "put right, the pull of record {} was here: {}",
                    own.of, telling.words
                ),
                list: List::Exceptions,
                ..telling
            }
            .with("of", own.of)
        }
        Record::Withdrawn(own) => whole(
            "withdrawn",
            format!("record {} is withdrawn: {}", own.of, own.reason),
        )
        .with("of", own.of)
        .with("reason", own.reason.as_str())
        .on(List::Notes),
        Record::Revised(Revised::Joint { procedure, .. }) => {
            let words = "goes on under another revision of the plan: what did not change holds";
            whole("revised", words.to_owned())
                .with("procedure", format!("{procedure:08x}"))
                .on(List::Notes)
        }
        Record::Revised(Revised::Fastener { fastener, from, .. }) => {
            let words = if *from == NONE {
                "new in this revision"
            } else {
                "carried into this revision"
            };
            Telling::new("carried", About::Fastener(*fastener), words.to_owned())
                .with("new", *from == NONE)
        }
        Record::Recovered(own) => {
            let words = format!(
                "RECOVERED: {} bytes of a torn record dropped, {} damaged bytes set aside",
                own.dropped, own.quarantined
            );
            whole("recovered", words)
                .with("dropped_bytes", own.dropped)
                .with("quarantined_bytes", own.quarantined)
                .marked(Mark::Doubtful)
                .on(List::Exceptions)
        }
    }
}

/// How a wait ended, by the name of the moment that it counted from.
fn waited(names: &Names, joint: u8, waited: &evendraw_core::record::Waited) -> String {
    let took = match waited.seconds {
        0 => "at once".to_owned(),
        seconds => words::seconds(u64::from(seconds)),
    };
    let Some(StageKind::Wait { at_most, after, .. }) = names.kind(joint, waited.step) else {
        return format!("waited {took}, {}", words::verdict(waited.verdict));
    };
    let after = names.moment(joint, after);
    if waited.verdict == Verdict::Accepted {
        format!("{took} after {after}: in time")
    } else {
        let allowed = words::seconds(at_most.micros() / 1_000_000);
        format!("{took} after {after}: TOO LATE, {allowed} are allowed")
    }
}

/// A decision in words.
fn decision(decision: Decision) -> String {
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

/// Any record as a line for people, without its joint, number and time.
#[must_use]
pub fn line(names: &Names, entry: &Entry) -> String {
    let names = names.at(entry);
    let telling = tell(names, entry);
    match place(names, entry.joint, telling.about).as_str() {
        "" => telling.words,
        place => format!("{place}: {}", telling.words),
    }
}
