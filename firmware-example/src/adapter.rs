//! The adapter's loop: readings into the session, records onto the flash, verdicts to the hand, questions from the link.
//!
//! One turn of the loop takes what readings there are, then does one short thing of everything else, so no reading waits for
//! storage. Knows nothing of any board: hardware comes in through traits.

mod calibrated;
mod joints;
mod requests;
#[cfg(test)]
mod tests;
mod ui;

use embedded_io::{Read, ReadReady, Write, WriteReady};
use evendraw_core::link::{AdapterEnd, Heard, Staging, Sums};
use evendraw_core::procedure::{Procedure, ProcedureError};
use evendraw_core::record::Doubt;
use evendraw_core::sample::{Calibration, Fault, Reading, Sensing, Zero};
use evendraw_core::session::{Announcement, Input, Outcome, Refusal, Session};
use evendraw_core::tracker::Cue as Told;
use evendraw_core::unit::{Instant, Span};
use evendraw_core::verdict::{Reason, Verdict};

use crate::cue::{Cue, Signal};
use crate::display::{Display, Page};
use crate::log::{FRAME_MAX, Log, Progress, Recovery, Region, Walk};
use crate::nor::Flash;
use crate::power::{Cause, Power};
use crate::readings::Readings;
use crate::slots::{CALIBRATIONS, Held, SLOT_SECTORS, SlotWrite, Slots};
use requests::Transfer;

/// Bytes that must be free in the queue before anything but a reading may make records.
///
/// Readings alone can make no more than four attempts before the session waits for the flash, and those fit in what is left.
const ROOM_WANTED: usize = 300;
/// A first load, a judged attempt and the end of a pass, as long as they get.
const ATTEMPT: usize = 110;
const _: () = assert!(crate::log::QUEUE >= ROOM_WANTED + 4 * ATTEMPT);

/// Readings taken in one turn at most, so that the rest of the loop goes on even when they come fast.
const READINGS_A_TURN: u8 = 16;
/// Bytes taken from and given to the link in one turn at most.
const BYTES_A_TURN: usize = 32;
/// Bytes of frames in one answer: less than the link allows, because memory is short.
const GATHERED: usize = 176;
/// The longest answer on the line: that, its head and sum, stuffed and delimited.
const SENDING: usize = GATHERED + 64;
/// What is on its way out over the link.
type Sending = heapless::Vec<u8, SENDING>;

/// How often cues and display are seen to.
const SHOWN_EVERY: Span = Span::from_millis(50);
/// How long a verdict is told.
const TOLD_FOR: Span = Span::from_seconds(2);

/// A key of the adapter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub enum Key {
    /// Go on, yes, done.
    Yes,
    /// Another one, no, wrong.
    No,
}

/// The adapter's two keys.
pub trait Keys {
    /// The key that has just been pressed.
    fn pressed(&mut self, now: Instant) -> Option<Key>;
}

/// A line of bytes that never makes the loop wait.
pub trait Port: Read + ReadReady + Write + WriteReady {}
impl<P: Read + ReadReady + Write + WriteReady> Port for P {}

/// The hardware of an adapter.
#[derive(Debug)]
pub struct Parts<F, R, P, C, D, K, W> {
    /// Flash for journal and procedures.
    pub flash: F,
    /// The sensors.
    pub readings: R,
    /// The link.
    pub port: P,
    /// Lamps, buzzer, motor.
    pub cue: C,
    /// The text display.
    pub display: D,
    /// The keys.
    pub keys: K,
    /// Its own power: cause of the start, supply, watchdog.
    pub power: W,
}

/// What the maker wrote on the adapter.
#[derive(Clone, Copy, Debug)]
pub struct Plate {
    /// Its serial number, at most 24 bytes.
    pub serial: &'static str,
    /// Its firmware, at most 24 bytes.
    pub firmware: &'static str,
    /// Its load cell.
    pub calibration: Calibration,
    /// What its time comes from.
    pub clock: Clock,
}

