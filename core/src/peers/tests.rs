//! Known samples, and records made by hand.

use std::vec::Vec as List;

use super::*;
use crate::procedure::{
    AngleWindow, Fastener, Override, OverrideAim, Parts, Prevailing, Stage, Step, Terms,
    TorqueWindow,
};
use crate::record::{Done, Fitted, Loosened, Started};
use crate::session::Session;
use crate::text::{Label, Text};
use crate::unit::{Angle, Instant, Torque};
use crate::verdict::{Reason, Reasons};

/// A rule without floors: the score alone.
const fn score(tenths: u16) -> Rule {
    Rule {
        score_tenths: tenths,
        above_part: 0,
        below_part: 0,
        least: 0,
    }
}

/// Eight measurements of a uranium isotope, in hundredths; the last is the textbook's outlier. [Tietjen & Moore 1972, in the NIST/SEMATECH
/// e-Handbook 1.3.5.17.1; data from memory] Median and MAD by hand: 201.37 and 0.995, so the scores are 0.6745 · d / 0.995.
#[test]
fn the_textbooks_outlier_is_found_and_nothing_else() {
    let sample = [
        19_931, 19_953, 20_019, 20_082, 20_192, 20_195, 20_218, 24_557,
    ];
    assert_eq!(median(&mut sample.clone()), Some(20_137));
    for &value in &sample {
        let apart = unlike(score(35), value, &mut sample.clone());
        assert_eq!(
            apart,
            (value == 24_557).then_some(20_137),
            "{value} with the 3.5 of Iglewicz and Hoaglin"
        );
    }
    // 199.31 scores 0.6745 · 2.06 / 0.995 = 1.396; 0.99 of the MAD here, as the median of deviations is rounded down.
    assert_eq!(unlike(score(13), 19_931, &mut sample.clone()), Some(20_137));
    assert_eq!(unlike(score(15), 19_931, &mut sample.clone()), None);
    // 245.57 scores 29.96.
    assert_eq!(
        unlike(score(299), 24_557, &mut sample.clone()),
        Some(20_137)
    );
    assert_eq!(unlike(score(303), 24_557, &mut sample.clone()), None);
}

/// Preload of ten lubricated bolts at one torque, in N. [Shigley 8-14] Rotation goes with it, and none of them is a bad bolt.
#[test]
fn ten_sound_bolts_are_alike() {
    let loads = [
        30_300, 32_500, 32_500, 32_900, 32_900, 33_800, 34_300, 34_700, 37_400, 40_500,
    ];
    assert_eq!(median(&mut loads.clone()), Some(33_350));
    for load in loads {
        for what in [What::Rotation, What::EndTorque] {
            assert_eq!(
                unlike(what.rule(), load, &mut loads.clone()),
                None,
                "{load}"
            );
        }
    }
    // One of them with two fifths less friction: half as much again.
    let mut oiled = loads;
    oiled[5] = 33_800 * 3 / 2;
    assert!(unlike(What::Rotation.rule(), oiled[5], &mut oiled.clone()).is_some());
}

#[test]
fn three_fasteners_are_too_few() {
    assert_eq!(unlike(score(25), 900, &mut [10, 10, 900]), None);
    assert_eq!(unlike(score(25), 900, &mut [10, 10, 11, 900]), Some(10));
    assert_eq!(median(&mut []), None);
}

/// The ends of the range neither overflow nor panic.
#[test]
fn every_value_has_an_answer() {
    let ends = [i32::MIN, i32::MIN + 1, -1, 0, 1, i32::MAX - 1, i32::MAX];
    for value in ends {
        for what in [What::Rotation, What::EndTorque, What::RunningTorque] {
            let mut values = ends;
            let _ = unlike(what.rule(), value, &mut values);
        }
    }
    assert_eq!(median(&mut [i32::MAX, i32::MAX]), Some(i32::MAX));
    assert_eq!(median(&mut [i32::MIN, i32::MIN]), Some(i32::MIN));
}

