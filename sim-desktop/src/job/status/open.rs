//! Why a joint is not finished: every reason, each once.
//!
//! Knows nothing of attempts; it reads the ledger.

use evendraw_core::ledger::{Confirmed, Standing, StepState};
use evendraw_core::procedure::StageKind;

use super::{Item, View};
use crate::mark::Mark;
use crate::peers;
use crate::plan::progress::Hold;
use crate::words;

/// Everything open at one joint. Empty means: this joint does not keep the build from being complete.
pub(super) fn open(view: &View<'_>) -> Vec<Item> {
    let whole = || view.place(None, None);
    let mut items = Vec::new();
    if let Some(fault) = &view.fault {
        items.push(Item::new(
            Mark::Doubtful,
            whole(),
            format!("its records cannot be taken up: {fault}"),
        ));
        return items;
    }
    for question in &view.unanswered {
        items.push(Item::new(
            Mark::Open,
            whole(),
            format!("not answered: {question}"),
        ));
    }
    let holds: Vec<String> = view.state.holds.iter().map(Hold::to_string).collect();
    if view.is_untouched() {
        let reasons = match holds.join("; ") {
            reasons if reasons.is_empty() => "not begun".to_owned(),
            reasons => format!("not begun: {reasons}"),
        };
        items.push(Item::new(view.mark(), whole(), reasons));
        return items;
    }
    for (hold, words) in view.state.holds.iter().zip(holds) {
        if matches!(hold, Hold::Part(_)) {
            items.push(Item::new(Mark::Waiting, whole(), words));
        }
    }
    match view.ledger.condition() {
        Confirmed::Differs => {
            items.push(Item::new(
                Mark::Doubtful,
                whole(),
                "what is on the threads is not what the plan assumes",
            ));
        }
        Confirmed::NotYet if view.plan.procedure.terms().condition_stated => {
            items.push(Item::new(
                Mark::Open,
                whole(),
                "nobody said what is on the threads",
            ));
        }
        _ => {}
    }
    if let Some(stage) = view.ledger.not_converged() {
        items.push(Item::new(
            Mark::Doubtful,
            view.place(None, Some(stage)),
            "fasteners still move after the most passes allowed: look for gasket, dirt, a soft fastener",
        ));
    }
    let listed = fasteners(view, &mut items);
    steps(view, &listed, &mut items);
    if view.standing == Standing::MockUp {
        items.push(Item::new(
            Mark::MockUp,
            whole(),
            "MOCK-UP, NOT FINAL: must come apart again",
        ));
    }
    items.extend(due(view));
    if items.is_empty() && view.standing != Standing::Final {
        // Whatever this list may not know of, the core's word counts.
        items.push(Item::new(Mark::InProgress, whole(), "not final"));
    }
    items
}

/// What a fastener as such still asks for. Returns the fasteners that were told of.
fn fasteners(view: &View<'_>, items: &mut Vec<Item>) -> Vec<u8> {
    let mut told = Vec::new();
    for (fastener, _) in (0_u8..).zip(view.plan.procedure.fasteners()) {
        let mut tell = |mark, what: &str| {
            items.push(Item::new(mark, view.place(Some(fastener), None), what));
            told.push(fastener);
        };
        if view.ledger.must_replace(fastener) {
            tell(Mark::Rejected, "must be replaced by a new one");
        } else if view.ledger.must_decide(fastener) {
            let advised = view
                .advice
                .as_ref()
                .filter(|advice| advice.fastener == Some(fastener))
                .map_or_else(String::new, |advice| {
                    format!(". {}", words::what_now(advice).join(" "))
                });
            let label = view.joint.label(fastener);
            let mut differs = view.differs.iter();
            let revised = differs.find(|own| {
                own.mark == Mark::Doubtful && own.fasteners.iter().any(|own| own == label)
            });
            let what = revised.map_or_else(
                || "a decision is waited for".to_owned(),
                |own| format!("{}; a decision is waited for", own.differs()),
            );
            tell(Mark::Doubtful, &format!("{what}{advised}"));
        } else if view.ledger.must_loosen(fastener) {
            tell(Mark::Disturbed, "must be loosened fully and done again");
        }
        let mut is_told = false;
        for peer in view
            .unlike()
            .filter(|peer| peer.unlike.fastener == fastener)
        {
            is_told = true;
            let what = format!(
                "unlike its peers at stage {}: {}; nobody has looked at it",
                u32::from(peer.unlike.stage) + 1,
                peers::words(&peer.unlike)
            );
            tell(Mark::Doubtful, &what);
        }
        let of_peers = peers::is_doubted_for_its_peers_alone(&view.ledger, &view.entries, fastener);
        if view.ledger.felt_wrong(fastener) && !(of_peers && is_told) {
            let what = if of_peers {
                "was unlike its peers, and nobody has looked at it"
            } else {
                "felt wrong, and nobody has looked at it"
            };
            tell(Mark::Doubtful, what);
        }
    }
    told
}

