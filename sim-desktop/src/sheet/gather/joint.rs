//! One joint: map, stages, checks, fasteners, attempts.
//!
//! Knows nothing of the other joints but for what holds this one.

use evendraw_core::check_sum::crc32;
use evendraw_core::ledger::{Standing, StepState};
use evendraw_core::procedure::{Procedure, Reuse, StageKind, TorqueWindow};
use evendraw_core::record::{Attempt, Entry, Manner, Record};
use evendraw_core::trace::Point;
use evendraw_core::unit::{Angle, Length, Torque};
use evendraw_core::verdict::Verdict;

use super::clock::Clock;
use super::open::held;
use super::sure::{with_remark, with_uncertainty};
use super::{Kept, View};
use crate::plan::StagePlan;
use crate::sheet::export::{Names, line};
use crate::sheet::{
    AttemptRow, CheckRow, Curve, FastenerRow, JointSheet, Limit, Map, Mark, Place, StageCell,
    StageRow,
};
use crate::store::{HostFact, Traces};
use crate::words;

pub(super) fn joint(
    view: &View<'_>,
    views: &[View<'_>],
    names: &Names,
    clock: &Clock,
    kept: &Kept<'_>,
) -> JointSheet {
    let reasons = held(view, views);
    let mark = mark(view, !reasons.is_empty());
    let stages = stages(view);
    let (condition, confirmed) = condition(view, clock);
    JointSheet {
        id: view.joint.id().to_owned(),
        title: view.joint.title().to_owned(),
        mark: Some(mark),
        why: why(view, mark, &reasons),
        map: map(view),
        facts: facts(view),
        condition,
        confirmed,
        checks: checks(view, clock),
        fasteners: fasteners(view, &stages, kept),
        stages,
        attempts: attempts(view, names, clock),
        notes: notes(view, names, clock),
    }
}

fn mark(view: &View<'_>, is_held: bool) -> Mark {
    match view.standing {
        _ if view.fault.is_some() => Mark::Doubtful,
        Standing::Untouched if is_held => Mark::Held,
        Standing::Untouched => Mark::Open,
        Standing::InHand => Mark::InHand,
        Standing::MockUp => Mark::MockUp,
        Standing::Doubtful => Mark::Doubtful,
        Standing::Disturbed => Mark::Disturbed,
        Standing::Final | Standing::RetorqueDue if view.unlike().next().is_some() => Mark::Doubtful,
        Standing::Final => Mark::Done,
        Standing::RetorqueDue => Mark::Due,
    }
}

fn why(view: &View<'_>, mark: Mark, reasons: &[String]) -> String {
    let mut text: Vec<String> = view.joint.note().map(str::to_owned).into_iter().collect();
    if let Some(fault) = &view.fault {
        text.push(fault.clone());
    }
    if mark == Mark::Held {
        text.push(format!("Held: {}.", reasons.join("; ")));
    }
    if mark == Mark::Due {
        text.push("Final but for a retorque after running.".to_owned());
    }
    text.join(" ")
}

/// The state of one fastener over all its steps; none where this joint does nothing to it.
fn fastener_mark(view: &View<'_>, fastener: u8) -> Option<Mark> {
    let (procedure, ledger) = (&view.plan.procedure, &view.ledger);
    let mut states: Vec<StepState> = Vec::new();
    let (mut mock_up_settled, mut begun, mut due) = (false, false, false);
    for (index, step) in (0_u16..).zip(procedure.steps()) {
        if step.fastener() != Some(fastener) {
            continue;
        }
        let state = ledger.step(index);
        let Some(stage) = procedure.stage_of(index) else {
            continue;
        };
        begun |= ledger.begun() == Some(index);
        if matches!(stage.kind, StageKind::Later { .. }) && state == StepState::Open {
            due = true;
        } else {
            mock_up_settled |= stage.mock_up && state.is_settled();
            states.push(state);
        }
    }
    if states.is_empty() && !due {
        return None;
    }
    let any = |wanted: StepState| states.contains(&wanted);
    let settled = states.iter().any(|state| state.is_settled());
    Some(
        if any(StepState::Rejected) || ledger.must_replace(fastener) {
            Mark::Rejected
        } else if any(StepState::Doubtful)
            || ledger.must_decide(fastener)
            || ledger.felt_wrong(fastener)
            || view.unlike().any(|peer| peer.unlike.fastener == fastener)
        {
            Mark::Doubtful
        } else if any(StepState::Disturbed) || ledger.must_loosen(fastener) {
            Mark::Disturbed
        } else if view.standing == Standing::MockUp && mock_up_settled {
            Mark::MockUp
        } else if ledger.is_final(procedure, fastener) {
            match () {
                () if any(StepState::Waived) => Mark::Waived,
                () if any(StepState::Unmeasured) => Mark::Unmeasured,
                () if due => Mark::Due,
                () => Mark::Done,
            }
        } else if settled || begun {
            Mark::InHand
        } else {
            Mark::Open
        },
    )
}

fn map(view: &View<'_>) -> Map {
    let place = |index: u8| {
        view.plan
            .base
            .iter()
            .position(|&fastener| fastener == index)
            .map(|at| at + 1)
    };
    let is_any_order = matches!(view.plan.order, crate::plan::Order::Any);
    let places = (0_u8..)
        .zip(view.joint.positions())
        .map(|(index, position)| Place {
            label: position.label.clone(),
            x_mm: position.x_mm,
            y_mm: position.y_mm,
            mark: fastener_mark(view, index),
            order: place(index).filter(|_| !is_any_order),
        })
        .collect();
    Map {
        places,
        front: view.joint.front().unwrap_or_default().to_owned(),
    }
}

fn facts(view: &View<'_>) -> Vec<(String, String)> {
    let plan = view.plan;
    let mut facts: Vec<(String, String)> = Vec::new();
    let mut put = |name: &str, text: Option<String>| {
        if let Some(text) = text.filter(|text| !text.is_empty()) {
            facts.push((name.to_owned(), text));
        }
    };
    put("Thread", plan.thread.clone());
    put(
        "Class",
        plan.class
            .clone()
            .or(plan.grade.as_ref().map(|grade| format!("grade {grade}"))),
    );
    put("Grip", plan.grip.clone());
    put(
        "Order",
        Some(plan.order.word().to_owned())
            .filter(|word| word != "own")
            .or(Some("as the plan lists".to_owned())),
    );
    put(
        "Used again",
        match plan.procedure.terms().reuse {
            Reuse::Free => None,
            Reuse::ReplaceIfLoosened => {
                Some("new once it has been tightened and loosened".to_owned())
            }
            Reuse::Cycles(cycles) => Some(format!("new after {cycles} tightenings")),
        },
    );
    put(
        "Offset adapter",
        plan.access.as_ref().map(|access| {
            format!(
                "lever {}, offset {}, angle {}",
                access.lever.1, access.offset.1, access.angle.1
            )
        }),
    );
    let shares: Vec<String> = view
        .joint
        .shares()
        .iter()
        .map(|share| {
            format!(
                "{} is {} of {}",
                view.joint.label(share.fastener),
                share.label,
                share.joint
            )
        })
        .collect();
    put("Shared", Some(shares.join("; ")));
    let needs: Vec<&str> = view.joint.needs().collect();
    put("Needs", Some(needs.join(", ")));
    let closes: Vec<&str> = view.joint.closes().collect();
    put("Closes over", Some(closes.join(", ")));
    facts
}

fn condition(view: &View<'_>, clock: &Clock) -> (String, String) {
    let found = view
        .entries
        .iter()
        .rev()
        .find_map(|entry| match &entry.record {
            Record::Condition(condition) => Some((condition, entry)),
            _ => None,
        });
    let confirmed = found.map_or_else(String::new, |(condition, entry)| {
        let word = if condition.matches {
            "as the plan assumes"
        } else {
            "NOT as the plan assumes"
        };
        format!("{}, {word} ({})", condition.found, clock.when(entry))
    });
    (view.plan.condition.clone().unwrap_or_default(), confirmed)
}

fn stages(view: &View<'_>) -> Vec<StageRow> {
    let procedure = &view.plan.procedure;
    (0_u8..)
        .zip(procedure.stages())
        .map(|(number, stage)| {
            let plan = view.plan.stage(number);
            let has_column = procedure
                .steps()
                .iter()
                .any(|step| step.stage() == number && step.fastener().is_some());
            let what = plan.map_or("stage", |plan| plan.word).to_owned();
            StageRow {
                number: usize::from(number) + 1,
                what: match plan.and_then(|plan| plan.name.as_ref()) {
                    Some(name) => format!("{what} ({name})"),
                    None => what,
                },
                printed: plan.map(printed).unwrap_or_default(),
                window: with_uncertainty(view, number, window(procedure, number)),
                has_column,
                mock_up: stage.mock_up,
            }
        })
        .collect()
}

/// The stage's own figures as typed.
fn printed(plan: &StagePlan) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut put = |text: Option<String>| parts.extend(text);
    put(plan.ask.clone());
    put(plan.target.clone());
    put(plan.within.clone());
    put(plan
        .printed
        .as_ref()
        .map(|printed| format!("printed beside it {printed}")));
    put(plan
        .end_torque
        .as_ref()
        .map(|torque| format!("end torque {torque}")));
    put(plan
        .prevailing
        .as_ref()
        .map(|torque| match torque.as_str() {
            "measure" => "plus the running torque measured".to_owned(),
            torque => format!("plus {torque} running torque"),
        }));
    put(plan.time.clone());
    put(plan.due.clone());
    put(plan.one_sweep.then(|| "in one sweep".to_owned()));
    put(plan.note.clone());
    parts.join(", ")
}

