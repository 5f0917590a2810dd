//! The chip under the sessions: a bare Cortex-M4F or Cortex-M0 board with a debugger attached.

use cortex_m as _;
use cortex_m_rt::entry;
use defmt_semihosting as _;
use semihosting::println;

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use evendraw_core::procedure::Procedure;
use evendraw_core::session::Session;
use evendraw_core::trace::Trace;
use evendraw_firmware::exercise::Kind;
use evendraw_firmware::meter;

use super::stack::{paint_stack, stack_used};
use super::{SESSIONS, digest};

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    println!("{info}");
    semihosting::process::exit(101)
}

/// What readings of one kind cost, in ticks of the timer.
#[derive(Clone, Copy, Default)]
struct Cost {
    readings: u64,
    ticks: u64,
    worst: u32,
}

/// How often nothing is measured, to know what measuring takes.
const EMPTY: u32 = 10_000;

/// Ticks of so many measurements with nothing between beginning and end.
fn empty() -> u64 {
    let mut ticks = 0;
    for _ in 0..EMPTY {
        let begun = SYST::get_current();
        ticks += u64::from(begun.wrapping_sub(SYST::get_current()) & 0x00ff_ffff);
    }
    ticks
}

#[entry]
fn main() -> ! {
    paint_stack();
    let Some(mut core) = cortex_m::Peripherals::take() else {
        semihosting::process::exit(102)
    };
    // Counts down at the clock of the board. Where the emulator counts instructions (`-icount shift=0`, one a nanosecond), a tick
    // is forty of them at 25 MHz, and 62.5 at 16 MHz.
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(0x00ff_ffff);
    core.SYST.clear_current();
    core.SYST.enable_counter();
    sessions();
    for (fasteners, stages) in meter::JOINTS {
        inputs(fasteners, stages);
    }
    println!("stack {}", stack_used());
    semihosting::process::exit(0)
}

/// Works the sessions, and prints their digests and what a reading costs by the kind of its stage.
#[inline(never)]
fn sessions() {
    let mut costs = [Cost::default(); Kind::ALL.len()];
    let mut begun = 0;
    for seed in 0..SESSIONS {
        let (sum, records, readings) = digest(seed, &mut |kind| match kind {
            None => begun = SYST::get_current(),
            Some(kind) => {
                let ticks = begun.wrapping_sub(SYST::get_current()) & 0x00ff_ffff;
                let place = Kind::ALL.iter().position(|known| *known == kind);
                if let Some(cost) = place.and_then(|place| costs.get_mut(place)) {
                    cost.readings += 1;
                    cost.ticks += u64::from(ticks);
                    cost.worst = cost.worst.max(ticks);
                }
            }
        });
        println!("{seed} {sum:08x} {records} {readings}");
    }
    println!(
        "size {} {}",
        size_of::<Session<&Procedure>>(),
        size_of::<Trace>()
    );
    println!("cost nothing {EMPTY} {} 0", empty());
    for (kind, cost) in Kind::ALL.iter().zip(costs) {
        println!(
            "cost {kind:?} {} {} {}",
            cost.readings, cost.ticks, cost.worst
        );
    }
}

/// Places of a spread, and ticks of each: few, because the smallest board has 16 KiB.
const PLACES: usize = 64;
const TICKS_A_PLACE: u32 = 4;

/// How many inputs of one kind cost so many ticks, the last place for more; and the worst.
#[derive(Clone, Copy)]
struct Spread {
    often: [u32; PLACES],
    ticks: u64,
    worst: u32,
}

impl Spread {
    const NEW: Self = Self {
        often: [0; PLACES],
        ticks: 0,
        worst: 0,
    };

    fn add(&mut self, ticks: u32) {
        self.ticks += u64::from(ticks);
        self.worst = self.worst.max(ticks);
        let place = self.often.len() - 1;
        let place = place.min(usize::try_from(ticks / TICKS_A_PLACE).unwrap_or(place));
        if let Some(often) = self.often.get_mut(place) {
            *often += 1;
        }
    }

    fn count(&self) -> u32 {
        self.often.iter().sum()
    }

    /// Ticks that 99 in a hundred do not exceed; the worst where they are beyond the places.
    fn most(&self) -> u32 {
        let (mut seen, all) = (0, u64::from(self.count()));
        for (place, often) in (1_u32..).zip(self.often) {
            seen += u64::from(often);
            if seen * 100 >= all * 99 {
                return (place * TICKS_A_PLACE - 1).min(self.worst);
            }
        }
        self.worst
    }
}

/// Prints what each kind of input costs on a joint of so many fasteners and stages.
#[inline(never)]
fn inputs(fasteners: u8, stages: u8) {
    let mut made = None;
    meter::procedure(fasteners, stages, &mut made);
    let Some(procedure) = &made else {
        return;
    };
    let mut spreads = [Spread::NEW; meter::Kind::ALL.len()];
    let mut begun = 0;
    let settled = meter::work(procedure, &mut |kind| match kind {
        None => begun = SYST::get_current(),
        Some(kind) => {
            let ticks = begun.wrapping_sub(SYST::get_current()) & 0x00ff_ffff;
            let place = meter::Kind::ALL.iter().position(|known| *known == kind);
            if let Some(spread) = place.and_then(|place| spreads.get_mut(place)) {
                spread.add(ticks);
            }
        }
    });
    println!("joint {fasteners} {stages} {settled}");
    for (kind, spread) in meter::Kind::ALL.iter().zip(&spreads) {
        println!(
            "input {kind:?} {} {} {} {}",
            spread.count(),
            spread.ticks,
            spread.most(),
            spread.worst
        );
    }
}
