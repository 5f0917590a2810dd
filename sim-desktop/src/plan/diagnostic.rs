//! What is wrong or doubtful in a plan file, and where.
//!
//! Knows nothing of the plan's meaning: it turns a place in the text into a line, a column and a caret. However much is wrong,
//! what is kept and shown is bounded by `crate::limits`.

use std::borrow::Cow;
use std::cell::{Cell, RefCell};
use std::collections::HashSet;
use std::fmt;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::ops::Range;
use std::sync::Arc;

use miette::{
    GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteError, MietteSpanContents,
    SourceCode, SourceSpan, SpanContents,
};

use crate::limits::{
    DIAGNOSTICS_KEPT, DIAGNOSTICS_SHOWN, LINE_SHOWN, NEAREST_LETTERS_MAX, WORDS_SHOWN, counted,
};
use crate::words::{escape, hides, visible, visible_lines};

/// Whether a diagnostic refuses the plan or asks a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// The plan is refused.
    Error,
    /// The plan is taken; someone should look.
    Warning,
}

/// One thing wrong, at one place.
#[derive(Clone)]
pub struct Diagnostic {
    what: String,
    here: String,
    allowed: Option<String>,
    place: Range<usize>,
    line: usize,
    column: usize,
    severity: Severity,
    source: Arc<Source>,
}

impl Diagnostic {
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

impl fmt::Debug for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for Diagnostic {}

impl miette::Diagnostic for Diagnostic {
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
        Some(self.source.escaped.as_deref().unwrap_or(&*self.source))
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let label = (!self.here.is_empty()).then(|| self.here.clone());
        let shown = match &self.source.escaped {
            Some(escaped) => escaped.shown(&self.source.in_escaped(&self.place)),
            None => self.source.shown(&self.place),
        };
        Some(Box::new(std::iter::once(LabeledSpan::new(
            label,
            shown.start,
            shown.len(),
        ))))
    }
}

/// Everything that refuses a plan, in the order of the file.
#[derive(Clone)]
pub struct PlanErrors {
    name: String,
    list: Vec<Diagnostic>,
    count: usize,
}

impl PlanErrors {
    /// The first of the errors, at least one; where there are more than are shown, the last of the list says how many.
    #[must_use]
    pub fn list(&self) -> &[Diagnostic] {
        &self.list
    }

    /// What messages call the file.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How many there are, shown or not.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.count
    }

    /// All of it as text with the lines of the file and a caret under each place.
    #[must_use]
    pub fn report(&self, color: bool) -> String {
        report(&self.list, color)
    }
}

/// Errors or warnings as text, each with its line of the file and a caret.
#[must_use]
pub fn report(list: &[Diagnostic], color: bool) -> String {
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
    for one in list {
        if handler.render_report(&mut text, one).is_err() {
            // Writing to a string does not fail; the plain line still says everything.
            text.push_str(&format!("{}:{}: {}\n", one.line, one.column, one.what));
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
        match self.list.as_slice() {
            [one] => write!(f, "{}:{}:{}: {}", self.name, one.line, one.column, one.what),
            _ => write!(
                f,
                "{}: {} errors in the {}",
                self.name,
                counted(self.count),
                if self.name.ends_with(super::register::FILE) {
                    "register"
                } else {
                    "plan"
                }
            ),
        }
    }
}

impl std::error::Error for PlanErrors {}

impl miette::Diagnostic for PlanErrors {
    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn miette::Diagnostic> + 'a>> {
        Some(Box::new(
            self.list.iter().map(|one| one as &dyn miette::Diagnostic),
        ))
    }
}

/// Something found, before its line is looked for.
struct Found {
    what: String,
    here: String,
    allowed: String,
    place: Range<usize>,
}

impl Found {
    fn at(
        place: &Range<usize>,
        what: impl Into<String>,
        here: impl Into<String>,
        allowed: impl Into<String>,
    ) -> Self {
        Self {
            what: what.into(),
            here: here.into(),
            allowed: allowed.into(),
            place: place.clone(),
        }
    }
}

/// What was found of one severity: the first of it, and how much there is.
#[derive(Default)]
struct Heap {
    list: Vec<Found>,
    count: usize,
}

