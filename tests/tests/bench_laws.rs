//! What the virtual bench must hold to whatever the numbers: balance of forces and work, the identities of interaction, the same seed the
//! same samples, and faults that look like themselves.
#![expect(non_snake_case, reason = "a unit is spelled as the unit is")]

use evendraw::bench::{
    AdapterModel, Bench, BenchCue, BenchSample, Cover, Creep, Fault, HandKind, Interaction,
    Interface, JointModel, JointSketch, Matrix, Plate, Spring, Task, Variation,
};
use evendraw::mechanics::{Method, Strength, embedding_loss_N};

/// A joint whose only chance left is the hand's.
fn plain(count: u32, interface: Interface) -> JointModel {
    let mut sketch = JointSketch::circle(count, 130.0, 40.0);
    sketch.interface = interface;
    let mut model = JointModel::from_sketch(&sketch).unwrap();
    model.adapter = AdapterModel::perfect(1000.0);
    model.variation = Variation::NONE;
    model
}

/// Pulls until the adapter reads `aim`, or the fastener has turned by `turn`.
fn pull(bench: &mut Bench, fastener: usize, task: Task, aim: f64, turn: f64) -> Vec<BenchSample> {
    bench.begin(fastener, task);
    let from = bench.rotation_deg(fastener);
    let (mut cue, mut samples) = (BenchCue::None, Vec::new());
    while let Some(sample) = bench.sample(cue) {
        samples.push(sample);
        if sample.torque_Nm >= aim || (bench.rotation_deg(fastener) - from).abs() >= turn {
            cue = BenchCue::Target;
        }
    }
    samples
}

fn tighten(bench: &mut Bench, fastener: usize, target_Nm: f64) -> Vec<BenchSample> {
    pull(
        bench,
        fastener,
        Task::SeatByHand { turns: None },
        f64::INFINITY,
        f64::INFINITY,
    );
    pull(
        bench,
        fastener,
        Task::Tighten { target_Nm },
        target_Nm,
        f64::INFINITY,
    )
}

fn peak(samples: &[BenchSample]) -> f64 {
    samples
        .iter()
        .fold(0.0, |most, sample| most.max(sample.torque_Nm))
}

fn spread(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (values.len() as f64 - 1.0))
        .sqrt()
        / mean
}

#[test]
fn the_same_seed_gives_the_same_samples_and_another_does_not() {
    let run = |seed| {
        let model = JointModel::from_sketch(&JointSketch::circle(4, 90.0, 40.0)).unwrap();
        let mut bench = Bench::new(model, seed, HandKind::Jerky, &[(1, Fault::Gritty)]);
        let mut all = Vec::new();
        for fastener in 0..4 {
            all.extend(tighten(&mut bench, fastener, 40.0));
        }
        (all, bench.clamps_kN())
    };
    assert_eq!(run(7), run(7));
    assert_ne!(run(7).0, run(8).0);
}

#[test]
fn work_put_in_is_friction_and_lift_and_lift_is_stored_or_stretched_for_good() {
    for interface in [
        Interface::Metal,
        Interface::FirmGasket,
        Interface::SoftGasket,
    ] {
        for turn in [0.0, 70.0] {
            let mut model = plain(6, interface);
            // Creep and embedding take their work out of what is stored; they are no part of this balance.
            model
                .fasteners
                .iter_mut()
                .for_each(|metal| metal.embeds_mm = 0.0);
            model.creep = Creep {
                ratio: 0.0,
                time_s: 100.0,
            };
            let mut bench = Bench::new(model, 3, HandKind::Steady, &[]);
            for fastener in [0, 3, 1, 4, 2, 5] {
                tighten(&mut bench, fastener, 40.0);
                if turn > 0.0 {
                    pull(
                        &mut bench,
                        fastener,
                        Task::Turn { degrees: turn },
                        f64::INFINITY,
                        turn,
                    );
                }
            }
            let work = bench.energy();
            let used = work.friction_J + work.lift_J;
            // What breaking loose costs above turning friction is lost too, and is not booked.
            assert!(
                (work.hand_J / used - 1.0).abs() < 0.01,
                "{interface:?} {turn}: hand {} J, used {used} J",
                work.hand_J
            );
            let kept = bench.stored_J() + work.plastic_J;
            assert!(
                (work.lift_J / kept - 1.0).abs() < 0.01,
                "{interface:?} {turn}: lift {} J, kept {kept} J",
                work.lift_J
            );
        }
    }
}

