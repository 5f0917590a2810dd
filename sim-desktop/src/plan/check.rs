//! What joints say of each other: names, orders that depend on themselves, fasteners shared, tools that reach.
//!
//! Knows nothing of the state of the work.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::ops::Range;

use evendraw_core::procedure::{Evidence, Prevailing, Procedure, Stage, StageKind};
use evendraw_core::unit::Torque;

use super::build::{Part, Tool, ToolKind};
use super::diagnostic::Diagnostics;
use super::joint::{Joint, JointPlan, Name, Share};
use super::quantity::newton_meters;
use super::stage::{StagePlan, evidence_word};
use super::task::{Task, TaskTime};
use crate::limits::DIAGNOSTICS_KEPT;

/// What is known when every joint has been read, and who is told.
pub(super) struct Check<'a> {
    /// The ids of all joints, also of those that could not be read: a fault is told once, not again by whoever names the joint.
    pub(super) ids: &'a BTreeSet<&'a str>,
    /// The ids of all tools, likewise.
    pub(super) tool_ids: &'a BTreeSet<String>,
    pub(super) tools: &'a [Tool],
    pub(super) parts: &'a [Part],
    pub(super) tasks: &'a [Task],
    pub(super) to: &'a Diagnostics,
}

impl Check<'_> {
    /// Checks what joints say of each other; shares are known on both sides afterwards.
    pub(super) fn check(&self, joints: &mut [Joint]) {
        let works = self.works(joints);
        self.names(&works);
        self.needs(&works);
        self.cycles(&works);
        self.shares(joints);
        for joint in joints.iter() {
            self.reach(joint);
            self.same_place(joint);
            for plan in &joint.plans {
                super::plausible::ask(&joint.id, plan, self.to);
                super::running::ask(&joint.id, plan, self.to);
            }
            if let Some(plan) = joint.plans.first() {
                self.used_again(&joint.id, plan);
            }
        }
    }

    /// A fastener that was turned by an angle may be stretched for good: whether it is used again is the maker's word, and a plan that
    /// is silent about it is asked.
    fn used_again(&self, joint: &str, plan: &JointPlan) {
        let turn = plan
            .procedure
            .stages()
            .iter()
            .zip(&plan.stages)
            .find(|(stage, _)| matches!(stage.kind, StageKind::Turn { .. }) && !stage.mock_up);
        if let (Some((_, written)), false) = (turn, plan.says_reuse) {
            self.to.warning(
                &written.place,
                format!("joint `{joint}` turns by an angle and says nothing of `reuse`"),
                "may a fastener turned like this be used again?",
                "reuse = \"replace-if-loosened\" where the document wants new ones, reuse = \"free\" where it allows the old ones",
            );
        }
    }

    /// Joints and tasks, as far as they stand in one order of work.
    fn works<'w>(&'w self, joints: &'w [Joint]) -> Vec<Work<'w>> {
        let joints = joints.iter().map(|joint| Work {
            kind: "joint",
            id: &joint.id,
            after: &joint.after,
            closes: &joint.closes,
            belongs_to: &[],
            needs: &joint.needs,
            at: TaskTime::InOrder,
        });
        let tasks = self.tasks.iter().map(|task| Work {
            kind: "task",
            id: &task.id,
            after: &task.after,
            closes: &task.closes,
            belongs_to: &task.belongs_to,
            needs: &task.needs,
            at: task.at,
        });
        joints.chain(tasks).collect()
    }

    fn names(&self, works: &[Work<'_>]) {
        for work in works {
            let lists = [
                ("after", work.after),
                ("closes", work.closes),
                ("belongs_to", work.belongs_to),
            ];
            for (key, list) in lists {
                for name in list {
                    let named = self.tasks.iter().find(|task| task.id == name.text);
                    if key != "belongs_to"
                        && work.at == TaskTime::InOrder
                        && named.is_some_and(|task| task.at == TaskTime::BeforeStart)
                    {
                        self.to.error(
                            &name.place,
                            format!(
                                "{} `{}` names `{}` in its `{key}`, which is done last of all",
                                work.kind, work.id, name.text
                            ),
                            "here",
                            "take `at = \"before start\"` off that task, or give it to this one too",
                        );
                    }
                    if name.text == work.id {
                        self.to.error(
                            &name.place,
                            format!("{} `{}` stands in its own `{key}`", work.kind, work.id),
                            "here",
                            format!("name another {}", work.kind),
                        );
                    } else if !self.ids.contains(name.text.as_str()) && named.is_none() {
                        self.unknown(&name.text, &name.place, key);
                    }
                }
            }
        }
    }

    fn unknown(&self, name: &str, place: &Range<usize>, key: &str) {
        let tasks = || self.tasks.iter().map(|task| task.id.as_str());
        let ids = || {
            self.ids
                .iter()
                .copied()
                .chain(tasks().filter(|_| key != "shares"))
        };
        self.to.error(
            place,
            format!(
                "`{key}` names a {} that does not exist: `{name}`",
                what(self.tasks)
            ),
            "here",
            match self.to.closest(name, ids()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!(
                    "{}: {}",
                    all(self.tasks),
                    ids().collect::<Vec<_>>().join(", ")
                ),
            },
        );
    }

    fn needs(&self, works: &[Work<'_>]) {
        let listed: HashSet<&str> = self.parts.iter().map(|part| part.name.as_str()).collect();
        let mut needed: HashSet<&str> = HashSet::new();
        for need in works.iter().flat_map(|work| work.needs) {
            // Asked about once, however many joints need it.
            if !needed.insert(&need.text) || listed.contains(need.text.as_str()) {
                continue;
            }
            let known = self.parts.iter().map(|part| part.name.as_str());
            if let Some(near) = self.to.closest(&need.text, known) {
                self.to.warning(
                    &need.place,
                    format!("part `{}` is not listed; `{near}` is", need.text),
                    "here",
                    "write it as it is listed if that is meant",
                );
            }
        }
        for part in self.parts {
            if !needed.contains(part.name.as_str()) {
                self.to.warning(
                    &part.place,
                    format!("no {} needs the part `{}`", what(self.tasks), part.name),
                    "here",
                    format!(
                        "name it in the `needs` of its {}, or take it out",
                        what(self.tasks)
                    ),
                );
            }
        }
    }

    /// A joint or task that, by `after` and `closes`, would have to be done before itself.
    fn cycles(&self, works: &[Work<'_>]) {
        let index: BTreeMap<&str, usize> = works
            .iter()
            .enumerate()
            .map(|(index, work)| (work.id, index))
            .collect();
        let edges = |work: &Work<'_>| -> Vec<Edge> {
            let after = work.after.iter().map(|name| ("comes after", name));
            let closes = work.closes.iter().map(|name| ("covers", name));
            after
                .chain(closes)
                .filter_map(|(word, name)| {
                    let to = *index.get(name.text.as_str())?;
                    let words = format!("`{}` {word} `{}`", work.id, name.text);
                    let place = name.place.clone();
                    Some(Edge { to, words, place })
                })
                .collect()
        };
        let before: Vec<Vec<Edge>> = works.iter().map(edges).collect();
        let mut seen = vec![Seen::No; works.len()];
        for start in 0..works.len() {
            if seen.get(start) == Some(&Seen::No) {
                self.ring_from(start, &before, &mut seen);
            }
        }
    }

    /// Goes along what must be final before, and tells where the way comes back to itself.
    fn ring_from(&self, start: usize, before: &[Vec<Edge>], seen: &mut [Seen]) {
        // The joints on the way, each with the edges that have been gone.
        let mut way: Vec<(usize, &[Edge], Option<&Edge>)> = Vec::new();
        let mut enter = Some(start);
        loop {
            if let Some(joint) = enter.take() {
                mark(seen, joint, Seen::OnTheWay);
                way.push((joint, before.get(joint).map_or(&[], Vec::as_slice), None));
            }
            let Some((joint, edges, gone)) = way.last_mut() else {
                return;
            };
            let Some((edge, rest)) = edges.split_first() else {
                mark(seen, *joint, Seen::Done);
                way.pop();
                continue;
            };
            (*edges, *gone) = (rest, Some(edge));
            let own = *joint;
            match seen.get(edge.to) {
                Some(Seen::No) => enter = Some(edge.to),
                // What stands in its own list was told already.
                Some(Seen::OnTheWay) if edge.to != own => {
                    let words: Vec<&str> = way
                        .iter()
                        .skip_while(|(joint, ..)| *joint != edge.to)
                        .filter_map(|(_, _, gone)| gone.map(|edge| edge.words.as_str()))
                        .collect();
                    self.to.error(
                        &edge.place,
                        format!(
                            "{} wait for each other: {}",
                            all(self.tasks),
                            words.join(", ")
                        ),
                        "this closes the ring",
                        "one of them must be able to come first",
                    );
                    if self.to.errors() > DIAGNOSTICS_KEPT {
                        // Nobody unties more rings at a time.
                        return;
                    }
                }
                _ => {}
            }
        }
    }

    /// Every share must exist on the other side; it is then known on both.
    fn shares(&self, joints: &mut [Joint]) {
        let mut mirrored: Vec<(String, Share)> = Vec::new();
        for joint in joints.iter() {
            for share in &joint.shares {
                if !self.ids.contains(share.joint.as_str()) {
                    self.unknown(&share.joint, &share.place, "shares");
                    continue;
                }
                // One that could not be read has told why.
                let other = joints.iter().find(|other| other.id == share.joint);
                let back = other.and_then(|other| self.back(joint, share, other));
                mirrored.extend(back.map(|back| (share.joint.clone(), back)));
            }
        }
        for (there, share) in mirrored {
            if let Some(joint) = joints.iter_mut().find(|joint| joint.id == there) {
                joint.shares.push(share);
            }
        }
    }

    /// A share as the other joint has it, where that does not say so itself.
    fn back(&self, joint: &Joint, share: &Share, other: &Joint) -> Option<Share> {
        if other.id == joint.id {
            self.to.error(
                &share.place,
                format!("joint `{}` shares a fastener with itself", joint.id),
                "here",
                "name another joint",
            );
            return None;
        }
        let Some(fastener) = other.fastener(&share.label) else {
            let labels = other.positions.iter().map(|place| place.label.as_str());
            self.to.error(
                &share.place,
                format!("joint `{}` has no fastener `{}`", other.id, share.label),
                "here",
                match self.to.closest(&share.label, labels.clone()) {
                    Some(near) => format!("did you mean `{}/{near}`?", other.id),
                    None => format!("its fasteners: {}", labels.collect::<Vec<_>>().join(", ")),
                },
            );
            return None;
        };
        let label = joint.label(share.fastener).to_owned();
        let back = other
            .shares
            .iter()
            .find(|back| back.fastener == fastener && back.joint == joint.id);
        match back {
            Some(back) if back.label == label => None,
            Some(back) => {
                self.to.error(
                    &share.place,
                    format!(
                        "`{}/{label}` is said to be `{}/{}`, and that to be `{}/{}`",
                        joint.id, share.joint, share.label, joint.id, back.label
                    ),
                    "here",
                    "the two sides of a shared fastener must name each other",
                );
                None
            }
            None => Some(Share {
                fastener,
                joint: joint.id.clone(),
                label,
                place: share.place.clone(),
            }),
        }
    }

    /// A stage that asks for better evidence than a tool it names gives, or than any tool of the plan.
    fn gives_enough(&self, stage: &Stage, written: &StagePlan) {
        let word = evidence_word(stage.evidence);
        let falls_short = |tool: &&Tool| tool.kind.evidence() < stage.evidence;
        let named = self
            .tools
            .iter()
            .filter(|tool| written.tools.contains(&tool.id));
        for tool in named.filter(falls_short) {
            self.to.error(
                &written.place,
                format!(
                    "stage {} asks for evidence = \"{word}\", and its tool `{}` of kind `{}` gives \"{}\" at best",
                    written.number,
                    tool.id,
                    tool.kind.word(),
                    evidence_word(tool.kind.evidence())
                ),
                "here",
                format!("name a tool that gives it: kinds {}", kinds_for(stage.evidence)),
            );
        }
        if written.tools.is_empty()
            && !self.tools.is_empty()
            && self.tools.iter().all(|tool| falls_short(&tool))
        {
            self.to.warning(
                &written.place,
                format!(
                    "stage {} asks for evidence = \"{word}\", and no tool of the plan gives it",
                    written.number
                ),
                "here",
                format!("list one that does: kinds {}", kinds_for(stage.evidence)),
            );
        }
    }

    /// A stage that no tool of the plan reaches.
    fn reach(&self, joint: &Joint) {
        for plan in &joint.plans {
            for (number, (stage, written)) in
                (0_u8..=u8::MAX).zip(plan.procedure.stages().iter().zip(&plan.stages))
            {
                for name in &written.tools {
                    if !self.tool_ids.contains(name.as_str()) {
                        self.to.error(
                            &written.place,
                            format!("`tool` of stage {} is not listed: `{name}`", written.number),
                            "here",
                            match self
                                .to
                                .closest(name, self.tool_ids.iter().map(String::as_str))
                            {
                                Some(near) => format!("did you mean `{near}`?"),
                                None => "list it as [[tool]]".to_owned(),
                            },
                        );
                    }
                }
                self.gives_enough(stage, written);
                let Some(torque) = greatest(&stage.kind) else {
                    continue;
                };
                let torque = torque + running_at(&plan.procedure, number);
                let usable: Vec<&Tool> = self
                    .tools
                    .iter()
                    .filter(|tool| written.tools.is_empty() || written.tools.contains(&tool.id))
                    .filter(|tool| tool.kind.has_torque())
                    .collect();
                if usable.is_empty() || usable.iter().any(|tool| tool.reaches(torque)) {
                    continue;
                }
                let ranges: Vec<String> = usable
                    .iter()
                    .map(|tool| {
                        let (id, capacity) = (&tool.id, &tool.capacity_text);
                        match &tool.lowest_text {
                            Some(lowest) => format!("{id} from {lowest} to {capacity}"),
                            None if tool.lowest == Torque::ZERO => format!("{id} to {capacity}"),
                            None => format!("{id} from a fifth of {capacity} up to it"),
                        }
                    })
                    .collect();
                self.to.warning(
                    &written.place,
                    format!(
                        "no tool reaches {} of stage {} of joint `{}`",
                        in_print(written, torque),
                        written.number,
                        joint.id
                    ),
                    "here",
                    format!("tools: {}", ranges.join("; ")),
                );
            }
        }
    }

    /// Two fasteners drawn at one place, unless they are the two ends of one stud.
    fn same_place(&self, joint: &Joint) {
        let stages = joint.plans.iter().flat_map(|plan| &plan.stages);
        let pairs: HashSet<(u8, u8)> = stages
            .flat_map(|stage| &stage.together)
            .flat_map(|&(one, other)| [(one, other), (other, one)])
            .collect();
        let labelled: Vec<_> = (0_u8..=u8::MAX).zip(&joint.positions).collect();
        for (own, &(b, position)) in labelled.iter().enumerate() {
            for &(a, other) in labelled.iter().take(own) {
                if (other.x_mm, other.y_mm) == (position.x_mm, position.y_mm)
                    && !pairs.contains(&(a, b))
                {
                    self.to.warning(
                        &joint.place,
                        format!(
                            "fasteners `{}` and `{}` of joint `{}` sit at the same place",
                            other.label, position.label, joint.id
                        ),
                        "here",
                        "give each its own place, or pair the ends of a stud with `together`",
                    );
                }
            }
        }
    }
}

/// A joint or a task, as far as it stands in the order of work.
#[derive(Clone, Copy)]
struct Work<'a> {
    kind: &'static str,
    id: &'a str,
    after: &'a [Name],
    closes: &'a [Name],
    belongs_to: &'a [Name],
    needs: &'a [Name],
    at: TaskTime,
}

