//! What lies between the parts of a joint: how it gives, and how it settles.
//!
//! Knows nothing of fasteners.

use super::{Embedding, Roughness, Service};

/// What lies between the parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Interface {
    /// Metal on metal.
    #[default]
    Metal,
    /// A firm gasket: cylinder head, metal-cored.
    FirmGasket,
    /// A soft gasket: fibre or cork sheet.
    SoftGasket,
}

impl Interface {
    /// Foundation modulus, N/mm³, and creep. Metal: 40 mm of cast aluminium underneath, 70 GPa/40 mm, which does not creep: what it gives for
    /// good is embedding; gaskets: modulus over thickness of usual sheets, creep beside what the bolts embed by, common practice, no source.
    #[must_use]
    pub fn numbers(self) -> (f64, Creep) {
        match self {
            Self::Metal => (
                1750.0,
                Creep {
                    ratio: 0.0,
                    time_s: 180.0,
                },
            ),
            Self::FirmGasket => (
                400.0,
                Creep {
                    ratio: 0.10,
                    time_s: 120.0,
                },
            ),
            Self::SoftGasket => (
                60.0,
                Creep {
                    ratio: 0.25,
                    time_s: 90.0,
                },
            ),
        }
    }

    /// What a screw in a tapped hole embeds by, µm: its thread, the face under its head and, where metal meets metal, the joint between
    /// the parts. A gasket settles by its own creep instead.
    #[must_use]
    pub fn embedding_um(self) -> f64 {
        let interfaces = u32::from(self == Self::Metal);
        Embedding::of(Roughness::Usual, Service::Axial).total_um(1, interfaces)
    }

    /// Guesses from the names of parts a joint needs: a head gasket is firm, any other gasket soft, none is metal on metal.
    #[must_use]
    pub fn from_parts<'a>(parts: impl IntoIterator<Item = &'a str>) -> Self {
        let mut found = Self::Metal;
        for part in parts {
            let lower = part.to_lowercase();
            if lower.contains("gasket") {
                if lower.contains("head") {
                    return Self::FirmGasket;
                }
                found = Self::SoftGasket;
            }
        }
        found
    }
}

/// Gasket or surfaces that go on settling under load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Creep {
    /// Deflection gained in the end, as a fraction of the elastic one.
    pub ratio: f64,
    /// Time in which 63 % of it is gained, s.
    pub time_s: f64,
}
