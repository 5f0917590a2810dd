//! Where a head or nut bears on the part: the ring between hole and bearing face.
//!
//! Knows nothing of friction or strength.

use super::Thread;

/// The ring on which a head or nut turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bearing {
    /// Outer diameter of the bearing face dw, mm.
    pub face_mm: f64,
    /// Diameter of the hole dh, mm.
    pub hole_mm: f64,
}

/// Thread diameter, bearing face dw and medium clearance hole dh, mm. [M8 to M24: VDI 2230:2001, dw of ISO 4014 grade A with dh of ISO 273
/// medium, confirmed by its torque table, `tests/tests/published_vdi2230.rs`; the others: the same standards, from memory]
const HEXAGON: [(f64, f64, f64); 18] = [
    (3.0, 4.57, 3.4),
    (3.5, 5.07, 3.9),
    (4.0, 5.88, 4.5),
    (5.0, 6.88, 5.5),
    (6.0, 8.88, 6.6),
    (8.0, 11.63, 9.0),
    (10.0, 14.63, 11.0),
    (12.0, 16.63, 13.5),
    (14.0, 19.64, 15.5),
    (16.0, 22.49, 17.5),
    (18.0, 25.34, 20.0),
    (20.0, 28.19, 22.0),
    (22.0, 31.71, 24.0),
    (24.0, 33.61, 26.0),
    (27.0, 38.0, 30.0),
    (30.0, 42.75, 33.0),
    (33.0, 46.55, 36.0),
    (36.0, 51.11, 39.0),
];

impl Bearing {
    /// Hexagon head or nut for a thread. Sizes outside the table, inch sizes among them, take dw = 1.425 d and dh = 1.1 d: the width
    /// across flats of 1.5 d less its chamfer. [proportion: ASME B18.2.1, 1.5 d across flats; hole: ISO 273 within 0.1 d]
    #[must_use]
    pub fn hexagon(thread: &Thread) -> Self {
        let d = thread.major_mm;
        HEXAGON.iter().find(|row| (row.0 - d).abs() < 1e-6).map_or(
            Self {
                face_mm: 1.425 * d,
                hole_mm: 1.1 * d,
            },
            |&(_, face_mm, hole_mm)| Self { face_mm, hole_mm },
        )
    }

    /// Diameter at which the friction of the face acts, mm: DKm = (dw + dh)/2. [VDI 2230:2001]
    #[must_use]
    pub fn friction_diameter_mm(&self) -> f64 {
        f64::midpoint(self.face_mm, self.hole_mm)
    }
}
