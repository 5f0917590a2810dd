//! The whole adapter on the smallest board: a Cortex-M0 with 16 KiB of RAM and its journal in the chip's own flash.
//!
//! One line carries the link and what is fed, so the hand here writes both and reads one.

use std::ffi::OsString;
use std::io::{Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::time::{Duration, Instant as Clock};

use evendraw_core::journal::{Found, Scan, decode_entry};
use evendraw_core::link::{Event, HostEnd, PullJournal, Reply, Request, SendProcedure, SendStep};
use evendraw_core::procedure::{
    Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::Record;
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Torque};
use evendraw_core::verdict::Verdict;
use evendraw_tests::emulator::{self, Board, SMALLEST_TARGET, Setup};

/// RAM of the chip, less what is not stack (16 bytes) and a little to spare.
const STACK_BUDGET: u32 = 16 * 1024 - 128;
const PATIENCE: Duration = Duration::from_secs(60);

struct Small {
    line: UnixStream,
    host: HostEnd,
    began: Clock,

    _board: Board,
}

impl Small {
    fn start() -> Self {
        let mut board = Board::start(&Setup {
            machine: "microbit",
            firmware: emulator::firmware_for(SMALLEST_TARGET, "adapter_microbit"),
            ports: 1,
            more: ["-semihosting-config", "enable=on,target=native"]
                .map(OsString::from)
                .to_vec(),
            ..Setup::default()
        });
        let mut line = board.ports.remove(0);
        // What stands in the port's buffer when the firmware sets it up is lost: let that be bytes that say nothing.
        line.write_all(&[0xff; 32]).expect("the board lives");
        line.set_read_timeout(Some(Duration::from_millis(20)))
            .expect("a timeout");
        line.set_write_timeout(Some(PATIENCE)).expect("a timeout");
        Self {
            line,
            host: HostEnd::new(),
            began: Clock::now(),
            _board: board,
        }
    }

    fn now(&self) -> Instant {
        let micros = u64::try_from(self.began.elapsed().as_micros()).expect("a short test");
        Instant::from_micros(micros)
    }

    /// A reading, so many times: mN·m and degrees a second, a millisecond apart.
    fn feed(&mut self, torque: i64, rate: i16, times: u16) {
        let bridge = torque * 65_536 / 2_621;
        let mut bytes = vec![0xa5];
        bytes.extend_from_slice(&1_000_u16.to_le_bytes());
        bytes.extend_from_slice(&bridge.to_le_bytes()[..3]);
        bytes.extend_from_slice(&(rate * 100 / 7).to_le_bytes());
        if times > 1 {
            bytes.push(0xa6);
            bytes.extend_from_slice(&(times - 1).to_le_bytes());
        }
        self.line.write_all(&bytes).expect("the board lives");
    }

    fn pull(&mut self, torque: i64) {
        for part in 1..=100 {
            self.feed(torque * part / 100, 40, 3);
        }
        self.feed(torque, 0, 20);
        self.feed(torque / 2, 0, 5);
        self.feed(0, 0, 1_500);
    }

    /// Asks until it is answered, and gives the answer to `take`; readings at rest keep the board's clock going.
    fn ask<T>(&mut self, request: &Request<'_>, take: impl FnOnce(Reply<'_>) -> T) -> T {
        let question = self
            .host
            .ask(request, self.now())
            .expect("a question")
            .to_vec();
        self.line.write_all(&question).expect("the board lives");
        let began = Clock::now();
        let mut bytes = [0; 512];
        loop {
            self.feed(0, 0, 20);
            let count = self.line.read(&mut bytes).unwrap_or(0);
            for &byte in &bytes[..count] {
                if let Event::Answer(reply) = self.host.feed(byte) {
                    return take(reply);
                }
            }
            if let evendraw_core::link::Ticked::SendAgain = self.host.tick(self.now()) {
                let again = self.host.outgoing().to_vec();
                self.line.write_all(&again).expect("the board lives");
            }
            assert!(began.elapsed() < PATIENCE, "no answer to {request:?}");
        }
    }

    /// Bytes of stack ever used: asked while the link is quiet.
    fn stack(&mut self) -> u32 {
        self.feed(0, 0, 200);
        self.line.write_all(&[0xb3]).expect("the board lives");
        let began = Clock::now();
        let (mut seen, mut bytes) = (Vec::new(), [0; 512]);
        loop {
            let count = self.line.read(&mut bytes).unwrap_or(0);
            seen.extend_from_slice(&bytes[..count]);
            if let Some((_, last)) = seen.split_last_chunk::<5>()
                && last[0] == 3
            {
                return u32::from_le_bytes([last[1], last[2], last[3], last[4]]);
            }
            assert!(
                began.elapsed() < PATIENCE,
                "the stack is not told: {seen:?}"
            );
        }
    }
}

