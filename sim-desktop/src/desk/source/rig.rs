//! A joint on the virtual bench, pulled by a key or by the simulated hand, sample by sample.
//!
//! Knows nothing of screens, records or verdicts.

use evendraw_core::procedure::{Prevailing, StageKind};
use evendraw_core::session::Session;
use evendraw_core::tracker::Cue;
use evendraw_core::verdict::Aim;

use crate::bench::{
    Bench, BenchCue, BenchSample, Fault, HandKind, Interface, JointModel, JointSketch, Task,
};
use crate::mechanics::{Condition, Strength};
use crate::plan::{Joint, JointPlan};

/// A bench with one joint on it.
#[derive(Debug)]
pub(super) struct Rig {
    bench: Bench,
    /// The hand is on a fastener.
    busy: bool,
    cue: BenchCue,
}

/// N·m from the core's torque.
pub(super) fn newton_metres(torque: evendraw_core::unit::Torque) -> f64 {
    f64::from(torque.millinewton_meters()) / 1000.0
}

/// Degrees from the core's angle.
pub(super) fn degrees(angle: evendraw_core::unit::Angle) -> f64 {
    f64::from(angle.millidegrees()) / 1000.0
}

/// What the plan says of a joint, as far as the bench wants to know.
pub(super) fn sketch(joint: &Joint, plan: &JointPlan) -> JointSketch {
    let positions = joint
        .positions()
        .iter()
        .map(|position| (position.label.clone(), [position.x_mm, position.y_mm]))
        .collect();
    let mut greatest = 0.0f64;
    let mut drag = 0.0f64;
    for (number, stage) in (0u16..).zip(plan.procedure.stages()) {
        let (torque, prevailing) = match stage.kind {
            StageKind::Tighten { window, prevailing } => (newton_metres(window.target), prevailing),
            StageKind::Repeat { window, .. }
            | StageKind::Align { window }
            | StageKind::Later { window, .. } => (newton_metres(window.target), Prevailing::None),
            StageKind::Hold { torque, .. } => (newton_metres(torque), Prevailing::None),
            StageKind::Turn {
                torque: Some(window),
                ..
            } => (newton_metres(window.min), Prevailing::None),
            _ => continue,
        };
        greatest = greatest.max(torque);
        match prevailing {
            Prevailing::None => {}
            Prevailing::Given(value) => drag = drag.max(newton_metres(value)),
            // Nobody has said how much: a tenth of the target, common practice, no source.
            Prevailing::Measure => drag = drag.max(torque * 0.1),
        }
        let _ = number;
    }
    let mut sketch = JointSketch::new(positions, if greatest > 0.0 { greatest } else { 10.0 });
    sketch.thread = plan.thread.as_deref().and_then(|text| text.parse().ok());
    let diameter = sketch
        .thread
        .as_ref()
        .map_or(10.0, |thread| thread.major_mm);
    sketch.strength = match (&plan.class, &plan.grade) {
        (Some(class), _) => Strength::property_class(class, diameter).ok(),
        (None, Some(grade)) => Strength::grade(grade, diameter).ok(),
        (None, None) => None,
    };
    sketch.grip_mm = plan.grip_mm;
    sketch.condition = plan.condition.as_deref().map(Condition::from_text);
    sketch.interface = Interface::from_parts(joint.needs());
    sketch.prevailing_Nm = drag;
    sketch
}

impl Rig {
    /// Sets the joint up.
    ///
    /// # Errors
    /// Why the bench cannot take it, in words.
    pub(super) fn new(
        joint: &Joint,
        plan: &JointPlan,
        seed: u64,
        faults: &[(usize, Fault)],
    ) -> Result<Self, String> {
        let model =
            JointModel::from_sketch(&sketch(joint, plan)).map_err(|error| error.to_string())?;
        let bench = Bench::new(model, seed, HandKind::Steady, faults);
        Ok(Self {
            bench,
            busy: false,
            cue: BenchCue::None,
        })
    }

    /// Whether the hand is on a fastener.
    pub(super) const fn is_busy(&self) -> bool {
        self.busy
    }

    /// Seconds of the bench's own time.
    pub(super) fn elapsed_s(&self) -> f64 {
        self.bench.elapsed_s()
    }

