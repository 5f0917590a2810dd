//! An evening before it begins: the joints that can be done, the tools to lay out, what is asked on the way, parts to order, and what must
//! not be left half done.
//!
//! Drawn from the same fold as the status. How long it takes only a rehearsal knows: it is put in from there. Knows nothing of screens.

use evendraw_core::ledger::Standing;
use evendraw_core::procedure::{Moment, StageKind};
use evendraw_core::unit::Span;

use super::layout::stage_tools;
use super::{Folded, Kept, LastDone, PartStatus, Status, ToolStatus, View, counted};
use crate::mark::Mark;
use crate::plan::progress::{Progress, TaskStanding};
use crate::plan::{JointPlan, StagePlan};
use crate::words;

/// An evening's work.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tonight {
    /// What is built.
    pub title: String,
    /// Its values are invented.
    pub demo: bool,
    /// What was done last.
    pub last: Option<LastDone>,
    /// The joints that can be done: now, and once those before them are.
    pub joints: Vec<TonightJoint>,
    /// Tasks that can be done now: title, and the rest in a line.
    pub tasks: Vec<(String, String)>,
    /// The tools to lay out.
    pub tools: Vec<TonightTool>,
    /// Stages that no tool suits, with the reason.
    pub untooled: Vec<String>,
    /// What is asked and measured on the way, joint by joint.
    pub checks: Vec<TonightLine>,
    /// What must not be left half done, joint by joint.
    pub whole: Vec<TonightLine>,
    /// Parts to be ordered, and those on their way.
    pub parts: Vec<PartStatus>,
    /// Joints that cannot be done tonight, and why.
    pub held: Vec<TonightLine>,
}

/// A joint that can be done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TonightJoint {
    /// Its number.
    pub number: u8,
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// How it stands.
    pub mark: Mark,
    /// The joints that must be final first, of those that can be done tonight; empty where it can be done now.
    pub after: Vec<String>,
    /// Steps that are open.
    pub open: usize,
    /// Steps in all.
    pub of: usize,
    /// How long what is open takes, in s, by the rehearsal; none where it was not rehearsed.
    pub seconds: Option<u64>,
}

impl TonightJoint {
    /// What there is to do, when, and how long it takes.
    #[must_use]
    pub fn line(&self) -> String {
        let steps = if self.open == self.of {
            counted(self.open, "step")
        } else {
            format!("{} of {} left", self.open, counted(self.of, "step"))
        };
        let after = match &self.after[..] {
            [] => String::new(),
            after => format!(
                "; once {} {} final",
                after.join(", "),
                is_or_are(after.len())
            ),
        };
        let time = match self.seconds {
            Some(seconds) => format!("; {} rehearsed", rounded(seconds)),
            None => String::new(),
        };
        format!("{steps}{after}{time}")
    }
}

/// A tool to lay out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TonightTool {
    /// What it is, and its calibration.
    pub tool: ToolStatus,
    /// Joint, stage and target, with what it is set to or reads.
    pub uses: Vec<String>,
}

/// A sentence about a joint.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TonightLine {
    /// The joint's id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// What.
    pub what: String,
}

impl TonightLine {
    fn of(view: &View<'_>, what: impl Into<String>) -> Self {
        Self {
            id: view.joint.id().to_owned(),
            title: view.joint.title().to_owned(),
            what: what.into(),
        }
    }

    /// Joint and sentence.
    #[must_use]
    pub fn line(&self) -> String {
        format!("{}: {}", self.title, self.what)
    }
}

/// How a joint went on the virtual bench.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rehearsed {
    /// The joint's number.
    pub joint: u8,
    /// How long the whole of it took, s.
    pub seconds: u64,
    /// The clock that allowed least: how long it took, and how long it may, s.
    pub tightest: Option<(u64, u64)>,
}

impl Tonight {
    /// With how long it took to rehearse.
    #[must_use]
    pub fn with_times(mut self, times: &[Rehearsed]) -> Self {
        for joint in &mut self.joints {
            let Some(own) = times.iter().find(|own| own.joint == joint.number) else {
                continue;
            };
            let (open, of) = (counted_u64(joint.open), counted_u64(joint.of.max(1)));
            joint.seconds = Some(own.seconds.saturating_mul(open).div_ceil(of));
            let Some((took, allowed)) = own.tightest else {
                continue;
            };
            for line in self.whole.iter_mut().filter(|line| line.id == joint.id) {
                if !line.what.starts_with("within ") {
                    continue;
                }
                line.what = match allowed.checked_sub(took) {
                    Some(spare) => format!(
                        "{}; rehearsed in {}, {} to spare",
                        line.what,
                        words::seconds(took),
                        words::seconds(spare)
                    ),
                    None => format!(
                        "{}; the rehearsal took {}: TOO LONG, practise it first",
                        line.what,
                        words::seconds(took)
                    ),
                };
            }
        }
        self
    }

