//! An attempt in words, however it came to be known: measured, read, by setting.

use evendraw_core::record::{Added, Attempt, BySetting, Read, Record};
use evendraw_core::verdict::Verdict;

use super::{About, List, Names, Telling};
use crate::job::status::{How, Shown};
use crate::mark::Mark;
use crate::quantity::newton_meters;
use crate::words;

pub(super) fn tell_attempt(names: &Names, joint: u8, attempt: &Attempt) -> Telling {
    let words = attempt_words(names, joint, attempt);
    let is_plain = attempt.verdict == Verdict::Accepted && attempt.reasons.is_empty();
    Telling::new("attempt", About::Step(attempt.step), words)
        .with("prevailing", added_word(attempt.prevailing))
        .with("restart_torque_Nm", attempt.restart.map(newton_meters))
        .with(
            "trace",
            (attempt.trace != 0).then(|| format!("{:08x}", attempt.trace)),
        )
        .with("took_s", f64::from(attempt.took_ms) / 1_000.0)
        .marked(verdict_mark(attempt.verdict))
        .on(if is_plain {
            List::None
        } else {
            List::Exceptions
        })
}

/// Among the exceptions where it was not simply accepted.
fn listed(telling: Telling, attempt: &Attempt) -> Telling {
    let is_plain = attempt.verdict == Verdict::Accepted && attempt.reasons.is_empty();
    telling
        .with("prevailing", added_word(attempt.prevailing))
        .marked(verdict_mark(attempt.verdict))
        .on(if is_plain {
            List::None
        } else {
            List::Exceptions
        })
}

/// What a person read.
pub(super) fn tell_read(names: &Names, joint: u8, record: &Record, read: &Read) -> Telling {
    let attempt = read.as_attempt();
    let shown = names.shown(joint, read.stage);
    let mut words = told_words(shown, record).unwrap_or_default();
    if let Some(added) = words::added(read.prevailing) {
        words.push_str(&format!(", {added}"));
    }
    if !read.stated.is_empty() {
        words.push_str(&format!(" ({})", read.stated));
    }
    let telling = Telling::new(
        "attempt",
        About::Step(read.step),
        judged_words(&attempt, &words),
    )
    .with("moved", read.moved)
    .with("stated", read.stated.as_str());
    listed(telling, &attempt)
}

/// What a tool was set to.
pub(super) fn tell_setting(names: &Names, joint: u8, record: &Record, set: &BySetting) -> Telling {
    let attempt = set.as_attempt();
    let shown = names.shown(joint, set.stage);
    let mut words = told_words(shown, record).unwrap_or_default();
    if let Some(added) = words::added(set.prevailing) {
        words.push_str(&format!(", {added}"));
    }
    let telling = Telling::new(
        "attempt",
        About::Step(set.step),
        judged_words(&attempt, &words),
    )
    .with("moved", set.moved)
    .with("setting_Nm", newton_meters(set.setting))
    .with("setting_stands_for_Nm", newton_meters(set.stands_for));
    listed(telling, &attempt)
}

const fn added_word(added: Added) -> Option<&'static str> {
    match added {
        Added::Nothing => None,
        Added::Unknown => Some("unknown"),
        Added::Given(_) => Some("given"),
        Added::Measured(_) => Some("measured"),
        Added::Typed(_) => Some("typed"),
    }
}

/// The number of the try in front, verdict and reasons behind.
fn judged_words(attempt: &Attempt, words: &str) -> String {
    let number = match attempt.attempt {
        0 | 1 => String::new(),
        number => format!("attempt {number}: "),
    };
    let reasons = match words::reasons(attempt.reasons) {
        reasons if reasons.is_empty() => String::new(),
        reasons => format!(": {reasons}"),
    };
    format!(
        "{number}{words}, {}{reasons}",
        words::verdict(attempt.verdict)
    )
}

/// How a record came to be, in words; empty for one that is no last word on a step.
pub(in super::super) fn how_words(record: &Record) -> &'static str {
    How::of(record).map_or("", How::words)
}

/// What a person read or set, and how; none for an attempt that was measured.
#[must_use]
pub fn told_words(shown: Shown, record: &Record) -> Option<String> {
    let how = how_words(record);
    match record {
        Record::Read(read) => Some(format!("{}, {how}", read_words(shown, read))),
        Record::BySetting(set) => Some(format!("{how} {}", setting_words(shown, set))),
        _ => None,
    }
}

/// The values that were read: `48.20 N·m, 91.0°`.
pub(in super::super) fn read_words(shown: Shown, read: &Read) -> String {
    let torque = read.torque.map(|torque| shown.words(torque));
    let angle = read.angle.map(words::angle);
    let moved = read.moved.then(|| "moved".to_owned());
    let parts: Vec<String> = torque.into_iter().chain(angle).chain(moved).collect();
    parts.join(", ")
}

/// The setting, and what it stands for where that is another value.
pub(in super::super) fn setting_words(shown: Shown, set: &BySetting) -> String {
    let mut words = shown.words(set.setting);
    if set.setting != set.stands_for {
        words.push_str(&format!(
            ", which stands for {}",
            shown.words(set.stands_for)
        ));
    }
    if set.moved {
        words.push_str(", moved");
    }
    words
}

/// What was reached, in the plan's unit, and the verdict.
fn attempt_words(names: &Names, joint: u8, attempt: &Attempt) -> String {
    let shown = names.shown(joint, attempt.stage);
    let mut line = String::new();
    if attempt.attempt > 1 {
        line.push_str(&format!("attempt {}: ", attempt.attempt));
    }
    // The judged number first: the peak for a torque, the angle for a turn.
    line.push_str(&shown.reached(attempt));
    // The peak is read less its noise, so of a flat end it may come out a hair below.
    let end = shown.number(attempt.final_torque);
    if attempt.final_torque < attempt.peak && end != shown.number(attempt.peak) {
        line.push_str(&format!(" (at the end {end})"));
    }
    match attempt.angle {
        Some(angle) => line.push_str(&format!(", {}", words::angle(angle))),
        None => line.push_str(", angle unknown"),
    }
    if attempt.pulls > 1 {
        line.push_str(&format!(", {} pulls", attempt.pulls));
    }
    if let Some(added) = words::added(attempt.prevailing) {
        line.push_str(&format!(", {added}"));
    }
    line.push_str(&format!(", {}", words::verdict(attempt.verdict)));
    let reasons = words::reasons(attempt.reasons);
    if !reasons.is_empty() {
        line.push_str(&format!(": {reasons}"));
    }
    line
}

/// A judged attempt as a line for people.
#[must_use]
pub fn attempt_line(names: &Names, joint: u8, attempt: &Attempt) -> String {
    let place = format!(
        "fastener {}, stage {}",
        names.fastener(joint, attempt.fastener),
        u32::from(attempt.stage) + 1
    );
    format!("{place}: {}", attempt_words(names, joint, attempt))
}

/// The mark of a verdict.
#[must_use]
pub const fn verdict_mark(verdict: Verdict) -> Mark {
    match verdict {
        Verdict::Accepted => Mark::Accepted,
        Verdict::Rejected => Mark::Rejected,
        Verdict::Unknown => Mark::Doubtful,
    }
}