pub(super) fn torque_window(window: &TorqueWindow) -> String {
    let number = words::torque_number;
    if window.max >= Torque::MAX {
        format!("at least {}", words::torque(window.min))
    } else if window.min <= Torque::ZERO {
        format!("at most {}", words::torque(window.max))
    } else {
        format!("{} to {}", number(window.min), words::torque(window.max))
    }
}

fn angle_window(min: Angle, max: Angle) -> String {
    if max >= Angle::MAX {
        format!("at least {}", words::angle(min))
    } else {
        format!("{} to {}", words::angle(min), words::angle(max))
    }
}

/// The limits in SI units, of the stage itself; fasteners with their own are told apart in their cells.
fn window(procedure: &Procedure, number: u8) -> String {
    let Some(stage) = procedure.stages().get(usize::from(number)) else {
        return String::new();
    };
    match &stage.kind {
        StageKind::Tighten { window, .. }
        | StageKind::Repeat { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. } => torque_window(window),
        StageKind::Turn { window, torque, .. } => {
            let angle = angle_window(window.min, window.max);
            match torque {
                Some(torque) => format!("{angle}, {}", torque_window(torque)),
                None => angle,
            }
        }
        StageKind::Hold {
            torque,
            time,
            still,
        } => format!(
            "{} for {}, at most {} of movement",
            words::torque(*torque),
            words::seconds(time.micros() / 1_000_000),
            words::angle(*still)
        ),
        StageKind::BackOff { angle: Some(angle) } => words::angle(*angle),
        StageKind::Seat { turns } => words::angle(*turns),
        StageKind::Measure { min, max } => {
            let open = |value: Length| value.micrometers().abs() >= Length::MAX.micrometers();
            match (open(*min), open(*max)) {
                (true, true) => "any".to_owned(),
                (true, false) => format!("at most {}", words::length(*max)),
                (false, true) => format!("at least {}", words::length(*min)),
                (false, false) => format!("{} to {}", words::length(*min), words::length(*max)),
            }
        }
        StageKind::BackOff { angle: None }
        | StageKind::Check
        | StageKind::Wait { .. }
        | StageKind::Fit => String::new(),
    }
}

