//! What two plans differ in, in the plan's own words; and which stage of a joint is which of the other.
//!
//! What is typed alike is the same stage; between two of those, the next of the same kind. Knows nothing of what was done.

mod whole;

pub use whole::{Difference, differences};

use super::{JointPlan, StagePlan};

/// For each stage of the new joint the stage of the old one that it is: what is typed alike first, in order; between two of those, the
/// next of the same kind; where a name is given, by the name.
#[must_use]
pub fn stage_map(old: &JointPlan, new: &JointPlan) -> Vec<Option<u8>> {
    let alike = |one: &StagePlan, two: &StagePlan| {
        one.word == two.word && one.name == two.name && typed(one) == typed(two)
    };
    let mut map: Vec<Option<u8>> = vec![None; new.stages.len()];
    for (place, at) in common(&old.stages, &new.stages, alike) {
        put(&mut map, at, place);
    }
    let kind = |one: &StagePlan, two: &StagePlan| one.word == two.word && one.name == two.name;
    fill(&mut map, old, new, kind);
    fill(&mut map, old, new, |one, two| one.word == two.word);
    map
}

fn put(map: &mut [Option<u8>], new: usize, old: usize) {
    if let (Some(slot), Ok(old)) = (map.get_mut(new), u8::try_from(old)) {
        *slot = Some(old);
    }
}

/// Between what is paired already, pairs the next that go together.
fn fill(
    map: &mut [Option<u8>],
    old: &JointPlan,
    new: &JointPlan,
    pairs: impl Fn(&StagePlan, &StagePlan) -> bool,
) {
    let mut from = 0;
    let mut old_from = 0;
    while from < map.len() {
        let end = (from..map.len())
            .find(|at| map.get(*at).copied().flatten().is_some())
            .unwrap_or(map.len());
        let old_end = map
            .get(end)
            .copied()
            .flatten()
            .map_or(old.stages.len(), usize::from);
        let (olds, news) = (
            old.stages.get(old_from..old_end).unwrap_or_default(),
            new.stages.get(from..end).unwrap_or_default(),
        );
        for (place, at) in common(olds, news, &pairs) {
            put(map, from.saturating_add(at), old_from.saturating_add(place));
        }
        from = end.saturating_add(1);
        old_from = old_end.saturating_add(1);
    }
}

/// The longest list of pairs in order, as places in the one and in the other.
fn common(
    one: &[StagePlan],
    two: &[StagePlan],
    pairs: impl Fn(&StagePlan, &StagePlan) -> bool,
) -> Vec<(usize, usize)> {
    let width = two.len().saturating_add(1);
    let mut longest = vec![0_usize; one.len().saturating_add(1).saturating_mul(width)];
    let at = |row: usize, column: usize| row.saturating_mul(width).saturating_add(column);
    let next = |place: usize| place.saturating_add(1);
    let known = |longest: &[usize], place: usize| longest.get(place).copied().unwrap_or(0);
    for (row, own) in one.iter().enumerate().rev() {
        for (column, other) in two.iter().enumerate().rev() {
            let (below, beside) = (at(next(row), column), at(row, next(column)));
            let length = if pairs(own, other) {
                next(known(&longest, at(next(row), next(column))))
            } else {
                known(&longest, below).max(known(&longest, beside))
            };
            if let Some(cell) = longest.get_mut(at(row, column)) {
                *cell = length;
            }
        }
    }
    let (mut row, mut column) = (0, 0);
    let mut found = Vec::new();
    while let (Some(own), Some(other)) = (one.get(row), two.get(column)) {
        if pairs(own, other) {
            found.push((row, column));
            row = next(row);
            column = next(column);
        } else if known(&longest, at(next(row), column)) >= known(&longest, at(row, next(column))) {
            row = next(row);
        } else {
            column = next(column);
        }
    }
    found
}

