//! `evendraw work`: real work on one joint in a terminal, without a screen: the same sessions, the same journal.
//!
//! Here is what every way of work shares: the journal taken up, what is said of verdicts, where one stands at the end. Knows nothing of
//! where readings come from.

mod ask;
mod lines;
mod read;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant as Clock, SystemTime, UNIX_EPOCH};

use clap::Args as ClapArgs;
use evendraw_core::ledger::Standing;
use evendraw_core::session::{Input, Next, Refusal, Session};
use evendraw_core::unit::Instant;
use evendraw_core::verdict::Verdict;
use serde_json::json;

use super::named::{joint, names, put_beside_forerunners, tell_attempt};
use super::{CommandError, Done, Output, plan_file};
use crate::job::{self, Job, Told};
use crate::peers;
use crate::plan::{Joint, Plan};
use crate::signals;
use crate::store::Purpose;
use crate::words;
use ask::Asking;

/// Works one joint in a terminal: real work, kept in the same journal as at the desk.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw work pump.toml --joint head --lines /dev/ttyUSB0 --answer person=\"R. Falk\"\n  \
        evendraw work pump.toml --joint head --lines bench-3:4001 --tool S1\n  \
        print-samples | evendraw work pump.toml --joint head --lines - --answer person=\"R. Falk\" --json\n  \
        evendraw work pump.toml --joint cover --read --tool W2 --answer person=\"R. Falk\"\n\n\
        With --read each line typed is a value for what is next: 48.2, 48,2, 48.2 N·m 91°, without a unit the tool's own; `moved` behind it where\n\
        nothing may move and it did. A click wrench: its setting, typed back as set, then `click` each time. `done` where nothing is read;\n\
        `skip REASON` leaves out, `tool ID` takes another tool, `fastener LABEL` takes another fastener. A value far from any that makes sense is\n\
        asked for once more.\n\
        Lines are those of a tool of kind \"stream\" in the plan, as its [tool.lines] says; the trace file's own header and rows without it.\n\
        A port is /dev/ttyUSB0 or, on Windows, COM3.\n\
        What the plan asks is asked here, each question with its key; --answer KEY=ANSWER answers it beforehand, once.\n\
        Each verdict is printed when its record is safe. Ctrl-C loses nothing: the same command goes on where it stood.\n\
        Status 1 while something of the joint is open.")]
pub(super) struct Args {
    /// The plan; the built-in demo build when none is given.
    plan: Option<PathBuf>,
    /// The joint; not needed where the plan has only one.
    #[arg(long, value_name = "JOINT")]
    joint: Option<String>,
    /// Where lines come from: a serial port, HOST:PORT, or - for standard input.
    #[arg(
        long,
        value_name = "PLACE",
        required_unless_present = "read",
        conflicts_with = "read"
    )]
    lines: Option<String>,
    /// Values are read by a person and typed, one a line.
    #[arg(long)]
    read: bool,
    /// The tool; not needed where the plan has only one that suits.
    #[arg(long, value_name = "ID")]
    tool: Option<String>,
    /// The journal; beside the plan where none is given.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Answers one of the questions: condition=yes, person=NAME. May be given several times.
    #[arg(long, value_name = "KEY=ANSWER")]
    answer: Vec<String>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let plan = plan_file::read(args.plan.as_deref())?;
    match &args.lines {
        Some(place) => lines::run(args, place, plan, out),
        None => read::run(args, plan, out),
    }
}

/// A joint being worked in a terminal.
struct Work<'o, 'w> {
    job: Job,
    joint: u8,
    own: Joint,
    asking: Asking,
    out: &'o mut Output<'w>,
    began: Clock,
    /// Something happened since it was looked at what is next.
    is_new: bool,
    /// What was said to be next.
    said: Option<u16>,
    /// What was said last of a journal that cannot be written; none since it could.
    unstored: Option<String>,
}

