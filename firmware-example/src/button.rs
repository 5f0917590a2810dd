//! Push buttons, freed of their bouncing.
//!
//! Knows nothing of what a press means.

use embedded_hal::digital::InputPin;
use evendraw_core::unit::{Instant, Span};

/// A contact must stand still this long; common switches bounce for less than 10 ms. *Common practice, no source.*
const STEADY: Span = Span::from_millis(20);

/// A button that pulls its pin low.
#[derive(Debug)]
pub struct Button<P> {
    pin: P,
    pressed: bool,
    /// Since when the pin has differed from `pressed`.
    changing: Option<Instant>,
}

impl<P: InputPin> Button<P> {
    /// A button on this pin; pressed is low.
    pub const fn new(pin: P) -> Self {
        Self {
            pin,
            pressed: false,
            changing: None,
        }
    }

    /// Whether the button has just been pressed: true once a press. A pin that cannot be read counts as not pressed.
    pub fn has_been_pressed(&mut self, now: Instant) -> bool {
        let low = self.pin.is_low().unwrap_or(false);
        if low == self.pressed {
            self.changing = None;
            return false;
        }
        let since = *self.changing.get_or_insert(now);
        if now.since(since) < STEADY {
            return false;
        }
        self.pressed = low;
        self.changing = None;
        low
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};
    use evendraw_core::unit::Instant;

    use super::Button;

    #[test]
    fn a_bouncing_press_counts_once() {
        // Low and high as the contact bounces, then held, then let go.
        let lows = [
            false, true, false, true, true, true, true, true, false, false, false, false,
        ];
        let steps: Vec<_> = lows
            .iter()
            .map(|&low| Transaction::get(if low { State::Low } else { State::High }))
            .collect();
        let mut pin = Mock::new(&steps);
        let mut button = Button::new(pin.clone());
        let mut presses = 0;
        for tick in 0..12 {
            if button.has_been_pressed(Instant::from_micros(tick * 10_000)) {
                presses += 1;
            }
        }
        assert_eq!(presses, 1);
        pin.done();
    }
}
