//! Pins and parts: what hangs where, put together into the adapter.
//!
//! Knows nothing of what the parts do.

use cortex_m_rt::entry;
use defmt_rtt as _;
use embedded_hal::digital::InputPin;
use embedded_hal_bus::spi::{ExclusiveDevice, NoDelay};
use evendraw_core::sample::{Calibration, Numbers};
use evendraw_core::unit::{Instant, Span, Torque};
use evendraw_firmware::adapter::{Adapter, Clock, Key, Keys, Parts, Plate};
use evendraw_firmware::bridge::{Bridge, COUNT_MAX};
use evendraw_firmware::button::Button;
use evendraw_firmware::cue::Pins;
use evendraw_firmware::display::{CharacterDisplay, Display, Page};
use evendraw_firmware::gyro::{Gyro, RATE_SCALE};
use evendraw_firmware::nor::SpiNor;
use evendraw_firmware::queue::{Incoming, Line, Queued, Stamped, Tally};
use evendraw_firmware::turns::Turns;
use heapless::spsc::Queue;
use stm32f4xx_hal::pac;
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::serial::config::Config;
use stm32f4xx_hal::spi::{Mode, Phase, Polarity, Spi};

use crate::sensors::{self, Sensors};
use crate::two_wire::TwoWire;
use crate::{clock, power, serial};

/// Bytes of the link that can wait: 22 ms of a line that is never idle.
const BYTES: usize = 256;
/// Readings that can wait: 31 ms.
const READINGS: usize = 32;

/// Bytes of the link that were lost or came damaged.
static BYTE_TALLY: Tally = Tally::new();
/// Readings that were lost, or that a bus did not give.
static READING_TALLY: Tally = Tally::new();

/// What is written on this adapter. The load cell's two numbers are its own: a maker measures them for each.
const PLATE: Plate = Plate {
    serial: "not set",
    firmware: concat!("evendraw ", env!("CARGO_PKG_VERSION")),
    clock: Clock::Crystal,
    calibration: match Calibration::new(Numbers {
        zero: 0,
        // 0.04 mN·m a count.
        scale: 2_621,
        count_max: COUNT_MAX,
        rate_scale: RATE_SCALE,
        capacity: Torque::from_millinewton_meters(200_000),
        band: Torque::from_millinewton_meters(2_000),
        drift: Torque::from_millinewton_meters(1_000),
        gap: Span::from_millis(50),
        // A tenth of a second: a bridge at 1,000 readings a second never stands still to the last of 24 bits.
        same_max: 100,
    }) {
        Ok(calibration) => calibration,
        Err(_) => panic!("numbers that are no calibration"),
    },
};

/// A panic stops the loop, and with it the watchdog's food: the adapter starts again, and the journal is as it was.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    defmt::error!("stopped");
    loop {
        cortex_m::asm::wfi();
    }
}

/// The two buttons.
struct Buttons<Y, N> {
    yes: Button<Y>,
    no: Button<N>,
}

impl<Y: InputPin, N: InputPin> Keys for Buttons<Y, N> {
    fn pressed(&mut self, now: Instant) -> Option<Key> {
        let yes = self.yes.has_been_pressed(now).then_some(Key::Yes);
        let no = self.no.has_been_pressed(now).then_some(Key::No);
        yes.or(no)
    }
}

/// A display that may be missing: the adapter works without, by its lamps.
struct Maybe<D>(Option<D>);

impl<D: Display> Display for Maybe<D> {
    fn show(&mut self, page: &Page) {
        if let Some(display) = &mut self.0 {
            display.show(page);
        }
    }

    fn advance(&mut self) {
        if let Some(display) = &mut self.0 {
            display.advance();
        }
    }
}

fn stop(what: &str) -> ! {
    defmt::error!("{=str}", what);
    loop {
        cortex_m::asm::wfi();
    }
}

/// Says it on the link as well, for whoever brings a board up without a debugger: plain text between two zeros, which is no
/// frame.
fn stop_aloud(link: &mut impl embedded_io::Write, what: &str) -> ! {
    let zero: &[u8] = &[0];
    for bytes in [zero, what.as_bytes(), zero] {
        // Nobody is left to be told of a link that fails too.
        let _ = link.write_all(bytes);
    }
    stop(what)
}

/// Tells in the log what the turns come to, whenever one was longer than any before or something was lost.
fn watch(turns: &mut Turns, lost: &mut u32) {
    let now = sensors::micros();
    let longer = turns.ended(now);
    let all = [&BYTE_TALLY, &READING_TALLY].map(|tally| tally.lost().wrapping_add(tally.damaged()));
    let all = all
        .iter()
        .fold(0_u32, |sum, count| sum.wrapping_add(*count));
    if longer || all != *lost {
        *lost = all;
        defmt::info!(
            "longest turn {=u32} us; bytes lost {=u32}, damaged {=u32}; readings lost {=u32}, not given {=u32}",
            turns.longest(),
            BYTE_TALLY.lost(),
            BYTE_TALLY.damaged(),
            READING_TALLY.lost(),
            READING_TALLY.damaged()
        );
    }
    turns.begins(sensors::micros());
}

