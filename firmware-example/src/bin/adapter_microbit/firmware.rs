//! What runs on the board: the adapter, its link and what is fed on one line.

use core::cell::RefCell;

use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::entry;
use defmt_semihosting as _;
use evendraw_firmware::adapter::{Adapter, Parts, Plate};
use evendraw_firmware::fed::{Fed, Feed, plate};
use evendraw_firmware::nor::Waiting;
use evendraw_firmware::power::Steady;

use crate::board::{End, Line, OwnFlash, Uart};
use crate::stack::{paint_stack, stack_used};

const PLATE: Plate = plate("small 1");

/// A panic ends the emulator with a status of its own, which every test looks at.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}

#[entry]
fn main() -> ! {
    paint_stack();
    // The emulator looks at its ports when a timer of its own runs out, and else not before the first byte was read; the chip has
    // no need of it.
    if let Some(mut core) = cortex_m::Peripherals::take() {
        core.SYST.set_clock_source(SystClkSource::Core);
        core.SYST.set_reload(160_000);
        core.SYST.clear_current();
        core.SYST.enable_counter();
    }
    let line = RefCell::new(Line::new(Uart::new()));
    let end = |links| End { line: &line, links };
    let feed = RefCell::new(Feed::new(end(false), false, stack_used));
    let parts = Parts {
        flash: Waiting(OwnFlash::new()),
        readings: Fed(&feed),
        port: end(true),
        cue: Fed(&feed),
        display: Fed(&feed),
        keys: Fed(&feed),
        power: Steady,
    };
    // By reference: a copy would stay on the stack for good.
    let mut opened = Adapter::new(parts, PLATE);
    let adapter = match &mut opened {
        Ok(adapter) => adapter,
        Err(_) => semihosting::process::exit(103),
    };
    adapter.run()
}