#[test]
fn torque_is_friction_times_load_at_every_moment() {
    // While it turns, torque over load is lift and drag; the adapter is perfect and sits on the train.
    let mut bench = Bench::new(plain(1, Interface::Metal), 1, HandKind::Steady, &[]);
    pull(
        &mut bench,
        0,
        Task::SeatByHand { turns: None },
        f64::INFINITY,
        f64::INFINITY,
    );
    bench.begin(0, Task::Tighten { target_Nm: 40.0 });
    let metal = bench.model().fasteners[0].clone();
    let (mut cue, mut compared) = (BenchCue::None, 0);
    let mut last = bench.rotation_deg(0);
    while let Some(sample) = bench.sample(cue) {
        if bench.rotation_deg(0) > last && sample.torque_Nm > 4.0 {
            let expected = metal.tightening_Nm(bench.clamp_kN(0) * 1000.0, 0.0);
            assert!(
                (sample.torque_Nm - expected).abs() < 0.02,
                "{} against {expected}",
                sample.torque_Nm
            );
            compared += 1;
        }
        last = bench.rotation_deg(0);
        if sample.torque_Nm >= 40.0 {
            cue = BenchCue::Target;
        }
    }
    assert!(compared > 200, "{compared} samples while turning");
}

#[test]
fn rotation_is_the_adapters_less_wind_up_in_one_pull_or_six_on_either_side_of_the_ratchet() {
    for pulls in [1, 3, 6] {
        for swings_back in [true, false] {
            for train in [5.0, 20.0, 60.0] {
                let mut model = plain(1, Interface::Metal);
                model.train_Nm_per_deg = train;
                model.adapter_swings_back = swings_back;
                let mut bench = Bench::new(model, 5, HandKind::Steady, &[]);
                tighten(&mut bench, 0, 20.0);
                bench.force_pulls(pulls);
                let from = bench.rotation_deg(0);
                let samples = pull(
                    &mut bench,
                    0,
                    Task::Turn { degrees: 90.0 },
                    f64::INFINITY,
                    90.0,
                );
                let truth = bench.rotation_deg(0) - from;
                let let_go = samples
                    .windows(2)
                    .filter(|pair| pair[0].torque_Nm > 1.0 && pair[1].torque_Nm <= 1.0)
                    .count();
                assert_eq!(let_go, pulls as usize, "train {train}");
                // Count the adapter's turning while loaded, each pull less its wind-up at the moment the fastener last moved: here the
                // peak. A fastener that starts to move only at high torque has the same wind-up on both ends of a pull.
                let mut counted = 0.0;
                let mut began: Option<(f64, f64)> = None;
                let mut top: Option<(f64, f64)> = None;
                for sample in &samples {
                    if sample.torque_Nm > 2.0 {
                        let here = (sample.angle_deg, sample.torque_Nm);
                        began.get_or_insert(here);
                        if top.is_none_or(|(angle, _)| sample.angle_deg > angle) {
                            top = Some(here);
                        }
                    } else if let (Some(low), Some(high)) = (began.take(), top.take()) {
                        counted += high.0 - low.0 - (high.1 - low.1) / train;
                    }
                }
                assert!(
                    (counted - truth).abs() < 0.3,
                    "{pulls} pulls, train {train}: counted {counted:.2}°, true {truth:.2}°"
                );
            }
        }
    }
}

