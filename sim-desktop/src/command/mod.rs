//! The command line: one file a command, each with its `Args` and its `run`.
//!
//! A command reads its arguments, does its work through the rooms of this library and says what came of it through
//! [`Output`]. Knows nothing of how the work is done.

mod adapter;
mod check;
mod compare;
mod convert;
mod desk;
mod engagement;
mod export;
mod guide;
mod history;
mod judge;
mod metal;
mod named;
mod output;
mod paper;
mod parts;
mod pattern;
mod plan;
mod plan_file;
mod preload;
mod recall;
mod recent;
mod record;
mod rehearse;
mod say;
mod schema;
mod setting;
mod sheet;
mod shelf;
mod slope;
mod stretch;
mod thread;
mod tonight;
mod tools;
mod twist;
mod value;
mod work;

use std::borrow::Cow;
use std::ffi::OsString;
use std::io::{self, IsTerminal as _, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

pub use output::{CommandError, Done, Output};

use crate::signals;
use crate::words::visible_lines;

/// What the command line says about itself.
#[derive(Debug, Parser)]
#[command(
    name = "evendraw",
    version,
    about = "Brings every fastener of a joint to its specified tightness, in order, and keeps the record.",
    after_help = "With no command, opens the desk on PLAN, or on the built-in demo build.\n\
        New to it? `evendraw guide` prints your first evening.\n\
        Status: 0 done, 1 a rejected verdict or failed check, 2 bad input.\n\n\
        A record and a guide, not a licence: the maker's current instructions, local codes and licensed practice come first.",
    subcommand_value_name = "COMMAND",
    override_usage = "evendraw [PLAN]\n       evendraw COMMAND …"
)]
struct Line {
    /// Prints one JSON object a line; SI units stand in the key names.
    #[arg(long, global = true)]
    json: bool,
    /// The plan, or the folder of builds, to open at the desk; the built-in demo build when none is given.
    plan: Option<PathBuf>,
    #[command(subcommand)]
    command: Option<Command>,
}

/// Every command, in the order that help lists them.
#[derive(Debug, Subcommand)]
enum Command {
    Check(check::Args),
    Plan(plan::Args),
    Rehearse(rehearse::Args),
    Judge(judge::Args),
    Work(work::Args),
    Record(record::Args),
    Sheet(sheet::Args),
    Paper(paper::Args),
    Say(say::Args),
    Parts(parts::Args),
    Recent(recent::Args),
    Tonight(tonight::Args),
    Shelf(shelf::Args),
    Recall(recall::Args),
    Tools(tools::Args),
    History(history::Args),
    Export(export::Args),
    Convert(convert::Args),
    Pattern(pattern::Args),
    Compare(compare::Args),
    Setting(setting::Args),
    Preload(preload::Args),
    Stretch(stretch::Args),
    Engagement(engagement::Args),
    Slope(slope::Args),
    Twist(twist::Args),
    Thread(thread::Args),
    Schema(schema::Args),
    Guide(guide::Args),
    Adapter(adapter::Args),
}

impl Command {
    fn run(&self, out: &mut Output<'_>) -> Result<Done, CommandError> {
        match self {
            Self::Check(args) => check::run(args, out),
            Self::Plan(args) => plan::run(args, out),
            Self::Rehearse(args) => rehearse::run(args, out),
            Self::Judge(args) => judge::run(args, out),
            Self::Work(args) => work::run(args, out),
            Self::Record(args) => record::run(args, out),
            Self::Sheet(args) => sheet::run(args, out),
            Self::Paper(args) => paper::run(args, out),
            Self::Say(args) => say::run(args, out),
            Self::Parts(args) => parts::run(args, out),
            Self::Recent(args) => recent::run(args, out),
            Self::Tonight(args) => tonight::run(args, out),
            Self::Shelf(args) => shelf::run(args, out),
            Self::Recall(args) => recall::run(args, out),
            Self::Tools(args) => tools::run(args, out),
            Self::History(args) => history::run(args, out),
            Self::Export(args) => export::run(args, out),
            Self::Convert(args) => convert::run(args, out),
            Self::Pattern(args) => pattern::run(args, out),
            Self::Compare(args) => compare::run(args, out),
            Self::Setting(args) => setting::run(args, out),
            Self::Preload(args) => preload::run(args, out),
            Self::Stretch(args) => stretch::run(args, out),
            Self::Engagement(args) => engagement::run(args, out),
            Self::Slope(args) => slope::run(args, out),
            Self::Twist(args) => twist::run(args, out),
            Self::Thread(args) => thread::run(args, out),
            Self::Schema(args) => schema::run(args, out),
            Self::Guide(args) => guide::run(args, out),
            Self::Adapter(args) => adapter::run(args, out),
        }
    }
}

