//! What the screens ask for, carried out: each a record, or a plain answer why not.
//!
//! Knows nothing of drawing.

use std::path::{Path, PathBuf};

use evendraw_core::procedure::{EngineState, StageKind};
use evendraw_core::quantity::{LengthUnit, Quantity};
use evendraw_core::record::{Decision, Doubt, Role};
use evendraw_core::session::{Input, Next, Session};

use super::super::view::{Ask, Export, Way};
use super::{Hand, Play, Pull, Source, files, record_view};
use crate::bench::Fault;
use crate::plan::Plan;
use crate::sheet::{self, export};
use crate::store::{Fact, Purpose};

/// As much of a text as a record holds, cut between characters.
fn short(text: &str) -> &str {
    text.get(..text.floor_char_boundary(48))
        .unwrap_or(text)
        .trim()
}

impl Source {
    pub(super) fn is_rehearsing(&self) -> bool {
        self.purpose == Purpose::Rehearsal
    }

    /// Does what a screen asked for.
    pub fn carry_out(&mut self, ask: Ask) {
        self.dirty = true;
        match ask {
            Ask::OpenJoint(id) => self.open_joint(&id),
            Ask::Pull(on) => self.pull_by_key(on),
            Ask::Hand => self.let_the_hand(Hand::One),
            Ask::HandAll(on) => self.let_the_hand(if on { Hand::All } else { Hand::Off }),
            Ask::Answer(yes) => self.answer(yes),
            Ask::AnswerNumber(text) => self.answer_typed(&text),
            Ask::AnswerChoice(index) => self.answer_choice(index),
            Ask::Take(way) => self.take_way(way, ""),
            Ask::TakeBecause(way, why) => self.take_way(way, &why),
            Ask::FeltWrong(text) => {
                let Some(fastener) = self.last_worked() else {
                    return self.say(true, "nothing was pulled here yet");
                };
                let text = if text.is_empty() {
                    "felt wrong".to_owned()
                } else {
                    text
                };
                self.apply(Input::Note {
                    fastener: Some(fastener),
                    doubt: Doubt::Raised,
                    text: short(&text),
                });
            }
            Ask::Redo(label) => self.loosen(&label, "to be done again", true),
            Ask::Loosen(label) => self.loosen(&label, "loosened", false),
            Ask::Skip(label, why) => self.skip(&label, &why),
            Ask::PartArrived(part) => {
                let result = self.job.as_mut().map(|job| job.part_arrived(&part));
                match result {
                    Some(Err(error)) => self.say(true, error.to_string()),
                    _ => self.say(false, format!("{part} has arrived")),
                }
                self.enter();
            }
            Ask::Person(name) => self.person(&name),
            Ask::Tool(id) => self.tool(&id, ""),
            Ask::Fault(label, kind) => self.fault(&label, &kind),
            Ask::Trace(path) => self.read_trace(&path),
            Ask::Bench => self.change_purpose(Purpose::Rehearsal),
            Ask::OpenPlan(path) => self.open_plan(&path),
            Ask::ReloadPlan => self.reload(),
            Ask::SavePlan(path, text) => self.save_plan(&path, &text),
            Ask::CheckPlan(text) => {
                if let Err(errors) = Plan::parse("new plan", &text) {
                    let words = errors
                        .faults()
                        .first()
                        .map_or_else(String::new, ToString::to_string);
                    self.say(true, words);
                }
            }
            Ask::Export(kind) => self.export(kind),
            Ask::PrintTag => self.print_tag(),
            Ask::Compare(joint) => self.begin_compare(&joint),
            Ask::StopCompare => self.stop_compare(),
            Ask::Curve(sequence) => self.load_curve(sequence),
            Ask::RehearseAnew => self.rehearse_anew(),
        }
    }

    fn open_joint(&mut self, id: &str) {
        self.hand = Hand::Off;
        self.pull = Pull::default();
        self.open = self
            .job
            .as_ref()
            .and_then(|job| job.plan().joint(id))
            .map(crate::plan::Joint::number);
        self.enter();
    }

