//! `evendraw recall`: which attempts on a shelf of builds a tool, a person, a document, a thread or a part is concerned in.
//!
//! Knows nothing of how journals are read.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use jiff::ToSpan as _;
use jiff::civil::Date;

use super::output::Form;
use super::shelf::{opened, tell_passed};
use super::{CommandError, Done, Output};
use crate::job::status::counted;
use crate::outputs::{self, Over};
use crate::plan::register::{FILE, off_ppm};
use crate::sheet::{Recalled, recall_page};
use crate::shelf::recall::{COLUMNS, Line, Off, Question};
use crate::shelf::{Passed, Read, Shelf};
use crate::words;

/// Attempts that a page has room for; a table has room for all.
const PAGE_LINES_MAX: usize = 20_000;

/// Finds the attempts that a tool, person, document, thread or part is concerned in, over a folder of builds.
#[derive(Clone, Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw recall shop --tool A1 --from 2026-05-01\n  \
        evendraw recall shop --tool A1 --from 2026-05-01 --to 2026-06-30 --off -6%\n  \
        evendraw recall shop --thread M10x1.5 --document \"revision C\" --csv > m10.csv\n  \
        evendraw recall shop --tool A1 --off -6% --outside -o recall.html\n  \
        evendraw recall shop --tool A1 --as-found\n\n\
        Everything given must hold. Days are those of this machine's zone, both included; an attempt whose time nobody knows is\n\
        listed too, as it may be one of them. --off is the error that the calibration found, as a part of the true torque: with -6%\n\
        the tool showed 6 % less than there was, so 47.0 N·m shown were 50.0 N·m. Rehearsals are left out.\n\
        Status 1 when something on the shelf could not be read, or not all of it: then the answer may not be whole.")]
pub(super) struct Args {
    /// The folder of builds.
    shelf: PathBuf,
    /// A tool's id, or an adapter's serial number. May be given several times.
    #[arg(long, value_name = "ID")]
    tool: Vec<String>,
    /// From this day on.
    #[arg(long, value_name = "DATE")]
    from: Option<Date>,
    /// Up to this day.
    #[arg(long, value_name = "DATE")]
    to: Option<Date>,
    /// A piece of the document that the plan names, such as its revision, as it was at the attempt.
    #[arg(long, value_name = "TEXT")]
    document: Option<String>,
    /// The joint's thread.
    #[arg(long, value_name = "THREAD")]
    thread: Option<String>,
    /// A part that the joint needs.
    #[arg(long, value_name = "PART")]
    part: Option<String>,
    /// Who worked.
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    /// Says which accepted attempts would lie outside their window had the tool shown this much too much: -6%, +2.5%.
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    off: Option<String>,
    /// The same with the error that the register's last calibration of the one --tool found, over the days on which the tool may have
    /// been off: from the calibration before to the one that found it, both included, where --from and --to say no other.
    #[arg(long, conflicts_with = "off", requires = "tool")]
    as_found: bool,
    /// Lists only those.
    #[arg(long)]
    outside: bool,
    /// Prints a table with a row for each attempt.
    #[arg(long)]
    csv: bool,
    /// Writes a page to print.
    #[arg(
        short = 'o',
        long = "output",
        value_name = "FILE",
        conflicts_with = "csv"
    )]
    output: Option<PathBuf>,
    /// Replaces an earlier output of this program; nothing else is ever written over.
    #[arg(long, requires = "output")]
    force: bool,
    /// Rehearsals too.
    #[arg(long)]
    rehearsals: bool,
    /// Reads every journal anew and keeps no index files.
    #[arg(long)]
    anew: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    if args.csv && out.is_json() {
        return Err(CommandError::bad(
            "--csv and --json exclude each other; allowed is one of them",
        ));
    }
    if args.outside && args.off.is_none() && !args.as_found {
        return Err(CommandError::bad(
            "--outside: outside if the tool were off by how much? allowed with --off or --as-found",
        ));
    }
    let shelf = opened(&args.shelf, args.anew)?;
    let (args, found) = as_found(args, &shelf)?;
    let args = &args;
    let question = question(args)?;
    if let Some(path) = &args.output {
        outputs::may_write(path, Over::ours_if(args.force))?;
    }
    if args.csv {
        out.raw(&format!("{COLUMNS}\n"))?;
    }
    let told = Telling {
        question: &question,
        form: out.form(),
        is_table: args.csv,
        is_page: args.output.is_some(),
    };
    let mut sum = Sum::default();
    let mut page = Vec::new();
    let mut passed = shelf.passed().to_vec();
    let mut known = vec![false; question.named().len()];
    shelf.read_and(
        |read| told.of(read),
        |answer: Result<Answer, CommandError>| {
            let answer = answer?;
            passed.extend(answer.passed);
            for (known, here) in known.iter_mut().zip(answer.known) {
                *known |= here;
            }
            sum.add(&answer.sum);
            page.extend(answer.lines);
            if page.len() > PAGE_LINES_MAX {
                return Err(CommandError::bad(format!(
                    "-o: more than {PAGE_LINES_MAX} attempts are concerned: ask for less, or take --csv"
                )));
            }
            out.raw(&answer.text)
        },
    )?;
    for (asked, _) in question
        .named()
        .iter()
        .zip(&known)
        .filter(|(_, known)| !**known)
    {
        out.remark(format_args!(
            "{asked} stands in no build of this shelf: is it spelt so?"
        ));
    }
    let mut words = sum.words(&question);
    if let Some(found) = found {
        words.push_str(&format!("; {found}"));
    }
    if let Some(path) = &args.output {
        let page = recall_page(&Recalled {
            asked: asked(args),
            answer: words.clone(),
            lines: &page,
            passed: passed
                .iter()
                .map(|one| format!("{}: {}", one.name, one.why))
                .collect(),
            off: question.off.map(shown_words),
        });
        outputs::write(path, &page, Over::ours_if(args.force))?;
        out.line(format_args!("{}: {}", path.display(), asked(args)))?;
    }
    if args.csv || out.is_json() {
        out.remark(&words);
    } else {
        out.line(&words)?;
    }
    tell_passed(&passed, out);
    Ok(Done::rejected_if(!passed.is_empty()))
}

