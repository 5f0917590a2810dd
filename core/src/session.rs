//! One joint being worked: what comes in, what the host must do, what is recorded.
//!
//! *decide* turns an input into records, once, live; *fold* ([`crate::ledger`]) turns records into state, live and after a
//! restart alike. Knows nothing of storage or clocks: a record is handed out with the [`Outcome`] and comes back as
//! [`Input::Durable`]; time comes in with every input.

mod advance;
mod answer;
mod input;
mod outcome;
mod pull;
mod put_right;
mod revise;
mod told;

pub use input::{Input, Readout, Refusal};
pub use outcome::{Announcement, Next, Outcome};

use core::borrow::Borrow;
use core::ops::Deref;

use crate::ledger::{Ledger, Standing, fold};
use crate::procedure::Procedure;
use crate::record::{Entry, Record, Revised, Started};
use crate::text::Text;
use crate::trace::Trace;
use crate::tracker::{Live, Tracker};
use crate::unit::Instant;
use crate::verdict::Aim;

/// Why records cannot be taken up again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum RestoreError {
    /// The records belong to another procedure.
    OtherProcedure {
        /// Digest in the record.
        recorded: u32,
        /// Digest of the procedure given.
        given: u32,
    },
    /// A record is missing or twice.
    Sequence {
        /// The number expected.
        expected: u32,
        /// The number found.
        found: u32,
    },
    /// The records begin with something else than a start.
    NoStart,
    /// The joint goes on under another procedure from somewhere on, and this many records of that are not there: it is to be written anew
    /// to its end.
    Unfinished {
        /// Records missing.
        missing: u8,
    },
}

impl core::fmt::Display for RestoreError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match *self {
            Self::OtherProcedure { recorded, given } => {
                write!(
                    f,
                    "records belong to procedure {recorded:08x}, given is {given:08x}"
                )
            }
            Self::Sequence { expected, found } => {
                write!(f, "record {found} stands where {expected} should")
            }
            Self::NoStart => f.write_str("records do not begin with a start"),
            Self::Unfinished { missing } => write!(
                f,
                "{missing} records are missing of the change to another procedure"
            ),
        }
    }
}

impl core::error::Error for RestoreError {}

/// Verdicts that wait for their record to be safe, oldest first.
#[derive(Clone, Copy, Debug, Default)]
struct Pending([Option<Announcement>; 4]);

impl Pending {
    const fn is_empty(&self) -> bool {
        self.0[0].is_none()
    }

    const fn is_full(&self) -> bool {
        matches!(self.0, [_, _, _, Some(_)])
    }

    /// Adds one at the end; none is added while it is full.
    fn push(&mut self, announcement: Announcement) {
        if let Some(place) = self.0.iter_mut().find(|place| place.is_none()) {
            *place = Some(announcement);
        }
    }

    /// Takes the oldest, if its record is among the first `durable`.
    fn take_safe(&mut self, durable: u32) -> Option<Announcement> {
        let [first, second, third, fourth] = self.0;
        let safe = first.filter(|waiting| waiting.seq <= durable)?;
        self.0 = [second, third, fourth, None];
        Some(safe)
    }
}

/// One joint being worked.
///
/// `P` is a reference, `Box`, `Arc` … to the procedure: the session shares it, and the host keeps it where it likes.
#[derive(Debug)]
pub struct Session<P> {
    procedure: P,
    ledger: Ledger,
    tracker: Tracker,
    joint: u8,
    running: bool,
    now: Instant,
    durable: u32,
    store_failed: bool,
    selected: Option<Selected>,
    armed: Option<Armed>,
    next: Next,
    pending: Pending,
    digest: u32,
    /// Whether any stage is of a mock-up: asked whenever anything happened.
    has_mock_up: bool,
    /// A reading at rest was refused since anything happened: the next ones need not be.
    refused_at_rest: bool,
}

/// A fastener taken out of its turn, and the stage it was taken for: at any other stage the order of work goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Selected {
    fastener: u8,
    stage: u8,
}

/// What the tracker is set to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Armed {
    step: u16,
    purpose: Purpose,
}

/// What a pull would count for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Purpose {
    /// An attempt at the step.
    Attempt,
    /// A check of what is final.
    Recheck,
    /// Nothing: the fastener is run down by hand, and its running torque is looked at on the way.
    LookOn,
}

