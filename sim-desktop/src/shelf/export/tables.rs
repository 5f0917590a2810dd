//! The tables, column by column, and rows on their way to a file.
//!
//! `SCHEMA.md` lists the same columns; a test compares the two. Knows nothing of builds and of encodings.

use std::fmt::Write as _;

/// A table.
#[derive(Debug, PartialEq, Eq)]
pub struct Table {
    /// Its name, and that of its folder.
    pub name: &'static str,
    /// Its columns in order.
    pub columns: &'static [Column],
}

/// A column.
#[derive(Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name; a unit stands behind it.
    pub name: &'static str,
    /// What is in it.
    pub kind: Kind,
    /// May be null.
    pub is_optional: bool,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Text in UTF-8.
    Text,
    /// A whole number of 32 bits.
    Whole,
    /// A whole number of 64 bits.
    Long,
    /// A decimal number with three places, exact.
    Thousandths,
    /// A moment in UTC.
    Moment,
    /// Yes or no.
    Truth,
    /// A list of whole numbers.
    Wholes,
    /// A list of decimal numbers with three places.
    ThousandthsList,
}

impl Kind {
    /// The word of `SCHEMA.md`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Text => "string",
            Self::Whole => "int32",
            Self::Long => "int64",
            Self::Thousandths => "decimal(12,3)",
            Self::Moment => "timestamp UTC",
            Self::Truth => "bool",
            Self::Wholes => "list of int32",
            Self::ThousandthsList => "list of decimal(12,3)",
        }
    }
}

const fn must(name: &'static str, kind: Kind) -> Column {
    Column {
        name,
        kind,
        is_optional: false,
    }
}

const fn may(name: &'static str, kind: Kind) -> Column {
    Column {
        name,
        kind,
        is_optional: true,
    }
}

/// One row for each state of a build that was exported.
pub const BUILDS: Table = Table {
    name: "builds",
    columns: &[
        must("build", Kind::Text),
        must("run", Kind::Whole),
        must("title", Kind::Text),
        must("unit", Kind::Text),
        must("document", Kind::Text),
        must("rehearsal", Kind::Truth),
        must("state", Kind::Text),
        must("standing", Kind::Text),
        must("steps_done", Kind::Whole),
        must("steps", Kind::Whole),
        may("last_worked", Kind::Moment),
        must("next", Kind::Text),
        must("open", Kind::Whole),
        must("retorques", Kind::Whole),
        must("doubts", Kind::Whole),
        must("waiting_parts", Kind::Text),
        must("file_bytes", Kind::Long),
    ],
};

/// One row for each joint of each of those.
pub const JOINTS: Table = Table {
    name: "joints",
    columns: &[
        must("build", Kind::Text),
        must("run", Kind::Whole),
        must("joint", Kind::Text),
        must("number", Kind::Whole),
        must("title", Kind::Text),
        must("state", Kind::Text),
        must("thread", Kind::Text),
        must("class", Kind::Text),
        must("grip", Kind::Text),
        must("condition", Kind::Text),
        must("needs", Kind::Text),
        must("stages", Kind::Whole),
        must("fasteners", Kind::Whole),
    ],
};

/// One row for each fastener of each of those.
pub const FASTENERS: Table = Table {
    name: "fasteners",
    columns: &[
        must("build", Kind::Text),
        must("run", Kind::Whole),
        must("joint", Kind::Text),
        must("fastener", Kind::Text),
        must("state", Kind::Text),
    ],
};

/// One row for each attempt.
pub const ATTEMPTS: Table = Table {
    name: "attempts",
    columns: &[
        must("build", Kind::Text),
        must("joint", Kind::Text),
        must("fastener", Kind::Text),
        must("stage", Kind::Whole),
        must("stage_kind", Kind::Text),
        must("attempt", Kind::Whole),
        must("record", Kind::Long),
        may("made_at", Kind::Moment),
        may("tool", Kind::Text),
        may("person", Kind::Text),
        must("document", Kind::Text),
        must("rehearsal", Kind::Truth),
        must("evidence", Kind::Text),
        must("verdict", Kind::Text),
        must("reasons", Kind::Text),
        must("pulls", Kind::Whole),
        may("torque_Nm", Kind::Thousandths),
        may("peak_torque_Nm", Kind::Thousandths),
        may("final_torque_Nm", Kind::Thousandths),
        may("low_Nm", Kind::Thousandths),
        may("high_Nm", Kind::Thousandths),
        may("angle_deg", Kind::Thousandths),
        may("low_deg", Kind::Thousandths),
        may("high_deg", Kind::Thousandths),
        may("running_Nm", Kind::Thousandths),
        may("restart_Nm", Kind::Thousandths),
        must("took_ms", Kind::Long),
        must("run", Kind::Whole),
        may("instead_of", Kind::Long),
    ],
};

