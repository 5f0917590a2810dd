//! The desktop's end of the link: a port, one question at a time, and whole transfers.
//!
//! Knows nothing of plans or of the journal on disk: procedures go out as stored forms, entries come in.
//!
//! # Why a joint is worked at the desk or at the adapter, never at both
//!
//! *Context:* with an adapter connected, readings, verdicts and records could be made at either end. *Choice:* the
//! adapter holds the session; the desk looks on. "This joint's records are made by adapter 4411" is itself a fact of
//! the journal (`HostFact::AtAdapter`), and from then on the desk makes none of that joint, also after a kill or
//! without the cable: records come over the link, each is checked against what is kept and against the procedure, is
//! safe in the desk's journal, and only then shown. `evendraw adapter PORT pull` goes the same way
//! (`store/merge.rs`). What a person says at the desk (a name, an answer, felt wrong, loosened, left out) goes to the
//! adapter as a `tell` and comes back as its record. The adapter keeps the curve of its newest attempt until the next
//! begins; the desk fetches it behind the record (a few ms later, 0.7 s more where a question is asked again), holds
//! it to the digest in that record, and keeps it beside the journal, so an audit judges it like its own; what was
//! pulled while nobody looked on has a digest and no curve. Live messages move the pointer and draw the curve;
//! nothing is decided by them, and while none comes the reading is unknown, not the last one. The desk's session of
//! such a joint is a copy made anew from its records (`Session::look_on`), so it shows what the adapter would do next
//! without being able to record. *Alternative:* samples over the link and the desk's session judging: a lost frame
//! would be a gap in the measurement, the adapter would be no use without the desk, and two sessions would have to
//! agree. *Bounds:* records that the adapter has from before are taken only on somebody's word that they are of this
//! unit, as a journal record carries no unit; joints that share fasteners stay at the desk, where each hears of the
//! other at once; a joint at an adapter can be taken back (F11), and then what the adapter records later is refused; one begun at
//! the desk can be given to an adapter, which gets its records (`carry`) and goes on behind them: so a revised plan reaches a joint
//! that was at an adapter, as the fold of a revision asks for the new procedure alone. *Would change our mind:* a link fast enough for every sample, and
//! a reason to judge on the larger machine.

#![cfg_attr(not(test), warn(clippy::arithmetic_side_effects))]

mod follow;
mod port;

use std::fmt;
use std::io;
use std::time::{Duration, Instant as Clock};

use evendraw_core::journal::{FIRST_SEED, OVERHEAD, decode_entry, encode_entry, frame_at};
use evendraw_core::limits::RECORD_MAX;
use evendraw_core::link::{
    Event, HostEnd, LinkError, Live, PullError, PullJournal, Refused, Reply, Request,
    SendProcedure, SendStep, Sums, Tell, Ticked,
};
use evendraw_core::record::Entry;
use evendraw_core::sample::{KEPT_BYTES, Kept};
use evendraw_core::trace::Point;
use evendraw_core::unit::{Instant, Torque};

use crate::limits::{FETCHED_BYTES_MAX, FETCHED_RECORDS_MAX, PLACE_BYTES_MAX, counted};

pub use follow::{Follower, News, Order};
pub(crate) use port::arrived;
pub use port::{Port, ports};

/// Who answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Adapter {
    /// Its serial number.
    pub serial: String,
    /// Its firmware.
    pub firmware: String,
    /// Places for procedures.
    pub places: u8,
    /// Last sequence number of its journal.
    pub last: u32,
    /// Largest torque it may bear.
    pub capacity: Torque,
}

/// A calibration as an adapter keeps it: the fields of [`Kept`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calibrated {
    /// Counted from 1 on that adapter.
    pub number: u16,
    /// Twice the standard uncertainty of a torque, in hundredths of a per cent of it.
    pub within: u16,
    /// Count of the load cell without load.
    pub zero: i32,
    /// mN·m a count, times 65,536.
    pub scale: u32,
    /// Millidegrees a second for a count of the gyro, times 256.
    pub rate_scale: u32,
    /// Seconds since 1970.
    pub unix_seconds: u32,
    /// The adapter's serial number.
    pub serial: String,
    /// What records say of it.
    pub said: String,
}