fn window(newton_meters: i32) -> TorqueWindow {
    let torque = |percent: i32| Torque::from_millinewton_meters(newton_meters * 10 * percent);
    TorqueWindow {
        target: torque(100),
        min: torque(95),
        max: torque(105),
    }
}

/// Torque on six fasteners, then a turn; fastener 5 has a target of its own where `other` is set.
fn procedure(other: bool) -> Procedure {
    let fasteners: List<Fastener> = (1..=6)
        .map(|label| Fastener {
            label: Label::cut(&std::format!("{label}")),
            near: [None; 4],
        })
        .collect();
    let angle = |degrees: i32| Angle::from_millidegrees(degrees * 1_000);
    let stages = [
        Stage::new(StageKind::Tighten {
            window: window(20),
            prevailing: Prevailing::None,
        }),
        Stage::new(StageKind::Tighten {
            window: window(40),
            prevailing: Prevailing::None,
        }),
        Stage::new(StageKind::Turn {
            window: AngleWindow {
                target: angle(60),
                min: angle(55),
                max: angle(65),
            },
            torque: None,
            one_sweep: false,
        }),
    ];
    let steps: List<Step> = (0..3)
        .flat_map(|stage| (0..6).map(move |fastener| Step::on(fastener, stage)))
        .collect();
    let own = [Override {
        fastener: 5,
        stage: 0,
        aim: OverrideAim::Torque(window(25)),
    }];
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: if other { &own } else { &[] },
        terms: Terms::default(),
    })
    .expect("a procedure")
}

struct Kept {
    procedure: Procedure,
    entries: List<Entry>,
}

impl Kept {
    fn new(other: bool) -> Self {
        let procedure = procedure(other);
        let started = Started {
            rules: 1,
            procedure: procedure.digest(),
            rehearsal: false,
        };
        let mut kept = Self {
            procedure,
            entries: List::new(),
        };
        kept.add(started);
        kept
    }

    fn add(&mut self, record: impl Into<Record>) {
        let seq = u32::try_from(self.entries.len()).expect("few") + 1;
        self.entries.push(Entry {
            joint: 2,
            seq,
            boot: 1,
            at: Instant::BOOT,
            record: record.into(),
        });
    }

    /// An attempt: angle in degrees, torque in N·m.
    fn pull(
        &mut self,
        (fastener, stage): (u8, u8),
        degrees: Option<i32>,
        torque: i32,
        is_good: bool,
    ) {
        let torque = Torque::from_millinewton_meters(torque * 1_000);
        self.add(Attempt {
            step: u16::from(stage) * 6 + u16::from(fastener),
            fastener,
            stage,
            attempt: 1,
            pulls: 1,
            verdict: if is_good {
                Verdict::Accepted
            } else {
                Verdict::Rejected
            },
            reasons: if is_good {
                Reasons::NONE
            } else {
                Reasons::NONE.with(Reason::TorqueLow)
            },
            peak: torque,
            final_torque: torque,
            angle: degrees.map(|degrees| Angle::from_millidegrees(degrees * 1_000)),
            prevailing: Added::Nothing,
            restart: None,
            trace: 0,
            took_ms: 1,
        });
    }

    fn found(&self, stage: u8) -> List<(u8, What, i32, i32)> {
        let session = Session::restore(&self.procedure, 2, &self.entries).expect("records");
        let found = compare(&self.procedure, session.ledger(), 2, stage, &self.entries);
        found
            .as_slice()
            .iter()
            .map(|unlike| {
                (
                    unlike.fastener,
                    unlike.what,
                    unlike.value / 1_000,
                    unlike.median / 1_000,
                )
            })
            .collect()
    }

    fn stage(&mut self, stage: u8, degrees: [i32; 6]) {
        for (fastener, degrees) in (0..).zip(degrees) {
            self.pull(
                (fastener, stage),
                Some(degrees),
                20 * (i32::from(stage) + 1),
                true,
            );
        }
    }
}