/// Loads of one pass in the order of the labels, each brought to its own tension `aims` while turned.
fn one_pass(interaction: &Interaction, aims: &[f64]) -> Vec<f64> {
    let mut loads = vec![0.0; aims.len()];
    for (i, aim) in aims.iter().enumerate() {
        let change = aim - loads[i];
        let influence = interaction.influence(i, &loads);
        for (load, share) in loads.iter_mut().zip(influence) {
            *load += share * change;
        }
    }
    loads
}

fn six_on_a_soft_gasket() -> Interaction {
    let positions: Vec<[f64; 2]> = (0..6)
        .map(|i| (f64::from(i) * std::f64::consts::TAU / 6.0).sin_cos())
        .map(|(s, c)| [45.0 * s, 45.0 * c])
        .collect();
    let spring = Spring {
        compliance_mm_per_N: 5e-6,
        toe_mm: 0.0,
        toe_N: 1.0,
    };
    Interaction::of_plate(
        &Plate::new(70_000.0, 20.0, 60.0),
        &positions,
        vec![spring; 6],
    )
}

#[test]
fn final_loads_are_a_triangular_matrix_times_the_tensions_read_while_tightening() {
    // f = A·s: each entry of s (what a fastener reads when tightened) acts on itself in full and on those tightened before it, on none after.
    let interaction = six_on_a_soft_gasket();
    let a = Matrix::from_fn(6, |_, _| 0.0);
    let aims = [20_000.0, 21_000.0, 19_000.0, 22_000.0, 18_500.0, 20_500.0];
    let finals = one_pass(&interaction, &aims);
    assert!(
        (finals[5] - aims[5]).abs() < 1e-9,
        "the last fastener reads exactly its target"
    );
    assert!(
        finals[..5]
            .iter()
            .zip(&aims)
            .all(|(end, aim)| *end < 0.999 * aim),
        "every earlier one has lost load: {finals:?}"
    );
    // The columns of A, by linearity about this pass.
    let mut columns = a;
    for j in 0..6 {
        let mut more = aims;
        more[j] += 1000.0;
        for (i, (with, without)) in one_pass(&interaction, &more)
            .iter()
            .zip(&finals)
            .enumerate()
        {
            columns.add(i, j, (with - without) / 1000.0);
        }
    }
    for i in 0..6 {
        assert!((columns.at(i, i) - 1.0).abs() < 1e-9, "unit diagonal");
        for j in 0..i {
            assert!(
                columns.at(i, j).abs() < 1e-9,
                "a fastener tightened earlier has no say in a later one: A[{i},{j}]"
            );
        }
    }
    let product = columns.times(&aims);
    assert!(
        product
            .iter()
            .zip(&finals)
            .all(|(x, y)| (x - y).abs() < 1e-6)
    );
    // s = A⁻¹·target gives even loads in one pass: back substitution.
    let target = 20_000.0;
    let mut s = [0.0; 6];
    for i in (0..6).rev() {
        s[i] = target - (i + 1..6).map(|j| columns.at(i, j) * s[j]).sum::<f64>();
    }
    let even = one_pass(&interaction, &s);
    assert!(
        even.iter().all(|load| (load - target).abs() < 1e-6),
        "{even:?}"
    );
}

#[test]
fn repeated_passes_at_the_target_converge_and_bolts_that_do_not_feel_each_other_stay() {
    let interaction = six_on_a_soft_gasket();
    let mut loads = one_pass(&interaction, &[20_000.0; 6]);
    let mut last = spread(&loads);
    assert!(last > 0.02, "one pass leaves scatter: {last}");
    for pass in 0..8 {
        for i in 0..6 {
            let change = (20_000.0 - loads[i]).max(0.0);
            let influence = interaction.influence(i, &loads);
            for (load, share) in loads.iter_mut().zip(influence) {
                *load += share * change;
            }
        }
        let now = spread(&loads);
        assert!(now <= last + 1e-12, "pass {pass}: {now} after {last}");
        last = now;
    }
    assert!(last < 1e-4, "{last}");
    let spring = Spring {
        compliance_mm_per_N: 5e-6,
        toe_mm: 0.0,
        toe_N: 1.0,
    };
    let apart = Interaction::apart(vec![spring; 5], 1e-6);
    assert_eq!(
        one_pass(&apart, &[10.0, 20.0, 30.0, 40.0, 50.0]),
        [10.0, 20.0, 30.0, 40.0, 50.0],
        "A = I changes nothing"
    );
}