/// Runs the command line of this process.
#[must_use]
pub fn main() -> ExitCode {
    signals::listen();
    let (mut out, mut err) = (io::stdout().lock(), io::stderr().lock());
    let status = run(
        std::env::args_os(),
        &mut out,
        &mut err,
        io::stderr().is_terminal(),
    );
    ExitCode::from(status)
}

/// Runs one command line and returns its status; everything it prints goes to the two writers.
pub fn run(
    line: impl IntoIterator<Item = OsString>,
    out: &mut dyn Write,
    err: &mut dyn Write,
    colour: bool,
) -> u8 {
    let line = match Line::try_parse_from(line) {
        Ok(line) => line,
        Err(error) => return clap_status(&error, out, err, colour),
    };
    let mut output = Output::new(out, err, line.json);
    let result = match (&line.command, &line.plan) {
        (Some(_), Some(plan)) => Err(CommandError::bad(format!(
            "`{}` stands before a command; a plan for the command comes after it: `evendraw COMMAND {0}`",
            plan.display()
        ))),
        (Some(command), None) => command.run(&mut output),
        (None, Some(plan)) if !plan.exists() => Err(CommandError::bad(format!(
            "`{}` is neither a command nor a plan file; `evendraw --help` lists every command",
            plan.display()
        ))),
        (None, plan) => desk::run(plan.as_deref()),
    };
    let result = result.and_then(|done| output.flush().map(|()| done));
    match result {
        Ok(done) => done.status(),
        Err(error) => error.report(err, colour),
    }
}

/// Help and version go to the one writer and are no error; a usage error goes to the other and is bad input.
fn clap_status(error: &clap::Error, out: &mut dyn Write, err: &mut dyn Write, colour: bool) -> u8 {
    let styled = error.render();
    let plain = styled.to_string();
    // An argument that would steer the terminal is told without colour.
    let text = match visible_lines(&plain) {
        Cow::Borrowed(_) if colour => styled.ansi().to_string(),
        text => text.into_owned(),
    };
    let (written, status) = if error.use_stderr() {
        (err.write_all(text.as_bytes()), 2)
    } else {
        (out.write_all(text.as_bytes()), 0)
    };
    match written {
        Ok(()) => status,
        Err(error) => CommandError::from(error).report(err, false),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    fn run_line(line: &[&str]) -> (u8, String, String) {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let line = std::iter::once("evendraw").chain(line.iter().copied());
        let status = run(line.map(OsString::from), &mut out, &mut err, false);
        let text = |bytes| String::from_utf8(bytes).unwrap_or_default();
        (status, text(out), text(err))
    }

    #[test]
    fn the_grammar_holds_together() {
        Line::command().debug_assert();
    }

    #[test]
    fn help_goes_to_stdout_and_is_no_error() {
        let (status, out, err) = run_line(&["--help"]);
        assert_eq!((status, err.as_str()), (0, ""));
        assert!(out.contains("evendraw [PLAN]"), "{out}");
    }

    #[test]
    fn an_unknown_option_is_bad_input() {
        let (status, out, err) = run_line(&["--lefty"]);
        assert_eq!((status, out.as_str()), (2, ""));
        assert!(err.contains("--lefty"), "{err}");
    }

    #[test]
    fn a_reader_that_left_is_no_panic() {
        struct Closed;
        impl Write for Closed {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::BrokenPipe.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let mut err = Vec::new();
        let line = ["evendraw", "--help"].map(OsString::from);
        assert_eq!(run(line, &mut Closed, &mut err, false), 141);
        assert!(err.is_empty());
    }
}
