//! The flat list of steps: which fastener at which stage, in the order of work.
//!
//! Knows nothing of the file.

use evendraw_core::pattern::{PatternError, Point};
use evendraw_core::procedure::Step;

use crate::plan::place::{Order, arrange};

/// The fasteners of a stage in the order of work.
///
/// `on` is the subset in the order written, `base` the whole joint in its own order.
///
/// # Errors
/// [`PatternError`] when the subset has no such order.
pub(super) fn in_order(
    order: Option<&Order>,
    on: Option<&[u8]>,
    points: &[Point],
    base: &[u8],
    together: &[(u8, u8)],
) -> Result<Vec<u8>, PatternError> {
    let inside = |fastener: &u8| on.is_none_or(|on| on.contains(fastener));
    let list: Vec<u8> = match (order, on) {
        (None | Some(Order::Any), _) => base.iter().copied().filter(inside).collect(),
        (Some(Order::Reverse), _) => base.iter().rev().copied().filter(inside).collect(),
        (Some(Order::Listed), Some(on)) => on.to_vec(),
        (Some(Order::Own(list)), _) => list.clone(),
        (Some(order), Some(on)) => {
            let own: Vec<Point> = on
                .iter()
                .filter_map(|&fastener| points.get(usize::from(fastener)).copied())
                .collect();
            arrange(order, &own)?
                .iter()
                .filter_map(|&index| on.get(usize::from(index)).copied())
                .collect()
        }
        (Some(order), None) => arrange(order, points)?,
    };
    Ok(paired(list, together))
}

/// Moves the other end of a pair right behind the end that comes first.
fn paired(list: Vec<u8>, together: &[(u8, u8)]) -> Vec<u8> {
    let mut done: Vec<u8> = Vec::with_capacity(list.len());
    for &fastener in &list {
        if done.contains(&fastener) {
            continue;
        }
        done.push(fastener);
        let other = together.iter().find_map(|&(a, b)| {
            if a == fastener {
                Some(b)
            } else if b == fastener {
                Some(a)
            } else {
                None
            }
        });
        if let Some(other) = other.filter(|other| list.contains(other) && !done.contains(other)) {
            done.push(other);
        }
    }
    done
}

/// A stage, or a block whose fasteners are finished one at a time.
pub(super) enum Run<'a> {
    /// Round the joint with one stage.
    Pass(u8, &'a [u8]),
    /// The whole joint at once.
    Joint(u8),
    /// Fastener by fastener through these stages.
    OneAtATime(Vec<(u8, &'a [u8])>),
}

/// The steps of all runs.
pub(super) fn steps(runs: &[Run<'_>]) -> Vec<Step> {
    let mut list = Vec::new();
    for run in runs {
        match run {
            Run::Pass(stage, places) => {
                list.extend(places.iter().map(|&fastener| Step::on(fastener, *stage)));
            }
            Run::Joint(stage) => list.push(Step::joint(*stage)),
            Run::OneAtATime(stages) => {
                let mut seen: Vec<u8> = Vec::new();
                for &(_, places) in stages {
                    for &fastener in places {
                        if !seen.contains(&fastener) {
                            seen.push(fastener);
                        }
                    }
                }
                for fastener in seen {
                    list.extend(
                        stages
                            .iter()
                            .filter(|(_, places)| places.contains(&fastener))
                            .map(|&(stage, _)| Step::on(fastener, stage)),
                    );
                }
            }
        }
    }
    list
}