impl<P: Deref<Target = Procedure>> Session<P> {
    /// Of a joint that nobody has touched; `joint` is its number in the build.
    #[must_use]
    pub fn new(procedure: P, joint: u8) -> Self {
        Self {
            digest: procedure.digest(),
            has_mock_up: procedure.stages().iter().any(|stage| stage.mock_up),
            procedure,
            ledger: Ledger::new(),
            tracker: Tracker::new(),
            joint,
            running: false,
            now: Instant::BOOT,
            durable: 0,
            store_failed: false,
            selected: None,
            armed: None,
            next: Next::Start,
            pending: Pending::default(),
            refused_at_rest: false,
        }
    }

    /// Takes up the records of this joint again, all of them, in order. The pull that was in progress is not rebuilt; the
    /// next [`Input::Start`] records it as interrupted.
    ///
    /// # Errors
    /// [`RestoreError`] when the records are not this procedure's, or not all there.
    pub fn restore<E: Borrow<Entry>>(
        procedure: P,
        joint: u8,
        entries: impl IntoIterator<Item = E>,
    ) -> Result<Self, RestoreError> {
        let mut session = Self::new(procedure, joint);
        session.take_up(entries)?;
        Ok(session)
    }

    /// As [`Session::restore`], on a session that is [`Session::new`] and has its place in memory already. After an error the
    /// session is of no use.
    ///
    /// # Errors
    /// As [`Session::restore`].
    pub fn take_up<E: Borrow<Entry>>(
        &mut self,
        entries: impl IntoIterator<Item = E>,
    ) -> Result<(), RestoreError> {
        // What was done under a procedure before counts as the revision says that follows it.
        let mut other = None;
        let given = self.digest;
        for entry in entries {
            let entry = entry.borrow();
            if entry.joint != self.joint {
                continue;
            }
            let expected = self.ledger.seq().saturating_add(1);
            if entry.seq != expected {
                return Err(RestoreError::Sequence {
                    expected,
                    found: entry.seq,
                });
            }
            match &entry.record {
                Record::Revised(_) if expected == 1 => return Err(RestoreError::NoStart),
                Record::Started(Started { procedure, .. })
                | Record::Revised(Revised::Joint { procedure, .. }) => {
                    other = Some(*procedure).filter(|recorded| *recorded != given);
                }
                _ if expected == 1 => return Err(RestoreError::NoStart),
                _ => {}
            }
            fold(&mut self.ledger, &self.procedure, entry);
        }
        if let Some(recorded) = other {
            return Err(RestoreError::OtherProcedure { recorded, given });
        }
        if let missing @ 1.. = self.ledger.carrying() {
            return Err(RestoreError::Unfinished { missing });
        }
        self.durable = self.ledger.seq();
        Ok(())
    }

    /// Shows what is next without starting anything: for a copy of a session that runs elsewhere, made of its records. Such a copy
    /// is made anew for every record that comes; what it is given is recorded nowhere.
    pub fn look_on(&mut self, at: Instant) {
        self.running = true;
        self.now = self.now.max(at);
        self.advance(&mut Outcome::default());
    }

    /// Takes an input at a time. Total: whatever comes, whenever it comes, the answer is an [`Outcome`].
    ///
    /// Time never goes back: an earlier `at` counts as the last one. What was due before `at` happens first, at the time it
    /// was due, so extra ticks change no record.
    #[inline]
    pub fn apply(&mut self, at: Instant, input: Input<'_>) -> Outcome {
        let mut outcome = Outcome::default();
        self.apply_into(at, input, &mut outcome);
        outcome
    }

    /// As [`Session::apply`], into an outcome that has its place in memory already; what it held before is gone. For small
    /// chips: an outcome has room for [`ENTRIES_MAX`](crate::limits::ENTRIES_MAX) records, and copying it costs more than
    /// judging a sample.
    pub fn apply_into(&mut self, at: Instant, input: Input<'_>, outcome: &mut Outcome) {
        outcome.clear();
        if let (Input::Sample(sample), Some(armed)) = (input, self.armed)
            && self.running
            && self.tracker.is_quiet(at)
        {
            self.now = self.now.max(at);
            self.feed(armed, at, sample, outcome);
            return;
        }
        self.run_clock(at, outcome);
        if let Err(refusal) = self.take(at, input, outcome) {
            outcome.refusal = Some(refusal);
        }
        let is_reading = matches!(
            input,
            Input::Sample(_) | Input::TorqueAlone(_) | Input::Tick
        );
        self.settle(!is_reading, outcome);
    }

