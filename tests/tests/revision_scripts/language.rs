//! The rows of a script: done to a build on disk, and written as what came of them.
//!
//! The build is opened from its journal for every row: nothing is known of it but what was kept.

use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

use evendraw::job::status::{Kept, Status};
use evendraw::job::{Job, JobError};
use evendraw::mark::Mark;
use evendraw::plan::Plan;
use evendraw::sheet::{Sheet, page, short_page, text};
use evendraw::store::{Purpose, read};
use evendraw_core::record::{Decision, Entry, Role};
use evendraw_core::session::Input;
use evendraw_core::unit::Instant;

/// A plan, and what is done to the build and to the plan.
pub(crate) struct Script {
    name: String,
    lines: Vec<String>,
}

impl Script {
    pub(crate) fn parse(name: &str, text: &str) -> Self {
        Self {
            name: name.to_owned(),
            lines: text.lines().map(str::to_owned).collect(),
        }
    }

    /// Runs every row and writes the file as it should stand.
    pub(crate) fn run(&self) -> String {
        let is_row = |line: &&String| line.starts_with('>');
        let first = self.lines.iter().position(|line| is_row(&line));
        let (plan, rows) = self.lines.split_at(first.unwrap_or(self.lines.len()));
        let mut told = plan.join("\n");
        told.push('\n');
        let mut build = Build::begin(&self.name, &told);
        for line in rows {
            if line.starts_with('#') || line.is_empty() {
                let _ = writeln!(told, "{line}");
            } else if let Some(row) = line.strip_prefix('>') {
                let _ = writeln!(told, "{line}");
                for came in build.row(row.trim()) {
                    let _ = writeln!(told, "  {came}");
                }
            }
        }
        told
    }
}

/// A build in a folder.
struct Build {
    script: String,
    folder: tempfile::TempDir,
    plan: String,
    /// Its clock: later with each act.
    second: u64,
    /// How many bytes of the journal stood before the last row.
    before: usize,
    /// How each joint stood when that was told last.
    stood: Vec<String>,
}

impl Build {
    fn begin(script: &str, plan: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut build = Self {
            script: script.to_owned(),
            folder,
            plan: plan.to_owned(),
            second: 0,
            before: 0,
            stood: Vec::new(),
        };
        Job::create(&build.journal(), build.parsed(), Purpose::Job).expect("a journal");
        build.stood = stands(&build.status());
        build
    }

    fn journal(&self) -> PathBuf {
        self.folder.path().join("winch.evj")
    }

    fn parsed(&self) -> Plan {
        Plan::parse("winch.toml", &self.plan)
            .unwrap_or_else(|errors| panic!("{}: {}", self.script, errors.report(false)))
    }

    fn open(&self) -> Job {
        Job::open(&self.journal(), Purpose::Job).expect("a journal")
    }

    fn status(&self) -> Status {
        self.open().status()
    }

    fn at(&mut self) -> Instant {
        self.second += 5;
        Instant::from_micros(self.second * 1_000_000)
    }

    /// Does what a row says; what came of it.
    fn row(&mut self, row: &str) -> Vec<String> {
        let journal = fs::read(self.journal()).expect("a journal");
        let words: Vec<&str> = row.split_whitespace().collect();
        let mut came = match words[..] {
            ["evendraw", ..] => return self.command(row),
            ["sheet"] => return self.sheet(),
            ["killed", percent, "%", ..] => {
                let wrote = journal.len() - self.before;
                let percent: usize = percent.parse().expect("percent of what was written last");
                let cut = self.before + wrote * percent / 100;
                fs::write(self.journal(), &journal[..cut]).expect("a shorter journal");
                self.plan = self.open().plan().text().to_owned();
                Vec::new()
            }
            _ => {
                self.before = journal.len();
                self.act(&words, row)
            }
        };
        let now = stands(&self.status());
        let news = now.iter().filter(|line| !self.stood.contains(line));
        came.extend(news.cloned());
        self.stood = now;
        came
    }

    fn act(&mut self, words: &[&str], row: &str) -> Vec<String> {
        match *words {
            ["done", joint, stage, ref labels @ ..] => self.done(joint, stage, labels),
            ["loosen", joint, label] => {
                let fastener = self.fastener(joint, label);
                let loosened = Input::Loosened {
                    fastener,
                    elsewhere: false,
                    cause: "done again",
                };
                self.say(joint, &[loosened])
            }
            ["redo", joint, stage, label] => {
                let step = self.step(joint, stage, label);
                let from = stage.parse::<u8>().expect("a stage") - 1;
                let decision = Decision::Restart(from);
                let redo = Input::Decide {
                    step,
                    decision,
                    note: "",
                };
                self.say(joint, &[redo])
            }
            ["leave", joint, stage, label, ..] => {
                let step = self.step(joint, stage, label.trim_end_matches(':'));
                let (_, note) = row
                    .split_once(": ")
                    .expect("leave JOINT STAGE LABEL: who and why");
                let leave = Input::Decide {
                    step,
                    decision: Decision::Waive,
                    note,
                };
                self.say(joint, &[leave])
            }
            ["revise", ..] => {
                let text = self.revised(row);
                self.change(text)
            }
            ["to", "the", "adapter", joint, serial] => {
                let joint = self.joint(joint);
                told(self.open().leave_to_adapter(joint, serial))
            }
            ["at", "the", "adapter", joint, stage, ref labels @ ..] => {
                let entries = self.twin(joint, stage, labels);
                let joint = self.joint(joint);
                told(self.open().take_over(joint, &entries).map(drop))
            }
            ["taken", "back", joint] => {
                let joint = self.joint(joint);
                told(self.open().take_back(joint))
            }
            _ => panic!("{}: no such row: {row}", self.script),
        }
    }

