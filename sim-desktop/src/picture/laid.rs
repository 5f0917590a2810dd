//! Where a picture lies on the part: from its pixels to mm and back, through two points that are known in both.
//!
//! It may be turned and larger or smaller, never drawn out: a photograph from straight above is meant. Knows nothing of pictures.

/// Where a picture lies. Pixels are counted to the right and downwards from its top left, mm to the right and upwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Laid {
    /// What one pixel to the right is in mm: to the right, and upwards.
    along: (f64, f64),
    /// Where the top left corner is, in mm.
    corner: (f64, f64),
}

impl Laid {
    /// So that two of its pixels lie at two places. None where either two are one.
    #[must_use]
    pub fn through(pixels: [(f64, f64); 2], places: [(f64, f64); 2]) -> Option<Self> {
        let [first, second] = pixels;
        let [from, to] = places;
        // Complex numbers: (to - from) / (second - first), with pixels counted upwards.
        let (a, b) = (second.0 - first.0, first.1 - second.1);
        let (c, d) = (to.0 - from.0, to.1 - from.1);
        let square = a * a + b * b;
        if square < 1.0 || c * c + d * d < 1e-6 {
            return None;
        }
        let along = ((c * a + d * b) / square, (d * a - c * b) / square);
        let own = Self {
            along,
            corner: (0.0, 0.0),
        };
        let (x, y) = own.place(first);
        Some(Self {
            along,
            corner: (from.0 - x, from.1 - y),
        })
    }

    /// Upright, with its middle there, so many mm wide.
    #[must_use]
    pub fn upright(size: (f64, f64), middle: (f64, f64), wide_mm: f64) -> Self {
        let along = wide_mm / size.0.max(1.0);
        Self {
            along: (along, 0.0),
            corner: (
                middle.0 - along * size.0 / 2.0,
                middle.1 + along * size.1 / 2.0,
            ),
        }
    }

    /// Where a pixel lies, in mm.
    #[must_use]
    pub fn place(&self, (right, down): (f64, f64)) -> (f64, f64) {
        let (x, y) = self.along;
        (
            self.corner.0 + x * right + y * down,
            self.corner.1 + y * right - x * down,
        )
    }

    /// Which pixel lies there.
    #[must_use]
    pub fn pixel(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let (c, d) = (x - self.corner.0, y - self.corner.1);
        let (a, b) = self.along;
        let square = a * a + b * b;
        ((c * a + d * b) / square, (c * b - d * a) / square)
    }

    /// What one pixel to the right is in mm: to the right, and upwards.
    #[must_use]
    pub const fn along(&self) -> (f64, f64) {
        self.along
    }

    /// Where the top left corner is, in mm.
    #[must_use]
    pub const fn corner(&self) -> (f64, f64) {
        self.corner
    }

    /// mm of one pixel.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.along.0.hypot(self.along.1)
    }
}

#[cfg(test)]
mod tests {
    use super::Laid;
    use proptest::prelude::*;

    fn is_near(a: (f64, f64), b: (f64, f64)) -> bool {
        (a.0 - b.0).abs() < 1e-6 && (a.1 - b.1).abs() < 1e-6
    }

    #[test]
    fn two_points_say_how_large_and_how_turned_it_is() {
        let laid = Laid::through([(60.0, 240.0), (420.0, 240.0)], [(-90.0, 0.0), (90.0, 0.0)]);
        let laid = laid.unwrap();
        assert!(is_near(laid.place((240.0, 240.0)), (0.0, 0.0)));
        // Down in the picture is down on the part.
        assert!(is_near(laid.place((240.0, 420.0)), (0.0, -90.0)));
        assert!((laid.scale() - 0.5).abs() < 1e-9);
        // Held on its side: what is to the right in the picture is upwards on the part.
        let turned = Laid::through([(0.0, 0.0), (100.0, 0.0)], [(0.0, 0.0), (0.0, 50.0)]).unwrap();
        assert!(is_near(turned.place((0.0, 100.0)), (50.0, 0.0)));
        let upright = Laid::upright((200.0, 100.0), (10.0, 10.0), 100.0);
        assert!(is_near(upright.place((100.0, 50.0)), (10.0, 10.0)));
    }

    #[test]
    fn two_points_that_are_one_say_nothing() {
        let apart = [(0.0, 0.0), (90.0, 0.0)];
        assert_eq!(Laid::through([(5.0, 5.0), (5.5, 5.0)], apart), None);
        assert_eq!(
            Laid::through([(5.0, 5.0), (50.0, 5.0)], [(1.0, 1.0); 2]),
            None
        );
    }

    proptest! {
        #[test]
        fn a_pixel_is_found_again(
            a in (0.0..4000.0_f64, 0.0..4000.0_f64), b in (0.0..4000.0_f64, 0.0..4000.0_f64),
            c in (-900.0..900.0_f64, -900.0..900.0_f64), d in (-900.0..900.0_f64, -900.0..900.0_f64),
            other in (0.0..4000.0_f64, 0.0..4000.0_f64),
        ) {
            if let Some(laid) = Laid::through([a, b], [c, d]) && laid.scale() > 1e-3 {
                let near = |p: (f64, f64), q: (f64, f64), most: f64| (p.0 - q.0).abs() < most && (p.1 - q.1).abs() < most;
                prop_assert!(near(laid.place(a), c, 1e-6) && near(laid.place(b), d, 1e-6));
                prop_assert!(near(laid.pixel(laid.place(other)), other, 1e-3));
            }
        }
    }
}
