//! The hand, the desktop and the look into the flash for the emulated adapter.
//!
//! Knows nothing of how the adapter does its work: it feeds readings, presses keys, reads the display and the flash file.

#![expect(
    dead_code,
    reason = "each of the tests that share this needs another part of it"
)]

pub(crate) mod wire;

use std::fs;
use std::io::{Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use evendraw_core::journal;
use evendraw_core::link::{Event, HostEnd, Reply, Request, Ticked};
use evendraw_core::pattern::cross;
use evendraw_core::procedure::{
    Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Entry, Record};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant as At, Torque};
use evendraw_core::verdict::Verdict;
use evendraw_tests::emulator::{self, Board, FLASH};

/// How long an answer may take on a busy host.
const PATIENCE: Duration = Duration::from_secs(60);
/// Where the journal begins: behind the slots of nine areas of two sectors.
const JOURNAL: usize = 18 * 4096;
/// Counts of the load cell for one N·m, by the plate of the emulated adapter.
const COUNTS: f64 = 65_536_000.0 / 2_621.0;

/// A board and everything around it.
pub(crate) struct Rig {
    board: Board,
    feed: UnixStream,
    link: UnixStream,
    shown: Arc<Mutex<Vec<u8>>>,
    host: HostEnd,
    began: Instant,
}

/// An answer that owns its bytes.
pub(crate) struct Answer {
    reply: Reply<'static>,
    bytes: Vec<u8>,
}

impl Answer {
    /// The answer, its bytes borrowed from here.
    pub(crate) fn borrowed(&self) -> Reply<'_> {
        match self.reply {
            Reply::Frames { last, seed, .. } => Reply::Frames {
                last,
                seed,
                bytes: &self.bytes,
            },
            Reply::Curve { .. } => Reply::Curve { bytes: &self.bytes },
            Reply::Bytes { .. } => Reply::Bytes { bytes: &self.bytes },
            other => other,
        }
    }

    fn of(reply: &Reply<'_>) -> Self {
        let (reply, bytes) = match *reply {
            Reply::Frames { last, seed, bytes } => (
                Reply::Frames {
                    last,
                    seed,
                    bytes: &[],
                },
                bytes.to_vec(),
            ),
            Reply::Curve { bytes } => (Reply::Curve { bytes: &[] }, bytes.to_vec()),
            Reply::Slot { slot, length, sum } => (Reply::Slot { slot, length, sum }, Vec::new()),
            Reply::Have { slot, have } => (Reply::Have { slot, have }, Vec::new()),
            Reply::Stored { slot } => (Reply::Stored { slot }, Vec::new()),
            Reply::Working { slot, joint } => (Reply::Working { slot, joint }, Vec::new()),
            Reply::Watching { every_ms } => (Reply::Watching { every_ms }, Vec::new()),
            Reply::Told => (Reply::Told, Vec::new()),
            Reply::Given { first } => (Reply::Given { first }, Vec::new()),
            Reply::Bytes { bytes } => (Reply::Bytes { bytes: &[] }, bytes.to_vec()),
            Reply::Counts(sums) => (Reply::Counts(sums), Vec::new()),
            Reply::Anchored | Reply::Identity(_) => (Reply::Anchored, Vec::new()),
            Reply::Refused { why, at } => (Reply::Refused { why, at }, Vec::new()),
        };
        Self { reply, bytes }
    }
}

/// Feeds readings without waiting until they are taken.
pub(crate) struct Feeder(UnixStream);

impl Feeder {
    /// A load held for so many milliseconds; a board that is gone takes none.
    pub(crate) fn load(&mut self, newton_meters: f64, millis: usize) {
        let bytes = repeated(reading(newton_meters, 0.0), millis);
        let _ = self.0.write_all(&bytes);
    }
}

