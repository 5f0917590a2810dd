//! What joints say of each other: names, orders that depend on themselves, fasteners shared, tools that reach.
//!
//! Knows nothing of the state of the work.

use std::collections::BTreeMap;

use evendraw_core::procedure::{Prevailing, Procedure, StageKind};
use evendraw_core::unit::Torque;

use super::build::{Part, Tool};
use super::fault::Faults;
use super::joint::{Joint, JointPlan, Share};
use super::quantity::newton_meters;
use super::tree::{Place, closest};

pub(super) fn check(joints: &mut [Joint], tools: &[Tool], parts: &[Part], faults: &mut Faults) {
    ids(joints, faults);
    names(joints, faults);
    needs(joints, parts, faults);
    cycles(joints, faults);
    shares(joints, faults);
    for joint in joints.iter() {
        reach(joint, tools, faults);
        same_place(joint, faults);
        for plan in &joint.plans {
            super::plausible::ask(&joint.id, plan, faults);
            super::running::ask(&joint.id, plan, faults);
        }
        if let Some(plan) = joint.plans.first() {
            used_again(&joint.id, plan, faults);
        }
    }
}

/// A fastener that was turned by an angle may be stretched for good: whether it is used again is the maker's word, and a plan that
/// is silent about it is asked.
fn used_again(joint: &str, plan: &JointPlan, faults: &mut Faults) {
    let turn = plan
        .procedure
        .stages()
        .iter()
        .zip(&plan.stages)
        .find(|(stage, _)| matches!(stage.kind, StageKind::Turn { .. }) && !stage.mock_up);
    if let (Some((_, written)), false) = (turn, plan.says_reuse) {
        faults.warning(
            &written.place,
            format!("joint `{joint}` turns by an angle and says nothing of `reuse`"),
            "may a fastener turned like this be used again?",
            "reuse = \"replace-if-loosened\" where the document wants new ones, reuse = \"free\" where it allows the old ones",
        );
    }
}

fn ids(joints: &[Joint], faults: &mut Faults) {
    for (index, joint) in joints.iter().enumerate() {
        if joints[..index].iter().any(|other| other.id == joint.id) {
            faults.error(
                &joint.place,
                format!("two joints have the id `{}`", joint.id),
                "the second",
                "every joint its own id",
            );
        }
    }
}

fn names(joints: &[Joint], faults: &mut Faults) {
    let ids: Vec<&str> = joints.iter().map(|joint| joint.id.as_str()).collect();
    for joint in joints {
        for (key, list) in [("after", &joint.after), ("closes", &joint.closes)] {
            for name in list {
                if name.text == joint.id {
                    faults.error(
                        &name.place,
                        format!("joint `{}` stands in its own `{key}`", joint.id),
                        "here",
                        "name another joint",
                    );
                } else if !ids.contains(&name.text.as_str()) {
                    unknown(&name.text, &name.place, key, &ids, faults);
                }
            }
        }
    }
}

fn unknown(name: &str, place: &Place, key: &str, ids: &[&str], faults: &mut Faults) {
    faults.error(
        place,
        format!("`{key}` names a joint that does not exist: `{name}`"),
        "here",
        match closest(name, ids.iter().copied()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("joints: {}", ids.join(", ")),
        },
    );
}

fn needs(joints: &[Joint], parts: &[Part], faults: &mut Faults) {
    for joint in joints {
        for need in &joint.needs {
            if parts.iter().any(|part| part.name == need.text) {
                continue;
            }
            let known = parts.iter().map(|part| part.name.as_str());
            if let Some(near) = closest(&need.text, known) {
                faults.warning(
                    &need.place,
                    format!("part `{}` is not listed; `{near}` is", need.text),
                    "here",
                    "write it as it is listed if that is meant",
                );
            }
        }
    }
    for part in parts {
        let needed = joints
            .iter()
            .any(|joint| joint.needs.iter().any(|need| need.text == part.name));
        if !needed {
            faults.warning(
                &part.place,
                format!("no joint needs the part `{}`", part.name),
                "here",
                "name it in the `needs` of its joint, or take it out",
            );
        }
    }
}