/// Collects what is wrong while a plan is read. Every reader has it at hand and adds to it; nobody takes anything out.
pub(super) struct Diagnostics {
    source: Arc<Source>,
    errors: RefCell<Heap>,
    warnings: RefCell<Heap>,
    /// What was said already: a joint with variants is read once for each set of answers.
    said: RefCell<HashSet<u64>>,
    /// Letters that may still be compared in search of nearest words.
    letters: Cell<usize>,
}

impl Diagnostics {
    pub(super) fn new(name: &str, text: &str) -> Self {
        Self {
            source: Arc::new(Source::new(name, text)),
            errors: RefCell::default(),
            warnings: RefCell::default(),
            said: RefCell::default(),
            letters: Cell::new(NEAREST_LETTERS_MAX),
        }
    }

    pub(super) fn error(
        &self,
        place: &Range<usize>,
        what: impl Into<String>,
        here: impl Into<String>,
        allowed: impl Into<String>,
    ) {
        self.add(&self.errors, Found::at(place, what, here, allowed));
    }

    pub(super) fn warning(
        &self,
        place: &Range<usize>,
        what: impl Into<String>,
        here: impl Into<String>,
        allowed: impl Into<String>,
    ) {
        self.add(&self.warnings, Found::at(place, what, here, allowed));
    }

    fn add(&self, heap: &RefCell<Heap>, mut found: Found) {
        let mut hasher = DefaultHasher::new();
        (&found.place, &found.what).hash(&mut hasher);
        if !self.said.borrow_mut().insert(hasher.finish()) {
            return;
        }
        let mut heap = heap.borrow_mut();
        heap.count = heap.count.saturating_add(1);
        if heap.list.len() < DIAGNOSTICS_KEPT {
            for words in [&mut found.what, &mut found.here, &mut found.allowed] {
                cut(words);
                if let Cow::Owned(shown) = visible_lines(words) {
                    *words = shown;
                }
            }
            heap.list.push(found);
        }
    }

    /// The line of a place, from 1.
    pub(super) fn line(&self, place: &Range<usize>) -> usize {
        self.source.line(place.start).saturating_add(1)
    }

    /// How many errors there are so far.
    pub(super) fn errors(&self) -> usize {
        self.errors.borrow().count
    }

    pub(super) fn has_errors(&self) -> bool {
        self.errors() > 0
    }

    /// Whether there is an error within a place.
    pub(super) fn has_error_in(&self, place: &Range<usize>) -> bool {
        let errors = self.errors.borrow();
        errors
            .list
            .iter()
            .any(|found| place.start <= found.place.start && found.place.end <= place.end)
    }

    /// The known word that a mistyped one is meant for, if one is so close that it can hardly be anything else: it begins with the
    /// same letter, and of three letters one is wrong at most.
    pub(super) fn closest<'w>(
        &self,
        word: &str,
        known: impl IntoIterator<Item = &'w str>,
    ) -> Option<&'w str> {
        let word = word.to_lowercase();
        let length = word.chars().count();
        // Of two letters, any word is one slip away.
        let allowance = (length / 3).min(3);
        let mut best: Option<(usize, &'w str)> = None;
        for candidate in known {
            let other = candidate.to_lowercase();
            let other_length = other.chars().count();
            // Reading a word costs too, also one that is not compared.
            let read = other_length.saturating_add(16);
            self.letters.set(self.letters.get().checked_sub(read)?);
            if length.abs_diff(other_length) > allowance || !begin_alike(&word, &other) {
                continue;
            }
            let work = length.saturating_mul(other_length);
            self.letters.set(self.letters.get().checked_sub(work)?);
            let distance = strsim::damerau_levenshtein(&word, &other);
            if distance <= allowance && best.is_none_or(|(least, _)| distance < least) {
                best = Some((distance, candidate));
            }
        }
        best.map(|(_, candidate)| candidate)
    }

    /// The warnings, or every error there is.
    pub(super) fn settle(self) -> Result<Vec<Diagnostic>, PlanErrors> {
        if self.has_errors() {
            return Err(self.into_errors());
        }
        let heap = self.warnings.take();
        Ok(shown(&self.source, heap, Severity::Warning))
    }

    /// The errors alone, in the order of the file.
    pub(super) fn into_errors(self) -> PlanErrors {
        let heap = self.errors.take();
        PlanErrors {
            name: self.source.name.clone(),
            count: heap.count,
            list: shown(&self.source, heap, Severity::Error),
        }
    }
}