#[test]
fn settling_solves_the_equations_it_stands_for() {
    let mut interaction = six_on_a_soft_gasket();
    for spring in &mut interaction.springs {
        (spring.toe_mm, spring.toe_N) = (0.012, 2000.0);
    }
    let advances = [0.15, 0.14, -0.02, 0.16, 0.001, 0.15];
    let mut loads = vec![0.0; 6];
    interaction.settle(&advances, &mut loads);
    let pressed = interaction.parts.times(&loads);
    for i in 0..6 {
        let spring = interaction.springs[i];
        let rest =
            advances[i] - spring.compliance_mm_per_N * loads[i] - spring.toe(loads[i]) - pressed[i];
        if loads[i] > 0.0 {
            assert!(rest.abs() < 1e-9, "{i}: {rest}");
        } else {
            assert!(
                rest <= 1e-12,
                "{i} without load must not be in contact: {rest}"
            );
        }
    }
    assert!(loads[2] == 0.0 && loads[0] > 5000.0, "{loads:?}");
}

/// numpy and scipy solve the same joints: tests/bench/interaction.py prints first load and sum.
#[test]
fn the_solve_agrees_with_scipys() {
    for (count, first, sum) in [
        (14_u32, 20_426.108, 319_682.741),
        (64, 20_426.172, 1_466_385.915),
    ] {
        let half = count / 2;
        let places: Vec<[f64; 2]> = (0..count)
            .map(|i| [45.0 * f64::from(i % half), 95.0 * f64::from(i / half)])
            .collect();
        let spring = Spring {
            compliance_mm_per_N: 6e-6,
            toe_mm: 0.012,
            toe_N: 3000.0,
        };
        let plate = Plate::new(70_000.0, 25.0, 400.0);
        let joint = Interaction::of_plate(&plate, &places, vec![spring; places.len()]);
        let advances: Vec<f64> = (0..count).map(|i| 0.15 + 0.01 * f64::from(i % 5)).collect();
        let mut loads = vec![0.0; places.len()];
        joint.settle(&advances, &mut loads);
        assert!((loads[0] - first).abs() < 1e-3, "{count}: {}", loads[0]);
        let all: f64 = loads.iter().sum();
        assert!((all - sum).abs() < 1e-2, "{count}: {all}");
    }
}

#[test]
fn tightening_one_relieves_its_neighbours_and_a_gasket_creeps_between_passes() {
    let mut bench = Bench::new(plain(8, Interface::SoftGasket), 2, HandKind::Steady, &[]);
    tighten(&mut bench, 0, 40.0);
    let alone = bench.clamp_kN(0);
    tighten(&mut bench, 1, 40.0);
    let relieved = bench.clamp_kN(0);
    assert!(relieved < 0.97 * alone, "{alone} kN, then {relieved} kN");
    bench.idle(600.0);
    let crept = bench.clamp_kN(0);
    assert!(crept < 0.99 * relieved, "{relieved} kN, then {crept} kN");
    // The same torque again moves it on.
    let from = bench.rotation_deg(0);
    pull(
        &mut bench,
        0,
        Task::Tighten { target_Nm: 40.0 },
        40.0,
        f64::INFINITY,
    );
    assert!(bench.rotation_deg(0) - from > 0.5);
    assert!(bench.clamp_kN(0) > crept);
}

