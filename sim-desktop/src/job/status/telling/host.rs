//! A fact of the desktop in words and for scripts.

use serde_json::{Value, json};

use super::Names;
use crate::store::{Became, HostFact};
use crate::words;

/// A fact of the desktop as an object for scripts and a line for people; the pieces of the plan's text are not told.
#[must_use]
pub fn tell_host(names: &Names, fact: &HostFact) -> Option<(Value, String)> {
    let mm = |um: u32| f64::from(um) / 1_000.0;
    Some(match fact {
        HostFact::Opened {
            rehearsal,
            plan_name,
            ..
        } => (
            json!({ "record": "opened", "rehearsal": rehearsal, "plan": plan_name }),
            format!(
                "journal of a {}, plan {plan_name}",
                if *rehearsal { "REHEARSAL" } else { "job" }
            ),
        ),
        HostFact::PlanChanged { plan_name, .. } => (
            json!({ "record": "plan-changed", "plan": plan_name }),
            format!("from here on to another text of the plan, {plan_name}"),
        ),
        HostFact::Variant {
            joint,
            question,
            answer,
        } => (
            json!({ "record": "variant", "joint": names.joint(*joint), "question": question, "answer": answer }),
            format!("{}: {question}: {answer}", names.joint(*joint)),
        ),
        HostFact::PartArrived { part } => (
            json!({ "record": "part", "part": part, "here": true }),
            format!("part arrived: {part}"),
        ),
        HostFact::PartMissing { part } => (
            json!({ "record": "part", "part": part, "here": false }),
            format!("part is NOT here: {part}"),
        ),
        HostFact::PartIs {
            part,
            state,
            by,
            unix,
            said,
        } => (
            json!({ "record": "part", "part": part, "here": state.is_here(), "state": state.word(), "said": said, "by": by, "unix": known(*unix) }),
            format!("part {part}: {}{}", state.word(), told(said, by, *unix)),
        ),
        HostFact::TaskDone {
            task,
            by,
            unix,
            said,
        } => (
            json!({ "record": "task", "task": task, "done": true, "said": said, "by": by, "unix": known(*unix) }),
            format!("task {task} done{}", told(said, by, *unix)),
        ),
        HostFact::TaskUndone {
            task,
            by,
            unix,
            said,
        } => (
            json!({ "record": "task", "task": task, "done": false, "said": said, "by": by, "unix": known(*unix) }),
            format!("task {task} UNDONE{}", told(said, by, *unix)),
        ),
        HostFact::Reminder {
            number,
            about,
            text,
            holds,
            by,
            unix,
        } => (
            json!({ "record": "reminder", "number": number, "about": about, "text": text, "holds": holds, "by": by, "unix": known(*unix) }),
            {
                let holds = match holds.as_str() {
                    "" => String::new(),
                    holds => format!("; holds up {holds}"),
                };
                format!("reminder {number}: {text}{holds}{}", told("", by, *unix))
            },
        ),
        HostFact::ReminderClosed {
            number,
            became,
            said,
            by,
            unix,
        } => {
            let word = match became {
                Became::Ticked => "ticked",
                Became::Part => "part",
                Became::Task => "task",
            };
            (
                json!({ "record": "reminder-closed", "number": number, "became": word, "said": said, "by": by, "unix": known(*unix) }),
                format!(
                    "reminder {number} put away, {word}{}",
                    told(said, by, *unix)
                ),
            )
        }
        HostFact::Handover { text } => (
            json!({ "record": "handover", "text": text }),
            format!("handover: {text}"),
        ),
        HostFact::Clamp {
            joint,
            fastener,
            stage,
            newtons,
        } => (
            json!({
                "record": "clamp", "joint": names.joint(*joint), "fastener": names.fastener(*joint, *fastener),
                "stage": u32::from(*stage) + 1, "clamp_kN": mm(*newtons),
            }),
            format!(
                "{}: fastener {} clamps {:.1} kN on the bench after stage {}",
                names.joint(*joint),
                names.fastener(*joint, *fastener),
                mm(*newtons),
                u32::from(*stage) + 1
            ),
        ),
        HostFact::Geometry {
            joint,
            lever_um,
            offset_um,
            angle_mdeg,
        } => (
            json!({
                "record": "geometry", "joint": names.joint(*joint), "lever_mm": mm(*lever_um),
                "offset_mm": mm(*offset_um), "angle_deg": mm(*angle_mdeg),
            }),
            format!(
                "{}: lever {:.1} mm, offset {:.1} mm, angle {:.1}°",
                names.joint(*joint),
                mm(*lever_um),
                mm(*offset_um),
                mm(*angle_mdeg)
            ),
        ),
        HostFact::AtAdapter { joint, serial } => (
            json!({ "record": "at-adapter", "joint": names.joint(*joint), "serial": serial }),
            if serial.is_empty() {
                format!("{}: worked at the desk again", names.joint(*joint))
            } else {
                format!("{}: worked at adapter {serial}", names.joint(*joint))
            },
        ),
        HostFact::FromPaper { row, .. } if row.is_empty() => return None,
        HostFact::FromPaper { joint, date, row } => (
            json!({ "record": "from-paper", "joint": names.joint(*joint), "date": date, "row": row }),
            format!("{}: typed from paper: {row}", names.joint(*joint)),
        ),
        HostFact::Plan { .. } => return None,
    })
}

/// Seconds since 1970, where they are known.
fn known(unix: i64) -> Option<i64> {
    (unix != 0).then_some(unix)
}

/// What was said, by whom and when, as far as each is known.
fn told(said: &str, by: &str, unix: i64) -> String {
    let when = known(unix).map(|unix| words::wall_time(Some(unix)));
    let parts = [said.to_owned(), by.to_owned(), when.unwrap_or_default()];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!(": {}", parts.join(", "))
    }
}
