//! Stiffness, preload, angle and scatter against examples of Shigley, *Mechanical Engineering Design*, chapter 8, and members
//! against finite elements.

use evendraw::mechanics::{
    Bar, Bearing, Condition, INCH_MM, KSI_MPA, Segment, Strength, Thread, TorqueTension,
    angle_for_preload_deg, bolt_stiffness_N_per_mm, degrees_per_100_Nm, frustum_stiffness_N_per_mm,
    joint_constant, member_stiffness_N_per_mm, power_screw_lower_Nm, power_screw_raise_Nm,
    preload_for_angle_N, series_N_per_mm, wileman_stiffness_N_per_mm,
};
use evendraw_tests::table::rows;
use std::f64::consts::PI;

/// One pound-force in newtons, exact.
const LBF_N: f64 = 0.453_592_37 * 9.806_65;

#[test]
fn example_8_3_joint_constant_stress_and_angle() {
    // [9e ex. 8-3(a)] ¾-16 grade 5, Fi 25 kip, P 6 kip, kb 6.50, km 13.8 Mlbf/in, At 0.373 in²: σi 67.02 ksi, C 0.320, σb 72.17 ksi.
    let thread: Thread = "3/4-16 UNF".parse().unwrap();
    let area = thread.stress_area_mm2().unwrap();
    assert!((area / (INCH_MM * INCH_MM) - 0.373).abs() < 0.0005);
    let share = joint_constant(6.50, 13.8);
    assert!((share - 0.320).abs() < 0.0005, "{share}");
    let stress_ksi = |kip: f64| kip * 1000.0 * LBF_N / area / KSI_MPA;
    assert!(
        (stress_ksi(25.0) - 67.02).abs() < 0.1,
        "{}",
        stress_ksi(25.0)
    );
    assert!((stress_ksi(25.0 + share * 6.0) - 72.17).abs() < 0.1);
    // Derived from the example's stiffnesses: 32.59° from snug at zero load.
    let per_mm = 1e6 * LBF_N / INCH_MM;
    let angle = angle_for_preload_deg(
        25_000.0 * LBF_N,
        thread.pitch_mm,
        6.50 * per_mm,
        13.8 * per_mm,
    );
    assert!((angle - 32.59).abs() < 0.01, "{angle}");
    let back = preload_for_angle_N(angle, thread.pitch_mm, 6.50 * per_mm, 13.8 * per_mm);
    assert!((back / (25_000.0 * LBF_N) - 1.0).abs() < 1e-12);
}

#[test]
fn solution_8_29_preload_and_torque() {
    // [9e solution 8-29] class 8.8 M20: Fi = 0.9·245·600 = 132.3 kN; K 0.18: 476 N·m.
    let thread: Thread = "M20".parse().unwrap();
    let strength = Strength::property_class("8.8", 20.0).unwrap();
    let preload = 0.9 * thread.stress_area_mm2().unwrap() * strength.proof_MPa;
    assert!((preload / 132_300.0 - 1.0).abs() < 0.002, "{preload}");
    let torque =
        TorqueTension::NutFactor(0.18).torque_Nm(&thread, Bearing::hexagon(&thread), 132_300.0);
    assert!((torque - 476.0).abs() < 0.5, "{torque}");
}

#[test]
fn problem_8_4_power_screw() {
    // [8e problem 8-4] 6 kN, lead 5, mean 22.5, f 0.08, collar 40 with 0.05: 16.23 N·m up, 6.622 N·m down.
    assert!((power_screw_raise_Nm(6000.0, 22.5, 5.0, 0.08, 40.0, 0.05) - 16.23).abs() < 0.006);
    assert!((power_screw_lower_Nm(6000.0, 22.5, 5.0, 0.08, 40.0, 0.05) - 6.622).abs() < 0.0006);
}