/// Three deviations of the preload against what the handbook says of each method: by torque ±25 %, by turn of nut ±15 %, sensed by yield ±8 %. [Machinery's
/// Handbook, accuracy of bolt preload application methods] Sixty bolts place a deviation within a fifth; the bench may be off by two fifths.
#[test]
fn each_way_of_tightening_scatters_as_the_handbook_says() {
    let scattered = |snug_Nm: f64, turn: f64| {
        let loads: Vec<f64> = (0..60)
            .map(|seed| {
                let mut sketch = JointSketch::circle(1, 100.0, 40.0);
                sketch.thread = "M10".parse().ok();
                sketch.strength = Strength::property_class("8.8", 10.0).ok();
                sketch.grip_mm = Some(40.0);
                let mut bench = Bench::new(
                    JointModel::from_sketch(&sketch).unwrap(),
                    seed,
                    HandKind::Steady,
                    &[],
                );
                tighten(&mut bench, 0, snug_Nm);
                if turn > 0.0 {
                    let task = Task::Turn { degrees: turn };
                    pull(&mut bench, 0, task, f64::INFINITY, turn);
                }
                bench.clamp_kN(0)
            })
            .collect();
        let mean = loads.iter().sum::<f64>() / 60.0;
        (3.0 * spread(&loads), mean)
    };
    let yield_kN = 35.0;
    for (method, snug_Nm, turn, low, high) in [
        (Method::Torque, 40.0, 0.0, 0.5, 0.85),
        (Method::Turn, 10.0, 25.0, 0.5, 0.9),
        (Method::Yield, 40.0, 100.0, 1.0, 1.4),
    ] {
        let (three, mean) = scattered(snug_Nm, turn);
        let stated = method.scatter().above;
        println!(
            "{method:?}: ±{:.1} %, stated ±{:.0} %, mean {mean:.1} kN",
            three * 100.0,
            stated * 100.0
        );
        assert!(
            (low..high).contains(&(mean / yield_kN)),
            "{method:?}: {mean} kN"
        );
        assert!(
            (0.6..1.4).contains(&(three / stated)),
            "{method:?}: ±{three}"
        );
    }
}

/// Guideline values of embedding cost a short grip 5 to 10 % of its preload and a long one little, and the bench loses what
/// FZ = fZ/(δS + δP) says. [VDI 2230:2001 eq. R4/1; micrometres: VDI 2230:2003 table 5, from memory]
#[test]
fn embedding_takes_its_share_of_the_preload() {
    for (thread, class, torque_Nm, grip_mm, low, high) in [
        ("M6", "8.8", 9.0, 12.0, 0.06, 0.16),
        ("M8", "8.8", 22.0, 16.0, 0.05, 0.12),
        ("M10", "8.8", 44.0, 20.0, 0.05, 0.10),
        ("M12", "8.8", 75.0, 24.0, 0.04, 0.10),
        ("M10", "8.8", 44.0, 100.0, 0.01, 0.04),
    ] {
        let mut sketch = JointSketch::circle(1, 100.0, torque_Nm);
        sketch.thread = thread.parse().ok();
        let diameter = sketch.thread.as_ref().unwrap().major_mm;
        sketch.strength = Strength::property_class(class, diameter).ok();
        sketch.grip_mm = Some(grip_mm);
        let mut model = JointModel::from_sketch(&sketch).unwrap();
        model.variation = Variation::NONE;
        let give =
            model.interaction.springs[0].compliance_mm_per_N + model.interaction.parts.at(0, 0);
        let mut bench = Bench::new(model, 1, HandKind::Steady, &[]);
        tighten(&mut bench, 0, torque_Nm);
        let before = bench.clamp_kN(0);
        bench.idle(86_400.0);
        let lost = before - bench.clamp_kN(0);
        let share = lost / before;
        println!("{thread} over {grip_mm} mm: {:.1} % lost", share * 100.0);
        assert!(
            (low..high).contains(&share),
            "{thread} over {grip_mm} mm: {share}"
        );
        // The joint gives as one spring here: fastener, cone and plate.
        let said = embedding_loss_N(8.0, 1.0 / give, f64::INFINITY) / 1000.0;
        assert!(
            (lost / said - 1.0).abs() < 0.1,
            "{thread} over {grip_mm} mm: {lost} kN, said {said} kN"
        );
    }
}

