//! One joint on the virtual bench, as the plan describes it, with a hand on the tool.
//!
//! Knows nothing of sessions, records or verdicts.

use evendraw_core::ledger::Ledger;
use evendraw_core::procedure::{Prevailing, Procedure, StageKind};
use evendraw_core::tracker::Cue;
use evendraw_core::unit::Angle;
use evendraw_core::verdict::Aim;

use crate::bench::{
    Bench, BenchCue, BenchSample, Fault, HandKind, Interface, JointError, JointModel, JointSketch,
    Task, Turning,
};
use crate::job::Job;
use crate::mechanics::{Condition, Strength};
use crate::plan::{Joint, JointPlan};
use crate::quantity::newton_meters;

/// Degrees from the core's angle.
#[must_use]
pub fn degrees(angle: Angle) -> f64 {
    f64::from(angle.millidegrees()) / 1_000.0
}

/// How far beside another the bench puts a fastener that shares its place on the map: clear of any common thread.
const BESIDE_MM: f64 = 40.0;

/// What the plan says of a joint, as far as the bench wants to know.
#[must_use]
pub fn sketch(joint: &Joint, plan: &JointPlan) -> JointSketch {
    let mut positions: Vec<(String, [f64; 2])> = Vec::new();
    for position in joint.positions() {
        let mut place = [position.x_mm, position.y_mm];
        // Both ends of a through-stud share a place on the map; the bench puts the second beside the first.
        while positions
            .iter()
            .any(|(_, other)| (other[0] - place[0]).hypot(other[1] - place[1]) < 0.01)
        {
            place[0] += BESIDE_MM;
        }
        positions.push((position.label.clone(), place));
    }
    let (greatest, drag) = torques(plan);
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
    sketch.turning = turning(plan);
    sketch
}

/// The torque that a step pulls for, N·m.
fn pulled_for(plan: &JointPlan, step: u16) -> Option<f64> {
    let kind = plan.procedure.stage_of(step)?.kind;
    Some(match (kind, plan.procedure.torque_window(step)) {
        (StageKind::Hold { torque, .. }, _) => newton_meters(torque),
        // An end torque is what the angle leads to, not what is pulled for.
        (StageKind::Turn { .. }, Some(window)) => newton_meters(window.min),
        (_, window) => newton_meters(window?.target),
    })
}

/// Greatest torque that is pulled for, and greatest running torque, N·m.
fn torques(plan: &JointPlan) -> (f64, f64) {
    let (mut greatest, mut drag) = (0.0_f64, 0.0_f64);
    for (index, _) in plan.procedure.numbered_steps() {
        let Some(torque) = pulled_for(plan, index) else {
            continue;
        };
        greatest = greatest.max(torque);
        let kind = plan.procedure.stage_of(index).map(|stage| stage.kind);
        drag = drag.max(match (plan.procedure.prevailing(index), kind) {
            (Prevailing::Given(value), _) => newton_meters(value),
            // Nobody has said how much: a tenth of the target. Common practice, no source.
            (Prevailing::Measure, Some(StageKind::Tighten { .. })) => torque * 0.1,
            _ => 0.0,
        });
    }
    (greatest, drag)
}

/// The angles that end the work, and the torque they start from: what was done before a fastener was backed off, or before a greater torque,
/// has no part in it.
fn turning(plan: &JointPlan) -> Turning {
    let mut from_nm = 0.0_f64;
    let mut stages: Vec<(u8, f64)> = Vec::new();
    for (index, step) in plan.procedure.numbered_steps() {
        let Some(stage) = plan.procedure.stage_of(index) else {
            continue;
        };
        match stage.kind {
            StageKind::Turn { window, .. } => {
                let own = plan.procedure.angle_window(index).unwrap_or(window);
                let angle = degrees(own.target);
                match stages
                    .iter_mut()
                    .find(|(number, _)| *number == step.stage())
                {
                    Some((_, most)) => *most = most.max(angle),
                    None => stages.push((step.stage(), angle)),
                }
            }
            StageKind::BackOff { .. } => {
                from_nm = 0.0;
                stages.clear();
            }
            kind if kind.tightens() => {
                let torque = pulled_for(plan, index).unwrap_or(0.0);
                if torque > from_nm {
                    from_nm = torque;
                    stages.clear();
                }
            }
            _ => {}
        }
    }
    Turning {
        from_Nm: from_nm,
        degrees: stages.into_iter().map(|(_, angle)| angle).collect(),
    }
}