#[test]
fn bolt_springs_in_series_and_elongation() {
    // M14 bolt of two sections: ks 1,408,600 and kt 1,786,536 N/mm in series give 787,608.
    assert!((series_N_per_mm(&[1_408_600.0, 1_786_536.0]) - 787_608.0).abs() < 1.0);
    // 7/8-9 bolt, 10,000 lb over 5 in at 30e6 psi: 0.0036 in.
    let thread: Thread = "7/8-9 UNC".parse().unwrap();
    let stiffness = bolt_stiffness_N_per_mm(
        30_000.0 * KSI_MPA,
        &[Segment {
            length_mm: 5.0 * INCH_MM,
            area_mm2: thread.stress_area_mm2().unwrap(),
        }],
    );
    let stretch_in = 10_000.0 * LBF_N / stiffness / INCH_MM;
    assert!((stretch_in - 0.0036).abs() < 0.00005, "{stretch_in}");
}

#[test]
fn a_cone_of_members_is_the_integral_of_its_slices() {
    // Closed form (Shigley eq. 8-20) against summing 1/(E·A) over a million slices of the same 30° cone.
    let (modulus, bolt, face, thickness) = (207_000.0, 12.0, 18.0, 20.0);
    let slices = 1_000_000_u32;
    let height = thickness / f64::from(slices);
    let give: f64 = (0..slices)
        .map(|i| {
            let outer = face + 2.0 * height * (f64::from(i) + 0.5) * (30.0_f64).to_radians().tan();
            height / (modulus * PI / 4.0 * (outer * outer - bolt * bolt))
        })
        .sum();
    let closed = frustum_stiffness_N_per_mm(modulus, bolt, face, thickness);
    assert!(
        (closed * give - 1.0).abs() < 1e-6,
        "{closed} against {}",
        1.0 / give
    );
}

#[test]
fn cones_and_the_exponential_fit_lie_near_finite_elements() {
    // General finite elements (scikit-fem), made by tests/bench/member_stiffness.py: steel, d 12 mm, washer faces 1.5 d.
    let table = rows("member_stiffness_fem.csv");
    assert!(table.len() >= 6);
    for row in &table {
        let grip = row.number("l_over_d").unwrap() * 12.0;
        let fem = row.number("fem_finer").unwrap();
        assert!(
            (fem / row.number("fem").unwrap() - 1.0).abs() < 0.003,
            "the mesh was fine enough"
        );
        let cones = member_stiffness_N_per_mm(207_000.0, 12.0, 18.0, grip);
        let fitted = wileman_stiffness_N_per_mm(207_000.0, 12.0, grip);
        assert!(
            (cones / fem - 1.0).abs() < 0.075,
            "grip {grip}: cones {cones:.0}, finite elements {fem:.0}"
        );
        assert!(
            (fitted / fem - 1.0).abs() < 0.14,
            "grip {grip}: fit {fitted:.0}, finite elements {fem:.0}"
        );
    }
}

#[test]
fn ten_lubricated_bolts_scatter_as_the_bench_assumes() {
    // [9e problem 8-14] ten lubricated bolts at 90 N·m, kN: mean 34.18, s 2.88.
    let loads = [30.3, 32.5, 32.5, 32.9, 32.9, 33.8, 34.3, 34.7, 37.4, 40.5];
    let mean = loads.iter().sum::<f64>() / 10.0;
    let spread = (loads.iter().map(|f| (f - mean) * (f - mean)).sum::<f64>() / 9.0).sqrt();
    assert!(
        (mean - 34.18).abs() < 0.005 && (spread - 2.88).abs() < 0.005,
        "{mean} {spread}"
    );
    // With nine degrees of freedom, 90 % of samples lie within 0.61 to 1.37 of the true spread (χ²).
    let assumed = Condition::Oiled.friction_scatter();
    let ratio = spread / mean / assumed;
    assert!((0.61..1.37).contains(&ratio), "{ratio}");
}

#[test]
fn thin_extensions_wind_up() {
    // G·J/L, steel of 79 GPa: 10 × 75 mm 5.5°, 10 × 250 mm 18.5°, 16 × 250 mm 2.8° for each 100 N·m (derived).
    for (diameter, length, degrees) in [(10.0, 75.0, 5.5), (10.0, 250.0, 18.5), (16.0, 250.0, 2.8)]
    {
        let twist = degrees_per_100_Nm(&Bar {
            shear_MPa: 79_000.0,
            ..Bar::steel(diameter, length)
        });
        assert!(
            (twist - degrees).abs() < 0.06,
            "{diameter} × {length}: {twist:.2}°"
        );
    }
}
