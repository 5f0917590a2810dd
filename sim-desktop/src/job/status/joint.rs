//! One joint: its stages, fasteners, checks and attempts, each with its state.
//!
//! Knows nothing of the other joints but for what holds this one.

use evendraw_core::ledger::{Standing, StepState};
use evendraw_core::procedure::{Hand, Procedure, Reuse, Stage, StageKind};
use evendraw_core::record::{Attempt, Entry, Manner, Record, Role};
use evendraw_core::session::Next;
use evendraw_core::unit::{Angle, Torque};
use evendraw_core::verdict::Verdict;

use super::clock::Clock;
use super::hands::InHand;
use super::sure::{with_remark, with_uncertainty};
use super::telling::{self, List, Names, tell, verdict_mark};
use super::{
    AttemptRow, CheckRow, FastenerStatus, How, JointStatus, Kept, Shown, StageCell, StageStatus,
    View, attempt_of, curve_of, evidence,
};
use crate::mark::Mark;
use crate::plan::{Joint, JointPlan, Order, StagePlan};
use crate::quantity::newton_meters;
use crate::store::HostFact;
use crate::words;

pub(super) fn status(
    view: &View<'_>,
    names: &Names,
    clock: &Clock,
    kept: &Kept<'_>,
) -> JointStatus {
    let step = view.next.and_then(|next| step_of(view, next));
    let stage = step
        .and_then(|step| view.plan.procedure.step_at(step))
        .map_or(view.plan.stages.len().saturating_sub(1), |step| {
            usize::from(step.stage())
        });
    let (confirmed, is_as_assumed) = confirmed(view, clock);
    let settled = |step: &(u16, _)| view.ledger.step(step.0).is_settled();
    let text = |text: Option<&str>| text.unwrap_or_default().to_owned();
    JointStatus {
        number: view.joint.number(),
        id: view.joint.id().to_owned(),
        title: view.joint.title().to_owned(),
        mark: view.mark(),
        why: why(view, step),
        note: text(view.joint.note()),
        holds: view.state.holds.clone(),
        closed_over: view.state.closed_over.clone(),
        evidence: evidence::tally(view),
        done: view.steps().filter(settled).count(),
        steps: view.plan.procedure.steps().len(),
        next: view.next,
        step,
        stage,
        path: path(&view.plan.procedure, stage),
        is_left_hand: view.plan.procedure.terms().hand == Hand::Left,
        front: text(view.joint.front()),
        differs: view.differs.clone(),
        what: what(view.plan),
        facts: facts(view),
        condition: view.plan.condition.clone().unwrap_or_default(),
        confirmed,
        is_as_assumed,
        witness: witness(view),
        to_witness: to_witness(view),
        at_adapter: kept.adapter(view.joint.number()).map(str::to_owned),
        checks: checks(view, names, clock),
        fasteners: fasteners(view, stage, kept),
        stages: stages(view),
        attempts: attempts(view, names, clock),
        notes: notes(view, names, clock),
        clamps: clamps(view, kept),
    }
}

/// Why it stands so: what is next where it is begun, else what stands in its way.
fn why(view: &View<'_>, step: Option<u16>) -> String {
    if let Some(fault) = &view.fault {
        return format!("its records cannot be taken up: {fault}");
    }
    if let Some(own) = view.differs.iter().find(|own| own.mark == Mark::Doubtful) {
        return own.line();
    }
    match step_words(view, step) {
        words if view.mark() == Mark::InProgress && !words.is_empty() => format!("next: {words}"),
        _ => view.state.why(),
    }
}

/// `fastener 7, stage 2 of 3`, as far as each applies.
pub(super) fn step_words(view: &View<'_>, step: Option<u16>) -> String {
    let at = step.and_then(|step| view.plan.procedure.step_at(step));
    let Some(at) = at else { return String::new() };
    let stages = view.plan.stages.len();
    let stage = format!("stage {} of {stages}", u32::from(at.stage()) + 1);
    match at.fastener() {
        Some(fastener) => format!("fastener {}, {stage}", view.joint.label(fastener)),
        None => stage,
    }
}

