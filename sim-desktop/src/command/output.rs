//! What a command says and how it ends: lines for people, objects for scripts, a status for the shell.
//!
//! Knows nothing of any command.
//!
//! # Why everything is said twice
//!
//! *Context:* every command has `--json`. *Choice:* a command says everything twice, and `Output` prints the one
//! asked for; no command branches on it. *Alternative:* a view struct per command and two printers: more code for the
//! same words. *Would change our mind:* a third form of output.

use std::fmt;
use std::io::{self, Write};
use std::path::Path;

use miette::{Diagnostic, GraphicalReportHandler, GraphicalTheme};
use serde::Serialize;

use crate::plan::Plan;
use crate::words::{DEMO, visible, visible_json, visible_lines};

/// How a command ended that could do its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// Done, and nothing to object to.
    Good,
    /// Done, and something was rejected or a check failed.
    Rejected,
}

impl Done {
    /// [`Done::Rejected`] if `rejected`.
    #[must_use]
    pub const fn rejected_if(rejected: bool) -> Self {
        if rejected { Self::Rejected } else { Self::Good }
    }

    /// The exit status.
    #[must_use]
    pub const fn status(self) -> u8 {
        match self {
            Self::Good => 0,
            Self::Rejected => 1,
        }
    }
}

/// Why a command could not do its work.
#[derive(Debug)]
#[non_exhaustive]
pub enum CommandError {
    /// Bad input: what, where, and what is allowed, in one message.
    Bad(String),
    /// Bad input that can be pointed at in its file.
    Pointed(Box<dyn Diagnostic + Send + Sync>),
    /// The reader of our output left. Not an error of ours; we stop.
    Closed,
}

impl CommandError {
    /// Bad input: what, where, and what is allowed.
    pub fn bad(message: impl Into<String>) -> Self {
        Self::Bad(message.into())
    }

    /// A file that could not be read or written; `doing` is `read`, `write` or the like.
    #[must_use]
    pub fn file(doing: &str, path: &Path, error: &io::Error) -> Self {
        Self::Bad(format!("cannot {doing} {}: {error}", path.display()))
    }

    /// Bad input that can be pointed at in its file.
    pub fn pointed(error: impl Diagnostic + Send + Sync + 'static) -> Self {
        Self::Pointed(Box::new(error))
    }

    /// Prints the error and returns the exit status.
    pub fn report(&self, err: &mut dyn Write, colour: bool) -> u8 {
        // Where stderr itself is closed there is nobody left to tell.
        match self {
            Self::Closed => return 141, // What a shell shows for a program ended by SIGPIPE.
            Self::Bad(message) => drop(writeln!(err, "error: {}", visible(message))),
            Self::Pointed(error) => {
                let theme = if colour {
                    GraphicalTheme::unicode()
                } else {
                    GraphicalTheme::unicode_nocolor()
                };
                let mut text = String::new();
                let handler = GraphicalReportHandler::new_themed(theme).with_width(100);
                if handler.render_report(&mut text, error.as_ref()).is_err() {
                    text = format!("error: {error}\n");
                }
                // In colour the escapes are the report's own; what it tells of is escaped where it is collected.
                let text = if colour {
                    text.into()
                } else {
                    visible_lines(&text)
                };
                drop(err.write_all(text.as_bytes()));
            }
        }
        2
    }
}

impl From<io::Error> for CommandError {
    /// An error of writing our own output. Files have [`CommandError::file`], which names the file.
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self::Closed
        } else {
            Self::Bad(format!("cannot write the output: {error}"))
        }
    }
}

impl fmt::Display for CommandError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bad(message) => f.write_str(message),
            Self::Pointed(error) => write!(f, "{error}"),
            Self::Closed => f.write_str("the reader of the output left"),
        }
    }
}

impl std::error::Error for CommandError {}

/// In which form things are said: text that is made apart from where it is printed, such as on several cores at once.
#[derive(Clone, Copy, Debug)]
pub struct Form {
    json: bool,
    demo: bool,
}

impl Form {
    /// Whether objects are said instead of lines.
    #[must_use]
    pub const fn is_json(self) -> bool {
        self.json
    }

    /// Adds a line for people, as [`Output::line`] says it.
    pub fn line(self, to: &mut String, text: impl fmt::Display) {
        if self.json {
            return;
        }
        let text = text.to_string();
        let inner = text.trim_matches('\n');
        let before = text
            .len()
            .saturating_sub(text.trim_start_matches('\n').len());
        let after = text
            .len()
            .saturating_sub(before)
            .saturating_sub(inner.len());
        to.extend(std::iter::repeat_n('\n', before));
        to.push_str(&visible(inner));
        to.extend(std::iter::repeat_n('\n', after + 1));
    }

