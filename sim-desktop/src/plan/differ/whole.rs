//! Everything that differs between two plans, by what it is of: the build, a tool, a part, a task, a joint.
//!
//! Spelling, comments and the order of keys are no difference. Knows nothing of journals.

use super::{change_words, changes, stage_map};
use crate::plan::{Joint, Part, Plan, Task, Tool, checks_told};

/// One difference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// What it is of: `build`, `joint`, `task`, `part` or `tool`.
    pub kind: &'static str,
    /// Its id or name; empty for the build.
    pub id: String,
    /// What of it: a key, `stage 2`, `fastener b`; empty where it is new or gone as a whole.
    pub what: String,
    /// In the old plan; empty where there was nothing.
    pub old: String,
    /// In the new plan; empty where there is nothing.
    pub new: String,
}

impl Difference {
    /// `joint housing, stage 2: 45 → 60 N·m`.
    #[must_use]
    pub fn words(&self) -> String {
        let of = match self.id.as_str() {
            "" => self.kind.to_owned(),
            id => format!("{} {id}", self.kind),
        };
        match (self.what.as_str(), self.old.is_empty(), self.new.is_empty()) {
            ("", true, _) => format!("{of} is new"),
            ("", ..) => format!("{of} is gone"),
            (what, true, true) => format!("{of}: {what}"),
            (what, false, false) => {
                format!("{of}, {what}: {}", change_words(&self.old, &self.new))
            }
            (what, true, false) => format!("{of}, {what} is new: {}", self.new),
            (what, false, true) => format!("{of}, {what} is gone: {}", self.old),
        }
    }
}

/// The list while it is made.
#[derive(Default)]
struct Found {
    list: Vec<Difference>,
}

impl Found {
    fn put(&mut self, kind: &'static str, id: &str, what: &str, (old, new): (String, String)) {
        if old != new || what.is_empty() {
            self.list.push(Difference {
                kind,
                id: id.to_owned(),
                what: what.to_owned(),
                old,
                new,
            });
        }
    }

