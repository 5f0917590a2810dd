//! Records and facts for scripts: objects with the keys that they rely on, rows of a table.

use evendraw_core::audit::torque_window;
use evendraw_core::procedure::{AngleWindow, TorqueWindow};
use evendraw_core::record::{Attempt, Entry, Record};
use evendraw_core::unit::{Angle, Torque};
use serde_json::{Map, Value, json};

use super::{About, Names, Sure, how_words, line, tell, tell_host};
use crate::job::status::{FromPaper, How, PutRight, attempt_of, peak_of};
use crate::plan::Plan;
use crate::quantity::newton_meters;
use crate::store::Fact;
use crate::words;

/// Every fact as an object for scripts, in order.
pub fn objects<'f>(
    names: &'f Names,
    plan: Option<&'f Plan>,
    facts: &'f [Fact],
) -> impl Iterator<Item = Value> + use<'f> {
    let mut sure = Sure::new(plan, facts);
    let put_right = PutRight::of(facts);
    let from_paper = FromPaper::of(facts);
    facts.iter().filter_map(move |fact| match fact {
        Fact::Entry(entry) => {
            let mut object = object(names, entry);
            if let Some(by) = put_right.by(entry) {
                put(&mut object, "put_right_by", json!(by));
            }
            if let Some(date) = from_paper.date(entry) {
                put(&mut object, "from_paper", json!(date));
            }
            if let Some(judged) = sure.judged(entry) {
                judged.add_to(&mut object);
            }
            Some(object)
        }
        Fact::Host(fact) => tell_host(names, fact).map(|(object, _)| object),
    })
}

/// Any record as an object: its kind, its own fields, then `seq`, `boot` and `at_s`, where it stands in the order of things.
#[must_use]
pub fn object(names: &Names, entry: &Entry) -> Value {
    let names = names.at(entry);
    let joint = entry.joint;
    let telling = tell(names, entry);
    let mut own = match told_object(names, joint, &entry.record) {
        Some(Value::Object(own)) => own,
        _ => {
            let mut own = Map::new();
            own.insert("record".into(), json!(telling.kind));
            own.insert("joint".into(), json!(names.joint(joint)));
            let (fastener, stage) = telling.about.place(names, joint);
            if matches!(telling.about, About::Fastener(_) | About::Step(_)) {
                let label = fastener.map(|own| names.fastener(joint, own));
                own.insert("fastener".into(), json!(label));
            }
            if matches!(telling.about, About::Stage(_) | About::Step(_)) {
                own.insert("stage".into(), json!(stage.map(|own| u32::from(own) + 1)));
            }
            own
        }
    };
    for (key, value) in telling.fields {
        own.insert(key.into(), value);
    }
    own.insert("seq".into(), json!(entry.seq));
    own.insert("boot".into(), json!(entry.boot));
    #[expect(
        clippy::cast_precision_loss,
        reason = "µs of a century fit the 53 bits of a float"
    )]
    own.insert("at_s".into(), json!(entry.at.micros() as f64 / 1e6));
    Value::Object(own)
}