impl Rig {
    pub(crate) fn start(image: &Path) -> Self {
        let board = emulator::adapter(image);
        let link = board.ports[0].try_clone().expect("a socket");
        let feed = board.ports[1].try_clone().expect("a socket");
        let shown = Arc::new(Mutex::new(Vec::new()));
        // What stands in the port's buffer when the firmware sets it up is lost: let that be bytes that say nothing.
        (&feed).write_all(&[0; 32]).expect("the board lives");
        let (mut reader, all) = (feed.try_clone().expect("a socket"), Arc::clone(&shown));
        thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                all.lock()
                    .expect("no panic there")
                    .extend_from_slice(&bytes[..count]);
            }
        });
        Self {
            board,
            feed,
            link,
            shown,
            host: HostEnd::new(),
            began: Instant::now(),
        }
    }

    /// Readings at rest, a millisecond apart; returns once they are taken.
    pub(crate) fn still(&mut self, count: usize) {
        let bytes = repeated(reading(0.0, 0.0), count);
        self.feed.write_all(&bytes).expect("the board lives");
        self.stack();
    }

    /// Readings at rest, without waiting until they are taken: they are the adapter's clock.
    pub(crate) fn let_run(&mut self, count: usize) {
        let bytes = repeated(reading(0.0, 0.0), count);
        self.feed.write_all(&bytes).expect("the board lives");
    }

    /// Pulls to a torque while turning by an angle, holds, and lets go.
    pub(crate) fn pull(&mut self, newton_meters: f64, degrees: f64) {
        self.feed
            .write_all(&pull(newton_meters, degrees))
            .expect("the board lives");
        self.stack();
    }

    /// A load held for so many milliseconds while turning this fast.
    pub(crate) fn load(&mut self, newton_meters: f64, degrees_per_second: f64, millis: usize) {
        let bytes = repeated(reading(newton_meters, degrees_per_second), millis);
        self.feed.write_all(&bytes).expect("the board lives");
        self.stack();
    }

    /// The line of the sensors, for whoever feeds them beside this.
    pub(crate) fn feeder(&self) -> Feeder {
        Feeder(self.feed.try_clone().expect("a socket"))
    }

    pub(crate) fn yes(&mut self) {
        self.key(0xb1);
    }

    pub(crate) fn no(&mut self) {
        self.key(0xb2);
    }

    /// Lets the supply fall below what a pull may begin at, or brings it back.
    pub(crate) fn supply(&mut self, low: bool) {
        self.key(if low { 0xb4 } else { 0xb5 });
    }

    /// Starts the board's watchdog, then lets the sensors die: the loop goes on, and takes no reading any more.
    pub(crate) fn let_the_sensors_die(&mut self) {
        self.feed.write_all(&[0xb7]).expect("the board lives");
        self.still(50);
        self.feed.write_all(&[0xb6]).expect("the board lives");
        // What stands in the port's buffer at the start that follows is lost: let that be bytes that say nothing.
        self.feed.write_all(&[0; 32]).expect("the board lives");
    }

    fn key(&mut self, key: u8) {
        self.feed.write_all(&[key]).expect("the board lives");
        self.still(120);
    }

    /// Makes a circle of bolts to 20 N·m in two stages, with keys alone.
    pub(crate) fn make_circle(&mut self, bolts: u16) {
        assert!(self.page().contains("Eyes protected"), "{}", self.page());
        self.yes();
        assert!(self.page().contains("New bolt circle"), "{}", self.page());
        self.yes();
        for _ in 3..bolts {
            self.no();
        }
        self.yes();
        for _ in 0..9 {
            self.no();
        }
        self.yes();
        // No angle.
        self.yes();
        self.still(600);
    }

    /// Bytes of stack ever used. The answer comes only after all that was fed before is taken.
    pub(crate) fn stack(&mut self) -> u32 {
        let from = self.shown.lock().expect("no panic there").len();
        self.feed.write_all(&[0xb3]).expect("the board lives");
        let began = Instant::now();
        loop {
            {
                let shown = self.shown.lock().expect("no panic there");
                let mut rest = &shown[from..];
                // A page that was under way may end first.
                while let Some((&first, after)) = rest.split_first() {
                    match first {
                        2 if after.len() >= 81 => rest = &after[81..],
                        3 if after.len() >= 4 => {
                            return u32::from_le_bytes([after[0], after[1], after[2], after[3]]);
                        }
                        2 | 3 => break,
                        _ => rest = after,
                    }
                }
            }
            assert!(began.elapsed() < PATIENCE, "the board does not answer");
            thread::sleep(Duration::from_millis(1));
        }
    }

    /// What the display shows, line after line.
    pub(crate) fn page(&self) -> String {
        let shown = self.shown.lock().expect("no panic there");
        let start = pages(&shown).last().map_or(0, |(at, _)| at + 2);
        String::from_utf8_lossy(shown.get(start..start + 80).unwrap_or_default()).into_owned()
    }

    /// The link's two directions, for whoever relays it.
    pub(crate) fn link(&self) -> (UnixStream, UnixStream) {
        let own = || self.link.try_clone().expect("a socket");
        let from = own();
        from.set_read_timeout(Some(Duration::from_millis(20)))
            .expect("a timeout");
        (own(), from)
    }

    pub(crate) fn identify(&mut self) {
        let answer = self.ask(&Request::Identify { nonce: 77 });
        assert!(matches!(answer.reply, Reply::Anchored));
    }

    /// Asks over the link until it is answered; readings at rest go on meanwhile, because they are the adapter's clock.
    pub(crate) fn ask(&mut self, request: &Request<'_>) -> Answer {
        let now = |began: Instant| {
            At::from_micros(u64::try_from(began.elapsed().as_micros()).unwrap_or(u64::MAX))
        };
        let bytes = self
            .host
            .ask(request, now(self.began))
            .expect("one question at a time");
        self.link.write_all(bytes).expect("the board lives");
        self.link
            .set_read_timeout(Some(Duration::from_millis(20)))
            .expect("a timeout");
        let began = Instant::now();
        let mut bytes = [0; 512];
        loop {
            self.feed
                .write_all(&repeated(reading(0.0, 0.0), 20))
                .expect("the board lives");
            let count = self.link.read(&mut bytes).unwrap_or(0);
            for &byte in &bytes[..count] {
                match self.host.feed(byte) {
                    Event::Answer(reply) => return Answer::of(&reply),
                    Event::Restarted => panic!("the adapter started again"),
                    Event::Nothing | Event::Live(_) => {}
                }
            }
            match self.host.tick(now(self.began)) {
                Ticked::SendAgain => self
                    .link
                    .write_all(self.host.outgoing())
                    .expect("the board lives"),
                Ticked::GaveUp => panic!("no answer to {request:?}"),
                Ticked::Nothing => {}
            }
            assert!(began.elapsed() < PATIENCE, "no answer to {request:?}");
        }
    }

    pub(crate) fn cut(&mut self) {
        self.board.cut();
    }

    /// Works as fast as the board takes readings, until it is over and the power is cut; the verdicts that were told.
    pub(crate) fn work_until(
        &mut self,
        newton_meters: f64,
        mut is_over: impl FnMut(&Self) -> bool,
    ) -> Worked {
        let mut feed = self.feed.try_clone().expect("a socket");
        let feeder = thread::spawn(move || {
            // Two keys answer what an attempt that was cut off asks: to be loosened, and that it is done.
            let mut bytes = repeated(reading(0.0, 0.0), 40);
            bytes.push(0xb1);
            bytes.extend(repeated(reading(0.0, 0.0), 60));
            if feed.write_all(&bytes).is_err() {
                return;
            }
            loop {
                // What the first stage asks for; there are more bolts than this test gets to.
                let mut bytes = vec![0xb1];
                bytes.extend(repeated(reading(0.0, 0.0), 120));
                bytes.extend(pull(newton_meters, 30.0));
                if feed.write_all(&bytes).is_err() {
                    return;
                }
            }
        });
        while !is_over(self) {
            thread::sleep(Duration::from_millis(1));
        }
        let told = self.told();
        // The emulator hands what is programmed to the host's file a moment later than a chip would have it.
        thread::sleep(Duration::from_millis(20));
        self.cut();
        feeder.join().expect("the feeder ends with the board");
        Worked {
            told,
            first: self.first_next(),
        }
    }

    /// The first page that asked for something at a fastener.
    fn first_next(&self) -> Option<String> {
        let shown = self.shown.lock().expect("no panic there");
        pages(&shown).find_map(|(at, _)| {
            let page = String::from_utf8_lossy(shown.get(at + 2..at + 82)?).into_owned();
            (page.starts_with("NEXT ") || page.starts_with("PULL ON ")).then_some(page)
        })
    }

    /// How many verdicts were told as good so far.
    pub(crate) fn told(&self) -> usize {
        let shown = self.shown.lock().expect("no panic there");
        let mut last = false;
        let mut told = 0;
        for (_, letter) in pages(&shown) {
            let good = letter == b'G';
            told += usize::from(good && !last);
            last = good;
        }
        told
    }

    /// Cuts the power; what the adapter logged, decoded, without its times.
    pub(crate) fn cut_and_read_log(&mut self) -> String {
        let raw = self.board.cut_and_read();
        let elf = fs::read(emulator::firmware("adapter_ast1030")).expect("the firmware");
        let table = defmt_decoder::Table::parse(&elf)
            .expect("a table")
            .expect("a table");
        let mut decoder = table.new_stream_decoder();
        decoder.received(&raw);
        let mut text = String::new();
        while let Ok(frame) = decoder.decode() {
            let level = frame.level().map_or("", |level| level.as_str());
            text.push_str(&format!("{level} {}\n", frame.display_message()));
        }
        text
    }
}

