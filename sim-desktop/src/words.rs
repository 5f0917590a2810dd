//! The core's values in plain words: quantities with their units, verdicts and reasons, times.
//!
//! Every room that tells people something takes the words from here, so that a fact reads the same on a line, a sheet and a
//! screen. Knows nothing of where the values come from.

mod visible;

use crate::quantity::{Converted, Quantity, TorqueUnit};
use evendraw_core::advice::{Act, Advice};
use evendraw_core::record::{Added, Seen};
use evendraw_core::session::Refusal;
use evendraw_core::unit::{Angle, Length, Torque};
use evendraw_core::verdict::{Reason, Reasons, Verdict};
use jiff::Timestamp;
use jiff::tz::TimeZone;

pub(crate) use visible::escape;
pub use visible::{hides, visible, visible_json, visible_lines};

/// Said where a plan says that its values are invented.
pub const DEMO: &str = "DEMO, invented values";

/// How somebody gets from the demo to a build of their own.
pub const DEMO_OWN: &str = "Your own build: O opens a plan, E begins a new one from a form.";

/// Said where the tool is in the hand, once: at the first start of real work, with the keys, on the working sheet.
pub const HANDS: &str = "Eye protection on. No cheater bars. Support the work. Keep hands out of the line of a slipping \
    handle.";

/// Said beside it where there is something to loosen, or to run.
pub const LOOSENING: &str = "Pressure and load off before anything is loosened. A hot engine burns. The maker's current \
    instructions come first.";

/// A torque in N·m: two decimals below 100 N·m, one from there on.
///
/// # Examples
/// ```
/// use evendraw::words;
/// use evendraw_core::unit::Torque;
/// assert_eq!(words::torque(Torque::from_millinewton_meters(39_997)), "40.00 N·m");
/// assert_eq!(words::torque(Torque::from_millinewton_meters(120_040)), "120.0 N·m");
/// ```
#[must_use]
pub fn torque(value: Torque) -> String {
    format!("{} N·m", torque_number(value))
}

/// The number alone.
#[must_use]
pub fn torque_number(value: Torque) -> String {
    let thousandths = i64::from(value.millinewton_meters());
    let places = if thousandths.abs() < 100_000 { 2 } else { 1 };
    rounded(thousandths, places)
}

/// A torque in another unit as short as it makes sense to people: as typed in its own unit, all digits where they are few, else four, or as
/// many as were typed. Beside it whether nothing was rounded.
///
/// # Examples
/// ```
/// use evendraw::words;
/// use evendraw::quantity::{Quantity, TorqueUnit};
/// let given = Quantity::parse("33.2 lbf·ft")?;
/// assert_eq!(words::short(given, TorqueUnit::NewtonMeter), ("45.01".to_owned(), false));
/// assert_eq!(words::short(given, TorqueUnit::PoundInch), ("398.4".to_owned(), true));
/// # Ok::<(), evendraw::quantity::QuantityError>(())
/// ```
#[must_use]
pub fn short(given: Quantity<TorqueUnit>, unit: TorqueUnit) -> (String, bool) {
    const FEWEST: usize = 4;
    let typed = given.number().to_string();
    if unit == given.unit() {
        return (typed, true);
    }
    let significant = |text: &str| {
        text.chars()
            .filter(char::is_ascii_digit)
            .skip_while(|digit| *digit == '0')
            .count()
    };
    let converted = Converted::new(given, unit);
    let all = converted.to_string();
    let digits = significant(&typed).max(FEWEST);
    if converted.is_exact() && significant(&all) <= digits {
        return (all, true);
    }
    let (whole, decimals) = all.split_once('.').unwrap_or((&all, ""));
    let before = significant(whole);
    let places = if before > 0 {
        digits.saturating_sub(before)
    } else {
        digits + decimals.len() - significant(decimals)
    };
    (format!("{converted:.places$}"), false)
}

/// An angle in degrees, to a tenth.
#[must_use]
pub fn angle(value: Angle) -> String {
    format!("{}°", rounded(i64::from(value.millidegrees()), 1))
}

/// A length in mm, to a hundredth, or a thousandth where that says more.
#[must_use]
pub fn length(value: Length) -> String {
    let micrometers = i64::from(value.micrometers());
    format!(
        "{} mm",
        rounded(micrometers, if micrometers % 10 == 0 { 2 } else { 3 })
    )
}

