//! From what is known of a joint to the numbers of the bench; what is not known gets a stated default.
//!
//! Knows nothing of hands, time or sensors' noise.

use super::{
    AdapterModel, Cover, Creep, FastenerModel, Fault, Interaction, Plate, Spring, Variation,
};
use crate::mechanics::{
    Bearing, Condition, Interface, STEEL_E_MPA, Strength, Thread, TorqueTension, coarse_sizes,
    fastener_stiffness_N_per_mm, member_stiffness_N_per_mm,
};
use std::fmt;

/// Stages that turn by an angle, from a torque on.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Turning {
    /// The torque that the turning starts from, N·m.
    pub from_Nm: f64,
    /// Degrees of each stage; none where torque is all there is.
    pub degrees: Vec<f64>,
}

/// What is known of a joint. Only positions and the target are needed.
///
/// # Examples
/// ```
/// use evendraw::bench::{JointModel, JointSketch};
/// let sketch = JointSketch::circle(8, 120.0, 40.0); // eight on a 120 mm circle, 40 N·m
/// let model = JointModel::from_sketch(&sketch).unwrap();
/// assert_eq!(model.labels.len(), 8);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct JointSketch {
    /// Position label and place in mm of each fastener.
    pub positions_mm: Vec<(String, [f64; 2])>,
    /// Greatest torque the procedure asks for, N·m.
    pub target_Nm: f64,
    /// What turns it on by an angle after that.
    pub turning: Turning,
    /// Thread; without one, see [`JointModel::from_sketch`].
    pub thread: Option<Thread>,
    /// Strength; without one, see [`JointModel::from_sketch`].
    pub strength: Option<Strength>,
    /// Length clamped, mm; default 4 d.
    pub grip_mm: Option<f64>,
    /// What is on the threads; default oiled.
    pub condition: Option<Condition>,
    /// What lies between the parts.
    pub interface: Interface,
    /// Torque of a locking feature, N·m; default none.
    pub prevailing_Nm: f64,
    /// Turns by hand before the head meets the part; default 2.5.
    pub run_down_turns: f64,
    /// Torsional stiffness of extension and socket between adapter and fastener, N·m a degree; default by target.
    pub train_Nm_per_deg: Option<f64>,
}

impl JointSketch {
    /// A joint of which only positions and target are known.
    #[must_use]
    pub fn new(positions_mm: Vec<(String, [f64; 2])>, target_Nm: f64) -> Self {
        Self {
            positions_mm,
            target_Nm,
            turning: Turning::default(),
            thread: None,
            strength: None,
            grip_mm: None,
            condition: None,
            interface: Interface::Metal,
            prevailing_Nm: 0.0,
            run_down_turns: 2.5,
            train_Nm_per_deg: None,
        }
    }

    /// `count` fasteners on a circle, labelled from 1 clockwise from the top.
    #[must_use]
    pub fn circle(count: u32, diameter_mm: f64, target_Nm: f64) -> Self {
        let place = |i: u32| {
            let turn = std::f64::consts::TAU * f64::from(i) / f64::from(count);
            (
                (i + 1).to_string(),
                [
                    diameter_mm / 2.0 * turn.sin(),
                    diameter_mm / 2.0 * turn.cos(),
                ],
            )
        };
        Self::new((0..count).map(place).collect(), target_Nm)
    }
}

/// Why a sketch cannot be put on the bench.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum JointError {
    /// No fasteners, or more than the bench holds.
    Count(usize),
    /// Two fasteners lie nearer than their thread is thick.
    TooNear {
        /// One label.
        one: String,
        /// The other.
        other: String,
        /// Between them, mm.
        apart_mm: f64,
    },
    /// A number outside what the bench can rehearse.
    Range {
        /// What it is.
        what: &'static str,
        /// As given.
        given: f64,
        /// Lowest allowed.
        low: f64,
        /// Highest allowed.
        high: f64,
    },
}

impl fmt::Display for JointError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count(count) => write!(
                f,
                "{count} fasteners; the bench takes 1 to {}",
                JointModel::FASTENERS_MAX
            ),
            Self::TooNear {
                one,
                other,
                apart_mm,
            } => {
                write!(
                    f,
                    "fasteners {one} and {other} are {apart_mm:.2} mm apart; allowed: at least one thread diameter"
                )
            }
            Self::Range {
                what,
                given,
                low,
                high,
            } => write!(f, "{what} {given} is outside {low} to {high}"),
        }
    }
}

impl std::error::Error for JointError {}

