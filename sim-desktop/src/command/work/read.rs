//! `evendraw work --read`: values that a person reads from a tool, typed one a line.
//!
//! Knows nothing of how a value is judged, or of what a tool can tell.

use std::sync::mpsc::TryRecvError;

use evendraw_core::record::Record;
use evendraw_core::session::{Input, Next};
use evendraw_core::unit::Torque;
use serde_json::json;

use super::super::named::names;
use super::ask::Asked;
use super::{Args, CommandError, Done, Output, PAUSE, Work};
use crate::job::Held;
use crate::job::status::telling::{line, object};
use crate::job::ways::{self, AsSet, ToTell, Wanted};
use crate::plan::{Plan, ToolKind};
use crate::quantity::Unit as _;
use crate::rehearsal::answers::is_about_the_tool;

/// Runs the command.
pub(super) fn run(args: &Args, plan: Plan, out: &mut Output<'_>) -> Result<Done, CommandError> {
    if let Some(id) = &args.tool {
        reads(&plan, id).map_err(|why| CommandError::bad(format!("--tool {id}: {why}")))?;
    }
    let work = Work::open(args, plan, true, out)?;
    let mut own = Typing {
        work,
        tool: args.tool.clone(),
        set: None,
        doubted: None,
        said: None,
    };
    own.keep_on()?;
    own.work.close()
}

/// Whether a tool of the plan tells what a person can type; why not.
fn reads(plan: &Plan, id: &str) -> Result<(), String> {
    let reading = |kind: ToolKind| !matches!(kind, ToolKind::Adapter | ToolKind::Stream);
    let known = || {
        let tools = plan.tools().iter().filter(|tool| reading(tool.kind));
        let ids: Vec<&str> = tools.map(|tool| tool.id.as_str()).collect();
        ids.join(", ")
    };
    match plan.tool(id) {
        Some(tool) if reading(tool.kind) => Ok(()),
        Some(tool) => Err(format!(
            "a tool of kind `{}` sends what it measures and is not read; tools that are: {}",
            tool.kind.word(),
            known()
        )),
        None if plan.tools().is_empty() => Ok(()),
        None => Err(format!(
            "the plan has no such tool; tools that are read: {}",
            known()
        )),
    }
}

struct Typing<'o, 'w> {
    work: Work<'o, 'w>,
    /// The tool of the command line, until it was taken.
    tool: Option<String>,
    /// How the click wrench was set last.
    set: Option<AsSet>,
    /// The line that was asked for once more.
    doubted: Option<String>,
    /// What was said last of what is to be typed.
    said: Option<String>,
}

impl Typing<'_, '_> {
    /// Works until the joint is done, the input ends, or nothing goes on.
    fn keep_on(&mut self) -> Result<(), CommandError> {
        loop {
            let at = self.work.now();
            if self.take_first_tool()? {
                continue;
            }
            let held = self.work.job.held(self.work.joint);
            let about_the_tool = held.first().filter(|held| is_about_the_tool(held));
            if let (Some(held), Next::Pull { .. }) = (about_the_tool, self.work.next()) {
                let is_mended_by_a_reason =
                    !matches!(held, Held::ToolUnsuited { .. } | Held::ToolEvidence { .. });
                let words = held.to_string();
                if !self.another_tool(&words, is_mended_by_a_reason)? {
                    return Ok(());
                }
                continue;
            }
            match self.work.ask(at)? {
                Asked::Stop(why) => {
                    self.work.out.remark(why);
                    return Ok(());
                }
                Asked::Open => std::thread::sleep(PAUSE),
                Asked::Nothing => match self.work.next() {
                    Next::Nothing => return Ok(()),
                    Next::Pull { step } => {
                        if !self.pull(step)? {
                            return Ok(());
                        }
                    }
                    Next::Tool => {
                        if !self.take_first_tool()?
                            && !self.another_tool("no tool is named", false)?
                        {
                            return Ok(());
                        }
                    }
                    _ => {
                        std::thread::sleep(PAUSE);
                        let at = self.work.now();
                        self.work.apply(at, Input::Tick)?;
                    }
                },
            }
        }
    }

    /// Takes the tool of the command line, or the only one that suits; true where one was taken.
    fn take_first_tool(&mut self) -> Result<bool, CommandError> {
        let next = self.work.next();
        if let Some(id) = self.tool.take_if(|_| !matches!(next, Next::Start)) {
            if self.work.job.tool() == Some(id.as_str()) {
                return Ok(false);
            }
            return self.take_tool(&id).map(|()| true);
        }
        if next != Next::Tool {
            return Ok(false);
        }
        let tools = self.work.job.plan().tools().iter();
        let mut reading = tools.filter(|tool| reads(self.work.job.plan(), &tool.id).is_ok());
        match (reading.next(), reading.next()) {
            (Some(only), None) => {
                let id = only.id.clone();
                self.take_tool(&id).map(|()| true)
            }
            _ => Ok(false),
        }
    }

