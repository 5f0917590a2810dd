//! Compiles one joint under one set of answers: stages, steps, overrides, terms.

use evendraw_core::limits::{MOMENTS_MAX, STAGES_MAX};
use evendraw_core::pattern::Point;
use evendraw_core::procedure::{
    Fastener, Override, Parts, Prevailing, Procedure, ProcedureError, Stage,
};
use evendraw_core::text::Label;
use evendraw_core::unit::Angle;

use super::keys::{access, terms};
use super::metal::Metal;
use super::read::{Block, Written, choice};
use super::steps::{Run, in_order, steps};
use super::watched;
use super::{About, Answers, Joint, JointPlan, Name, Question};
use crate::plan::guard::Instruments;
use crate::plan::place::{Order, arrange, neighbours};
use crate::plan::stage::{self, Around, Pass, Read, StagePlan};
use crate::plan::tree::{Choice, Node, Place, Reader, Value};

/// A joint's head, read once, and its stages as they stand in the file.
pub(super) struct Frame<'a> {
    pub(super) joint: &'a Joint,
    pub(super) place: &'a Place<'a>,
    pub(super) labels: &'a [String],
    pub(super) points: &'a [Point],
    pub(super) written: &'a [Written<'a>],
    pub(super) blocks: &'a [Block<'a>],
    pub(super) instruments: Instruments<'a>,
    /// Whether every position could be read: else no order can be taken over them.
    pub(super) is_placed: bool,
}

/// A joint compiled, and the fasteners that a second person must look at.
pub(super) struct Compiled {
    pub(super) plan: JointPlan,
    pub(super) second_look: Vec<u8>,
}

/// The joint's own order: how, and which fastener after which.
struct Base {
    order: Order,
    list: Vec<u8>,
}

/// What a block says for its stages: order, fasteners, pairs.
struct BlockOrder {
    order: Option<Order>,
    on: Option<Vec<u8>>,
    together: Vec<(u8, u8)>,
}

/// The stages that these answers leave, as they were read.
struct Reads<'a> {
    list: Vec<(Read, &'a Written<'a>, u8)>,
    /// Limits of the sum of angles that stages give.
    sums: Vec<Angle>,
    /// Whether all of them could be read.
    is_whole: bool,
}

/// The stages as the core takes them, beside their words.
#[derive(Default)]
struct Stages {
    stages: Vec<Stage>,
    plans: Vec<StagePlan>,
    overrides: Vec<Override>,
    checks: Vec<Question>,
}