fn step_mark(state: StepState, stage: &StageKind, mock_up: bool) -> Mark {
    match state {
        StepState::Open if matches!(stage, StageKind::Later { .. }) => Mark::Due,
        StepState::Open => Mark::Open,
        StepState::Done if mock_up => Mark::MockUp,
        StepState::Done => Mark::Done,
        StepState::Unmeasured => Mark::Unmeasured,
        StepState::Waived => Mark::Waived,
        StepState::Rejected => Mark::Rejected,
        StepState::Doubtful => Mark::Doubtful,
        StepState::Disturbed => Mark::Disturbed,
    }
}

/// The last word of the records on a step, and the tool that was named before it.
fn last_on<'e>(view: &View<'e>, step: u16) -> Option<(&'e Entry, Option<&'e str>)> {
    let (mut tool, mut found) = (None, None);
    for &entry in &view.entries {
        match &entry.record {
            Record::Tool(named) => tool = Some(named.id.as_str()),
            // Whoever starts the program again names the tool again.
            Record::Started(_) => tool = None,
            Record::Attempt(attempt) if attempt.step == step => found = Some((entry, tool)),
            Record::Done(done) if done.step == step => found = Some((entry, None)),
            Record::Measured(measured) if measured.step == step => found = Some((entry, None)),
            _ => {}
        }
    }
    found
}

