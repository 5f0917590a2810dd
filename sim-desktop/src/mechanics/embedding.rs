//! Embedding: roughness flattened for good after tightening, and the load that it costs.
//!
//! Knows nothing of time; how long it takes is the bench's matter.

/// Mean roughness Rz of the faces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Roughness {
    /// Below 10 µm: ground, fine turned.
    Fine,
    /// 10 to 40 µm: usual machining.
    Usual,
    /// 40 to 160 µm: rough machining, clean castings.
    Coarse,
}

/// Which way the joint is loaded in service.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Service {
    /// Along the bolt.
    Axial,
    /// Across it.
    Shear,
}

/// What each place of a joint of solid steel parts gives for good, µm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Embedding {
    /// The thread.
    pub thread_um: f64,
    /// Each face under a head or nut.
    pub face_um: f64,
    /// Each joint between two parts.
    pub interface_um: f64,
}

impl Embedding {
    /// Guideline values. [VDI 2230:2003 table 5, from memory]
    #[must_use]
    pub fn of(roughness: Roughness, service: Service) -> Self {
        let (face_um, interface_um) = match (roughness, service) {
            (Roughness::Fine, Service::Axial) => (2.5, 1.5),
            (Roughness::Fine, Service::Shear) => (3.0, 2.0),
            (Roughness::Usual, Service::Axial) => (3.0, 2.0),
            (Roughness::Usual, Service::Shear) => (4.5, 2.5),
            (Roughness::Coarse, Service::Axial) => (4.0, 3.0),
            (Roughness::Coarse, Service::Shear) => (6.5, 3.5),
        };
        Self {
            thread_um: 3.0,
            face_um,
            interface_um,
        }
    }

    /// Of a whole joint with so many faces under heads and nuts and so many joints between parts, µm.
    #[must_use]
    pub fn total_um(&self, faces: u32, interfaces: u32) -> f64 {
        self.thread_um + f64::from(faces) * self.face_um + f64::from(interfaces) * self.interface_um
    }
}

/// Preload lost to it, N: FZ = fZ/(δS + δP), the springs in series. [VDI 2230:2001 eq. R4/1]
#[must_use]
pub fn embedding_loss_N(total_um: f64, bolt_N_per_mm: f64, member_N_per_mm: f64) -> f64 {
    total_um / 1000.0 / (1.0 / bolt_N_per_mm + 1.0 / member_N_per_mm)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::{
        Bearing, STEEL_E_MPA, Strength, Thread, fastener_stiffness_N_per_mm,
        member_stiffness_N_per_mm, preload_at_yield_share_N,
    };

    /// Short bolts lose a tenth and more, long ones little: why studs are made long. [common practice, no source]
    #[test]
    fn a_short_grip_loses_more_than_a_long_one() {
        let total = Embedding::of(Roughness::Usual, Service::Axial).total_um(1, 1);
        assert!((total - 8.0).abs() < 1e-12);
        let thread: Thread = "M10".parse().expect("a thread");
        let strength = Strength::property_class("8.8", 10.0).expect("a class");
        let preload = preload_at_yield_share_N(&thread, &strength, 0.12, 0.9);
        let lost = |grip_mm| {
            let bolt = fastener_stiffness_N_per_mm(&thread, grip_mm);
            let face = Bearing::hexagon(&thread).face_mm;
            let members = member_stiffness_N_per_mm(STEEL_E_MPA, 10.0, face, grip_mm);
            embedding_loss_N(total, bolt, members) / preload
        };
        assert!((0.05..0.12).contains(&lost(20.0)), "{}", lost(20.0));
        assert!(lost(100.0) < 0.035, "{}", lost(100.0));
        for roughness in [Roughness::Fine, Roughness::Usual, Roughness::Coarse] {
            let of = |service| Embedding::of(roughness, service).total_um(2, 1);
            assert!(of(Service::Shear) > of(Service::Axial));
        }
    }
}