impl<'o, 'w> Work<'o, 'w> {
    /// Takes up the journal, or begins one, and begins with what was done already.
    fn open(
        args: &Args,
        plan: Plan,
        is_typed: bool,
        out: &'o mut Output<'w>,
    ) -> Result<Self, CommandError> {
        out.speaks_of(&plan)?;
        let own = joint(&plan, args.joint.as_deref())?.clone();
        let asking = Asking::new(&args.answer, &plan, is_typed)?;
        let path = match (&args.journal, &args.plan) {
            (Some(journal), _) => journal.clone(),
            (None, Some(plan)) => beside(plan),
            (None, None) => {
                return Err(CommandError::bad(
                    "--journal FILE is needed with the built-in demo build: it lies beside no plan",
                ));
            }
        };
        let mut job = if path.exists() {
            let mut job = Job::open(&path, Purpose::Job)?;
            if job.plan().text() != plan.text()
                && let Err(error) = job.change_plan(plan)
            {
                out.remark(format_args!(
                    "the plan was changed since: {error}. Work goes on with the plan in the journal"
                ));
            }
            job
        } else {
            Job::create(&path, plan, Purpose::Job)?
        };
        put_beside_forerunners(&mut job, &path, out);
        let own = joint(job.plan(), Some(own.id()))?.clone();
        if let Ok(since) = SystemTime::now().duration_since(UNIX_EPOCH)
            && let Ok(seconds) = i64::try_from(since.as_secs())
        {
            job.set_wall_time(seconds);
        }
        let work = Self {
            joint: own.number(),
            job,
            own,
            asking,
            out,
            began: Clock::now(),
            is_new: true,
            said: None,
            unstored: None,
        };
        if let Some(serial) = work.job.adapter(work.joint) {
            return Err(CommandError::bad(format!(
                "joint `{}` is worked at adapter {serial}; take it back at the desk first (F11)",
                work.own.id()
            )));
        }
        work.out.remark(words::HANDS);
        if let Some(last) = work.job.status().last {
            let now = jiff::Timestamp::now().as_second();
            work.out.remark(format_args!("last: {}", last.line(now)));
        }
        work.note_standing();
        Ok(work)
    }

    /// The clock of this run.
    fn now(&self) -> Instant {
        let micros = self.began.elapsed().as_micros();
        Instant::from_micros(u64::try_from(micros).unwrap_or(u64::MAX))
    }

    fn session(&self) -> Option<&Session<std::sync::Arc<evendraw_core::procedure::Procedure>>> {
        self.job.session(self.joint)
    }

    fn next(&self) -> Next {
        self.session().map_or(Next::Start, Session::next)
    }

    fn is_in_pull(&self) -> bool {
        self.session().is_some_and(Session::is_in_pull)
    }

    /// Sends an input; whatever is announced is safe, and told.
    fn apply(&mut self, at: Instant, input: Input<'_>) -> Result<job::Done, CommandError> {
        let done = self.job.apply(self.joint, at, input)?;
        if done.store_failure != self.unstored {
            if let Some(failure) = &done.store_failure {
                let words = format!("not stored, nothing is told before it is: {failure}");
                if done.journal_elsewhere {
                    return Err(CommandError::bad(words));
                }
                // Tried again and again; said once.
                self.out.remark(words);
            }
            self.unstored.clone_from(&done.store_failure);
        }
        if let Some(lost) = &done.trace_lost {
            self.out.remark(format_args!(
                "the curve of this pull is not kept, its verdict is: {lost}"
            ));
        }
        // The last readings of a pull come after its verdict: that they are refused is nobody's concern.
        if let Some(refusal) = done
            .refusal
            .filter(|refusal| !matches!(refusal, Refusal::NothingToPull | Refusal::Store))
        {
            self.out.remark(words::refusal(refusal));
        }
        for told in &done.told {
            self.tell(told)?;
        }
        if !done.entries.is_empty() || !done.told.is_empty() || !done.held.is_empty() {
            self.is_new = true;
            self.note_standing();
        }
        Ok(done)
    }

