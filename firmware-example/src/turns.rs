//! How long the turns of the loop take.
//!
//! Knows nothing of what is done in one.

/// The turns so far, on a timer of microseconds that goes round.
#[derive(Debug, Default)]
pub struct Turns {
    began: Option<u32>,
    longest: u32,
    count: u32,
}

impl Turns {
    /// A turn is over; whether it was longer than any before it.
    pub fn ended(&mut self, now: u32) -> bool {
        let Some(began) = self.began else {
            return false;
        };
        self.count = self.count.saturating_add(1);
        let took = now.wrapping_sub(began);
        let longer = took > self.longest;
        self.longest = self.longest.max(took);
        longer
    }

    /// The next turn begins.
    pub const fn begins(&mut self, now: u32) {
        self.began = Some(now);
    }

    /// The longest one, in µs.
    #[must_use]
    pub const fn longest(&self) -> u32 {
        self.longest
    }

    /// How many there were.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }
}

#[cfg(test)]
mod tests {
    use super::Turns;

    #[test]
    fn the_longest_turn_is_kept_over_a_round_of_the_timer() {
        let mut turns = Turns::default();
        assert!(!turns.ended(500), "none has begun");
        turns.begins(500);
        assert!(turns.ended(570));
        turns.begins(600);
        assert!(!turns.ended(650));
        turns.begins(u32::MAX - 9);
        assert!(turns.ended(90));
        assert_eq!((turns.longest(), turns.count()), (100, 3));
    }
}