/// The step that is next, whatever is to be done at it.
pub(super) fn step_of(view: &View<'_>, next: Next) -> Option<u16> {
    let first = |wanted: &dyn Fn(Option<u8>) -> bool| {
        let mut steps = view.steps();
        let open = steps.find(|(index, step)| {
            wanted(step.fastener()) && !view.ledger.step(*index).is_settled()
        });
        open.map(|(index, _)| index)
    };
    if let Some(step) = next.step() {
        return Some(step);
    }
    match next {
        Next::Loosen { fastener } | Next::Replace { fastener } | Next::Settle { fastener } => {
            first(&|own| own == Some(fastener)).or_else(|| {
                let mut steps = view.steps();
                let own = steps.find(|(_, step)| step.fastener() == Some(fastener));
                own.map(|(index, _)| index)
            })
        }
        _ => first(&|_| true),
    }
}

/// The fasteners of a stage in the order of work; for a stage of the whole joint, every fastener.
fn path(procedure: &Procedure, stage: usize) -> Vec<usize> {
    let at_stage = procedure
        .steps()
        .iter()
        .filter(|step| usize::from(step.stage()) == stage);
    let path: Vec<usize> = at_stage
        .filter_map(|step| step.fastener().map(usize::from))
        .collect();
    if path.is_empty() {
        (0..procedure.fasteners().len()).collect()
    } else {
        path
    }
}

pub(super) fn what(plan: &JointPlan) -> String {
    let grade = plan.grade.as_ref().map(|grade| format!("grade {grade}"));
    let parts = [
        plan.thread.clone(),
        plan.class.clone().or(grade),
        plan.condition.clone(),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// How one fastener stands, over all its steps; none where this joint does nothing to it.
fn fastener_mark(view: &View<'_>, fastener: u8, stage: usize) -> Option<Mark> {
    let (procedure, ledger) = (&view.plan.procedure, &view.ledger);
    let (mut states, mut here): (Vec<StepState>, Option<StepState>) = (Vec::new(), None);
    let (mut mock_up_settled, mut begun, mut due) = (false, false, false);
    for (index, step) in view.steps() {
        if step.fastener() != Some(fastener) {
            continue;
        }
        let state = ledger.step(index);
        let Some(own) = procedure.stage_of(index) else {
            continue;
        };
        begun |= ledger.begun() == Some(index);
        if usize::from(step.stage()) == stage {
            here = Some(state);
        }
        if is_later(own) && state == StepState::Open {
            due = true;
        } else {
            mock_up_settled |= own.mock_up && state.is_settled();
            states.push(state);
        }
    }
    if states.is_empty() && !due {
        return None;
    }
    let any = |wanted: StepState| states.contains(&wanted);
    let is_final = ledger.is_final(procedure, fastener);
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
        } else if is_final {
            match () {
                () if any(StepState::Waived) => Mark::Skipped,
                () if any(StepState::Unmeasured) => Mark::Unmeasured,
                () if due => Mark::Due,
                () => Mark::Final,
            }
        } else if let Some(here) = here.filter(|here| here.is_settled()) {
            // Done for the pass in hand.
            match here {
                StepState::Waived => Mark::Skipped,
                StepState::Unmeasured => Mark::Unmeasured,
                _ => Mark::Accepted,
            }
        } else if begun || states.iter().any(|state| state.is_settled()) {
            Mark::InProgress
        } else {
            Mark::Open
        },
    )
}

fn is_later(stage: &Stage) -> bool {
    matches!(stage.kind, StageKind::Later { .. })
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
        "Direction",
        (plan.procedure.terms().hand == Hand::Left)
            .then(|| "LEFT-HAND THREAD: tightens anticlockwise".to_owned()),
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
    put("Covers", Some(closes.join(", ")));
    facts
}

/// What was found on the threads, and whether it is what the plan assumes.
fn confirmed(view: &View<'_>, clock: &Clock) -> (String, bool) {
    let found = view
        .entries
        .iter()
        .rev()
        .find_map(|entry| match &entry.record {
            Record::Condition(condition) => Some((condition, entry)),
            _ => None,
        });
    found.map_or((String::new(), false), |(condition, entry)| {
        let word = if condition.matches {
            "as the plan assumes"
        } else {
            "NOT as the plan assumes"
        };
        let words = format!("{}, {word} ({})", condition.found, clock.when(entry));
        (words, condition.matches)
    })
}

/// The second person who looked last.
fn witness(view: &View<'_>) -> Option<String> {
    view.entries
        .iter()
        .rev()
        .find_map(|entry| match &entry.record {
            Record::Person(person) if person.role == Role::Witness => Some(person.name.to_string()),
            _ => None,
        })
}

/// The fasteners that a second person must still look at.
pub(super) fn to_witness(view: &View<'_>) -> Vec<String> {
    if witness(view).is_some() {
        return Vec::new();
    }
    let labels = view.joint.second_look().iter();
    labels
        .map(|own| view.joint.label(*own).to_owned())
        .collect()
}

