//! How fasteners of one box and faces of one part differ from one to the next.
//!
//! Knows nothing of hands or sensors.

use super::{FastenerModel, Rng, Spring};
use crate::limited::Limited as _;
use crate::mechanics::Condition;

/// Standard deviations as fractions of the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variation {
    /// Friction in thread and under the head.
    pub friction: f64,
    /// Strength within a class. The weakest of a thousand still meets the class, so the mean lies three deviations above its minimum.
    pub strength: f64,
    /// Give of fastener and pressed parts: thread and grip within their tolerances, faces not square, parts not alike.
    pub stiffness: f64,
    /// What rough faces close by and embed by.
    pub faces: f64,
}

impl Variation {
    /// Every fastener the same, and no stronger than its class asks.
    pub const NONE: Self = Self {
        friction: 0.0,
        strength: 0.0,
        stiffness: 0.0,
        faces: 0.0,
    };

    /// Of usual fasteners with this on their threads.
    ///
    /// Friction: [`Condition::friction_scatter`]. Strength and stiffness are chosen so that the preload comes out as the handbook has it at three
    /// deviations: ±8 % sensed by yield, of which the friction's torsion makes half, and ±15 % by turn of nut from a snug
    /// torque of a quarter. [Machinery's Handbook, accuracy of bolt preload application methods] Faces: the guideline values for neighbouring
    /// roughnesses lie a quarter to a third apart. [VDI 2230:2003 table 5, from memory]
    #[must_use]
    pub fn usual(condition: Condition) -> Self {
        Self {
            friction: condition.friction_scatter(),
            strength: 0.023,
            stiffness: 0.06,
            faces: 0.25,
        }
    }

    /// One fastener taken from the box and the place that it goes to.
    pub(super) fn draw(
        &self,
        metal: &FastenerModel,
        spring: &Spring,
        rng: &mut Rng,
    ) -> (FastenerModel, Spring) {
        let mut within = |deviation: f64| rng.normal().limited(-3.0, 3.0) * deviation;
        let (friction, strength, stiffness, faces) = (
            within(self.friction).exp(),
            1.0 + 3.0 * self.strength + within(self.strength),
            within(self.stiffness).exp(),
            within(self.faces).exp(),
        );
        let mut metal = metal.clone();
        metal.drag_mm *= friction;
        // More friction in the thread twists the bolt more while it is turned, and leaves less of its strength for tension.
        let strength = strength * friction.powf(-metal.torsion_share);
        metal.yield_N *= strength;
        metal.peak_N *= strength;
        metal.embeds_mm *= faces;
        let mut spring = *spring;
        // A screw on the bottom of its hole has neither grip nor pressed parts to differ.
        if metal.clamps {
            spring.compliance_mm_per_N *= stiffness;
        }
        spring.toe_mm *= faces;
        (metal, spring)
    }
}