/// What came of working until the power was cut.
pub(crate) struct Worked {
    /// Verdicts told as good.
    pub(crate) told: usize,
    /// The first page that asked for something at a fastener, if it came to that.
    pub(crate) first: Option<String>,
}

fn pages(shown: &[u8]) -> impl Iterator<Item = (usize, u8)> {
    let mut at = 0;
    std::iter::from_fn(move || {
        loop {
            match shown.get(at)? {
                2 if shown.len() >= at + 82 => {
                    let found = (at, shown[at + 1]);
                    at += 82;
                    return Some(found);
                }
                2 => return None,
                3 => at += 5,
                _ => at += 1,
            }
        }
    })
}

fn reading(newton_meters: f64, degrees_per_second: f64) -> Vec<u8> {
    reading_after(1, newton_meters, degrees_per_second)
}

fn reading_after(millis: u16, newton_meters: f64, degrees_per_second: f64) -> Vec<u8> {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "both are far inside their range"
    )]
    let (bridge, rate) = (
        (newton_meters * COUNTS) as i32,
        (degrees_per_second / 0.07) as i16,
    );
    let mut bytes = vec![0xa5];
    bytes.extend_from_slice(&(millis * 1_000).to_le_bytes());
    bytes.extend_from_slice(&bridge.to_le_bytes()[..3]);
    bytes.extend_from_slice(&rate.to_le_bytes());
    bytes
}

