//! What runs on the board: the adapter, with readings and keys fed over the second serial port and the page sent back on it.

use core::cell::RefCell;

use cortex_m as _;
use cortex_m_rt::entry;
use defmt_semihosting as _;
use evendraw_firmware::adapter::{Adapter, Parts, Plate};
use evendraw_firmware::fed::{Fed, Feed, plate};
use evendraw_firmware::nor::SpiNor;

use crate::board::{FlashBus, Port};
use crate::power;
use crate::stack::{paint_stack, stack_used};

const PLATE: Plate = plate("emulated 1");

/// A panic ends the emulator with a status of its own, which every test looks at.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}

#[entry]
fn main() -> ! {
    paint_stack();
    let feed = RefCell::new(Feed::new(Port::feed(), true, stack_used));
    let flash = match SpiNor::new(FlashBus::new()) {
        Ok(flash) => flash,
        Err(error) => {
            defmt::error!("no flash: {}", error);
            semihosting::process::exit(102)
        }
    };
    let parts = Parts {
        flash,
        readings: Fed(&feed),
        port: Port::link(),
        cue: Fed(&feed),
        display: Fed(&feed),
        keys: Fed(&feed),
        power: power::Fed::new(&feed),
    };
    // By reference: a copy would stay on the stack for good.
    let mut opened = Adapter::new(parts, PLATE);
    let adapter = match &mut opened {
        Ok(adapter) => adapter,
        Err(error) => {
            defmt::error!("the flash cannot be read: {}", error);
            semihosting::process::exit(103)
        }
    };
    adapter.run()
}