fn stages(view: &View<'_>) -> Vec<StageStatus> {
    let procedure = &view.plan.procedure;
    (0_u8..)
        .zip(procedure.stages())
        .map(|(number, stage)| {
            let plan = view.plan.stage(number);
            let own = || view.steps().filter(move |(_, step)| step.stage() == number);
            let states: Vec<StepState> = own().map(|(index, _)| view.ledger.step(index)).collect();
            let done = states.iter().filter(|state| state.is_settled()).count();
            let what = plan.map_or("stage", |plan| plan.word).to_owned();
            StageStatus {
                number: usize::from(number) + 1,
                what: match plan.and_then(|plan| plan.name.as_ref()) {
                    Some(name) => format!("{what} ({name})"),
                    None => what,
                },
                sentence: plan.map(StagePlan::sentence).unwrap_or_default(),
                printed: plan.map(printed).unwrap_or_default(),
                window: with_uncertainty(
                    view,
                    number,
                    window(procedure, number, Shown::at(view.plan, number)),
                ),
                has_column: own().any(|(_, step)| step.fastener().is_some()),
                mock_up: stage.mock_up,
                mark: stage_mark(stage, &states, done),
                done,
                of: states.len(),
            }
        })
        .collect()
}

fn stage_mark(stage: &Stage, states: &[StepState], done: usize) -> Mark {
    let gravest = states
        .iter()
        .filter(|state| {
            matches!(
                state,
                StepState::Rejected | StepState::Doubtful | StepState::Disturbed
            )
        })
        .map(|state| step_mark(*state, stage))
        .min_by_key(|mark| mark.gravity());
    match gravest {
        Some(mark) => mark,
        None if done < states.len() && done > 0 => Mark::InProgress,
        None if done < states.len() || states.is_empty() => step_mark(StepState::Open, stage),
        None => {
            let marks = states.iter().map(|state| step_mark(*state, stage));
            // Where every one of them was skipped, so was the stage.
            marks
                .max_by_key(|mark| mark.gravity())
                .unwrap_or(Mark::Open)
        }
    }
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
    put(plan
        .evidence
        .map(|evidence| format!("evidence: {evidence}")));
    put(plan.note.clone());
    parts.join(", ")
}

/// The limits of the stage itself, in the plan's unit and in N·m; fasteners with their own are told apart in their cells.
pub(super) fn window(procedure: &Procedure, number: u8, shown: Shown) -> String {
    let Some(stage) = procedure.stages().get(usize::from(number)) else {
        return String::new();
    };
    match &stage.kind {
        StageKind::Tighten { window, .. }
        | StageKind::Repeat { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. } => shown.window(window),
        StageKind::Turn { window, torque, .. } => {
            let angle = if window.max >= Angle::MAX {
                format!("at least {}", words::angle(window.min))
            } else {
                format!(
                    "{} to {}",
                    words::angle(window.min),
                    words::angle(window.max)
                )
            };
            match torque {
                Some(torque) => format!("{angle}, {}", shown.window(torque)),
                None => angle,
            }
        }
        StageKind::Hold {
            torque,
            time,
            still,
        } => format!(
            "{} for {}, at most {} of movement",
            shown.words(*torque),
            words::seconds(time.micros() / 1_000_000),
            words::angle(*still)
        ),
        StageKind::BackOff { angle: Some(angle) } => words::angle(*angle),
        StageKind::Seat { turns } => words::angle(*turns),
        StageKind::Measure { min, max } => words::length_window(*min, *max),
        StageKind::BackOff { angle: None }
        | StageKind::Check
        | StageKind::Wait { .. }
        | StageKind::Fit => String::new(),
    }
}

fn step_mark(state: StepState, stage: &Stage) -> Mark {
    match state {
        StepState::Open if is_later(stage) => Mark::Due,
        StepState::Open => Mark::Open,
        StepState::Done if stage.mock_up => Mark::MockUp,
        StepState::Done => Mark::Accepted,
        StepState::Unmeasured => Mark::Unmeasured,
        StepState::Waived => Mark::Skipped,
        StepState::Rejected => Mark::Rejected,
        StepState::Doubtful => Mark::Doubtful,
        StepState::Disturbed => Mark::Disturbed,
    }
}