/// A reading, so many times in all.
fn repeated(mut reading: Vec<u8>, count: usize) -> Vec<u8> {
    let again = u16::try_from(count - 1).expect("a short rest");
    reading.push(0xa6);
    reading.extend_from_slice(&again.to_le_bytes());
    reading
}

fn pull(newton_meters: f64, degrees: f64) -> Vec<u8> {
    let mut bytes = Vec::new();
    for tick in 0..125 {
        bytes.extend(reading_after(
            4,
            newton_meters * f64::from(tick) / 125.0,
            degrees / 0.5,
        ));
    }
    bytes.extend(repeated(reading(newton_meters, 0.0), 20));
    for tick in (0..10).rev() {
        bytes.extend(reading(newton_meters * f64::from(tick) / 10.0, 0.0));
    }
    // Long enough for the attempt to be over.
    bytes.extend(repeated(reading_after(5, 0.0, 0.0), 300));
    bytes
}

/// A chip fresh from the factory.
pub(crate) fn blank_flash(folder: &Path) -> PathBuf {
    let path = folder.join("flash.img");
    fs::write(&path, vec![0xff; FLASH]).expect("the image");
    path
}

/// A chip whose journal part was used for something else.
pub(crate) fn used_flash(folder: &Path) -> PathBuf {
    let path = folder.join("flash.img");
    let mut bytes = vec![0xff; FLASH];
    bytes[JOURNAL..].fill(0x33);
    fs::write(&path, bytes).expect("the image");
    path
}