#[test]
fn each_fault_looks_like_itself() {
    let run = |fault: Option<Fault>| {
        let faults: Vec<_> = fault.into_iter().map(|fault| (0, fault)).collect();
        let mut bench = Bench::new(plain(4, Interface::Metal), 4, HandKind::Steady, &faults);
        pull(
            &mut bench,
            0,
            Task::SeatByHand { turns: None },
            f64::INFINITY,
            f64::INFINITY,
        );
        let seated = bench.rotation_deg(0);
        let samples = pull(
            &mut bench,
            0,
            Task::Tighten { target_Nm: 40.0 },
            40.0,
            f64::INFINITY,
        );
        let turned = bench.rotation_deg(0) - seated;
        let drops = samples
            .windows(2)
            .filter(|pair| pair[1].torque_Nm < pair[0].torque_Nm - 1.0)
            .count();
        (seated, turned, peak(&samples), bench.clamp_kN(0), drops)
    };
    let sound = run(None);
    // A steady hand told at the target goes some 3.3 N·m past it (`approach_cue.rs`).
    assert!(sound.4 < 3 && (39.9..44.0).contains(&sound.2), "{sound:?}");
    let cross = run(Some(Fault::CrossThread));
    assert!(
        cross.0 < 0.2 * sound.0 && cross.3 < 0.01 * sound.3,
        "torque from the first turn, no clamp: {cross:?}"
    );
    let bottomed = run(Some(Fault::Bottomed));
    assert!(
        bottomed.0 < sound.0 - 100.0 && bottomed.3 < 1e-9,
        "early, no clamp: {bottomed:?}"
    );
    let tight = run(Some(Fault::AlreadyTight));
    assert!(
        tight.1 < 3.0 && tight.3 > 0.9 * sound.3,
        "does not turn: {tight:?}"
    );
    let soft = run(Some(Fault::SoftPart));
    assert!(
        soft.1 > 3.0 * sound.1,
        "rises late: {soft:?} after {sound:?}"
    );
    let missing = run(Some(Fault::MissingPart));
    assert!(missing.0 > sound.0 + 300.0, "seats late: {missing:?}");
    let gritty = run(Some(Fault::Gritty));
    assert!(gritty.4 > 10, "saw teeth: {gritty:?}");
    let stripping = run(Some(Fault::Stripping));
    assert!(
        stripping.2 < 35.0 && stripping.3 < 0.7 * sound.3 && stripping.1 > 2.0 * sound.1,
        "never gets there: {stripping:?}"
    );
    let weak = run(Some(Fault::WrongClass));
    assert!(
        weak.1 > 2.0 * sound.1 && weak.3 < sound.3,
        "yields early: {weak:?}"
    );
    let oiled = run(Some(Fault::Oiled));
    assert!(
        oiled.3 > 1.3 * sound.3 && oiled.1 > 1.2 * sound.1,
        "more load for the torque: {oiled:?}"
    );
}

