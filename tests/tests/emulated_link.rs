//! The link of the emulated adapter over a line that loses, damages, repeats and invents bytes, the adapter restarted now and then:
//! what the host ends up with is the adapter's journal, byte for byte.

mod adapter_rig;

use std::io::{Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};

use adapter_rig::{Rig, blank_flash, entries};
use evendraw_core::journal::{Found, Scan, decode_entry};
use evendraw_core::link::{Event, HostEnd, PullJournal, Reply, Request, Ticked};
use evendraw_core::record::Entry;
use evendraw_core::unit::{Instant, Span};

/// Frames that both ends send.
const FRAMES: u32 = 10_000;
/// Questions between two restarts of the adapter.
const RESTART_EVERY: u32 = 400;

/// A line in one direction. Its seed repeats it, as far as the host's clock allows.
struct Line(u64);

impl Line {
    fn one_in(&mut self, count: u64) -> bool {
        // xorshift64 [Marsaglia 2003, "Xorshift RNGs"].
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11).is_multiple_of(count)
    }

    /// What arrives of bytes that are sent together.
    fn carry(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut arrived = Vec::new();
        if self.one_in(40) {
            return arrived;
        }
        for &byte in bytes {
            if self.one_in(2_000) {
                continue;
            }
            if self.one_in(2_000) {
                arrived.push(byte.rotate_left(3));
            }
            let flipped = if self.one_in(1_500) { 0x10 } else { 0 };
            arrived.push(byte ^ flipped);
        }
        if self.one_in(12) {
            arrived.extend_from_within(..);
        }
        arrived
    }
}

/// The adapter, the line and the host.
struct Meeting {
    rig: Rig,
    image: PathBuf,
    streams: (UnixStream, UnixStream),
    down: Line,
    up: Line,
    quiet: bool,
    under_way: Vec<u8>,
    host: HostEnd,
    /// The host's clock, µs: it runs ahead where nothing comes.
    clock: u64,
    nonce: u32,
    identified: bool,
    frames: u32,
    restarts: u32,
}

impl Meeting {
    fn new(image: &Path) -> Self {
        let mut rig = Rig::start(image);
        rig.still(400);
        Self {
            streams: rig.link(),
            rig,
            image: image.to_path_buf(),
            down: Line(0x5eed),
            up: Line(0xfeed),
            quiet: false,
            under_way: Vec::new(),
            host: HostEnd::new(),
            clock: 0,
            nonce: 0,
            identified: false,
            frames: 0,
            restarts: 0,
        }
    }

    fn now(&self) -> Instant {
        Instant::from_micros(self.clock)
    }

    /// Asks until it is answered, whatever the line does; the adapter's restart included.
    fn ask<T>(&mut self, request: &Request<'_>, mut take: impl FnMut(&Reply<'_>) -> T) -> T {
        loop {
            if !self.identified {
                self.nonce += 1;
                let identify = Request::Identify { nonce: self.nonce };
                self.identified = self.asked_once(&identify, |_| ()).is_some();
            } else if let Some(taken) = self.asked_once(request, &mut take) {
                return taken;
            }
        }
    }

    /// One question; nothing when it is given up or the adapter turns out to have started again.
    fn asked_once<T>(
        &mut self,
        request: &Request<'_>,
        mut take: impl FnMut(&Reply<'_>) -> T,
    ) -> Option<T> {
        let now = self.now();
        let question = self.host.ask(request, now).expect("one at a time").to_vec();
        self.send(&question);
        let mut bytes = [0; 1024];
        loop {
            let count = self.streams.1.read(&mut bytes).unwrap_or(0);
            if count == 0 {
                self.rig.let_run(20);
            }
            let arrived = self.arrived(&bytes[..count]);
            for byte in arrived {
                match self.host.feed(byte) {
                    Event::Answer(reply) => return Some(take(&reply)),
                    Event::Restarted => {
                        self.identified = false;
                        return None;
                    }
                    Event::Nothing | Event::Live(_) => {}
                }
            }
            // Nothing for 20 ms of this machine is as good as its patience on a slow line.
            self.clock += if count == 0 { 700_000 } else { 100 };
            match self.host.tick(self.now()) {
                Ticked::SendAgain => {
                    let again = self.host.outgoing().to_vec();
                    self.send(&again);
                }
                Ticked::GaveUp => return None,
                Ticked::Nothing => {}
            }
        }
    }

    /// What arrives of what the board sends, a frame at a time: bytes come one by one, but a cable fails for longer.
    fn arrived(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut arrived = Vec::new();
        for &byte in bytes {
            self.under_way.push(byte);
            if byte != 0 {
                continue;
            }
            // A zero stands at either end of a frame.
            self.frames += u32::from(self.under_way.len() > 1);
            if self.quiet {
                arrived.append(&mut self.under_way);
            } else {
                arrived.extend(self.up.carry(&self.under_way));
                self.under_way.clear();
            }
        }
        arrived
    }

    fn send(&mut self, bytes: &[u8]) {
        self.frames += 1;
        let arrived = if self.quiet {
            bytes.to_vec()
        } else {
            self.down.carry(bytes)
        };
        self.streams.0.write_all(&arrived).expect("the board lives");
    }

    /// Power off and on, and one more pull.
    fn restart(&mut self) {
        self.rig.cut();
        self.rig = Rig::start(&self.image);
        self.streams = self.rig.link();
        self.under_way.clear();
        self.rig.still(400);
        self.rig.yes();
        self.rig.pull(10.1, 30.0);
        self.restarts += 1;
    }

    /// The whole journal once more from its beginning.
    fn pull_all(&mut self) -> Vec<u8> {
        let mut pull = PullJournal::from_start();
        let mut journal = Vec::new();
        loop {
            let request = pull.request();
            let more = self.ask(&request, |reply| {
                let step = pull.answered(reply).expect("frames that prove themselves");
                assert_eq!(step.gap, None);
                journal.extend_from_slice(step.frames);
                step.more
            });
            if !more {
                return journal;
            }
        }
    }
}

fn read(journal: &[u8]) -> Vec<Entry> {
    Scan::new(journal)
        .map(|found| match found {
            Found::Frame { frame, .. } => decode_entry(&frame)
                .expect("a record")
                .expect("not a host's"),
            other => panic!("{other:?}"),
        })
        .collect()
}

#[test]
fn ten_thousand_frames_over_a_bad_line_bring_the_adapters_own_journal() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut meeting = Meeting::new(&image);
    meeting.rig.make_circle(64);
    for _ in 0..24 {
        meeting.rig.pull(10.1, 30.0);
    }
    let mut journal = Vec::new();
    let mut questions = 0;
    while meeting.frames < FRAMES {
        let again = meeting.pull_all();
        assert!(
            again.starts_with(&journal),
            "what was pulled once is pulled the same again"
        );
        journal = again;
        if meeting.frames / RESTART_EVERY > questions {
            questions = meeting.frames / RESTART_EVERY;
            meeting.restart();
        }
    }
    meeting.quiet = true;
    journal = meeting.pull_all();
    meeting.rig.cut();
    let kept = entries(&image);
    println!(
        "{} frames, {} restarts, {} records, the same at both ends",
        meeting.frames,
        meeting.restarts,
        kept.len()
    );
    assert_eq!(read(&journal), kept);
    assert!(
        meeting.restarts > 10 && kept.len() > 60,
        "too little happened"
    );
    assert!(
        meeting.clock > Span::from_seconds(60).micros(),
        "the line was not that bad"
    );
}