/// One row for each other fact.
pub const FACTS: Table = Table {
    name: "facts",
    columns: &[
        must("build", Kind::Text),
        must("fact", Kind::Long),
        may("joint", Kind::Text),
        may("record", Kind::Long),
        may("made_at", Kind::Moment),
        must("kind", Kind::Text),
        may("fastener", Kind::Text),
        may("stage", Kind::Whole),
        must("words", Kind::Text),
        may("json", Kind::Text),
        must("run", Kind::Whole),
    ],
};

/// One row for each curve that its record proves.
pub const CURVES: Table = Table {
    name: "curves",
    columns: &[
        must("build", Kind::Text),
        must("joint", Kind::Text),
        must("record", Kind::Long),
        must("time_ms", Kind::Wholes),
        must("torque_Nm", Kind::ThousandthsList),
        must("angle_deg", Kind::ThousandthsList),
        must("run", Kind::Whole),
    ],
};

/// Every table.
pub const ALL: [&Table; 6] = [&BUILDS, &JOINTS, &FASTENERS, &ATTEMPTS, &FACTS, &CURVES];

/// The values of one column, nulls left out, with how they are spread over the rows.
#[derive(Clone, Debug, Default)]
pub struct Cells {
    /// Of a text column: where each text ends in `text`.
    pub ends: Vec<usize>,
    /// Of a text column.
    pub text: String,
    /// Of every other column.
    pub numbers: Vec<i64>,
    /// By row or element: 1 where there is a value.
    pub defined: Vec<i16>,
    /// Of a list: 0 where a row begins.
    pub repeated: Vec<i16>,
}

/// Rows of one table.
#[derive(Clone, Debug)]
pub struct Rows {
    table: &'static Table,
    cells: Vec<Cells>,
    rows: usize,
    at: usize,
}

impl Rows {
    /// None yet.
    #[must_use]
    pub fn new(table: &'static Table) -> Self {
        Self {
            table,
            cells: vec![Cells::default(); table.columns.len()],
            rows: 0,
            at: 0,
        }
    }