/// A joint that, by `after` and `closes`, would have to be final before itself.
fn cycles(joints: &[Joint], faults: &mut Faults) {
    let index: BTreeMap<&str, usize> = joints
        .iter()
        .enumerate()
        .map(|(index, joint)| (joint.id.as_str(), index))
        .collect();
    // before[j]: joints that must be final before j, with the word and place that say so.
    let mut before: Vec<Vec<(usize, &'static str, &Place)>> = vec![Vec::new(); joints.len()];
    for (own, joint) in joints.iter().enumerate() {
        for name in &joint.after {
            if let Some(&other) = index.get(name.text.as_str()) {
                before[own].push((other, "comes after", &name.place));
            }
        }
        for name in &joint.closes {
            if let Some(&other) = index.get(name.text.as_str()) {
                before[own].push((other, "closes over", &name.place));
            }
        }
    }
    // 0 not seen, 1 on the way, 2 done.
    let mut seen = vec![0_u8; joints.len()];
    for start in 0..joints.len() {
        let mut way: Vec<(usize, usize)> = vec![(start, 0)];
        if seen[start] != 0 {
            continue;
        }
        seen[start] = 1;
        while let Some((joint, edge)) = way.pop() {
            let Some(&(next, _, place)) = before[joint].get(edge) else {
                seen[joint] = 2;
                continue;
            };
            way.push((joint, edge + 1));
            match seen[next] {
                0 => {
                    seen[next] = 1;
                    way.push((next, 0));
                }
                1 if next != joint => {
                    let from = way
                        .iter()
                        .position(|&(on_way, _)| on_way == next)
                        .unwrap_or(0);
                    let words: Vec<String> = way[from..]
                        .iter()
                        .map(|&(on_way, edge)| {
                            let (other, word, _) = before[on_way][edge - 1];
                            format!("`{}` {word} `{}`", joints[on_way].id, joints[other].id)
                        })
                        .collect();
                    faults.error(
                        place,
                        format!("joints wait for each other: {}", words.join(", ")),
                        "this closes the ring",
                        "one of them must be able to come first",
                    );
                }
                _ => {}
            }
        }
    }
}

/// Every share must exist on the other side; it is then known on both.
fn shares(joints: &mut [Joint], faults: &mut Faults) {
    let ids: Vec<&str> = joints.iter().map(|joint| joint.id.as_str()).collect();
    let mut mirrored: Vec<(usize, Share)> = Vec::new();
    for joint in joints.iter() {
        for share in &joint.shares {
            let Some(there) = joints.iter().position(|other| other.id == share.joint) else {
                unknown(&share.joint, &share.place, "shares", &ids, faults);
                continue;
            };
            let other = &joints[there];
            if other.id == joint.id {
                faults.error(
                    &share.place,
                    format!("joint `{}` shares a fastener with itself", joint.id),
                    "here",
                    "name another joint",
                );
                continue;
            }
            let Some(fastener) = other.fastener(&share.label) else {
                let labels = other.positions.iter().map(|place| place.label.as_str());
                faults.error(
                    &share.place,
                    format!("joint `{}` has no fastener `{}`", other.id, share.label),
                    "here",
                    match closest(&share.label, labels.clone()) {
                        Some(near) => format!("did you mean `{}/{near}`?", other.id),
                        None => format!("its fasteners: {}", labels.collect::<Vec<_>>().join(", ")),
                    },
                );
                continue;
            };
            let label = joint.label(share.fastener).to_owned();
            let back = other
                .shares
                .iter()
                .find(|back| back.fastener == fastener && back.joint == joint.id);
            match back {
                Some(back) if back.label == label => {}
                Some(back) => faults.error(
                    &share.place,
                    format!(
                        "`{}/{label}` is said to be `{}/{}`, and that to be `{}/{}`",
                        joint.id, share.joint, share.label, joint.id, back.label
                    ),
                    "here",
                    "the two sides of a shared fastener must name each other",
                ),
                None => mirrored.push((
                    there,
                    Share {
                        fastener,
                        joint: joint.id.clone(),
                        label,
                        place: share.place.clone(),
                    },
                )),
            }
        }
    }
    for (there, share) in mirrored {
        joints[there].shares.push(share);
    }
}

/// A stage that no tool of the plan reaches.
fn reach(joint: &Joint, tools: &[Tool], faults: &mut Faults) {
    for plan in &joint.plans {
        for (number, (stage, written)) in
            (0_u8..).zip(plan.procedure.stages().iter().zip(&plan.stages))
        {
            for name in &written.tools {
                if !tools.iter().any(|tool| tool.id == *name) {
                    faults.error(
                        &written.place,
                        format!("`tool` of stage {} is not listed: `{name}`", written.number),
                        "here",
                        match closest(name, tools.iter().map(|tool| tool.id.as_str())) {
                            Some(near) => format!("did you mean `{near}`?"),
                            None => "list it as [[tool]]".to_owned(),
                        },
                    );
                }
            }
            let Some(torque) = greatest(&stage.kind) else {
                continue;
            };
            let torque = torque + running_at(&plan.procedure, number);
            let usable: Vec<&Tool> = tools
                .iter()
                .filter(|tool| written.tools.is_empty() || written.tools.contains(&tool.id))
                .collect();
            if usable.is_empty() || usable.iter().any(|tool| tool.reaches(torque)) {
                continue;
            }
            let ranges: Vec<String> = usable
                .iter()
                .map(|tool| {
                    format!(
                        "{} from {} to {}",
                        tool.id,
                        newton_meters(tool.lowest),
                        newton_meters(tool.capacity)
                    )
                })
                .collect();
            faults.warning(
                &written.place,
                format!(
                    "no tool reaches {} of stage {} of joint `{}`",
                    newton_meters(torque),
                    written.number,
                    joint.id
                ),
                "here",
                format!("tools: {}", ranges.join("; ")),
            );
        }
    }
}

/// The running torque that the plan gives for a stage, where it gives one.
fn running_at(procedure: &Procedure, stage: u8) -> Torque {
    (0_u16..)
        .zip(procedure.steps())
        .filter(|(_, step)| step.stage() == stage)
        .find_map(|(index, _)| match procedure.prevailing(index) {
            Prevailing::Given(torque) => Some(torque),
            _ => None,
        })
        .unwrap_or(Torque::ZERO)
}

/// The torque that a tool must reach for a stage, without a running torque.
fn greatest(kind: &StageKind) -> Option<Torque> {
    match *kind {
        StageKind::Tighten { window, .. }
        | StageKind::Repeat { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. } => Some(window.target),
        StageKind::Hold { torque, .. } => Some(torque),
        StageKind::Turn {
            torque: Some(window),
            ..
        } => Some(if window.max < Torque::MAX {
            window.max
        } else {
            window.target
        }),
        _ => None,
    }
}

/// Two fasteners drawn at one place, unless they are the two ends of one stud.
fn same_place(joint: &Joint, faults: &mut Faults) {
    let paired = |a: u8, b: u8| {
        joint.plans.iter().any(|plan| {
            plan.stages.iter().any(|stage| {
                stage
                    .together
                    .iter()
                    .any(|&(one, other)| (one, other) == (a, b) || (one, other) == (b, a))
            })
        })
    };
    let place = |index: u8| {
        let position = &joint.positions[usize::from(index)];
        (position.x_mm, position.y_mm)
    };
    let count = u8::try_from(joint.positions.len()).unwrap_or(u8::MAX);
    for b in 0..count {
        for a in 0..b {
            if place(a) == place(b) && !paired(a, b) {
                faults.warning(
                    &joint.place,
                    format!(
                        "fasteners `{}` and `{}` of joint `{}` sit at the same place",
                        joint.label(a),
                        joint.label(b),
                        joint.id
                    ),
                    "here",
                    "give each its own place, or pair the ends of a stud with `together`",
                );
            }
        }
    }
}