fn fasteners(view: &View<'_>, stages: &[StageRow], kept: &Kept<'_>) -> Vec<FastenerRow> {
    let order = |index: u8| {
        view.plan
            .base
            .iter()
            .position(|&fastener| fastener == index)
            .map(|at| at + 1)
    };
    let columns: Vec<u8> = stages
        .iter()
        .filter(|stage| stage.has_column)
        .filter_map(|stage| u8::try_from(stage.number - 1).ok())
        .collect();
    let mut rows: Vec<FastenerRow> = (0_u8..)
        .zip(view.joint.positions())
        .map(|(index, position)| FastenerRow {
            label: position.label.clone(),
            order: order(index),
            mark: fastener_mark(view, index),
            cells: columns
                .iter()
                .map(|&stage| cell(view, index, stage))
                .collect(),
            remarks: remarks(view, index, kept),
            curve: curve(view, index, kept),
        })
        .collect();
    rows.sort_by_key(|row| row.order.unwrap_or(usize::MAX));
    rows
}

fn cell(view: &View<'_>, fastener: u8, number: u8) -> StageCell {
    let procedure = &view.plan.procedure;
    let step = (0_u16..)
        .zip(procedure.steps())
        .find(|(_, step)| step.fastener() == Some(fastener) && step.stage() == number);
    let (Some((index, _)), Some(stage)) = (step, procedure.stages().get(usize::from(number)))
    else {
        return StageCell::default();
    };
    let state = view.ledger.step(index);
    let own = view.plan.stage(number).and_then(|plan| {
        plan.each
            .iter()
            .find(|(which, _)| *which == fastener)
            .map(|(_, text)| text.clone())
    });
    let mut cell = StageCell {
        mark: Some(step_mark(state, &stage.kind, stage.mock_up)),
        target: own.unwrap_or_default(),
        attempts: usize::from(view.ledger.attempts(index)),
        ..StageCell::default()
    };
    let Some((entry, tool)) = last_on(view, index).filter(|_| state != StepState::Open) else {
        return cell;
    };
    match &entry.record {
        Record::Attempt(attempt) => {
            cell.reached = reached(attempt, &stage.kind);
            cell.detail = with_remark(view, entry, attempt, detail(attempt, &stage.kind));
            cell.tool = tool.unwrap_or_default().to_owned();
        }
        Record::Done(done) => {
            cell.reached = match done.manner {
                Manner::Hand => "by hand".to_owned(),
                Manner::Paper => "from paper".to_owned(),
            };
        }
        Record::Measured(measured) => cell.reached = words::length(measured.length),
        _ => {}
    }
    match state {
        StepState::Disturbed if !cell.reached.is_empty() => {
            cell.reached = format!("was {}", cell.reached)
        }
        StepState::Unmeasured if matches!(entry.record, Record::Attempt(_)) => {
            cell.detail = "seen by a mark, not measured".to_owned();
        }
        _ => {}
    }
    cell
}