/// What a plan says of a stage, and what must hold for it to be the same.
fn typed(stage: &StagePlan) -> Vec<Option<&str>> {
    vec![
        stage.target.as_deref(),
        stage.within.as_deref(),
        stage.end_torque.as_deref(),
        stage.prevailing.as_deref(),
        stage.time.as_deref(),
        stage.ask.as_deref(),
        stage.from.as_deref(),
    ]
}

/// One stage that asks for something else than it did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageChange {
    /// The stage of the old joint, by index; none for one put in.
    pub before: Option<u8>,
    /// The stage of the new one; none for one taken out.
    pub now: Option<u8>,
    /// What the old one asks, as typed; empty where there is none.
    pub old: String,
    /// What the new one asks.
    pub new: String,
}

impl StageChange {
    /// `45 → 60 N·m`; what was put in or taken out is said so.
    #[must_use]
    pub fn words(&self) -> String {
        change_words(&self.old, &self.new)
    }
}

/// `45 → 60 N·m`: a unit that both have is written once; what was put in or taken out is said so.
#[must_use]
pub fn change_words(old: &str, new: &str) -> String {
    match (old, new) {
        ("", new) => format!("put in: {new}"),
        (old, "") => format!("taken out: {old}"),
        (old, new) => match (old.split_once(' '), new.split_once(' ')) {
            (Some((value, unit)), Some((_, other))) if unit == other => format!("{value} → {new}"),
            _ => format!("{old} → {new}"),
        },
    }
}

/// The stages that differ between a joint before and a joint now, in the order of work; `map` says which is which.
#[must_use]
pub fn changes(old: &JointPlan, new: &JointPlan, map: &[Option<u8>]) -> Vec<StageChange> {
    let mut found = Vec::new();
    let of = |plan: &JointPlan, stage: Option<u8>| -> Option<StagePlan> {
        plan.stages.get(usize::from(stage?)).cloned()
    };
    for (now, before) in (0_u8..).zip(map) {
        let Some(after) = of(new, Some(now)) else {
            continue;
        };
        match of(old, *before) {
            Some(own) => {
                let labels = |plan: &JointPlan, stage: &StagePlan| -> Vec<(String, String)> {
                    let fasteners = plan.procedure.fasteners();
                    let each = stage.each.iter().filter_map(|(fastener, target)| {
                        let label = fasteners.get(usize::from(*fastener))?.label.to_string();
                        Some((label, target.clone()))
                    });
                    each.collect()
                };
                let differs = typed(&own) != typed(&after)
                    || own.printed != after.printed
                    || own.evidence != after.evidence
                    || labels(old, &own) != labels(new, &after);
                if differs {
                    found.push(change(&own, &after, (*before, now)));
                }
            }
            None => found.push(StageChange {
                before: None,
                now: Some(now),
                old: String::new(),
                new: after.sentence(),
            }),
        }
    }
    for (stage, own) in (0_u8..).zip(&old.stages) {
        if !map.contains(&Some(stage)) {
            found.push(StageChange {
                before: Some(stage),
                now: None,
                old: own.sentence(),
                new: String::new(),
            });
        }
    }
    found
}

/// In the shortest words that show the difference: the target where only that differs, else the sentence.
fn change(old: &StagePlan, new: &StagePlan, (before, now): (Option<u8>, u8)) -> StageChange {
    let without = |stage: &StagePlan| {
        let mut rest = typed(stage).split_off(1);
        rest.push(stage.evidence);
        rest.into_iter()
            .map(|part| part.map(str::to_owned))
            .collect::<Vec<_>>()
    };
    let (one, two) = match (&old.target, &new.target) {
        (Some(one), Some(two)) if one != two && without(old) == without(new) => {
            (one.clone(), two.clone())
        }
        _ => (told(old), told(new)),
    };
    StageChange {
        before,
        now: Some(now),
        old: one,
        new: two,
    }
}

/// A stage in full: its sentence, and its tolerance where the sentence is silent about it.
fn told(stage: &StagePlan) -> String {
    let sentence = stage.sentence();
    match stage.within.as_deref() {
        Some(within) if !sentence.contains(within) => format!("{sentence}, within {within}"),
        _ => sentence,
    }
}