/// Whether two words begin alike, or with their first two letters the other way round.
fn begin_alike(word: &str, other: &str) -> bool {
    let (mut word, mut other) = (word.chars(), other.chars());
    let (first, second) = (word.next(), word.next());
    let (known_first, known_second) = (other.next(), other.next());
    first == known_first || (first == known_second && second == known_first)
}

/// The first of what was found, in the order of the file, and in the end how much more there is.
fn shown(source: &Arc<Source>, mut heap: Heap, severity: Severity) -> Vec<Diagnostic> {
    heap.list.sort_by_key(|found| found.place.start);
    let more = heap.count.saturating_sub(DIAGNOSTICS_SHOWN);
    if let Some(next) = heap.list.get_mut(DIAGNOSTICS_SHOWN).filter(|_| more > 1) {
        let (word, advice) = match severity {
            Severity::Error => ("errors", "mend the first ones, then read the plan again"),
            Severity::Warning => (
                "questions",
                "answer the first ones, then read the plan again",
            ),
        };
        next.what = format!("and {} more {word}", counted(more));
        "from here on".clone_into(&mut next.here);
        advice.clone_into(&mut next.allowed);
    }
    heap.list
        .into_iter()
        .take(DIAGNOSTICS_SHOWN.saturating_add(1))
        .map(|found| {
            let (line, column) = source.line_and_column(found.place.start);
            Diagnostic {
                what: found.what,
                here: found.here,
                allowed: (!found.allowed.is_empty()).then_some(found.allowed),
                place: found.place,
                line,
                column,
                severity,
                source: Arc::clone(source),
            }
        })
        .collect()
}

/// Cuts words in their middle: a name that fills a page says no more than its beginning and its end.
fn cut(words: &mut String) {
    let count = words.chars().count();
    if count <= WORDS_SHOWN {
        return;
    }
    let tail = WORDS_SHOWN / 4;
    let head = WORDS_SHOWN - tail;
    let mut short: String = words.chars().take(head).collect();
    short.push_str(" … ");
    short.extend(words.chars().skip(count.saturating_sub(tail)));
    *words = short;
}

/// A text with its lines as they are and all that hides shown, if there is any; and where it grew.
fn escaped(text: &str, longer: &mut Vec<(usize, usize)>) -> Option<String> {
    let is_shown = |(at, c): (usize, char)| match c {
        '\n' | '\t' => false,
        '\r' => !text.get(at..).is_some_and(|rest| rest.starts_with("\r\n")),
        c => hides(c),
    };
    if !text.char_indices().any(is_shown) {
        return None;
    }
    let mut out = String::with_capacity(text.len().saturating_mul(2));
    for (at, c) in text.char_indices() {
        if is_shown((at, c)) {
            escape(c, &mut out);
            let behind = at.saturating_add(c.len_utf8());
            longer.push((behind, out.len().saturating_sub(behind)));
        } else {
            out.push(c);
        }
    }
    Some(out)
}

/// The text of the file, with its lines found once.
struct Source {
    name: String,
    text: String,
    /// Where each line begins.
    lines: Vec<usize>,
    /// What is shown of it, where something in it would steer the terminal that shows it.
    escaped: Option<Box<Source>>,
    /// Behind each byte that is escaped: where that is, and how much longer all that is shown so far is.
    longer: Vec<(usize, usize)>,
}

impl Source {
    fn new(name: &str, text: &str) -> Self {
        let name = &visible(name);
        let mut longer = Vec::new();
        let escaped = escaped(text, &mut longer);
        Self {
            escaped: escaped.map(|text| Box::new(Self::plain(name, &text))),
            longer,
            ..Self::plain(name, text)
        }
    }