    /// How long all of it takes, s; none where anything was not rehearsed, or there is nothing to do.
    #[must_use]
    pub fn seconds(&self) -> Option<u64> {
        let times: Option<Vec<u64>> = self.joints.iter().map(|joint| joint.seconds).collect();
        times
            .filter(|times| !times.is_empty())
            .map(|times| times.iter().sum())
    }

    /// Everything under its title, in the order in which an evening is made ready: title, and each line with its name in front.
    #[must_use]
    pub fn lists(&self) -> Vec<(&'static str, Vec<(String, String)>)> {
        let lines = |lines: &[TonightLine]| -> Vec<(String, String)> {
            let own = lines.iter();
            own.map(|line| (line.title.clone(), line.what.clone()))
                .collect()
        };
        let joints = self.joints.iter();
        let mut joints: Vec<(String, String)> = joints
            .map(|joint| (joint.title.clone(), joint.line()))
            .collect();
        joints.extend(self.tasks.iter().cloned());
        if let Some(seconds) = self.seconds() {
            let what = format!(
                "{}, at the pace of a steady hand on the virtual bench",
                rounded(seconds)
            );
            joints.push(("All of it".to_owned(), what));
        }
        let tools = self
            .tools
            .iter()
            .map(|own| (own.tool.line(), own.uses.join("; ")));
        let untooled = self.untooled.iter();
        let untooled = untooled.map(|why| ("No tool".to_owned(), why.clone()));
        let parts = self.parts.iter();
        let parts = parts.map(|part| (part.state.word().to_owned(), part.line()));
        let lists = [
            ("Can be done", joints),
            ("Not to be left half done", lines(&self.whole)),
            ("Tools to lay out", tools.chain(untooled).collect()),
            ("Asked and measured on the way", lines(&self.checks)),
            ("Parts to order, and on their way", parts.collect()),
            ("Cannot be done tonight", lines(&self.held)),
        ];
        lists
            .into_iter()
            .filter(|(_, rows)| !rows.is_empty())
            .collect()
    }
}

/// A time to plan by: nobody works to the second.
fn rounded(seconds: u64) -> String {
    match seconds {
        0..90 => format!("{} s", seconds.next_multiple_of(10)),
        _ => format!("{} min", seconds.div_ceil(60)),
    }
}

const fn is_or_are(count: usize) -> &'static str {
    if count == 1 { "is" } else { "are" }
}

fn counted_u64(number: usize) -> u64 {
    u64::try_from(number).unwrap_or(u64::MAX)
}

/// The evening of a plan and its journal.
pub(super) fn tonight(
    kept: &Kept<'_>,
    folded: Vec<Folded<'_>>,
    progress: &Progress,
    status: &Status,
) -> Tonight {
    let standings: Vec<Standing> = folded.iter().map(Folded::standing).collect();
    let views: Vec<View<'_>> = folded
        .into_iter()
        .zip(progress.joints())
        .map(|(folded, state)| View { folded, state })
        .collect();
    let mut tonight = Tonight {
        title: status.title.clone(),
        demo: status.demo,
        last: status.last.clone(),
        ..Tonight::default()
    };
    let order = order(kept, &views, standings);
    let today = kept.today.unwrap_or_else(super::today);
    for &(number, ref after) in &order {
        let Some(view) = views.get(usize::from(number)) else {
            continue;
        };
        let open = view
            .steps()
            .filter(|(step, _)| !view.ledger.step(*step).is_settled());
        tonight.joints.push(TonightJoint {
            number,
            id: view.joint.id().to_owned(),
            title: view.joint.title().to_owned(),
            mark: view.mark(),
            after: after.clone(),
            open: open.count(),
            of: view.plan.procedure.steps().len(),
            seconds: None,
        });
        tonight.checks.extend(checks(view));
        tonight.whole.extend(whole(view));
        for own in stage_tools(kept.plan, view.plan, today) {
            if open_steps(view, own.stage.saturating_sub(1)) == 0 {
                continue;
            }
            let place = format!("{} stage {}, {}", view.joint.title(), own.stage, own.target);
            if own.suits.is_empty() {
                if !kept.plan.tools().is_empty() {
                    tonight.untooled.push(format!("{place}: {}", own.words()));
                }
                continue;
            }
            for suiting in &own.suits {
                // The calibration stands once, beside the tool.
                let notes = suiting.notes.iter();
                let notes = notes.filter(|note| !note.contains("calibration"));
                let notes: Vec<&str> = notes.map(String::as_str).collect();
                let use_of = match (suiting.how.as_str(), &notes[..]) {
                    ("", []) => place.clone(),
                    (how, []) => format!("{place}: {how}"),
                    (how, notes) => format!("{place}: {how} ({})", notes.join("; ")),
                };
                lay_out(&mut tonight, status, &suiting.id, use_of);
            }
        }
    }
    for view in &views {
        let is_done = view.mark().is_closed();
        let is_tonight = order
            .iter()
            .any(|(number, _)| *number == view.joint.number());
        if !is_done && !is_tonight {
            tonight.held.push(TonightLine::of(view, view.state.why()));
        }
    }
    let tasks = status.tasks.iter().filter(|task| task.may_be_done);
    tonight.tasks = tasks
        .map(|task| (task.title.clone(), task.line()))
        .collect();
    let parts = status.parts.iter().filter(|part| !part.is_here);
    tonight.parts = parts.cloned().collect();
    tonight
}