#[entry]
fn main() -> ! {
    static mut BYTE_QUEUE: Queue<u8, BYTES> = Queue::new();
    static mut READING_QUEUE: Queue<Stamped, READINGS> = Queue::new();
    let (Some(chip), Some(mut core)) = (pac::Peripherals::take(), cortex_m::Peripherals::take())
    else {
        stop("the chip's parts were taken before");
    };
    let cause = power::cause(&chip.RCC);
    let (mut rcc, clock) = clock::started(chip.RCC);
    if clock == Clock::Oscillator {
        defmt::warn!("no crystal");
    }
    let a = chip.GPIOA.split(&mut rcc);
    let b = chip.GPIOB.split(&mut rcc);
    let c = chip.GPIOC.split(&mut rcc);
    sensors::start_clock(chip.TIM2, a.pa0, &mut rcc);

    let settings = Config::default().baudrate(115_200.bps());
    let Ok(port) = chip.USART1.serial((a.pa9, a.pa10), settings, &mut rcc) else {
        stop("the link's rate cannot be had");
    };
    let (to, from) = BYTE_QUEUE.split();
    let incoming = Incoming::new(to, &BYTE_TALLY);
    let out = serial::started(port, incoming, &mut core.NVIC);
    let mut link = Line::new(from, out);

    let pins = (Some(a.pa5), Some(a.pa6), Some(a.pa7));
    let mode = Mode {
        polarity: Polarity::IdleLow,
        phase: Phase::CaptureOnFirstTransition,
    };
    let bus = Spi::new(chip.SPI1, pins, mode, 8.MHz(), &mut rcc);
    let Ok(device) = ExclusiveDevice::new(bus, a.pa4.into_push_pull_output(), NoDelay);
    let Ok(flash) = SpiNor::new(device) else {
        stop_aloud(&mut link, "no flash at SPI1");
    };

    let pins = (Some(b.pb13), Some(b.pb14), Some(b.pb15));
    let mode = Mode {
        polarity: Polarity::IdleLow,
        phase: Phase::CaptureOnSecondTransition,
    };
    let bus = Spi::new(chip.SPI2, pins, mode, 2.MHz(), &mut rcc);
    let delay = chip.TIM3.delay_us(&mut rcc);
    let Ok(device) = ExclusiveDevice::new(bus, b.pb12.into_push_pull_output(), delay);
    let Ok(bridge) = Bridge::new(device) else {
        stop_aloud(&mut link, "no load cell at SPI2");
    };

    let pins = (Some(c.pc10), Some(c.pc11), Some(c.pc12));
    let mode = Mode {
        polarity: Polarity::IdleHigh,
        phase: Phase::CaptureOnSecondTransition,
    };
    let bus = Spi::new(chip.SPI3, pins, mode, 4.MHz(), &mut rcc);
    let Ok(device) = ExclusiveDevice::new(bus, a.pa15.into_push_pull_output(), NoDelay);
    let Ok(gyro) = Gyro::new(device) else {
        stop_aloud(&mut link, "no gyro at SPI3");
    };

    let (bus, _) = chip.I2C1.i2c((b.pb6, b.pb7), 100.kHz(), &mut rcc).release();
    let mut delay = chip.TIM4.delay_us(&mut rcc);
    let display = CharacterDisplay::new(TwoWire::new(bus), &mut delay, 0x27).ok();

    let (to, from) = READING_QUEUE.split();
    let incoming = Incoming::new(to, &READING_TALLY);
    let parts = Parts {
        flash,
        readings: Queued::new(from, sensors::micros),
        port: link,
        cue: Pins {
            good: c.pc0.into_push_pull_output(),
            wrong: c.pc1.into_push_pull_output(),
            buzzer: c.pc2.into_push_pull_output(),
            motor: c.pc3.into_push_pull_output(),
        },
        display: Maybe(display),
        keys: Buttons {
            yes: Button::new(c.pc4.into_pull_up_input()),
            no: Button::new(c.pc5.into_pull_up_input()),
        },
        power: power::Chip::new(cause, (chip.PWR, chip.IWDG), &chip.DBGMCU, &mut rcc),
    };
    let sensors = Sensors {
        bridge,
        gyro,
        incoming,
    };
    // By reference: a copy would stay on the stack for good.
    match &mut Adapter::new(parts, Plate { clock, ..PLATE }) {
        Ok(adapter) => {
            sensors::hand_over(sensors, &mut core.NVIC);
            let (mut turns, mut lost) = (Turns::default(), 0);
            adapter.run_beside(|| watch(&mut turns, &mut lost))
        }
        Err(_) => stop("the flash cannot be read"),
    }
}
