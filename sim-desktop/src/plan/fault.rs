//! What is wrong or doubtful in a plan file, and where.
//!
//! Knows nothing of the plan's meaning: it turns a place in the text into a line, a column and a caret.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, NamedSource, SourceCode,
};

/// Whether a fault refuses the plan or asks a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// The plan is refused.
    Error,
    /// The plan is taken; someone should look.
    Warning,
}

/// One thing wrong, at one place.
#[derive(Clone)]
pub struct Fault {
    what: String,
    here: String,
    allowed: Option<String>,
    place: Range<usize>,
    line: usize,
    column: usize,
    severity: Severity,
    source: Arc<NamedSource<String>>,
}

impl Fault {
    /// What was found, lower case, without a full stop.
    #[must_use]
    pub fn what(&self) -> &str {
        &self.what
    }

    /// What is allowed instead, or what to do.
    #[must_use]
    pub fn allowed(&self) -> Option<&str> {
        self.allowed.as_deref()
    }

    /// The line, from 1.
    #[must_use]
    pub const fn line(&self) -> usize {
        self.line
    }

    /// The column in characters, from 1.
    #[must_use]
    pub const fn column(&self) -> usize {
        self.column
    }

    /// The bytes of the file that are meant.
    #[must_use]
    pub fn place(&self) -> Range<usize> {
        self.place.clone()
    }

    /// Whether it refuses the plan.
    #[must_use]
    pub const fn severity(&self) -> Severity {
        self.severity
    }
}

impl fmt::Debug for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for Fault {}

impl Diagnostic for Fault {
    fn severity(&self) -> Option<miette::Severity> {
        Some(match self.severity {
            Severity::Error => miette::Severity::Error,
            Severity::Warning => miette::Severity::Warning,
        })
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        let allowed = self.allowed.as_ref()?;
        Some(Box::new(allowed))
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        Some(&*self.source)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let label = (!self.here.is_empty()).then(|| self.here.clone());
        let length = self.place.len();
        Some(Box::new(std::iter::once(LabeledSpan::new(
            label,
            self.place.start,
            length,
        ))))
    }
}

/// Everything that refuses a plan, in the order of the file.
#[derive(Clone)]
pub struct PlanErrors {
    name: String,
    faults: Vec<Fault>,
}

impl PlanErrors {
    /// The faults, at least one.
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// All of it as text with the lines of the file and a caret under each place.
    #[must_use]
    pub fn report(&self, color: bool) -> String {
        report(&self.faults, color)
    }
}

/// Faults or warnings as text, each with its line of the file and a caret.
#[must_use]
pub fn report(faults: &[Fault], color: bool) -> String {
    let theme = if color {
        GraphicalTheme::unicode()
    } else {
        GraphicalTheme::unicode_nocolor()
    };
    let handler = GraphicalReportHandler::new_themed(theme)
        .with_width(100)
        .with_links(false)
        .with_context_lines(1);
    let mut text = String::new();
    for fault in faults {
        if handler.render_report(&mut text, fault).is_err() {
            // Writing to a string does not fail; the plain line still says everything.
            text.push_str(&format!(
                "{}:{}: {}\n",
                fault.line, fault.column, fault.what
            ));
        }
    }
    text
}

impl fmt::Debug for PlanErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Display for PlanErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.faults.as_slice() {
            [one] => write!(f, "{}:{}:{}: {}", self.name, one.line, one.column, one.what),
            many => write!(f, "{}: {} errors in the plan", self.name, many.len()),
        }
    }
}

impl std::error::Error for PlanErrors {}

impl Diagnostic for PlanErrors {
    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        Some(Box::new(
            self.faults.iter().map(|fault| fault as &dyn Diagnostic),
        ))
    }
}

/// Collects faults while a plan is read.
pub(super) struct Faults {
    name: String,
    source: Arc<NamedSource<String>>,
    list: Vec<Fault>,
}

impl Faults {
    pub(super) fn new(name: &str, text: &str) -> Self {
        Self {
            name: name.to_owned(),
            source: Arc::new(NamedSource::new(name, text.to_owned())),
            list: Vec::new(),
        }
    }

    pub(super) fn error(
        &mut self,
        place: &Range<usize>,
        what: impl Into<String>,
        here: impl Into<String>,
        allowed: impl Into<String>,
    ) {
        self.add(
            Severity::Error,
            place,
            what.into(),
            here.into(),
            allowed.into(),
        );
    }

    pub(super) fn warning(
        &mut self,
        place: &Range<usize>,
        what: impl Into<String>,
        here: impl Into<String>,
        allowed: impl Into<String>,
    ) {
        self.add(
            Severity::Warning,
            place,
            what.into(),
            here.into(),
            allowed.into(),
        );
    }

    fn add(
        &mut self,
        severity: Severity,
        place: &Range<usize>,
        what: String,
        here: String,
        allowed: String,
    ) {
        // A joint with variants is read once per set of answers; the same fault is said once.
        if self
            .list
            .iter()
            .any(|fault| fault.place == *place && fault.what == what)
        {
            return;
        }
        let (line, column) = line_and_column(self.source.inner(), place.start);
        self.list.push(Fault {
            what,
            here,
            allowed: (!allowed.is_empty()).then_some(allowed),
            place: place.clone(),
            line,
            column,
            severity,
            source: Arc::clone(&self.source),
        });
    }

    /// The line of a place, from 1.
    pub(super) fn line(&self, place: &Range<usize>) -> usize {
        line_and_column(self.source.inner(), place.start).0
    }

    pub(super) fn has_errors(&self) -> bool {
        self.list
            .iter()
            .any(|fault| fault.severity == Severity::Error)
    }

    /// How many errors there are so far.
    pub(super) fn errors(&self) -> usize {
        self.list
            .iter()
            .filter(|fault| fault.severity == Severity::Error)
            .count()
    }

    /// The warnings, or every error there is.
    pub(super) fn settle(mut self) -> Result<Vec<Fault>, PlanErrors> {
        if self.has_errors() {
            return Err(self.into_errors());
        }
        self.list.sort_by_key(|fault| fault.place.start);
        Ok(self.list)
    }

    /// The errors alone, in the order of the file.
    pub(super) fn into_errors(mut self) -> PlanErrors {
        self.list.retain(|fault| fault.severity == Severity::Error);
        self.list.sort_by_key(|fault| fault.place.start);
        PlanErrors {
            name: self.name,
            faults: self.list,
        }
    }
}

fn line_and_column(text: &str, offset: usize) -> (usize, usize) {
    let mut end = offset.min(text.len());
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    let before = &text[..end];
    let line = before.matches('\n').count() + 1;
    let start = before.rfind('\n').map_or(0, |at| at + 1);
    (line, before[start..].chars().count() + 1)
}
