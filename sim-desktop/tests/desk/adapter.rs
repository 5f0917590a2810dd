//! An adapter in a thread: the core's session behind the core's end of the link, at a socket in the file system.
//!
//! It keeps its records in memory and reads a hand that pulls when told. The real firmware is driven in the emulator, elsewhere.

use std::collections::VecDeque;
use std::io::{ErrorKind, Read as _, Write as _};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, Sender, TryRecvError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant as Clock};

use evendraw_core::journal::{FIRST_SEED, OVERHEAD, decode_entry, encode_entry, frame_at};
use evendraw_core::limits::PAYLOAD_MAX;
use evendraw_core::link::{
    AdapterEnd, CURVE_MAX, Heard, Identity, Live, Refused, Reply, Request, Staging, Tell,
};
use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Entry, RULES};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Readout, Refusal, Session};
use evendraw_core::trace::Point;
use evendraw_core::tracker::Cue;
use evendraw_core::unit::{Instant, Rotation, Torque};
use evendraw_core::verdict::Reason;

/// Readings come this far apart, in the adapter's own time.
const EVERY_MICROS: u64 = 2_000;
/// Readings taken in one turn of about 2 ms: the adapter lives ten times as fast as the wall clock.
const A_TURN: usize = 10;

/// What to have it do.
pub(crate) enum Do {
    /// Pull to this torque, in N·m, through as many degrees, and let go.
    Pull(f64),
    /// Pull to this torque and stay there.
    Hold(f64),
    /// Let go of what is held.
    LetGo,
    /// Cut the line; its power stays on.
    Cut,
    /// Put the line back.
    PutBack,
    /// Keep the next starts as of a rehearsal: what no adapter does.
    Rehearse,
    /// End.
    Off,
}

/// An adapter, running.
pub(crate) struct Adapter {
    orders: Sender<Do>,
    thread: Option<JoinHandle<Vec<Entry>>>,
}

impl Adapter {
    /// With its socket at this path; with records it has from before.
    pub(crate) fn start(path: &Path, serial: &'static str, before: Vec<Entry>) -> Self {
        let (orders, ordered) = mpsc::channel();
        let path = path.to_owned();
        let thread = thread::spawn(move || Board::new(path, serial, before).run(&ordered));
        Self {
            orders,
            thread: Some(thread),
        }
    }

    pub(crate) fn order(&self, order: Do) {
        self.orders.send(order).expect("it runs");
    }

    /// Switches it off; what it recorded.
    pub(crate) fn off(mut self) -> Vec<Entry> {
        self.order(Do::Off);
        let thread = self.thread.take().expect("it runs");
        thread.join().expect("no panic there")
    }
}

struct Board {
    path: PathBuf,
    serial: &'static str,
    listener: Option<UnixListener>,
    line: Option<UnixStream>,
    end: AdapterEnd,
    staging: Staging,
    staged: Vec<u8>,
    stored: [Option<Vec<u8>>; 3],
    session: Option<Session<Arc<Procedure>>>,
    entries: Vec<Entry>,
    frames: Vec<(u32, Vec<u8>)>,
    seed: u32,
    boot: u16,
    rehearsal: bool,
    now: u64,
    hand: VecDeque<(f64, f64)>,
    held: f64,
    turned: f64,
    every: Option<Duration>,
    told: Clock,
    cue: Cue,
    halt: Option<Reason>,
}

impl Board {
    fn new(path: PathBuf, serial: &'static str, before: Vec<Entry>) -> Self {
        let mut board = Self {
            path,
            serial,
            listener: None,
            line: None,
            end: AdapterEnd::new(1),
            staging: Staging::new(),
            staged: Vec::new(),
            stored: [None, None, None],
            session: None,
            entries: Vec::new(),
            frames: Vec::new(),
            seed: FIRST_SEED,
            boot: before.last().map_or(0, |entry| entry.boot),
            rehearsal: false,
            now: before.last().map_or(0, |entry| entry.at.micros()),
            hand: VecDeque::new(),
            held: 0.0,
            turned: 0.0,
            every: None,
            told: Clock::now(),
            cue: Cue::None,
            halt: None,
        };
        for entry in before {
            board.keep(entry);
        }
        board.listen();
        board
    }

    fn listen(&mut self) {
        let _ = std::fs::remove_file(&self.path);
        let listener = UnixListener::bind(&self.path).expect("a socket");
        listener.set_nonblocking(true).expect("a socket");
        self.listener = Some(listener);
    }

    fn run(mut self, ordered: &Receiver<Do>) -> Vec<Entry> {
        loop {
            match ordered.try_recv() {
                Ok(Do::Pull(torque)) => {
                    self.hold(torque);
                    self.let_go();
                }
                Ok(Do::Hold(torque)) => self.hold(torque),
                Ok(Do::LetGo) => self.let_go(),
                Ok(Do::Cut) => {
                    self.line = None;
                    self.listener = None;
                    let _ = std::fs::remove_file(&self.path);
                }
                Ok(Do::PutBack) => self.listen(),
                Ok(Do::Rehearse) => self.rehearsal = true,
                Ok(Do::Off) | Err(TryRecvError::Disconnected) => break,
                Err(TryRecvError::Empty) => {}
            }
            for _ in 0..A_TURN {
                self.read();
            }
            self.hear();
            self.tell();
            thread::sleep(Duration::from_millis(2));
        }
        let _ = std::fs::remove_file(&self.path);
        self.entries
    }

