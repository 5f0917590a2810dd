//! A number kept between two bounds, whatever the bounds are.
//!
//! `clamp` of the standard library panics where the lower bound is above the upper one, which a window of one pixel or a limit
//! typed the wrong way round brings about; `clippy.toml` forbids it in this crate. Knows nothing of what is bounded.

/// Numbers that can be kept between bounds.
pub(crate) trait Limited {
    /// Not below `low` and not above `high`; where those exclude one another, `low` for what is below it and `high` for the rest.
    #[must_use]
    fn limited(self, low: Self, high: Self) -> Self;
}

impl<T: PartialOrd> Limited for T {
    fn limited(self, low: Self, high: Self) -> Self {
        if self < low {
            low
        } else if self > high {
            high
        } else {
            self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Limited as _;

    #[test]
    fn bounds_in_order_hold_and_bounds_out_of_order_end_nothing() {
        for (value, low, high, limited) in [
            (1.0, 2.0, 3.0, 2.0),
            (2.5, 2.0, 3.0, 2.5),
            (9.0, 2.0, 3.0, 3.0),
            (2.5, 3.0, 2.0, 3.0),
            (9.0, 3.0, 2.0, 2.0),
            (1.0, f64::NAN, f64::NAN, 1.0),
        ] {
            assert_eq!(value.limited(low, high), limited);
        }
        assert!(f32::NAN.limited(0.0, 1.0).is_nan());
    }
}