/// What is said of each build, and in which form.
struct Telling<'q> {
    question: &'q Question,
    form: Form,
    is_table: bool,
    is_page: bool,
}

/// What a build answers.
#[derive(Default)]
struct Answer {
    passed: Vec<Passed>,
    /// Which of what was named stand in it at all.
    known: Vec<bool>,
    sum: Sum,
    /// As it is printed.
    text: String,
    /// For the page; empty where none is asked for.
    lines: Vec<Line>,
}

impl Telling<'_> {
    /// What a build answers. Made on every core at once: with many attempts the words take longer than the reading.
    fn of(&self, read: Read) -> Result<Answer, CommandError> {
        let mut answer = Answer {
            passed: read.passed,
            ..Answer::default()
        };
        let Some(build) = &read.build else {
            return Ok(answer);
        };
        answer.known = self.question.known_in(build);
        let pulls = self.question.of(build);
        if pulls.is_empty() {
            return Ok(answer);
        }
        answer.sum.builds = 1;
        let (form, text) = (self.form, &mut answer.text);
        if !self.is_page && !self.is_table {
            let not_work = build.not_work();
            let what = [build.title.as_str(), build.unit.as_str(), &not_work];
            let what: Vec<&str> = what.into_iter().filter(|text| !text.is_empty()).collect();
            form.line(
                text,
                format_args!("{}: {}", read.found.name, what.join(", ")),
            );
        }
        for pull in pulls {
            let line = Line::of(self.question, &read.found.name, build, pull);
            answer.sum.take(&line);
            if self.is_table {
                text.push_str(&line.csv());
                text.push('\n');
                continue;
            }
            form.object(text, &line)?;
            if self.is_page {
                answer.lines.push(line);
            } else if !form.is_json() {
                form.line(text, row(&line));
            }
        }
        Ok(answer)
    }
}

/// What was counted.
#[derive(Default)]
struct Sum {
    builds: usize,
    attempts: usize,
    outside: usize,
    standing: usize,
    untimed: usize,
}

impl Sum {
    fn take(&mut self, line: &Line) {
        self.attempts += 1;
        self.untimed += usize::from(line.at.is_none());
        self.outside += usize::from(line.outside.is_some());
        self.standing += usize::from(line.outside.is_some() && line.last);
    }

    fn add(&mut self, other: &Self) {
        self.builds += other.builds;
        self.attempts += other.attempts;
        self.outside += other.outside;
        self.standing += other.standing;
        self.untimed += other.untimed;
    }

    fn words(&self, question: &Question) -> String {
        let mut words = format!(
            "{} in {}",
            counted(self.attempts, "attempt"),
            counted(self.builds, "build")
        );
        if let Some(off) = question.off {
            words.push_str(&format!(
                "; {} accepted ones would lie outside their window were the tool {} off, {} of them the last at their stage",
                self.outside,
                percent(off),
                self.standing
            ));
        }
        if self.untimed > 0 {
            words.push_str(&format!("; the time of {} is unknown", self.untimed));
        }
        words
    }
}

fn percent(off: Off) -> String {
    let ppm = off.ppm();
    let sign = if ppm < 0 { "-" } else { "+" };
    let whole = ppm.unsigned_abs() / 10_000;
    let part = format!("{:04}", ppm.unsigned_abs() % 10_000);
    match part.trim_end_matches('0') {
        "" => format!("{sign}{whole} %"),
        part => format!("{sign}{whole}.{part} %"),
    }
}