/// What an attempt ended at: torque, or for a turn the angle and the torque it took.
pub(super) fn reached(attempt: &Attempt, kind: &StageKind) -> String {
    let torque = words::torque(attempt.settled);
    let angle = attempt
        .angle
        .map_or_else(|| "angle unknown".to_owned(), words::angle);
    match kind {
        StageKind::Turn { .. } => format!("{angle} at {torque}"),
        StageKind::BackOff { .. } => format!("{angle} back"),
        StageKind::Repeat { .. } | StageKind::Hold { .. } => format!("{torque}, moved {angle}"),
        _ => torque,
    }
}

fn detail(attempt: &Attempt, kind: &StageKind) -> String {
    let mut parts = Vec::new();
    // A peak within 1 % of the final torque says nothing more.
    let apart = (attempt.peak - attempt.settled).millinewton_meters();
    if i64::from(apart) * 100 > i64::from(attempt.settled.millinewton_meters().abs()) {
        parts.push(format!("peak {}", words::torque(attempt.peak)));
    }
    if let (
        StageKind::Tighten { .. } | StageKind::Later { .. } | StageKind::Align { .. },
        Some(angle),
    ) = (kind, attempt.angle)
    {
        parts.push(format!("{} from snug", words::angle(angle)));
    }
    parts.extend(words::added(attempt.prevailing));
    if attempt.pulls > 1 {
        parts.push(format!("{} pulls", attempt.pulls));
    }
    parts.join(", ")
}

fn remarks(view: &View<'_>, fastener: u8, kept: &Kept<'_>) -> String {
    let ledger = &view.ledger;
    let mut parts = Vec::new();
    if ledger.is_new(fastener) {
        parts.push("new fitted".to_owned());
    }
    match ledger.cycles(fastener) {
        0 => {}
        1 => parts.push("tightened once".to_owned()),
        cycles => parts.push(format!("tightened {cycles} times")),
    }
    if ledger.is_marked(fastener) {
        parts.push("marked".to_owned());
    }
    if let Some(share) = view
        .joint
        .shares()
        .iter()
        .find(|share| share.fastener == fastener)
    {
        parts.push(format!("shared with {}", share.joint));
    }
    let is_one_of_few = view.joint.witness().len() < view.joint.positions().len();
    if is_one_of_few && view.joint.witness().contains(&fastener) && !has_witness(view) {
        parts.push("not witnessed".to_owned());
    }
    let clamp = kept.content.host_facts().filter_map(|fact| match fact {
        HostFact::Clamp {
            joint,
            fastener: which,
            newtons,
            ..
        } if *joint == view.joint.number() && *which == fastener => Some(*newtons),
        _ => None,
    });
    if let Some(newtons) = clamp.last() {
        parts.push(format!(
            "clamps {:.1} kN on the bench",
            f64::from(newtons) / 1_000.0
        ));
    }
    parts.join(", ")
}

pub(super) fn has_witness(view: &View<'_>) -> bool {
    use evendraw_core::record::Role;
    view.entries.iter().any(
        |entry| matches!(&entry.record, Record::Person(person) if person.role == Role::Witness),
    )
}

/// The kept points of an attempt, if they are the ones that were judged.
pub(super) fn kept_points(kept: &Kept<'_>, entry: &Entry, attempt: &Attempt) -> Option<Vec<Point>> {
    if attempt.trace == 0 {
        return None;
    }
    let points = kept.traces?.load(entry.joint, entry.seq)?;
    (digest(&points) == attempt.trace).then_some(points)
}

/// What became of the curve of an attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trace {
    /// None was recorded.
    None,
    /// It is there, and is the one that was judged.
    Kept,
    /// It is not there, or does not read.
    Missing,
    /// Another one is there.
    Changed,
}

impl Trace {
    /// The word that scripts use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Kept => "kept",
            Self::Missing => "missing",
            Self::Changed => "changed",
        }
    }
}