/// The window of a length; open at either end where the plan gives no limit there.
#[must_use]
pub fn length_window(min: Length, max: Length) -> String {
    let is_open = |value: Length| value.micrometers().abs() >= Length::MAX.micrometers();
    match (is_open(min), is_open(max)) {
        (true, true) => "any".to_owned(),
        (true, false) => format!("at most {}", length(max)),
        (false, true) => format!("at least {}", length(min)),
        (false, false) => format!("{} to {}", length(min), length(max)),
    }
}

/// Thousandths as a decimal number, rounded half away from zero.
fn rounded(thousandths: i64, places: u32) -> String {
    let step = 10_i64.pow(3 - places.min(3));
    let half = step / 2;
    let steps = (thousandths.abs() + half) / step;
    let whole = 10_i64.pow(places);
    let sign = if thousandths < 0 && steps > 0 {
        "-"
    } else {
        ""
    };
    if places == 0 {
        format!("{sign}{steps}")
    } else {
        format!(
            "{sign}{}.{:0width$}",
            steps / whole,
            steps % whole,
            width = places as usize
        )
    }
}

/// The question before the first pull of a joint.
#[must_use]
pub fn on_the_threads(assumed: Option<&str>) -> String {
    match assumed {
        Some(assumed) => format!("Are threads and faces as the plan assumes: {assumed}?"),
        None => "Are threads and faces as the document says?".to_owned(),
    }
}

/// A duration: `48 s`, `2 min 05 s`, `3 min`, `3 h 20 min`.
#[must_use]
pub fn seconds(value: u64) -> String {
    match value {
        0..60 => format!("{value} s"),
        60..3600 if value.is_multiple_of(60) => format!("{} min", value / 60),
        60..3600 => format!("{} min {:02} s", value / 60, value % 60),
        _ => format!("{} h {:02} min", value / 3600, value % 3600 / 60),
    }
}

/// Wall time of this machine's zone, to the minute; "time unknown" where it cannot be told.
#[must_use]
pub fn wall_time(unix_seconds: Option<i64>) -> String {
    let unknown = || "time unknown".to_owned();
    let Some(Ok(stamp)) = unix_seconds.map(Timestamp::from_second) else {
        return unknown();
    };
    stamp
        .to_zoned(TimeZone::system())
        .strftime("%Y-%m-%d %H:%M")
        .to_string()
}

/// How long ago, of so many seconds; what lies ahead of the clock is told as such.
#[must_use]
pub fn ago(seconds: i64) -> String {
    let of = |count: i64, one: &str, many: &str| {
        let word = if count == 1 { one } else { many };
        format!("{count} {word} ago")
    };
    match seconds {
        ..0 => "later than this clock".to_owned(),
        0..60 => "just now".to_owned(),
        60..3_600 => of(seconds / 60, "minute", "minutes"),
        3_600..86_400 => of(seconds / 3_600, "hour", "hours"),
        _ => of(seconds / 86_400, "day", "days"),
    }
}

/// The same moment in UTC, as scripts read it [RFC 3339]; none where it cannot be told.
#[must_use]
pub fn utc(unix_seconds: Option<i64>) -> Option<String> {
    let stamp = Timestamp::from_second(unix_seconds?).ok()?;
    Some(stamp.to_string())
}

/// Words behind a first column, in lines of at most so many characters, the further ones indented below the first word.
#[must_use]
pub fn wrapped(first: &str, text: &str, width: usize) -> Vec<String> {
    let indent = first.chars().count();
    let (mut lines, mut line, mut length) = (Vec::new(), first.to_owned(), indent);
    let mut is_first = true;
    for word in text.split_whitespace() {
        let size = word.chars().count();
        if !is_first && length + 1 + size > width {
            lines.push(line);
            (line, length, is_first) = (" ".repeat(indent), indent, true);
        }
        if !is_first {
            line.push(' ');
            length += 1;
        }
        line.push_str(word);
        length += size;
        is_first = false;
    }
    lines.push(line);
    lines
}

/// The word that files and screens use for a verdict.
#[must_use]
pub const fn verdict(value: Verdict) -> &'static str {
    match value {
        Verdict::Accepted => "accepted",
        Verdict::Rejected => "rejected",
        Verdict::Unknown => "unknown",
    }
}

/// The running torque that the limits of an attempt came on top of, and how it is known; none where nothing was added.
#[must_use]
pub fn added(value: Added) -> Option<String> {
    match value {
        Added::Nothing => None,
        Added::Unknown => Some("running torque not known".to_owned()),
        Added::Given(running) => Some(format!("on top of {} running (plan)", torque(running))),
        Added::Measured(running) => Some(format!("on top of {} running (seen)", torque(running))),
        Added::Typed(running) => Some(format!("on top of {} running (typed)", torque(running))),
    }
}

