//! The hand, the loop and what it came to.
//!
//! Knows nothing of registers.

use cortex_m_rt::entry;
use evendraw_core::procedure::{
    Fastener, Parts as Joint, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::sample::{Calibration, Numbers};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Span, Torque};
use evendraw_firmware::adapter::{Adapter, Clock, Key, Keys, Parts, Plate};
use evendraw_firmware::bridge::COUNT_MAX;
use evendraw_firmware::cue::{Cue, Signal};
use evendraw_firmware::display::CharacterDisplay;
use evendraw_firmware::gyro::RATE_SCALE;
use evendraw_firmware::power::Steady;
use evendraw_firmware::queue::{Incoming, Line, Queued, Stamped, Tally};
use evendraw_firmware::turns::Turns;
use heapless::spsc::Queue;
use semihosting::println;

use crate::board::{self, Sensors, Wires, micros};
use crate::host::Host;
use crate::parts::{BYTES, Chip, Delay, Expander, Out, done};

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    println!("{info}");
    semihosting::process::exit(101)
}

/// As on the board one can buy.
const BYTE_QUEUE: usize = 256;
const READING_QUEUE: usize = 32;

static BYTE_TALLY: Tally = Tally::new();
static READING_TALLY: Tally = Tally::new();

/// How long it is worked once the joint is taken up, in µs.
const WORKED: u32 = 30_000_000;

/// mN·m a count times 65,536, and counts of a N·m by it.
const SCALE: u32 = 2_621;
const COUNTS: i32 = 25_004;

const PLATE: Plate = Plate {
    serial: "loaded",
    firmware: concat!("evendraw ", env!("CARGO_PKG_VERSION")),
    clock: Clock::Crystal,
    calibration: match Calibration::new(Numbers {
        zero: 0,
        scale: SCALE,
        count_max: COUNT_MAX,
        rate_scale: RATE_SCALE,
        capacity: Torque::from_millinewton_meters(200_000),
        band: Torque::from_millinewton_meters(2_000),
        drift: Torque::from_millinewton_meters(1_000),
        // Two readings that are lost one after the other are named.
        gap: Span::from_millis(2),
        same_max: 100,
    }) {
        Ok(calibration) => calibration,
        Err(_) => panic!("numbers that are no calibration"),
    },
};

/// A pull of a second, and as long a rest: a reading is what the sensors count in that millisecond.
pub(crate) struct Hand {
    millis: u32,
}

impl Hand {
    /// Still for the first second, so that the zero is taken.
    pub(crate) const fn new() -> Self {
        Self { millis: 0 }
    }

    /// Counts of load cell and gyro. The last bit of the load cell is never still.
    pub(crate) fn counts(&mut self) -> (i32, i16) {
        self.millis += 1;
        let place = i32::try_from(self.millis % 2_000).unwrap_or(0);
        let ripple = place % 2;
        // 10.1 N·m within 900 ms at 40° a second, held for 20, let go within 5.
        let full = COUNTS / 10 * 101;
        match place - 1_000 {
            up @ 0..=899 => (full / 900 * up + ripple, 571),
            900..=919 => (full + ripple, 0),
            down @ 920..=924 => (full / 5 * (924 - down) + ripple, 0),
            _ => (ripple, 0),
        }
    }
}

/// Keys that nobody presses, lamps that nobody sees.
struct Nobody;

impl Keys for Nobody {
    fn pressed(&mut self, _: Instant) -> Option<Key> {
        None
    }
}

impl Cue for Nobody {
    fn tell(&mut self, _: Signal, _: u32) {}
}

/// 64 bolts to 10 N·m.
fn joint() -> Procedure {
    const LABELS: [&str; 8] = ["1", "2", "3", "4", "5", "6", "7", "8"];
    let mut fasteners = heapless::Vec::<Fastener, 64>::new();
    let mut steps = heapless::Vec::<Step, 64>::new();
    for (index, (ring, place)) in
        (0..).zip((0..8).flat_map(|ring| (0..8).map(move |at| (ring, at))))
    {
        let mut label = heapless::String::<2>::new();
        for part in [LABELS.get(ring), LABELS.get(place)].into_iter().flatten() {
            let _ = label.push_str(part);
        }
        let fastener = Fastener {
            label: Label::cut(&label),
            near: [None; 4],
        };
        let _ = (fasteners.push(fastener), steps.push(Step::on(index, 0)));
    }
    let torque = Torque::from_millinewton_meters;
    let window = TorqueWindow {
        target: torque(10_000),
        min: torque(9_600),
        max: torque(10_400),
    };
    let made = Procedure::new(&Joint {
        fasteners: &fasteners,
        stages: &[Stage::new(StageKind::Tighten {
            window,
            prevailing: Prevailing::None,
        })],
        steps: &steps,
        overrides: &[],
        terms: Terms::default(),
    });
    match made {
        Ok(procedure) => procedure,
        Err(_) => panic!("a joint that breaks a rule"),
    }
}

