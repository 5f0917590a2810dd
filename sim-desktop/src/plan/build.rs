//! The head of the plan: what is built from which document, the tools, the parts.
//!
//! Knows nothing of joints.

use std::collections::BTreeSet;

use evendraw_core::limits::TEXT_MAX;
use evendraw_core::procedure::Evidence;
use evendraw_core::unit::Torque;
use jiff::civil::Date;

use super::guard::Decide;
use super::lines::lines;
use super::quantity::{angle, share, torque};
use super::tree::{Choice, Node, Reader, Typed, Value, text_of};
use crate::limits::{PARTS_MAX, QUANTITY_MAX, REVISION_MAX, TOOLS_MAX, counted};
use crate::lines::Format;
use crate::mechanics;
use crate::quantity::{Quantity, TorqueUnit, Unit as _, newton_meters};

/// What is built, and from which document.
#[derive(Clone, Debug)]
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
    /// Number of this state of the plan, from 1.
    pub revision: u32,
    /// Why it was changed.
    pub reason: Option<String>,
    /// How a value is held against a limit.
    pub decide: Decide,
    /// Whether its values are invented, to show how the program works: said on every face, and never worked from.
    pub demo: bool,
    /// Tools of the shop's register that are taken, by id.
    pub tools: Vec<String>,
}

impl Default for Build {
    fn default() -> Self {
        Self {
            title: String::new(),
            unit: None,
            document: None,
            customer: None,
            entered_by: None,
            checked_by: None,
            note: None,
            revision: 1,
            reason: None,
            decide: Decide::default(),
            demo: false,
            tools: Vec::new(),
        }
    }
}

pub(super) fn build(reader: &mut Reader<'_>) -> Build {
    let silent = Choice::default();
    let Some(node) = reader.raw("build") else {
        return Build::default();
    };
    let Some(mut own) = Reader::of_node("[build]", node, &silent) else {
        return Build::default();
    };
    let demo = own.flag("demo").unwrap_or(false);
    let revision = own.whole("revision", 1..=REVISION_MAX).unwrap_or(1);
    let mut text = |key| own.text(key).map(|typed| typed.text);
    let build = Build {
        title: text("title").unwrap_or_default(),
        unit: text("unit"),
        document: text("document"),
        customer: text("customer"),
        entered_by: text("entered_by"),
        checked_by: text("checked_by"),
        note: text("note"),
        revision,
        reason: text("reason"),
        decide: own
            .text("decide")
            .and_then(|typed| decide(&typed))
            .unwrap_or_default(),
        demo,
        // They are looked at when those of the plan are known.
        tools: Vec::new(),
    };
    let _ = own.raw("tools");
    own.finish(|_| None);
    build
}