/// What an adapter's time comes from: a rotation is a rate times a time, and no surer than either.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// A crystal: some millionths, which nobody sees in an angle.
    Crystal,
    /// A chip's own oscillator, within 1 % at the temperature of a room and less sure in the cold. The journal says so at every start.
    Oscillator,
}

/// Why the loop leaves a joint: what comes needs the memory that the joint takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Leave {
    /// To work another; whether the link asked for it.
    Work { place: u8, joint: u8, asked: bool },
    /// To check the procedure that was sent.
    Check { place: u8, held: Held },
    /// To make a bolt circle: fasteners, torque in N·m, angle in degrees (0 for none).
    Circle {
        count: u8,
        newton_meters: u16,
        degrees: u16,
    },
    /// To choose by hand.
    Rest,
}

/// A refusal or a fault, to be shown until a key is pressed or something else happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub(crate) enum Trouble {
    /// The session refused an input.
    Refused(Refusal),
    /// The procedure is damaged at this byte.
    Procedure(u32),
    /// The journal holds other records of this joint.
    Restore,
    /// A zero was refused: the tool is loaded.
    Zero,
    /// The unloaded tool stands off its zero.
    Drifted,
    /// A sensor cannot be trusted.
    Sensor(Fault),
    /// The journal is full.
    Full,
    /// The flash failed.
    Flash,
    /// The supply is too low to begin a pull.
    Supply,
}

/// The adapter.
#[derive(Debug)]
pub struct Adapter<F, R, P, C, D, K, W> {
    parts: Parts<F, R, P, C, D, K, W>,
    plate: Plate,
    sensing: Sensing,
    sums: Sums,
    log: Log,
    slots: Slots,
    link: AdapterEnd,
    staging: Staging,
    transfer: Transfer,
    sending: Sending,
    sent: usize,
    /// An answer was written while something else was on its way out.
    answer_waits: bool,
    room: [u8; FRAME_MAX],
    gathered: heapless::Vec<u8, GATHERED>,
    walk: Option<Walk>,
    recovery: Recovery,
    boot: u16,
    /// Journal number of a record less its number in the session.
    offset: u32,
    /// Journal number of the first record of the joint being worked: it and what follows stay until another is worked.
    needed: u32,
    failing: bool,
    /// The supply is too low: nothing new is pulled.
    low: bool,
    /// The watchdog ended what ran before, and the journal does not say so yet.
    watchdog_owed: bool,
    watch: Option<Span>,
    live_at: Instant,
    shown_at: Instant,
    told: Option<(Signal, Instant)>,
    signal: Signal,
    halt: Option<Reason>,
    verdict: Option<Announcement>,
    trouble: Option<Trouble>,
    hands: ui::Hands,
}

