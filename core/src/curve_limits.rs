//! What the curve of a pull is watched for: every threshold as data, with its default and reason.
//!
//! A part is in percent of the attempt's target. Knows nothing of samples; the tracker applies these.

use serde::{Deserialize, Serialize};

use crate::procedure::{ProcedureError, Rule};
use crate::unit::{Angle, Span, Torque};
use crate::wire::wire;

/// Thresholds for one procedure.
///
/// The defaults are set so that a healthy pull by a jerky hand is not stopped; each is *our judgement, no source*, held
/// against the corpus of pulls in the tests.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CurveLimits {
    /// Members in firm contact: the angle counts from here. Zero: a tenth of the stage's target.
    pub snug: Torque,
    /// Below this the tool is not on the fastener: rotation is frozen. Zero: a twentieth of the stage's target, and at least
    /// four times [`Self::noise`].
    pub regrip: Torque,
    /// Stiffness of the tool train in mN·m per degree; zero: measured from the release of each pull.
    pub train: u32,
    /// The softest train to allow for while nothing is measured yet, in mN·m per degree. Default 4,000: a 10 mm extension
    /// of 250 mm.
    pub train_softest: u32,
    /// What the torque reading may wander by itself, as a standard deviation. Default 0.1 N·m. Where the reading is seen to wander
    /// more while it is below snug, what is seen counts instead.
    pub noise: Torque,
    /// An attempt left alone for this long is over; a turn that is part-way never is. Default 30 s.
    pub idle: Span,
    /// Released for this long, a complete attempt is over. Default 100 ms: longer than any bounce of a ratchet.
    pub release: Span,
    /// From cue to hand: what the approach cue leads by. Default 250 ms: a simple reaction to light or sound, *common
    /// practice, no source*.
    pub reaction: Span,
    /// Samples further apart than this while loaded are a gap. Zero: 100 ms, and four times the usual distance.
    pub gap: Span,
    /// What tool or fastener may bear; zero: not known.
    pub overload: Torque,
    /// Least rise of torque over fastener angle that the joint should show past snug, in mN·m per degree; less is a late
    /// rise. Zero: not known.
    pub gradient_min: u32,
    /// Most rise of torque over fastener angle past snug, in mN·m per degree; more is an early rise. Zero: not known.
    pub gradient_max: u32,
    /// Turned on by less than this from snug to target, the fastener was tight before. Default 1°: the hardest joint met in
    /// the corpus takes 3°.
    pub turn_least: Angle,
    /// Turned on by more than this past snug without reaching the window, the rise is late. Default 720°.
    pub late: Angle,
    /// Least rotation of a whole run-down before snug; less is an early rise. Zero: not known.
    pub run_down_min: Angle,
    /// Most rotation of a whole run-down before snug; more is a late rise. Zero: not known.
    pub run_down_max: Angle,
    /// The gradient fell below this part of its steepest: the fastener yields. Default 40 %.
    pub yield_part: u8,
    /// Torque fell by this part of its top while turning on: giving way. Default 20 %.
    pub drop_part: u8,
    /// How far it must have turned on meanwhile. Default 4°.
    pub drop_turn: Angle,
    /// Depth of a tooth. Default 8 %.
    pub tooth_part: u8,
    /// Teeth that make a saw. Default 5.
    pub teeth: u8,
    /// Rise between two samples at the peak that makes the peak uncertain. Default 4 %.
    pub jerk_part: u8,
    /// What one sample must stand above both neighbours by to be a spike. Default 4 %.
    pub spike_part: u8,
    /// Movement that counts as the first. Default 0.5°.
    pub restart_turn: Angle,
    /// A hold is kept while the torque is at least this part of its own. Default 98 %.
    pub hold_part: u8,
    /// Load against the stage's direction that counts as the wrong way. Default 10 %.
    pub wrong_part: u8,
    /// What a turn must have added to the torque it began at once it has turned by [`Self::turn_rise_after`]; zero: need not
    /// rise. Default 10 %. Only a fastener's first turn is held to it: the next may begin at its yield, where a flat torque
    /// is as it should be.
    pub turn_rise_part: u8,
    /// How far a turn goes before it is held to its rise, and no farther than three quarters of it; a turn that aims at less
    /// than this is not. Default 30°: short of where a bolt that begins well below its yield reaches it.
    pub turn_rise_after: Angle,
    /// Least rise of a turn in mN·m per degree of its first degrees, 10° of settling left out; zero: not known. A plan with
    /// thread and grip gives it.
    pub turn_rise: u32,
}