/// The last word of the records on a step, and the tool that was named before it.
fn last_on<'e>(view: &View<'e>, step: u16) -> Option<(&'e Entry, Option<&'e str>)> {
    let (mut hand, mut found) = (InHand::default(), None);
    for &entry in &view.entries {
        let named = match &entry.record {
            Record::Tool(named) => Some(named.id.as_str()),
            _ => None,
        };
        hand.take(&entry.record, |_| named);
        let tool = hand.tool().copied();
        match &entry.record {
            // A box ticked on paper says nothing of a tool.
            Record::Done(done) if done.step == step => {
                let by_hand = done.manner == Manner::Hand;
                found = Some((entry, tool.filter(|_| by_hand)));
            }
            Record::Measured(measured) if measured.step == step => found = Some((entry, None)),
            record => {
                if attempt_of(record).is_some_and(|attempt| attempt.step == step) {
                    found = Some((entry, tool));
                }
            }
        }
    }
    found
}

fn fasteners(view: &View<'_>, stage: usize, kept: &Kept<'_>) -> Vec<FastenerStatus> {
    let is_any_order = matches!(view.plan.order, Order::Any);
    let order = |index: u8| {
        let at = view.plan.base.iter().position(|&own| own == index);
        at.map(|at| at + 1).filter(|_| !is_any_order)
    };
    let stages = (0_u8..).zip(view.plan.procedure.stages());
    (0_u8..)
        .zip(view.joint.positions())
        .map(|(index, position)| FastenerStatus {
            label: position.label.clone(),
            x_mm: position.x_mm,
            y_mm: position.y_mm,
            place: place_words(view.joint, usize::from(index)),
            order: order(index),
            mark: fastener_mark(view, index, stage),
            cells: stages
                .clone()
                .map(|(stage, _)| cell(view, index, stage))
                .collect(),
            is_marked: view.ledger.is_marked(index),
            is_new: view.ledger.is_new(index),
            remarks: remarks(view, index, kept),
            curve: last_curve(view, index, kept),
        })
        .collect()
}

/// Where a fastener is, in words that need no number: by its row and its place in it.
fn place_words(joint: &Joint, index: usize) -> String {
    let positions = joint.positions();
    let Some(own) = positions.get(index) else {
        return String::new();
    };
    let third = |value: f64, all: &dyn Fn(usize) -> f64, names: [&'static str; 3]| {
        let values = || (0..positions.len()).map(all);
        let (from, to) = (
            values().fold(f64::MAX, f64::min),
            values().fold(f64::MIN, f64::max),
        );
        match (value - from) / (to - from) {
            _ if to - from < 1e-6 => "",
            share if share < 0.34 => names[0],
            share if share > 0.66 => names[2],
            _ => names[1],
        }
    };
    let up = third(own.y_mm, &|at| positions[at].y_mm, ["lower", "", "upper"]);
    let across = third(
        own.x_mm,
        &|at| positions[at].x_mm,
        ["left", "middle", "right"],
    );
    let words: Vec<&str> = [up, across]
        .into_iter()
        .filter(|word| !word.is_empty())
        .collect();
    if words.is_empty() {
        "the only one".to_owned()
    } else {
        words.join(" ")
    }
}

fn cell(view: &View<'_>, fastener: u8, number: u8) -> StageCell {
    let step = view
        .steps()
        .find(|(_, step)| step.fastener() == Some(fastener) && step.stage() == number);
    let (Some((index, _)), Some(stage)) =
        (step, view.plan.procedure.stages().get(usize::from(number)))
    else {
        return StageCell::default();
    };
    let state = view.ledger.step(index);
    let each = view.plan.stage(number).map(|plan| plan.each.iter());
    let own = each.and_then(|mut each| each.find(|(which, _)| *which == fastener));
    let mut cell = StageCell {
        mark: Some(step_mark(state, stage)),
        target: own.map(|(_, text)| text.clone()).unwrap_or_default(),
        attempts: usize::from(view.ledger.attempts(index)),
        ..StageCell::default()
    };
    let Some((entry, tool)) = last_on(view, index).filter(|_| state != StepState::Open) else {
        return cell;
    };
    let shown = Shown::at(view.plan, number);
    if let Some(how) = How::of(&entry.record) {
        how.words().clone_into(&mut cell.evidence);
        tool.unwrap_or_default().clone_into(&mut cell.tool);
    }
    if let Some(attempt) = entry.record.attempt() {
        cell.reached = reached(attempt, &stage.kind, shown);
        let detail = detail(attempt, &stage.kind, shown);
        cell.detail = with_remark(view, entry, attempt, detail);
        cell.torque_nm = torque_nm(attempt, &stage.kind);
    }
    match &entry.record {
        Record::Read(read) => {
            let attempt = read.as_attempt();
            cell.reached = telling::read_words(shown, read);
            let detail = words::added(read.prevailing).unwrap_or_default();
            cell.detail = with_remark(view, entry, &attempt, detail);
            cell.torque_nm = torque_nm(&attempt, &stage.kind);
        }
        Record::BySetting(set) => {
            cell.reached = format!("set to {}", telling::setting_words(shown, set));
            cell.detail = words::added(set.prevailing).unwrap_or_default();
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
            cell.reached = format!("was {}", cell.reached);
        }
        StepState::Unmeasured if entry.record.attempt().is_some() => {
            cell.detail = "seen by a mark, not measured".to_owned();
        }
        _ => {}
    }
    cell
}

