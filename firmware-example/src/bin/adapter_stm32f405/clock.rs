//! What the chip's time comes from: the crystal, or its own oscillator where there is no crystal.
//!
//! Every rotation is a rate times a time, so what the clock is off, every angle is off. Knows nothing of angles.

use evendraw_firmware::adapter::Clock;
use stm32f4xx_hal::pac;
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::rcc::{Config, Rcc};

/// Looks for the crystal to swing; it takes a few milliseconds, and at 16 MHz these are more than fifty.
const PATIENCE: u32 = 100_000;

/// Starts the crystal and runs at 84 MHz from it; at the oscillator's 16 MHz where it does not swing.
pub(crate) fn started(rcc: pac::RCC) -> (Rcc, Clock) {
    rcc.cr().modify(|_, w| w.hseon().set_bit());
    if (0..PATIENCE).any(|_| rcc.cr().read().hserdy().bit_is_set()) {
        let config = Config::hse(8.MHz()).sysclk(84.MHz());
        return (rcc.freeze(config), Clock::Crystal);
    }
    rcc.cr().modify(|_, w| w.hseon().clear_bit());
    (rcc.constrain(), Clock::Oscillator)
}