impl Calibrated {
    /// As it is stored.
    #[must_use]
    pub fn kept(&self) -> Kept<'_> {
        Kept {
            number: self.number,
            within: self.within,
            zero: self.zero,
            scale: self.scale,
            rate_scale: self.rate_scale,
            unix_seconds: self.unix_seconds,
            serial: &self.serial,
            said: &self.said,
        }
    }

    fn of(kept: &Kept<'_>) -> Self {
        Self {
            number: kept.number,
            within: kept.within,
            zero: kept.zero,
            scale: kept.scale,
            rate_scale: kept.rate_scale,
            unix_seconds: kept.unix_seconds,
            serial: kept.serial.to_owned(),
            said: kept.said.to_owned(),
        }
    }
}

/// What was fetched of an adapter's journal.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fetched {
    /// Every record that is good, in order.
    pub entries: Vec<Entry>,
    /// The number of each in the adapter's journal.
    pub numbers: Vec<u32>,
    /// Records that prove themselves and that only a newer program reads, in order.
    pub newer: Vec<Newer>,
    /// Sequence numbers that are damaged there: the first one missing, and the first after them. What was given back is none.
    pub gaps: Vec<(u32, u32)>,
    /// What it says it has and did not send, if there is such.
    pub left: Option<Left>,
}

/// A record of a newer kind or version, fetched and not read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Newer {
    /// As many of the records fetched with it come before it.
    pub behind: usize,
    /// Its kind.
    pub kind: u8,
    /// Its version.
    pub version: u8,
    /// Its bytes.
    pub payload: Vec<u8>,
    /// What is newer about it, in words.
    pub why: String,
}

/// Records that an adapter says it has and that were not fetched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Left {
    /// Number of the first of them.
    pub from: u32,
    /// Number of the last, as the adapter says.
    pub to: u32,
    /// Why they are left, in words.
    pub why: String,
}

impl Left {
    /// How many they are.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.to.saturating_sub(self.from).saturating_add(1)
    }
}

/// How long is waited for an adapter that answers. One that is silent is given up sooner, by the link itself.
///
/// Whatever it answers, an exchange ends: a procedure that is sent gets further with every few answers, a journal that is fetched
/// with each, and neither takes longer than an honest adapter would need several times over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Answers in a row that bring a sent procedure no further: an offer anew after each of three restarts, and a piece again.
    pub idle_answers: u32,
    /// For a question with a single answer, restarts and all.
    pub question: Duration,
    /// For a procedure, whose 16 KiB take two seconds.
    pub sending: Duration,
    /// For a journal, of which four million bytes take six minutes.
    pub fetching: Duration,
    /// Without a reading from one that was asked to tell them.
    pub unheard: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self {
            idle_answers: 12,
            question: Duration::from_secs(30),
            sending: Duration::from_secs(120),
            fetching: Duration::from_secs(20 * 60),
            unheard: Duration::from_secs(5),
        }
    }
}

/// Why an transfer stops.
#[derive(Debug)]
#[non_exhaustive]
pub enum ClientError {
    /// The port.
    Port(io::Error),
    /// Asked ten times, and nothing came.
    Silent,
    /// The adapter started again in the middle, several times.
    Restarting,
    /// It refused; the byte for a refused procedure.
    Refused(Refused, u32),
    /// It answered another question.
    WrongAnswer,
    /// What it sent of its journal does not hold together.
    Journal(PullError),
    /// A record that fits no frame.
    TooLong(evendraw_core::journal::EncodeError),
    /// A question that fits no frame.
    Question(LinkError),
    /// It started again while it was told something.
    StartedAgain,
    /// It answers and answers, and has no more of what is sent than before: so many bytes of so many.
    Stuck(u32, u32),
    /// It answers, and it takes longer than this.
    Slow(Duration),
    /// It told more records than any adapter keeps.
    Endless(usize),
    /// It sent more of one place than any adapter stores there: more bytes than this.
    Unending(usize),
    /// It was to tell its readings, and tells none.
    Unheard,
}

