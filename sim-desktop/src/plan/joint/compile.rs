//! Compiles one joint under one set of answers: stages, steps, overrides, terms.

use evendraw_core::limits::{MOMENTS_MAX, STAGES_MAX};
use evendraw_core::pattern::Point;
use evendraw_core::procedure::{
    Fastener, Override, Parts, Prevailing, Procedure, ProcedureError, Stage, StageKind,
};
use evendraw_core::text::Label;
use evendraw_core::unit::Angle;

use super::keys::{access, metal, nut, terms};
use super::printed_for;
use super::read::{Block, Written, choice};
use super::steps::{Run, in_order, steps};
use super::{About, Answers, Joint, JointPlan, Name, Question};
use crate::bench::Interface;
use crate::plan::fault::Faults;
use crate::plan::guard::Instruments;
use crate::plan::place::{Order, arrange, neighbours};
use crate::plan::quantity::millimetres;
use crate::plan::rise;
use crate::plan::stage::{self, Around, Pass, Read, StagePlan};
use crate::plan::tree::{Node, Place, Reader, Typed, Value, closest};

/// What a block says for its stages: order, fasteners, pairs.
type BlockOrder = (Option<Order>, Option<Vec<u8>>, Vec<(u8, u8)>);

#[expect(
    clippy::too_many_arguments,
    reason = "one call, and each is a different part of the joint"
)]
pub(super) fn one_plan(
    reader: &mut Reader<'_>,
    joint: &mut Joint,
    answers: Answers,
    labels: &[String],
    points: &[Point],
    written: &[Written<'_>],
    blocks: &[Block<'_>],
    instruments: Instruments<'_>,
    faults: &mut Faults,
) -> Option<JointPlan> {
    let errors_before = faults.errors();
    let choice = choice(&joint.variants, &answers);
    let mut effective = Vec::with_capacity(written.len());
    let mut count = 0_usize;
    for stage in written {
        for answer in &stage.only {
            if !choice.known.contains(&answer.text) {
                faults.error(
                    &answer.place,
                    format!("`{}` is no answer of this joint's variants", answer.text),
                    "here",
                    match closest(&answer.text, choice.known.iter().map(String::as_str)) {
                        Some(near) => format!("did you mean `{near}`?"),
                        None if choice.known.is_empty() => {
                            "`only` needs a [[joint.variant]] that asks".to_owned()
                        }
                        None => format!("answers: {}", choice.known.join(", ")),
                    },
                );
            }
        }
        let done = stage.only.is_empty()
            || stage
                .only
                .iter()
                .any(|answer| choice.in_force.contains(&answer.text));
        effective.push(if done {
            count += 1;
            u8::try_from(count - 1).ok()
        } else {
            None
        });
    }
    if count > STAGES_MAX {
        faults.error(
            &joint.place,
            format!(
                "joint `{}` has {count} stages: more than the {STAGES_MAX} allowed",
                joint.id
            ),
            "here",
            "split it into two joints, one after the other",
        );
        return None;
    }
    let mut stage_names: Vec<(String, usize)> = Vec::new();
    for (index, stage) in written.iter().enumerate() {
        if let Some(name) = &stage.name {
            if stage_names.iter().any(|(other, _)| other == name) && stage.only.is_empty() {
                faults.error(
                    &stage.node.place,
                    format!("two stages of joint `{}` are named `{name}`", joint.id),
                    "the second",
                    "another name",
                );
            }
            if effective[index].is_some() || !stage_names.iter().any(|(other, _)| other == name) {
                stage_names.retain(|(other, _)| other != name);
                stage_names.push((name.clone(), index + 1));
            }
        }
    }
    let mut moments = Vec::new();
    let id = joint.id.clone();
    let mut around = Around {
        joint: &id,
        labels,
        groups: &joint.groups,
        names: &stage_names,
        effective: &effective,
        choice: &choice,
        together: &[],
        prevailing: None,
        moments: &mut moments,
    };
    let order = stage::order(reader, &around, faults).unwrap_or(Order::Listed);
    let together = stage::together(reader, &around, faults);
    around.together = &together;
    if order == Order::Reverse {
        faults.error(
            &reader.key_place("order"),
            format!("joint `{id}` has nothing that `reverse` could turn round"),
            "here",
            "reverse is for a stage or block: it turns the joint's own order round",
        );
    }
    complete(&order, labels, &reader.key_place("order"), &id, faults);
    let base = arrange(&order, points)
        .and_then(|base| in_order(None, None, points, &base, &together))
        .unwrap_or_else(|error| {
            faults.error(
                &reader.key_place("order"),
                format!("order `{}` of joint `{id}`: {error}", order.word()),
                "here",
                "another order, or a list of labels",
            );
            (0..u8::try_from(points.len()).unwrap_or(u8::MAX)).collect()
        });
    let witness = match reader.value("witness", faults) {
        Some(Node {
            value: Value::Flag(all),
            ..
        }) => {
            if *all {
                base.clone()
            } else {
                Vec::new()
            }
        }
        Some(_) => stage::places(reader, "witness", &around, faults).unwrap_or_default(),
        None => Vec::new(),
    };
    let thread = reader.text("thread", faults);
    let class = reader.text("class", faults);
    let grade = reader.text("grade", faults);
    if let (Some(_), Some(grade)) = (&class, &grade) {
        faults.error(
            &grade.place,
            format!("joint `{id}` has both a class and a grade"),
            "the second",
            "class is for metric fasteners, grade for inch ones: leave out one",
        );
    }
    let (thread_size, strength) = metal(&thread, &class, &grade, faults);
    nut(reader, thread_size.as_ref(), strength.as_ref(), faults);
    let grip = reader.text("grip", faults);
    let grip_mm = grip.as_ref().and_then(|typed| millimetres(typed, faults));
    let condition = reader.text("condition", faults);
    let printed_for = reader.text("printed_for", faults);
    printed_for::ask(&id, printed_for.as_ref(), condition.as_ref(), faults);
    let access = access(reader, faults);
    let says_reuse = reader.has("reuse");
    let terms = terms(reader, &condition, !instruments.tools.is_empty(), faults);

    let prevailing = reader.text("prevailing", faults);
    around.prevailing = prevailing.as_ref();

    let mut reads: Vec<(Read, usize)> = Vec::new();
    let mut pass: Option<Pass> = None;
    let mut block_order: Vec<BlockOrder> = Vec::new();
    for (index, block) in blocks.iter().enumerate() {
        let of = format!("block {} of joint `{id}`", index + 1);
        let mut own = Reader::of_node(of, block.node, &choice, faults)?;
        let order = stage::order(&mut own, &around, faults);
        let on = stage::places(&mut own, "on", &around, faults);
        let pairs = stage::together(&mut own, &around, faults);
        block_order.push((order, on, pairs));
    }
    let mut sound = true;
    let mut sums: Vec<Angle> = Vec::new();
    for (index, stage) in written.iter().enumerate() {
        if effective[index].is_none() {
            continue;
        }
        let Some(mut read) = stage::read(stage.node, index + 1, &mut around, pass.as_ref(), faults)
        else {
            sound = false;
            continue;
        };
        if let Some(block) = stage.block {
            let (order, on, pairs) = &block_order[block];
            if read.plan.order.is_none() {
                read.plan.order.clone_from(order);
                read.stage.any_order |= *order == Some(Order::Any);
            }
            if read.on.is_none() && !read.whole_joint {
                read.on.clone_from(on);
            }
            if !pairs.is_empty() {
                read.plan.together.clone_from(pairs);
            }
            read.stage.mock_up |= blocks[block].mock_up;
            read.plan.mock_up = read.stage.mock_up;
            read.plan.one_at_a_time = blocks[block].one_at_a_time;
            read.plan.block = u8::try_from(block + 1)
                .ok()
                .map(|number| (number, blocks[block].name.clone()));
            if blocks[block].one_at_a_time && read.whole_joint {
                faults.error(
                    &stage.node.place,
                    format!(
                        "a `{}` for the whole joint stands in a block that finishes one fastener at a time",
                        read.plan.word
                    ),
                    "here",
                    "put it before or after the block, or write per = \"fastener\"",
                );
            }
            if blocks[block].one_at_a_time && read.plan.word == "repeat" {
                faults.error(
                    &stage.node.place,
                    "a repeated pass goes round the joint: it cannot stand in a block that finishes one fastener at a time",
                    "here",
                    "put it after the block",
                );
            }
        }
        if order == Order::Any && read.plan.order.is_none() {
            read.stage.any_order = true;
        }
        sums.extend(read.sum_max);
        if read.pass.is_some() {
            pass.clone_from(&read.pass);
        }
        reads.push((read, index));
    }
    if let Some(typed) = &prevailing
        && !reads.iter().any(|(read, _)| read.plan.word == "tighten")
    {
        faults.error(
            &typed.place,
            format!("joint `{id}` has a running torque and no `tighten` stage that it comes under"),
            "here",
            "add the stage, or leave `prevailing` out",
        );
    }
    // Two answers may name one limit; two limits cannot both hold.
    if let [first, rest @ ..] = sums.as_slice()
        && rest.iter().any(|other| other != first)
    {
        faults.error(
            &joint.place,
            format!("joint `{id}` gives two limits for the sum of angles"),
            "here",
            "sum_max holds for all turn stages together: give it once",
        );
    }
    if around.moments.len() > MOMENTS_MAX {
        faults.error(
            &joint.place,
            format!(
                "joint `{id}` waits for {} moments: more than the {MOMENTS_MAX} allowed",
                around.moments.len()
            ),
            "here",
            "split it into two joints, one after the other",
        );
        return None;
    }
    let moments = std::mem::take(around.moments);
    let places: Vec<Vec<u8>> = reads
        .iter()
        .map(|(read, _)| {
            if read.whole_joint {
                return Vec::new();
            }
            if let (Some(own @ Order::Own(list)), Some(on)) = (&read.plan.order, &read.on) {
                let mut wanted = on.clone();
                let mut given = list.clone();
                wanted.sort_unstable();
                given.sort_unstable();
                if wanted != given {
                    faults.error(
                        &read.plan.place,
                        format!(
                            "the {} order of stage {} names other fasteners than `on`",
                            own.word(),
                            read.plan.word
                        ),
                        "here",
                        "leave out `on`: the list says which",
                    );
                }
            }
            let on = match (&read.on, &read.plan.order) {
                (None, Some(Order::Own(list))) => Some(list.as_slice()),
                (on, _) => on.as_deref(),
            };
            in_order(
                read.plan.order.as_ref(),
                on,
                points,
                &base,
                &read.plan.together,
            )
            .unwrap_or_else(|error| {
                faults.error(
                    &read.plan.place,
                    format!("order of this `{}`: {error}", read.plan.word),
                    "here",
                    "another order, or a list of labels",
                );
                base.clone()
            })
        })
        .collect();
    let mut overrides: Vec<Override> = Vec::new();
    let mut stages: Vec<Stage> = Vec::new();
    let mut plans: Vec<StagePlan> = Vec::new();
    let mut questions = questions(&joint.needs, condition.as_ref(), &moments);
    for ((read, index), places) in reads.into_iter().zip(&places) {
        let stage = effective[index].unwrap_or_default();
        if let Some((fastener, _)) = read
            .overrides
            .iter()
            .find(|(fastener, _)| !places.contains(fastener))
            .filter(|_| read.plan.word != "repeat")
        {
            let label = labels
                .get(usize::from(*fastener))
                .map_or("", String::as_str);
            faults.error(
                &read.plan.place,
                format!("`each` gives a target for `{label}`, which this stage is not `on`"),
                "here",
                "take it out, or put the fastener into `on`",
            );
        }
        overrides.extend(stage::overrides_of(&read, stage, places));
        let mut plan = read.plan;
        plan.number = stage + 1;
        plan.places.clone_from(places);
        plan.key = plan
            .name
            .clone()
            .unwrap_or_else(|| format!("stage-{}", plan.number));
        plan.line = faults.line(&plan.place);
        if plan.word == "check" {
            questions.push(Question {
                key: plan.key.clone(),
                text: plan.ask.clone().unwrap_or_default(),
                about: About::Check(stage),
            });
        }
        stages.push(read.stage);
        plans.push(plan);
    }
    if !sound || stages.is_empty() {
        if sound {
            faults.error(
                &joint.place,
                format!("joint `{id}` has no stage under these answers"),
                "here",
                "at least one stage must be left",
            );
        }
        return None;
    }
    instruments.draw_in(&mut stages, &mut overrides, &mut plans, faults);
    let mut runs: Vec<Run<'_>> = Vec::new();
    let mut open: Option<u8> = None;
    for ((index, plan), places) in (0_u8..).zip(&plans).zip(&places) {
        let block = plan
            .block
            .as_ref()
            .filter(|_| plan.one_at_a_time)
            .map(|(number, _)| *number);
        match (runs.last_mut(), block) {
            (Some(Run::OneAtATime(list)), Some(number)) if open == Some(number) => {
                list.push((index, places));
            }
            (_, Some(number)) => {
                open = Some(number);
                runs.push(Run::OneAtATime(vec![(index, places)]));
            }
            (_, None) => {
                open = None;
                runs.push(if places.is_empty() {
                    Run::Joint(index)
                } else {
                    Run::Pass(index, places)
                });
            }
        }
    }
    let near = neighbours(points);
    let fasteners: Vec<Fastener> = labels
        .iter()
        .zip(near)
        .map(|(label, near)| Fastener {
            label: Label::cut(label),
            near,
        })
        .collect();
    let mut terms = terms;
    if let (Some(thread), Some(grip_mm)) = (&thread_size, grip_mm) {
        let below = Interface::from_parts(joint.needs.iter().map(|part| part.text.as_str()));
        let condition = condition.as_ref().map(|typed| typed.text.as_str());
        if let Some((least, most)) = rise::bounds(thread, grip_mm, condition, below) {
            terms.watch.gradient_min = least;
            terms.watch.gradient_max = most;
            terms.watch.turn_rise = least;
        }
    }
    if let (Some(thread), Some(strength)) = (&thread_size, &strength) {
        let condition = condition.as_ref().map(|typed| typed.text.as_str());
        let from = rise::yields_from(thread, strength, condition);
        if let Some(torque) = most_torque(&stages) {
            rise::near_yield(&mut terms.watch, f64::from(torque) / from);
        }
    }
    terms.angle_sum_max = sums.first().copied().or(terms.angle_sum_max);
    let steps = steps(&runs);
    let parts = Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &overrides,
        terms,
    };
    if faults.errors() > errors_before {
        // The core would only say again what is said already.
        return None;
    }
    let procedure = match Procedure::new(&parts) {
        Ok(procedure) => procedure,
        Err(error) => {
            refused(&error, &joint.place, &plans, faults);
            return None;
        }
    };
    if joint.line == 0 {
        joint.line = faults.line(&joint.place);
    }
    joint.witness = witness;
    carry_running(&procedure, &mut plans);
    Some(JointPlan {
        answers,
        procedure,
        stages: plans,
        thread_size,
        strength,
        says_reuse,
        thread: thread.map(|typed| typed.text),
        class: class.map(|typed| typed.text),
        grade: grade.map(|typed| typed.text),
        grip: grip.map(|typed| typed.text),
        grip_mm,
        condition: condition.map(|typed| typed.text),
        order,
        base,
        moments,
        questions,
        access,
    })
}

/// Stages to which an earlier one's running torque is carried say so in its words.
fn carry_running(procedure: &Procedure, plans: &mut [StagePlan]) {
    let mut last: Option<String> = None;
    for (stage, plan) in (0_u8..).zip(plans) {
        if plan.prevailing.is_some() {
            last.clone_from(&plan.prevailing);
            continue;
        }
        let mut steps = (0_u16..).zip(procedure.steps());
        if steps
            .any(|(step, at)| at.stage() == stage && procedure.prevailing(step) != Prevailing::None)
        {
            plan.prevailing.clone_from(&last);
        }
    }
}

/// A list given as a joint's order must name every fastener.
fn complete(order: &Order, labels: &[String], place: &Place, joint: &str, faults: &mut Faults) {
    let Order::Own(list) = order else { return };
    let missing: Vec<&str> = (0_u8..)
        .zip(labels)
        .filter(|(index, _)| !list.contains(index))
        .map(|(_, label)| label.as_str())
        .collect();
    if !missing.is_empty() {
        faults.error(
            place,
            format!(
                "the order of joint `{joint}` leaves out {}",
                missing.join(", ")
            ),
            "here",
            "name every fastener once",
        );
    }
}

/// What the core refused, at the place in the file that it came from.
fn refused(error: &ProcedureError, joint: &Place, plans: &[StagePlan], faults: &mut Faults) {
    let (place, what) = match *error {
        ProcedureError::Limits { stage, why } => (
            plans
                .get(usize::from(stage))
                .map_or(joint, |plan| &plan.place),
            why.to_owned(),
        ),
        ProcedureError::Scattered { stage } => (
            plans
                .get(usize::from(stage))
                .map_or(joint, |plan| &plan.place),
            error.to_string(),
        ),
        _ => (joint, error.to_string()),
    };
    faults.error(place, what, "here", "");
}

fn questions(needs: &[Name], condition: Option<&Typed>, moments: &[String]) -> Vec<Question> {
    let mut list: Vec<Question> = needs
        .iter()
        .map(|part| Question {
            key: part.text.clone(),
            text: format!("Is this at hand: {}?", part.text),
            about: About::Part,
        })
        .collect();
    if let Some(condition) = condition {
        list.push(Question {
            key: "condition".to_owned(),
            text: format!("Are the threads as the plan says: {}?", condition.text),
            about: About::Condition,
        });
    }
    for (number, moment) in (0_u8..).zip(moments) {
        list.push(Question {
            key: moment.clone(),
            text: format!("Say when: {moment}"),
            about: About::Moment(number),
        });
    }
    list
}

/// The greatest torque, in mN·m, that a stage before the first turn tightens to; none where nothing is turned by angle.
fn most_torque(stages: &[Stage]) -> Option<i32> {
    let turn = stages
        .iter()
        .position(|stage| matches!(stage.kind, StageKind::Turn { .. }))?;
    let torques = stages
        .iter()
        .take(turn)
        .filter_map(|stage| match stage.kind {
            StageKind::Tighten { window, .. } => Some(window.target.millinewton_meters()),
            _ => None,
        });
    torques.max()
}