#[test]
fn a_bolt_turned_on_and_on_yields_necks_and_parts() {
    let mut bench = Bench::new(plain(1, Interface::Metal), 4, HandKind::Steady, &[]);
    tighten(&mut bench, 0, 40.0);
    let strongest = bench.model().fasteners[0].peak_N / 1000.0;
    let (mut most, mut turned) = (0.0_f64, 0.0);
    while !bench.state(0).unwrap().failed && turned < 3000.0 {
        bench.begin(0, Task::Turn { degrees: 60.0 });
        let from = bench.rotation_deg(0);
        let mut cue = BenchCue::None;
        while bench.sample(cue).is_some() {
            most = most.max(bench.clamp_kN(0));
            if bench.rotation_deg(0) - from > 60.0 {
                cue = BenchCue::Halt;
            }
        }
        turned += bench.rotation_deg(0) - from;
    }
    assert!(bench.state(0).unwrap().failed, "parted");
    assert!(
        (most / strongest - 1.0).abs() < 0.01,
        "greatest load {most} kN of {strongest} kN"
    );
    assert!((150.0..1500.0).contains(&turned), "{turned}° to part");
    assert!(bench.clamp_kN(0).abs() < 1e-9);
    bench.replace(0);
    tighten(&mut bench, 0, 40.0);
    assert!(bench.clamp_kN(0) > 15.0, "a new one holds");
}

#[test]
fn a_joint_of_which_only_the_target_is_known_can_be_rehearsed_at_any_size() {
    for target in [0.1, 0.5, 2.0, 10.0, 40.0, 150.0, 600.0, 2500.0, 15_000.0] {
        let model = JointModel::from_sketch(&JointSketch::circle(3, 400.0, target)).unwrap();
        let proof = model.strength.proof_MPa * model.thread.stress_area_mm2().unwrap() / 1000.0;
        let name = format!("{target} N·m on {}", model.thread);
        let mut bench = Bench::new(model, 9, HandKind::Steady, &[]);
        let samples = tighten(&mut bench, 1, target);
        assert!(
            (0.97..1.10).contains(&(peak(&samples) / target)),
            "{name}: peak {}",
            peak(&samples)
        );
        assert!(
            (0.1..1.0).contains(&(bench.clamp_kN(1) / proof)),
            "{name}: {} of {proof} kN",
            bench.clamp_kN(1)
        );
        let seconds = samples.last().unwrap().time_s - samples[0].time_s;
        assert!((1.0..15.0).contains(&seconds), "{name}: {seconds} s");
    }
}

#[test]
fn a_bad_sketch_is_refused_with_the_number() {
    for (sketch, part) in [
        (
            JointSketch::new(vec![], 40.0),
            "0 fasteners; the bench takes 1 to 256",
        ),
        (
            JointSketch::circle(3, 90.0, 0.0),
            "target in N·m 0 is outside",
        ),
        (JointSketch::circle(3, 90.0, f64::NAN), "target in N·m NaN"),
        (JointSketch::circle(3, 0.0, 40.0), "0.00 mm apart"),
        (
            JointSketch {
                grip_mm: Some(0.1),
                ..JointSketch::circle(3, 90.0, 40.0)
            },
            "grip in mm 0.1",
        ),
        (
            JointSketch {
                train_Nm_per_deg: Some(0.0),
                ..JointSketch::circle(3, 90.0, 40.0)
            },
            "tool train",
        ),
    ] {
        let error = JointModel::from_sketch(&sketch).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    }
}

#[test]
fn backing_off_frees_a_fastener_and_holding_does_not_move_it() {
    let mut bench = Bench::new(plain(2, Interface::Metal), 6, HandKind::Steady, &[]);
    tighten(&mut bench, 0, 40.0);
    let at = bench.rotation_deg(0);
    let held = pull(
        &mut bench,
        0,
        Task::Hold {
            torque_Nm: 38.0,
            seconds: 5.0,
        },
        f64::INFINITY,
        f64::INFINITY,
    );
    assert!((bench.rotation_deg(0) - at).abs() < 0.5);
    assert!(
        held.iter().filter(|sample| sample.torque_Nm > 36.0).count() > 4500,
        "held for five seconds"
    );
    pull(
        &mut bench,
        0,
        Task::BackOff {
            degrees: Some(180.0),
        },
        f64::INFINITY,
        f64::INFINITY,
    );
    assert!((at - bench.rotation_deg(0) - 180.0).abs() < 2.0);
    assert!(bench.clamp_kN(0) < 1e-9);
    let samples = pull(
        &mut bench,
        0,
        Task::BackOff { degrees: None },
        f64::INFINITY,
        f64::INFINITY,
    );
    assert!(
        samples.iter().all(|sample| sample.torque_Nm < 1.0),
        "loosening never reads as tightening"
    );
}