/// How a running torque came to be known.
#[must_use]
pub const fn seen(value: Seen) -> &'static str {
    match value {
        Seen::Measured => "seen while it was run down",
        Seen::Typed => "typed",
    }
}

/// What a reason means.
#[must_use]
pub const fn reason(value: Reason) -> &'static str {
    match value {
        Reason::TorqueLow => "torque below the window",
        Reason::TorqueHigh => "torque above the window",
        Reason::AngleLow => "turned less than the window",
        Reason::AngleHigh => "turned more than the window",
        Reason::EarlyRise => {
            "torque rose too steeply: bottomed, cross-threaded, a tight hole, or partly tight before"
        }
        Reason::LateRise => {
            "torque rose too little for the angle: cross-threaded or stripping, or a soft, wrong or missing part"
        }
        Reason::Yielding => "torque stopped climbing: the fastener yields, or its thread strips",
        Reason::GivingWay => "torque fell while turning: its thread strips or it breaks",
        Reason::NoTurn => "torque came without turning: already tight, or seized",
        Reason::StickSlip => "it stuck and slipped: dirt, or the wrong thing on the threads",
        Reason::Jerk => "pulled faster than the samples can judge",
        Reason::Gap => "samples were missing",
        Reason::Stuck => "the sensor repeated itself or stood at its end",
        Reason::Overload => "above what the tool or the fastener may bear",
        Reason::Interrupted => "interrupted: its angle cannot be known, or one sweep was asked for",
        Reason::WrongWay => "loaded the wrong way",
        Reason::OutOfOrder => "out of order",
        Reason::NoRise => {
            "turned without torque: stripping or cross-threaded, a part that gives way, or the tool slipped"
        }
        Reason::RunningUnknown => "running torque not known: the target comes on top of it",
    }
}

/// What to do about a verdict, in sentences: what to look at for the gravest reason, then the act advised first.
#[must_use]
pub fn what_now(advice: &Advice) -> Vec<String> {
    let first = advice.acts.first().copied();
    let look = advice.gravest.map_or("", |reason| look(reason, first));
    let act = first.map_or("", act);
    [look, act]
        .into_iter()
        .filter(|words| !words.is_empty())
        .map(str::to_owned)
        .collect()
}

/// Where to look for a reason, before anything is done.
const fn look(reason: Reason, first: Option<Act>) -> &'static str {
    match reason {
        Reason::GivingWay => "Stop. Look at fastener, thread and hole.",
        Reason::Yielding => "Stop. Unless the maker wants it to yield, it is spent.",
        Reason::Overload => "Stop. Look at tool and fastener for damage.",
        Reason::NoTurn => {
            "Find out whether it is tight already or seized; do not force a seized one."
        }
        Reason::EarlyRise => "Look at thread, length, hole depth and debris.",
        Reason::NoRise => "Stop. Look at thread, hole and parts, and whether the tool slipped.",
        Reason::LateRise => {
            "Look at the thread: crossed or stripping? Then for a soft, wrong or missing part."
        }
        Reason::StickSlip => "Clean it, and look at what is on the threads.",
        Reason::WrongWay => "Look at the direction, and at the hand of the thread.",
        Reason::TorqueHigh | Reason::AngleHigh => "Do not back it off to the target.",
        Reason::Stuck | Reason::Gap => "Check the tool and its cable before the next pull.",
        Reason::Jerk => "Pull slowly and evenly: between two samples it may have been higher.",
        Reason::TorqueLow if matches!(first, Some(Act::TakeOut | Act::Replace)) => {
            "It turned as asked and the torque did not come: look at the thread, then for a soft, wrong or missing part."
        }
        Reason::OutOfOrder => {
            "Go on with the fastener shown; where the order matters, begin the pass again."
        }
        Reason::RunningUnknown => {
            "Its running torque was not seen on the way down, and the target comes on top of it."
        }
        Reason::Interrupted | Reason::TorqueLow | Reason::AngleLow => "",
    }
}

/// The word that scripts use for an act.
#[must_use]
pub const fn act_word(act: Act) -> &'static str {
    match act {
        Act::PullOn => "pull-on",
        Act::Again => "again",
        Act::TypeRunning => "type-running",
        Act::Loosen => "loosen",
        Act::TakeOut => "take-out",
        Act::Replace => "replace",
        Act::Observe => "observe",
        Act::Waive => "waive",
    }
}