    /// Where a place of the text is in what is shown of it.
    fn in_escaped(&self, place: &Range<usize>) -> Range<usize> {
        let moved = |at: usize| {
            let passed = self.longer.partition_point(|&(behind, _)| behind <= at);
            let more = passed.checked_sub(1).and_then(|last| self.longer.get(last));
            at.saturating_add(more.map_or(0, |&(_, more)| more))
        };
        moved(place.start)..moved(place.end)
    }

    fn plain(name: &str, text: &str) -> Self {
        let after_ends = text
            .match_indices('\n')
            .map(|(at, end)| at.saturating_add(end.len()));
        Self {
            name: name.to_owned(),
            text: text.to_owned(),
            lines: std::iter::once(0).chain(after_ends).collect(),
            escaped: None,
            longer: Vec::new(),
        }
    }

    /// The line of a byte, from 0.
    fn line(&self, at: usize) -> usize {
        self.lines
            .partition_point(|&start| start <= at)
            .saturating_sub(1)
    }

    /// Where a line begins; the end of the text where there is none.
    fn start(&self, line: usize) -> usize {
        self.lines.get(line).copied().unwrap_or(self.text.len())
    }

    /// Line and column in characters, both from 1.
    fn line_and_column(&self, at: usize) -> (usize, usize) {
        let at = self.text.floor_char_boundary(at);
        let line = self.line(at);
        let before = self.text.get(self.start(line)..at).unwrap_or_default();
        (
            line.saturating_add(1),
            before.chars().count().saturating_add(1),
        )
    }

    /// The part of a place that is shown: all of it, or its first line where it goes on and on.
    fn shown(&self, place: &Range<usize>) -> Range<usize> {
        let start = self.text.floor_char_boundary(place.start);
        let end = self.text.floor_char_boundary(place.end).max(start);
        if end.saturating_sub(start) <= LINE_SHOWN {
            return start..end;
        }
        let line_end = self.start(self.line(start).saturating_add(1));
        let most = start.saturating_add(LINE_SHOWN / 2).min(line_end).min(end);
        let end = self.text.floor_char_boundary(most).max(start);
        let words = self.text.get(start..end).unwrap_or_default().trim_end();
        start..start.saturating_add(words.len())
    }
}

impl SourceCode for Source {
    fn read_span<'a>(
        &'a self,
        span: &SourceSpan,
        before: usize,
        after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let end = span.offset().saturating_add(span.len());
        let (first, last) = (self.line(span.offset()), self.line(end));
        // The lines that can be wanted, so that a long file is not gone through once for each error.
        let mut from = self.start(first.saturating_sub(before.saturating_add(1)));
        let mut to = self.start(last.saturating_add(after.saturating_add(2)));
        let longest = (first.saturating_sub(before)..=last.saturating_add(after))
            .map(|line| {
                self.start(line.saturating_add(1))
                    .saturating_sub(self.start(line))
            })
            .max();
        let mut first_line = first.saturating_sub(before.saturating_add(1));
        let mut column = 0;
        if longest.is_some_and(|longest| longest > LINE_SHOWN) {
            // Cut around the place, without the lines beside it.
            let half = LINE_SHOWN / 2;
            from = self
                .text
                .floor_char_boundary(span.offset().saturating_sub(half))
                .max(self.start(first));
            to = self
                .text
                .floor_char_boundary(end.saturating_add(half))
                .min(self.start(last.saturating_add(1)));
            first_line = first;
            column = from.saturating_sub(self.start(first));
        }
        let part = self.text.get(from..to).ok_or(MietteError::OutOfBounds)?;
        let inside = SourceSpan::from((span.offset().saturating_sub(from), span.len()));
        let read = part.as_bytes().read_span(&inside, before, after)?;
        let start = from.saturating_add(read.span().offset());
        let data = self
            .text
            .as_bytes()
            .get(start..start.saturating_add(read.data().len()))
            .ok_or(MietteError::OutOfBounds)?;
        Ok(Box::new(MietteSpanContents::new_named(
            self.name.clone(),
            data,
            SourceSpan::from((start, data.len())),
            first_line.saturating_add(read.line()),
            if read.line() == 0 {
                column.saturating_add(read.column())
            } else {
                read.column()
            },
            read.line_count(),
        )))
    }
}
