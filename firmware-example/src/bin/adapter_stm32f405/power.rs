//! The chip's own power: why it started, whether its supply falls, and the watchdog that runs from an oscillator of its own.
//!
//! Registers from the chip's manual [RM0090, "RCC clock control & status register", "Power control register", "IWDG"]. The brown-out level is
//! an option of the chip that a programmer sets: `WIRING.md` says which. Knows nothing of what is done about it.

use evendraw_firmware::power::{Cause, Power};
use stm32f4xx_hal::pac;
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::rcc::{Enable, Rcc};
use stm32f4xx_hal::watchdog::IndependentWatchdog;

/// The highest level of the voltage detector, about 2.9 V: the flash works down to 2.7 V.
const HIGHEST_LEVEL: u8 = 7;
/// The watchdog's oscillator runs at 17 to 47 kHz instead of 32 [DS8626, "Low-speed internal oscillator"]: this is 2.7 to 7.5 s. The flash's
/// longest command is 0.4 s.
const PATIENCE_MS: u32 = 4_000;

/// Why the chip started; read before anything else, and forgotten by the chip for the next time.
pub(crate) fn cause(rcc: &pac::RCC) -> Cause {
    let flags = rcc.csr().read();
    rcc.csr().modify(|_, w| w.rmvf().set_bit());
    if flags.wdgrstf().bit_is_set() || flags.wwdgrstf().bit_is_set() {
        Cause::Watchdog
    } else if flags.porrstf().bit_is_set() {
        // Power that comes sets the brown-out's flag too.
        Cause::PowerOn
    } else if flags.borrstf().bit_is_set() {
        Cause::Supply
    } else if flags.sftrstf().bit_is_set() {
        Cause::Program
    } else if flags.padrstf().bit_is_set() {
        // Every reset pulls the pin: it is the cause where it stands alone.
        Cause::Pin
    } else {
        Cause::Unknown
    }
}

/// The supply's detector and the watchdog.
pub(crate) struct Chip {
    cause: Cause,
    detector: pac::PWR,
    watchdog: IndependentWatchdog,
    watched: bool,
}

impl Chip {
    /// Sets the detector to its highest level. The watchdog starts when the loop is first alive, and stands still while a debugger
    /// holds the chip.
    pub(crate) fn new(
        cause: Cause,
        (detector, watchdog): (pac::PWR, pac::IWDG),
        debugger: &pac::DBGMCU,
        rcc: &mut Rcc,
    ) -> Self {
        let watchdog = IndependentWatchdog::new(watchdog);
        watchdog.stop_on_debug(debugger, true);
        pac::PWR::enable(rcc);
        detector
            .cr()
            .modify(|_, w| w.pls().set(HIGHEST_LEVEL).pvde().set_bit());
        Self {
            cause,
            detector,
            watchdog,
            watched: false,
        }
    }
}

impl Power for Chip {
    fn cause(&self) -> Cause {
        self.cause
    }

    fn is_low(&mut self) -> bool {
        self.detector.csr().read().pvdo().bit_is_set()
    }

    fn is_alive(&mut self) {
        if self.watched {
            self.watchdog.feed();
        } else {
            self.watchdog.start(PATIENCE_MS.millis());
            self.watched = true;
        }
    }
}