fn decide(typed: &Typed<'_>) -> Option<Decide> {
    let found = Decide::ALL
        .into_iter()
        .find(|decide| decide.word() == typed.text);
    if found.is_none() {
        let words = Decide::ALL.map(Decide::word);
        typed.place.error(
            format!("unknown way to decide `{}`", typed.text),
            "here",
            match typed.place.to.closest(&typed.text, words) {
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
    /// An instrument that sends its samples as text lines.
    Stream,
    /// A wrench or sensor that shows the highest torque as a number.
    Display,
    /// A wrench that is set and clicks.
    Click,
    /// A bending beam.
    Beam,
    /// A dial.
    Dial,
    /// A gauge that shows an angle and no torque.
    AngleGauge,
    /// None that tells anything: a spanner, a breaker bar.
    Hand,
}

impl ToolKind {
    /// All, as they are listed for people.
    pub const ALL: [Self; 8] = [
        Self::Adapter,
        Self::Stream,
        Self::Display,
        Self::Click,
        Self::Beam,
        Self::Dial,
        Self::AngleGauge,
        Self::Hand,
    ];

    /// What it gives, at best.
    #[must_use]
    pub const fn evidence(self) -> Evidence {
        match self {
            Self::Adapter | Self::Stream => Evidence::Curve,
            Self::Display | Self::Beam | Self::Dial | Self::AngleGauge => Evidence::Reading,
            Self::Click => Evidence::Setting,
            Self::Hand => Evidence::Any,
        }
    }

    /// Whether it tells a torque or is set to one, so that it has a range.
    #[must_use]
    pub const fn has_torque(self) -> bool {
        !matches!(self, Self::AngleGauge | Self::Hand)
    }

    /// The word a plan uses.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Adapter => "adapter",
            Self::Stream => "stream",
            Self::Display => "display",
            Self::Click => "click",
            Self::Beam => "beam",
            Self::Dial => "dial",
            Self::AngleGauge => "angle-gauge",
            Self::Hand => "hand",
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
    /// Highest torque; zero for a tool without one.
    pub capacity: Torque,
    /// As typed; empty for a tool without one.
    pub capacity_text: String,
    /// Lowest torque that it may be used for.
    pub lowest: Torque,
    /// As typed; none where it is 20 % of capacity by default.
    pub lowest_text: Option<String>,
    /// Graduation or display resolution; of an angle gauge that of its angle, and none here.
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
    /// The number of the calibration's certificate.
    pub certificate: Option<String>,
    /// How a tool of kind `stream` prints its readings; none for every other kind.
    pub lines: Option<Format>,
}

impl Tool {
    /// Whether the torque lies in its range.
    #[must_use]
    pub fn reaches(&self, torque: Torque) -> bool {
        self.kind.has_torque() && torque >= self.lowest && torque <= self.capacity
    }

    /// Graduation or resolution and accuracy as the plan states them: what is kept beside a value read with it.
    #[must_use]
    pub fn stated(&self) -> String {
        let parts = [self.step_text.as_deref(), self.accuracy_text.as_deref()];
        let parts: Vec<&str> = parts.into_iter().flatten().collect();
        parts.join(", ")
    }

    /// Its graduation in N·m, none where the plan states none: not rounded, so that the tenth line of a scale in another unit is ten of them.
    #[must_use]
    pub fn step_newton_meters(&self) -> Option<f64> {
        let step = self.step?;
        let exact = || {
            let text = self.step_text.as_deref()?;
            let unit = Quantity::<TorqueUnit>::parse(text).ok()?.unit();
            let number = text.split(|letter: char| letter.is_alphabetic()).next()?;
            let number: f64 = number.trim().replace(',', ".").parse().ok()?;
            let ten_thousand = format!("10000 {}", unit.symbol());
            let ten_thousand = Quantity::<TorqueUnit>::parse(&ten_thousand).ok()?;
            Some(number * newton_meters(ten_thousand.torque()) / 1e4)
        };
        Some(exact().unwrap_or_else(|| newton_meters(step)))
    }

    /// The tool as the shop's arithmetic takes it.
    #[must_use]
    pub fn calculated(&self) -> mechanics::Tool {
        mechanics::Tool {
            id: self.id.clone(),
            kind: match self.kind {
                // They measure by themselves, and say their own range; the last two reach no torque at all.
                ToolKind::Adapter
                | ToolKind::Stream
                | ToolKind::Display
                | ToolKind::AngleGauge
                | ToolKind::Hand => mechanics::ToolKind::Adapter,
                ToolKind::Click => mechanics::ToolKind::Click,
                ToolKind::Beam => mechanics::ToolKind::Beam,
                ToolKind::Dial => mechanics::ToolKind::Dial,
            },
            capacity_Nm: newton_meters(self.capacity),
            lowest_Nm: Some(newton_meters(self.lowest)),
            step_Nm: self.step_newton_meters(),
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

/// The tools that could be read, and the ids of all that are listed.
pub(super) fn tools(reader: &mut Reader<'_>) -> (Vec<Tool>, BTreeSet<String>) {
    let silent = Choice::default();
    let nodes = reader.tables("tool", "tool");
    if let Some(one_too_many) = nodes.get(TOOLS_MAX) {
        one_too_many.place.error(
            format!(
                "{} tools: more than the {TOOLS_MAX} allowed",
                counted(nodes.len())
            ),
            "one too many",
            "list those that this build uses",
        );
    }
    let mut ids = BTreeSet::new();
    let list = (1_usize..)
        .zip(nodes)
        .take(TOOLS_MAX)
        .filter_map(|(number, node)| {
            let mut own = Reader::of_node(format!("tool {number}"), node, &silent)?;
            tool(&mut own, &mut ids)
        })
        .collect();
    (list, ids)
}

pub(super) fn tool(own: &mut Reader<'_>, ids: &mut BTreeSet<String>) -> Option<Tool> {
    let id = own.needed_text("id");
    if let Some(id) = &id {
        own.of = format!("tool `{}`", id.text);
        if id.text.len() > TEXT_MAX {
            id.place.error(
                format!("id of {} bytes", id.text.len()),
                "here",
                format!("at most {TEXT_MAX} bytes"),
            );
        }
        if !ids.insert(id.text.clone()) {
            id.place.error(
                format!("two tools have the id `{}`", id.text),
                "the second",
                "every tool its own id",
            );
        }
    }
    let kind = own.needed_text("kind").and_then(|typed| kind(&typed));
    let title = own.text("title").map(|typed| typed.text);
    // A kind that could not be read is taken for one with a torque: what is wrong is said once.
    let has_torque = kind.is_none_or(ToolKind::has_torque);
    let capacity = if has_torque {
        own.needed_text("capacity")
    } else {
        none_of(own, kind);
        None
    };
    let capacity_torque = capacity.as_ref().and_then(torque);
    let lowest = has_torque.then(|| own.text("lowest")).flatten();
    let lowest_torque = lowest.as_ref().and_then(torque);
    let step = own.text("step");
    let accuracy = own.text("accuracy");
    let (step_torque, accuracy_ppm) = if kind == Some(ToolKind::AngleGauge) {
        // Both in degrees; they are recorded as stated.
        let _ = step.as_ref().and_then(angle);
        let _ = accuracy.as_ref().and_then(angle);
        (None, None)
    } else {
        (
            step.as_ref().and_then(torque),
            accuracy.as_ref().and_then(share),
        )
    };
    let calibrated = date(own, "calibrated");
    let due = date(own, "due");
    let certificate = own.text("certificate").map(|typed| typed.text);
    if let (Some(calibrated), Some(due)) = (calibrated, due)
        && due < calibrated
    {
        own.key_place("due").error(
            format!("due on {due}, before it was calibrated on {calibrated}"),
            "here",
            "due lies after calibrated",
        );
    }
    if let (Some(capacity), Some(lowest), Some(typed)) = (capacity_torque, lowest_torque, &lowest)
        && lowest >= capacity
    {
        typed.place.error(
            "the lowest torque of this tool is not below its capacity",
            "here",
            "lowest < capacity",
        );
    }
    let lines = if kind == Some(ToolKind::Stream) {
        lines(own)
    } else {
        if own.has("lines") && kind.is_some() {
            own.key_place("lines").error(
                format!("[tool.lines] of {}, which sends no lines", own.of),
                "here",
                "it belongs to a tool of kind = \"stream\"",
            );
        }
        let _ = own.raw("lines");
        None
    };
    own.finish(|_| None);
    let (id, kind) = (id?, kind?);
    let (capacity_torque, capacity_text) = if has_torque {
        (capacity_torque?, capacity?.text)
    } else {
        (Torque::ZERO, String::new())
    };
    Some(Tool {
        id: id.text,
        kind,
        title,
        capacity: capacity_torque,
        capacity_text,
        // 20 % of capacity for click and dial: common practice, no source. An adapter or beam says its own.
        lowest: lowest_torque.unwrap_or(match kind {
            ToolKind::Click | ToolKind::Dial => capacity_torque.scaled(1, 5),
            ToolKind::Adapter
            | ToolKind::Stream
            | ToolKind::Display
            | ToolKind::Beam
            | ToolKind::AngleGauge
            | ToolKind::Hand => Torque::ZERO,
        }),
        lowest_text: lowest.map(|typed| typed.text),
        step: step_torque,
        step_text: step.map(|typed| typed.text),
        accuracy_ppm,
        accuracy_text: accuracy.map(|typed| typed.text),
        calibrated,
        due,
        certificate,
        lines,
    })
}

/// A range of torque where there can be none.
fn none_of(own: &mut Reader<'_>, kind: Option<ToolKind>) {
    for key in ["capacity", "lowest"] {
        if own.has(key) {
            own.key_place(key).error(
                format!(
                    "`{key}` of {}, a tool of kind `{}`, which tells no torque",
                    own.of,
                    kind.map_or("", ToolKind::word)
                ),
                "here",
                format!("leave `{key}` out"),
            );
        }
        let _ = own.raw(key);
    }
}

fn kind(typed: &Typed<'_>) -> Option<ToolKind> {
    let found = ToolKind::ALL
        .into_iter()
        .find(|kind| kind.word() == typed.text);
    if found.is_none() {
        let words = ToolKind::ALL.map(ToolKind::word);
        typed.place.error(
            format!("unknown kind of tool `{}`", typed.text),
            "here",
            match typed.place.to.closest(&typed.text, words) {
                Some(near) => format!("did you mean `{near}`?"),
                None => words.join(", "),
            },
        );
    }
    found
}

pub(super) fn date(reader: &mut Reader<'_>, key: &'static str) -> Option<Date> {
    let node = reader.raw(key)?;
    let text = match &node.value {
        Value::Date(text) => text.clone(),
        Value::Text(text) => text.clone(),
        _ => String::new(),
    };
    match text.parse::<Date>() {
        Ok(date) => Some(date),
        Err(_) => {
            node.place.error(
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
    /// How many, or how much with its unit, as typed; 1 where the plan is silent.
    pub quantity: String,
    /// Not here yet when the plan was written.
    pub on_order: bool,
    /// A remark.
    pub note: Option<String>,
    pub(super) place: std::ops::Range<usize>,
}

pub(super) fn parts(reader: &mut Reader<'_>) -> Vec<Part> {
    let silent = Choice::default();
    let mut list: Vec<Part> = Vec::new();
    let nodes = reader.tables("part", "part");
    if let Some(one_too_many) = nodes.get(PARTS_MAX) {
        one_too_many.place.error(
            format!(
                "{} parts: more than the {PARTS_MAX} allowed",
                counted(nodes.len())
            ),
            "one too many",
            "a part that needs no number and no remark is named by its joint alone",
        );
    }
    for (number, node) in (1_usize..).zip(nodes).take(PARTS_MAX) {
        let of = format!("part {number}");
        let Some(mut own) = Reader::of_node(of, node, &silent) else {
            continue;
        };
        let name = own.needed_text("name");
        let number = own
            .raw("number")
            .and_then(|node| text_of(node, "`number` of a part"))
            .map(|typed| typed.text);
        let quantity = own.raw("quantity").and_then(quantity);
        let on_order = own.flag("on_order").unwrap_or(false);
        let note = own.text("note").map(|typed| typed.text);
        own.finish(|_| None);
        let Some(name) = name else { continue };
        if list.iter().any(|other| other.name == name.text) {
            name.place.error(
                format!("part `{}` stands twice", name.text),
                "the second",
                "each part once",
            );
            continue;
        }
        list.push(Part {
            name: name.text,
            number,
            quantity: quantity.unwrap_or_else(|| "1".to_owned()),
            on_order,
            note,
            place: name.place.bytes(),
        });
    }
    list
}

/// How many, or how much.
fn quantity(node: &Node<'_>) -> Option<String> {
    let found = match &node.value {
        Value::Whole(number) => u32::try_from(*number)
            .ok()
            .filter(|number| (1..=QUANTITY_MAX).contains(number))
            .map(|number| number.to_string()),
        Value::Text(text) => {
            let has_a_number = text.chars().any(|letter| ('1'..='9').contains(&letter));
            has_a_number.then(|| text.trim().to_owned())
        }
        _ => None,
    };
    if found.is_none() {
        node.place.error(
            "`quantity` of a part is nothing that can be ordered",
            "here",
            format!(
                "a whole number from 1 to {}, or an amount with its unit in quotes: \"0.5 L\"",
                counted(QUANTITY_MAX as usize)
            ),
        );
    }
    found
}