/// A bench with one joint on it.
#[derive(Clone, Debug)]
pub struct Station {
    bench: Bench,
    cue: BenchCue,
    is_busy: bool,
}

impl Station {
    /// Sets the joint up.
    ///
    /// # Errors
    /// [`JointError`] when the bench cannot take it.
    pub fn new(
        joint: &Joint,
        plan: &JointPlan,
        seed: u64,
        hand: HandKind,
        faults: &[(usize, Fault)],
    ) -> Result<Self, JointError> {
        let model = JointModel::from_sketch(&sketch(joint, plan))?;
        Ok(Self {
            bench: Bench::new(model, seed, hand, faults),
            cue: BenchCue::None,
            is_busy: false,
        })
    }

    /// Sets a joint of a job up as its records say it is: one rule for the desk and for `rehearse`. Each joint has its own chance
    /// from the seed, and each start of the program too, so that going on is not the beginning once more.
    ///
    /// # Errors
    /// [`JointError`] when the bench cannot take it; none at all where the job has no such joint.
    pub fn of(
        job: &Job,
        joint: u8,
        seed: u64,
        hand: HandKind,
        faults: &[(u8, u8, Fault)],
    ) -> Option<Result<Self, JointError>> {
        let (own, plan) = (job.joint(joint)?, job.joint_plan(joint)?);
        let faults: Vec<(usize, Fault)> = faults
            .iter()
            .filter(|(number, ..)| *number == joint)
            .map(|(_, fastener, fault)| (usize::from(*fastener), *fault))
            .collect();
        let start = u64::from(job.boot().saturating_sub(1));
        let seed = seed ^ u64::from(joint).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (start << 40);
        Some(
            Self::new(own, plan, seed, hand, &faults).map(|mut station| {
                if let Some(session) = job.session(joint) {
                    station.catch_up(session.procedure(), session.ledger());
                }
                station
            }),
        )
    }

    /// Makes every torque or angle in this many pulls.
    pub fn force_pulls(&mut self, pulls: u32) {
        self.bench.force_pulls(pulls);
    }

    /// Whether the hand is on a fastener.
    #[must_use]
    pub const fn is_busy(&self) -> bool {
        self.is_busy
    }

    /// Seconds of the bench's own time.
    #[must_use]
    pub fn elapsed_s(&self) -> f64 {
        self.bench.elapsed_s()
    }