#[test]
fn a_fastener_that_turned_half_as_far_again_is_unlike_its_peers() {
    let mut kept = Kept::new(false);
    kept.stage(0, [40, 42, 38, 61, 41, 39]);
    assert_eq!(kept.found(0), [(3, What::Rotation, 61, 40)]);
    // The next stage is not complete: nothing is said of it.
    kept.pull((3, 1), Some(200), 40, true);
    assert_eq!(kept.found(1), []);
    assert_eq!(kept.found(9), []);
}

/// Rotation is the whole since snug: what the first pass left is made up for in the second.
#[test]
fn passes_are_taken_together() {
    let mut kept = Kept::new(false);
    kept.stage(0, [40, 42, 38, 30, 41, 39]);
    kept.stage(1, [20, 20, 20, 30, 20, 20]);
    assert_eq!(kept.found(0), []);
    assert_eq!(kept.found(1), []);
}

/// A try that ended too low turned the fastener too; one whose angle is lost makes the whole unknown.
#[test]
fn tries_of_one_stage_are_added() {
    let mut kept = Kept::new(false);
    for fastener in 0..5 {
        kept.pull((fastener, 0), Some(40), 20, true);
    }
    kept.pull((5, 0), Some(35), 18, false);
    kept.pull((5, 0), Some(6), 20, true);
    assert_eq!(kept.found(0), []);
    let mut kept = Kept::new(false);
    for fastener in 0..5 {
        kept.pull((fastener, 0), Some(40), 20, true);
    }
    kept.pull((5, 0), None, 18, false);
    kept.pull((5, 0), Some(6), 20, true);
    assert_eq!(kept.found(0), []);
}

#[test]
fn the_end_torque_of_a_turn_is_compared() {
    let mut kept = Kept::new(false);
    kept.stage(0, [40; 6]);
    kept.stage(1, [20; 6]);
    for (fastener, torque) in (0..).zip([60, 62, 61, 40, 59, 60]) {
        kept.pull((fastener, 2), Some(60), torque, true);
    }
    assert_eq!(kept.found(2), [(3, What::EndTorque, 40, 60)]);
}

#[test]
fn a_fastener_with_a_target_of_its_own_has_no_peers() {
    let rows = [40, 42, 38, 41, 39, 80];
    let mut kept = Kept::new(true);
    kept.stage(0, rows);
    assert_eq!(kept.found(0), []);
    let mut kept = Kept::new(false);
    kept.stage(0, rows);
    assert_eq!(kept.found(0), [(5, What::Rotation, 80, 40)]);
}

/// Once it is done again it is compared anew, and until then it is no peer.
#[test]
fn what_is_redone_is_compared_anew() {
    let mut kept = Kept::new(false);
    kept.stage(0, [40, 42, 38, 61, 41, 39]);
    kept.add(Loosened {
        fastener: 3,
        elsewhere: false,
        cause: Text::cut("unlike its peers"),
    });
    assert_eq!(kept.found(0), []);
    kept.pull((3, 0), Some(41), 20, true);
    assert_eq!(kept.found(0), []);
    kept.add(Fitted { fastener: 3 });
    kept.pull((3, 0), Some(90), 20, true);
    assert_eq!(kept.found(0), [(3, What::Rotation, 90, 40)]);
}

#[test]
fn what_was_ticked_on_paper_is_no_peer() {
    let mut kept = Kept::new(false);
    for fastener in 0..5 {
        kept.pull(
            (fastener, 0),
            Some([40, 42, 90, 41, 39][usize::from(fastener)]),
            20,
            true,
        );
    }
    kept.add(Done {
        step: 5,
        manner: Manner::Paper,
    });
    assert_eq!(kept.found(0), [(2, What::Rotation, 90, 41)]);
    // Another joint's records are passed over.
    for entry in &mut kept.entries {
        entry.joint = 7;
    }
    let found = compare(&kept.procedure, &Ledger::new(), 2, 0, &kept.entries);
    assert!(found.as_slice().is_empty());
}
