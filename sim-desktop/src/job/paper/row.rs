//! One row of a working sheet: its cells as they were typed, and what they mean for the plan.
//!
//! Knows nothing of how a job stands.

use evendraw_core::procedure::StageKind;
use evendraw_core::unit::{Length, Torque};
use jiff::civil::Date;

use super::Fault;
use crate::job::Job;
use crate::plan::Joint;
use crate::quantity::{LengthUnit, Quantity, TorqueUnit};

/// Bytes of a row's text at most: it is kept in the journal in front of what it became.
const ROW_MAX: usize = 360;

/// The cells of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// The joint's id.
    Joint,
    /// The fastener's label; empty where the stage is one of the whole joint.
    Fastener,
    /// The stage from 1, or one of the words of [`STAGE_WORDS`].
    Stage,
    /// What is done there, for who fills it in; nothing is read from it.
    What,
    /// What is to be reached, likewise.
    Wanted,
    /// How the value came to be.
    Way,
    /// The value.
    Value,
    /// The angle beside it.
    Angle,
    /// Whether it moved, where nothing may.
    Moved,
    /// The tool's id.
    Tool,
    /// Who allows a tool that is out of date or range, and why.
    Reason,
    /// Who did it.
    Name,
    /// The day that stands on the paper.
    Date,
    /// Said of a value that is far from its target.
    Sure,
}

impl Column {
    /// Every column, in the order of the table.
    pub const ALL: [Self; 14] = [
        Self::Joint,
        Self::Fastener,
        Self::Stage,
        Self::What,
        Self::Wanted,
        Self::Way,
        Self::Value,
        Self::Angle,
        Self::Moved,
        Self::Tool,
        Self::Reason,
        Self::Name,
        Self::Date,
        Self::Sure,
    ];

    /// Its name in the first line of the table.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Joint => "joint",
            Self::Fastener => "fastener",
            Self::Stage => "stage",
            Self::What => "what",
            Self::Wanted => "wanted",
            Self::Way => "way",
            Self::Value => "value",
            Self::Angle => "angle",
            Self::Moved => "moved",
            Self::Tool => "tool",
            Self::Reason => "reason",
            Self::Name => "name",
            Self::Date => "date",
            Self::Sure => "sure",
        }
    }
}

/// What may stand as a stage beside its number: what was on the threads, the running torque, the paint mark, the second person.
pub(super) const STAGE_WORDS: [&str; 4] = ["threads", "running", "marked", "looked at"];

/// A row as it was typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// Its line in the file, or its number.
    pub line: usize,
    cells: [String; Column::ALL.len()],
}

impl Row {
    /// An empty one.
    #[must_use]
    pub fn new(line: usize) -> Self {
        Self {
            line,
            ..Self::default()
        }
    }

    /// The same on another line.
    #[must_use]
    pub fn at(self, line: usize) -> Self {
        Self { line, ..self }
    }

    /// A cell, without the blanks round it.
    #[must_use]
    pub fn cell(&self, column: Column) -> &str {
        let at = Column::ALL.iter().position(|own| *own == column);
        at.and_then(|at| self.cells.get(at))
            .map_or("", |cell| cell.trim())
    }

    /// With this in a cell.
    #[must_use]
    pub fn with(mut self, column: Column, text: impl Into<String>) -> Self {
        let at = Column::ALL.iter().position(|own| *own == column);
        if let Some(cell) = at.and_then(|at| self.cells.get_mut(at)) {
            *cell = text.into();
        }
        self
    }

    /// Whether anything was done there.
    #[must_use]
    pub fn is_filled(&self) -> bool {
        let told = [Column::Way, Column::Value, Column::Angle, Column::Moved];
        told.iter().any(|column| !self.cell(*column).is_empty())
    }

    /// What it is known by when it is given again.
    fn key(&self) -> String {
        let told = Column::ALL.iter().filter(|column| {
            !matches!(
                column,
                Column::Joint | Column::What | Column::Wanted | Column::Sure
            )
        });
        let cells: Vec<&str> = told.map(|column| self.cell(*column)).collect();
        cells.join("|")
    }

    pub(super) fn fault(&self, column: Column, why: impl Into<String>) -> Fault {
        Fault {
            line: self.line,
            column,
            why: why.into(),
        }
    }
}

/// How a value came to be, in the table's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Told {
    /// As the tool tells it: read or set.
    AsTheTool,
    /// Read from the display.
    Display,
    /// Read by eye.
    Eye,
    /// An angle gauge.
    Gauge,
    /// Seen by a mark.
    Mark,
    /// By a tool that was set.
    Setting,
    /// By hand.
    Hand,
    /// Ticked, and nothing more is known.
    Ticked,
}

