//! The twelve questions that a stranger must be able to answer from the sheet alone.
//!
//! Knows nothing of HTML. Every answer is there: what is not known is said to be unknown.

use crate::job::status::Status;

/// A question and its answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// The question, short.
    pub question: &'static str,
    /// Its answer; never empty.
    pub answer: String,
}

/// The twelve answers, in the order of the sheet.
#[must_use]
pub fn summary(model: &Status) -> Vec<Answer> {
    let answer = |question, answer: String| Answer { question, answer };
    let known = |text: &str, unknown: &str| {
        if text.trim().is_empty() {
            unknown.to_owned()
        } else {
            text.to_owned()
        }
    };
    let count = |items: usize, none: &str, one: &str, many: &str| match items {
        0 => none.to_owned(),
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    };
    let tools = || model.tools.iter().filter(|tool| tool.is_used);
    let conditions = conditions(model);
    let new: Vec<String> = model
        .joints
        .iter()
        .filter_map(|joint| {
            let labels: Vec<&str> = joint
                .fasteners
                .iter()
                .filter(|fastener| fastener.is_new)
                .map(|fastener| fastener.label.as_str())
                .collect();
            (!labels.is_empty()).then(|| format!("{}: {}", joint.title, labels.join(", ")))
        })
        .collect();
    let people = |role: &str| {
        let names: Vec<&str> = model
            .people
            .iter()
            .filter(|person| person.role() == role)
            .map(|person| person.name.as_str())
            .collect();
        names.join(", ")
    };
    let looked = people("witness");
    vec![
        answer("Which unit", known(&model.unit, "not stated in the plan")),
        answer(
            "Document and revision",
            known(&model.document, "not stated in the plan"),
        ),
        answer(
            "Open",
            if model.is_complete() {
                "nothing".to_owned()
            } else {
                model.headline()
            },
        ),
        answer(
            "Out of the ordinary",
            count(
                model.exceptions.len(),
                "nothing",
                "exception, listed under Exceptions",
                "exceptions, listed under Exceptions",
            ),
        ),
        answer(
            "Done again",
            count(
                model.redone.len(),
                "nothing",
                "time, with its reason below",
                "times, with reasons below",
            ),
        ),
        answer(
            "Tools",
            known(
                &tools()
                    .map(|tool| tool.id.as_str())
                    .collect::<Vec<_>>()
                    .join(", "),
                "no tool is named",
            ),
        ),
        answer(
            "In date",
            known(
                &tools()
                    .map(|tool| format!("{}: {}", tool.id, tool.in_date))
                    .collect::<Vec<_>>()
                    .join("; "),
                "unknown, as no tool is named",
            ),
        ),
        answer(
            "On the threads",
            known(&conditions, "not stated in the plan"),
        ),
        answer("New fasteners", known(&new.join("; "), "none recorded")),
        answer(
            "Done by, looked at by",
            format!(
                "{}; {}",
                known(&people("operator"), "nobody is named"),
                known(&looked, known(&model.witnessed, "nobody").as_str())
            ),
        ),
        answer("When", known(&model.when, "time unknown")),
        answer(
            "Still due",
            known(
                &model
                    .due
                    .iter()
                    .map(|item| format!("{}: {}", item.place, item.what))
                    .collect::<Vec<_>>()
                    .join("; "),
                "nothing",
            ),
        ),
    ]
}

/// What was found on the threads: joints as the plan assumes together, the others one by one.
fn conditions(model: &Status) -> String {
    let mut as_assumed: Vec<String> = Vec::new();
    let mut parts: Vec<String> = Vec::new();
    for joint in &model.joints {
        match (joint.condition.as_str(), joint.confirmed.as_str()) {
            ("", "") => {}
            (_, "") => parts.push(format!("{}: not confirmed", joint.title)),
            (stated, _) if joint.is_as_assumed => {
                as_assumed.push(format!("{} {stated}", joint.id));
            }
            (_, found) => parts.push(format!("{}: {found}", joint.title)),
        }
    }
    if !as_assumed.is_empty() {
        parts.insert(0, format!("as the plan assumes: {}", as_assumed.join(", ")));
    }
    parts.join("; ")
}