impl fmt::Display for ClientError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Port(error) if error.kind() == io::ErrorKind::NotFound => {
                f.write_str("nothing is plugged in there")
            }
            Self::Port(error) if error.kind() == io::ErrorKind::UnexpectedEof => {
                f.write_str("the other end hung up")
            }
            Self::Port(error) => write!(f, "the port failed: {error}"),
            Self::Silent => f.write_str("no answer; is it the right port, and is the adapter on?"),
            Self::Restarting => f.write_str("the adapter starts again and again"),
            Self::Refused(Refused::Procedure, at) => {
                write!(f, "the adapter refuses the procedure at byte {at}")
            }
            Self::Refused(why, _) => write!(f, "{why}"),
            Self::WrongAnswer => f.write_str("the adapter answered another question"),
            Self::Journal(error) => write!(f, "{error}"),
            Self::TooLong(error) => write!(f, "{error}"),
            Self::Question(error) => write!(f, "{error}"),
            Self::Stuck(have, all) => write!(
                f,
                "it answers and gets no further: it has {have} of {all} bytes, and stores nothing before it has all"
            ),
            Self::Slow(limit) => write!(
                f,
                "it answers, but is not done after {} s: given up",
                limit.as_secs()
            ),
            Self::Endless(most) => write!(
                f,
                "its journal has no end: {} records were fetched, and no adapter keeps more",
                counted(*most)
            ),
            Self::Unending(most) => write!(
                f,
                "what it stores at one place has no end: {} bytes were fetched, and no adapter keeps more there",
                counted(*most)
            ),
            Self::Unheard => f.write_str("it tells no reading any more; did it start again?"),
            Self::StartedAgain => f.write_str(
                "it started again meanwhile: look in the record whether it was kept, else say it again",
            ),
        }
    }
}

impl std::error::Error for ClientError {}

/// Starts of the adapter that one transfer bears.
const RESTARTS: u32 = 20;

/// A conversation with an adapter.
#[derive(Debug)]
pub struct Client {
    port: Port,
    host: HostEnd,
    began: Clock,
    nonce: u32,
    /// What was told unasked and is not taken yet, oldest first.
    lives: std::collections::VecDeque<Live>,
    patience: Patience,
    /// When the exchange in hand began, and how long it may take.
    exchange: (Clock, Duration),
}

/// Live messages kept for whoever takes them late; older ones are dropped, as nothing depends on one.
const LIVES_MAX: usize = 256;

enum Outcome<T> {
    Answer(T),
    Restarted,
}

impl Client {
    /// On this port; nothing is sent yet.
    #[must_use]
    pub fn new(port: Port) -> Self {
        Self::patient(port, Patience::default())
    }

    /// As [`Client::new`], waiting this long.
    #[must_use]
    pub fn patient(port: Port, patience: Patience) -> Self {
        // Another number than the conversation before had, as far as a clock can give one.
        let nonce = std::time::SystemTime::now()
            .duration_since(std::time::UNIX_EPOCH)
            .map_or(1, |since| since.subsec_nanos());
        Self {
            port,
            host: HostEnd::new(),
            began: Clock::now(),
            nonce,
            lives: std::collections::VecDeque::new(),
            patience,
            exchange: (Clock::now(), patience.question),
        }
    }

    /// From here on the exchange in hand may take this long.
    fn begin(&mut self, limit: Duration) {
        self.exchange = (Clock::now(), limit);
    }

    fn now(&self) -> Instant {
        Instant::from_micros(u64::try_from(self.began.elapsed().as_micros()).unwrap_or(u64::MAX))
    }

