//! How fast torque may rise over the fastener's angle where thread and grip are known: what no sound joint exceeds, and what none
//! falls short of.
//!
//! The rise is lever × stiffness × pitch / 360°. Steepest: fastener and steel members in series, with nothing below that gives, and
//! the highest friction. Flattest: fastener, members of the softest usual metal and the cover on its gasket in series, and the lowest friction.
//!
//! Knows nothing of samples; the tracker compares.

use super::{
    Bearing, Condition, Friction, Interface, Plate, Strength, Thread, TorqueTension,
    fastener_stiffness_N_per_mm, member_stiffness_N_per_mm, preload_at_yield_share_N,
};

/// Friction from lowest to highest as a share of what is allowed for. The classes of [VDI 2230:2001 table A5] reach from 0.57 to 1.43
/// of their middles (A 0.04 to 0.10, B 0.08 to 0.16, C 0.14 to 0.24).
/// Upwards the class of what is allowed for counts: B, for threads as they come or oiled, ends at 1.33 of its middle, C at 1.26; a
/// joint at 1.43 times its usual friction clamps a third too little, and is better looked at.
const FRICTION: (f64, f64) = (0.57, 1.33);
/// Softest usual members: magnesium. [Shigley table 8-8 has 71 GPa for aluminium; 45 GPa for magnesium: common knowledge, from memory]
const SOFTEST_MPA: f64 = 45_000.0;
/// Stiffest usual members: steel. [Shigley table 8-8]
const STIFFEST_MPA: f64 = 207_000.0;
/// What the calculation of springs may be off: half apex angle, effective lengths. [two cones lie within 7.5 % of finite elements,
/// `tests/bench/member_stiffness.py`; the rest is our judgement, no source]
const MARGIN: f64 = 1.15;
/// The part under the head bends into what lies below, and lets its neighbours answer: up to so many times what it gives alone. Calculated
/// on the virtual bench, no source.
const NEIGHBOURS: f64 = 2.0;

/// Least and most rise, in mN·m per degree; none where it cannot be said.
#[must_use]
pub fn rise_bounds(
    thread: &Thread,
    grip_mm: f64,
    condition: Option<&str>,
    below: Interface,
) -> Option<(u32, u32)> {
    if thread.kind.pipe() || grip_mm <= 0.0 {
        return None;
    }
    let (low, high) = match condition.map(Condition::from_text) {
        Some(known) => (known.friction(), known.friction()),
        // Nothing said: anything between the slickest and dry.
        None => (Condition::Compound.friction(), Condition::Dry.friction()),
    };
    let bearing = Bearing::hexagon(thread);
    let lever_mm = |friction: Friction, share: f64| {
        let friction = Friction {
            thread: share * friction.thread,
            head: share * friction.head,
        };
        TorqueTension::Friction(friction).lever_mm(thread, bearing)
    };
    let bolt = fastener_stiffness_N_per_mm(thread, grip_mm);
    let of_members = |modulus_mpa: f64| {
        member_stiffness_N_per_mm(modulus_mpa, thread.major_mm, bearing.face_mm, grip_mm)
    };
    let (members, stiff) = (of_members(SOFTEST_MPA), of_members(STIFFEST_MPA));
    let (foundation, _) = below.numbers();
    let cover = Plate::new(
        SOFTEST_MPA,
        (grip_mm / 2.0).max(1.5 * thread.major_mm),
        foundation,
    );
    let joint = 1.0 / (1.0 / bolt + 1.0 / members + NEIGHBOURS * cover.compliance_mm_per_N(0.0));
    // N·mm per degree are mN·m per degree.
    let per_degree = thread.pitch_mm / 360.0;
    let stiffest = 1.0 / (1.0 / bolt + 1.0 / stiff);
    let most = lever_mm(high, FRICTION.1) * stiffest * per_degree * MARGIN;
    let least = lever_mm(low, FRICTION.0) * joint * per_degree / MARGIN;
    if !(1.0..1.0e8).contains(&most) {
        return None;
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "compared with the range just above; the least is below the most"
    )]
    Some((least.round() as u32, most.round() as u32))
}