    /// Begins the open joint's session where nothing holds it; in a rehearsal nobody need say who works, and with what.
    fn enter(&mut self) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        if job.held(joint).iter().any(|held| {
            matches!(
                held,
                crate::job::Held::Plan(_) | crate::job::Held::Unanswered(_)
            )
        }) {
            return;
        }
        self.apply(Input::Tick);
        if !self.is_rehearsing() {
            return;
        }
        for _ in 0..3 {
            match self.next() {
                Some(Next::Person) => self.apply(Input::Person {
                    name: "rehearsal",
                    role: Role::Operator,
                }),
                _ => break,
            }
        }
        self.take_tool_in_rehearsal();
    }

    /// In a rehearsal the tool that suits is at hand.
    fn take_tool_in_rehearsal(&mut self) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        if !self.is_rehearsing() {
            return;
        }
        let suits = job.tools_for_next(joint);
        if job.tool().is_some_and(|tool| suits.contains(&tool))
            && !matches!(self.next(), Some(Next::Tool))
        {
            return;
        }
        let needed = matches!(self.next(), Some(Next::Tool))
            || job.held(joint).iter().any(|held| {
                !matches!(
                    held,
                    crate::job::Held::Plan(_) | crate::job::Held::Unanswered(_)
                )
            });
        let Some(id) = suits.first().map(|id| (*id).to_owned()).filter(|_| needed) else {
            return;
        };
        self.apply(Input::Tool {
            id: &id,
            waiver: "",
        });
    }

    fn pull_by_key(&mut self, on: bool) {
        self.pulling = on;
        if !self.is_rehearsing() || self.play.is_some() {
            return;
        }
        if on {
            self.take_tool_in_rehearsal();
            let busy = self.rig.as_ref().is_some_and(|(_, rig)| rig.is_busy());
            if !busy && matches!(self.next(), Some(Next::Pull { .. })) {
                self.hand = Hand::Off;
                self.begin_pull();
            }
        } else if let Some((_, rig)) = &mut self.rig {
            rig.let_go();
        }
    }

    fn let_the_hand(&mut self, hand: Hand) {
        if !self.is_rehearsing() {
            return self.say(true, "the simulated hand works in a rehearsal only (V)");
        }
        self.take_tool_in_rehearsal();
        self.hand = hand;
    }

    /// A step done by hand: the bench does it too, and it is confirmed.
    pub(super) fn do_by_hand(&mut self, step: u16) {
        let at = self.session().and_then(|session| {
            let turns = match session.procedure().stage_of(step).map(|stage| stage.kind) {
                Some(StageKind::Seat { turns }) => {
                    Some(crate::rehearsal::rig::degrees(turns) / 360.0)
                }
                _ => None,
            };
            Some((
                session
                    .procedure()
                    .steps()
                    .get(usize::from(step))?
                    .fastener()?,
                turns,
            ))
        });
        if self.is_rehearsing()
            && let Some((fastener, turns)) = at
        {
            self.set_up();
            if let Some((_, rig)) = &mut self.rig {
                rig.spin_in(fastener, turns);
            }
        }
        self.apply(Input::Confirm { step });
    }

    fn answer(&mut self, yes: bool) {
        match self.next() {
            Some(Next::Condition) => {
                let wanted = self
                    .open
                    .zip(self.job.as_ref())
                    .and_then(|(joint, job)| job.joint_plan(joint)?.condition.clone())
                    .unwrap_or_else(|| "as assumed".to_owned());
                let found = if yes { wanted } else { format!("not {wanted}") };
                self.apply(Input::Condition {
                    found: short(&found),
                    matches: yes,
                });
            }
            Some(Next::Hand { step }) if yes => self.do_by_hand(step),
            Some(Next::Hand { .. }) => self.say(
                true,
                "stop: take it out, look at thread, hole and part; W marks it, K leaves it out",
            ),
            Some(Next::Fit { step }) if yes => {
                let fastener = self.session().and_then(|session| {
                    session
                        .procedure()
                        .steps()
                        .get(usize::from(step))?
                        .fastener()
                });
                if let Some(fastener) = fastener {
                    self.replace_on_bench(fastener);
                    self.apply(Input::Fitted { fastener });
                }
            }
            Some(Next::Answer { step }) => self.apply(Input::Answer {
                step,
                yes,
                note: "",
            }),
            Some(Next::Moment { moment, .. }) if yes => self.apply(Input::Moment { moment }),
            Some(Next::Wait { until, .. }) if yes && self.is_rehearsing() => {
                let left = until.micros().saturating_sub(self.micros);
                let seconds = std::time::Duration::from_micros(left).as_secs_f64();
                self.pass(seconds + 0.001);
            }
            Some(Next::TakeApart) if yes => {
                self.loosen_all_on_bench();
                self.apply(Input::TakenApart { note: "" });
            }
            Some(Next::AwaitDue { stage }) if yes => {
                let wanted = self.session().and_then(|session| {
                    match session.procedure().stages().get(usize::from(stage))?.kind {
                        StageKind::Later { state, .. } => Some(state),
                        _ => None,
                    }
                });
                let state = match wanted {
                    Some(EngineState::Hot) => EngineState::Hot,
                    _ => EngineState::Cold,
                };
                self.apply(Input::Due { stage, state });
            }
            Some(Next::AwaitDue { .. }) => self.open = None,
            _ => {}
        }
        self.take_tool_in_rehearsal();
    }

    fn answer_typed(&mut self, text: &str) {
        match self.next() {
            Some(Next::Person) => self.person(text),
            Some(Next::Tool) => self.tool(text, ""),
            Some(Next::Measure { step }) => match Quantity::<LengthUnit>::parse(text.trim()) {
                Ok(length) => self.apply(Input::Measure {
                    step,
                    length: length.length(),
                }),
                Err(error) => self.say(true, error.to_string()),
            },
            _ => {}
        }
    }

    fn answer_choice(&mut self, index: usize) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        let unanswered = job
            .joint(joint)
            .zip(job.answers(joint))
            .and_then(|(own, answers)| own.plan(answers).err());
        if let Some(error) = unanswered {
            let Some(answer) = error.allowed.get(index).cloned() else {
                return;
            };
            let result = self
                .job
                .as_mut()
                .map(|job| job.choose(joint, &error.key, &answer));
            if let Some(Err(error)) = result {
                self.say(true, error.to_string());
            }
            self.enter();
        } else if matches!(self.next(), Some(Next::Tool)) {
            let id = job
                .tools_for_next(joint)
                .get(index)
                .map(|id| (*id).to_owned());
            if let Some(id) = id {
                self.tool(&id, "");
            }
        }
    }

    fn take_way(&mut self, way: Way, why: &str) {
        let next = self.next();
        let fastener = match next {
            Some(
                Next::Loosen { fastener } | Next::Replace { fastener } | Next::Settle { fastener },
            ) => Some(fastener),
            Some(Next::Decide { step }) => self.session().and_then(|session| {
                session
                    .procedure()
                    .steps()
                    .get(usize::from(step))?
                    .fastener()
            }),
            _ => None,
        };
        match (way, next) {
            (Way::GoOn, Some(Next::Settle { fastener })) => {
                self.apply(Input::Note {
                    fastener: Some(fastener),
                    doubt: Doubt::Settled,
                    text: "looked at, good",
                });
            }
            (Way::GoOn, _) => self.apply(Input::Tick),
            (Way::Redo, Some(Next::Decide { step })) => self.apply(Input::Decide {
                step,
                decision: Decision::Again,
                note: short(why),
            }),
            (Way::Loosen, Some(Next::Decide { step })) => {
                let from = self.first_stage_of(step);
                self.apply(Input::Decide {
                    step,
                    decision: Decision::Restart(from),
                    note: short(why),
                });
                if let (Some(fastener), Some(Next::Loosen { .. })) = (fastener, self.next()) {
                    self.loosened(fastener, "after a decision");
                }
            }
            (Way::NewFitted, Some(Next::Decide { step })) => {
                self.apply(Input::Decide {
                    step,
                    decision: Decision::Replace,
                    note: short(why),
                });
                if let Some(fastener) = fastener {
                    self.fit(fastener);
                }
            }
            (Way::Observed, Some(Next::Decide { step })) => self.apply(Input::Decide {
                step,
                decision: Decision::Observed,
                note: short(why),
            }),
            (Way::Loosen, Some(_)) => {
                if let Some(fastener) = fastener {
                    self.loosened(fastener, "as the plan wants");
                }
            }
            (Way::NewFitted, Some(_)) => {
                if let Some(fastener) = fastener {
                    self.fit(fastener);
                }
            }
            (Way::Waive, _) => {
                let tool = self
                    .job
                    .as_ref()
                    .and_then(|job| job.tool().map(str::to_owned));
                if let Some(id) = tool {
                    self.tool(&id, why);
                }
            }
            _ => {}
        }
        self.take_tool_in_rehearsal();
    }

    /// The first stage that pulls the fastener of this step.
    fn first_stage_of(&self, step: u16) -> u8 {
        let Some(session) = self.session() else {
            return 0;
        };
        let procedure = session.procedure();
        let at = procedure.steps().get(usize::from(step));
        let fastener = at.and_then(|at| at.fastener());
        procedure
            .steps()
            .iter()
            .filter(|own| own.fastener() == fastener)
            .find(|own| {
                procedure
                    .stages()
                    .get(usize::from(own.stage()))
                    .is_some_and(|stage| stage.kind.tightens())
            })
            .map_or(0, |own| own.stage())
    }

    fn fastener(&self, label: &str) -> Option<u8> {
        self.job.as_ref()?.joint(self.open?)?.fastener(label)
    }

    /// The fastener of the last attempt kept for the open joint.
    fn last_worked(&self) -> Option<u8> {
        self.job
            .as_ref()?
            .attempts(self.open?)
            .next_back()
            .map(|(_, attempt)| attempt.fastener)
    }

    fn loosen(&mut self, label: &str, cause: &str, next: bool) {
        let Some(fastener) = self.fastener(label) else {
            return self.say(true, format!("there is no fastener {label} here"));
        };
        self.loosened(fastener, cause);
        if next {
            self.apply(Input::Select { fastener });
        }
    }

    fn loosened(&mut self, fastener: u8, cause: &str) {
        if self.is_rehearsing() {
            self.set_up();
            if let Some((_, rig)) = &mut self.rig {
                rig.loosen(fastener);
            }
        }
        self.apply(Input::Loosened {
            fastener,
            elsewhere: false,
            cause,
        });
    }

    fn fit(&mut self, fastener: u8) {
        self.replace_on_bench(fastener);
        self.apply(Input::Fitted { fastener });
    }

    fn replace_on_bench(&mut self, fastener: u8) {
        let joint = self.open.unwrap_or(0);
        self.faults
            .retain(|(on, own, fault)| *on != joint || *own != fastener || fault.in_the_parts());
        if self.is_rehearsing() {
            self.set_up();
            if let Some((_, rig)) = &mut self.rig {
                rig.replace(fastener);
            }
        }
    }

    fn loosen_all_on_bench(&mut self) {
        let count = self
            .session()
            .map_or(0, |session| session.procedure().fasteners().len());
        if let Some((_, rig)) = &mut self.rig {
            for fastener in (0u8..).take(count) {
                rig.loosen(fastener);
            }
        }
    }

    fn skip(&mut self, label: &str, why: &str) {
        if let Some(Next::Decide { step }) = self.next() {
            return self.apply(Input::Decide {
                step,
                decision: Decision::Waive,
                note: short(why),
            });
        }
        let fastener = self.fastener(label);
        let step = self.session().and_then(|session| {
            let open = |(index, own): &(u16, &evendraw_core::procedure::Step)| {
                own.fastener() == fastener && !session.ledger().step(*index).is_settled()
            };
            (0u16..)
                .zip(session.procedure().steps())
                .find(open)
                .map(|(index, _)| index)
        });
        match step {
            Some(step) => self.apply(Input::Skip {
                step,
                reason: short(why),
            }),
            None => self.say(true, format!("nothing is open on fastener {label}")),
        }
    }

    fn person(&mut self, name: &str) {
        if self.open.is_none() {
            self.open = self.job.as_ref().and_then(|job| job.progress().next());
            self.person_now(name);
            self.open = None;
        } else {
            self.person_now(name);
        }
    }

    fn person_now(&mut self, name: &str) {
        if self.open.is_none() {
            return self.say(true, "no joint can be worked on now");
        }
        self.apply(Input::Person {
            name: short(name),
            role: Role::Operator,
        });
    }

    fn tool(&mut self, id: &str, waiver: &str) {
        let known = self
            .job
            .as_ref()
            .is_some_and(|job| job.plan().tools().is_empty() || job.plan().tool(id).is_some());
        if !known {
            return self.say(true, format!("the plan has no tool {id}"));
        }
        if self.open.is_none() {
            self.open = self.job.as_ref().and_then(|job| job.progress().next());
            self.apply(Input::Tool {
                id,
                waiver: short(waiver),
            });
            self.open = None;
        } else {
            self.apply(Input::Tool {
                id,
                waiver: short(waiver),
            });
        }
    }

    fn fault(&mut self, label: &str, kind: &str) {
        let (Some(fastener), Some(joint)) = (self.fastener(label), self.open) else {
            return;
        };
        match kind.parse::<Fault>() {
            Ok(fault) => {
                self.faults.push((joint, fastener, fault));
                // The bench is set up anew, with the fault in it and the rest as the records say.
                self.rig = None;
                self.set_up();
                self.say(false, format!("rehearsing {fault} on fastener {label}"));
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    fn read_trace(&mut self, path: &Path) {
        let file = match std::fs::File::open(path) {
            Ok(file) => file,
            Err(error) => {
                return self.say(true, format!("{} cannot be read: {error}", path.display()));
            }
        };
        match crate::rehearsal::trace_file::read(std::io::BufReader::new(file)) {
            Ok(samples) => {
                if self.open.is_none() {
                    return self.say(true, "open the joint that the trace belongs to first");
                }
                self.hand = Hand::Off;
                self.change_purpose(Purpose::Job);
                let name = path.file_name().map_or_else(
                    || path.display().to_string(),
                    |name| name.to_string_lossy().into_owned(),
                );
                self.play = Some(Play {
                    name,
                    samples,
                    at: 0,
                    began: self.at(),
                });
            }
            Err(error) => self.say(true, format!("{}: {error}", path.display())),
        }
    }

    /// From the bench to metal, or back: another journal, the same joint in front.
    fn change_purpose(&mut self, purpose: Purpose) {
        if self.purpose == purpose {
            return;
        }
        let open = self.open;
        self.play = None;
        self.purpose = purpose;
        self.open_job();
        self.open = open;
        self.enter();
    }

    fn rehearse_anew(&mut self) {
        if !self.is_rehearsing() {
            return;
        }
        let Ok(plan) = Plan::parse(&self.name, &self.text) else {
            return;
        };
        let path = files::new_journal(&self.folder, &self.name, Purpose::Rehearsal);
        match crate::job::Job::create(&path, plan, Purpose::Rehearsal) {
            Ok(job) => {
                self.seed = self.seed.wrapping_add(1);
                self.job = Some(job);
                self.rig = None;
                self.open = None;
                self.hand = Hand::Off;
                self.clamps.clear();
                self.faults.clear();
                self.pull = Pull::default();
                self.say(false, "a new rehearsal is begun; the last one is kept");
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    fn open_plan(&mut self, path: &Path) {
        match Self::open(Some(path)) {
            Ok(mut other) => {
                other.seen_s = self.seen_s;
                other.micros = self.micros;
                other.pace = self.pace;
                other.browser = self.browser;
                *self = other;
                self.dirty = true;
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    pub(super) fn reload(&mut self) {
        let Some(path) = self.path.clone() else {
            return;
        };
        match std::fs::read_to_string(&path) {
            Ok(text) => {
                self.stamp = files::stamp(&path);
                self.text = text;
                let open = self.open;
                // The journal is let go of before it is taken up again.
                self.open_job();
                self.open = open.filter(|_| self.job.is_some());
                self.say(
                    !self.findings.is_empty(),
                    if self.job.is_some() {
                        "the plan was read again"
                    } else {
                        "the plan cannot be used: F6 shows where"
                    },
                );
            }
            Err(error) => self.say(true, format!("{} cannot be read: {error}", path.display())),
        }
    }

    fn save_plan(&mut self, path: &Path, text: &str) {
        if path.as_os_str().is_empty() {
            return self.say(true, "the plan needs a file name");
        }
        let result = std::fs::OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(path)
            .and_then(|mut file| std::io::Write::write_all(&mut file, text.as_bytes()));
        match result {
            Ok(()) => self.open_plan(path),
            Err(error) => self.say(
                true,
                format!(
                    "{} cannot be written: {error}; a file that exists is never written over",
                    path.display()
                ),
            ),
        }
    }

    /// A file beside the journal with another ending.
    fn beside(&self, ending: &str) -> PathBuf {
        files::journal(&self.folder, &self.name, self.purpose).with_extension(ending)
    }

    fn export(&mut self, kind: Export) {
        let Some(job) = &self.job else { return };
        let names = record_view::names(job);
        let entries = job.facts().iter().filter_map(|fact| match fact {
            Fact::Entry(entry) => Some(entry),
            Fact::Host(_) => None,
        });
        let (path, text) = match kind {
            Export::Csv => {
                let rows: Vec<String> = entries
                    .map(|entry| export::csv_row(&names, entry))
                    .collect();
                (
                    self.beside("csv"),
                    format!("{}\n{}\n", export::CSV_HEADER, rows.join("\n")),
                )
            }
            Export::Json => {
                let rows: Vec<String> = entries
                    .map(|entry| export::object(&names, entry).to_string())
                    .collect();
                (self.beside("jsonl"), format!("{}\n", rows.join("\n")))
            }
            Export::Sheet => {
                let Some(path) = job.journal_path() else {
                    return self.say(
                        true,
                        "this job is kept in no journal: there is nothing to print a sheet from",
                    );
                };
                let kept = std::fs::read(path).map_err(|error| error.to_string());
                let content = crate::store::read(path).map_err(|error| error.to_string());
                match (kept, content) {
                    (Ok(bytes), Ok(content)) => {
                        let name = path
                            .file_name()
                            .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
                        let kept = sheet::Kept {
                            journal: &name,
                            content: &content,
                            digest: Some(evendraw_core::check_sum::crc32(0, &bytes)),
                            plan: job.plan(),
                            traces: job.traces(),
                        };
                        (self.beside("html"), sheet::page(&sheet::gather(&kept)))
                    }
                    (Err(error), _) | (_, Err(error)) => return self.say(true, error),
                }
            }
        };
        self.write_out(&path, &text, kind == Export::Sheet);
    }

    fn print_tag(&mut self) {
        let text = super::super::handover::tag_page(&self.view);
        let path = self.beside("tag.html");
        self.write_out(&path, &text, true);
    }

    fn write_out(&mut self, path: &Path, text: &str, show: bool) {
        match std::fs::write(path, text) {
            Ok(()) if show => {
                if self.browser && files::open_in_browser(path) {
                    self.say(false, format!("opened {}", path.display()));
                } else {
                    self.say(
                        false,
                        format!("written to {}: open it in a browser", path.display()),
                    );
                }
            }
            Ok(()) => self.say(false, format!("written to {}", path.display())),
            Err(error) => self.say(
                true,
                format!("{} cannot be written: {error}", path.display()),
            ),
        }
    }

    /// Whether a session runs for the open joint; for tests.
    #[must_use]
    pub fn is_joint_final(&self) -> bool {
        self.session().is_some_and(|session| {
            matches!(
                Session::standing(session),
                evendraw_core::ledger::Standing::Final
            )
        })
    }
}
