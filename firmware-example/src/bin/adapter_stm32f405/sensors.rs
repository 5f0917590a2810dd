//! The sensors: the converter's ready line captures a timer's count, and the interrupt of that takes both readings.
//!
//! The stamp is made by the timer, so it is the moment of the conversion whatever the processor is at. Registers from the chip's manual
//! [RM0090, "TIM2 to TIM5 registers"]. Knows nothing of torque.
#![expect(
    unsafe_code,
    reason = "an interrupt has the timer's registers beside the driver"
)]

use core::cell::RefCell;

use cortex_m::interrupt::{Mutex, free};
use embedded_hal_bus::spi::{ExclusiveDevice, NoDelay};
use evendraw_firmware::bridge::Bridge;
use evendraw_firmware::gyro::Gyro;
use evendraw_firmware::queue::{Incoming, Stamped};
use stm32f4xx_hal::gpio::{Output, PA0, PA15, PB12};
use stm32f4xx_hal::interrupt;
use stm32f4xx_hal::pac::{self, NVIC, SPI2, SPI3, TIM2, TIM3};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::rcc::Rcc;
use stm32f4xx_hal::spi::Spi;
use stm32f4xx_hal::timer::{CaptureExt, CapturePolarity, DelayUs};

/// Behind the link's port, whose bytes come eleven times as often; both buses take some 50 µs here.
const PRIORITY: u8 = 0x40;

/// The converter on its bus.
pub(crate) type Converter = Bridge<ExclusiveDevice<Spi<SPI2>, PB12<Output>, DelayUs<TIM3>>>;
/// The gyro on its bus.
pub(crate) type Rates = Gyro<ExclusiveDevice<Spi<SPI3>, PA15<Output>, NoDelay>>;

/// Both sensors, and where their readings go.
pub(crate) struct Sensors {
    pub(crate) bridge: Converter,
    pub(crate) gyro: Rates,
    pub(crate) incoming: Incoming<'static, Stamped>,
}

/// What the interrupt takes for its own when it first comes.
static HANDED: Mutex<RefCell<Option<Sensors>>> = Mutex::new(RefCell::new(None));

/// Starts the clock of microseconds, which the ready line's falling edge captures.
pub(crate) fn start_clock(timer: TIM2, ready: PA0, rcc: &mut Rcc) {
    let (_, (channel, ..)) = timer.capture_hz(1.MHz(), rcc);
    let mut channel = channel.with(ready);
    channel.set_polarity(CapturePolarity::ActiveLow);
    channel.enable();
}

/// The clock of microseconds.
pub(crate) fn micros() -> u32 {
    registers().cnt().read().bits()
}

/// Hands the sensors to the interrupt.
pub(crate) fn hand_over(sensors: Sensors, interrupts: &mut NVIC) {
    free(|token| HANDED.borrow(token).replace(Some(sensors)));
    registers().dier().modify(|_, w| w.cc1ie().set_bit());
    // SAFETY: the interrupt's variables are set, and no critical section is waited for in it.
    unsafe {
        interrupts.set_priority(pac::Interrupt::TIM2, PRIORITY);
        NVIC::unmask(pac::Interrupt::TIM2);
    }
}

fn registers() -> &'static pac::tim2::RegisterBlock {
    // SAFETY: the count is read by anybody; the rest is set before the interrupt runs, and by it alone from then on.
    unsafe { &*TIM2::PTR }
}

#[interrupt]
fn TIM2() {
    static mut OWN: Option<Sensors> = None;
    if OWN.is_none() {
        *OWN = free(|token| HANDED.borrow(token).take());
    }
    let timer = registers();
    // Reading the capture says that it was taken.
    let at = timer.ccr1().read().bits();
    let Some(Sensors {
        bridge,
        gyro,
        incoming,
    }) = OWN
    else {
        return;
    };
    if timer.sr().read().cc1of().bit_is_set() {
        // A conversion was over before the one before it was taken.
        timer.sr().modify(|_, w| w.cc1of().clear_bit());
        incoming.lost();
    }
    match (bridge.count(), gyro.rate()) {
        (Ok(bridge), Ok(rate)) => incoming.came(Stamped { at, bridge, rate }),
        // A bus that fails gives no reading; the session sees the gap.
        _ => incoming.damaged(),
    }
}