/// Looks for the curve of an attempt.
#[must_use]
pub fn kept_trace(traces: &Traces, entry: &Entry, attempt: &Attempt) -> Trace {
    if attempt.trace == 0 {
        return Trace::None;
    }
    match traces.load(entry.joint, entry.seq) {
        None => Trace::Missing,
        Some(points) if digest(&points) == attempt.trace => Trace::Kept,
        Some(_) => Trace::Changed,
    }
}

/// As [`evendraw_core::trace::Trace::digest`] sums them.
fn digest(points: &[Point]) -> u32 {
    points.iter().fold(0, |sum, point| {
        let sum = crc32(sum, &point.millis.to_le_bytes());
        let sum = crc32(sum, &point.torque.millinewton_meters().to_le_bytes());
        crc32(sum, &point.rotation.millidegrees().to_le_bytes())
    })
}

/// The last pull that tightened this fastener and whose trace is kept.
fn curve(view: &View<'_>, fastener: u8, kept: &Kept<'_>) -> Option<Curve> {
    let procedure = &view.plan.procedure;
    let (attempt, points) = view
        .entries
        .iter()
        .rev()
        .find_map(|entry| match &entry.record {
            Record::Attempt(attempt) if attempt.fastener == fastener => {
                let stage = procedure.stages().get(usize::from(attempt.stage))?;
                let points = stage
                    .kind
                    .tightens()
                    .then(|| kept_points(kept, entry, attempt))??;
                Some((attempt, points))
            }
            _ => None,
        })?;
    let newton_meters = |torque: Torque| f64::from(torque.millinewton_meters()) / 1_000.0;
    let window = evendraw_core::audit::torque_window(procedure, attempt);
    Some(Curve {
        points: points
            .iter()
            .map(|point| {
                (
                    f64::from(point.rotation.millidegrees()) / 1_000.0,
                    newton_meters(point.torque),
                )
            })
            .collect(),
        limit: Limit {
            torque_nm: window.map(|window| (newton_meters(window.min), newton_meters(window.max))),
        },
        of: format!("stage {}", u32::from(attempt.stage) + 1),
    })
}

fn checks(view: &View<'_>, clock: &Clock) -> Vec<CheckRow> {
    let procedure = &view.plan.procedure;
    let mut rows = Vec::new();
    for (index, step) in (0_u16..).zip(procedure.steps()) {
        let Some(stage) = procedure.stages().get(usize::from(step.stage())) else {
            continue;
        };
        let is_asked = matches!(stage.kind, StageKind::Check | StageKind::Wait { .. });
        let has_cell = step.fastener().is_some() || matches!(stage.kind, StageKind::Repeat { .. });
        if !is_asked && has_cell {
            continue;
        }
        let state = view.ledger.step(index);
        let last = view.entries.iter().rev().find(|entry| match &entry.record {
            Record::Answered(answered) => answered.step == index,
            Record::Waited(waited) => waited.step == index,
            Record::Measured(measured) => measured.step == index,
            Record::Done(done) => done.step == index,
            Record::Skipped(skipped) => skipped.step == index,
            _ => false,
        });
        let (answer, by) = match last {
            None => ("not answered".to_owned(), String::new()),
            Some(entry) => answer_of(entry, clock),
        };
        let question = view
            .plan
            .stage(step.stage())
            .map(StagePlan::sentence)
            .unwrap_or_default();
        let stage_number = u32::from(step.stage()) + 1;
        let whom = step
            .fastener()
            .map(|fastener| format!(" (fastener {})", view.joint.label(fastener)));
        rows.push(CheckRow {
            question: format!(
                "Stage {stage_number}{}: {question}",
                whom.unwrap_or_default()
            ),
            answer,
            mark: step_mark(state, &stage.kind, false),
            by,
        });
    }
    rows
}

