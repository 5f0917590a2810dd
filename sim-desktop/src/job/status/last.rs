//! What was done last, when and by whom: where somebody who comes back picks up the thread.
//!
//! Knows nothing of what is next.

use evendraw_core::record::{Entry, Record};
use evendraw_core::verdict::Verdict;

use super::clock::Clock;
use super::telling::{Names, line};
use super::{Hands, Kept, LastDone, attempt_of};

/// The last thing that somebody did, if anybody did anything.
pub(super) fn last(kept: &Kept<'_>, names: &Names, clock: &Clock) -> Option<LastDone> {
    let entries: Vec<&Entry> = kept.entries().collect();
    let at = entries.iter().rposition(|entry| is_deed(&entry.record))?;
    let entry = entries.get(at)?;
    let mut hands = Hands::default();
    for other in entries.iter().take(at.saturating_add(1)) {
        hands.take(other);
    }
    let place = names.joint(entry.joint);
    let what = match attempt_of(&entry.record) {
        Some(attempt) if attempt.verdict == Verdict::Accepted => format!(
            "fastener {} to stage {}",
            names.fastener(entry.joint, attempt.fastener),
            u32::from(attempt.stage) + 1
        ),
        _ => line(names, entry),
    };
    let paper = kept.from_paper.words(entry);
    let what = paper
        .into_iter()
        .fold(what, |what, paper| format!("{what}; {paper}"));
    Some(LastDone {
        unix: clock.unix(entry),
        when: clock.when(entry),
        person: hands.person(entry.joint).to_owned(),
        what: format!("{place}, {what}"),
    })
}

/// Whether it is something that was done to the metal or said of it, and not the recorder's own.
pub(in crate::job) const fn is_deed(record: &Record) -> bool {
    match record {
        Record::Started(_)
        | Record::Begun(_)
        | Record::Person(_)
        | Record::Tool(_)
        | Record::Anchor(_)
        | Record::Zero(_)
        | Record::Recovered(_)
        | Record::Pass(_)
        | Record::Revised(_) => false,
        Record::Attempt(_)
        | Record::Done(_)
        | Record::Answered(_)
        | Record::Measured(_)
        | Record::Waited(_)
        | Record::Condition(_)
        | Record::Loosened(_)
        | Record::Fitted(_)
        | Record::Skipped(_)
        | Record::Noted(_)
        | Record::Decided(_)
        | Record::Marked(_)
        | Record::Rechecked(_)
        | Record::Moment(_)
        | Record::Due(_)
        | Record::Apart(_)
        | Record::Running(_)
        | Record::Read(_)
        | Record::BySetting(_)
        | Record::Reassigned(_)
        | Record::Withdrawn(_) => true,
    }
}
