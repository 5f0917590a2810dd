//! The shop's arithmetic: threads, strength of bolts, torque and tension, stiffness, twist, tool settings.
//!
//! Floats live here. Every number is in newtons, millimetres, megapascals, newton-metres or degrees, and its name
//! says which. Each formula carries its source; the list of sources is below.
//!
//! - \[ISO 68-1\], \[ISO 261\], \[ISO 724\]: profile, sizes and basic dimensions of metric threads.
//! - \[ISO 898-1\]: mechanical properties of steel bolts; tables 3 to 7.
//! - \[ASME B1.1\]: Unified inch threads. \[SAE J429\]: grades of inch bolts.
//! - \[ISO 7-1\], \[ISO 228-1\], \[ASME B1.20.1\]: pipe threads.
//! - \[BS 84\], \[BS 93\]: Whitworth and British Association threads. \[ISO 2901\], \[ISO 2902\], \[ISO 2904\]: trapezoidal threads.
//! - \[ISO 965-1\]: tolerances of metric threads. \[ISO 898-2\]: nuts. \[ISO 3506-1\]: stainless steel bolts. \[ASTM A193\]: B7.
//! - \[FED-STD-H28/2B\]: shear areas of engaged threads. \[EN 1561\], \[EN 1563\]: cast irons.
//! - \[NACA TN 902\]: Ramberg and Osgood, *Description of stress-strain curves by three parameters*, 1943.
//! - \[VDI 2230:2001\], \[VDI 2230:2003\]: systematic calculation of bolted joints.
//! - \[Shigley\]: *Mechanical Engineering Design*, 9th edition, chapter 8.
//! - \[Machinery's Handbook\], \[NSTS 08307\]: scatter of preload by method.
//! - \[NAVEDTRA 14315\], \[TM 1-1500-204-23-9\]: torque wrenches with offset adapters.
//!
//! Knows nothing of plans, procedures, sessions, files or screens, and nothing of the core's integers.
#![expect(
    non_snake_case,
    reason = "a unit is spelled as the unit is: Nm, kN, MPa"
)]

mod embedding;
mod engagement;
mod fit;
mod friction;
mod head;
mod interface;
mod kei;
mod limits;
mod nut;
mod plate;
mod rise;
mod setting;
mod slope;
mod stiffness;
mod strength;
mod stretch;
mod tension;
mod thread;
mod twist;
mod want;

pub use embedding::{Embedding, Roughness, Service, embedding_loss_N};
pub use engagement::{Engaged, Engagement, Strips, TAPPED, Tapped, bolt_shear_ratio};
pub use fit::{Fit, fit};
pub use friction::{Condition, Friction, FrictionClass, Method, Scatter};
pub use head::Bearing;
pub use interface::{Creep, Interface};
pub use kei::kei;
pub use limits::{ThreadLimits, limits};
pub use nut::{NutAndBolt, NutClass, NutError, nut_and_bolt};
pub use plate::Plate;
pub use rise::{rise_bounds, yields_from};
pub use setting::{
    Advice, OffsetAdapter, SettingError, Tool, ToolKind, Window, advise, round_into,
};
pub use slope::{Pull, Slope, SlopeError};
pub use stiffness::{
    Segment, angle_for_preload_deg, bolt_stiffness_N_per_mm, fastener_stiffness_N_per_mm,
    frustum_stiffness_N_per_mm, joint_constant, member_stiffness_N_per_mm, preload_for_angle_N,
    series_N_per_mm, usual_free_thread_mm, wileman_stiffness_N_per_mm,
};
pub use strength::{Strength, StrengthError};
pub use stretch::{BoltInJoint, BoltShape, Members, STIFFNESS_UNCERTAINTY, Stretched};
pub use tension::{
    BoltLoad, TensionError, TorqueTension, combined_stress_MPa, power_screw_lower_Nm,
    power_screw_raise_Nm, preload_at_yield_share_N,
};
pub use thread::{Thread, ThreadError, ThreadKind, coarse_sizes};
pub use twist::{
    Bar, Section, TWIST_WORDS, TwistError, degrees_per_100_Nm, train_Nm_per_deg, twist_deg,
};
pub use want::Wanted;

/// Modulus of elasticity of steel, MPa. [Shigley table A-5: 207 GPa; VDI 2230: 205 GPa]
pub const STEEL_E_MPA: f64 = 205_000.0;
/// Shear modulus of steel, MPa. [Shigley table A-5: 79.3 GPa]
pub const STEEL_G_MPA: f64 = 79_300.0;
/// One inch in millimetres, exact. [international yard and pound agreement, 1959]
pub const INCH_MM: f64 = 25.4;
/// One thousand pounds per square inch in MPa. [0.45359237 kg × 9.80665 m/s² ÷ (25.4 mm)², times 1000]
pub const KSI_MPA: f64 = 6.894_757_293_168_361;