impl<'a> Frame<'a> {
    /// Compiles the joint. `reader` reads its keys under these answers.
    pub(super) fn under(&self, answers: Answers, reader: &mut Reader<'_>) -> Option<Compiled> {
        let errors_before = self.place.to.errors();
        let choice = choice(&self.joint.variants, &answers);
        let effective = self.effective(&choice)?;
        let names = self.stage_names(&effective);
        let mut moments = Vec::new();
        let mut around = Around {
            joint: &self.joint.id,
            labels: self.labels,
            groups: &self.joint.groups,
            names: &names,
            effective: &effective,
            choice: &choice,
            together: &[],
            prevailing: None,
            moments: &mut moments,
            is_broken: false,
        };
        let order = self.order(reader, &around);
        let together = stage::together(reader, &around);
        around.together = &together;
        let base = self.base(order, &together, reader);
        let second_look = second_look(reader, &around, &base.list);
        let metal = Metal::read(reader, &self.joint.id);
        let access = access(reader);
        let mut terms = terms(reader, metal.condition.is_some(), self.instruments.has_any);
        let prevailing = reader.text("prevailing");
        around.prevailing = prevailing.as_ref();
        let reads = self.reads(&mut around, &effective, &base.order)?;
        let moments = self.few_moments(around.moments)?;
        if let Some(typed) = &prevailing
            && reads.is_whole
            && !reads
                .list
                .iter()
                .any(|(read, ..)| read.plan.word == "tighten")
        {
            typed.place.error(
                format!(
                    "joint `{}` has a running torque and no `tighten` stage that it comes under",
                    self.joint.id
                ),
                "here",
                "add the stage, or leave `prevailing` out",
            );
        }
        let places = self.places(&reads.list, &base.list, errors_before);
        if !reads.is_whole {
            return None;
        }
        terms.angle_sum_max = reads.sums.first().copied().or(terms.angle_sum_max);
        let questions = questions(&self.joint.needs, metal.condition.as_deref(), &moments);
        let Stages {
            mut stages,
            mut plans,
            mut overrides,
            checks,
        } = self.stages(reads.list, &places);
        if stages.is_empty() {
            self.place.error(
                format!("joint `{}` has no stage under these answers", self.joint.id),
                "here",
                "at least one stage must be left",
            );
            return None;
        }
        self.instruments
            .draw_in(&mut stages, &mut overrides, &mut plans, self.place.to);
        watched::expect(&mut terms.limits, self.joint, &metal, &stages);
        if self.place.to.errors() > errors_before {
            // The core would only say again what is said already.
            return None;
        }
        let procedure = Procedure::new(&Parts {
            fasteners: &fasteners(self.labels, self.points),
            stages: &stages,
            steps: &steps(&runs(&plans, &places)),
            overrides: &overrides,
            terms,
        });
        let procedure = match procedure {
            Ok(procedure) => procedure,
            Err(error) => {
                self.refused(&error, &plans);
                return None;
            }
        };
        carry_running(&procedure, &mut plans);
        let plan = JointPlan {
            answers,
            procedure,
            stages: plans,
            order: base.order,
            base: base.list,
            moments,
            questions: questions.into_iter().chain(checks).collect(),
            access,
            says_reuse: reader.has("reuse"),
            thread: metal.thread,
            class: metal.class,
            grade: metal.grade,
            grip: metal.grip,
            grip_mm: metal.grip_mm,
            condition: metal.condition,
            thread_size: metal.thread_size,
            strength: metal.strength,
        };
        Some(Compiled { plan, second_look })
    }

    /// The number of each written stage in the procedure; none for one that the answers leave out.
    fn effective(&self, choice: &Choice) -> Option<Vec<Option<u8>>> {
        let mut numbers = 0_u8..=u8::MAX;
        let mut count = 0_usize;
        let mut list = Vec::with_capacity(self.written.len());
        for stage in self.written {
            for answer in &stage.only {
                if choice.known.contains(&answer.text) {
                    continue;
                }
                let known = choice.known.iter().map(String::as_str);
                answer.place.error(
                    format!("`{}` is no answer of this joint's variants", answer.text),
                    "here",
                    match answer.place.to.closest(&answer.text, known) {
                        Some(near) => format!("did you mean `{near}`?"),
                        None if choice.known.is_empty() => {
                            "`only` needs a [[joint.variant]] that asks".to_owned()
                        }
                        None => format!("answers: {}", choice.known.join(", ")),
                    },
                );
            }
            let is_done = stage.only.is_empty()
                || stage
                    .only
                    .iter()
                    .any(|answer| choice.in_force.contains(&answer.text));
            count = count.saturating_add(usize::from(is_done));
            list.push(is_done.then(|| numbers.next()).flatten());
        }
        if count > STAGES_MAX {
            self.place.error(
                format!(
                    "joint `{}` has {count} stages: more than the {STAGES_MAX} allowed",
                    self.joint.id
                ),
                "here",
                "split it into two joints, one after the other",
            );
            return None;
        }
        Some(list)
    }

    /// The names of stages with their written number, from 1. Of two under different answers the one in force counts.
    fn stage_names(&self, effective: &[Option<u8>]) -> Vec<(String, usize)> {
        let mut names: Vec<(String, usize)> = Vec::new();
        for ((number, stage), effective) in (1_usize..).zip(self.written).zip(effective) {
            let Some(name) = &stage.name else { continue };
            let is_known = names.iter().any(|(other, _)| other == name);
            if is_known && stage.only.is_empty() {
                stage.node.place.error(
                    format!("two stages of joint `{}` are named `{name}`", self.joint.id),
                    "the second",
                    "another name",
                );
            }
            if effective.is_some() || !is_known {
                names.retain(|(other, _)| other != name);
                names.push((name.clone(), number));
            }
        }
        names
    }

