//! Springs: the bolt, the members under it, and the angle that stretches them.
//!
//! Knows nothing of torque or friction.

use super::{INCH_MM, STEEL_E_MPA, Thread, ThreadKind};
use std::f64::consts::PI;

/// Springs one after another, N/mm: 1/k = Σ 1/kᵢ.
#[must_use]
pub fn series_N_per_mm(springs: &[f64]) -> f64 {
    1.0 / springs.iter().map(|k| 1.0 / k).sum::<f64>()
}

/// A length of bolt of one section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Length, mm.
    pub length_mm: f64,
    /// Area, mm².
    pub area_mm2: f64,
}

/// Stiffness of a bolt made of lengths of different section, N/mm: k = E/Σ(l/A). [Shigley eq. 8-17; VDI 2230 eq. R3/3]
#[must_use]
pub fn bolt_stiffness_N_per_mm(modulus_MPa: f64, segments: &[Segment]) -> f64 {
    modulus_MPa
        / segments
            .iter()
            .map(|s| s.length_mm / s.area_mm2)
            .sum::<f64>()
}

/// Thread that lies free inside a grip when the bolt has the usual thread length and reaches a nut's height past it, mm.
///
/// Thread length 2 d + 6 mm metric, 2 d + ¼ in of inch sizes [Shigley table 8-7]; nut 0.9 d.
#[must_use]
pub fn usual_free_thread_mm(thread: &Thread, grip_mm: f64) -> f64 {
    let d = thread.major_mm;
    let margin = if matches!(thread.kind, ThreadKind::Unified | ThreadKind::Whitworth) {
        0.25 * INCH_MM
    } else {
        6.0
    };
    (2.0 * d + margin - 0.9 * d).min(grip_mm).max(0.0)
}

/// Stiffness of a steel fastener of a thread over a grip, N/mm: shank as far as the usual thread length leaves one, thread for the rest,
/// and 0.4 d of head and 0.4 d of nut or engaged thread that give way as well.
///
/// Free thread as [`usual_free_thread_mm`] has it; head and engaged thread 0.4 d each [VDI 2230 table 8].
#[must_use]
pub fn fastener_stiffness_N_per_mm(thread: &Thread, grip_mm: f64) -> f64 {
    let d = thread.major_mm;
    let shank_area = PI / 4.0 * d * d;
    let minor = thread.minor_diameter_mm();
    let thread_area = thread.stress_area_mm2().unwrap_or(PI / 4.0 * minor * minor);
    let free_thread = usual_free_thread_mm(thread, grip_mm);
    bolt_stiffness_N_per_mm(
        STEEL_E_MPA,
        &[
            Segment {
                length_mm: grip_mm - free_thread,
                area_mm2: shank_area,
            },
            Segment {
                length_mm: free_thread,
                area_mm2: thread_area,
            },
            Segment {
                length_mm: 0.4 * d,
                area_mm2: shank_area,
            },
            Segment {
                length_mm: 0.4 * d,
                area_mm2: thread_area,
            },
        ],
    )
}

/// Stiffness of one conical frustum of member, half apex angle 30°, N/mm. `thickness` from the face on which pressure acts over
/// `face` diameter, around a hole of the bolt's diameter. [Shigley eq. 8-20]
#[must_use]
pub fn frustum_stiffness_N_per_mm(
    modulus_MPa: f64,
    bolt_mm: f64,
    face_mm: f64,
    thickness_mm: f64,
) -> f64 {
    let tan = (30.0_f64).to_radians().tan();
    let grown = 2.0 * thickness_mm * tan;
    let (d, big) = (bolt_mm, face_mm);
    PI * modulus_MPa * d * tan
        / (((grown + big - d) * (big + d)) / ((grown + big + d) * (big - d))).ln()
}

/// Stiffness of members of one material clamped between two like faces, N/mm: two frusta back to back. [Shigley eq. 8-21]
#[must_use]
pub fn member_stiffness_N_per_mm(
    modulus_MPa: f64,
    bolt_mm: f64,
    face_mm: f64,
    grip_mm: f64,
) -> f64 {
    frustum_stiffness_N_per_mm(modulus_MPa, bolt_mm, face_mm, grip_mm / 2.0) / 2.0
}

/// Stiffness of members by the exponential fit to finite elements, N/mm: E·d·A·exp(B·d/l), steel A = 0.78715, B = 0.62873.
/// [Wileman, Choudhury and Green 1991, in Shigley eq. 8-23 and table 8-8]
#[must_use]
pub fn wileman_stiffness_N_per_mm(modulus_MPa: f64, bolt_mm: f64, grip_mm: f64) -> f64 {
    modulus_MPa * bolt_mm * 0.787_15 * (0.628_73 * bolt_mm / grip_mm).exp()
}

/// Share of an outside load that the bolt takes: C = kb/(kb + km). [Shigley eq. 8-24 (f)]
#[must_use]
pub fn joint_constant(bolt_N_per_mm: f64, member_N_per_mm: f64) -> f64 {
    bolt_N_per_mm / (bolt_N_per_mm + member_N_per_mm)
}

/// Angle from snug that gives a preload, degrees: θ = 360·F/P·(1/kb + 1/km). [Shigley problem 8-15; Machinery's Handbook F = k·P·θ/360]
#[must_use]
pub fn angle_for_preload_deg(
    preload_N: f64,
    pitch_mm: f64,
    bolt_N_per_mm: f64,
    member_N_per_mm: f64,
) -> f64 {
    360.0 * preload_N / pitch_mm * (1.0 / bolt_N_per_mm + 1.0 / member_N_per_mm)
}

/// Preload that an angle from snug gives while everything stays elastic, N.
#[must_use]
pub fn preload_for_angle_N(
    angle_deg: f64,
    pitch_mm: f64,
    bolt_N_per_mm: f64,
    member_N_per_mm: f64,
) -> f64 {
    angle_deg / 360.0 * pitch_mm / (1.0 / bolt_N_per_mm + 1.0 / member_N_per_mm)
}
