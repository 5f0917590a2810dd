//! What the screens ask for, carried out: each a record, or a plain answer why not.
//!
//! Knows nothing of drawing.

use evendraw_core::record::{Decision, Doubt, Role};
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::unit::Instant;

use super::super::act::Act;
use super::super::view::{Ask, Wanted};
use super::live::Connection;
use super::{Hand, Model, Pull, Readings};
use crate::job::{Job, JobError};
use crate::store::Purpose;

/// As much of a text as a record holds, cut between characters.
pub(super) fn short(text: &str) -> &str {
    text.get(..text.floor_char_boundary(48))
        .unwrap_or(text)
        .trim()
}

/// What may be asked for before anybody said whether this is work or a rehearsal.
fn goes_before_the_answer(ask: &Ask) -> bool {
    match ask {
        Ask::Act(act, _) => matches!(act, Act::Begin(_) | Act::OpenPlan | Act::NewPlan),
        Ask::Choose(wanted) => *wanted == Wanted::Plan,
        Ask::WorkOrRehearse
        | Ask::Paper
        | Ask::Tonight
        | Ask::PrintTonight
        | Ask::PutAside
        | Ask::LookForPorts
        | Ask::LookForRecent
        | Ask::OpenPlan(_)
        | Ask::ReloadPlan
        | Ask::ReadShelf(_)
        | Ask::StopShelf
        | Ask::NewtonMeters(_)
        | Ask::Compare(_)
        | Ask::StopCompare
        | Ask::Pull(false)
        | Ask::HandAll(false) => true,
        _ => false,
    }
}

impl Model {
    /// On no metal. Only a person's answer makes it so, or makes it work.
    pub(super) fn is_rehearsing(&self) -> bool {
        self.purpose == Purpose::Rehearsal
    }

    pub(super) const fn is_reading_a_trace(&self) -> bool {
        matches!(self.readings, Readings::Trace(_))
    }

    /// The line to an adapter, where readings come from one.
    pub(super) const fn line(&self) -> Option<&Connection> {
        match &self.readings {
            Readings::Adapter(connection) => Some(connection),
            Readings::Bench | Readings::Trace(_) | Readings::Lines(_) | Readings::None => None,
        }
    }