    fn texts<const N: usize>(
        &mut self,
        kind: &'static str,
        id: &str,
        old: [(&'static str, String); N],
        new: [(&'static str, String); N],
    ) {
        for ((what, old), (_, new)) in old.into_iter().zip(new) {
            self.put(kind, id, what, (old, new));
        }
    }

    /// Those that came and went; the rest is handed on in pairs.
    fn pairs<'p, T>(
        &mut self,
        kind: &'static str,
        (old, new): (&'p [T], &'p [T]),
        id: impl Fn(&T) -> &str,
    ) -> Vec<(&'p T, &'p T)> {
        let of = |list: &'p [T], wanted: &str| list.iter().find(|own| id(own) == wanted);
        for own in old.iter().filter(|own| of(new, id(own)).is_none()) {
            self.put(kind, id(own), "", (id(own).to_owned(), String::new()));
        }
        let mut pairs = Vec::new();
        for own in new {
            match of(old, id(own)) {
                Some(before) => pairs.push((before, own)),
                None => self.put(kind, id(own), "", (String::new(), id(own).to_owned())),
            }
        }
        pairs
    }
}

/// Everything that differs, the build first, then tools, parts, tasks, joints.
#[must_use]
pub fn differences(old: &Plan, new: &Plan) -> Vec<Difference> {
    let mut found = Found::default();
    let (one, two) = (old.build(), new.build());
    let head = |build: &crate::plan::Build| {
        [
            ("title", build.title.clone()),
            ("unit", text(&build.unit)),
            ("document", text(&build.document)),
            ("customer", text(&build.customer)),
            ("revision", build.revision.to_string()),
            ("reason", text(&build.reason)),
            ("entered_by", text(&build.entered_by)),
            ("checked_by", text(&build.checked_by)),
            ("note", text(&build.note)),
        ]
    };
    found.texts("build", "", head(one), head(two));
    if one.decide != two.decide {
        let words = |decide| format!("{decide:?}").to_lowercase();
        found.put(
            "build",
            "",
            "decide",
            (words(one.decide), words(two.decide)),
        );
    }
    for (one, two) in found.pairs("tool", (old.tools(), new.tools()), |own: &Tool| &own.id) {
        found.texts("tool", &one.id, tool(one), tool(two));
    }
    for (one, two) in found.pairs("part", (old.parts(), new.parts()), |own: &Part| &own.name) {
        found.texts("part", &one.name, part(one), part(two));
    }
    for (one, two) in found.pairs("task", (old.tasks(), new.tasks()), |own: &Task| own.id()) {
        found.texts("task", one.id(), task(one), task(two));
    }
    for (one, two) in found.pairs("joint", (old.joints(), new.joints()), |own: &Joint| {
        own.id()
    }) {
        joint(&mut found, one, two);
    }
    found.list
}

fn joint(found: &mut Found, old: &Joint, new: &Joint) {
    let id = old.id();
    found.texts("joint", id, head(old), head(new));
    let labels = |joint: &Joint| -> Vec<String> {
        let positions = joint.positions().iter();
        positions.map(|own| own.label.clone()).collect()
    };
    let (before, now) = (labels(old), labels(new));
    for (these, others, word) in [(&before, &now, "is gone"), (&now, &before, "is new")] {
        for label in these.iter().filter(|own| !others.contains(own)) {
            found.list.push(Difference {
                kind: "joint",
                id: id.to_owned(),
                what: format!("fastener {label} {word}"),
                old: String::new(),
                new: String::new(),
            });
        }
    }
    // Under the same answers, those that both ask.
    for own in new.plans() {
        let answers = own.answers.clone();
        let Some(before) = old.plans().iter().find(|plan| plan.answers == answers) else {
            continue;
        };
        let map = stage_map(before, own);
        for change in changes(before, own, &map) {
            let number = change
                .now
                .or(change.before)
                .map_or(0, |stage| u32::from(stage) + 1);
            let when: Vec<String> = answers
                .iter()
                .map(|(key, answer)| format!("{key} {answer}"))
                .collect();
            let what = match when.join(", ").as_str() {
                "" => format!("stage {number}"),
                when => format!("stage {number} ({when})"),
            };
            found.put("joint", id, &what, (change.old, change.new));
        }
    }
    let questions = |joint: &Joint| -> Vec<String> {
        let variants = joint.variants().iter();
        variants.map(|own| own.ask.clone()).collect()
    };
    found.put(
        "joint",
        id,
        "variants",
        (questions(old).join("; "), questions(new).join("; ")),
    );
}

fn head(joint: &Joint) -> [(&'static str, String); 15] {
    let plan = joint.first_plan();
    let order: Vec<&str> = plan.base.iter().map(|&own| joint.label(own)).collect();
    let shares = joint.shares().iter().map(|share| {
        let own = joint.label(share.fastener);
        format!("{own} is {} of {}", share.label, share.joint)
    });
    let terms = plan.procedure.terms();
    [
        ("title", joint.title().to_owned()),
        ("document", joint.document().unwrap_or_default().to_owned()),
        (
            "entered_by",
            joint.entered_by().unwrap_or_default().to_owned(),
        ),
        ("checked", checks_told(joint.lines().iter())),
        ("thread", text(&plan.thread)),
        ("class", text(&plan.class)),
        ("grade", text(&plan.grade)),
        ("grip", text(&plan.grip)),
        ("condition", text(&plan.condition)),
        ("redo", format!("{:?}", terms.redo).to_lowercase()),
        ("order", order.join(" ")),
        ("after", listed(joint.after())),
        ("closes", listed(joint.closes())),
        ("needs", listed(joint.needs())),
        ("shares", shares.collect::<Vec<_>>().join(", ")),
    ]
}

fn task(task: &Task) -> [(&'static str, String); 8] {
    [
        ("title", task.title().to_owned()),
        ("after", listed(task.after())),
        ("closes", listed(task.closes())),
        ("needs", listed(task.needs())),
        ("stack", task.stack().join(", ")),
        ("ask", task.ask().unwrap_or_default().to_owned()),
        ("at", task.at().word().to_owned()),
        ("note", task.note().unwrap_or_default().to_owned()),
    ]
}

fn part(part: &Part) -> [(&'static str, String); 4] {
    [
        ("number", text(&part.number)),
        ("quantity", part.quantity.clone()),
        ("on_order", part.on_order.to_string()),
        ("note", text(&part.note)),
    ]
}

fn tool(tool: &Tool) -> [(&'static str, String); 8] {
    let date =
        |date: Option<jiff::civil::Date>| date.map_or_else(String::new, |own| own.to_string());
    [
        ("kind", tool.kind.word().to_owned()),
        ("title", text(&tool.title)),
        ("capacity", tool.capacity_text.clone()),
        ("lowest", text(&tool.lowest_text)),
        ("step", text(&tool.step_text)),
        ("accuracy", text(&tool.accuracy_text)),
        ("calibrated", date(tool.calibrated)),
        ("due", date(tool.due)),
    ]
}

fn text(text: &Option<String>) -> String {
    text.clone().unwrap_or_default()
}

fn listed<'n>(names: impl Iterator<Item = &'n str>) -> String {
    names.collect::<Vec<_>>().join(", ")
}