/// What was lost so far: bytes and readings, with queues and without.
fn lost() -> [u32; 4] {
    let [bytes, readings] = board::lost_without_queues();
    [BYTE_TALLY.lost(), READING_TALLY.lost(), bytes, readings]
}

/// What the turns come to once the joint is taken up: before, nothing is pulled, and what comes while the journal is gone through is let go.
#[derive(Default)]
struct Load {
    began: Option<Began>,
    turns: Turns,
    /// The most bytes and readings that came within one turn.
    came: [u32; 2],
}

/// How things stood when it began.
#[derive(Clone, Copy)]
struct Began {
    times: (u32, u32),
    lost: [u32; 4],
    done: [u32; 3],
}

impl Load {
    /// Another turn, in which so many bytes and readings came.
    fn add(&mut self, seen: [u32; 2]) {
        if self.began.is_none() {
            self.turns = Turns::default();
            self.began = Some(Began {
                times: board::byte_times(),
                lost: lost(),
                done: done(),
            });
            return;
        }
        for (most, now) in self.came.iter_mut().zip(seen) {
            *most = now.max(*most);
        }
    }

    /// How long it has been going on, in µs.
    fn spent(&self) -> u32 {
        self.began
            .map_or(0, |began| micros().wrapping_sub(began.times.0))
    }

    fn report(&self, host: &Host<'_>) {
        let Some(began) = self.began else { return };
        let since = |now: u32, then: u32| now.wrapping_sub(then);
        let [bytes, readings, bytes_without, readings_without] = lost();
        println!("turns {}", self.turns.count());
        println!("longest turn {}", self.turns.longest());
        println!("bytes in a turn {}", self.came[0]);
        println!("readings in a turn {}", self.came[1]);
        println!(
            "bytes lost {}",
            since(bytes, began.lost[0]) + board::missed(began.times)
        );
        println!("readings lost {}", since(readings, began.lost[1]));
        println!(
            "bytes lost without a queue {}",
            since(bytes_without, began.lost[2])
        );
        println!(
            "readings lost without a queue {}",
            since(readings_without, began.lost[3])
        );
        println!("journal fetched {}", host.fetched);
        println!("answers {}", host.answers);
        println!("questions asked again {}", host.asked_again);
        println!("told unasked {}", host.lives);
        let now = done();
        println!("pages programmed {}", since(now[0], began.done[0]));
        println!("sectors erased {}", since(now[1], began.done[1]));
        println!("display written {}", since(now[2], began.done[2]));
    }
}

#[entry]
fn main() -> ! {
    static mut INCOMING: Queue<u8, BYTE_QUEUE> = Queue::new();
    static mut READINGS: Queue<Stamped, READING_QUEUE> = Queue::new();
    static mut FROM_HOST: Queue<u8, 64> = Queue::new();
    static mut TO_HOST: Queue<u8, 1024> = Queue::new();
    static mut FLASH: [u8; BYTES] = [0; BYTES];
    static mut BLOB: [u8; 2048] = [0; 2048];
    let Some(mut core) = cortex_m::Peripherals::take() else {
        semihosting::process::exit(102)
    };
    let Ok(blob) = joint().encode(BLOB) else {
        semihosting::process::exit(103)
    };
    board::start_clock();
    let flash = Chip::new(FLASH);
    let (bytes_to, bytes_from) = INCOMING.split();
    let (readings_to, readings_from) = READINGS.split();
    let (host_to, from_host) = FROM_HOST.split();
    let (to_host, host_from) = TO_HOST.split();
    let Ok(display) = CharacterDisplay::new(Expander::default(), &mut Delay, 0x27);
    let parts = Parts {
        flash,
        readings: Queued::new(readings_from, micros),
        port: Line::new(bytes_from, Out),
        cue: Nobody,
        display,
        keys: Nobody,
        power: Steady,
    };
    // By reference: a copy would stay on the stack for good.
    let mut opened = Adapter::new(parts, PLATE);
    let adapter = match &mut opened {
        Ok(adapter) => adapter,
        Err(never) => match *never {},
    };
    let sensors = Sensors {
        hand: Hand::new(),
        incoming: Incoming::new(readings_to, &READING_TALLY),
    };
    let wires = Wires {
        incoming: Incoming::new(bytes_to, &BYTE_TALLY),
        from_host,
        to_host,
    };
    board::start(sensors, wires, &mut core.NVIC);
    let mut host = Host::new(blob, host_to, host_from);
    let mut load = Load::default();
    adapter.run_beside(|| {
        let now = micros();
        load.turns.ended(now);
        let seen = board::looked();
        host.step(Instant::from_micros(u64::from(now)));
        if host.is_fetching() {
            load.add(seen);
        }
        if load.spent() >= WORKED {
            load.report(&host);
            semihosting::process::exit(0)
        }
        load.turns.begins(micros());
    })
}