    /// Adds an object for scripts, as [`Output::object`] says it.
    ///
    /// # Errors
    /// What cannot be written as an object at all.
    pub fn object(self, to: &mut String, value: &impl Serialize) -> Result<(), CommandError> {
        if self.json {
            let text = serde_json::to_string(value).map_err(io::Error::other)?;
            let text = visible_json(&text);
            match text.strip_suffix('}').filter(|_| self.demo) {
                Some(own) => to.extend([own, ",\"demo\":true}\n"]),
                None => to.extend([&*text, "\n"]),
            }
        }
        Ok(())
    }
}

/// Where a command speaks. A command says everything twice, as a line and as an object; the one asked for is printed.
pub struct Output<'a> {
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
    form: Form,
}

impl<'a> Output<'a> {
    /// An output over two writers; with `json` objects are printed instead of lines.
    pub fn new(out: &'a mut dyn Write, err: &'a mut dyn Write, json: bool) -> Self {
        Self {
            out,
            err,
            form: Form { json, demo: false },
        }
    }

    /// Says on which plan the command speaks: where its values are invented, a line says so once, and every object from here on
    /// has the key `demo`.
    ///
    /// # Errors
    /// [`CommandError::Closed`] when nobody reads any more.
    pub fn speaks_of(&mut self, plan: &Plan) -> Result<(), CommandError> {
        if plan.build().demo && !self.form.demo {
            self.form.demo = true;
            self.line(DEMO)?;
        }
        Ok(())
    }

    /// Whether objects are printed instead of lines.
    #[must_use]
    pub const fn is_json(&self) -> bool {
        self.form.json
    }

    /// The form that was asked for.
    #[must_use]
    pub const fn form(&self) -> Form {
        self.form
    }

    /// A line for people; not printed under `--json`. Ends of lines at its own ends are ours and stay; within it nothing steers the
    /// terminal, whatever the plan or an adapter says.
    ///
    /// # Errors
    /// [`CommandError::Closed`] when nobody reads any more.
    pub fn line(&mut self, text: impl fmt::Display) -> Result<(), CommandError> {
        let mut said = String::new();
        self.form.line(&mut said, text);
        self.raw(&said)
    }

    /// Lines for people that are ours, such as a picture in text; not printed under `--json`.
    ///
    /// # Errors
    /// [`CommandError::Closed`] when nobody reads any more.
    pub fn lines(&mut self, text: impl fmt::Display) -> Result<(), CommandError> {
        if !self.form.json {
            writeln!(self.out, "{}", visible_lines(&text.to_string()))?;
        }
        Ok(())
    }

    /// As [`Output::line`], the words wrapped behind a first column where a terminal shows them.
    ///
    /// # Errors
    /// [`CommandError::Closed`] when nobody reads any more.
    pub fn wrapped(&mut self, first: &str, words: &str) -> Result<(), CommandError> {
        match terminal_size::terminal_size() {
            Some((terminal_size::Width(width), _)) if !self.form.json => {
                // Narrower than this nothing is gained by it.
                let width = usize::from(width).max(first.chars().count() + 24);
                crate::words::wrapped(first, words, width)
                    .iter()
                    .try_for_each(|line| self.line(line))
            }
            _ => self.line(format_args!("{first}{words}")),
        }
    }

    /// An object for scripts, on a line of its own; printed under `--json` only.
    ///
    /// # Errors
    /// [`CommandError::Closed`] when nobody reads any more.
    pub fn object(&mut self, value: &impl Serialize) -> Result<(), CommandError> {
        let mut said = String::new();
        self.form.object(&mut said, value)?;
        self.raw(&said)
    }

    /// Text as it is, whatever was asked for: a table to be kept, a picture, a page.
    ///
    /// # Errors
    /// [`CommandError::Closed`] when nobody reads any more.
    pub fn raw(&mut self, text: &str) -> Result<(), CommandError> {
        Ok(self.out.write_all(text.as_bytes())?)
    }

    /// A remark beside the output, on stderr, whatever was asked for.
    pub fn remark(&mut self, text: impl fmt::Display) {
        // A remark that nobody hears is no reason to stop.
        drop(writeln!(self.err, "{}", visible_lines(&text.to_string())));
    }

    /// Sends what was said on its way: once a verdict is announced it must not wait in a buffer.
    ///
    /// # Errors
    /// [`CommandError::Closed`] when nobody reads any more.
    pub fn flush(&mut self) -> Result<(), CommandError> {
        Ok(self.out.flush()?)
    }
}