    /// Does what a screen asked for.
    pub fn carry_out(&mut self, ask: Ask) {
        // Writing a plan changes nothing of the build in work: nothing of it is drawn anew.
        if let Ask::Plan(ask) = ask {
            return self.edit(ask);
        }
        self.dirty = true;
        if self.is_asking() && !goes_before_the_answer(&ask) {
            return self.say(true, "first: is this work, or a rehearsal? F2 asks");
        }
        match ask {
            Ask::OpenJoint(id) => self.open_joint(&id),
            Ask::Pull(on) => self.pull_by_key(on),
            Ask::Hand => self.let_the_hand(Hand::One),
            Ask::HandAll(on) => self.let_the_hand(if on { Hand::All } else { Hand::Off }),
            Ask::Told(first, second, moved) => self.told(first.trim(), second.trim(), moved),
            Ask::Act(act, text) => self.act(act, &text),
            Ask::FeltWrong(label) => self.felt_wrong(&label),
            Ask::Marked(label) => {
                if let Some(fastener) = self.named(&label) {
                    self.apply(Input::Mark { fastener });
                }
            }
            Ask::Select(label) => self.select(&label),
            Ask::TakeLastBack => self.take_last_back(),
            Ask::Withdraw(sequence, reason) => self.withdraw(sequence, &reason),
            Ask::WasOn(sequence, label) => self.was_on(sequence, &label),
            Ask::CheckAgain(label) => self.check_again(&label),
            // Nothing is pulled yet: that ends the check without a record.
            Ask::LeaveCheck => self.apply(Input::Finish),
            Ask::Witness(name) => self.witness(&name),
            Ask::Redo(label) => self.loosen(&label, "to be done again", true),
            Ask::Loosen(label) => self.loosen(&label, "loosened", false),
            Ask::Skip(label, why) => self.skip(&label, &why),
            Ask::PartArrived(part) => {
                if !self.begin_journal() {
                    return;
                }
                let result = self.job.as_mut().map(|job| job.part_arrived(&part));
                match result {
                    Some(Err(error)) => self.say(true, error.to_string()),
                    _ => self.say_recorded(
                        format!("Recorded: {part} has arrived"),
                        Some(super::put_right::Last::Part(part)),
                    ),
                }
                self.enter();
            }
            Ask::PartIs(part, state, said) => {
                let words = format!("Recorded: {part}: {}; L says otherwise", state.word());
                self.keep(words, |job, at| job.part_is(&part, state, &said, at));
                self.enter();
            }
            Ask::TaskDone(task, said) => {
                let words = format!(
                    "Recorded: {} is done; L takes it back",
                    self.task_title(&task)
                );
                self.keep(words, |job, at| job.task_done(&task, &said, at));
                self.enter();
            }
            Ask::TaskUndone(task, why) => {
                let words = format!("Recorded: {} is to be done again", self.task_title(&task));
                self.keep(words, |job, at| job.task_undone(&task, &why, at));
            }
            Ask::Remind(about, holds, text) => {
                let words = format!("kept: {text}");
                self.keep(words, |job, at| {
                    job.remind(&about, &text, &holds, at).map(drop)
                });
            }
            Ask::PutAway(number, became, said) => {
                let words = format!("reminder {number} is put away");
                self.keep(words, |job, at| job.put_away(number, became, &said, at));
            }
            // The desk's own.
            Ask::Choices(_) => {}
            Ask::Person(name) => self.person(&name),
            Ask::Tool(id) => self.tool(&id, ""),
            Ask::Fault(label, kind) => self.fault(&label, &kind),
            Ask::Trace(path) => self.read_trace(&path),
            Ask::WorkOrRehearse => self.ask_purpose(),
            Ask::LookForRecent => self.look_for_recent(),
            Ask::LookForPorts => self.ports.look(&self.wake),
            Ask::Connect(path) => self.connect(&path),
            Ask::Lines(tool, place) => self.read_lines(&tool, &place),
            Ask::Zero => self.zero_lines(),
            Ask::Disconnect => self.disconnect(),
            Ask::SendJoint => self.send_joint(),
            Ask::TakeBack => self.take_back(),
            Ask::Choose(wanted) => self.choose(wanted),
            Ask::OpenPlan(path) => self.open_plan(&path),
            Ask::ReloadPlan => self.reload_all(),
            // Taken above.
            Ask::Plan(_) => {}
            Ask::Paper => self.open_paper(),
            Ask::TypeBack(rows) => self.type_back(rows),
            Ask::Tonight => self.plan_evening(),
            Ask::PrintTonight => self.print_evening(),
            Ask::PutAside => {
                self.view.paper = None;
                self.view.tonight = None;
            }
            Ask::Export(kind) => self.export(kind),
            Ask::PrintTag => self.print_tag(),
            Ask::PrintOrder => self.print_order(),
            Ask::Compare(joint) => self.begin_compare(&joint),
            Ask::StopCompare => self.stop_compare(),
            Ask::ReadShelf(folder) => self.read_shelf(&folder),
            Ask::StopShelf => self.stop_shelf(),
            Ask::OpenBuild(path) => self.open_build(&path),
            Ask::Curve(sequence) => self.load_curve(sequence),
            Ask::NewtonMeters(on) => self.newton_meters = on,
            Ask::RehearseAnew => self.rehearse_anew(),
        }
    }

    /// Keeps what is said beside torque, and says that it is kept, or why not.
    fn keep(
        &mut self,
        words: String,
        said: impl FnOnce(&mut Job, Instant) -> Result<(), JobError>,
    ) {
        if !self.begin_journal() {
            return;
        }
        let at = self.at();
        match self.job.as_mut().map(|job| said(job, at)) {
            Some(Ok(())) => self.say(false, words),
            Some(Err(error)) => self.say(true, error.to_string()),
            None => self.say(true, "no build is open"),
        }
    }

    fn task_title(&self, task: &str) -> String {
        let mut tasks = self.view.status.tasks.iter();
        let own = tasks.find(|own| own.id == task);
        own.map_or_else(|| task.to_owned(), |own| own.title.clone())
    }

    fn open_joint(&mut self, id: &str) {
        self.bench.hand = Hand::Off;
        self.pull = Pull::default();
        self.open = self
            .job
            .as_ref()
            .and_then(|job| job.plan().joint(id))
            .map(crate::plan::Joint::number);
        self.enter();
    }