/// A judged attempt, with the keys that scripts rely on: the window is the one it was held against, running torque put in.
#[must_use]
fn attempt_object(names: &Names, joint: u8, attempt: &Attempt) -> Value {
    let reasons: Vec<&str> = attempt.reasons.iter().map(|reason| reason.word()).collect();
    let mut object = json!({
        "record": "attempt",
        "joint": names.joint(joint),
        "fastener": names.fastener(joint, attempt.fastener),
        "stage": u32::from(attempt.stage) + 1,
        "attempt": attempt.attempt,
        "pulls": attempt.pulls,
        "peak_torque_Nm": newton_meters(attempt.peak),
        "final_torque_Nm": newton_meters(attempt.final_torque),
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
        put(&mut object, key, limits);
    }
    object
}

/// Puts a value at a key of an object; in the place of the one that is there.
fn put(object: &mut Value, key: &str, value: Value) {
    if let Some(object) = object.as_object_mut() {
        object.insert(key.to_owned(), value);
    }
}

/// An attempt however it came to be known, with the same keys: a value that nobody read is null. None for any other record.
#[must_use]
pub fn told_object(names: &Names, joint: u8, record: &Record) -> Option<Value> {
    let attempt = attempt_of(record)?;
    let mut object = attempt_object(names, joint, &attempt);
    put(
        &mut object,
        "evidence",
        json!(How::of(record).map(How::key)),
    );
    if peak_of(record).is_none() {
        put(&mut object, "peak_torque_Nm", Value::Null);
        put(&mut object, "final_torque_Nm", Value::Null);
    }
    match record {
        Record::Reassigned(_) => put(&mut object, "record", json!("reassigned")),
        Record::Read(_) | Record::BySetting(_) => put(&mut object, "way", json!(how_words(record))),
        _ => {}
    }
    Some(object)
}

/// The columns of the table, in their order: its first line.
pub const CSV_HEADER: &str = "record,joint,fastener,stage,attempt,pulls,peak_torque_Nm,final_torque_Nm,angle_deg,verdict,\
    reasons,words,seq,boot,at_s,prevailing_Nm,prevailing,evidence,put_right_by";

/// The table of records: a row each, the names of the columns first; what a kind has no value for stays empty.
pub fn csv<'f>(names: &'f Names, facts: &'f [Fact]) -> impl Iterator<Item = String> + use<'f> {
    let put_right = PutRight::of(facts);
    let rows = facts.iter().filter_map(move |fact| match fact {
        Fact::Entry(entry) => Some(csv_row(names, entry, put_right.by(entry))),
        Fact::Host(_) => None,
    });
    std::iter::once(CSV_HEADER.to_owned()).chain(rows)
}

fn csv_row(names: &Names, entry: &Entry, put_right_by: Option<u32>) -> String {
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
        "put_right_by" => put_right_by.map_or_else(String::new, |by| by.to_string()),
        column => quoted(&plain(column)),
    });
    cells.collect::<Vec<_>>().join(",")
}

pub(crate) fn quoted(text: &str) -> String {
    // A cell that a table program would take for a formula is kept a text.
    let is_number = text.parse::<f64>().is_ok();
    let text = if !is_number && text.starts_with(['=', '+', '-', '@']) {
        format!("'{text}")
    } else {
        text.to_owned()
    };
    // A cell may have lines; what else steers a terminal has no form of its own in a table.
    let text = words::visible_lines(&text);
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.into_owned()
    }
}

pub(super) fn degrees(angle: Option<Angle>) -> Value {
    angle.map_or(Value::Null, |angle| {
        json!(f64::from(angle.millidegrees()) / 1_000.0)
    })
}

/// Low and high; null for a side that is open.
fn torque_limits(window: &TorqueWindow) -> Value {
    let low = (window.min > Torque::ZERO).then(|| newton_meters(window.min));
    let high = (window.max < Torque::MAX).then(|| newton_meters(window.max));
    json!([low, high])
}

#[cfg(test)]
mod tests {
    use super::*;
    use evendraw_core::record::{Added, Doubt, Noted, Tool};
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
            final_torque: Torque::from_millinewton_meters(63_900),
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
    fn a_pull_lost_before_anything_was_kept_has_no_torque() {
        let lost = Attempt {
            verdict: Verdict::Unknown,
            peak: Torque::ZERO,
            final_torque: Torque::ZERO,
            ..attempt()
        };
        for (attempt, is_known) in [(lost, false), (attempt(), true)] {
            let object = told_object(&Names::new(), 0, &Record::Attempt(attempt)).unwrap();
            for key in ["peak_torque_Nm", "final_torque_Nm"] {
                assert_eq!(object[key].is_number(), is_known, "{key} of {object}");
            }
        }
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
            let row = csv_row(&Names::new(), &record, None);
            let mut in_quotes = false;
            let commas = row.chars().filter(|&character| {
                in_quotes ^= character == '"';
                character == ',' && !in_quotes
            });
            assert_eq!(commas.count(), CSV_HEADER.matches(',').count(), "{row}");
        }
        assert!(
            csv_row(&Names::new(), &entry(attempt()), None)
                .starts_with("attempt,joint 0,index 2,2,1,2,64.125,63.9,97.0,rejected,angle-high,")
        );
    }
}
