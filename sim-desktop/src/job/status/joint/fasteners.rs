//! The fasteners of a joint: where each stands, stage by stage, and what is to be known of it.

use evendraw_core::ledger::{Standing, StepState};
use evendraw_core::procedure::{Stage, StageKind};
use evendraw_core::record::{Attempt, Entry, Manner, Record};

use super::witness;
use crate::job::status::sure::with_remark;
use crate::job::status::telling;
use crate::job::status::{
    Curve, FastenerStatus, How, InHand, Kept, Shown, StageCell, View, attempt_of, curve_of, is_lost,
};
use crate::mark::Mark;
use crate::plan::{Joint, Order, Position};
use crate::quantity::newton_meters;
use crate::store::HostFact;
use crate::words;

pub(super) fn fasteners(view: &View<'_>, stage: usize, kept: &Kept<'_>) -> Vec<FastenerStatus> {
    let is_any_order = matches!(view.plan.order, Order::Any);
    let order = |index: u8| {
        let at = view.plan.base.iter().position(|&own| own == index);
        at.map(|at| at.saturating_add(1)).filter(|_| !is_any_order)
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
                .map(|(stage, _)| cell(view, index, stage, kept))
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
    let third = |value: f64, of: fn(&Position) -> f64, [first, middle, last]: [&'static str; 3]| {
        let values = || positions.iter().map(of);
        let (from, to) = (
            values().fold(f64::MAX, f64::min),
            values().fold(f64::MIN, f64::max),
        );
        match (value - from) / (to - from) {
            _ if to - from < 1e-6 => "",
            share if share < 0.34 => first,
            share if share > 0.66 => last,
            _ => middle,
        }
    };
    let up = third(own.y_mm, |at| at.y_mm, ["lower", "", "upper"]);
    let across = third(own.x_mm, |at| at.x_mm, ["left", "middle", "right"]);
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

pub(super) fn is_later(stage: &Stage) -> bool {
    matches!(stage.kind, StageKind::Later { .. })
}

fn cell(view: &View<'_>, fastener: u8, number: u8, kept: &Kept<'_>) -> StageCell {
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
    cell.later = kept.from_paper.words(entry).unwrap_or_default();
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

pub(super) fn step_mark(state: StepState, stage: &Stage) -> Mark {
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

/// The judged torque in N·m, where the stage aims at one.
fn torque_nm(attempt: &Attempt, kind: &StageKind) -> Option<f64> {
    let is_turned = matches!(kind, StageKind::Turn { .. } | StageKind::BackOff { .. });
    (!is_turned && !is_lost(attempt)).then(|| newton_meters(attempt.peak))
}

/// The judged number of an attempt: the peak of a torque, the angle of a turn and the torque it took.
pub(super) fn reached(attempt: &Attempt, kind: &StageKind, shown: Shown) -> String {
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

pub(super) fn detail(attempt: &Attempt, kind: &StageKind, shown: Shown) -> String {
    let mut parts = Vec::new();
    // A final torque within 1 % of the peak says nothing more.
    let apart = (attempt.peak - attempt.final_torque).millinewton_meters();
    if i64::from(apart).saturating_mul(100)
        > i64::from(attempt.final_torque.millinewton_meters().abs())
    {
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
fn last_curve(view: &View<'_>, fastener: u8, kept: &Kept<'_>) -> Option<Curve> {
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