    /// The hand goes to a fastener and begins what the aim wants.
    pub(super) fn begin(&mut self, fastener: u8, aim: &Aim) {
        let task = match *aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => Task::Tighten {
                target_Nm: newton_metres(window.target),
            },
            Aim::Turn { window, .. } => Task::Turn {
                degrees: degrees(window.target),
            },
            Aim::Hold { torque, time, .. } => {
                let seconds = f64::from(time.millis()) / 1000.0;
                Task::Hold {
                    torque_Nm: newton_metres(torque),
                    seconds: seconds + 0.5,
                }
            }
            Aim::BackOff { angle } => Task::BackOff {
                degrees: angle.map(degrees),
            },
        };
        self.bench.begin(usize::from(fastener), task);
        self.busy = true;
        self.cue = BenchCue::None;
    }

    /// The person lets go of the handle.
    pub(super) fn let_go(&mut self) {
        self.cue = BenchCue::Target;
    }

    /// What the adapter told the hand.
    pub(super) fn hear(&mut self, cue: Cue, halt: bool) {
        if self.cue == BenchCue::Target || self.cue == BenchCue::Halt {
            return;
        }
        self.cue = match cue {
            _ if halt => BenchCue::Halt,
            Cue::None => BenchCue::None,
            Cue::Approach => BenchCue::Approach,
            Cue::Target | Cue::Over => BenchCue::Target,
        };
    }

    /// The next sample; none once the hand is off the fastener.
    pub(super) fn sample(&mut self) -> Option<BenchSample> {
        let sample = self.bench.sample(self.cue);
        if sample.is_none() {
            self.busy = false;
        }
        sample
    }

    /// Time passes with nobody at the tool.
    pub(super) fn idle(&mut self, seconds: f64) {
        self.bench.idle(seconds);
    }

    /// A fastener is spun in by hand, or backed off until free, outside of any judged pull.
    pub(super) fn by_hand(&mut self, fastener: u8, task: Task) {
        self.bench.begin(usize::from(fastener), task);
        while self.bench.sample(BenchCue::None).is_some() {}
        self.busy = false;
    }

    /// A new fastener.
    pub(super) fn replace(&mut self, fastener: u8) {
        self.bench.replace(usize::from(fastener));
        self.busy = false;
    }

    /// Clamp loads of all fasteners, kN.
    #[expect(clippy::cast_possible_truncation, reason = "kilonewtons for a drawing")]
    pub(super) fn clamps(&self) -> Vec<f32> {
        self.bench
            .clamps_kN()
            .into_iter()
            .map(|load| load as f32)
            .collect()
    }

    /// Brings the metal to where the records say it is, after a restart: what was accepted is pulled again, unrecorded.
    pub(super) fn catch_up<P: std::ops::Deref<Target = evendraw_core::procedure::Procedure>>(
        &mut self,
        session: &Session<P>,
    ) {
        for (index, step) in (0u16..).zip(session.procedure().steps()) {
            let Some(fastener) = step.fastener() else {
                continue;
            };
            if !session.ledger().step(index).is_settled() || session.ledger().must_loosen(fastener)
            {
                continue;
            }
            let Some(stage) = session.procedure().stage_of(index) else {
                continue;
            };
            let target = session
                .procedure()
                .torque_window(index)
                .map(|window| window.target);
            let task = match (stage.kind, target) {
                (
                    StageKind::Tighten { .. }
                    | StageKind::Repeat { .. }
                    | StageKind::Align { .. }
                    | StageKind::Later { .. },
                    Some(target),
                ) => Task::Tighten {
                    target_Nm: newton_metres(target),
                },
                (StageKind::Turn { window, .. }, _) => {
                    let window = session.procedure().angle_window(index).unwrap_or(window);
                    Task::Turn {
                        degrees: degrees(window.target),
                    }
                }
                (StageKind::BackOff { angle }, _) => Task::BackOff {
                    degrees: angle.map(degrees),
                },
                (StageKind::Seat { .. }, _) => Task::SeatByHand { turns: None },
                _ => continue,
            };
            self.again(fastener, task);
        }
    }

    /// Pulls until the true target, with nobody watching.
    fn again(&mut self, fastener: u8, task: Task) {
        self.bench.begin(usize::from(fastener), task);
        let start = self.bench.rotation_deg(usize::from(fastener));
        let mut cue = BenchCue::None;
        while let Some(sample) = self.bench.sample(cue) {
            let reached = match task {
                Task::Tighten { target_Nm } => sample.torque_Nm >= target_Nm,
                Task::Turn { degrees } => {
                    self.bench.rotation_deg(usize::from(fastener)) - start >= degrees
                }
                _ => false,
            };
            if reached {
                cue = BenchCue::Target;
            }
        }
    }
}