    fn take_tool(&mut self, id: &str) -> Result<(), CommandError> {
        let at = self.work.now();
        self.work.apply(at, Input::Tool { id, waiver: "" })?;
        self.work.out.line(format_args!("Tool {id}"))?;
        self.work.out.flush()
    }

    /// Asks for another tool, or a reason to go on with this one; false at the end of the input.
    fn another_tool(&mut self, why: &str, may_reason: bool) -> Result<bool, CommandError> {
        let suits: Vec<&str> = self
            .work
            .job
            .tools_for_next(self.work.joint)
            .into_iter()
            .filter(|id| reads(self.work.job.plan(), id).is_ok())
            .collect();
        let suits = if suits.is_empty() {
            "none of the plan".to_owned()
        } else {
            suits.join(", ")
        };
        let reason = if may_reason {
            ", or `reason WHO AND WHY` to go on with this one"
        } else {
            ""
        };
        let words = format!("{why}. Type `tool ID` (suits: {suits}){reason}");
        self.say("tool", &words, &[])?;
        let Some(line) = self.line()? else {
            return Ok(false);
        };
        match command(&line) {
            ("tool", id) if !id.is_empty() => self.other(id)?,
            ("reason", reason) if may_reason && !reason.is_empty() => {
                let Some(id) = self.work.job.tool().map(str::to_owned) else {
                    self.work.out.remark("no tool is named yet");
                    return Ok(true);
                };
                let at = self.work.now();
                self.work.apply(
                    at,
                    Input::Tool {
                        id: &id,
                        waiver: reason,
                    },
                )?;
            }
            ("skip", reason) => self.skip(reason)?,
            _ => self.work.out.remark(format_args!("`{line}` names no tool")),
        }
        Ok(true)
    }

    fn other(&mut self, id: &str) -> Result<(), CommandError> {
        match reads(self.work.job.plan(), id) {
            Ok(()) => self.take_tool(id),
            Err(why) => {
                self.work.out.remark(format_args!("tool {id}: {why}"));
                Ok(())
            }
        }
    }

    /// One line for the step that is to be pulled; false at the end of the input.
    fn pull(&mut self, step: u16) -> Result<bool, CommandError> {
        self.work.say_next()?;
        let to_tell = match self.work.job.to_tell(self.work.joint) {
            None => return Ok(true),
            Some(Err(why)) => return self.another_tool(&why, false),
            Some(Ok(ToTell::Samples)) => {
                let why = "this tool sends what it measures: use --lines for it";
                return self.another_tool(why, false);
            }
            Some(Ok(to_tell)) => to_tell,
        };
        self.say_how(&to_tell)?;
        let Some(line) = self.line()? else {
            return Ok(false);
        };
        let doubted = self.doubted.take().is_some_and(|before| before == line);
        let (word, rest) = command(&line);
        match word {
            "skip" => self.skip(rest)?,
            "tool" => self.other(rest)?,
            "fastener" => self.select(rest)?,
            _ => match to_tell {
                ToTell::Values(wanted) => self.values(step, &line, &wanted, doubted)?,
                ToTell::Click { setting, moved, .. } => {
                    self.click(step, &line, (setting, moved), doubted)?;
                }
                ToTell::Done if line.eq_ignore_ascii_case("done") => {
                    self.record(Input::Confirm { step })?;
                }
                ToTell::Done | ToTell::Samples => self
                    .work
                    .out
                    .remark(format_args!("`{line}`: type `done` when it is done")),
            },
        }
        Ok(true)
    }

    fn values(
        &mut self,
        step: u16,
        line: &str,
        wanted: &Wanted,
        doubted: bool,
    ) -> Result<(), CommandError> {
        let typed = match ways::read(line, wanted) {
            Ok(typed) => typed,
            Err(why) => {
                self.work.out.remark(why);
                return Ok(());
            }
        };
        if !doubted && let Some(why) = self.work.job.question(self.work.joint, &typed) {
            return self.doubt(line, &why);
        }
        let mut stated = String::new();
        let joint = self.work.joint;
        let readout = self.work.job.readout(joint, wanted, &typed, &mut stated);
        self.record(Input::Read {
            step,
            readout: &readout,
        })
    }

    fn click(
        &mut self,
        step: u16,
        line: &str,
        (wanted, may_move): (Torque, bool),
        doubted: bool,
    ) -> Result<(), CommandError> {
        let joint = self.work.joint;
        let (word, rest) = command(line);
        if word == "click" {
            let Some(set) = self.work.job.is_set(joint, self.set) else {
                self.work
                    .out
                    .remark("set it first, and type the setting back as set");
                return Ok(());
            };
            let moved = rest.eq_ignore_ascii_case("moved");
            if !rest.is_empty() && (!moved || !may_move) {
                let more = if may_move { ", or `click moved`" } else { "" };
                self.work
                    .out
                    .remark(format_args!("`{line}`: `click`{more}"));
                return Ok(());
            }
            let input = self.work.job.clicked(joint, step, set, moved);
            return self.record(input);
        }
        match ways::read_setting(line, self.work.job.tool_in_hand()) {
            Err(why) => self
                .work
                .out
                .remark(format_args!("{why}; then `click` each time it clicks")),
            Ok(setting) if setting != wanted && !doubted => {
                let why = format!(
                    "it is to be set to {}, not {line}",
                    self.setting_words(wanted)
                );
                self.doubt(line, &why)?;
            }
            Ok(setting) => {
                self.set = self.work.job.as_set(joint, setting);
                let words = format!("Set to {}", self.setting_words(setting));
                self.work.out.line(words)?;
                self.work.out.flush()?;
            }
        }
        Ok(())
    }

