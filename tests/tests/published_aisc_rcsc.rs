//! Structural bolts: least pretension against AISC, turn of nut against RCSC, the latter tried on the virtual bench.

#![expect(non_snake_case, reason = "a unit is spelled as the unit is")]

use evendraw::bench::{AdapterModel, Bench, BenchCue, HandKind, JointModel, JointSketch, Task};
use evendraw::mechanics::{Condition, KSI_MPA, Strength, Thread};
use evendraw_tests::table::rows;

/// One thousand pounds-force in kN.
const KIP_KN: f64 = 4.448_221_615_260_5;

#[test]
fn least_pretension_is_seven_tenths_of_the_tensile_strength() {
    for row in rows("aisc_min_pretension.csv") {
        let kip = row.text("unit") == "kip";
        let size = row.text("size");
        let thread: Thread = if kip {
            format!("{size} UNC")
        } else {
            size.to_owned()
        }
        .parse()
        .unwrap();
        for (grade, metric_MPa) in [("A325", 830.0), ("A490", 1040.0)] {
            let tensile = if kip {
                Strength::grade(grade, thread.major_mm).unwrap().tensile_MPa
            } else {
                metric_MPa
            };
            let pretension_kN = 0.7 * tensile * thread.stress_area_mm2().unwrap() / 1000.0;
            let (calculated, printed) = (
                if kip {
                    pretension_kN / KIP_KN
                } else {
                    pretension_kN
                },
                row.number(grade).unwrap(),
            );
            assert!(
                (calculated - printed).abs() <= 1.0,
                "{thread} {grade}: {calculated:.2}, printed {printed}"
            );
        }
    }
    assert!((KSI_MPA * 1000.0 - 6894.757).abs() < 0.001);
}

/// Load after snug and a turn, kN, and whether the bolt held.
fn turned_kN(size: &str, lengths: f64, turn_deg: f64, seed: u64) -> (f64, bool) {
    let thread: Thread = format!("{size} UNC").parse().unwrap();
    let strength = Strength::grade("A325", thread.major_mm).unwrap();
    // Snug: a few impacts, about a tenth of the final preload; common practice, no source.
    let snug_Nm = 0.10 * 0.2 * thread.major_mm / 1000.0
        * 0.7
        * strength.tensile_MPa
        * thread.stress_area_mm2().unwrap();
    let mut sketch = JointSketch::new(vec![("1".into(), [0.0, 0.0])], 10.0 * snug_Nm);
    // Bolt length is grip and nut and a little: the grip is about a diameter less.
    sketch.grip_mm = Some((lengths - 1.0) * thread.major_mm);
    sketch.thread = Some(thread);
    sketch.strength = Some(strength);
    sketch.condition = Some(Condition::Dry);
    let mut model = JointModel::from_sketch(&sketch).unwrap();
    model.adapter = AdapterModel::perfect(200.0);
    // Turned with a long handle and all the room there is.
    model.swing_deg = 1000.0;
    let mut bench = Bench::new(model, seed, HandKind::Steady, &[]);
    for (task, aim) in [
        (Task::SeatByHand { turns: None }, f64::INFINITY),
        (Task::Tighten { target_Nm: snug_Nm }, snug_Nm),
    ] {
        bench.begin(0, task);
        let mut cue = BenchCue::None;
        while let Some(sample) = bench.sample(cue) {
            if sample.torque_Nm >= aim {
                cue = BenchCue::Target;
            }
        }
    }
    let from = bench.rotation_deg(0);
    bench.begin(0, Task::Turn { degrees: turn_deg });
    let mut cue = BenchCue::None;
    while bench.sample(cue).is_some() {
        if bench.rotation_deg(0) - from >= turn_deg {
            cue = BenchCue::Target;
        }
    }
    (bench.clamp_kN(0), !bench.state(0).unwrap().failing)
}

#[test]
fn turn_of_nut_passes_the_least_pretension_and_breaks_no_bolt() {
    let turns = rows("rcsc_turn_of_nut.csv");
    assert_eq!(turns.len(), 3);
    let pretension = rows("aisc_min_pretension.csv");
    for (row, lengths) in turns.iter().zip([4.0, 8.0, 12.0]) {
        let turn = row.number("both_normal").unwrap();
        for size in ["1/2", "3/4", "1", "1-1/2"] {
            let least = pretension
                .iter()
                .find(|row| row.text("size") == size)
                .and_then(|row| row.number("A325"))
                .unwrap()
                * KIP_KN;
            for seed in 0..3 {
                let (load, held) = turned_kN(size, lengths, turn, seed);
                assert!(
                    held && load >= least,
                    "{size} L = {lengths} d, {turn}°: {load:.0} kN, least {least:.0} kN, held: {held}"
                );
            }
        }
    }
}