    /// The joint's own order, which must name every fastener and cannot be the reverse of anything.
    fn order(&self, reader: &mut Reader<'_>, around: &Around<'_>) -> Order {
        let errors_before = self.place.to.errors();
        let order = stage::order(reader, around).unwrap_or(Order::Listed);
        if order == Order::Reverse {
            reader.key_place("order").error(
                format!(
                    "joint `{}` has nothing that `reverse` could turn round",
                    self.joint.id
                ),
                "here",
                "reverse is for a stage or block: it turns the joint's own order round",
            );
        }
        // A name that is unknown was told; what it was meant for is not missing besides.
        if self.place.to.errors() == errors_before {
            self.complete(&order, &reader.key_place("order"));
        }
        order
    }

    /// A list given as a joint's order must name every fastener.
    fn complete(&self, order: &Order, place: &Place<'_>) {
        let Order::Own(list) = order else { return };
        let missing: Vec<&str> = (0_u8..=u8::MAX)
            .zip(self.labels)
            .filter(|(index, _)| !list.contains(index))
            .map(|(_, label)| label.as_str())
            .collect();
        if !missing.is_empty() {
            place.error(
                format!(
                    "the order of joint `{}` leaves out {}",
                    self.joint.id,
                    missing.join(", ")
                ),
                "here",
                "name every fastener once",
            );
        }
    }

    /// The fasteners in the joint's own order; as written where they have no such order.
    fn base(&self, order: Order, together: &[(u8, u8)], reader: &Reader<'_>) -> Base {
        let list = arrange(&order, self.points)
            .and_then(|base| in_order(None, None, self.points, &base, together))
            .unwrap_or_else(|error| {
                if self.is_placed {
                    reader.key_place("order").error(
                        format!(
                            "order `{}` of joint `{}`: {error}",
                            order.word(),
                            self.joint.id
                        ),
                        "here",
                        "another order, or a list of labels",
                    );
                }
                (0..=u8::MAX).take(self.points.len()).collect()
            });
        Base { order, list }
    }

    /// Order, fasteners and pairs of each block.
    fn block_orders(&self, around: &Around<'_>) -> Option<Vec<BlockOrder>> {
        (1_usize..)
            .zip(self.blocks)
            .map(|(number, block)| {
                let of = format!("block {number} of joint `{}`", self.joint.id);
                let mut own = Reader::of_node(of, block.node, around.choice)?;
                Some(BlockOrder {
                    order: stage::order(&mut own, around),
                    on: stage::places(&mut own, "on", around),
                    together: stage::together(&mut own, around),
                })
            })
            .collect()
    }

