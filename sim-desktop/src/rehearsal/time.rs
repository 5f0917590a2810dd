//! How long a joint takes: rehearsed by a steady hand on the virtual bench, by itself, everything answered with yes.
//!
//! Knows nothing of what an evening is planned for.

use std::convert::Infallible;

use super::answers::Answers;
use super::{Options, Rehearsal};
use crate::job::Job;
use crate::job::status::Rehearsed;
use crate::plan::Plan;
use crate::store::Purpose;

/// How long these joints take; those that the bench cannot take, or that do not come to an end on it for another reason than a clock, are left
/// out.
#[must_use]
pub fn rehearsed(plan: &Plan, joints: &[u8]) -> Vec<Rehearsed> {
    joints
        .iter()
        .filter_map(|joint| one(plan, *joint))
        .collect()
}

fn one(plan: &Plan, joint: u8) -> Option<Rehearsed> {
    let mut job = Job::unkept(plan.clone(), Purpose::Rehearsal);
    job.work_alone(joint).ok()?;
    let answers = Answers::read(&[], plan, "steady hand").ok()?;
    let options = Options {
        seed: 1,
        ..Options::default()
    };
    let mut rehearsal = Rehearsal::new(job, options, answers);
    let result = rehearsal
        .work::<Infallible>(joint, &mut |_, _| Ok(()))
        .ok()?;
    // One that a clock ended says how long it took: that is what one wants to know before the evening.
    let is_too_late = result.windows.iter().any(|own| own.took_s > own.allowed_s);
    if result.stopped.is_some() && !is_too_late {
        return None;
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "simulated seconds, never negative"
    )]
    let seconds = result.seconds.round() as u64;
    let tightest = result.windows.iter().map(|own| (own.took_s, own.allowed_s));
    let spare = |own: &(u64, u64)| i128::from(own.1) - i128::from(own.0);
    Some(Rehearsed {
        joint,
        seconds,
        tightest: tightest.min_by_key(spare),
    })
}
