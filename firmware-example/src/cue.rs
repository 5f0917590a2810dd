//! What the hand is told without words: lamps, a buzzer, a vibration motor.
//!
//! Knows nothing of torque: the loop says which cue holds.

use embedded_hal::digital::OutputPin;

/// What to tell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, defmt::Format)]
pub enum Signal {
    /// Nothing.
    #[default]
    Quiet,
    /// The target is near: slow down.
    Near,
    /// Stop pulling: the target is reached.
    Enough,
    /// The attempt is accepted and stored.
    Good,
    /// Stop at once, something is wrong; or the attempt was rejected.
    Wrong,
}

/// Something that tells.
pub trait Cue {
    /// Tells this from now on; `tick` counts on every call by the time in units of 50 ms, for what blinks.
    fn tell(&mut self, signal: Signal, tick: u32);
}

/// Two lamps, a buzzer and a vibration motor on four pins, high is on.
///
/// No cue rests on colour or sound alone: each has its own rhythm on the motor too.
#[derive(Debug)]
pub struct Pins<G, R, B, V> {
    /// The lamp for good.
    pub good: G,
    /// The lamp for wrong.
    pub wrong: R,
    /// The buzzer.
    pub buzzer: B,
    /// The vibration motor.
    pub motor: V,
}

impl<G: OutputPin, R: OutputPin, B: OutputPin, V: OutputPin> Cue for Pins<G, R, B, V> {
    fn tell(&mut self, signal: Signal, tick: u32) {
        let slow = tick % 8 < 4;
        let fast = tick.is_multiple_of(2);
        let (good, wrong, buzzer, motor) = match signal {
            Signal::Quiet => (false, false, false, false),
            Signal::Near => (slow, false, slow, slow),
            Signal::Enough => (true, false, true, true),
            Signal::Good => (true, false, false, false),
            Signal::Wrong => (false, true, fast, fast),
        };
        // A pin that cannot be set is a lamp that stays dark; the other three still tell.
        let _ = self.good.set_state(good.into());
        let _ = self.wrong.set_state(wrong.into());
        let _ = self.buzzer.set_state(buzzer.into());
        let _ = self.motor.set_state(motor.into());
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};

    use super::{Cue, Pins, Signal};

    #[test]
    fn every_signal_differs_on_the_motor_alone_or_on_both_lamps() {
        let mut seen = Vec::new();
        for signal in [
            Signal::Quiet,
            Signal::Near,
            Signal::Enough,
            Signal::Good,
            Signal::Wrong,
        ] {
            let mut all = Vec::new();
            for tick in 0..8 {
                let states = pattern(signal, tick);
                all.push(states);
            }
            assert!(!seen.contains(&all), "{signal:?}");
            seen.push(all);
        }
    }

    /// What the four pins are set to, found by trying: the mock fails on any other state.
    fn pattern(signal: Signal, tick: u32) -> [bool; 4] {
        let mut found = [false; 4];
        for (index, slot) in found.iter_mut().enumerate() {
            let recorder = Recorder::default();
            let mut pins = [
                recorder.clone(),
                recorder.clone(),
                recorder.clone(),
                recorder.clone(),
            ];
            let own = Recorder::default();
            pins[index] = own.clone();
            let [good, wrong, buzzer, motor] = pins;
            Pins {
                good,
                wrong,
                buzzer,
                motor,
            }
            .tell(signal, tick);
            *slot = own.0.get();
        }
        found
    }

    #[derive(Clone, Default)]
    struct Recorder(std::rc::Rc<std::cell::Cell<bool>>);

    impl embedded_hal::digital::ErrorType for Recorder {
        type Error = core::convert::Infallible;
    }

    impl embedded_hal::digital::OutputPin for Recorder {
        fn set_low(&mut self) -> Result<(), Self::Error> {
            self.0.set(false);
            Ok(())
        }
        fn set_high(&mut self) -> Result<(), Self::Error> {
            self.0.set(true);
            Ok(())
        }
    }

    #[test]
    fn wrong_lights_its_own_lamp_and_shakes() {
        let mut good = Mock::new(&[Transaction::set(State::Low)]);
        let mut wrong = Mock::new(&[Transaction::set(State::High)]);
        let mut buzzer = Mock::new(&[Transaction::set(State::High)]);
        let mut motor = Mock::new(&[Transaction::set(State::High)]);
        let mut pins = Pins {
            good: good.clone(),
            wrong: wrong.clone(),
            buzzer: buzzer.clone(),
            motor: motor.clone(),
        };
        pins.tell(Signal::Wrong, 0);
        for pin in [&mut good, &mut wrong, &mut buzzer, &mut motor] {
            pin.done();
        }
    }
}