/// A joint as numbers: fasteners, what they do to each other, tool train, adapter.
#[derive(Debug, Clone, PartialEq)]
pub struct JointModel {
    /// Position labels; a fastener is named by its index here.
    pub labels: Vec<String>,
    /// Their places, mm.
    pub positions_mm: Vec<[f64; 2]>,
    /// The metal of each, before the luck of the draw.
    pub fasteners: Vec<FastenerModel>,
    /// What each does to all.
    pub interaction: Interaction,
    /// How the interface settles.
    pub creep: Creep,
    /// How fasteners and their places differ.
    pub variation: Variation,
    /// Greatest torque asked for, N·m.
    pub target_Nm: f64,
    /// What turns them on by an angle after that.
    pub turning: Turning,
    /// Torsional stiffness between adapter and fastener, N·m a degree.
    pub train_Nm_per_deg: f64,
    /// Room for the handle in one pull, degrees.
    pub swing_deg: f64,
    /// Teeth of the ratchet; lost motion when gripping again is up to 360°/teeth.
    pub ratchet_teeth: u32,
    /// Whether the adapter sits on the handle's side of the ratchet and swings back with it.
    pub adapter_swings_back: bool,
    /// The adapter.
    pub adapter: AdapterModel,
    /// The thread used, given or chosen.
    pub thread: Thread,
    /// The strength used, given or chosen.
    pub strength: Strength,
    /// The grip used, mm.
    pub grip_mm: f64,
}

impl JointModel {
    /// Most fasteners the bench takes.
    pub const FASTENERS_MAX: usize = 256;

    /// Fills in what is not known:
    /// - no thread: the smallest coarse metric size whose class 8.8 bolt bears the target at 75 % of its proof load with the condition's
    ///   friction [75 % of proof: Shigley eq. 8-31, reused fasteners];
    /// - no strength: the lowest of 4.8, 8.8, 10.9, 12.9 whose bolt bears the target within 85 % of its proof load, else 12.9;
    /// - no grip: 4 d; no condition: oiled; upper part of aluminium, 70 GPa, half the grip thick and at least 1.5 d.
    ///
    /// # Errors
    /// [`JointError`] when a number makes no sense.
    pub fn from_sketch(sketch: &JointSketch) -> Result<Self, JointError> {
        let count = sketch.positions_mm.len();
        if count == 0 || count > Self::FASTENERS_MAX {
            return Err(JointError::Count(count));
        }
        within("target in N·m", sketch.target_Nm, 0.02, 20_000.0)?;
        within(
            "prevailing torque in N·m",
            sketch.prevailing_Nm,
            0.0,
            10_000.0,
        )?;
        within("turns of run-down", sketch.run_down_turns, 0.0, 200.0)?;
        for degrees in &sketch.turning.degrees {
            within("angle in degrees", *degrees, 0.0, 3600.0)?;
        }
        if let Some(stiffness) = sketch.train_Nm_per_deg {
            within(
                "stiffness of the tool train in N·m a degree",
                stiffness,
                0.01,
                10_000.0,
            )?;
        }
        let condition = sketch.condition.unwrap_or(Condition::Oiled);
        let friction = TorqueTension::Friction(condition.friction());
        let thread = sketch
            .thread
            .clone()
            .unwrap_or_else(|| usual_thread(sketch.target_Nm, friction));
        let bearing = Bearing::hexagon(&thread);
        let strength = sketch
            .strength
            .unwrap_or_else(|| usual_strength(&thread, bearing, friction, sketch.target_Nm));
        let d = thread.major_mm;
        let grip_mm = sketch.grip_mm.unwrap_or(4.0 * d);
        within("grip in mm", grip_mm, 0.2 * d, 200.0 * d)?;
        for (i, (one, [ax, ay])) in sketch.positions_mm.iter().enumerate() {
            within("position in mm", *ax, -1e5, 1e5)?;
            within("position in mm", *ay, -1e5, 1e5)?;
            for (other, [bx, by]) in &sketch.positions_mm[..i] {
                let apart_mm = (ax - bx).hypot(ay - by);
                if apart_mm < 1e-3 {
                    return Err(JointError::TooNear {
                        one: other.clone(),
                        other: one.clone(),
                        apart_mm,
                    });
                }
            }
        }
        let (foundation, creep) = sketch.interface.numbers();
        let plate = Plate::new(70_000.0, (grip_mm / 2.0).max(1.5 * d), foundation);
        let bolt = fastener_stiffness_N_per_mm(&thread, grip_mm);
        let cone = member_stiffness_N_per_mm(70_000.0, d, bearing.face_mm, grip_mm);
        let preload = friction.preload_N(&thread, bearing, sketch.target_Nm);
        // Rough surfaces close by about 12 µm in the first tenth of the preload, and open again. Common practice, no source.
        let spring = Spring {
            compliance_mm_per_N: 1.0 / bolt + 1.0 / cone,
            toe_mm: 0.012,
            toe_N: 0.1 * preload,
        };
        let positions_mm: Vec<[f64; 2]> = sketch
            .positions_mm
            .iter()
            .map(|(_, place)| *place)
            .collect();
        let springs = vec![spring; count];
        // Metal on metal is as wide as what lies below; a gasket lets its cover sink and tilt. An edge of 1.5 d beyond the fasteners' axes is
        // usual. [AISC table J3.4 has 1.25 to 1.75 d]
        let interaction = match sketch.interface {
            Interface::Metal => Interaction::of_plate(&plate, &positions_mm, springs),
            Interface::FirmGasket | Interface::SoftGasket => {
                let cover = Cover::around(plate, &positions_mm, 1.5 * d);
                Interaction::of_cover(&cover, &positions_mm, springs)
            }
        };
        let mut fastener =
            FastenerModel::new(&thread, &strength, bearing, condition.friction(), grip_mm);
        fastener.prevailing_Nm = sketch.prevailing_Nm;
        fastener.run_down_deg = sketch.run_down_turns * 360.0;
        fastener.embeds_mm = sketch.interface.embedding_um() / 1000.0;
        // The drive is chosen for what the turning ends at.
        let advance_mm = sketch.turning.degrees.iter().sum::<f64>() / 360.0 * thread.pitch_mm;
        let turned_N = preload + advance_mm / spring.compliance_mm_per_N;
        let hardest_Nm = if advance_mm > 0.0 {
            fastener.tightening_Nm(turned_N.min(fastener.peak_N), 0.0)
        } else {
            0.0
        };
        Ok(Self {
            labels: sketch
                .positions_mm
                .iter()
                .map(|(label, _)| label.clone())
                .collect(),
            interaction,
            positions_mm,
            fasteners: vec![fastener; count],
            creep,
            variation: Variation::usual(condition),
            target_Nm: sketch.target_Nm,
            turning: sketch.turning.clone(),
            train_Nm_per_deg: sketch
                .train_Nm_per_deg
                .unwrap_or(usual_train(sketch.target_Nm.max(hardest_Nm))),
            swing_deg: 110.0,
            ratchet_teeth: 72,
            adapter_swings_back: true,
            adapter: AdapterModel::about(sketch.target_Nm),
            thread,
            strength,
            grip_mm,
        })
    }