impl<F, R, P, C, D, K, W> Adapter<F, R, P, C, D, K, W>
where
    F: Flash,
    R: Readings,
    P: Port,
    C: Cue,
    D: Display,
    K: Keys,
    W: Power,
{
    /// Opens journal and slots on the chip: the slots at its beginning, the journal behind it to the end.
    ///
    /// # Errors
    ///
    /// The flash.
    #[inline(never)]
    pub fn new(mut parts: Parts<F, R, P, C, D, K, W>, plate: Plate) -> Result<Self, F::Error> {
        let mut room = [0; FRAME_MAX];
        let sectors = parts.flash.size() / crate::nor::SECTOR;
        let region = Region {
            first: SLOT_SECTORS,
            sectors: sectors.saturating_sub(SLOT_SECTORS).max(2),
        };
        let (log, recovery) = Log::open(&mut parts.flash, region, &mut room)?;
        let slots = Slots::open(&mut parts.flash, 0)?;
        let calibration = calibrated::found(&slots, &mut parts.flash, plate.calibration);
        let boot = recovery.boot.saturating_add(1);
        let cause = parts.power.cause();
        defmt::info!(
            "start {=u16} ({}): {=u32} frames, {=u32} dropped, {=u32} quarantined",
            boot,
            cause,
            recovery.frames,
            recovery.dropped,
            recovery.quarantined
        );
        Ok(Self {
            parts,
            sensing: Sensing::new(calibration),
            sums: calibrated::nothing_yet(&calibration),
            plate,
            log,
            slots,
            link: AdapterEnd::new(boot),
            staging: Staging::new(),
            transfer: Transfer::None,
            sending: heapless::Vec::new(),
            sent: 0,
            answer_waits: false,
            room,
            gathered: heapless::Vec::new(),
            walk: None,
            boot: recovery.boot,
            recovery,
            offset: 0,
            needed: u32::MAX,
            failing: false,
            low: false,
            watchdog_owed: cause == Cause::Watchdog,
            watch: None,
            live_at: Instant::BOOT,
            shown_at: Instant::BOOT,
            told: None,
            signal: Signal::Quiet,
            halt: None,
            verdict: None,
            trouble: None,
            hands: ui::Hands::default(),
        })
    }

    /// Works for ever, turn after turn, without a pause.
    pub fn run(&mut self) -> ! {
        self.run_beside(|| {})
    }

    /// Works for ever, and has something else go on between two turns: waits for the next interrupt, polls the tasks of an executor,
    /// feeds a watchdog. It must come back before the readings that wait run over. `examples/beside.rs` shows each.
    pub fn run_beside(&mut self, mut beside: impl FnMut()) -> ! {
        let mut next = self.left_at();
        loop {
            next = self.once(next, &mut beside);
        }
    }

    /// Works until something else is to be worked.
    fn once(&mut self, next: Leave, beside: &mut impl FnMut()) -> Leave {
        match next {
            Leave::Rest => self.rest(beside),
            Leave::Work {
                place,
                joint,
                asked,
            } => self.work_at(place, joint, asked, beside),
            Leave::Check { place, held } => self.check(place, held),
            Leave::Circle {
                count,
                newton_meters,
                degrees,
            } => self.make_circle(count, newton_meters, degrees),
        }
    }

    /// Lets the flash finish what it is at; whoever asked for it over the link is answered.
    fn settle(&mut self) {
        while !self.slots.is_idle() {
            self.shelve();
        }
        while let Progress::Busy | Progress::Stored { .. } = self.log.advance(&mut self.parts.flash)
        {
        }
    }

    /// The next short thing of what is stored beside the journal; whoever asked for it is answered once it is done. Whether that was a
    /// calibration, by which readings go now.
    #[inline(never)]
    fn shelve(&mut self) -> bool {
        let shelved = self.slots.advance(&mut self.parts.flash);
        let is_calibration =
            shelved != SlotWrite::Busy && self.shelved(shelved) == Some(CALIBRATIONS);
        if is_calibration {
            self.go_by_what_is_held();
        }
        is_calibration
    }

    /// One turn of the loop.
    fn turn(&mut self, mut session: Option<&mut Session<&Procedure>>) -> Option<Leave> {
        if self.take_readings(session.as_deref_mut()) {
            self.parts.power.is_alive();
        }
        let now = self.parts.readings.now();
        self.heed_supply(session.as_deref_mut(), now);
        if let Some(session) = session.as_deref_mut()
            && session.deadline().is_some_and(|due| due <= now)
        {
            self.apply(session, now, Input::Tick);
        }
        self.store(session.as_deref_mut(), now);
        let in_pull = session
            .as_deref()
            .is_some_and(|session| session.is_in_pull());
        let mut leave = self.hear(session.as_deref_mut(), now, in_pull);
        self.errand_step();
        self.speak(session.as_deref(), now);
        self.parts.display.advance();
        if now.since(self.shown_at) >= SHOWN_EVERY {
            self.shown_at = now;
            leave = leave.or(self.hands_step(session, now));
        }
        leave
    }

    /// Takes what readings there are; whether there was one.
    fn take_readings(&mut self, mut session: Option<&mut Session<&Procedure>>) -> bool {
        for taken in 0..READINGS_A_TURN {
            let Some(counts) = self.parts.readings.next() else {
                return taken > 0;
            };
            calibrated::add(&mut self.sums, counts);
            let sensed = self.sensing.take(counts);
            if let Some(zero) = sensed.zero {
                self.zeroed(zero, session.as_deref_mut(), counts.at);
            }
            if let Reading::Faulty(fault) = sensed.reading {
                self.trouble = Some(Trouble::Sensor(fault));
            }
            if let Some(session) = session.as_deref_mut() {
                let input = match sensed.reading {
                    Reading::Sample(sample) => Input::Sample(sample),
                    Reading::Faulty(fault) => Input::Faulty(fault),
                };
                self.apply(session, counts.at, input);
            }
        }
        true
    }

    /// A supply that falls stops the next pull before the flash fails; one that is under way is judged and kept. Once it is back, pulling
    /// goes on where every record is stored.
    fn heed_supply(&mut self, session: Option<&mut Session<&Procedure>>, now: Instant) {
        let low = self.parts.power.is_low();
        if low == self.low {
            return;
        }
        self.low = low;
        defmt::warn!("supply low: {=bool}", low);
        if self.trouble == Some(Trouble::Supply) {
            self.trouble = None;
        }
        if let Some(session) = session {
            let input = if low {
                Input::StoreFailed
            } else {
                Input::Durable {
                    seq: session.durable(),
                }
            };
            self.apply(session, now, input);
        }
    }

    /// A remark of the adapter's own.
    fn note(&mut self, session: &mut Session<&Procedure>, now: Instant, text: &str) {
        let input = Input::Note {
            fastener: None,
            doubt: Doubt::None,
            text,
        };
        self.apply(session, now, input);
    }

    /// Shows what became of the zero, and has it recorded.
    fn zeroed(&mut self, zero: Zero, session: Option<&mut Session<&Procedure>>, at: Instant) {
        let (trouble, taken, offset) = match zero {
            Zero::Taken(offset) => (None, true, offset),
            Zero::Refused(offset) => (Some(Trouble::Zero), false, offset),
            Zero::Drifted(offset) => (Some(Trouble::Drifted), false, offset),
        };
        self.trouble = trouble;
        if let Some(session) = session
            && !session.is_in_pull()
        {
            self.apply(session, at, Input::Zero { taken, offset });
        }
    }

    /// Gives an input to the session, and does what it says. Returns the refusal, if it refused.
    #[inline(never)]
    fn apply(
        &mut self,
        session: &mut Session<&Procedure>,
        at: Instant,
        input: Input<'_>,
    ) -> Option<Refusal> {
        let mut outcome = Outcome::default();
        session.apply_into(at, input, &mut outcome);
        for entry in outcome.entries() {
            if self.log.push(entry).is_err() {
                // By the room that is kept free this cannot be; if it is, nothing more is pulled before a restart.
                defmt::error!("record {=u32} found no room", entry.seq);
                self.failing = true;
                self.trouble = Some(Trouble::Flash);
            }
        }
        if let Some(announcement) = outcome.announce {
            let good = announcement.verdict == Verdict::Accepted;
            defmt::info!(
                "told {=u32}: step {=u16} {}",
                announcement.seq,
                announcement.step,
                announcement.verdict
            );
            self.told = Some((if good { Signal::Good } else { Signal::Wrong }, at));
            self.verdict = Some(announcement);
        }
        if matches!(input, Input::Sample(_)) {
            self.halt = outcome.halt;
            self.signal = match (outcome.halt, outcome.cue) {
                (Some(_), _) | (None, Told::Over) => Signal::Wrong,
                (None, Told::None) => Signal::Quiet,
                (None, Told::Approach) => Signal::Near,
                (None, Told::Target) => Signal::Enough,
            };
        }
        outcome.refusal
    }

    fn store(&mut self, session: Option<&mut Session<&Procedure>>, now: Instant) {
        if self.log.is_idle() && !self.slots.is_idle() {
            if self.shelve()
                && let Some(session) = session
            {
                self.note_calibration(session, now);
            }
            return;
        }
        match self.log.advance(&mut self.parts.flash) {
            Progress::Stored { sequence } => {
                self.failing = false;
                if matches!(self.trouble, Some(Trouble::Full | Trouble::Flash)) {
                    self.trouble = None;
                }
                if let Some(session) = session {
                    let seq = sequence.wrapping_sub(self.offset);
                    self.apply(session, now, Input::Durable { seq });
                    if self.low {
                        self.apply(session, now, Input::StoreFailed);
                    }
                }
            }
            progress @ (Progress::Full | Progress::Failed) => {
                let full = progress == Progress::Full;
                self.trouble = Some(if full { Trouble::Full } else { Trouble::Flash });
                if !self.failing {
                    self.failing = true;
                    defmt::error!("the store failed: {}", progress);
                    if let Some(session) = session {
                        self.apply(session, now, Input::StoreFailed);
                    }
                }
            }
            Progress::Idle | Progress::Busy => {}
        }
        // Verdicts that became safe together are told one by one.
    }

    fn hear(
        &mut self,
        mut session: Option<&mut Session<&Procedure>>,
        now: Instant,
        in_pull: bool,
    ) -> Option<Leave> {
        for _ in 0..BYTES_A_TURN {
            if !self.parts.port.read_ready().unwrap_or(false) {
                return None;
            }
            let mut byte = [0];
            if self.parts.port.read(&mut byte).is_err() {
                return None;
            }
            match self.link.feed(byte[0]) {
                Heard::Nothing => {}
                Heard::Send(bytes) => {
                    if self.sending.is_empty() {
                        // A frame is never longer than the buffer.
                        let _ = self.sending.extend_from_slice(bytes);
                    }
                }
                Heard::Question(request) => {
                    if let Some(bytes) = request.bytes() {
                        self.slots.bring(bytes);
                    }
                    let asked = request.without_bytes();
                    return self.question(asked, session.as_deref_mut(), now, in_pull);
                }
            }
        }
        None
    }

    fn speak(&mut self, session: Option<&Session<&Procedure>>, now: Instant) {
        if self.sending.is_empty() && core::mem::take(&mut self.answer_waits) {
            // An answer is never longer than the buffer.
            let _ = self.sending.extend_from_slice(self.link.outgoing());
        }
        if self.sending.is_empty()
            && let Some(every) = self.watch
            && now.since(self.live_at) >= every
        {
            self.live_at = now;
            self.send_live(session, now);
        }
        for _ in 0..BYTES_A_TURN {
            let Some(&byte) = self.sending.get(self.sent) else {
                self.sending.clear();
                self.sent = 0;
                return;
            };
            if !self.parts.port.write_ready().unwrap_or(false) {
                return;
            }
            if self.parts.port.write(&[byte]).is_ok() {
                self.sent = self.sent.saturating_add(1);
            } else {
                return;
            }
        }
    }
}

/// The byte that a procedure is refused for.
pub(crate) fn offset_of(fault: &ProcedureError) -> u32 {
    match *fault {
        ProcedureError::Damaged { offset } => u32::try_from(offset).unwrap_or(u32::MAX),
        _ => 0,
    }
}

/// A page with nothing on it but these lines.
pub(crate) fn page(lines: [&str; 4]) -> Page {
    let mut page = Page::default();
    for (row, line) in lines.into_iter().enumerate() {
        page.line(row).text(line);
    }
    page
}

/// How long a verdict is told, for the rooms behind this one.
pub(crate) const fn told_for() -> Span {
    TOLD_FOR
}