/// What stands in the order of work, for whoever is told about it.
const fn what(tasks: &[Task]) -> &'static str {
    if tasks.is_empty() {
        "joint"
    } else {
        "joint or task"
    }
}

/// The same, of all of them.
const fn all(tasks: &[Task]) -> &'static str {
    if tasks.is_empty() {
        "joints"
    } else {
        "joints and tasks"
    }
}

/// What must be done before a joint or a task, and where that is said.
struct Edge {
    to: usize,
    words: String,
    place: Range<usize>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Seen {
    No,
    OnTheWay,
    Done,
}

fn mark(seen: &mut [Seen], joint: usize, as_what: Seen) {
    if let Some(mark) = seen.get_mut(joint) {
        *mark = as_what;
    }
}

/// The running torque that the plan gives for a stage, where it gives one.
fn running_at(procedure: &Procedure, stage: u8) -> Torque {
    procedure
        .numbered_steps()
        .filter(|(_, step)| step.stage() == stage)
        .find_map(|(index, _)| match procedure.prevailing(index) {
            Prevailing::Given(torque) => Some(torque),
            _ => None,
        })
        .unwrap_or(Torque::ZERO)
}

/// The kinds of tool that give evidence of this kind.
fn kinds_for(evidence: Evidence) -> String {
    let kinds = ToolKind::ALL
        .into_iter()
        .filter(|kind| kind.evidence() >= evidence);
    kinds.map(ToolKind::word).collect::<Vec<_>>().join(", ")
}

/// The torque that a tool must reach for a stage, without a running torque.
fn greatest(kind: &StageKind) -> Option<Torque> {
    match *kind {
        StageKind::Tighten { window, .. }
        | StageKind::Repeat { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. } => Some(window.target),
        StageKind::Hold { torque, .. } => Some(torque),
        StageKind::Turn {
            torque: Some(window),
            ..
        } => Some(if window.max < Torque::MAX {
            window.max
        } else {
            window.target
        }),
        _ => None,
    }
}

/// A torque of a stage as it is printed, with what it is in N·m behind it where that is something else.
fn in_print(written: &StagePlan, torque: Torque) -> String {
    let kept = newton_meters(torque);
    match written.target.as_deref() {
        Some(target) if !target.contains("N·m") => format!("{target} ({kept})"),
        _ => kept,
    }
}