wire!(struct CurveLimits {
    snug,
    regrip,
    train,
    train_softest,
    noise,
    idle,
    release,
    reaction,
    gap,
    overload,
    gradient_min,
    gradient_max,
    turn_least,
    late,
    run_down_min,
    run_down_max,
    yield_part,
    drop_part,
    drop_turn,
    tooth_part,
    teeth,
    jerk_part,
    spike_part,
    restart_turn,
    hold_part,
    wrong_part,
    turn_rise_part,
    turn_rise_after,
    turn_rise,
});

impl Default for CurveLimits {
    fn default() -> Self {
        Self {
            snug: Torque::ZERO,
            regrip: Torque::ZERO,
            train: 0,
            train_softest: 4_000,
            noise: Torque::from_millinewton_meters(100),
            idle: Span::from_seconds(30),
            release: Span::from_millis(100),
            reaction: Span::from_millis(250),
            gap: Span::ZERO,
            overload: Torque::ZERO,
            gradient_min: 0,
            gradient_max: 0,
            turn_least: Angle::from_millidegrees(1_000),
            late: Angle::from_millidegrees(720_000),
            run_down_min: Angle::ZERO,
            run_down_max: Angle::ZERO,
            yield_part: 40,
            drop_part: 20,
            drop_turn: Angle::from_millidegrees(4_000),
            tooth_part: 8,
            teeth: 5,
            jerk_part: 4,
            spike_part: 4,
            restart_turn: Angle::from_millidegrees(500),
            hold_part: 98,
            wrong_part: 10,
            turn_rise_part: 10,
            turn_rise_after: Angle::from_millidegrees(30_000),
            turn_rise: 0,
        }
    }
}

/// Stiffest train or joint that is taken at its word, in mN·m per degree.
const STIFFEST: u32 = 100_000_000;

impl CurveLimits {
    pub(crate) fn checked(&self) -> Result<(), ProcedureError> {
        let sound = |holds: bool, why| {
            if holds {
                Ok(())
            } else {
                Err(ProcedureError::Limits { stage: 0, why })
            }
        };
        sound(
            ![self.snug, self.regrip, self.noise, self.overload]
                .into_iter()
                .any(Torque::is_negative),
            Rule::LimitTorques,
        )?;
        sound(
            [
                self.train,
                self.gradient_min,
                self.gradient_max,
                self.turn_rise,
            ]
            .into_iter()
            .all(|stiffness| stiffness <= STIFFEST)
                && (1..=STIFFEST).contains(&self.train_softest),
            Rule::LimitStiffness,
        )?;
        sound(
            self.gradient_max == 0 || self.gradient_min <= self.gradient_max,
            Rule::LimitGradients,
        )?;
        sound(
            [
                self.yield_part,
                self.drop_part,
                self.tooth_part,
                self.jerk_part,
                self.spike_part,
                self.hold_part,
                self.wrong_part,
            ]
            .into_iter()
            .all(|part| (1..=100).contains(&part))
                && self.turn_rise_part <= 100,
            Rule::LimitParts,
        )?;
        sound(
            self.teeth > 0
                && ![
                    self.turn_least,
                    self.late,
                    self.run_down_min,
                    self.run_down_max,
                    self.drop_turn,
                    self.restart_turn,
                    self.turn_rise_after,
                ]
                .into_iter()
                .any(Angle::is_negative),
            Rule::LimitTeeth,
        )
    }
}