/// What each order is for: on a gasket, going across draws the cover down more evenly on the way than one way round, and three passes leave
/// less scatter than one, whichever way. That a bolt across the joint may gain load when its opposite is tightened is what flange assembly
/// reports. [elastic interaction after Bickford; stated in general terms, no numbers]
#[test]
fn going_across_draws_a_cover_down_more_evenly() {
    use evendraw::bench::compare::{Ranked, Trial, compare};
    use std::sync::atomic::{AtomicBool, AtomicU64};
    let mut sketch = JointSketch::circle(8, 160.0, 40.0);
    sketch.interface = Interface::SoftGasket;
    let model = JointModel::from_sketch(&sketch).expect("a joint");
    assert!(model.interaction.parts.at(0, 4) < 0.0);
    let cross = vec![0, 4, 2, 6, 1, 5, 3, 7];
    let trials: Vec<Trial> = [1, 3]
        .into_iter()
        .flat_map(|passes| {
            [
                Trial::new("cross", cross.clone(), passes),
                Trial::new("round", (0..8).collect(), passes),
            ]
        })
        .collect();
    let (done, stop) = (AtomicU64::new(0), AtomicBool::new(false));
    let ranked = compare(&model, &trials, 200, 3, HandKind::Steady, &done, &stop)
        .expect("nobody stopped it");
    let of = |name: &str, passes: usize| -> &Ranked {
        ranked
            .iter()
            .find(|one| one.trial.order_name == name && one.trial.shares.len() == passes)
            .expect("ranked")
    };
    for passes in [1, 3] {
        assert!(of("cross", passes).tilt_mm.mean < 0.8 * of("round", passes).tilt_mm.mean);
    }
    for name in ["cross", "round"] {
        assert!(of(name, 3).scatter.mean < of(name, 1).scatter.mean);
        assert!(of(name, 3).tilt_mm.mean < of(name, 1).tilt_mm.mean);
    }
}

/// The cover against a round plate with a free edge on the same foundation by Ritz's method (order 16), pm/N: `tests/bench/cover.py`.
#[test]
fn a_cover_comes_near_a_plate_with_a_free_edge() {
    let circle = |count: u32, radius: f64| -> Vec<[f64; 2]> {
        (0..count)
            .map(|i| {
                let turn = std::f64::consts::TAU * f64::from(i) / f64::from(count);
                [radius * turn.cos(), radius * turn.sin()]
            })
            .collect()
    };
    for (thickness, ritz) in [
        (15.0, [6636.5, 658.1, -298.5, -23.6, 17.0]),
        (20.0, [5206.0, 1154.7, -361.5, -156.6, -29.3]),
        (30.0, [3735.1, 1554.9, -128.9, -386.8, -320.3]),
        (60.0, [2534.9, 1739.2, 417.0, -559.2, -901.3]),
    ] {
        let cover = Cover::around(
            Plate::new(70_000.0, thickness, 60.0),
            &circle(64, 80.0),
            15.0,
        );
        let give = cover.compliance(&circle(8, 80.0));
        let found: Vec<f64> = (0..5).map(|other| give.at(0, other) * 1e9).collect();
        println!("{thickness} mm: {found:.0?} pm/N, Ritz {ritz:.0?}");
        assert!(
            found
                .iter()
                .zip(&ritz)
                .all(|(found, other)| (found - other).abs() < 0.06 * ritz[0]),
            "{found:?} for {ritz:?}"
        );
    }
}