fn steps(view: &View<'_>, told: &[u8], items: &mut Vec<Item>) {
    let procedure = &view.plan.procedure;
    for (stage, _) in (0_u8..).zip(procedure.stages()) {
        let mut undone: Vec<u8> = Vec::new();
        for (index, step) in procedure
            .numbered_steps()
            .filter(|(_, step)| step.stage() == stage)
        {
            let state = view.ledger.step(index);
            let later = procedure
                .stage_of(index)
                .is_some_and(|stage| matches!(stage.kind, StageKind::Later { .. }));
            let (mark, what) = match state {
                StepState::Done | StepState::Unmeasured | StepState::Waived => continue,
                StepState::Open if later => continue,
                StepState::Open if view.ledger.begun() == Some(index) => {
                    (Mark::InProgress, "begun, and there is no verdict")
                }
                StepState::Open => {
                    match step.fastener() {
                        Some(fastener) => undone.push(fastener),
                        None => items.push(Item::new(
                            Mark::Open,
                            view.place(None, Some(stage)),
                            undone_words(view, stage),
                        )),
                    }
                    continue;
                }
                StepState::Rejected => (Mark::Rejected, "the last attempt was rejected"),
                StepState::Doubtful => (Mark::Doubtful, "what was reached is not known"),
                StepState::Disturbed => (Mark::Disturbed, "was done, and was spoilt since"),
            };
            let said = step
                .fastener()
                .is_some_and(|fastener| told.contains(&fastener));
            if !said || matches!(mark, Mark::Rejected | Mark::InProgress) {
                items.push(Item::new(
                    mark,
                    view.place(step.fastener(), Some(stage)),
                    what,
                ));
            }
        }
        if !undone.is_empty() {
            undone.sort_unstable();
            undone.dedup();
            let what = format!(
                "{}: {}",
                view.fasteners_named(&undone),
                undone_words(view, stage)
            );
            items.push(Item::new(Mark::Open, view.place(None, Some(stage)), what));
        }
    }
}

fn undone_words(view: &View<'_>, stage: u8) -> String {
    let Some(plan) = view.plan.stage(stage) else {
        return "not done".to_owned();
    };
    match plan.word {
        "check" => format!("not answered: {}", plan.sentence()),
        "measure" => format!("not measured: {}", plan.sentence()),
        _ => format!("not done: {}", plan.sentence()),
    }
}

/// Retorques after running that are not done yet.
pub(super) fn due(view: &View<'_>) -> Vec<Item> {
    let procedure = &view.plan.procedure;
    if view.standing == Standing::Untouched || view.fault.is_some() {
        return Vec::new();
    }
    let mut items = Vec::new();
    for (number, stage) in (0_u8..).zip(procedure.stages()) {
        let StageKind::Later { .. } = stage.kind else {
            continue;
        };
        let mut left: Vec<u8> = procedure
            .numbered_steps()
            .filter(|(index, step)| {
                step.stage() == number && !view.ledger.step(*index).is_settled()
            })
            .filter_map(|(_, step)| step.fastener())
            .collect();
        left.sort_unstable();
        left.dedup();
        if left.is_empty() {
            continue;
        }
        let what = view
            .plan
            .stage(number)
            .map_or_else(|| "retorque".to_owned(), |plan| plan.sentence());
        let told = if view.ledger.is_due(number) {
            "due now"
        } else {
            "due after running"
        };
        let which = format!("{what}; {}; {told}", view.fasteners_named(&left));
        items.push(Item::new(Mark::Due, view.place(None, Some(number)), which));
    }
    items
}
