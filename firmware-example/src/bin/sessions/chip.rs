//! The chip under the sessions: a bare Cortex-M4F board with a debugger attached.
#![expect(unsafe_code, reason = "vectors are a linker section")]

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

use super::{SESSIONS, digest};

/// A vector of the table behind the core's own.
#[repr(C)]
pub(crate) union Vector {
    handler: unsafe extern "C" fn(),
}

unsafe extern "C" {
    fn DefaultHandler();
}

// No peripheral interrupt is enabled.
#[unsafe(no_mangle)]
#[unsafe(link_section = ".vector_table.interrupts")]
static __INTERRUPTS: [Vector; 32] = [const {
    Vector {
        handler: DefaultHandler,
    }
}; 32];

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
    let Some(mut core) = cortex_m::Peripherals::take() else {
        semihosting::process::exit(102)
    };
    // Counts down at the 25 MHz of the board. Where the emulator counts instructions (`-icount shift=0`, one a nanosecond), a
    // tick is forty of them.
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(0x00ff_ffff);
    core.SYST.clear_current();
    core.SYST.enable_counter();
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
    for (fasteners, stages) in meter::JOINTS {
        inputs(fasteners, stages);
    }
    semihosting::process::exit(0)
}

/// How many inputs of one kind cost so many ticks, the last place for more; and the worst.
#[derive(Clone, Copy)]
struct Spread {
    often: [u32; 192],
    ticks: u64,
    worst: u32,
}

impl Spread {
    const NEW: Self = Self {
        often: [0; 192],
        ticks: 0,
        worst: 0,
    };

    fn add(&mut self, ticks: u32) {
        self.ticks += u64::from(ticks);
        self.worst = self.worst.max(ticks);
        let place = self.often.len() - 1;
        let place = place.min(usize::try_from(ticks).unwrap_or(place));
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
        for (ticks, often) in (0_u32..).zip(self.often) {
            seen += u64::from(often);
            if seen * 100 >= all * 99 {
                return ticks.min(self.worst);
            }
        }
        self.worst
    }
}

/// Prints what each kind of input costs on a joint of so many fasteners and stages.
fn inputs(fasteners: u8, stages: u8) {
    let procedure = meter::procedure(fasteners, stages);
    let mut spreads = [Spread::NEW; meter::Kind::ALL.len()];
    let mut begun = 0;
    let settled = meter::work(&procedure, &mut |kind| match kind {
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