    /// The table.
    #[must_use]
    pub const fn table(&self) -> &'static Table {
        self.table
    }

    /// How many rows are whole.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.rows
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.rows == 0
    }

    /// The columns with their values.
    pub fn columns(&self) -> impl Iterator<Item = (&'static Column, &Cells)> {
        self.table.columns.iter().zip(&self.cells)
    }

    #[expect(
        clippy::indexing_slicing,
        reason = "it goes round the table's own columns; no text from outside comes here"
    )]
    fn next(&mut self, kinds: &[Kind]) -> &mut Cells {
        let at = self.at;
        debug_assert!(
            kinds.contains(&self.table.columns[at].kind),
            "column {} of {}",
            self.table.columns[at].name,
            self.table.name
        );
        self.at += 1;
        if self.at == self.cells.len() {
            self.at = 0;
            self.rows += 1;
        }
        &mut self.cells[at]
    }

    /// A text; nothing is null where that is allowed.
    pub fn text<'t>(&mut self, text: impl Into<Option<&'t str>>) -> &mut Self {
        let cells = self.next(&[Kind::Text]);
        match text.into() {
            Some(text) => {
                cells.text.push_str(text);
                cells.ends.push(cells.text.len());
                cells.defined.push(1);
            }
            None => cells.defined.push(0),
        }
        self
    }

    /// A number, in the unit of its column: thousandths for decimals, µs for moments.
    pub fn number(&mut self, number: impl Into<Option<i64>>) -> &mut Self {
        let cells = self.next(&[Kind::Whole, Kind::Long, Kind::Thousandths, Kind::Moment]);
        match number.into() {
            Some(number) => {
                cells.numbers.push(number);
                cells.defined.push(1);
            }
            None => cells.defined.push(0),
        }
        self
    }

    /// As [`Rows::number`], of a count.
    pub fn count(&mut self, count: usize) -> &mut Self {
        self.number(i64::try_from(count).unwrap_or(i64::MAX))
    }

    /// Yes or no.
    pub fn truth(&mut self, truth: bool) -> &mut Self {
        let cells = self.next(&[Kind::Truth]);
        cells.numbers.push(i64::from(truth));
        cells.defined.push(1);
        self
    }

    /// A list.
    pub fn list(&mut self, numbers: impl Iterator<Item = i64>) -> &mut Self {
        let cells = self.next(&[Kind::Wholes, Kind::ThousandthsList]);
        let before = cells.numbers.len();
        cells.numbers.extend(numbers);
        let made = cells.numbers.len() - before;
        cells.defined.extend(std::iter::repeat_n(1, made));
        cells.repeated.extend((0..made).map(|at| i16::from(at > 0)));
        if made == 0 {
            cells.defined.push(0);
            cells.repeated.push(0);
        }
        self
    }

    /// Puts the rows of another behind these.
    pub fn append(&mut self, other: Self) {
        self.rows += other.rows;
        for (own, other) in self.cells.iter_mut().zip(other.cells) {
            let before = own.text.len();
            own.text.push_str(&other.text);
            own.ends
                .extend(other.ends.into_iter().map(|end| end + before));
            own.numbers.extend(other.numbers);
            own.defined.extend(other.defined);
            own.repeated.extend(other.repeated);
        }
    }

    /// The rows as comma-separated values, without the head.
    #[must_use]
    pub fn csv(&self) -> String {
        let mut at: Vec<(usize, usize)> = vec![(0, 0); self.cells.len()];
        let mut text = String::new();
        for _ in 0..self.rows {
            for (place, ((column, cells), at)) in self.columns().zip(&mut at).enumerate() {
                if place > 0 {
                    text.push(',');
                }
                cell(&mut text, column, cells, at);
            }
            text.push('\n');
        }
        text
    }
}

/// The next cell of a column; `at` counts its levels and its values.
fn cell(text: &mut String, column: &Column, cells: &Cells, at: &mut (usize, usize)) {
    let is_list = matches!(column.kind, Kind::Wholes | Kind::ThousandthsList);
    let mut first = true;
    loop {
        let defined = cells.defined.get(at.0) == Some(&1);
        at.0 += 1;
        if defined {
            if is_list {
                text.push(if first { '[' } else { ' ' });
            }
            value(text, column.kind, cells, at.1);
            at.1 += 1;
        }
        first = false;
        if !is_list || cells.repeated.get(at.0) != Some(&1) {
            break;
        }
    }
    if is_list && text.ends_with(|last: char| last.is_ascii_digit()) {
        text.push(']');
    }
}

fn value(text: &mut String, kind: Kind, cells: &Cells, at: usize) {
    if kind == Kind::Text {
        let end = cells.ends.get(at).copied().unwrap_or_default();
        let from = at.checked_sub(1).and_then(|before| cells.ends.get(before));
        let own = cells.text.get(from.copied().unwrap_or(0)..end);
        text.push_str(&crate::job::status::telling::quoted(
            own.unwrap_or_default(),
        ));
        return;
    }
    let number = cells.numbers.get(at).copied().unwrap_or_default();
    match kind {
        Kind::Thousandths | Kind::ThousandthsList => {
            let sign = if number < 0 { "-" } else { "" };
            let size = number.unsigned_abs();
            let _ = write!(text, "{sign}{}.{:03}", size / 1_000, size % 1_000);
        }
        Kind::Moment => {
            if let Ok(moment) = jiff::Timestamp::from_microsecond(number) {
                let _ = write!(text, "{moment}");
            }
        }
        Kind::Truth => text.push_str(if number == 0 { "false" } else { "true" }),
        Kind::Text | Kind::Whole | Kind::Long | Kind::Wholes => {
            let _ = write!(text, "{number}");
        }
    }
}

/// The first line of a table of comma-separated values.
#[must_use]
pub fn csv_head(table: &Table) -> String {
    let names: Vec<&str> = table.columns.iter().map(|column| column.name).collect();
    format!("{}\n", names.join(","))
}