    /// Asks until it is answered, and gives the answer to `take`.
    fn ask<T>(
        &mut self,
        request: &Request<'_>,
        take: impl FnOnce(&Reply<'_>) -> T,
    ) -> Result<Outcome<T>, ClientError> {
        let now = self.now();
        let question = self
            .host
            .ask(request, now)
            .map_err(ClientError::Question)?
            .to_vec();
        self.port.send(&question).map_err(ClientError::Port)?;
        let mut bytes = [0; 512];
        loop {
            let (began, limit) = self.exchange;
            if began.elapsed() > limit {
                // The question stays open there: what is asked next is asked in a conversation of its own.
                self.host = HostEnd::new();
                return Err(ClientError::Slow(limit));
            }
            let count = self.port.receive(&mut bytes).map_err(ClientError::Port)?;
            for &byte in bytes.get(..count).unwrap_or_default() {
                match self.host.feed(byte) {
                    Event::Answer(reply) => return Ok(Outcome::Answer(take(&reply))),
                    Event::Restarted => return Ok(Outcome::Restarted),
                    Event::Live(live) => keep_live(&mut self.lives, live),
                    Event::Nothing => {}
                }
            }
            match self.host.tick(self.now()) {
                Ticked::SendAgain => {
                    let again = self.host.outgoing().to_vec();
                    self.port.send(&again).map_err(ClientError::Port)?;
                }
                Ticked::GaveUp => return Err(ClientError::Silent),
                Ticked::Nothing => {}
            }
        }
    }

    /// Opens the conversation.
    ///
    /// # Errors
    /// [`ClientError::Silent`] when nobody answers, [`ClientError::Port`].
    pub fn identify(&mut self) -> Result<Adapter, ClientError> {
        self.begin(self.patience.question);
        self.greet()
    }

    fn greet(&mut self) -> Result<Adapter, ClientError> {
        for _ in 0..RESTARTS {
            self.nonce = self.nonce.wrapping_add(1);
            let request = Request::Identify { nonce: self.nonce };
            let answer = self.ask(&request, |reply| {
                wanted(reply, |reply| match *reply {
                    Reply::Identity(identity) => Some(Adapter {
                        serial: identity.serial.to_owned(),
                        firmware: identity.firmware.to_owned(),
                        places: identity.slots,
                        last: identity.last,
                        capacity: identity.capacity,
                    }),
                    _ => None,
                })
            })?;
            if let Outcome::Answer(answer) = answer {
                return answer;
            }
        }
        Err(ClientError::Restarting)
    }

    /// Asks a question whose answer needs no transfer; asks anew where the adapter starts again.
    fn simple<T>(
        &mut self,
        request: &Request<'_>,
        take: impl Fn(&Reply<'_>) -> Option<T>,
    ) -> Result<T, ClientError> {
        self.begin(self.patience.question);
        self.part(request, take)
    }

    /// A question that is one of several of the exchange in hand.
    fn part<T>(
        &mut self,
        request: &Request<'_>,
        take: impl Fn(&Reply<'_>) -> Option<T>,
    ) -> Result<T, ClientError> {
        for _ in 0..RESTARTS {
            match self.ask(request, |reply| wanted(reply, &take))? {
                Outcome::Answer(answer) => return answer,
                Outcome::Restarted => drop(self.greet()?),
            }
        }
        Err(ClientError::Restarting)
    }

    /// Stores a procedure's stored form at a place; tells how far it is.
    ///
    /// # Errors
    /// [`ClientError::Refused`] with the byte when the adapter does not take it.
    pub fn send(
        &mut self,
        place: u8,
        blob: &[u8],
        mut told: impl FnMut(u32, u32),
    ) -> Result<(), ClientError> {
        self.begin(self.patience.sending);
        let mut transfer = SendProcedure::new(place, blob);
        let mut restarts: u32 = 0;
        let (mut furthest, mut idle) = (0, 0_u32);
        loop {
            let request = transfer.request();
            match self.ask(&request, |reply| transfer.answered(reply))? {
                Outcome::Answer(SendStep::GoOn) => {}
                Outcome::Answer(SendStep::Done) => return Ok(()),
                Outcome::Answer(SendStep::Refused(why, at)) => {
                    return Err(ClientError::Refused(why, at));
                }
                Outcome::Restarted => {
                    restarts = restarts.saturating_add(1);
                    if restarts > RESTARTS {
                        return Err(ClientError::Restarting);
                    }
                    self.greet()?;
                    transfer.restarted();
                }
            }
            let (have, all) = transfer.progress();
            if have > furthest {
                (furthest, idle) = (have, 0);
            } else {
                idle = idle.saturating_add(1);
            }
            if idle > self.patience.idle_answers {
                return Err(ClientError::Stuck(have, all));
            }
            told(have, all);
        }
    }

    /// Has the adapter work the procedure at a place, as this joint of the build.
    ///
    /// # Errors
    /// [`ClientError::Refused`].
    pub fn work(&mut self, place: u8, joint: u8) -> Result<(), ClientError> {
        let request = Request::Work { slot: place, joint };
        self.simple(&request, |reply| {
            matches!(reply, Reply::Working { .. }).then_some(())
        })
    }

    /// Gives the adapter the next record of a joint, made elsewhere; what it works is left. One that it has already is left as it is.
    ///
    /// # Errors
    /// [`ClientError::Refused`].
    pub fn carry(&mut self, entry: &Entry) -> Result<(), ClientError> {
        let mut room = [0; RECORD_MAX + OVERHEAD];
        let bytes = encode_entry(entry, 1, FIRST_SEED, &mut room).map_err(ClientError::TooLong)?;
        self.simple(&Request::Carry { bytes }, |reply| {
            matches!(reply, Reply::Told).then_some(())
        })
    }

    /// Tells the adapter the wall time.
    ///
    /// # Errors
    /// [`ClientError::Refused`] with [`Refused::Session`] while it works no joint.
    pub fn anchor(&mut self, unix_seconds: i64) -> Result<(), ClientError> {
        let request = Request::Anchor { unix_seconds };
        self.simple(&request, |reply| {
            matches!(reply, Reply::Anchored).then_some(())
        })
    }

    /// Tells the adapter's session what a person says of its joint; returns once what it records is safe there.
    ///
    /// # Errors
    /// [`ClientError::Refused`]; [`ClientError::StartedAgain`] when nobody can know whether it was recorded: it is not said
    /// twice.
    pub fn tell(&mut self, tell: &Tell<'_>) -> Result<(), ClientError> {
        self.begin(self.patience.question);
        let answer = self.ask(&Request::Tell(*tell), |reply| {
            wanted(reply, |reply| matches!(reply, Reply::Told).then_some(()))
        })?;
        match answer {
            Outcome::Answer(answer) => answer,
            Outcome::Restarted => {
                self.greet()?;
                Err(ClientError::StartedAgain)
            }
        }
    }

    /// The points of the newest attempt's curve. Whose they are the digest in the attempt's record tells: another may have begun.
    ///
    /// # Errors
    /// [`ClientError::Refused`] of an adapter that does not know the question.
    pub fn curve(&mut self) -> Result<Vec<Point>, ClientError> {
        self.begin(self.patience.sending);
        let mut points = Vec::new();
        while let Ok(from) = u8::try_from(points.len()) {
            let more = self.part(&Request::Curve { from }, |reply| match *reply {
                Reply::Curve { bytes } => points_in(bytes),
                _ => None,
            })?;
            if more.is_empty() {
                break;
            }
            points.extend(more);
        }
        Ok(points)
    }

    /// Fetches every record of the adapter's journal; tells how far it is. What it has and does not send is told with what it sent.
    ///
    /// # Errors
    /// [`ClientError`] where nothing can be fetched at all.
    pub fn pull(&mut self, told: impl FnMut(u32)) -> Result<Fetched, ClientError> {
        self.pull_on(&mut PullJournal::from_start(), told)
    }

    /// Fetches what came to the adapter's journal since the transfer was asked last, up to what the adapter says it has now, and no
    /// more than [`FETCHED_RECORDS_MAX`] and [`FETCHED_BYTES_MAX`].
    ///
    /// # Errors
    /// As for [`Client::pull`]; the transfer then stands where it stood.
    pub fn pull_on(
        &mut self,
        transfer: &mut PullJournal,
        mut told: impl FnMut(u32),
    ) -> Result<Fetched, ClientError> {
        self.begin(self.patience.fetching);
        let mut fetched = Fetched::default();
        let mut restarts: u32 = 0;
        // What it said it has, when it was first asked.
        let mut aim = None;
        let mut bytes: usize = 0;
        let why = loop {
            let request = transfer.request();
            let answer = self.ask(&request, |reply| {
                let (last, seed) = match *reply {
                    Reply::Frames { last, seed, .. } => (last, seed),
                    _ => (0, 0),
                };
                let step = transfer.answered(reply)?;
                Ok((step.gap, step.frames.to_vec(), seed, last))
            });
            match answer {
                Ok(Outcome::Answer(Ok((gap, frames, seed, last)))) => {
                    let aim = *aim.get_or_insert(last);
                    fetched.gaps.extend(gap.map(|gap| (gap.from, gap.to)));
                    fetched.take(&frames, seed);
                    bytes = bytes.saturating_add(frames.len());
                    told(transfer.last());
                    if transfer.last() >= aim {
                        self.leave_out_given_back(&mut fetched);
                        return Ok(fetched);
                    }
                    if frames.is_empty() {
                        break "it does not send them".to_owned();
                    }
                    let records = fetched.entries.len().saturating_add(fetched.newer.len());
                    if records >= FETCHED_RECORDS_MAX || bytes >= FETCHED_BYTES_MAX {
                        break format!(
                            "no more than {} records or {} bytes are fetched at once",
                            counted(FETCHED_RECORDS_MAX),
                            counted(FETCHED_BYTES_MAX)
                        );
                    }
                }
                Ok(Outcome::Restarted) if restarts < RESTARTS => {
                    restarts = restarts.saturating_add(1);
                    if let Err(error) = self.greet() {
                        break given_up(aim, error)?;
                    }
                }
                Ok(Outcome::Restarted) => break given_up(aim, ClientError::Restarting)?,
                Ok(Outcome::Answer(Err(error))) => {
                    break given_up(aim, ClientError::Journal(error))?;
                }
                Err(error) => break given_up(aim, error)?,
            }
        };
        self.leave_out_given_back(&mut fetched);
        fetched.left = Some(Left {
            from: transfer.last().saturating_add(1),
            to: aim.unwrap_or_default(),
            why,
        });
        Ok(fetched)
    }

    /// What was given back is no gap. Where that cannot be learnt, it stays one.
    fn leave_out_given_back(&mut self, fetched: &mut Fetched) {
        if !fetched.gaps.is_empty()
            && let Ok(first) = self.first_there()
        {
            fetched.gaps.retain(|(_, to)| *to > first);
        }
    }

    /// The first number of the adapter's journal that was not given back.
    fn first_there(&mut self) -> Result<u32, ClientError> {
        match self.give_back(&PullJournal::from_start(), 0) {
            // An adapter older than this question gives nothing back.
            Err(ClientError::Refused(Refused::Kind, _)) => Ok(1),
            other => other,
        }
    }

    /// Has the adapter free what is kept here, up to this number of its journal: all that `transfer` fetched must be kept, and have
    /// been read back. Returns the first number that was not given back before: freeing goes on when the adapter is idle.
    ///
    /// # Errors
    /// [`ClientError::Refused`] with [`Refused::Journal`] when the journal went on meanwhile, or is another.
    pub fn give_back(&mut self, transfer: &PullJournal, free: u32) -> Result<u32, ClientError> {
        self.simple(&transfer.kept(free), |reply| match *reply {
            Reply::Given { first } => Some(first),
            _ => None,
        })
    }

    /// What the sensors counted since the adapter's start.
    ///
    /// # Errors
    /// [`ClientError::Refused`] of an adapter that does not know the question.
    pub fn counts(&mut self) -> Result<Sums, ClientError> {
        self.simple(&Request::Counts, |reply| match *reply {
            Reply::Counts(sums) => Some(sums),
            _ => None,
        })
    }

    /// What is stored at a place.
    ///
    /// # Errors
    /// [`ClientError::Refused`]; [`ClientError::Unending`] beyond [`PLACE_BYTES_MAX`].
    pub fn read_back(&mut self, place: u8) -> Result<Vec<u8>, ClientError> {
        self.begin(self.patience.sending);
        let mut bytes = Vec::new();
        while let Ok(offset) = u32::try_from(bytes.len()) {
            if bytes.len() > PLACE_BYTES_MAX {
                return Err(ClientError::Unending(PLACE_BYTES_MAX));
            }
            let question = Request::Read {
                slot: place,
                offset,
            };
            let more = self.part(&question, |reply| match *reply {
                Reply::Bytes { bytes } => Some(bytes.to_vec()),
                _ => None,
            })?;
            if more.is_empty() {
                break;
            }
            bytes.extend(more);
        }
        Ok(bytes)
    }

    /// The calibrations that an adapter of so many places keeps, the newest first; those that prove themselves.
    ///
    /// # Errors
    /// As for [`Client::read_back`].
    pub fn calibrations(&mut self, places: u8) -> Result<Vec<Calibrated>, ClientError> {
        let bytes = self.read_back(places)?;
        let (entries, _sum) = bytes.as_chunks::<KEPT_BYTES>();
        let kept = entries.iter().filter_map(Kept::from_bytes);
        Ok(kept.map(|kept| Calibrated::of(&kept)).collect())
    }

    /// What is stored at a place: its digest; none where nothing is.
    ///
    /// # Errors
    /// [`ClientError::Refused`].
    pub fn stored_at(&mut self, place: u8) -> Result<Option<u32>, ClientError> {
        self.simple(&Request::Slot { slot: place }, |reply| match *reply {
            Reply::Slot { slot, length, sum } if slot == place => Some((length > 0).then_some(sum)),
            _ => None,
        })
    }

    /// Has the adapter tell what happens, this often, from here on; 0 ends it.
    ///
    /// # Errors
    /// [`ClientError::Port`] when the cable is out.
    pub fn tell_every(&mut self, every_ms: u16) -> Result<(), ClientError> {
        let request = Request::Watch { every_ms };
        self.simple(&request, |reply| {
            matches!(reply, Reply::Watching { .. }).then_some(())
        })
    }

    /// Listens for a short while, and gives what was told unasked since, oldest first.
    ///
    /// # Errors
    /// [`ClientError::Port`] when the cable is out.
    pub fn listen(&mut self) -> Result<Vec<Live>, ClientError> {
        let mut bytes = [0; 512];
        let count = self.port.receive(&mut bytes).map_err(ClientError::Port)?;
        for &byte in bytes.get(..count).unwrap_or_default() {
            if let Event::Live(live) = self.host.feed(byte) {
                keep_live(&mut self.lives, live);
            }
        }
        Ok(self.lives.drain(..).collect())
    }

    /// Has the adapter tell what happens, this often, and gives each to `see` until that says no.
    ///
    /// # Errors
    /// [`ClientError::Port`] when the cable is out; [`ClientError::Unheard`] when it stops telling.
    pub fn watch(
        &mut self,
        every_ms: u16,
        mut see: impl FnMut(&Live) -> bool,
    ) -> Result<(), ClientError> {
        self.tell_every(every_ms)?;
        let silence = self
            .patience
            .unheard
            .max(Duration::from_millis(u64::from(every_ms)).saturating_mul(3));
        let mut heard = Clock::now();
        loop {
            for live in self.listen()? {
                heard = Clock::now();
                if !see(&live) {
                    return Ok(());
                }
            }
            if heard.elapsed() > silence {
                return Err(ClientError::Unheard);
            }
        }
    }
}

/// What `take` finds in a reply; a refusal and anything else are errors.
fn wanted<T>(
    reply: &Reply<'_>,
    take: impl FnOnce(&Reply<'_>) -> Option<T>,
) -> Result<T, ClientError> {
    match *reply {
        Reply::Refused { why, at } => Err(ClientError::Refused(why, at)),
        _ => take(reply).ok_or(ClientError::WrongAnswer),
    }
}

/// The points that these bytes are; none when they are not whole points.
fn points_in(bytes: &[u8]) -> Option<Vec<Point>> {
    let (points, rest) = bytes.as_chunks();
    let points = points.iter().map(|&bytes| Point::from_bytes(bytes));
    rest.is_empty().then(|| points.collect())?
}

fn keep_live(lives: &mut std::collections::VecDeque<Live>, live: Live) {
    if lives.len() >= LIVES_MAX {
        lives.pop_front();
    }
    lives.push_back(live);
}

/// Why the rest is left, in words; where nothing was answered yet, the error itself.
fn given_up(aim: Option<u32>, error: ClientError) -> Result<String, ClientError> {
    aim.map(|_| error.to_string()).ok_or(error)
}

impl Fetched {
    /// Takes frames that prove themselves from this seed.
    fn take(&mut self, frames: &[u8], seed: u32) {
        let (mut rest, mut seed) = (frames, seed);
        while let Some((frame, sum, length)) = frame_at(rest, seed) {
            match decode_entry(&frame) {
                Ok(Some(entry)) => {
                    self.entries.push(entry);
                    self.numbers.push(frame.sequence);
                }
                Ok(None) => {}
                Err(error) => self.newer.push(Newer {
                    behind: self.entries.len(),
                    kind: frame.kind,
                    version: frame.version,
                    payload: frame.payload.to_vec(),
                    why: error.to_string(),
                }),
            }
            seed = sum;
            rest = rest.get(length..).unwrap_or_default();
        }
    }
}
