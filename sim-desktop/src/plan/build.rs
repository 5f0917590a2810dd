//! The head of the plan: what is built from which document, the tools, the parts.
//!
//! Knows nothing of joints.

use evendraw_core::unit::Torque;
use jiff::civil::Date;

use super::fault::Faults;
use super::guard::Decide;
use super::quantity::{share, torque};
use super::tree::{Choice, Reader, Typed, Value, closest, text_of};
use crate::mechanics;

/// What is built, and from which document.
#[derive(Clone, Debug, Default)]
pub struct Build {
    /// Title of the job.
    pub title: String,
    /// The unit worked on, with its serial number.
    pub unit: Option<String>,
    /// The document, its page and revision.
    pub document: Option<String>,
    /// Customer or order.
    pub customer: Option<String>,
    /// Who typed the values in.
    pub entered_by: Option<String>,
    /// Who compared them with the document.
    pub checked_by: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// How a value is held against a limit.
    pub decide: Decide,
    /// Whether its values are invented, to show how the program works: said on every face, and never worked from.
    pub demo: bool,
}

pub(super) fn build(reader: &mut Reader<'_>, faults: &mut Faults) -> Build {
    let silent = Choice::default();
    let Some(node) = reader.raw("build") else {
        return Build::default();
    };
    let Some(mut own) = Reader::of_node("[build]", node, &silent, faults) else {
        return Build::default();
    };
    let demo = own.flag("demo", faults).unwrap_or(false);
    let mut text = |key, faults: &mut Faults| own.text(key, faults).map(|typed| typed.text);
    let build = Build {
        title: text("title", faults).unwrap_or_default(),
        unit: text("unit", faults),
        document: text("document", faults),
        customer: text("customer", faults),
        entered_by: text("entered_by", faults),
        checked_by: text("checked_by", faults),
        note: text("note", faults),
        decide: own
            .text("decide", faults)
            .and_then(|typed| decide(&typed, faults))
            .unwrap_or_default(),
        demo,
    };
    own.finish(faults, |_| None);
    build
}

fn decide(typed: &Typed, faults: &mut Faults) -> Option<Decide> {
    let found = Decide::ALL
        .into_iter()
        .find(|decide| decide.word() == typed.text);
    if found.is_none() {
        let words = Decide::ALL.map(Decide::word);
        faults.error(
            &typed.place,
            format!("unknown way to decide `{}`", typed.text),
            "here",
            match closest(&typed.text, words) {
                Some(near) => format!("did you mean `{near}`?"),
                None => words.join(", "),
            },
        );
    }
    found
}

/// How a tool tells its torque.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ToolKind {
    /// A digital adapter.
    Adapter,
    /// A wrench that is set and clicks.
    Click,
    /// A bending beam.
    Beam,
    /// A dial.
    Dial,
}

impl ToolKind {
    /// The word a plan uses.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Adapter => "adapter",
            Self::Click => "click",
            Self::Beam => "beam",
            Self::Dial => "dial",
        }
    }
}

/// A tool.
#[derive(Clone, Debug)]
pub struct Tool {
    /// The number painted on it.
    pub id: String,
    /// How it tells its torque.
    pub kind: ToolKind,
    /// What it is called.
    pub title: Option<String>,
    /// Highest torque, and as typed.
    pub capacity: Torque,
    /// As typed.
    pub capacity_text: String,
    /// Lowest torque that it may be used for.
    pub lowest: Torque,
    /// As typed; none where it is 20 % of capacity by default.
    pub lowest_text: Option<String>,
    /// Graduation or display resolution.
    pub step: Option<Torque>,
    /// As typed.
    pub step_text: Option<String>,
    /// Accuracy in parts per million of the reading.
    pub accuracy_ppm: Option<i64>,
    /// As typed.
    pub accuracy_text: Option<String>,
    /// When it was calibrated.
    pub calibrated: Option<Date>,
    /// Until when that holds.
    pub due: Option<Date>,
}

impl Tool {
    /// Whether the torque lies in its range.
    #[must_use]
    pub fn reaches(&self, torque: Torque) -> bool {
        torque >= self.lowest && torque <= self.capacity
    }

    /// The tool as the shop's arithmetic takes it.
    #[must_use]
    pub fn reckoned(&self) -> mechanics::Tool {
        let newton_meters = |torque: Torque| f64::from(torque.millinewton_meters()) / 1_000.0;
        mechanics::Tool {
            id: self.id.clone(),
            kind: match self.kind {
                ToolKind::Adapter => mechanics::ToolKind::Adapter,
                ToolKind::Click => mechanics::ToolKind::Click,
                ToolKind::Beam => mechanics::ToolKind::Beam,
                ToolKind::Dial => mechanics::ToolKind::Dial,
            },
            capacity_Nm: newton_meters(self.capacity),
            lowest_Nm: Some(newton_meters(self.lowest)),
            step_Nm: self.step.map(newton_meters),
            accuracy: self
                .accuracy_ppm
                .and_then(|ppm| i32::try_from(ppm).ok())
                .map(|ppm| f64::from(ppm) / 1_000_000.0),
            due: self.due,
        }
    }

    /// Whether its calibration has run out on that day.
    #[must_use]
    pub fn is_overdue(&self, today: Date) -> bool {
        self.due.is_some_and(|due| due < today)
    }
}

