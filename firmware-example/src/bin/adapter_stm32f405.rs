//! The adapter on a part one can buy: an STM32F405 with the load cell, gyro, flash and display wired as `WIRING.md` says.
//!
//! It runs from the chip's own oscillator, which is accurate enough for the link and keeps a board working whose crystal is
//! broken. Knows nothing of torque: it names pins.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(not(target_os = "none"))]
fn main() {}

#[cfg(target_os = "none")]
mod chip {
    use core::convert::Infallible;

    use cortex_m_rt::entry;
    use defmt_rtt as _;
    use embedded_hal::digital::InputPin;
    use embedded_hal_bus::spi::{ExclusiveDevice, NoDelay};
    use evendraw_core::sample::{Calibration, Counts, Numbers};
    use evendraw_core::unit::{Instant, Span, Torque};
    use evendraw_firmware::adapter::{Adapter, Key, Keys, Parts, Plate};
    use evendraw_firmware::bridge::{Bridge, COUNT_MAX};
    use evendraw_firmware::button::Button;
    use evendraw_firmware::cue::Pins;
    use evendraw_firmware::display::{CharacterDisplay, Display, Page};
    use evendraw_firmware::gyro::{Gyro, RATE_SCALE};
    use evendraw_firmware::nor::SpiNor;
    use evendraw_firmware::readings::Readings;
    use stm32f4xx_hal::pac;
    use stm32f4xx_hal::prelude::*;
    use stm32f4xx_hal::serial::{Serial, config::Config};
    use stm32f4xx_hal::spi::{Mode, Phase, Polarity, Spi};

    /// What is written on this adapter. The load cell's two numbers are its own: a maker measures them for each.
    const PLATE: Plate = Plate {
        serial: "not set",
        firmware: concat!("evendraw ", env!("CARGO_PKG_VERSION")),
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

    /// A panic stops the adapter; the hand sees a display that stands still, and the journal is as it was.
    #[panic_handler]
    fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
        defmt::error!("stopped");
        loop {
            cortex_m::asm::wfi();
        }
    }

    /// The clock: a 32-bit timer of microseconds, longer by the times it went round.
    struct Clock<T> {
        count: T,
        last: u32,
        rounds: u64,
    }

    impl<T: Fn() -> u32> Clock<T> {
        /// Called in every turn of the loop, far more often than the 71 minutes of a round.
        fn now(&mut self) -> Instant {
            let count = (self.count)();
            if count < self.last {
                self.rounds += 1 << 32;
            }
            self.last = count;
            Instant::from_micros(self.rounds + u64::from(count))
        }
    }

    /// Both sensors; the converter's ready pin says when there is something new.
    struct Sensors<B, G, R, T> {
        bridge: Bridge<B>,
        gyro: Gyro<G>,
        ready: R,
        was_ready: bool,
        clock: Clock<T>,
    }

    impl<B, G, R, T> Readings for Sensors<B, G, R, T>
    where
        B: embedded_hal::spi::SpiDevice,
        G: embedded_hal::spi::SpiDevice,
        R: InputPin,
        T: Fn() -> u32,
    {
        fn next(&mut self) -> Option<Counts> {
            let ready = self.ready.is_low().unwrap_or(false);
            let fell = ready && !self.was_ready;
            self.was_ready = ready;
            if !fell {
                return None;
            }
            let at = self.clock.now();
            // A bus that fails gives no reading; the session sees the gap.
            let bridge = self.bridge.count().ok()?;
            self.was_ready = false;
            let rate = self.gyro.rate().ok()?;
            Some(Counts { at, bridge, rate })
        }

        fn now(&mut self) -> Instant {
            self.clock.now()
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

    /// The link's port, which the loop only asks when it says that it is ready.
    struct Link(Serial<pac::USART1>);

    impl embedded_io::ErrorType for Link {
        type Error = Infallible;
    }

    impl embedded_io::ReadReady for Link {
        fn read_ready(&mut self) -> Result<bool, Infallible> {
            Ok(self.0.is_rx_not_empty())
        }
    }

    impl embedded_io::Read for Link {
        fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
            let Some(first) = bytes.first_mut() else {
                return Ok(0);
            };
            loop {
                // A byte that came damaged is left out: the link's sums find what is missing.
                if let Ok(byte) = self.0.read() {
                    *first = byte;
                    return Ok(1);
                }
            }
        }
    }

    impl embedded_io::WriteReady for Link {
        fn write_ready(&mut self) -> Result<bool, Infallible> {
            Ok(self.0.is_tx_empty())
        }
    }

    impl embedded_io::Write for Link {
        fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
            let Some(&first) = bytes.first() else {
                return Ok(0);
            };
            while self.0.write(first).is_err() {}
            Ok(1)
        }

        fn flush(&mut self) -> Result<(), Infallible> {
            Ok(())
        }
    }

    /// A display that may be missing: the adapter works without, by its lamps.
    struct Maybe<D>(Option<D>);

    impl<D: Display> Display for Maybe<D> {
        fn show(&mut self, page: &Page) -> bool {
            self.0.as_mut().is_none_or(|display| display.show(page))
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
    fn stop_aloud(link: &mut Link, what: &str) -> ! {
        let zero: &[u8] = &[0];
        for bytes in [zero, what.as_bytes(), zero] {
            for &byte in bytes {
                let Ok(_) = embedded_io::Write::write(link, &[byte]);
            }
        }
        stop(what)
    }

    #[entry]
    fn main() -> ! {
        let Some(chip) = pac::Peripherals::take() else {
            stop("the chip's parts were taken before");
        };
        let mut rcc = chip.RCC.constrain();
        let a = chip.GPIOA.split(&mut rcc);
        let b = chip.GPIOB.split(&mut rcc);
        let c = chip.GPIOC.split(&mut rcc);

        let mut timer = chip.TIM2.counter_us(&mut rcc);
        if timer.start(u32::MAX.micros()).is_err() {
            stop("the clock does not start");
        }
        let clock = Clock {
            count: move || timer.now().ticks(),
            last: 0,
            rounds: 0,
        };

        let settings = Config::default().baudrate(115_200.bps());
        let Ok(link) = chip.USART1.serial((a.pa9, a.pa10), settings, &mut rcc) else {
            stop("the link's rate cannot be had");
        };
        let mut link = Link(link);

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

        let bus = chip.I2C1.i2c((b.pb6, b.pb7), 400.kHz(), &mut rcc);
        let delay = chip.TIM4.delay_us(&mut rcc);
        let display = CharacterDisplay::new(bus, delay, 0x27).ok();

        let parts = Parts {
            flash,
            readings: Sensors {
                bridge,
                gyro,
                ready: c.pc6.into_pull_up_input(),
                was_ready: false,
                clock,
            },
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
        };
        // By reference: a copy would stay on the stack for good.
        match &mut Adapter::new(parts, PLATE) {
            Ok(adapter) => adapter.run(),
            Err(_) => stop("the flash cannot be read"),
        }
    }
}