fn answer_of(entry: &Entry, clock: &Clock) -> (String, String) {
    let when = clock.when(entry);
    match &entry.record {
        Record::Answered(answered) => {
            let word = if answered.yes { "yes" } else { "NO" };
            let by = if answered.note.is_empty() {
                when
            } else {
                format!("{}, {when}", answered.note)
            };
            (word.to_owned(), by)
        }
        Record::Waited(waited) => {
            let word = if waited.verdict == Verdict::Accepted {
                "waited"
            } else {
                "TOO LATE after"
            };
            (
                format!("{word} {}", words::seconds(u64::from(waited.seconds))),
                when,
            )
        }
        Record::Measured(measured) => (
            format!(
                "{}, {}",
                words::length(measured.length),
                words::verdict(measured.verdict)
            ),
            when,
        ),
        Record::Done(done) => match done.manner {
            Manner::Hand => ("done".to_owned(), when),
            Manner::Paper => ("ticked on paper".to_owned(), when),
        },
        Record::Skipped(skipped) => ("LEFT OUT".to_owned(), format!("{}, {when}", skipped.reason)),
        _ => (String::new(), when),
    }
}

fn attempts(view: &View<'_>, names: &Names, clock: &Clock) -> Vec<AttemptRow> {
    let procedure = &view.plan.procedure;
    let mut rows = Vec::new();
    for (at, entry) in view.entries.iter().enumerate() {
        let Record::Attempt(attempt) = &entry.record else {
            continue;
        };
        if attempt.verdict == Verdict::Accepted
            && attempt.attempt <= 1
            && attempt.reasons.is_empty()
        {
            continue;
        }
        let Some(stage) = procedure.stages().get(usize::from(attempt.stage)) else {
            continue;
        };
        let mut parts = vec![reached(attempt, &stage.kind)];
        let more = with_remark(view, entry, attempt, detail(attempt, &stage.kind));
        if !more.is_empty() {
            parts.push(more);
        }
        let followed = followed(view, at, attempt, names);
        rows.push(AttemptRow {
            place: format!(
                "fastener {}, stage {}",
                view.joint.label(attempt.fastener),
                u32::from(attempt.stage) + 1
            ),
            attempt: usize::from(attempt.attempt),
            reached: parts.join(", "),
            mark: match attempt.verdict {
                Verdict::Accepted => Mark::Accepted,
                Verdict::Rejected => Mark::Rejected,
                Verdict::Unknown => Mark::Doubtful,
            },
            reasons: words::reasons(attempt.reasons),
            followed,
            when: clock.when(entry),
        });
    }
    rows
}

/// What was decided and done about an attempt, up to the next one on the same fastener.
fn followed(view: &View<'_>, at: usize, attempt: &Attempt, names: &Names) -> String {
    let mut told = Vec::new();
    for entry in view.entries.iter().skip(at + 1) {
        let tells = match &entry.record {
            Record::Attempt(next) if next.fastener == attempt.fastener => break,
            Record::Decided(decided) => decided.step == attempt.step,
            Record::Skipped(skipped) => skipped.step == attempt.step,
            Record::Loosened(loosened) => loosened.fastener == attempt.fastener,
            Record::Fitted(fitted) => fitted.fastener == attempt.fastener,
            Record::Noted(noted) => noted.fastener == Some(attempt.fastener),
            _ => false,
        };
        if tells {
            let text = line(names, entry);
            // The row says already which fastener it is.
            told.push(
                text.split_once(": ")
                    .map_or(text.clone(), |(_, what)| what.to_owned()),
            );
        }
    }
    if told.is_empty() && attempt.verdict != Verdict::Accepted {
        return if view.ledger.must_decide(attempt.fastener) {
            "a decision is waited for".to_owned()
        } else if view.ledger.step(attempt.step).is_settled() {
            "pulled again".to_owned()
        } else {
            "nothing yet".to_owned()
        };
    }
    told.join("; ")
}

fn notes(view: &View<'_>, names: &Names, clock: &Clock) -> Vec<String> {
    view.entries
        .iter()
        .filter(|entry| {
            matches!(
                &entry.record,
                Record::Noted(_)
                    | Record::Pass(_)
                    | Record::Rechecked(_)
                    | Record::Moment(_)
                    | Record::Apart(_)
                    | Record::Due(_)
            ) || matches!(&entry.record, Record::Zero(zero) if !zero.taken)
        })
        .map(|entry| format!("{} ({})", line(names, entry), clock.when(entry)))
        .collect()
}