    /// Begins the open joint's session where nothing holds it; in a rehearsal nobody need say who works, and with what.
    pub(super) fn enter(&mut self) {
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
        if self.is_at_adapter() || self.asks_about_adapter() {
            // Begun there, or about to be: nothing is recorded here.
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

    pub(super) fn fastener(&self, label: &str) -> Option<u8> {
        self.job.as_ref()?.joint(self.open?)?.fastener(label)
    }

    /// The fastener with this label; it is said where there is none.
    fn named(&mut self, label: &str) -> Option<u8> {
        let found = self.fastener(label);
        if found.is_none() {
            self.say(true, format!("there is no fastener {label} here"));
        }
        found
    }

    fn felt_wrong(&mut self, label: &str) {
        let fastener = if label.is_empty() {
            self.last_worked()
        } else {
            self.fastener(label)
        };
        match fastener {
            Some(_) => self.apply(Input::Note {
                fastener,
                doubt: Doubt::Raised,
                text: "felt wrong",
            }),
            None => self.say(true, "nothing was pulled here yet"),
        }
    }

    /// The tool goes on the fastener that was chosen; heading, live reading and the next pull follow.
    fn select(&mut self, label: &str) {
        let Some(session) = self.session() else {
            return;
        };
        let (ledger, procedure) = (session.ledger(), session.procedure());
        let open = |own: Option<u8>| {
            let mut steps = procedure.numbered_steps();
            steps.find_map(|(index, step)| {
                let fastener = step.fastener()?;
                let is_own = own.is_none_or(|own| own == fastener);
                (is_own && !ledger.step(index).is_settled()).then_some(fastener)
            })
        };
        let chosen = match label {
            "" => open(None),
            label => self.fastener(label).and_then(|own| open(Some(own))),
        };
        // One that is done is chosen to be looked at, marked or checked: nothing is pulled there.
        let Some(fastener) = chosen.filter(|_| !session.is_in_pull()) else {
            return;
        };
        self.bench.hand = Hand::Off;
        self.pull = Pull::default();
        self.apply(Input::Select { fastener });
    }

    /// The tool goes back on a fastener that is done: the next pull checks it.
    fn check_again(&mut self, label: &str) {
        let Some(fastener) = self.named(label) else {
            return;
        };
        self.bench.hand = Hand::Off;
        self.pull = Pull::default();
        self.apply(Input::Recheck { fastener });
        self.take_tool_in_rehearsal();
    }

    fn witness(&mut self, name: &str) {
        let name = short(name);
        if self.open.is_none() {
            return self.say(true, "open the joint that was looked at first");
        }
        let works = self.job.as_ref().and_then(Job::person);
        if works.is_some_and(|works| works.trim().eq_ignore_ascii_case(name)) {
            let words = format!("{name} works here; a second person is somebody else");
            return self.say(true, words);
        }
        self.apply(Input::Person {
            name,
            role: Role::Witness,
        });
    }

    /// The fastener of the last attempt kept for the open joint.
    pub(super) fn last_worked(&self) -> Option<u8> {
        self.job
            .as_ref()?
            .attempts(self.open?)
            .next_back()
            .map(|(_, attempt)| attempt.fastener)
    }

    fn loosen(&mut self, label: &str, cause: &str, next: bool) {
        let Some(fastener) = self.named(label) else {
            return;
        };
        self.loosened(fastener, cause);
        if next {
            self.apply(Input::Select { fastener });
        }
    }

    pub(super) fn loosened(&mut self, fastener: u8, cause: &str) {
        if self.is_rehearsing() {
            self.set_up();
            if let Some((_, station)) = &mut self.bench.station {
                station.loosen(fastener);
            }
        }
        self.apply(Input::Loosened {
            fastener,
            elsewhere: false,
            cause,
        });
    }

    pub(super) fn fit(&mut self, fastener: u8) {
        self.replace_on_bench(fastener);
        self.apply(Input::Fitted { fastener });
    }

    pub(super) fn skip(&mut self, label: &str, why: &str) {
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
            session
                .procedure()
                .numbered_steps()
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

    pub(super) fn person(&mut self, name: &str) {
        let (name, role) = (short(name), Role::Operator);
        if self.open.is_none()
            && let Some(job) = &mut self.job
            && job.progress().next().is_none()
        {
            // No joint can hear of it; a task is done by a name all the same.
            return job.remember_person(name);
        }
        self.say_anywhere(Input::Person { name, role });
    }

    pub(super) fn tool(&mut self, id: &str, waiver: &str) {
        let known = self
            .job
            .as_ref()
            .is_some_and(|job| job.plan().tools().is_empty() || job.plan().tool(id).is_some());
        if !known {
            return self.say(true, format!("the plan has no tool {id}"));
        }
        let waiver = short(waiver);
        self.say_anywhere(Input::Tool { id, waiver });
    }

    /// What holds for whatever is worked next: said of the open joint, or else of the one to go on with.
    fn say_anywhere(&mut self, input: Input<'_>) {
        match (self.open, &self.job) {
            (Some(_), _) => self.apply(input),
            (None, _) if self.line().is_some() => self.say(
                true,
                "open the joint first: its records may be the adapter's",
            ),
            (None, Some(job)) => match job.progress().next() {
                Some(joint) => self.apply_at(joint, input),
                None => self.say(true, "no joint can be worked on now"),
            },
            (None, None) => {}
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