    fn hold(&mut self, torque: f64) {
        let begin = self.turned;
        for tick in 0..=900 {
            let share = f64::from(tick) / 900.0;
            self.hand
                .push_back((torque * share, begin + torque * share));
        }
        self.hand.extend([(torque, begin + torque); 20]);
        self.turned = begin + torque;
    }

    fn let_go(&mut self) {
        let (torque, at) = self
            .hand
            .back()
            .copied()
            .unwrap_or((self.held, self.turned));
        for tick in (0..10).rev() {
            self.hand.push_back((torque * f64::from(tick) / 10.0, at));
        }
        self.hand.extend([(0.0, at); 1_500]);
    }

    /// Takes a reading; with nobody at it the hand stays where it is.
    fn read(&mut self) {
        let (torque, angle) = self.hand.pop_front().unwrap_or((self.held, self.turned));
        self.held = torque;
        self.now += EVERY_MICROS;
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a hand's torque and angle, both small"
        )]
        let sample = Sample {
            torque: Torque::from_millinewton_meters((torque * 1_000.0) as i32),
            rotation: Rotation::from_millidegrees((angle * 1_000.0) as i32),
        };
        self.apply(Input::Sample(sample));
    }

    fn apply(&mut self, input: Input<'_>) -> Option<Refusal> {
        let Some(session) = &mut self.session else {
            return Some(Refusal::NotStarted);
        };
        let outcome = session.apply(Instant::from_micros(self.now), input);
        if session.is_in_pull() {
            self.cue = outcome.cue;
            self.halt = outcome.halt.or(self.halt);
        } else {
            self.cue = Cue::None;
            self.halt = None;
        }
        let made = outcome.entries().to_vec();
        let last = made.last().map(|entry| entry.seq);
        for entry in made {
            self.keep(entry);
        }
        if let Some(seq) = last {
            self.apply(Input::Durable { seq });
        }
        outcome.refusal
    }

    fn keep(&mut self, entry: Entry) {
        let mut room = [0; PAYLOAD_MAX + OVERHEAD];
        let sequence = u32::try_from(self.frames.len() + 1).expect("few");
        let frame = encode_entry(&entry, sequence, self.seed, &mut room).expect("fits");
        self.frames.push((self.seed, frame.to_vec()));
        let (_, sum) = frame.split_at(frame.len() - 4);
        self.seed = u32::from_le_bytes(sum.try_into().expect("four bytes"));
        self.entries.push(entry);
    }

    fn hear(&mut self) {
        if let Some(listener) = &self.listener
            && let Ok((line, _)) = listener.accept()
        {
            line.set_nonblocking(true).expect("a socket");
            self.line = Some(line);
        }
        let Some(line) = &mut self.line else { return };
        let mut bytes = [0; 1024];
        let count = match line.read(&mut bytes) {
            Ok(0) => {
                self.line = None;
                return;
            }
            Ok(count) => count,
            Err(error) if error.kind() == ErrorKind::WouldBlock => return,
            Err(_) => {
                self.line = None;
                return;
            }
        };
        for &byte in &bytes[..count] {
            let question = match self.end.feed(byte) {
                Heard::Nothing => continue,
                Heard::Send(again) => {
                    let again = again.to_vec();
                    self.send(&again);
                    continue;
                }
                Heard::Question(Request::Piece {
                    slot,
                    offset,
                    bytes,
                }) => {
                    let reply = match self.staging.piece(slot, offset, bytes) {
                        Ok(taken) => {
                            self.staged.truncate(taken.offset as usize);
                            self.staged.extend_from_slice(taken.bytes);
                            self.staging.wrote(slot, taken)
                        }
                        Err(why) => why.reply(),
                    };
                    let answer = self.end.answer(&reply).expect("fits").to_vec();
                    self.send(&answer);
                    continue;
                }
                Heard::Question(Request::Tell(tell)) => {
                    let text = tell.text.to_owned();
                    let tell = Tell {
                        what: tell.what,
                        which: tell.which,
                        value: tell.value,
                        second: tell.second,
                        text: &text,
                    };
                    let mut readout = Readout::NOTHING;
                    let reply = match tell.input(&mut readout).map(|input| self.apply(input)) {
                        Some(None) => Reply::Told,
                        _ => Reply::Refused {
                            why: Refused::Session,
                            at: 0,
                        },
                    };
                    let answer = self.end.answer(&reply).expect("fits").to_vec();
                    self.send(&answer);
                    continue;
                }
                Heard::Question(Request::Carry { bytes }) => {
                    let (frame, ..) = frame_at(bytes, FIRST_SEED).expect("it proves itself");
                    let entry = decode_entry(&frame).expect("a record").expect("a record");
                    let reply = self.carried(entry);
                    let answer = self.end.answer(&reply).expect("fits").to_vec();
                    self.send(&answer);
                    continue;
                }
                Heard::Question(question) => question.without_bytes(),
            };
            self.answer(question);
        }
    }

    fn answer(&mut self, question: Request<'static>) {
        let last = u32::try_from(self.frames.len()).expect("few");
        let mut gathered = Vec::new();
        let reply = match question {
            Request::Identify { nonce } => Reply::Identity(Identity {
                nonce,
                boot: 1,
                rules: RULES,
                slots: 3,
                last,
                capacity: Torque::from_millinewton_meters(200_000),
                serial: self.serial,
                firmware: "of this test",
            }),
            Request::Slot { slot } => {
                let stored = self.stored[usize::from(slot)].as_deref();
                let made = stored.and_then(|blob| Procedure::decode(blob).ok());
                Reply::Slot {
                    slot,
                    length: stored.map_or(0, |blob| u32::try_from(blob.len()).expect("short")),
                    sum: made.map_or(0, |made| made.digest()),
                }
            }
            Request::Offer { slot, length, sum } => self.staging.offer(slot, length, sum),
            Request::Commit { slot } => match self.staging.commit(slot) {
                Ok(_) => {
                    self.stored[usize::from(slot)] = Some(self.staged.clone());
                    Reply::Stored { slot }
                }
                Err(why) => why.reply(),
            },
            Request::Work { slot, joint } => self.work(slot, joint),
            Request::Pull { from } => {
                let first = usize::try_from(from.saturating_sub(1)).expect("few");
                let seed = self.frames.get(first).map_or(0, |(seed, _)| *seed);
                for (_, frame) in self.frames.iter().skip(first) {
                    if gathered.len() + frame.len() > 256 {
                        break;
                    }
                    gathered.extend_from_slice(frame);
                }
                Reply::Frames {
                    last,
                    seed,
                    bytes: &gathered,
                }
            }
            Request::Curve { from } => {
                if let Some(session) = &self.session {
                    let points = session.trace().points().skip(usize::from(from));
                    gathered.extend(
                        points
                            .take(CURVE_MAX / Point::BYTES)
                            .flat_map(Point::to_bytes),
                    );
                }
                Reply::Curve { bytes: &gathered }
            }
            Request::Watch { every_ms } => {
                self.every = (every_ms > 0).then(|| Duration::from_millis(u64::from(every_ms)));
                Reply::Watching { every_ms }
            }
            Request::Anchor { unix_seconds } => {
                self.apply(Input::Anchor { unix_seconds });
                Reply::Anchored
            }
            _ => Reply::Refused {
                why: Refused::Kind,
                at: 0,
            },
        };
        let answer = self.end.answer(&reply).expect("fits").to_vec();
        self.send(&answer);
    }

    /// Takes a record made elsewhere, as the firmware does.
    fn carried(&mut self, entry: Entry) -> Reply<'static> {
        self.session = None;
        let own = self.entries.iter().filter(|own| own.joint == entry.joint);
        let last = own.map(|own| own.seq).max().unwrap_or(0);
        if entry.seq > last + 1 {
            return Reply::Refused {
                why: Refused::Session,
                at: 0,
            };
        }
        if entry.seq == last + 1 {
            self.boot = self.boot.max(entry.boot);
            self.keep(entry);
        }
        Reply::Told
    }

    fn work(&mut self, slot: u8, joint: u8) -> Reply<'static> {
        let refused = Reply::Refused {
            why: Refused::Session,
            at: 0,
        };
        let stored = self.stored[usize::from(slot)].as_deref();
        let Some(made) = stored.and_then(|blob| Procedure::decode(blob).ok()) else {
            return refused;
        };
        let Ok(session) = Session::restore(Arc::new(made), joint, &self.entries) else {
            return refused;
        };
        self.session = Some(session);
        self.boot += 1;
        self.apply(Input::Start {
            boot: self.boot,
            rehearsal: self.rehearsal,
        });
        Reply::Working { slot, joint }
    }

    fn tell(&mut self) {
        let Some(every) = self.every else { return };
        if self.line.is_none() || self.told.elapsed() < every {
            return;
        }
        self.told = Clock::now();
        let live = self.session.as_ref().map(Session::live).unwrap_or_default();
        let step = match self.session.as_ref().map(Session::next) {
            Some(Next::Pull { step }) => Some(step),
            _ => None,
        };
        let live = Live {
            at: Instant::from_micros(self.now),
            torque: live.torque,
            peak: live.peak,
            angle: live.angle,
            step,
            pulls: live.pulls,
            cue: self.cue,
            halt: self.halt,
            last: u32::try_from(self.frames.len()).expect("few"),
        };
        let mut room = [0; 64];
        let bytes = self.end.live(&live, &mut room).expect("fits").to_vec();
        self.send(&bytes);
    }

    fn send(&mut self, bytes: &[u8]) {
        let Some(line) = &mut self.line else { return };
        let mut rest = bytes;
        while !rest.is_empty() {
            match line.write(rest) {
                Ok(count) => rest = &rest[count..],
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    thread::sleep(Duration::from_millis(1));
                }
                Err(_) => {
                    self.line = None;
                    return;
                }
            }
        }
    }
}