/// The judged torque in N·m, where the stage aims at one.
fn torque_nm(attempt: &Attempt, kind: &StageKind) -> Option<f64> {
    let is_turned = matches!(kind, StageKind::Turn { .. } | StageKind::BackOff { .. });
    let torque = newton_meters(attempt.peak);
    (!is_turned && attempt.peak != Torque::ZERO).then_some(torque)
}

/// The judged number of an attempt: the peak of a torque, the angle of a turn and the torque it took.
fn reached(attempt: &Attempt, kind: &StageKind, shown: Shown) -> String {
    let angle = attempt
        .angle
        .map_or_else(|| "angle unknown".to_owned(), words::angle);
    match kind {
        StageKind::Turn { .. } => format!("{angle} at {}", shown.words(attempt.final_torque)),
        StageKind::BackOff { .. } => format!("{angle} back"),
        StageKind::Repeat { .. } | StageKind::Hold { .. } => {
            format!("{}, moved {angle}", shown.reached(attempt))
        }
        _ => shown.reached(attempt),
    }
}

fn detail(attempt: &Attempt, kind: &StageKind, shown: Shown) -> String {
    let mut parts = Vec::new();
    // A final torque within 1 % of the peak says nothing more.
    let apart = (attempt.peak - attempt.final_torque).millinewton_meters();
    if i64::from(apart) * 100 > i64::from(attempt.final_torque.millinewton_meters().abs()) {
        parts.push(match kind {
            StageKind::Turn { .. } | StageKind::BackOff { .. } => {
                format!("peak {}", shown.words(attempt.peak))
            }
            _ => format!("at the end {}", shown.words(attempt.final_torque)),
        });
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
    let shared = view.joint.shares().iter();
    let mut shared = shared.filter(|share| share.fastener == fastener);
    if let Some(share) = shared.next() {
        parts.push(format!("shared with {}", share.joint));
    }
    let is_one_of_few = view.joint.second_look().len() < view.joint.positions().len();
    let is_wanted = view.joint.second_look().contains(&fastener) && witness(view).is_none();
    if is_one_of_few && is_wanted {
        parts.push("not witnessed".to_owned());
    }
    let clamp = kept.host_facts().filter_map(|fact| match fact {
        HostFact::Clamp {
            joint,
            fastener: which,
            newtons,
            ..
        } if *joint == view.joint.number() && *which == fastener => Some(*newtons),
        _ => None,
    });
    if let Some(newtons) = clamp.last() {
        let load = f64::from(newtons) / 1_000.0;
        parts.push(format!("clamps {load:.1} kN on the bench"));
    }
    parts.join(", ")
}

/// The last pull that tightened this fastener and whose trace is kept.
fn last_curve(view: &View<'_>, fastener: u8, kept: &Kept<'_>) -> Option<super::Curve> {
    let procedure = &view.plan.procedure;
    view.entries
        .iter()
        .rev()
        .find_map(|entry| match entry.record.attempt() {
            Some(attempt) if attempt.fastener == fastener => {
                let stage = procedure.stages().get(usize::from(attempt.stage))?;
                stage.kind.tightens().then_some(())?;
                curve_of(kept.traces, procedure, entry, attempt)
            }
            _ => None,
        })
}

/// What the bench carried after each stage; nothing where the journal keeps none.
fn clamps(view: &View<'_>, kept: &Kept<'_>) -> Vec<(String, Vec<u32>)> {
    let mut passes: Vec<(String, Vec<u32>)> = Vec::new();
    for fact in kept.host_facts() {
        let HostFact::Clamp {
            joint,
            fastener,
            stage,
            newtons,
        } = fact
        else {
            continue;
        };
        if *joint != view.joint.number() {
            continue;
        }
        if *fastener == 0 {
            let target = view
                .plan
                .stage(*stage)
                .and_then(|stage| stage.target.clone());
            let target = target.map_or_else(String::new, |target| format!(", {target}"));
            passes.push((
                format!("stage {}{target}", u32::from(*stage) + 1),
                Vec::new(),
            ));
        }
        if let Some((_, loads)) = passes.last_mut() {
            loads.push(*newtons);
        }
    }
    passes
}

fn checks(view: &View<'_>, names: &Names, clock: &Clock) -> Vec<CheckRow> {
    let procedure = &view.plan.procedure;
    let mut rows = Vec::new();
    for (index, step) in view.steps() {
        let Some(stage) = procedure.stages().get(usize::from(step.stage())) else {
            continue;
        };
        let is_asked = matches!(stage.kind, StageKind::Check | StageKind::Wait { .. });
        let has_cell = step.fastener().is_some() || matches!(stage.kind, StageKind::Repeat { .. });
        if !is_asked && has_cell {
            continue;
        }
        let last = view.entries.iter().rev().find_map(|entry| {
            let telling = tell(names, entry);
            let is_own = telling.about == telling::About::Step(index);
            (is_own && telling.kind != "begun").then(|| (telling.words, clock.when(entry)))
        });
        let (answer, by) = last.unwrap_or_else(|| ("not answered".to_owned(), String::new()));
        let question = view
            .plan
            .stage(step.stage())
            .map(StagePlan::sentence)
            .unwrap_or_default();
        let whom = step
            .fastener()
            .map(|fastener| format!(" (fastener {})", view.joint.label(fastener)))
            .unwrap_or_default();
        rows.push(CheckRow {
            question: format!("Stage {}{whom}: {question}", u32::from(step.stage()) + 1),
            answer,
            mark: step_mark(view.ledger.step(index), stage),
            by,
        });
    }
    rows
}

fn attempts(view: &View<'_>, names: &Names, clock: &Clock) -> Vec<AttemptRow> {
    let procedure = &view.plan.procedure;
    let mut rows = Vec::new();
    for (at, entry) in view.entries.iter().enumerate() {
        let Some(attempt) = attempt_of(&entry.record) else {
            continue;
        };
        let attempt = attempt.as_ref();
        if attempt.verdict == Verdict::Accepted
            && attempt.attempt <= 1
            && attempt.reasons.is_empty()
        {
            continue;
        }
        let Some(stage) = procedure.stages().get(usize::from(attempt.stage)) else {
            continue;
        };
        let shown = Shown::at(view.plan, attempt.stage);
        let told = telling::told_words(shown, &entry.record);
        let more = match &told {
            Some(_) => words::added(attempt.prevailing).unwrap_or_default(),
            None => detail(attempt, &stage.kind, shown),
        };
        let first = told.unwrap_or_else(|| reached(attempt, &stage.kind, shown));
        let mut parts = vec![first];
        let more = match &entry.record {
            Record::BySetting(_) => more,
            _ => with_remark(view, entry, attempt, more),
        };
        if !more.is_empty() {
            parts.push(more);
        }
        rows.push(AttemptRow {
            place: telling::place(names, entry.joint, telling::About::Step(attempt.step)),
            attempt: usize::from(attempt.attempt),
            reached: parts.join(", "),
            mark: verdict_mark(attempt.verdict),
            reasons: words::reasons(attempt.reasons),
            followed: followed(view, at, attempt, names),
            when: clock.when(entry),
        });
    }
    rows
}

/// What was decided and done about an attempt, up to the next one on the same fastener.
fn followed(view: &View<'_>, at: usize, attempt: &Attempt, names: &Names) -> String {
    let mut told = Vec::new();
    for entry in view.entries.iter().skip(at + 1) {
        if let Some(next) = attempt_of(&entry.record)
            && next.fastener == attempt.fastener
        {
            break;
        }
        let telling = tell(names, entry);
        let (fastener, _) = telling.about.place(names, entry.joint);
        let is_told = matches!(
            telling.kind,
            "decided" | "skipped" | "loosened" | "fitted" | "noted"
        );
        if is_told && fastener == Some(attempt.fastener) {
            told.push(telling.words);
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
    let mut notes = Vec::new();
    for entry in &view.entries {
        if tell(names, entry).list == List::Notes {
            notes.push(format!(
                "{} ({})",
                telling::line(names, entry),
                clock.when(entry)
            ));
        }
    }
    notes
}