    /// Tells what has become safe, then works out what is next if anything happened. In this order: a verdict told makes room
    /// for another attempt.
    fn settle(&mut self, happened: bool, outcome: &mut Outcome) {
        outcome.announce = self.pending.take_safe(self.durable);
        if happened || !outcome.entries.is_empty() || outcome.announce.is_some() {
            self.advance(outcome);
        }
    }

    /// When [`Input::Tick`] is next wanted, if nothing else comes before.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        if !self.running {
            return None;
        }
        match (self.tracker_deadline(), self.wait_deadline()) {
            (Some(one), Some(other)) => Some(one.min(other)),
            (one, other) => one.or(other),
        }
    }

    /// What to do now.
    #[must_use]
    pub const fn next(&self) -> Next {
        self.next
    }

    /// The durable state.
    #[must_use]
    pub const fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The procedure.
    #[must_use]
    pub fn procedure(&self) -> &Procedure {
        &self.procedure
    }

    /// The joint's number in the build.
    #[must_use]
    pub const fn joint(&self) -> u8 {
        self.joint
    }

    /// Where the joint stands as a whole.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.ledger.standing(&self.procedure)
    }

    /// Torque and angle of the attempt in progress, for views.
    #[must_use]
    pub fn live(&self) -> Live {
        self.tracker.live()
    }

    /// The step that a pull would count for now, and what it must reach.
    #[must_use]
    pub fn armed(&self) -> Option<(u16, Aim)> {
        let armed = self
            .armed
            .filter(|armed| armed.purpose != Purpose::LookOn)?;
        Some((armed.step, *self.tracker.aim()?))
    }

    /// Whether what a pull would count for now cannot be judged by torque alone: [`Input::TorqueAlone`] is refused for it.
    #[must_use]
    pub fn needs_rotation(&self) -> bool {
        self.armed.is_some() && self.tracker.needs_rotation()
    }

    /// Whether an attempt has begun and is not judged yet.
    #[must_use]
    pub fn is_in_pull(&self) -> bool {
        self.armed.is_some() && self.tracker.has_begun()
    }

    /// Number of the last record known to be safe.
    #[must_use]
    pub const fn durable(&self) -> u32 {
        self.durable
    }

    /// The samples of the attempt judged last, thinned: what is kept beside the journal.
    #[must_use]
    pub fn trace(&self) -> &Trace {
        self.tracker.trace()
    }

    fn take(
        &mut self,
        at: Instant,
        input: Input<'_>,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        if !self.running {
            return match input {
                Input::Start { boot, rehearsal } => self.start(boot, rehearsal, outcome),
                Input::Tick => Ok(()),
                _ => Err(Refusal::NotStarted),
            };
        }
        match input {
            Input::Sample(sample) => self.sampled(at, sample, outcome),
            Input::TorqueAlone(torque) => self.sampled_alone(at, torque, outcome),
            Input::Tick => Ok(()),
            Input::Start { .. } => Err(Refusal::StartedBefore),
            Input::Durable { seq } => self.stored(seq),
            Input::StoreFailed => {
                self.store_failed = true;
                Ok(())
            }
            Input::Faulty(fault) => {
                self.faulty(at, fault, outcome);
                Ok(())
            }
            Input::MeasurementLost => self.measurement_lost(outcome),
            Input::Select { fastener } => self.select(fastener),
            Input::Finish => self.finish(outcome),
            Input::Read { step, readout } => self.read(step, readout, outcome),
            Input::BySetting {
                step,
                setting,
                stands_for,
                moved,
            } => self.by_setting(step, setting, stands_for, moved, outcome),
            Input::Confirm { step } => self.confirm(step, outcome),
            Input::Paper { step } => self.ticked_on_paper(step, outcome),
            Input::Answer { step, yes, note } => self.answer(step, yes, note, outcome),
            Input::Measure { step, length } => self.measure(step, length, outcome),
            Input::Person { name, role } => self.person(name, role, outcome),
            Input::Tool { id, waiver } => self.tool(id, waiver, outcome),
            Input::Condition { found, matches } => self.condition(found, matches, outcome),
            Input::Anchor { unix_seconds } => {
                self.record(crate::record::Anchor { unix_seconds }, outcome)
            }
            Input::Zero { taken, offset } => self.zero(taken, offset, outcome),
            Input::Loosened {
                fastener,
                elsewhere,
                cause,
            } => self.loosened(fastener, elsewhere, cause, outcome),
            Input::Fitted { fastener } => self.fitted(fastener, outcome),
            Input::Skip { step, reason } => self.skip(step, reason, outcome),
            Input::Note {
                fastener,
                doubt,
                text,
            } => self.note(fastener, doubt, text, outcome),
            Input::Decide {
                step,
                decision,
                note,
            } => self.decide(step, decision, note, outcome),
            Input::Mark { fastener } => self.mark(fastener, outcome),
            Input::Recheck { fastener } => self.recheck(fastener),
            Input::Moment { moment } => self.moment(moment, outcome),
            Input::RunningTorque { fastener, torque } => {
                self.running_torque(fastener, torque, outcome)
            }
            Input::Due { stage, state } => self.due(stage, state, outcome),
            Input::TakenApart { note } => self.taken_apart(note, outcome),
            Input::Withdraw { of, reason } => self.withdraw(of, reason, outcome),
            Input::Recovered {
                dropped,
                quarantined,
            } => self.record(
                crate::record::Recovered {
                    dropped,
                    quarantined,
                },
                outcome,
            ),
        }
    }

    fn start(&mut self, boot: u16, rehearsal: bool, outcome: &mut Outcome) -> Result<(), Refusal> {
        if boot <= self.ledger.boot() {
            return Err(Refusal::StartedBefore);
        }
        self.running = true;
        let lost = self.ledger.begun();
        let procedure = self.digest;
        let entry = Entry {
            joint: self.joint,
            seq: self.ledger.seq().saturating_add(1),
            boot,
            at: self.now,
            record: Started {
                rules: crate::record::RULES,
                procedure,
                rehearsal,
            }
            .into(),
        };
        self.keep(entry, outcome);
        if let Some(step) = lost {
            self.record_interrupted(step, outcome);
        }
        Ok(())
    }

    fn stored(&mut self, seq: u32) -> Result<(), Refusal> {
        if seq > self.ledger.seq() {
            return Err(Refusal::NoSuch);
        }
        self.durable = self.durable.max(seq);
        if self.durable == self.ledger.seq() {
            self.store_failed = false;
        }
        Ok(())
    }

    /// Makes a record at the time that counts now.
    fn record(&mut self, record: impl Into<Record>, outcome: &mut Outcome) -> Result<(), Refusal> {
        self.make(record.into(), outcome);
        Ok(())
    }

    /// One function for all kinds: in each place where a record is made it would take some 50 bytes of a chip's flash.
    #[inline(never)]
    fn make(&mut self, record: Record, outcome: &mut Outcome) {
        let entry = Entry {
            joint: self.joint,
            seq: self.ledger.seq().saturating_add(1),
            boot: self.ledger.boot(),
            at: self.now,
            record,
        };
        self.keep(entry, outcome);
    }

    /// The one place where a record comes into being: folded and handed out together, so neither can happen alone.
    fn keep(&mut self, entry: Entry, outcome: &mut Outcome) {
        // No input makes more than ENTRIES_MAX records (a test counts them), so there is always room.
        if outcome.entries.is_full() {
            return;
        }
        fold(&mut self.ledger, &self.procedure, &entry);
        let _ = outcome.entries.push(entry);
    }

    fn has_fastener(&self, fastener: u8) -> Result<(), Refusal> {
        if usize::from(fastener) < self.procedure.fasteners().len() {
            Ok(())
        } else {
            Err(Refusal::NoSuch)
        }
    }

    fn open_step(&self, step: u16) -> Result<(), Refusal> {
        if self.procedure.stage_of(step).is_none() {
            Err(Refusal::NoSuch)
        } else if self.ledger.step(step).is_settled() {
            Err(Refusal::AlreadySettled)
        } else {
            Ok(())
        }
    }

    /// No change of place, stage or state while the tool is loaded.
    fn not_in_pull(&self) -> Result<(), Refusal> {
        if self.is_in_pull() {
            Err(Refusal::InPull)
        } else {
            Ok(())
        }
    }
}

fn short(text: &str) -> Result<Text, Refusal> {
    match Text::new(text) {
        Ok(text) => Ok(text),
        Err(_) => Err(Refusal::TextTooLong),
    }
}

fn reason(text: &str) -> Result<Text, Refusal> {
    let text = short(text)?;
    // Blanks are all that a key can give; the table of every white space is 256 bytes on a chip.
    if text.as_str().trim_ascii().is_empty() {
        Err(Refusal::ReasonMissing)
    } else {
        Ok(text)
    }
}

#[cfg(test)]
mod tests;