/// Every record in the flash image, in order, read by the written format alone: the unbroken run of sectors that ends with the newest.
/// A sector behind a gap is none of it. The emulator hands what is programmed to the host's file by several threads, so that a cut may
/// leave a later sector marked as given back and an earlier one not.
pub(crate) fn entries(image: &Path) -> Vec<Entry> {
    let bytes = fs::read(image).expect("the image");
    let word =
        |at: usize| u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]);
    let mut sectors: Vec<(u32, usize)> = (JOURNAL..bytes.len())
        .step_by(4096)
        .filter(|&at| bytes[at..].starts_with(b"EDJ1"))
        .map(|at| (word(at + 4), at))
        .collect();
    sectors.sort_unstable();
    let newest = sectors.last().map_or(0, |&(number, _)| number);
    let behind = (newest + 1).saturating_sub(u32::try_from(sectors.len()).expect("few"));
    let run = sectors.iter().rev().zip((behind..=newest).rev());
    let run = run.take_while(|&(&(number, _), due)| number == due).count();
    let mut found: Vec<Entry> = Vec::new();
    for &(_, at) in sectors.iter().skip(sectors.len() - run) {
        let (mut seed, mut offset) = (word(at + 16), at + 20);
        while let Some((frame, sum, length)) = journal::frame_at(&bytes[offset..at + 4096], seed) {
            found.push(
                journal::decode_entry(&frame)
                    .expect("a record")
                    .expect("a record"),
            );
            seed = sum;
            offset += length;
        }
    }
    found
}

/// The only procedure on the slots.
pub(crate) fn procedure(image: &Path) -> Option<Procedure> {
    let bytes = fs::read(image).ok()?;
    let at = (0..JOURNAL)
        .step_by(8192)
        .find(|&at| bytes[at..].starts_with(b"EDP1"))?;
    let length = u32::from_le_bytes([
        bytes[at + 12],
        bytes[at + 13],
        bytes[at + 14],
        bytes[at + 15],
    ]);
    Procedure::decode(&bytes[at + 24..][..usize::try_from(length).ok()?]).ok()
}

/// How many attempts came to this verdict.
pub(crate) fn attempts(entries: &[Entry], verdict: Verdict) -> usize {
    let judged = |entry: &&Entry| matches!(&entry.record, Record::Attempt(attempt) if attempt.verdict == verdict);
    entries.iter().filter(judged).count()
}

/// A circle of bolts to 10 N·m, as a desktop would send it.
pub(crate) fn circle(bolts: u8) -> Procedure {
    let mut order = vec![0; usize::from(bolts)];
    cross(&mut order).expect("enough bolts");
    let fasteners: Vec<Fastener> = (1..=bolts)
        .map(|number| Fastener {
            label: Label::cut(&number.to_string()),
            near: [None; 4],
        })
        .collect();
    let torque = Torque::from_millinewton_meters;
    let window = TorqueWindow {
        target: torque(10_000),
        min: torque(9_600),
        max: torque(10_400),
    };
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &[Stage::new(StageKind::Tighten {
            window,
            prevailing: Prevailing::None,
        })],
        steps: &order
            .iter()
            .map(|&fastener| Step::on(fastener, 0))
            .collect::<Vec<_>>(),
        overrides: &[],
        terms: Terms::default(),
    })
    .expect("sound parts")
}