    /// The hand goes to a fastener and begins what the aim wants.
    pub fn begin(&mut self, fastener: u8, aim: &Aim) {
        let task = match *aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => {
                // Only a maximum or a minimum given: pull for what there is.
                Task::Tighten {
                    target_Nm: newton_meters(window.target),
                }
            }
            Aim::Turn { window, .. } => Task::Turn {
                degrees: degrees(window.target),
            },
            Aim::Hold { torque, time, .. } => {
                // A little longer and a little more than asked: nobody counts to the millisecond or holds without trembling.
                Task::Hold {
                    torque_Nm: newton_meters(torque) * 1.02,
                    seconds: f64::from(time.millis()) / 1_000.0 + 0.5,
                }
            }
            Aim::BackOff { angle } => Task::BackOff {
                degrees: angle.map(degrees),
            },
        };
        self.start(fastener, task);
    }

    fn start(&mut self, fastener: u8, task: Task) {
        self.bench.begin(usize::from(fastener), task);
        self.is_busy = true;
        self.cue = BenchCue::None;
    }

    /// The person lets go of the handle.
    pub fn let_go(&mut self) {
        self.cue = BenchCue::Target;
    }

    /// What the adapter told the hand. Once told to stop, it stops.
    pub fn hear(&mut self, cue: Cue, halt: bool) {
        if matches!(self.cue, BenchCue::Target | BenchCue::Halt) && !halt {
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
    pub fn sample(&mut self) -> Option<BenchSample> {
        let sample = self.bench.sample(self.cue);
        self.is_busy = sample.is_some();
        sample
    }

    /// Time passes with nobody at the tool.
    pub fn idle(&mut self, seconds: f64) {
        self.bench.idle(seconds);
    }

    /// A fastener is spun in by hand, outside of any judged pull.
    pub fn spin_in(&mut self, fastener: u8, turns: Option<f64>) {
        self.unjudged(fastener, Task::SeatByHand { turns });
    }

    /// A fastener is backed off until free, outside of any judged pull.
    pub fn loosen(&mut self, fastener: u8) {
        self.unjudged(fastener, Task::BackOff { degrees: None });
    }

    fn unjudged(&mut self, fastener: u8, task: Task) {
        self.start(fastener, task);
        while self.sample().is_some() {}
    }

    /// A new fastener.
    pub fn replace(&mut self, fastener: u8) {
        self.bench.replace(usize::from(fastener));
        self.is_busy = false;
    }

    /// Clamp loads of all fasteners, kN.
    #[must_use]
    pub fn clamps_kn(&self) -> Vec<f64> {
        self.bench.clamps_kN()
    }

    /// True rotation of a fastener from the start of its thread, degrees.
    #[must_use]
    pub fn rotation_deg(&self, fastener: u8) -> f64 {
        self.bench.rotation_deg(usize::from(fastener))
    }

    /// Proof load of the joint's fasteners, kN; none for threads without a stress area.
    #[must_use]
    pub fn proof_kn(&self) -> Option<f64> {
        let model = self.bench.model();
        let area = model.thread.stress_area_mm2()?;
        Some(area * model.strength.proof_MPa / 1_000.0)
    }

    /// What gasket and surfaces have given way for good, mean over the fasteners, µm.
    #[must_use]
    pub fn embedding_um(&self) -> f64 {
        self.bench.embedding_um()
    }

    /// Brings the metal to where the records say it is, after a restart: what was accepted is pulled again, unrecorded.
    pub fn catch_up(&mut self, procedure: &Procedure, ledger: &Ledger) {
        for (index, step) in procedure.numbered_steps() {
            let (Some(fastener), Some(stage)) = (step.fastener(), procedure.stage_of(index)) else {
                continue;
            };
            if !ledger.step(index).is_settled() || ledger.must_loosen(fastener) {
                continue;
            }
            let target = ledger
                .torque_window(procedure, index)
                .map(|window| newton_meters(window.target));
            let task = match (stage.kind, target) {
                (StageKind::Turn { window, .. }, _) => Task::Turn {
                    degrees: degrees(procedure.angle_window(index).unwrap_or(window).target),
                },
                (kind, Some(target)) if kind.tightens() => Task::Tighten { target_Nm: target },
                (StageKind::BackOff { angle }, _) => Task::BackOff {
                    degrees: angle.map(degrees),
                },
                (StageKind::Seat { .. }, _) => Task::SeatByHand { turns: None },
                _ => continue,
            };
            self.again(fastener, task);
        }
    }

    /// Pulls until the true target, with nobody judging.
    fn again(&mut self, fastener: u8, task: Task) {
        self.start(fastener, task);
        let from = self.bench.rotation_deg(usize::from(fastener));
        while let Some(sample) = self.sample() {
            let is_reached = match task {
                Task::Tighten { target_Nm } => sample.torque_Nm >= target_Nm,
                Task::Turn { degrees } => {
                    self.bench.rotation_deg(usize::from(fastener)) - from >= degrees
                }
                _ => false,
            };
            if is_reached {
                self.let_go();
            }
        }
    }
}
