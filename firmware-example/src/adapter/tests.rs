//! The loop on a desktop: readings against a flash that takes its time.

use std::cell::Cell;
use std::convert::Infallible;
use std::rc::Rc;

use evendraw_core::journal;
use evendraw_core::procedure::{
    Fastener, Parts as ProcedureParts, Prevailing, Procedure, Stage, StageKind, Step as Place,
    Terms, TorqueWindow,
};
use evendraw_core::record::{Attempt, Record};
use evendraw_core::sample::{Calibration, Counts, Numbers};
use evendraw_core::session::{Input, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Span, Torque};
use evendraw_core::verdict::Verdict;

use super::{Adapter, Clock, Key, Keys, Parts, Plate};
use crate::bridge::COUNT_MAX;
use crate::cue::{Cue, Signal};
use crate::cut_flash::CutFlash;
use crate::display::{Display, Page};
use crate::gyro::RATE_SCALE;
use crate::log::{FRAME_MAX, Step};
use crate::power::Steady;
use crate::readings::Readings;
use crate::slots::SLOT_SECTORS;

const PLATE: Plate = Plate {
    serial: "test",
    clock: Clock::Crystal,
    firmware: "test",
    calibration: match Calibration::new(Numbers {
        zero: 0,
        scale: 65_536,
        count_max: COUNT_MAX,
        rate_scale: RATE_SCALE,
        capacity: Torque::from_millinewton_meters(200_000),
        band: Torque::from_millinewton_meters(2_000),
        drift: Torque::from_millinewton_meters(1_000),
        gap: Span::from_millis(50),
        same_max: 0,
    }) {
        Ok(calibration) => calibration,
        Err(_) => panic!("numbers that are no calibration"),
    },
};

/// Readings that come in their time, taken or not: a count is a mN·m.
///
/// The clock runs with every look for a reading and every question to the flash; four of those are a millisecond, and a
/// reading that was not taken within its millisecond is lost.
struct Script {
    readings: Vec<Counts>,
    next: usize,
    clock: Rc<Cell<u32>>,
    now: Instant,
    over: Rc<Cell<bool>>,
}

impl Readings for Script {
    fn next(&mut self) -> Option<Counts> {
        self.clock.set(self.clock.get() + 1);
        let due = usize::try_from(self.clock.get() / 4).unwrap();
        if due < self.next {
            return None;
        }
        let raw = self.readings.get(due).copied();
        self.next = due + 1;
        match raw {
            Some(raw) => self.now = raw.at,
            None => self.over.set(true),
        }
        raw
    }

    fn now(&mut self) -> Instant {
        self.now
    }
}

struct Silent;

impl embedded_io::ErrorType for Silent {
    type Error = Infallible;
}
impl embedded_io::ReadReady for Silent {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }
}
impl embedded_io::Read for Silent {
    fn read(&mut self, _: &mut [u8]) -> Result<usize, Infallible> {
        Ok(0)
    }
}
impl embedded_io::WriteReady for Silent {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}
impl embedded_io::Write for Silent {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        Ok(bytes.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
impl Cue for Silent {
    fn tell(&mut self, _: Signal, _: u32) {}
}
impl Display for Silent {
    fn show(&mut self, _: &Page) {}
}
impl Keys for Silent {
    fn pressed(&mut self, _: Instant) -> Option<Key> {
        None
    }
}

fn procedure() -> Procedure {
    let torque = Torque::from_millinewton_meters;
    let stage = Stage::new(StageKind::Tighten {
        window: TorqueWindow {
            target: torque(40_000),
            min: torque(38_000),
            max: torque(42_000),
        },
        prevailing: Prevailing::None,
    });
    let fasteners = ["1", "2", "3", "4", "5", "6"].map(|label| Fastener {
        label: Label::cut(label),
        near: [None; 4],
    });
    Procedure::new(&ProcedureParts {
        fasteners: &fasteners,
        stages: &[stage],
        steps: &[0, 1, 2, 3, 4, 5].map(|fastener| Place::on(fastener, 0)),
        overrides: &[],
        terms: Terms::default(),
    })
    .unwrap()
}

/// Six pulls to 40 N·m, each with a peak of one millisecond somewhere in it.
fn readings() -> Vec<Counts> {
    let mut readings = Vec::new();
    let mut at = 0;
    let mut push = |bridge: i32, rate: i16, readings: &mut Vec<Counts>| {
        at += 1_000;
        readings.push(Counts {
            at: Instant::from_micros(at),
            bridge,
            rate,
        });
    };
    for pull in 0..6 {
        for tick in 0..600 {
            push(tick * 40_000 / 600 + pull, 600, &mut readings);
        }
        for _ in 0..20 {
            push(40_000 + pull * 7, 0, &mut readings);
        }
        for tick in (0..10).rev() {
            push(tick * 4_000, 0, &mut readings);
        }
        for _ in 0..2_500 {
            push(0, 0, &mut readings);
        }
    }
    readings
}

/// The attempts that a flash of this slowness (turns that every program and erase takes) keeps.
fn attempts(slowness: u32) -> Vec<Attempt> {
    let procedure = procedure();
    let mut flash = CutFlash::new(SLOT_SECTORS + 4);
    // Nothing is blank, so that the first record has to wait for an erase too.
    let journal = usize::try_from(SLOT_SECTORS * crate::nor::SECTOR).unwrap();
    flash.bytes_mut()[journal..].fill(0x55);
    let over = Rc::new(Cell::new(false));
    let clock = flash.clock();
    let parts = Parts {
        flash,
        readings: Script {
            readings: readings(),
            next: 0,
            clock,
            now: Instant::BOOT,
            over: Rc::clone(&over),
        },
        port: Silent,
        cue: Silent,
        display: Silent,
        keys: Silent,
        power: Steady,
    };
    let mut adapter = Adapter::new(parts, PLATE).unwrap();
    adapter.parts.flash.set_slowness(slowness);
    let mut session = Session::new(&procedure, 1);
    let start = Input::Start {
        boot: 1,
        rehearsal: false,
    };
    adapter.apply(&mut session, Instant::BOOT, start);
    while !over.get() {
        assert_eq!(adapter.turn(Some(&mut session)), None);
    }
    adapter.parts.flash.set_slowness(0);
    adapter.settle();
    let mut found = Vec::new();
    let (mut walk, mut room) = (adapter.log.walk(), [0; FRAME_MAX]);
    while let Step::Frame { frame, .. } = walk.next(&mut adapter.parts.flash, &mut room).unwrap() {
        if let Record::Attempt(attempt) = journal::decode_entry(&frame).unwrap().unwrap().record {
            found.push(attempt);
        }
    }
    found
}

#[test]
fn half_a_second_of_flash_loses_nothing_of_peak_or_angle() {
    let quick = attempts(0);
    assert_eq!(quick.len(), 6);
    assert!(
        quick
            .iter()
            .all(|attempt| attempt.verdict == Verdict::Accepted)
    );
    // Half a second for every program and every erase, were they waited for.
    let slow = attempts(2_000);
    assert_eq!(slow, quick);
}