    /// Reads the stages that the answers leave.
    fn reads(
        &self,
        around: &mut Around<'_>,
        effective: &[Option<u8>],
        order: &Order,
    ) -> Option<Reads<'a>> {
        let block_orders = self.block_orders(around)?;
        let mut reads = Reads {
            list: Vec::new(),
            sums: Vec::new(),
            is_whole: true,
        };
        let mut pass: Option<Pass> = None;
        for ((number, stage), effective) in (1_usize..).zip(self.written).zip(effective) {
            let Some(effective) = *effective else {
                continue;
            };
            let Some(mut read) = stage::read(stage.node, number, around, pass.as_ref()) else {
                reads.is_whole = false;
                around.is_broken = true;
                continue;
            };
            if let Some(at) = stage.block
                && let (Some(block), Some(own)) = (self.blocks.get(at), block_orders.get(at))
            {
                in_block(&mut read, at, block, own, &stage.node.place);
            }
            if *order == Order::Any && read.plan.order.is_none() {
                read.stage.any_order = true;
            }
            reads.sums.extend(read.sum_max);
            if read.pass.is_some() {
                pass.clone_from(&read.pass);
            }
            reads.list.push((read, stage, effective));
        }
        // Two answers may name one limit; two limits cannot both hold.
        if let [first, rest @ ..] = reads.sums.as_slice()
            && rest.iter().any(|other| other != first)
        {
            self.place.error(
                format!(
                    "joint `{}` gives two limits for the sum of angles",
                    self.joint.id
                ),
                "here",
                "sum_max holds for all turn stages together: give it once",
            );
        }
        Some(reads)
    }

    /// The moments that stages wait for, if there are no more than a joint may have.
    fn few_moments(&self, moments: &mut Vec<String>) -> Option<Vec<String>> {
        if moments.len() > MOMENTS_MAX {
            self.place.error(
                format!(
                    "joint `{}` waits for {} moments: more than the {MOMENTS_MAX} allowed",
                    self.joint.id,
                    moments.len()
                ),
                "here",
                "split it into two joints, one after the other",
            );
            return None;
        }
        Some(std::mem::take(moments))
    }

    /// The fasteners of each stage in the order of work; none of a stage for the whole joint.
    fn places(
        &self,
        reads: &[(Read, &Written<'_>, u8)],
        base: &[u8],
        errors_before: usize,
    ) -> Vec<Vec<u8>> {
        let place_of = |(read, written, _): &(Read, &Written<'_>, u8)| {
            if read.whole_joint {
                return Vec::new();
            }
            let place = &written.node.place;
            let on = match (&read.on, &read.plan.order) {
                (None, Some(Order::Own(list))) => Some(list.as_slice()),
                (on, _) => on.as_deref(),
            };
            if place.to.errors() == errors_before
                && let (Some(own @ Order::Own(list)), Some(on)) = (&read.plan.order, on)
                && !same_set(list, on)
            {
                place.error(
                    format!(
                        "the {} order of stage {} names other fasteners than `on`",
                        own.word(),
                        read.plan.word
                    ),
                    "here",
                    "leave out `on`: the list says which",
                );
            }
            let order = read.plan.order.as_ref();
            in_order(order, on, self.points, base, &read.plan.together).unwrap_or_else(|error| {
                if self.is_placed {
                    place.error(
                        format!("order of this `{}`: {error}", read.plan.word),
                        "here",
                        "another order, or a list of labels",
                    );
                }
                base.to_vec()
            })
        };
        reads.iter().map(place_of).collect()
    }

    /// The stages as the core takes them, beside their words.
    fn stages(&self, reads: Vec<(Read, &Written<'_>, u8)>, places: &[Vec<u8>]) -> Stages {
        let mut done = Stages::default();
        for ((read, written, number), places) in reads.into_iter().zip(places) {
            let stray = read
                .overrides
                .iter()
                .find(|(fastener, _)| !places.contains(fastener))
                .filter(|_| read.plan.word != "repeat");
            if let Some((fastener, _)) = stray {
                let label = self
                    .labels
                    .get(usize::from(*fastener))
                    .map_or("", String::as_str);
                written.node.place.error(
                    format!("`each` gives a target for `{label}`, which this stage is not `on`"),
                    "here",
                    "take it out, or put the fastener into `on`",
                );
            }
            done.overrides
                .extend(stage::overrides_of(&read, number, places));
            let mut plan = read.plan;
            plan.number = number.saturating_add(1);
            plan.places.clone_from(places);
            plan.key = plan
                .name
                .clone()
                .unwrap_or_else(|| format!("stage-{}", plan.number));
            plan.line = self.place.to.line(&plan.place);
            if plan.word == "check" {
                done.checks.push(Question {
                    key: plan.key.clone(),
                    text: plan.ask.clone().unwrap_or_default(),
                    about: About::Check(number),
                });
            }
            done.stages.push(read.stage);
            done.plans.push(plan);
        }
        done
    }

    /// What the core refused, at the place in the file that it came from.
    fn refused(&self, error: &ProcedureError, plans: &[StagePlan]) {
        let of_stage = |stage: u8| {
            plans.get(usize::from(stage)).map_or_else(
                || self.place.clone(),
                |plan| Place::new(plan.place.clone(), self.place.to),
            )
        };
        match *error {
            ProcedureError::Limits { stage, why } => {
                of_stage(stage).error(why.to_string(), "here", "");
            }
            ProcedureError::Scattered { stage } => {
                of_stage(stage).error(error.to_string(), "here", "");
            }
            _ => self.place.error(error.to_string(), "here", ""),
        }
    }
}

/// The fasteners that a second person must look at.
fn second_look(reader: &mut Reader<'_>, around: &Around<'_>, base: &[u8]) -> Vec<u8> {
    match reader.value("second_look") {
        Some(Node {
            value: Value::Flag(all),
            ..
        }) => match all {
            true => base.to_vec(),
            false => Vec::new(),
        },
        Some(_) => stage::places(reader, "second_look", around).unwrap_or_default(),
        None => Vec::new(),
    }
}

/// Gives a stage what its block says.
fn in_block(read: &mut Read, at: usize, block: &Block<'_>, own: &BlockOrder, place: &Place<'_>) {
    if read.plan.order.is_none() {
        read.plan.order.clone_from(&own.order);
        read.stage.any_order |= own.order == Some(Order::Any);
    }
    if read.on.is_none() && !read.whole_joint {
        read.on.clone_from(&own.on);
    }
    if !own.together.is_empty() {
        read.plan.together.clone_from(&own.together);
    }
    read.stage.mock_up |= block.mock_up;
    read.plan.mock_up = read.stage.mock_up;
    read.plan.one_at_a_time = block.one_at_a_time;
    read.plan.block = u8::try_from(at)
        .ok()
        .map(|at| (at.saturating_add(1), block.name.clone()));
    if block.one_at_a_time && read.whole_joint {
        place.error(
            format!(
                "a `{}` for the whole joint stands in a block that finishes one fastener at a time",
                read.plan.word
            ),
            "here",
            "put it before or after the block, or write per = \"fastener\"",
        );
    }
    if block.one_at_a_time && read.plan.word == "repeat" {
        place.error(
            "a repeated pass goes round the joint: it cannot stand in a block that finishes one fastener at a time",
            "here",
            "put it after the block",
        );
    }
}

fn same_set(one: &[u8], other: &[u8]) -> bool {
    let (mut one, mut other) = (one.to_vec(), other.to_vec());
    one.sort_unstable();
    other.sort_unstable();
    one == other
}

/// The stages as runs: pass by pass, or fastener by fastener through a block.
fn runs<'p>(plans: &[StagePlan], places: &'p [Vec<u8>]) -> Vec<Run<'p>> {
    let mut runs: Vec<Run<'p>> = Vec::new();
    let mut open: Option<u8> = None;
    for ((index, plan), places) in (0_u8..=u8::MAX).zip(plans).zip(places) {
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
    runs
}

fn fasteners(labels: &[String], points: &[Point]) -> Vec<Fastener> {
    labels
        .iter()
        .zip(neighbours(points))
        .map(|(label, near)| Fastener {
            label: Label::cut(label),
            near,
        })
        .collect()
}

/// Stages to which an earlier one's running torque is carried say so in its words.
fn carry_running(procedure: &Procedure, plans: &mut [StagePlan]) {
    let mut last: Option<String> = None;
    for (stage, plan) in (0..=u8::MAX).zip(plans) {
        if plan.prevailing.is_some() {
            last.clone_from(&plan.prevailing);
            continue;
        }
        let is_carried = procedure.numbered_steps().any(|(step, at)| {
            at.stage() == stage && procedure.prevailing(step) != Prevailing::None
        });
        if is_carried {
            plan.prevailing.clone_from(&last);
        }
    }
}

fn questions(needs: &[Name], condition: Option<&str>, moments: &[String]) -> Vec<Question> {
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
            text: format!("Are the threads as the plan says: {condition}?"),
            about: About::Condition,
        });
    }
    for (number, moment) in (0_u8..=u8::MAX).zip(moments) {
        list.push(Question {
            key: moment.clone(),
            text: format!("Say when: {moment}"),
            about: About::Moment(number),
        });
    }
    list
}
