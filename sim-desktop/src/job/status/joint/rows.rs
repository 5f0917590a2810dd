//! What was done at a joint, row by row: clamp loads, checks, attempts, notes.

use evendraw_core::procedure::StageKind;
use evendraw_core::record::{Attempt, Entry, Record};
use evendraw_core::verdict::Verdict;

use super::fasteners::{detail, reached, step_mark};
use crate::job::status::clock::Clock;
use crate::job::status::sure::with_remark;
use crate::job::status::telling::{self, List, Names, tell, verdict_mark};
use crate::job::status::{AttemptRow, CheckRow, Kept, Shown, Struck, View, attempt_of};
use crate::plan::StagePlan;
use crate::store::{HostFact, entries_of};
use crate::words;

/// What the bench carried after each stage; nothing where the journal keeps none.
pub(super) fn clamps(view: &View<'_>, kept: &Kept<'_>) -> Vec<(String, Vec<u32>)> {
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

pub(super) fn checks(
    view: &View<'_>,
    names: &Names,
    clock: &Clock,
    kept: &Kept<'_>,
) -> Vec<CheckRow> {
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
            let by = match kept.from_paper.words(entry) {
                Some(paper) => format!("{}, {paper}", clock.when(entry)),
                None => clock.when(entry),
            };
            (is_own && telling.kind != "begun").then_some((telling.words, by))
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

pub(super) fn attempts(view: &View<'_>, names: &Names, clock: &Clock) -> Vec<AttemptRow> {
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
    for entry in view.entries.iter().skip(at.saturating_add(1)) {
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

pub(super) fn notes(view: &View<'_>, names: &Names, clock: &Clock, kept: &Kept<'_>) -> Vec<String> {
    let mut notes = kept.from_paper.lines(view.joint.number());
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

/// What was put right, in the words in which it stood, each with what was said of it.
pub(super) fn struck(
    view: &View<'_>,
    names: &Names,
    clock: &Clock,
    kept: &Kept<'_>,
) -> Vec<Struck> {
    let entries: Vec<&Entry> = entries_of(kept.facts, view.joint.number()).collect();
    let mut found = Vec::new();
    for by in &entries {
        let Some(of) = by.record.puts_right() else {
            continue;
        };
        let Some(entry) = entries.iter().find(|entry| entry.seq == of) else {
            continue;
        };
        let why = match &by.record {
            Record::Withdrawn(own) => format!("withdrawn: {}", own.reason),
            Record::Reassigned(own) => format!(
                "put right: it was on fastener {}",
                names.fastener(by.joint, own.attempt.fastener)
            ),
            _ => telling::line(names, by),
        };
        found.push(Struck {
            words: format!("{} ({})", telling::line(names, entry), clock.when(entry)),
            why: format!("{why} ({})", clock.when(by)),
        });
    }
    found
}