/// The joints that can be done now, then those that can once these are final, each with the joints that it waits for.
fn order(
    kept: &Kept<'_>,
    views: &[View<'_>],
    mut standings: Vec<Standing>,
) -> Vec<(u8, Vec<String>)> {
    let mut order: Vec<(u8, Vec<String>)> = Vec::new();
    loop {
        let progress = Progress::with_tasks(
            kept.plan,
            &standings,
            |part| kept.beside.is_here(kept.plan, part),
            |task| match kept.beside.task(task).0 {
                TaskStanding::Done => TaskStanding::Done,
                other => other,
            },
        );
        let mut is_more = false;
        for (state, view) in progress.joints().iter().zip(views) {
            let number = view.joint.number();
            let is_workable = !matches!(state.state, Mark::Waiting) && !state.state.is_closed();
            if !is_workable || order.iter().any(|(own, _)| *own == number) {
                continue;
            }
            let after: Vec<String> = view
                .joint
                .after()
                .filter(|id| {
                    let own = views.iter().find(|other| other.joint.id() == *id);
                    own.is_some_and(|own| !own.mark().is_closed())
                })
                .map(|id| {
                    let own = views.iter().find(|other| other.joint.id() == id);
                    own.map_or(id, |own| own.joint.title()).to_owned()
                })
                .collect();
            order.push((number, after));
            is_more = true;
        }
        if !is_more {
            return order;
        }
        for (number, _) in &order {
            if let Some(standing) = standings.get_mut(usize::from(*number)) {
                *standing = Standing::Final;
            }
        }
    }
}

fn lay_out(tonight: &mut Tonight, status: &Status, id: &str, use_of: String) {
    if let Some(own) = tonight.tools.iter_mut().find(|own| own.tool.id == id) {
        own.uses.push(use_of);
        return;
    }
    let tool = status.tools.iter().find(|tool| tool.id == id);
    tonight.tools.push(TonightTool {
        tool: tool.cloned().unwrap_or_default(),
        uses: vec![use_of],
    });
}

/// What is asked and measured at a joint, as far as it is open.
fn checks(view: &View<'_>) -> Vec<TonightLine> {
    let mut found: Vec<String> = view.unanswered.clone();
    let is_confirmed = view.entries.iter().any(|entry| {
        matches!(&entry.record, evendraw_core::record::Record::Condition(own) if own.matches)
    });
    if let Some(condition) = view.plan.condition.as_ref().filter(|_| !is_confirmed) {
        found.push(format!("are threads and faces {condition}?"));
    }
    for (number, plan) in (0_u8..).zip(&view.plan.stages) {
        let stage = view.plan.procedure.stages().get(usize::from(number));
        let is_asked = stage.is_some_and(|stage| {
            matches!(
                stage.kind,
                StageKind::Check | StageKind::Measure { .. } | StageKind::Fit
            )
        });
        let open = open_steps(view, number);
        if !is_asked || open == 0 {
            continue;
        }
        let each = if open > 1 {
            format!(", {open} times")
        } else {
            String::new()
        };
        found.push(format!(
            "stage {}: {}{each}",
            number.saturating_add(1),
            plan.sentence()
        ));
    }
    match &super::joint::to_witness(view)[..] {
        [] => {}
        [one] => found.push(format!("a second person looks at fastener {one}")),
        labels if labels.len() == view.joint.positions().len() => {
            found.push("a second person looks".to_owned());
        }
        labels => found.push(format!(
            "a second person looks at fasteners {}",
            labels.join(", ")
        )),
    }
    let own = found.into_iter();
    own.map(|what| TonightLine::of(view, what)).collect()
}

fn open_steps(view: &View<'_>, stage: u8) -> usize {
    let own = view
        .steps()
        .filter(|(step, at)| at.stage() == stage && !view.ledger.step(*step).is_settled());
    own.count()
}

/// What must not be left half done at a joint: clocks, passes in turn, one fastener at a time, a trial.
fn whole(view: &View<'_>) -> Vec<TonightLine> {
    let mut found = Vec::new();
    if view.mark() == Mark::InProgress {
        let steps = view.plan.procedure.steps().len();
        let open = view
            .steps()
            .filter(|(step, _)| !view.ledger.step(*step).is_settled());
        let done = steps.saturating_sub(open.count());
        found.push(format!(
            "begun: {done} of {} done; finish it first",
            counted(steps, "step")
        ));
    }
    found.extend(clocks(view));
    let stages = view.plan.procedure.stages();
    let open = |number: u8| open_steps(view, number) > 0;
    let one_at_a_time: Vec<u8> = (0_u8..)
        .zip(&view.plan.stages)
        .filter(|(number, stage)| stage.one_at_a_time && open(*number))
        .map(|(number, _)| number.saturating_add(1))
        .collect();
    if let (Some(first), Some(last)) = (one_at_a_time.first(), one_at_a_time.last()) {
        found.push(format!(
            "stages {first} to {last}: each fastener is finished before the next is loosened"
        ));
    }
    // Passes over a joint that is left between them stand uneven. [common practice, no source]
    let passes: Vec<(u8, &StagePlan)> = (0_u8..)
        .zip(&view.plan.stages)
        .filter(|(number, plan)| {
            let kind = stages.get(usize::from(*number)).map(|stage| stage.kind);
            let tightens = kind.is_some_and(|kind| kind.tightens() && !is_later(&kind));
            tightens && open(*number) && plan.places.len() > 1 && !plan.one_at_a_time
        })
        .collect();
    if passes.len() > 1 {
        let numbers: Vec<String> = passes
            .iter()
            .map(|(own, _)| own.saturating_add(1).to_string())
            .collect();
        let groups = {
            let mut groups: Vec<Vec<u8>> = passes.iter().map(|(_, plan)| sorted(plan)).collect();
            groups.sort();
            groups.dedup();
            groups.len()
        };
        let of = if groups > 1 {
            format!(" over {groups} groups of fasteners in turn")
        } else {
            String::new()
        };
        found.push(format!(
            "{} passes{of} (stages {}): not to be left between two of them",
            passes.len(),
            numbers.join(", ")
        ));
    }
    let is_trial = (0_u8..)
        .zip(stages)
        .any(|(number, stage)| stage.mock_up && open(number));
    if is_trial {
        found.push("a trial: it must come apart again before it counts".to_owned());
    }
    let own = found.into_iter();
    own.map(|what| TonightLine::of(view, what)).collect()
}

const fn is_later(kind: &StageKind) -> bool {
    matches!(kind, StageKind::Later { .. })
}

fn sorted(plan: &StagePlan) -> Vec<u8> {
    let mut places = plan.places.clone();
    places.sort_unstable();
    places
}

/// Clocks that limit the work, and waits that it must stand.
fn clocks(view: &View<'_>) -> Vec<String> {
    let procedure = &view.plan.procedure;
    let mut found = Vec::new();
    for (index, _) in view.steps() {
        let kind = procedure.stage_of(index).map(|stage| stage.kind);
        let Some(StageKind::Wait {
            at_least,
            at_most,
            after,
        }) = kind
        else {
            continue;
        };
        if view.ledger.step(index).is_settled() {
            continue;
        }
        let from = moment(view.plan, after);
        if at_most < Span::MAX {
            let since = |step: u16, stage: u8| match after {
                Moment::Named(_) => step < index,
                Moment::StageDone(own) => step < index && stage > own,
            };
            let pulls = view.steps().filter(|(step, at)| {
                let kind = procedure.stage_of(*step).map(|stage| stage.kind);
                since(*step, at.stage())
                    && kind.is_some_and(|kind| kind.is_pulled())
                    && !view.ledger.step(*step).is_settled()
            });
            found.push(format!(
                "within {} of {from}: {}",
                words::seconds(at_most.micros() / 1_000_000),
                counted(pulls.count(), "pull")
            ));
        }
        if at_most >= Span::MAX && at_least == Span::ZERO {
            found.push(format!("goes on once {from}"));
        }
        if at_least > Span::ZERO {
            found.push(format!(
                "stands {} at least after {from}: it goes on behind that",
                words::seconds(at_least.micros() / 1_000_000)
            ));
        }
    }
    found
}

fn moment(plan: &JointPlan, after: Moment) -> String {
    match after {
        Moment::Named(moment) => plan
            .moments
            .get(usize::from(moment))
            .map_or_else(|| "the moment named".to_owned(), |name| format!("`{name}`")),
        Moment::StageDone(stage) => format!("stage {}", u32::from(stage) + 1),
    }
}

#[cfg(test)]
mod tests;