    fn tell(&mut self, told: &Told) -> Result<(), CommandError> {
        tell_attempt(&self.job, told, "", self.out)?;
        if told.attempt.verdict != Verdict::Accepted {
            self.said = None;
            // What waits for a decision says so with the question.
            let pulled_on = matches!(self.next(), Next::Pull { .. });
            let advice = self.session().and_then(Session::advice);
            let advice = advice.filter(|_| pulled_on);
            for words in advice.iter().flat_map(words::what_now) {
                self.out.line(format_args!("  {words}"))?;
            }
        }
        self.out.flush()
    }

    /// Says once what is to be pulled next.
    fn say_next(&mut self) -> Result<(), CommandError> {
        let Next::Pull { step } = self.next() else {
            self.said = None;
            return Ok(());
        };
        if self.said == Some(step) {
            return Ok(());
        }
        self.said = Some(step);
        let (words, object) = self.place(step);
        self.out.line(format_args!("Next: {words}"))?;
        self.out.object(&object)?;
        self.out.flush()
    }

    /// A step in words, and for scripts.
    fn place(&self, step: u16) -> (String, serde_json::Value) {
        let plan = self.job.joint_plan(self.joint);
        let at = plan.and_then(|plan| plan.procedure.step_at(step));
        let stage = at.map_or(0, |at| at.stage());
        let own = plan.and_then(|plan| plan.stage(stage));
        let fastener = at.and_then(|at| at.fastener());
        let target = own.and_then(|own| match fastener {
            Some(fastener) => own.target_for(fastener),
            None => own.target.as_deref(),
        });
        let sentence = own
            .map(crate::plan::StagePlan::sentence)
            .unwrap_or_default();
        let label = fastener.map(|fastener| self.own.label(fastener));
        let number = u32::from(stage) + 1;
        let words = match label {
            Some(label) => format!("fastener {label}, stage {number}: {sentence}"),
            None => format!("stage {number}: {sentence}"),
        };
        let object = json!({
            "record": "next", "joint": self.own.id(), "fastener": label, "stage": number, "target": target,
        });
        (words, object)
    }

    /// Steps that are settled, and all there are.
    fn counted(&self) -> (usize, usize) {
        self.session().map_or((0, 0), |session| {
            let steps = session.procedure().steps().len();
            let settled = session
                .procedure()
                .numbered_steps()
                .filter(|(index, _)| session.ledger().step(*index).is_settled())
                .count();
            (settled, steps)
        })
    }

    /// Where one stands, in one line.
    fn standing(&self) -> String {
        let (settled, steps) = self.counted();
        let next = match self.next().step() {
            Some(step) => format!("; next is {}", self.place(step).0),
            None => String::new(),
        };
        let kept = self
            .job
            .journal_path()
            .map_or_else(String::new, |path| format!(". Kept in {}", path.display()));
        format!(
            "{}: {settled} of {steps} steps done{next}{kept}",
            self.own.id()
        )
    }

    /// What Ctrl-C says from here on.
    fn note_standing(&self) {
        signals::last_words(&format!("\n{}", self.standing()));
    }

    /// Says where one stands; open joints are status 1.
    fn close(self) -> Result<Done, CommandError> {
        signals::last_words("");
        let names = names(&self.job);
        for peer in &self.job.peers(self.joint) {
            self.out.object(&peers::object(&names, self.joint, peer))?;
            self.out.line(peers::line(&names, self.joint, peer))?;
        }
        let is_final = self.job.standing(self.joint) == Standing::Final;
        let (settled, steps) = self.counted();
        self.out.line(self.standing())?;
        self.out.object(&json!({
            "record": "standing", "joint": self.own.id(), "final": is_final, "done": settled, "steps": steps,
        }))?;
        Ok(Done::rejected_if(!is_final))
    }
}

/// Where the desk keeps the journal of a plan: the last of those numbered.
pub(super) fn beside(plan: &Path) -> PathBuf {
    let name = plan
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let stem = name.strip_suffix(".toml").unwrap_or(&name);
    let mut found = plan.with_file_name(format!("{stem}.evj"));
    for number in 2..1_000 {
        let later = plan.with_file_name(format!("{stem}-{number}.evj"));
        if !later.exists() {
            break;
        }
        found = later;
    }
    found
}

/// How long nothing is looked at where nothing comes.
const PAUSE: Duration = Duration::from_millis(20);