    fn joint(&self, id: &str) -> u8 {
        let job = self.open();
        let joint = job.plan().joint(id);
        joint
            .unwrap_or_else(|| panic!("{}: no joint {id}", self.script))
            .number()
    }

    fn fastener(&self, joint: &str, label: &str) -> u8 {
        let job = self.open();
        let own = job.plan().joint(joint).expect("a joint");
        let mut fasteners = 0..u8::try_from(own.positions().len()).expect("few");
        let found = fasteners.find(|fastener| own.label(*fastener) == label);
        found.unwrap_or_else(|| panic!("{}: no fastener {label}", self.script))
    }

    /// The step of a fastener at a stage counted from 1.
    fn step(&self, joint: &str, stage: &str, label: &str) -> u16 {
        let (number, fastener) = (self.joint(joint), self.fastener(joint, label));
        let stage = stage.parse::<u8>().expect("a stage") - 1;
        let job = self.open();
        let procedure = &job.joint_plan(number).expect("a joint").procedure;
        let steps = (0_u16..).zip(procedure.steps());
        let mut found =
            steps.filter(|(_, step)| step.stage() == stage && step.fastener() == Some(fastener));
        found.next().expect("a step").0
    }

    /// Says it all of a joint, by somebody; what was refused.
    fn say(&mut self, joint: &str, inputs: &[Input<'_>]) -> Vec<String> {
        let number = self.joint(joint);
        let person = Input::Person {
            name: "R. Falk",
            role: Role::Operator,
        };
        let mut job = self.open();
        let mut came = Vec::new();
        for input in std::iter::once(&person).chain(inputs) {
            let at = self.at();
            match job.apply(number, at, *input) {
                Ok(done) => {
                    came.extend(done.refusal.map(|why| format!("refused: {why:?}")));
                    came.extend(done.held.iter().map(|why| format!("held: {why:?}")));
                }
                Err(error) => came.push(format!("error: {error}")),
            }
        }
        came
    }

    fn done(&mut self, joint: &str, stage: &str, labels: &[&str]) -> Vec<String> {
        let steps = labels.iter().map(|label| self.step(joint, stage, label));
        let steps: Vec<Input<'_>> = steps.map(|step| Input::Paper { step }).collect();
        self.say(joint, &steps)
    }

    /// What an adapter records that does this from the beginning, made as it would; a number among the labels is the stage of those behind it.
    fn twin(&self, joint: &str, stage: &str, words: &[&str]) -> Vec<Entry> {
        let mut other = Self::begin(&self.script, &self.plan);
        let mut stage = stage;
        let mut steps = Vec::new();
        for word in words {
            match word.parse::<u8>() {
                Ok(_) => stage = word,
                Err(_) => steps.push(other.step(joint, stage, word)),
            }
        }
        let done: Vec<Input<'_>> = steps
            .into_iter()
            .map(|step| Input::Paper { step })
            .collect();
        assert_eq!(other.say(joint, &done), Vec::<String>::new());
        let number = other.joint(joint);
        other.open().sound(number).into_iter().cloned().collect()
    }

    /// The plan with the changes of a row, under the next number: `revise "why" OLD -> NEW; OLD -> NEW`.
    fn revised(&self, row: &str) -> String {
        let (why, changes) = row
            .trim_start_matches("revise ")
            .strip_prefix('"')
            .and_then(|rest| rest.split_once("\" "))
            .expect("revise \"why\" OLD -> NEW");
        let mut text = self.plan.clone();
        for change in changes.split("; ") {
            let (old, new) = change.split_once(" -> ").expect("OLD -> NEW");
            assert!(text.contains(old), "{}: the plan has no {old}", self.script);
            text = text.replacen(old, &new.replace("\\n", "\n"), 1);
        }
        let number = self.parsed().build().revision;
        let head = format!("revision = {number}");
        let old = text.find(&head).expect("a revision in the plan");
        let rest = text[old..].find('\n').map_or(text.len(), |end| old + end);
        let mut rest = text[rest..].to_owned();
        if let Some(after) = rest.strip_prefix("\nreason = ") {
            rest = after[after.find('\n').unwrap_or(after.len())..].to_owned();
        }
        format!(
            "{}revision = {}\nreason = \"{why}\"{rest}",
            &text[..old],
            number + 1
        )
    }

    /// The plan as it shall be, kept as `next.toml`, and taken by the job.
    fn change(&mut self, text: String) -> Vec<String> {
        let plan = Plan::parse("winch.toml", &text)
            .unwrap_or_else(|errors| panic!("{}: {}", self.script, errors.report(false)));
        fs::write(self.folder.path().join("next.toml"), &text).expect("a plan");
        let changed = self.open().change_plan(plan);
        if changed.is_ok() {
            self.plan = text;
        }
        told(changed)
    }

    /// What a command prints, and its status where that is not 0.
    fn command(&mut self, row: &str) -> Vec<String> {
        let next = self.folder.path().join("next.toml");
        let (row, text) = match row.split_once(" with ") {
            Some((row, changes)) => {
                let text = self.revised(changes);
                fs::write(&next, &text).expect("a plan");
                (row, Some(text))
            }
            None => (row, None),
        };
        let at = |name: &str| self.folder.path().join(name).display().to_string();
        let line = row.split_whitespace().map(|word| match word {
            "winch.evj" | "next.toml" => at(word).into(),
            word => word.to_owned().into(),
        });
        let line: Vec<std::ffi::OsString> = line.collect();
        self.before = fs::read(self.journal()).expect("a journal").len();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let status = evendraw::command::run(line, &mut out, &mut err, false);
        let printed = [out, err].concat();
        let printed = String::from_utf8(printed).expect("text");
        let printed = printed.replace(&format!("{}/", self.folder.path().display()), "");
        let mut came: Vec<String> = printed
            .lines()
            .map(|line| line.trim_end().to_owned())
            .filter(|line| !line.is_empty() && !line.trim_start().starts_with("unmeasured "))
            .collect();
        if status != 0 {
            came.push(format!("status {status}"));
        }
        let now = self.open().plan().text().to_owned();
        if text.is_some_and(|text| text == now) {
            self.plan = now;
        }
        self.stood = stands(&self.status());
        came
    }

    /// What the printed sheet says of the change and of what is open: the lines of its text form, each of which stands on the page too,
    /// and the headline on the owner's page.
    fn sheet(&self) -> Vec<String> {
        let content = read(&self.journal()).expect("a journal");
        let plan = self.parsed();
        let kept = Kept::of(&plan, &content, None);
        let sheet = Sheet::of(&kept, "winch", Some(0));
        let (page, short) = (words_of(&page(&sheet)), words_of(&short_page(&sheet)));
        let headline = sheet.status.headline();
        assert!(
            short.contains(&headline) && page.contains(&headline),
            "{headline}: {short}"
        );
        let status = &sheet.status;
        let said = status.open.iter().chain(&status.exceptions);
        let mut came = vec![headline, format!("revision {}", status.revision)];
        let text = flat(&text(&sheet));
        let mut unmeasured = 0;
        for item in said {
            assert!(text.contains(&flat(&item.what)), "{}: {text}", item.what);
            assert!(page.contains(&flat(&item.what)), "{}: {page}", item.what);
            if item.mark == Mark::Unmeasured {
                unmeasured += 1;
                continue;
            }
            came.push(format!(
                "{} {}: {}",
                item.mark.word(),
                item.place,
                item.what
            ));
        }
        came.push(format!("and {unmeasured} told from paper"));
        came
    }
}

/// The same words without line ends and the blanks of columns.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What stands on a page, without its marks.
fn words_of(page: &str) -> String {
    let mut words = String::new();
    let mut is_mark = false;
    for letter in page.chars() {
        match letter {
            '<' => is_mark = true,
            '>' => {
                is_mark = false;
                words.push(' ');
            }
            _ if !is_mark => words.push(letter),
            _ => {}
        }
    }
    for (name, letter) in [
        ("&quot;", "\""),
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&amp;", "&"),
    ] {
        words = words.replace(name, letter);
    }
    flat(&words)
}

fn told(result: Result<(), JobError>) -> Vec<String> {
    result
        .err()
        .map(|error| format!("error: {error}"))
        .into_iter()
        .collect()
}

/// Each joint in one line: its state, each fastener with what it is at every stage, and what differs from what it was done to.
fn stands(status: &Status) -> Vec<String> {
    let joints = status.joints.iter().map(|joint| {
        let cells = joint.fasteners.iter().map(|own| {
            let marks = own.cells.iter().filter_map(|cell| cell.mark);
            let marks: Vec<&str> = marks.map(|mark| mark.word()).collect();
            format!("{} {}", own.label, marks.join(", "))
        });
        let cells: Vec<String> = cells.collect();
        let differs = joint.differs.iter().map(|own| format!("; {}", own.line()));
        format!(
            "{} {}: {}{}",
            joint.id,
            joint.mark.word(),
            cells.join("; "),
            differs.collect::<String>()
        )
    });
    joints.collect()
}