impl Told {
    pub(super) const WORDS: [(&'static str, Self); 7] = [
        ("display", Self::Display),
        ("eye", Self::Eye),
        ("gauge", Self::Gauge),
        ("mark", Self::Mark),
        ("setting", Self::Setting),
        ("hand", Self::Hand),
        ("ticked", Self::Ticked),
    ];

    /// Its word.
    pub(super) fn word(self) -> &'static str {
        let mut words = Self::WORDS.iter();
        words
            .find(|(_, own)| *own == self)
            .map_or("", |(word, _)| word)
    }

    fn read(row: &Row) -> Result<Self, Fault> {
        let text = row.cell(Column::Way);
        if text.is_empty() {
            return Ok(Self::AsTheTool);
        }
        let own = Self::WORDS
            .iter()
            .find(|(word, _)| word.eq_ignore_ascii_case(text));
        own.map(|(_, told)| *told).ok_or_else(|| {
            let words: Vec<&str> = Self::WORDS.iter().map(|(word, _)| *word).collect();
            row.fault(
                Column::Way,
                format!("`{text}` is no way; allowed are {}", words.join(", ")),
            )
        })
    }
}

/// What a row says of.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum What {
    /// What was on the threads, and whether that is as the plan assumes.
    Threads(bool),
    /// The running torque of a fastener.
    Running(u8, Torque),
    /// A pulled step.
    Pulled(u16, Told),
    /// A step done by hand, or a new fastener fitted.
    ByHand(u16),
    /// A question.
    Answer(u16, bool),
    /// A length.
    Length(u16, Length),
    /// A paint mark on a fastener.
    Marked(u8),
    /// The second person.
    Looked,
}

impl What {
    /// In which order rows of one joint are taken: as the work is done.
    pub(super) const fn order(&self) -> (u8, u16) {
        match self {
            Self::Threads(_) => (0, 0),
            Self::Running(fastener, _) => (1, *fastener as u16),
            Self::Pulled(step, _)
            | Self::ByHand(step)
            | Self::Answer(step, _)
            | Self::Length(step, _) => (2, *step),
            Self::Marked(fastener) => (3, *fastener as u16),
            Self::Looked => (4, 0),
        }
    }

    pub(super) const fn step(&self) -> Option<u16> {
        match self {
            Self::Pulled(step, _)
            | Self::ByHand(step)
            | Self::Answer(step, _)
            | Self::Length(step, _) => Some(*step),
            Self::Threads(_) | Self::Running(..) | Self::Marked(_) | Self::Looked => None,
        }
    }
}

/// A row that means something.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Item {
    pub(super) row: Row,
    pub(super) key: String,
    pub(super) joint: u8,
    pub(super) what: What,
    pub(super) moved: bool,
    pub(super) is_sure: bool,
    pub(super) date: Option<Date>,
}

impl Item {
    /// What the cells mean for the plan.
    pub(super) fn of(job: &Job, row: &Row, today: Date) -> Result<Self, Fault> {
        let own = joint(job, row)?;
        let key = row.key();
        if key.len() > ROW_MAX {
            return Err(row.fault(
                Column::Value,
                format!("the row is longer than the {ROW_MAX} bytes that are kept"),
            ));
        }
        let date = match row.cell(Column::Date) {
            "" => None,
            text => {
                let date: Date = text.parse().map_err(|_error| {
                    row.fault(
                        Column::Date,
                        format!("`{text}` is no day; allowed is 2026-05-04"),
                    )
                })?;
                if date > today {
                    return Err(row.fault(
                        Column::Date,
                        format!("{date} is still to come; today is {today}"),
                    ));
                }
                Some(date)
            }
        };
        Ok(Self {
            joint: own.number(),
            what: what(job, row, own)?,
            moved: yes_or_no(row, Column::Moved)?.unwrap_or(false),
            is_sure: yes_or_no(row, Column::Sure)?.unwrap_or(false),
            row: row.clone(),
            key,
            date,
        })
    }
}

fn joint<'j>(job: &'j Job, row: &Row) -> Result<&'j Joint, Fault> {
    let joints = job.plan().joints();
    let id = row.cell(Column::Joint);
    match (id, joints) {
        ("", [only]) => Ok(only),
        _ => joints.iter().find(|own| own.id() == id).ok_or_else(|| {
            let ids: Vec<&str> = joints.iter().map(Joint::id).collect();
            row.fault(
                Column::Joint,
                format!("there is no joint `{id}`; allowed are {}", ids.join(", ")),
            )
        }),
    }
}