    fn setting_words(&self, setting: Torque) -> String {
        ways::tool_words(setting, self.work.job.tool_in_hand())
    }

    fn select(&mut self, label: &str) -> Result<(), CommandError> {
        match self.work.own.fastener(label) {
            Some(fastener) => self.record(Input::Select { fastener }),
            None => {
                self.work
                    .out
                    .remark(format_args!("there is no fastener `{label}` here"));
                Ok(())
            }
        }
    }

    fn skip(&mut self, reason: &str) -> Result<(), CommandError> {
        match self.work.next().step() {
            Some(step) => self.record(Input::Skip { step, reason }),
            None => Ok(()),
        }
    }

    /// Sends an input that a person made; what was in its way is said.
    fn record(&mut self, input: Input<'_>) -> Result<(), CommandError> {
        let at = self.work.now();
        let done = self.work.apply(at, input)?;
        for held in &done.held {
            self.work.out.remark(held);
        }
        // An attempt was told when it was safe.
        let names = names(&self.work.job);
        for entry in &done.entries {
            if matches!(entry.record, Record::Done(_) | Record::Skipped(_)) {
                self.work.out.object(&object(&names, entry))?;
                self.work.out.line(line(&names, entry))?;
            }
        }
        self.work.out.flush()
    }

    /// Asks for a line once more before it is taken.
    fn doubt(&mut self, line: &str, why: &str) -> Result<(), CommandError> {
        self.doubted = Some(line.to_owned());
        let words = format!("{why}. The same once more if that is so");
        self.work.out.line(format_args!("? {words}"))?;
        self.work.out.object(&json!({
            "record": "question", "joint": self.work.own.id(), "key": "again", "words": words, "allowed": line,
        }))?;
        self.work.out.flush()
    }

    /// Says what is to be typed, where that differs from what was said last.
    fn say_how(&mut self, to_tell: &ToTell) -> Result<(), CommandError> {
        let id = self.work.job.tool().unwrap_or("the tool").to_owned();
        match to_tell {
            ToTell::Values(wanted) => {
                let unit = if wanted.torque {
                    wanted.unit.symbol()
                } else {
                    "°"
                };
                let offset = wanted.through.as_ref();
                let offset = offset.map_or_else(String::new, |through| {
                    format!("Through the offset adapter {through}. ")
                });
                let words = format!("{offset}{id}: {}", ways::allowed(wanted));
                self.say("value", &words, &[("unit", unit)])
            }
            ToTell::Click { words, .. }
                if self.work.job.is_set(self.work.joint, self.set).is_none() =>
            {
                let words = format!("Set {id} to {words}, and type it back as set");
                self.say("setting", &words, &[])
            }
            ToTell::Click { moved, .. } => {
                let words = if *moved {
                    "`click` when it clicks, `click moved` where the fastener moved before it"
                } else {
                    "`click` when it clicks"
                };
                self.say("click", words, &[])
            }
            ToTell::Done => self.say("done", "`done` when it is done", &[]),
            ToTell::Samples => Ok(()),
        }
    }

    fn say(&mut self, what: &str, words: &str, more: &[(&str, &str)]) -> Result<(), CommandError> {
        if self.said.as_deref() == Some(words) {
            return Ok(());
        }
        self.said = Some(words.to_owned());
        self.work.out.line(format_args!("  {words}"))?;
        let mut object = json!({ "record": "wanted", "joint": self.work.own.id(), "what": what, "words": words });
        if let Some(object) = object.as_object_mut() {
            object.extend(
                more.iter()
                    .map(|(key, value)| ((*key).to_owned(), json!(value))),
            );
        }
        self.work.out.object(&object)?;
        self.work.out.flush()
    }

    /// The next line typed that says anything; none at the end of the input. Time goes on meanwhile.
    fn line(&mut self) -> Result<Option<String>, CommandError> {
        loop {
            match self.work.asking.typed() {
                Ok(line) if line.trim().is_empty() => {}
                Ok(line) => return Ok(Some(line.trim().to_owned())),
                Err(TryRecvError::Disconnected) => return Ok(None),
                Err(TryRecvError::Empty) => std::thread::sleep(PAUSE),
            }
        }
    }
}

/// The first word, in small letters where it is one, and the rest.
fn command(line: &str) -> (&str, &str) {
    match line.split_once(char::is_whitespace) {
        Some((word, rest)) => (word, rest.trim()),
        None => (line, ""),
    }
}
