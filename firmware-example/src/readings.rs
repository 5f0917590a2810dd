//! Where readings come from. What becomes of them is the core's: [`evendraw_core::sample`].

use evendraw_core::sample::Counts;
use evendraw_core::unit::Instant;

/// Both sensors, whatever they hang on.
pub trait Readings {
    /// The oldest reading that has not been taken, if there is one. Never waits.
    fn next(&mut self) -> Option<Counts>;

    /// The time, on the clock of the readings.
    fn now(&mut self) -> Instant;
}
