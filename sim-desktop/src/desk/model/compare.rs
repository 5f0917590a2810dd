//! The comparison of orders and pass counts, in the background, stoppable.
//!
//! Knows nothing of how a run is calculated: the bench does that.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};

use evendraw_core::pattern::{self, Point};
use evendraw_core::unit::Length;

use super::super::view::{CompareRow, CompareView};
use super::Model;
use crate::bench::compare::{Ranked, Trial, headline, place};
use crate::bench::{HandKind, JointModel};
use crate::plan::Joint;
use crate::rehearsal::station;

/// Runs of each trial: enough that neighbours in the ranking do not change places by chance alone.
const RUNS: u32 = 400;
/// Pass counts tried.
const PASSES: [usize; 3] = [1, 2, 3];

/// A comparison under way.
#[derive(Debug)]
pub(super) struct Running {
    done: Arc<AtomicU64>,
    stop: Arc<AtomicBool>,
    over: Arc<AtomicBool>,
    ranked: Arc<Mutex<Vec<Ranked>>>,
    seen: u64,
}

impl Drop for Running {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

/// The orders that these positions have, each with its name.
fn orders(joint: &Joint, own: (&str, &[u8])) -> Vec<(String, Vec<usize>)> {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a place on the part, bounded by the plan to what a length holds"
    )]
    let micrometers =
        |millimetres: f64| Length::from_micrometers((millimetres * 1000.0).round() as i32);
    let points: Vec<Point> = joint
        .positions()
        .iter()
        .map(|position| Point {
            x: micrometers(position.x_mm),
            y: micrometers(position.y_mm),
        })
        .collect();
    let indices = |list: &[u8]| {
        list.iter()
            .map(|index| usize::from(*index))
            .collect::<Vec<usize>>()
    };
    let mut found: Vec<(String, Vec<usize>)> =
        vec![(format!("as planned: {}", own.0), indices(own.1))];
    let mut room = vec![0u8; points.len()];
    if pattern::cross_at(&points, &mut room).is_ok() {
        found.push(("cross".to_owned(), indices(&room)));
    }
    if pattern::centre_out(&points, &mut room).is_ok() {
        found.push(("centre-out".to_owned(), indices(&room)));
        room.reverse();
        found.push(("from the ends in".to_owned(), indices(&room)));
    }
    found.push(("as listed".to_owned(), (0..points.len()).collect()));
    let mut kept: Vec<(String, Vec<usize>)> = Vec::new();
    for (name, order) in found {
        if !kept.iter().any(|(_, other)| *other == order) {
            kept.push((name, order));
        }
    }
    kept
}

impl Model {
    /// Begins to compare orders for a joint.
    pub(super) fn begin_compare(&mut self, id: &str) {
        let Some((joint, plan)) = self.job.as_ref().and_then(|job| {
            let joint = job.plan().joint(id)?;
            Some((joint, job.joint_plan(joint.number())?))
        }) else {
            return;
        };
        self.compare = CompareView {
            joint: joint.title().to_owned(),
            ..CompareView::default()
        };
        if joint.positions().len() < 3 {
            self.compare.error = Some(format!(
                "{} has {} fasteners; orders differ from three on",
                joint.title(),
                joint.positions().len()
            ));
            return;
        }
        let model = match JointModel::from_sketch(&station::sketch(joint, plan)) {
            Ok(model) => model,
            Err(error) => {
                self.compare.error = Some(format!("the bench cannot take this joint: {error}"));
                return;
            }
        };
        let trials: Vec<Trial> = orders(joint, (plan.order.word(), &plan.base))
            .into_iter()
            .flat_map(|(name, order)| {
                PASSES.map(|passes| Trial::new(name.clone(), order.clone(), passes))
            })
            .collect();
        self.compare.running = true;
        self.compare.of = trials.len() * usize::try_from(RUNS).unwrap_or(0);
        let running = Running {
            done: Arc::default(),
            stop: Arc::default(),
            over: Arc::default(),
            ranked: Arc::default(),
            seen: 0,
        };
        let (done, stop, over, ranked) = (
            Arc::clone(&running.done),
            Arc::clone(&running.stop),
            Arc::clone(&running.over),
            Arc::clone(&running.ranked),
        );
        let seed = self.bench.seed;
        std::thread::spawn(move || {
            // One trial after another, so that a stop keeps what is done.
            for trial in trials {
                let Some(mut found) = crate::bench::compare::compare(
                    &model,
                    std::slice::from_ref(&trial),
                    RUNS,
                    seed,
                    HandKind::Steady,
                    &done,
                    &stop,
                ) else {
                    break;
                };
                if let Ok(mut ranked) = ranked.lock() {
                    ranked.append(&mut found);
                    place(&mut ranked);
                }
            }
            over.store(true, Ordering::Relaxed);
        });
        self.comparing = Some(running);
    }

    pub(super) fn stop_compare(&mut self) {
        if let Some(running) = &self.comparing {
            running.stop.store(true, Ordering::Relaxed);
            self.compare.stopped = true;
        }
    }

    /// Looks how far the comparison is.
    pub(super) fn look_at_compare(&mut self) {
        let Some(running) = &mut self.comparing else {
            return;
        };
        let done = running.done.load(Ordering::Relaxed);
        let over = running.over.load(Ordering::Relaxed);
        if done == running.seen && !over {
            return;
        }
        running.seen = done;
        self.compare.done = usize::try_from(done).unwrap_or(usize::MAX);
        if let Ok(ranked) = running.ranked.lock() {
            self.compare.rows = ranked.iter().map(row).collect();
            self.compare.headline = headline(&ranked);
        }
        if over {
            self.compare.running = false;
            self.comparing = None;
        }
        self.dirty = true;
    }
}

fn row(ranked: &Ranked) -> CompareRow {
    let passes = ranked.trial.shares.len();
    CompareRow {
        order: ranked.trial.order_name.clone(),
        passes: u32::try_from(passes).unwrap_or(u32::MAX),
        scatter: ranked.scatter.mean,
        scatter_error: ranked.scatter.error,
        place: ranked.scatter.rank,
        tilt_um: ranked.tilt_mm.mean * 1000.0,
        tilt_place: ranked.tilt_mm.rank,
        lowest: if ranked.mean_kN > 0.0 {
            ranked.least_kN / ranked.mean_kN
        } else {
            0.0
        },
        pulls: u32::try_from(passes * ranked.trial.order.len()).unwrap_or(u32::MAX),
    }
}