fn fastener(row: &Row, own: &Joint) -> Result<u8, Fault> {
    let label = row.cell(Column::Fastener);
    own.fastener(label).ok_or_else(|| {
        let labels = own.positions().iter();
        let labels: Vec<&str> = labels.map(|position| position.label.as_str()).collect();
        row.fault(
            Column::Fastener,
            format!(
                "joint {} has no fastener `{label}`; allowed are {}",
                own.id(),
                labels.join(", ")
            ),
        )
    })
}

fn what(job: &Job, row: &Row, own: &Joint) -> Result<What, Fault> {
    let number = own.number();
    let text = row.cell(Column::Stage);
    let plan = job
        .joint_plan(number)
        .ok_or_else(|| row.fault(Column::Joint, "its plan does not read"))?;
    match text.to_ascii_lowercase().as_str() {
        "threads" => return Ok(What::Threads(wanted_answer(row)?)),
        "running" => {
            let fastener = fastener(row, own)?;
            let text = row.cell(Column::Value);
            let torque = Quantity::<TorqueUnit>::parse(text)
                .map_err(|error| row.fault(Column::Value, format!("`{text}`: {error}")))?;
            return Ok(What::Running(fastener, torque.torque()));
        }
        "marked" => {
            wanted_yes(row)?;
            return Ok(What::Marked(fastener(row, own)?));
        }
        "looked at" => {
            wanted_yes(row)?;
            return Ok(What::Looked);
        }
        _ => {}
    }
    let stages = plan.stages.len();
    let stage = text
        .parse::<usize>()
        .ok()
        .and_then(|number| number.checked_sub(1))
        .filter(|index| *index < stages)
        .and_then(|index| u8::try_from(index).ok());
    let Some(stage) = stage else {
        let words = STAGE_WORDS.join(", ");
        return Err(row.fault(
            Column::Stage,
            format!("there is no stage `{text}` here; allowed are 1 to {stages}, {words}"),
        ));
    };
    let on = match row.cell(Column::Fastener) {
        "" => None,
        _ => Some(fastener(row, own)?),
    };
    let mut steps = plan.procedure.numbered_steps();
    let found = steps.find(|(_, step)| step.stage() == stage && step.fastener() == on);
    let Some((step, _)) = found else {
        let why = match on {
            Some(_) => format!("stage {text} does not touch this fastener"),
            None => format!("stage {text} is done fastener by fastener: which one?"),
        };
        return Err(row.fault(Column::Fastener, why));
    };
    let kind = plan.procedure.stage_of(step).map(|stage| stage.kind);
    Ok(match kind {
        Some(StageKind::Check | StageKind::Wait { .. }) => What::Answer(step, wanted_answer(row)?),
        Some(StageKind::Measure { .. }) => {
            let text = row.cell(Column::Value);
            let length = Quantity::<LengthUnit>::parse(text)
                .map_err(|error| row.fault(Column::Value, format!("`{text}`: {error}")))?;
            What::Length(step, length.length())
        }
        Some(kind) if kind.is_pulled() => What::Pulled(step, Told::read(row)?),
        _ => match Told::read(row)? {
            Told::Ticked => What::Pulled(step, Told::Ticked),
            Told::Hand | Told::AsTheTool => {
                wanted_yes(row)?;
                What::ByHand(step)
            }
            _ => {
                return Err(row.fault(
                    Column::Way,
                    "this is done by hand; allowed are hand and ticked",
                ));
            }
        },
    })
}

/// A tick as people make it; nothing at all where a way says it.
fn wanted_yes(row: &Row) -> Result<(), Fault> {
    if row.cell(Column::Value).is_empty() && !row.cell(Column::Way).is_empty() {
        return Ok(());
    }
    match wanted_answer(row)? {
        true => Ok(()),
        false => Err(row.fault(Column::Value, "what was not done is left empty")),
    }
}

fn wanted_answer(row: &Row) -> Result<bool, Fault> {
    yes_or_no(row, Column::Value)?
        .ok_or_else(|| row.fault(Column::Value, "nothing is answered; allowed are yes and no"))
}

/// The answer in a cell, if there is one.
pub(super) fn yes_or_no(row: &Row, column: Column) -> Result<Option<bool>, Fault> {
    let text = row.cell(column);
    match text.to_ascii_lowercase().as_str() {
        "" => Ok(None),
        "yes" | "y" | "x" | "done" => Ok(Some(true)),
        "no" | "n" => Ok(Some(false)),
        _ => Err(row.fault(
            column,
            format!("`{text}` is no answer; allowed are yes and no"),
        )),
    }
}