/// `6 % too little`, `2.5 % too much`.
fn shown_words(off: Off) -> String {
    let side = if off.ppm() < 0 { "little" } else { "much" };
    let size = percent(off);
    format!("{} too {side}", size.trim_start_matches(['-', '+']))
}

/// One attempt in a line.
fn row(line: &Line) -> String {
    let number = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
    let mut text = format!(
        "  {:<12} {:>8}  stage {:<2}  {:<6} {:>8} N·m  [{} .. {}]  {:<9} {}",
        line.joint,
        line.fastener,
        line.stage,
        line.tool,
        number(line.torque_Nm),
        number(line.low_Nm),
        number(line.high_Nm),
        line.verdict,
        words::wall_time(line.unix),
    );
    if line.evidence != "measured" {
        text.push_str(&format!("  ({})", line.evidence));
    }
    if let (Some(truth), Some(side)) = (line.true_Nm, line.outside) {
        text.push_str(&format!("  would be {truth:.3}: too {side}"));
    }
    if !line.last {
        text.push_str("  (done again since)");
    }
    text
}

/// The question in words.
fn asked(args: &Args) -> String {
    let mut parts = Vec::new();
    let mut put = |word: &str, text: Option<String>| {
        if let Some(text) = text {
            parts.push(format!("{word} {text}"));
        }
    };
    let tools = (!args.tool.is_empty()).then(|| args.tool.join(" or "));
    put("tool", tools);
    put("from", args.from.map(|day| day.to_string()));
    put("to", args.to.map(|day| day.to_string()));
    put("document", args.document.clone());
    put("thread", args.thread.clone());
    put("part", args.part.clone());
    put("person", args.person.clone());
    parts.join(", ")
}

fn question(args: &Args) -> Result<Question, CommandError> {
    let second = |day: Date| -> Result<i64, CommandError> {
        match day.to_zoned(jiff::tz::TimeZone::system()) {
            Ok(zoned) => Ok(zoned.timestamp().as_second()),
            Err(_) => Err(CommandError::bad(format!(
                "{day} is not a day that this machine's clock can tell"
            ))),
        }
    };
    if let (Some(from), Some(to)) = (args.from, args.to)
        && to < from
    {
        return Err(CommandError::bad(format!(
            "--to {to} lies before --from {from}; allowed is the same day or a later one"
        )));
    }
    let after = |day: Date| match day.checked_add(1.day()) {
        Ok(next) => second(next),
        Err(_) => Ok(i64::MAX),
    };
    let question = Question {
        tools: args.tool.clone(),
        from: args.from.map(second).transpose()?,
        before: args.to.map(after).transpose()?,
        document: args.document.clone(),
        thread: args.thread.clone(),
        part: args.part.clone(),
        person: args.person.clone(),
        rehearsals: args.rehearsals,
        off: args.off.as_deref().map(off).transpose()?,
        only_outside: args.outside,
    };
    if question.is_empty() {
        return Err(CommandError::bad(
            "recall of what? allowed are --tool, --from, --to, --document, --thread, --part, --person, one or several",
        ));
    }
    Ok(question)
}

/// `-6%`, `+2.5 %`.
fn off(text: &str) -> Result<Off, CommandError> {
    off_ppm(text).and_then(Off::from_ppm).ok_or_else(|| {
        CommandError::bad(format!(
            "--off {text}: not a share of the torque; allowed is a percentage from -50% to +50%, such as -6% or +2.5%"
        ))
    })
}

/// The question with what the register says of the tool, and that in words.
fn as_found(args: &Args, shelf: &Shelf) -> Result<(Args, Option<String>), CommandError> {
    if !args.as_found {
        return Ok((args.clone(), None));
    }
    let bad = |why: String| Err(CommandError::bad(format!("--as-found: {why}")));
    let [id] = args.tool.as_slice() else {
        return bad(format!(
            "{} are named; allowed is one --tool",
            counted(args.tool.len(), "tool")
        ));
    };
    let Some(register) = shelf.register().map_err(CommandError::pointed)? else {
        return bad(format!(
            "there is no register of tools, {FILE}, in {} or in a folder above it",
            args.shelf.display()
        ));
    };
    let Some(own) = register.tool(id) else {
        return bad(format!(
            "the register {} has no tool {id}",
            register.path().display()
        ));
    };
    let Some((found, before)) = own.last_found() else {
        return bad(format!(
            "no calibration of {id} in {} says what it found (`as_found`)",
            register.path().display()
        ));
    };
    let mut asked = args.clone();
    asked.off.clone_from(&found.as_found);
    asked.from = args.from.or(before);
    asked.to = args.to.or(Some(found.date));
    let mut words = format!("found so by the calibration of {}", found.date);
    if let Some(number) = &found.certificate {
        words.push_str(&format!(", certificate {number}"));
    }
    match before {
        Some(before) => words.push_str(&format!(", the one before was on {before}")),
        None => words.push_str(", no earlier one is written down"),
    }
    Ok((asked, Some(words)))
}
