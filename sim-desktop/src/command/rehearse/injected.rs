//! What was made wrong on purpose, whether the judge noticed, and what would notice it.
//!
//! Knows nothing of how a fault works.

use std::collections::BTreeMap;

use serde_json::json;

use super::super::{CommandError, Output};
use super::rounded;
use crate::bench::Fault;
use crate::job::Job;
use crate::peers::{self, Peer};
use crate::rehearsal::JointResult;
use crate::rehearsal::result::{Objection, mean};
use crate::words;

/// Share by which a fastener's load may differ from the others' mean before it is pointed at: what a torque wrench leaves open.
/// [±25 to 35 %: NSTS 08307 table]
const UNLIKE_MAX: f64 = 0.3;

/// The last lines of a rehearsal with faults.
pub(super) fn tell(
    job: &Job,
    faults: &[(u8, u8, Fault)],
    results: &BTreeMap<u8, JointResult>,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    if !faults.is_empty() {
        out.line("\nmade wrong on purpose:")?;
    }
    for &(number, fastener, fault) in faults {
        let Some(joint) = job.joint(number) else {
            continue;
        };
        let place = format!("{}/{}", joint.id(), joint.label(fastener));
        let Some(result) = results.get(&number) else {
            out.line(format_args!("  {place} {fault}: the joint was not worked"))?;
            continue;
        };
        let noticed = result
            .objections
            .iter()
            .find(|objection| objection.fastener == fastener && objection.is_of_the_metal());
        let peer = job
            .peers(number)
            .into_iter()
            .find(|peer| peer.unlike.fastener == fastener);
        one(
            joint,
            (fastener, fault),
            result,
            noticed,
            peer.as_ref(),
            out,
        )?;
        match noticed {
            Some(objection) => out.line(format_args!(
                "  {place} {fault}: NOTICED in stage {}: {}",
                u32::from(objection.stage) + 1,
                words::reasons(objection.reasons)
            ))?,
            None if let Some(peer) = &peer => out.line(format_args!(
                "  {place} {fault}: NOTICED BESIDE ITS PEERS at stage {}: {}",
                u32::from(peer.unlike.stage) + 1,
                peers::words(&peer.unlike)
            ))?,
            None if is_unreached(fastener, result) => {
                out.line(format_args!(
                    "  {place} {fault}: NOT REACHED: the joint was left before it was tightened"
                ))?;
                continue;
            }
            None => out.line(format_args!("  {place} {fault}: NOT NOTICED"))?,
        }
        let is_noticed = noticed.is_some() || peer.is_some();
        let after = if noticed.is_some() {
            "after what followed, "
        } else {
            ""
        };
        out.line(format_args!("    {after}{}", standing(fastener, result)))?;
        if !is_noticed {
            out.line(format_args!("    {}", fault.seen().words()))?;
            out.line(format_args!("    {}", uncompared(job, number, fastener)))?;
            out.line(format_args!("    what would: {}", fault.telling()))?;
        }
    }
    Ok(())
}

fn one(
    joint: &crate::plan::Joint,
    (fastener, fault): (u8, Fault),
    result: &JointResult,
    noticed: Option<&Objection>,
    peer: Option<&Peer>,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let (clamp, of_others, of_proof) = shares(fastener, result);
    out.object(&json!({
        "record": "fault",
        "joint": joint.id(),
        "fastener": joint.label(fastener),
        "fault": fault.name(),
        "reached": noticed.is_some() || peer.is_some() || !is_unreached(fastener, result),
        "noticed": noticed.is_some() || peer.is_some(),
        "stage": noticed.map(|objection| u32::from(objection.stage) + 1),
        "reasons": noticed.map(|objection| words::reasons(objection.reasons)),
        "unlike_peers": peer.is_some(),
        "what": peer.map(|peer| peers::key(peer.unlike.what)),
        "value": peer.map(|peer| f64::from(peer.unlike.value) / 1_000.0),
        "median": peer.map(|peer| f64::from(peer.unlike.median) / 1_000.0),
        "clamp_kN": clamp.map(|load| rounded(load, 1e3)),
        "of_others": of_others.map(|share| rounded(share, 1e3)),
        "of_proof": of_proof.map(|share| rounded(share, 1e3)),
        "outcome": fault.seen().words(),
        "what_would": fault.telling(),
    }))
}

/// What the comparison with its peers came to, where it did not tell.
fn uncompared(job: &Job, joint: u8, fastener: u8) -> &'static str {
    let is_compared = job.session(joint).is_some_and(|session| {
        (0_u8..)
            .zip(session.procedure().stages())
            .any(|(stage, _)| {
                session
                    .ledger()
                    .is_stage_settled(session.procedure(), stage)
                    && evendraw_core::peers::is_compared(
                        session.procedure(),
                        session.ledger(),
                        joint,
                        (fastener, stage),
                        job.sound(joint),
                    )
            })
    });
    if is_compared {
        "beside its peers it stayed within their usual scatter"
    } else {
        "it was not compared: that takes four like fasteners at one stage, all accepted"
    }
}

/// Whether the joint was left before this fastener held anything: then nothing can be said of it.
fn is_unreached(fastener: u8, result: &JointResult) -> bool {
    let holds = |&(which, load): &(u8, f64)| which == fastener && load > 0.0;
    result.stopped.is_some() && !result.clamps_kn.iter().any(holds)
}

/// Its clamp load, beside the mean of the others and its proof load. The others of a joint that was left say nothing.
fn shares(fastener: u8, result: &JointResult) -> (Option<f64>, Option<f64>, Option<f64>) {
    let clamp = result
        .clamps_kn
        .iter()
        .find(|(which, _)| *which == fastener)
        .map(|(_, load)| *load);
    let others: Vec<(u8, f64)> = result
        .clamps_kn
        .iter()
        .filter(|(which, _)| *which != fastener)
        .copied()
        .collect();
    let beside = Some(mean(&others)).filter(|mean| *mean > 0.0 && result.stopped.is_none());
    let share = |of: Option<f64>| Some(clamp? / of.filter(|of| *of > 0.0)?);
    (clamp, share(beside), share(result.proof_kn))
}

fn standing(fastener: u8, result: &JointResult) -> String {
    let (Some(clamp), of_others, of_proof) = shares(fastener, result) else {
        return "it is not tightened here".to_owned();
    };
    let percent = |share: f64| format!("{:.0} %", share * 100.0);
    let mut line = format!("it ends with {clamp:.1} kN");
    if let Some(share) = of_others {
        line.push_str(&format!(", {} of the others' mean", percent(share)));
    }
    if let Some(share) = of_proof {
        line.push_str(&format!(", {} of its proof load", percent(share)));
    }
    if of_others.is_some_and(|share| (share - 1.0).abs() > UNLIKE_MAX) {
        line.push_str(": UNLIKE the others");
    }
    line
}
