//! The tools: what each is, whether its calibration holds, what was read with it.
//!
//! Knows nothing of what was read.

use evendraw_core::record::{Entry, Record};
use evendraw_core::unit::Torque;
use jiff::civil::Date;

use super::clock::Clock;
use super::hands::InHand;
use super::unit::Shown;
use super::{Item, Kept, ToolStatus, View, counted};
use crate::job::ways::own_unit;
use crate::mark::Mark;
use crate::plan::{Tool, ToolKind};

/// What was done with one tool.
struct Use<'e> {
    id: String,
    waivers: Vec<String>,
    readings: Vec<&'e Entry>,
}

impl Use<'_> {
    fn of(id: impl Into<String>) -> Self {
        Self {
            id: id.into(),
            waivers: Vec::new(),
            readings: Vec::new(),
        }
    }
}

/// The tools that were named, then the others of the plan; what is wrong with their use goes to the exceptions.
pub(super) fn tools(
    exceptions: &mut Vec<Item>,
    views: &[View<'_>],
    clock: &Clock,
    kept: &Kept<'_>,
) -> Vec<ToolStatus> {
    let plan = kept.plan;
    let (mut used, untold) = used(views);
    if untold > 0 && !plan.tools().is_empty() {
        let what = format!("{} made with no tool named", counted(untold, "attempt"));
        exceptions.push(Item::new(Mark::Doubtful, "build", what));
    }
    let named = used.len();
    for tool in plan.tools() {
        if used.iter().all(|one| one.id != tool.id) {
            used.push(Use::of(&tool.id));
        }
    }
    let mut list = Vec::new();
    for (at, one) in used.into_iter().enumerate() {
        let tool = plan.tool(&one.id);
        let is_expired = tool
            .zip(kept.today)
            .is_some_and(|(tool, day)| tool.is_overdue(day));
        let (over, in_date) = in_date(tool, &one, is_expired, clock, kept);
        if over > 0 {
            let what = format!("tool {}: calibration expired: {in_date}", one.id);
            exceptions.push(Item::new(Mark::Doubtful, "build", what));
        }
        list.push(ToolStatus {
            what: tool.map_or_else(|| "not in the plan".to_owned(), what),
            calibration: tool.map_or_else(String::new, |tool| calibration(tool, is_expired)),
            is_expired,
            is_undated: tool.is_none_or(|tool| tool.kind != ToolKind::Hand && tool.due.is_none()),
            in_date,
            readings: one.readings.len(),
            is_used: at < named,
            waiver: one.waivers.join("; "),
            id: one.id,
        });
    }
    list
}

/// The tools named, with their readings; and the readings that were taken with none.
fn used<'e>(views: &[View<'e>]) -> (Vec<Use<'e>>, usize) {
    let mut used: Vec<Use<'e>> = Vec::new();
    let mut untold = 0_usize;
    for view in views {
        let mut hand: InHand<usize> = InHand::default();
        for &entry in &view.entries {
            hand.take(&entry.record, |id| {
                let at = used.iter().position(|known| known.id == id);
                Some(at.unwrap_or_else(|| {
                    used.push(Use::of(id));
                    used.len().saturating_sub(1)
                }))
            });
            let now = hand.tool().copied();
            match &entry.record {
                Record::Tool(tool) => {
                    let waiver = tool.waiver.to_string();
                    if let Some(own) = now.and_then(|at| used.get_mut(at))
                        && !waiver.is_empty()
                        && !own.waivers.contains(&waiver)
                    {
                        own.waivers.push(waiver);
                    }
                }
                Record::Attempt(_)
                | Record::Reassigned(_)
                | Record::Read(_)
                | Record::BySetting(_) => match now.and_then(|at| used.get_mut(at)) {
                    Some(one) => one.readings.push(entry),
                    None => untold = untold.saturating_add(1),
                },
                _ => {}
            }
        }
    }
    (used, untold)
}

/// How many readings were taken after it ran out, and in words whether the calibration held: when it was used, or today where
/// nothing was read with it yet.
fn in_date(
    tool: Option<&Tool>,
    used: &Use<'_>,
    is_expired: bool,
    clock: &Clock,
    kept: &Kept<'_>,
) -> (usize, String) {
    if tool.is_some_and(|tool| tool.kind == ToolKind::Hand) {
        return (0, "nothing to calibrate".to_owned());
    }
    let Some(due) = tool.and_then(|tool| tool.due) else {
        return (0, "unknown, no due date in the plan".to_owned());
    };
    let now = if is_expired { "no" } else { "yes" };
    if used.readings.is_empty() || kept.rehearsal {
        return (0, now.to_owned());
    }
    let day = |entry: &&Entry| -> Option<Date> {
        // What was typed later was read on the day that stands on the paper.
        if let Some(date) = kept.from_paper.date(entry) {
            return date.parse().ok();
        }
        let stamp = jiff::Timestamp::from_second(clock.unix(entry)?).ok()?;
        Some(stamp.to_zoned(jiff::tz::TimeZone::system()).date())
    };
    let days: Vec<Option<Date>> = used.readings.iter().map(day).collect();
    let over = days.iter().flatten().filter(|day| **day > due).count();
    let unknown = days.iter().filter(|day| day.is_none()).count();
    let unknown_words = || format!("time of {} unknown", counted(unknown, "attempt"));
    let words = match (over, unknown) {
        (0, 0) if is_expired => format!("yes when used; calibration expired on {due}"),
        (0, 0) => "yes".to_owned(),
        (0, _) if is_expired => format!("calibration expired on {due}; {}", unknown_words()),
        (0, _) => format!("due {due}; {}", unknown_words()),
        (over, _) => format!("NO, {} after {due}", counted(over, "attempt")),
    };
    (over, words)
}

fn calibration(tool: &Tool, is_expired: bool) -> String {
    if tool.kind == ToolKind::Hand {
        return "none".to_owned();
    }
    let day = |date: Option<Date>| date.map_or("unknown".to_owned(), |date| date.to_string());
    let due = match tool.due {
        Some(due) if is_expired => format!("calibration expired on {due}"),
        Some(due) => format!("due {due}"),
        None => "no due date".to_owned(),
    };
    if tool.calibrated.is_none() && tool.due.is_none() && tool.certificate.is_none() {
        return "unknown".to_owned();
    }
    let mut words = day(tool.calibrated);
    if let Some(number) = &tool.certificate {
        words.push_str(&format!(", certificate {number}"));
    }
    format!("{words}, {due}")
}

fn what(tool: &Tool) -> String {
    let mut parts = vec![tool.kind.word().to_owned()];
    parts.extend(tool.title.clone());
    if !tool.kind.has_torque() {
        parts.extend(tool.step_text.as_ref().map(|step| format!("to {step}")));
        parts.extend(tool.accuracy_text.clone());
        return parts.join(", ");
    }
    parts.push(range(tool));
    parts.extend(tool.accuracy_text.clone());
    parts.join(", ")
}

/// From its lowest to its highest torque, on the tool's own scale.
pub(in crate::job) fn range(tool: &Tool) -> String {
    let capacity = &tool.capacity_text;
    match &tool.lowest_text {
        Some(lowest) => format!("{lowest} to {capacity}"),
        None if tool.lowest == Torque::ZERO => format!("to {capacity}"),
        None => {
            let unit = own_unit(tool).map_or(Shown::NEWTON_METERS, Shown::new);
            format!(
                "{} {} to {capacity}",
                unit.number(tool.lowest),
                unit.symbol()
            )
        }
    }
}
