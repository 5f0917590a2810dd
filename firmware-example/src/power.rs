//! What a board knows of its own power: why it started, whether the supply still carries the flash, and the watchdog.
//!
//! Knows nothing of what is done about it.

/// Why a start happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub enum Cause {
    /// The board does not know.
    Unknown,
    /// Power came.
    PowerOn,
    /// The supply fell below what the chip runs on, and came back.
    Supply,
    /// The watchdog: no turn took a reading for too long.
    Watchdog,
    /// The reset pin.
    Pin,
    /// The program asked for it, or a debugger.
    Program,
}

/// The board's power.
pub trait Power {
    /// Why this start happened.
    fn cause(&self) -> Cause;

    /// Whether the supply has fallen so far that no new pull may begin: above what the flash needs, so that what is under way can still
    /// be kept. Called in every turn; never waits.
    fn is_low(&mut self) -> bool;

    /// The loop is alive: the watchdog begins anew, and is started by the first call. A turn that took no reading does not call it.
    fn is_alive(&mut self);
}

/// A board that knows nothing of its power and has no watchdog.
#[derive(Clone, Copy, Debug)]
pub struct Steady;

impl Power for Steady {
    fn cause(&self) -> Cause {
        Cause::Unknown
    }

    fn is_low(&mut self) -> bool {
        false
    }

    fn is_alive(&mut self) {}
}
