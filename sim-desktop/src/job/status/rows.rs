//! Every fact kept, as a row: who, with what, when, in words.
//!
//! Knows nothing of states.

use evendraw_core::record::{Entry, Record};

use super::hands::Hands;
use super::telling::{self, List, Names, Sure, tell, tell_host};
use super::{Clock, FromPaper, PutRight, attempt_of, peak_of};
use crate::mark::Mark;
use crate::plan::Plan;
use crate::quantity::newton_meters;
use crate::store::{Fact, entries_of};

/// One fact kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// Its place among the facts, from 1.
    pub sequence: u64,
    /// Its number among the records of its joint; 0 for a fact of the desktop.
    pub number: u32,
    /// When it was, or "time unknown"; empty for a fact of the desktop.
    pub time: String,
    /// The joint's id; empty where it belongs to none.
    pub joint: String,
    /// The fastener's label, where it is about one.
    pub fastener: String,
    /// The stage from 1; 0 where it is about none.
    pub stage: u32,
    /// Attempt from 1; 0 for none.
    pub attempt: u32,
    /// Its judged torque, in the plan's unit.
    pub torque: Option<f64>,
    /// Unit of `torque`.
    pub torque_unit: String,
    /// Its angle in degrees.
    pub angle: Option<f64>,
    /// A curve was recorded with it.
    pub traced: bool,
    /// How sure its torque is, in words; empty where nobody knows.
    pub sure: String,
    /// Where and what, in words.
    pub words: String,
    /// What, in words, without the place.
    pub what: String,
    /// Its state, where it has one.
    pub mark: Option<Mark>,
    /// It is out of the ordinary.
    pub exception: bool,
    /// Who worked.
    pub person: String,
    /// With which tool.
    pub tool: String,
    /// The first load of an attempt, which says it all better.
    pub is_first_load: bool,
    /// A start or a wall time: it goes without saying.
    pub is_beside: bool,
    /// A later record says that it was not so: struck through, and it counts no more.
    pub is_put_right: bool,
    /// What that record says: `withdrawn: pressed by mistake`; empty where there is none.
    pub put_right: String,
}

/// Every fact as a row, in order.
#[must_use]
pub fn rows(facts: &[Fact], rehearsal: bool, names: &Names, plan: Option<&Plan>) -> Vec<Row> {
    let clock = Clock::of(facts, rehearsal);
    let put_right = PutRight::of(facts);
    let from_paper = FromPaper::of(facts);
    let mut hands = Hands::default();
    let mut sure = Sure::new(plan, facts);
    let mut rows = Vec::with_capacity(facts.len());
    for (sequence, fact) in (1_u64..).zip(facts) {
        let entry = match fact {
            Fact::Entry(entry) => entry,
            Fact::Host(fact) => {
                rows.extend(tell_host(names, fact).map(|(_, words)| Row {
                    sequence,
                    what: words.clone(),
                    words,
                    ..Row::default()
                }));
                continue;
            }
        };
        hands.take(entry);
        let judged = sure.judged(entry);
        let names = names.at(entry);
        let telling = tell(names, entry);
        let (fastener, stage) = telling.about.place(names, entry.joint);
        let mut row = Row {
            sequence,
            number: entry.seq,
            time: clock.when(entry),
            joint: names.joint(entry.joint),
            fastener: fastener.map_or_else(String::new, |own| names.fastener(entry.joint, own)),
            stage: stage.map_or(0, |own| u32::from(own) + 1),
            words: telling::line(names, entry),
            exception: matches!(telling.list, List::Exceptions | List::Redone),
            is_first_load: telling.kind == "begun",
            is_put_right: put_right.by(entry).is_some(),
            put_right: put_right_words(facts, entry, put_right.by(entry)),
            is_beside: matches!(telling.kind, "started" | "anchor"),
            mark: telling.mark,
            what: telling.words,
            person: hands.person(entry.joint).to_owned(),
            tool: hands.tool(entry.joint).to_owned(),
            ..Row::default()
        };
        if let Some(attempt) = attempt_of(&entry.record) {
            let shown = names.shown(entry.joint, attempt.stage);
            row.attempt = u32::from(attempt.attempt);
            row.torque = peak_of(&entry.record).map(|peak| shown.value(newton_meters(peak)));
            shown.symbol().clone_into(&mut row.torque_unit);
            row.angle = attempt
                .angle
                .map(|angle| f64::from(angle.millidegrees()) / 1_000.0);
            row.traced = attempt.trace != 0;
            row.sure =
                judged.map_or_else(String::new, |judged| judged.words(|own| shown.words(own)));
            if let Some(remark) = judged.and_then(|judged| judged.remark(|own| shown.words(own))) {
                row.what = format!("{}; {remark}", row.what);
            }
        }
        if let Some(paper) = from_paper.words(entry) {
            row.what = format!("{}; {paper}", row.what);
            row.words = format!("{}; {paper}", row.words);
        }
        rows.push(row);
    }
    rows
}

/// What the record says that puts this one right.
fn put_right_words(facts: &[Fact], entry: &Entry, by: Option<u32>) -> String {
    let Some(by) = by else {
        return String::new();
    };
    let mut later = entries_of(facts, entry.joint);
    match later.find(|own| own.seq == by).map(|own| &own.record) {
        Some(Record::Withdrawn(own)) => format!("withdrawn: {}", own.reason),
        _ => "put right later".to_owned(),
    }
}