fn two_bolts() -> Procedure {
    let bolt = |label| Fastener {
        label: Label::cut(label),
        near: [None; 4],
    };
    let torque = Torque::from_millinewton_meters;
    let window = TorqueWindow {
        target: torque(10_000),
        min: torque(9_600),
        max: torque(10_400),
    };
    Procedure::new(&Parts {
        fasteners: &[bolt("1"), bolt("2")],
        stages: &[Stage::new(StageKind::Tighten {
            window,
            prevailing: Prevailing::None,
        })],
        steps: &[Step::on(0, 0), Step::on(1, 0)],
        overrides: &[],
        terms: Terms::default(),
    })
    .expect("sound parts")
}

#[test]
fn a_cortex_m0_takes_a_procedure_works_it_and_gives_its_journal_from_its_own_flash() {
    let mut small = Small::start();
    small.feed(0, 0, 700);
    let serial = small.ask(&Request::Identify { nonce: 7 }, |reply| match reply {
        Reply::Identity(identity) => identity.serial.to_owned(),
        other => panic!("{other:?}"),
    });
    assert_eq!(serial, "small 1");

    let procedure = two_bolts();
    let mut room = [0; 1024];
    let blob = procedure.encode(&mut room).expect("room").to_vec();
    let mut transfer = SendProcedure::new(0, &blob);
    loop {
        let request = transfer.request();
        let mut step = None;
        small.ask(&request, |reply| step = Some(transfer.answered(&reply)));
        match step.expect("an answer") {
            SendStep::GoOn => {}
            SendStep::Done => break,
            SendStep::Refused(why, at) => panic!("{why} at {at}"),
        }
    }
    small.ask(&Request::Work { slot: 0, joint: 3 }, |reply| {
        assert!(
            matches!(reply, Reply::Working { joint: 3, .. }),
            "{reply:?}"
        );
    });
    small.feed(0, 0, 400);
    small.pull(10_100);
    small.pull(8_000);
    // The hand could go on; the key says that it is done.
    small.line.write_all(&[0xb1]).expect("the board lives");
    small.feed(0, 0, 3_000);
    let unix_seconds = 1_780_000_000;
    small.ask(&Request::Anchor { unix_seconds }, |reply| {
        assert!(matches!(reply, Reply::Anchored), "{reply:?}");
    });

    let mut pull = PullJournal::from_start();
    let mut journal = Vec::new();
    loop {
        let request = pull.request();
        let more = small.ask(&request, |reply| {
            let step = pull.answered(&reply).expect("frames that prove themselves");
            assert_eq!(step.gap, None);
            journal.extend_from_slice(step.frames);
            step.more
        });
        if !more {
            break;
        }
    }
    let verdicts: Vec<Verdict> = Scan::new(&journal)
        .filter_map(|found| match found {
            Found::Frame { frame, .. } => decode_entry(&frame).expect("a record"),
            other => panic!("{other:?}"),
        })
        .filter_map(|entry| match entry.record {
            Record::Attempt(attempt) => Some(attempt.verdict),
            _ => None,
        })
        .collect();
    assert_eq!(verdicts, [Verdict::Accepted, Verdict::Rejected]);

    let stack = small.stack();
    println!("stack on the Cortex-M0: {stack} bytes of {STACK_BUDGET}");
    assert!(stack <= STACK_BUDGET, "{stack} bytes of stack");
    emulator::keep_stack(SMALLEST_TARGET, "adapter_microbit", stack);
}