/// The least torque at which the fastener may be at its yield, in mN·m: with the lowest friction of what is said of its threads.
#[must_use]
pub fn yields_from(thread: &Thread, strength: &Strength, condition: Option<&str>) -> f64 {
    let known = condition.map_or(Condition::Compound, Condition::from_text);
    let usual = known.friction();
    let friction = Friction {
        thread: FRICTION.0 * usual.thread,
        head: FRICTION.0 * usual.head,
    };
    let preload_n = preload_at_yield_share_N(thread, strength, friction.thread, 1.0);
    TorqueTension::Friction(friction).torque_Nm(thread, Bearing::hexagon(thread), preload_n)
        * 1_000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn thread(text: &str) -> Thread {
        text.parse().expect("a thread")
    }

    /// The rise of Shigley's spring in torque and angle lies between the bounds, by whatever friction its class allows.
    #[test]
    fn sound_joints_of_steel_and_aluminium_lie_between() {
        for (text, grip_mm) in [
            ("M6", 18.0),
            ("M8", 30.0),
            ("M10x1.5", 62.0),
            ("M16", 40.0),
            ("3/8-16 UNC", 25.4),
        ] {
            let thread = thread(text);
            let (least, most) =
                rise_bounds(&thread, grip_mm, Some("oiled"), Interface::Metal).expect("bounds");
            let bearing = Bearing::hexagon(&thread);
            let bolt = fastener_stiffness_N_per_mm(&thread, grip_mm);
            for modulus in [70_000.0, 207_000.0] {
                let cone =
                    member_stiffness_N_per_mm(modulus, thread.major_mm, bearing.face_mm, grip_mm);
                for value in [0.08, 0.12, 0.16] {
                    let friction = TorqueTension::Friction(Friction {
                        thread: value,
                        head: value,
                    });
                    let rise = friction.lever_mm(&thread, bearing) * thread.pitch_mm
                        / 360.0
                        / (1.0 / bolt + 1.0 / cone);
                    assert!(
                        (f64::from(least)..f64::from(most)).contains(&rise),
                        "{text}, {modulus} MPa, µ {value}: {rise} not in {least} to {most}"
                    );
                }
            }
        }
    }

    /// Steeper than twice what aluminium members and the usual friction make is too steep: where 1.3 N·m/° is to be expected, 3 is
    /// not sound.
    #[test]
    fn the_steepest_is_not_far_from_what_is_usual() {
        for (text, grip_mm) in [("M6", 18.0), ("M8", 30.0), ("M10x1.5", 40.0), ("M16", 60.0)] {
            let thread = thread(text);
            let bearing = Bearing::hexagon(&thread);
            let (_, most) =
                rise_bounds(&thread, grip_mm, Some("oiled"), Interface::Metal).expect("bounds");
            let bolt = fastener_stiffness_N_per_mm(&thread, grip_mm);
            let cone =
                member_stiffness_N_per_mm(70_000.0, thread.major_mm, bearing.face_mm, grip_mm);
            let lever_mm =
                TorqueTension::Friction(Condition::Oiled.friction()).lever_mm(&thread, bearing);
            let usual = lever_mm * thread.pitch_mm / 360.0 / (1.0 / bolt + 1.0 / cone);
            let share = f64::from(most) / usual;
            assert!(
                (1.4..2.0).contains(&share),
                "{text}: {share:.2} of {usual:.0}"
            );
        }
    }

    /// 90° from 30.3 N·m that bring 1 N·m are no sound turn of an M10 of class 8.8, whatever is or is not said of its threads.
    #[test]
    fn a_slick_bolt_yields_early() {
        let thread = thread("M10x1.5");
        let strength = Strength::property_class("8.8", 10.0).expect("a class");
        let slick = yields_from(&thread, &strength, None);
        let dry = yields_from(&thread, &strength, Some("dry"));
        assert!((25_000.0..45_000.0).contains(&slick), "{slick}");
        assert!(dry > slick, "{dry}");
    }

    #[test]
    fn a_gasket_widens_and_a_pipe_thread_has_none() {
        let metal = rise_bounds(&thread("M8"), 30.0, None, Interface::Metal).expect("bounds");
        let gasket = rise_bounds(&thread("M8"), 30.0, None, Interface::SoftGasket).expect("bounds");
        assert!(gasket.0 < metal.0 && gasket.1 == metal.1);
        assert_eq!(
            rise_bounds(&thread("G 1/8"), 30.0, None, Interface::Metal),
            None
        );
        assert_eq!(
            rise_bounds(&thread("M8"), 0.0, None, Interface::Metal),
            None
        );
    }
}
