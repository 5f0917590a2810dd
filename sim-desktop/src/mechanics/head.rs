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

/// Thread diameter, bearing face dw and normal clearance hole dh, mm. [dw: ISO 4017 hexagon head screws; dh: ISO 273 normal series]
const HEXAGON: [(f64, f64, f64); 18] = [
    (3.0, 5.2, 3.4),
    (3.5, 5.2, 3.9),
    (4.0, 6.6, 4.5),
    (5.0, 7.5, 5.5),
    (6.0, 9.5, 6.6),
    (8.0, 11.7, 9.0),
    (10.0, 14.7, 11.0),
    (12.0, 16.7, 14.0),
    (14.0, 20.5, 16.0),
    (16.0, 22.4, 18.0),
    (18.0, 25.4, 20.0),
    (20.0, 28.2, 22.0),
    (22.0, 31.8, 24.0),
    (24.0, 33.7, 26.0),
    (27.0, 38.0, 30.0),
    (30.0, 42.8, 33.0),
    (33.0, 46.6, 36.0),
    (36.0, 51.2, 39.0),
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