/// What an act is, as a sentence.
#[must_use]
pub const fn act(act: Act) -> &'static str {
    match act {
        Act::PullOn => "Pull on to the target.",
        Act::Again => "Do it once more.",
        Act::TypeRunning => "Type its running torque, as felt or measured with another wrench.",
        Act::Loosen => {
            "Pressure and load off; then loosen it fully and begin again at its first stage."
        }
        Act::TakeOut => {
            "Pressure and load off; then take it out. Only what is sound goes in again, from its first stage."
        }
        Act::Replace => "Fit a new one, in a sound thread; it begins again at its first stage.",
        Act::Observe => "If a mark on the metal shows the angle, enter it: seen, not measured.",
        Act::Waive => "Or leave it as it is, on a name and a reason.",
    }
}

/// Why an input was refused.
#[must_use]
pub const fn refusal(value: Refusal) -> &'static str {
    match value {
        Refusal::NotStarted => "the joint is not begun yet",
        Refusal::StartedBefore => "it is begun already",
        Refusal::InPull => "a pull is in progress: finish it first",
        Refusal::NoSuch => "there is no such fastener, stage, step or moment here",
        Refusal::AlreadySettled => "it is settled already",
        Refusal::WrongKind => "this stage is done in another way",
        Refusal::EarlierOpen => "an earlier stage is still open",
        Refusal::NothingToPull => "nothing is to be pulled now",
        Refusal::Store => "the record is still being stored",
        Refusal::ReasonMissing => "a name or reason is needed",
        Refusal::TextTooLong => "that is longer than 48 bytes; say it shorter",
        Refusal::NothingToDecide => "there is nothing to decide",
        Refusal::NotFinal => "that fastener is not final",
        Refusal::AngleTightened => {
            "an angle is not pulled or checked twice: loosen it, or fit a new one"
        }
        Refusal::WrongState => "the engine is in the wrong state for this stage",
        Refusal::NoMockUp => "there is no mock-up to take apart",
        Refusal::LoosenFirst => "it must be loosened first",
        Refusal::ReplaceFirst => "it must be replaced first",
        Refusal::BetterEvidence => {
            "this stage asks for better evidence than this way of working gives: see `evidence` in the plan"
        }
        Refusal::NotRead => {
            "what this stage is judged by was not read: a torque, or the angle of a turn"
        }
        Refusal::NoRotation => {
            "this stage wants the angle, and this instrument measures none: take a tool that does"
        }
        Refusal::NoRunningTorque => {
            "a running torque is from 0 up to the target it comes on top of, where the plan adds one (`prevailing`)"
        }
        Refusal::PastPutRight => {
            "that cannot be put right any more: more was done to it since, or too much else. Say that it felt wrong, or loosen it and do it again"
        }
        Refusal::Measured => {
            "a pull is never withdrawn; if it was on another fastener, say on which"
        }
        Refusal::NotComparable => {
            "what was measured says nothing about that fastener: it came upon another state. Say that both felt wrong, or loosen them and do them again"
        }
    }
}

/// All reasons in a sentence, the gravest first; empty where there is none.
#[must_use]
pub fn reasons(set: Reasons) -> String {
    let all: Vec<&str> = set.iter().map(reason).collect();
    all.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_half_away_from_zero_and_never_minus_nothing() {
        let torque = |value| torque_number(Torque::from_millinewton_meters(value));
        assert_eq!(torque(41_605), "41.61");
        assert_eq!(torque(-41_605), "-41.61");
        assert_eq!(torque(-4), "0.00");
        assert_eq!(torque(99_999), "100.00");
        assert_eq!(torque(100_049), "100.0");
        assert_eq!(angle(Angle::from_millidegrees(89_950)), "90.0°");
        assert_eq!(length(Length::from_micrometers(50)), "0.05 mm");
        assert_eq!(length(Length::from_micrometers(-1_234)), "-1.234 mm");
    }

    #[test]
    fn times_that_nobody_told_are_unknown() {
        assert_eq!(wall_time(None), "time unknown");
        assert_eq!(wall_time(Some(i64::MAX)), "time unknown");
        assert!(wall_time(Some(1_778_745_600)).starts_with("2026-05-14"));
        assert_eq!(
            [0, 59, 125, 3_600].map(seconds),
            ["0 s", "59 s", "2 min 05 s", "1 h 00 min"]
        );
    }
}