    /// Puts a fault on a fastener.
    pub fn spoil(&mut self, fastener: usize, fault: Fault) {
        let preload = self.preload_N(fastener);
        let target_Nm = self.target_Nm;
        let pitch = self.thread.pitch_mm;
        let Some(metal) = self.fasteners.get_mut(fastener) else {
            return;
        };
        match fault {
            Fault::CrossThread => {
                // Reaches the target within half the run-down, and no clamp follows.
                metal.cutting_Nm_per_deg = target_Nm / (0.5 * metal.run_down_deg).max(90.0);
                metal.run_down_deg += 720.0;
            }
            Fault::Bottomed => {
                metal.run_down_deg = (metal.run_down_deg - 240.0).max(30.0);
                metal.clamps = false;
                // The screw stands on its end: half of a diameter's worth of engaged thread and 0.4 d of thread give, pressed instead
                // of stretched, and no shank. [0.4 d for engaged thread: VDI 2230 table 8] A flat end rubs at two thirds of its
                // radius instead of the head's face.
                let minor_mm = self.thread.minor_diameter_mm();
                let core_mm2 = std::f64::consts::PI / 4.0 * minor_mm * minor_mm;
                self.interaction.springs[fastener].compliance_mm_per_N =
                    0.9 * self.thread.major_mm / (STEEL_E_MPA * core_mm2);
                let face_mm = Bearing::hexagon(&self.thread).friction_diameter_mm();
                metal.drag_mm *= 1.0 - metal.face_share * (1.0 - 2.0 / 3.0 * minor_mm / face_mm);
            }
            Fault::AlreadyTight => metal.tight_N = preload,
            Fault::SoftPart => {
                // Eight times the give of the sound joint: a warped part or a soft shim.
                let give = &mut self.interaction.springs[fastener].compliance_mm_per_N;
                *give *= 8.0;
            }
            Fault::MissingPart => {
                // A washer's thickness of about 0.2 d more to run down [ISO 7089, h ≈ 0.2 d], and the head on a hole made for a washer:
                // its narrow ring is pressed beyond what cast aluminium bears (200 to 300 MPa) [VDI 2230 table A9, from memory] and sinks in
                // by a twentieth of d on the way to the target. [common practice, no source]
                metal.run_down_deg += 360.0 * 0.2 * self.thread.major_mm / pitch;
                self.interaction.springs[fastener].compliance_mm_per_N +=
                    0.05 * self.thread.major_mm / preload.max(1.0);
            }
            Fault::Gritty => {
                metal.static_ratio = 1.2;
                metal.grit = 0.08;
                metal.drag_mm *= 1.3;
            }
            Fault::Stripping => {
                // The inner thread shears at 60 % of the preload aimed at and rides on for a pitch and a half.
                metal.peak_N = 0.6 * preload;
                metal.yield_N = 0.55 * preload;
                metal.fall_mm = 1.5 * pitch;
                metal.rest = 0.08;
                metal.parts_at = 0.0;
            }
            Fault::WrongClass => {
                // A class 4.6 bolt in place of the right one, or half the strength if that was 4.6 already.
                let soft = Strength::property_class("4.6", self.thread.major_mm)
                    .ok()
                    .filter(|s| s.yield_MPa < 0.8 * self.strength.yield_MPa);
                let ratio = soft.map_or(0.5, |s| s.yield_MPa / self.strength.yield_MPa);
                metal.yield_N *= ratio;
                metal.peak_N *= soft.map_or(0.5, |s| s.tensile_MPa / self.strength.tensile_MPa);
                metal.exponent = 50.0_f64.ln() / (metal.peak_N / metal.yield_N).ln();
            }
            Fault::Oiled => metal.drag_mm *= 0.6,
        }
    }