pub(super) fn tools(reader: &mut Reader<'_>, faults: &mut Faults) -> Vec<Tool> {
    let silent = Choice::default();
    let mut list: Vec<Tool> = Vec::new();
    for (index, node) in reader.tables("tool", faults).into_iter().enumerate() {
        let of = format!("tool {}", index + 1);
        let Some(mut own) = Reader::of_node(of, node, &silent, faults) else {
            continue;
        };
        let id = own.needed_text("id", faults);
        if let Some(id) = &id {
            own.of = format!("tool `{}`", id.text);
            if id.text.len() > evendraw_core::limits::TEXT_MAX {
                faults.error(
                    &id.place,
                    format!("id of {} bytes", id.text.len()),
                    "here",
                    format!("at most {} bytes", evendraw_core::limits::TEXT_MAX),
                );
            }
            if list.iter().any(|other| other.id == id.text) {
                faults.error(
                    &id.place,
                    format!("two tools have the id `{}`", id.text),
                    "the second",
                    "every tool its own id",
                );
            }
        }
        let kind = own
            .needed_text("kind", faults)
            .and_then(|typed| kind(&typed, faults));
        let title = own.text("title", faults).map(|typed| typed.text);
        let capacity = own.needed_text("capacity", faults);
        let capacity_torque = capacity.as_ref().and_then(|typed| torque(typed, faults));
        let lowest = own.text("lowest", faults);
        let lowest_torque = lowest.as_ref().and_then(|typed| torque(typed, faults));
        let step = own.text("step", faults);
        let step_torque = step.as_ref().and_then(|typed| torque(typed, faults));
        let accuracy = own.text("accuracy", faults);
        let accuracy_ppm = accuracy.as_ref().and_then(|typed| share(typed, faults));
        let calibrated = date(&mut own, "calibrated", faults);
        let due = date(&mut own, "due", faults);
        if let (Some(calibrated), Some(due)) = (calibrated, due)
            && due < calibrated
        {
            faults.error(
                &own.key_place("due"),
                format!("due on {due}, before it was calibrated on {calibrated}"),
                "here",
                "due lies after calibrated",
            );
        }
        if let (Some(capacity), Some(lowest), Some(typed)) =
            (capacity_torque, lowest_torque, &lowest)
            && lowest >= capacity
        {
            faults.error(
                &typed.place,
                "the lowest torque of this tool is not below its capacity",
                "here",
                "lowest < capacity",
            );
        }
        own.finish(faults, |_| None);
        let (Some(id), Some(kind), Some(capacity), Some(capacity_torque)) =
            (id, kind, capacity, capacity_torque)
        else {
            continue;
        };
        list.push(Tool {
            id: id.text,
            kind,
            title,
            capacity: capacity_torque,
            capacity_text: capacity.text,
            // 20 % of capacity for click and dial: common practice, no source. An adapter or beam says its own.
            lowest: lowest_torque.unwrap_or(match kind {
                ToolKind::Click | ToolKind::Dial => capacity_torque.scaled(1, 5),
                ToolKind::Adapter | ToolKind::Beam => Torque::ZERO,
            }),
            lowest_text: lowest.map(|typed| typed.text),
            step: step_torque,
            step_text: step.map(|typed| typed.text),
            accuracy_ppm,
            accuracy_text: accuracy.map(|typed| typed.text),
            calibrated,
            due,
        });
    }
    list
}

fn kind(typed: &Typed, faults: &mut Faults) -> Option<ToolKind> {
    const KINDS: [ToolKind; 4] = [
        ToolKind::Adapter,
        ToolKind::Click,
        ToolKind::Beam,
        ToolKind::Dial,
    ];
    let found = KINDS.into_iter().find(|kind| kind.word() == typed.text);
    if found.is_none() {
        let words = KINDS.map(ToolKind::word);
        faults.error(
            &typed.place,
            format!("unknown kind of tool `{}`", typed.text),
            "here",
            match closest(&typed.text, words) {
                Some(near) => format!("did you mean `{near}`?"),
                None => words.join(", "),
            },
        );
    }
    found
}

fn date(reader: &mut Reader<'_>, key: &'static str, faults: &mut Faults) -> Option<Date> {
    let node = reader.raw(key)?;
    let text = match &node.value {
        Value::Date(text) => text.clone(),
        Value::Text(text) => text.clone(),
        _ => String::new(),
    };
    match text.parse::<Date>() {
        Ok(date) => Some(date),
        Err(_) => {
            faults.error(
                &node.place,
                format!("`{key}` of {} is not a day", reader.of),
                "here",
                "a day without quotes: 2026-05-04",
            );
            None
        }
    }
}

/// A part that the plan says more of than its name.
#[derive(Clone, Debug)]
pub struct Part {
    /// The name that joints need it by.
    pub name: String,
    /// Part number.
    pub number: Option<String>,
    /// Not here yet when the plan was written.
    pub on_order: bool,
    /// A remark.
    pub note: Option<String>,
    pub(super) place: super::tree::Place,
}

pub(super) fn parts(reader: &mut Reader<'_>, faults: &mut Faults) -> Vec<Part> {
    let silent = Choice::default();
    let mut list: Vec<Part> = Vec::new();
    for (index, node) in reader.tables("part", faults).into_iter().enumerate() {
        let of = format!("part {}", index + 1);
        let Some(mut own) = Reader::of_node(of, node, &silent, faults) else {
            continue;
        };
        let name = own.needed_text("name", faults);
        let number = own
            .raw("number")
            .and_then(|node| text_of(node, "`number` of a part", faults))
            .map(|typed| typed.text);
        let on_order = own.flag("on_order", faults).unwrap_or(false);
        let note = own.text("note", faults).map(|typed| typed.text);
        own.finish(faults, |_| None);
        let Some(name) = name else { continue };
        if list.iter().any(|other| other.name == name.text) {
            faults.error(
                &name.place,
                format!("part `{}` stands twice", name.text),
                "the second",
                "each part once",
            );
            continue;
        }
        list.push(Part {
            name: name.text,
            number,
            on_order,
            note,
            place: name.place,
        });
    }
    list
}