    /// Load the target torque gives a sound fastener, N.
    #[must_use]
    pub fn preload_N(&self, fastener: usize) -> f64 {
        self.fasteners.get(fastener).map_or(0.0, |metal| {
            (self.target_Nm - metal.prevailing_Nm).max(0.0) * 1000.0
                / (metal.lift_mm + metal.drag_mm)
        })
    }
}

fn within(what: &'static str, given: f64, low: f64, high: f64) -> Result<(), JointError> {
    if given.is_finite() && (low..=high).contains(&given) {
        Ok(())
    } else {
        Err(JointError::Range {
            what,
            given,
            low,
            high,
        })
    }
}

fn proof_share(
    thread: &Thread,
    bearing: Bearing,
    friction: TorqueTension,
    strength: &Strength,
    torque_Nm: f64,
) -> f64 {
    let area = thread.stress_area_mm2().unwrap_or(f64::INFINITY);
    friction.preload_N(thread, bearing, torque_Nm) / (area * strength.proof_MPa)
}

fn usual_thread(target_Nm: f64, friction: TorqueTension) -> Thread {
    let mut last = None;
    for (diameter, pitch) in coarse_sizes() {
        let (Ok(thread), Ok(strength)) = (
            Thread::metric(diameter, pitch),
            Strength::property_class("8.8", diameter),
        ) else {
            continue;
        };
        let enough = proof_share(
            &thread,
            Bearing::hexagon(&thread),
            friction,
            &strength,
            target_Nm,
        ) <= 0.75;
        last = Some(thread);
        if enough {
            break;
        }
    }
    // Torques beyond the largest tabulated size scale it up: torque goes with the cube of the diameter.
    match last {
        Some(thread) if target_Nm > 2000.0 => {
            let scale = (target_Nm / 2000.0).cbrt();
            Thread::metric(thread.major_mm * scale, thread.pitch_mm * scale).unwrap_or(thread)
        }
        Some(thread) => thread,
        #[expect(clippy::unreachable, reason = "the sizes tried are tabulated")]
        None => Thread::metric(10.0, 1.5)
            .unwrap_or_else(|error| unreachable!("M10x1.5 is a thread: {error}")),
    }
}

fn usual_strength(
    thread: &Thread,
    bearing: Bearing,
    friction: TorqueTension,
    target_Nm: f64,
) -> Strength {
    let classes: Vec<Strength> = ["4.8", "8.8", "10.9", "12.9"]
        .into_iter()
        .filter_map(|name| Strength::property_class(name, thread.major_mm).ok())
        .collect();
    let fitting = classes
        .iter()
        .find(|strength| proof_share(thread, bearing, friction, strength, target_Nm) <= 0.85);
    let strongest = Strength {
        proof_MPa: 970.0,
        yield_MPa: 1100.0,
        tensile_MPa: 1220.0,
        uniform_strain: 0.04,
    };
    fitting.or(classes.last()).copied().unwrap_or(strongest)
}

/// Stiffness of extension and socket for a drive that suits the torque, N·m a degree; common practice, no source. A solid steel
/// extension of 12.7 mm by 125 mm has 28 (G·J/L).
fn usual_train(target_Nm: f64) -> f64 {
    match target_Nm {
        t if t < 8.0 => 3.0,
        t if t < 30.0 => 10.0,
        t if t < 120.0 => 25.0,
        t => (t / 6.0).max(60.0),
    }
}
