//! Reads one joint: its keys once, then its stages for every combination of answers.

use evendraw_core::limits::{FASTENERS_MAX, LABEL_MAX, MOMENTS_MAX, STAGES_MAX};
use evendraw_core::pattern::Point;
use evendraw_core::procedure::{
    Fastener, Hand, Override, Parts, Procedure, ProcedureError, Redo, Reuse, Stage, Terms,
};
use evendraw_core::text::Label;
use evendraw_core::unit::Angle;
use evendraw_core::watch::Watch;

use super::steps::{Run, in_order, steps};
use super::{About, Access, Answers, Joint, JointPlan, Name, Question, Share, Variant};
use crate::mechanics::{Strength, Thread};
use crate::plan::fault::Faults;
use crate::plan::place::{Order, Position, arrange, neighbours, point};
use crate::plan::quantity::{self, bearing_deg, millimetres, rate};
use crate::plan::stage::{self, Around, Pass, Read, StagePlan, fasteners_named};
use crate::plan::tree::{
    Choice, Node, Place, Reader, Typed, Value, closest, label_of, text_of, texts_of,
};

/// Combinations of answers that one joint may have.
const COMBINATIONS_MAX: usize = 64;

/// A stage as it stands in the file, with the block around it.
struct Written<'a> {
    node: &'a Node,
    name: Option<String>,
    only: Vec<Typed>,
    block: Option<usize>,
}

/// A block of stages.
struct Block<'a> {
    node: &'a Node,
    name: Option<String>,
    one_at_a_time: bool,
    mock_up: bool,
}

/// What a block says for its stages: order, fasteners, pairs.
type BlockOrder = (Option<Order>, Option<Vec<u8>>, Vec<(u8, u8)>);

/// Reads a joint. What is wrong goes to `faults`; a joint comes back when enough of it could be read.
pub(crate) fn read(node: &Node, number: u8, has_tools: bool, faults: &mut Faults) -> Option<Joint> {
    let silent = Choice::default();
    let of = format!("joint {}", u16::from(number) + 1);
    let mut reader = Reader::of_node(of, node, &silent, faults)?;
    let id = reader.needed_text("id", faults);
    let id_text = id.as_ref().map_or_else(
        || format!("{}", u16::from(number) + 1),
        |id| id.text.clone(),
    );
    reader.of = format!("joint `{id_text}`");
    if let Some(id) = &id
        && id.text.contains(['/', ' '])
    {
        faults.error(
            &id.place,
            format!("id `{}` has a stroke or a space in it", id.text),
            "here",
            "letters, digits, - and _: the id is what commands and shares name",
        );
    }
    let title = reader.text("title", faults);
    let note = reader.text("note", faults);
    let (positions, labels) = positions(&mut reader, &id_text, faults)?;
    let groups = groups(&mut reader, &labels, &id_text, faults);
    let front = front(&mut reader, faults);
    let after = names(&mut reader, "after", faults);
    let closes = names(&mut reader, "closes", faults);
    let needs = names(&mut reader, "needs", faults);
    let shares = shares(&mut reader, &labels, &id_text, faults);
    let variants = variants(&mut reader, faults);
    let (written, blocks) = written(&mut reader, &id_text, &silent, faults);
    if written.is_empty() {
        faults.error(
            &node.place,
            format!("joint `{id_text}` has no stage"),
            "here",
            "add at least one [[joint.stage]]",
        );
        return None;
    }

    let points: Vec<Point> = positions
        .iter()
        .map(|position| point(position.x_mm, position.y_mm))
        .collect();
    let mut joint = Joint {
        title: title.map_or_else(|| id_text.clone(), |title| title.text),
        id: id_text,
        number,
        note: note.map(|note| note.text),
        positions,
        groups,
        front,
        after,
        closes,
        needs,
        shares,
        witness: Vec::new(),
        variants,
        plans: Vec::new(),
        line: 0,
        place: node.place.clone(),
    };
    let mut asked = Vec::new();
    for answers in combinations(&joint.variants, &node.place, faults) {
        let choice = choice(&joint.variants, &answers);
        let mut own = Reader::of_node(reader.of.clone(), node, &choice, faults)?;
        let plan = one_plan(
            &mut own, &mut joint, answers, &labels, &points, &written, &blocks, has_tools, faults,
        );
        asked = own.into_asked();
        joint.plans.extend(plan);
    }
    reader.also_asked(&asked);
    reader.finish(faults, |_| None);
    (!joint.plans.is_empty() && id.is_some()).then_some(joint)
}

fn positions(
    reader: &mut Reader<'_>,
    joint: &str,
    faults: &mut Faults,
) -> Option<(Vec<Position>, Vec<String>)> {
    let list = match (reader.raw("positions"), reader.raw("circle")) {
        (Some(node), None) => listed_positions(node, joint, faults)?,
        (None, Some(node)) => circle(node, joint, faults)?,
        (Some(_), Some(circle)) => {
            faults.error(
                &circle.place,
                format!("joint `{joint}` has both `positions` and `circle`"),
                "the second",
                "leave out one",
            );
            return None;
        }
        (None, None) => {
            faults.error(
                &reader.place,
                format!("joint `{joint}` does not say where its fasteners sit"),
                "it is missing here",
                "add positions = { 1 = [0, 0], 2 = [90, 0] } in mm, or circle = { number = 8, diameter = \"180 mm\" }",
            );
            return None;
        }
    };
    let place = reader.key_place(if reader.has("circle") {
        "circle"
    } else {
        "positions"
    });
    if list.is_empty() {
        faults.error(
            &place,
            format!("joint `{joint}` has no fastener"),
            "here",
            "at least one position: { 1 = [0, 0] }",
        );
        return None;
    }
    if list.len() > FASTENERS_MAX {
        faults.error(
            &place,
            format!(
                "joint `{joint}` has {} fasteners: more than the {FASTENERS_MAX} allowed",
                list.len()
            ),
            "here",
            "split it into two joints, one after the other",
        );
        return None;
    }
    let labels = list.iter().map(|position| position.label.clone()).collect();
    Some((list, labels))
}

fn listed_positions(node: &Node, joint: &str, faults: &mut Faults) -> Option<Vec<Position>> {
    let Value::Table(entries) = &node.value else {
        faults.error(
            &node.place,
            format!("`positions` of joint `{joint}` is {}", node.value.word()),
            "here",
            "a place for each label, in mm: { 1 = [0, 0], 2 = [90, 0] }",
        );
        return None;
    };
    let mut list: Vec<Position> = Vec::new();
    for (key, value) in entries {
        if key.text.len() > LABEL_MAX || key.text.is_empty() {
            faults.error(
                &key.place,
                format!("label `{}` has {} bytes", key.text, key.text.len()),
                "here",
                format!("1 to {LABEL_MAX} bytes"),
            );
        }
        let place = match &value.value {
            Value::List(pair) => match pair.as_slice() {
                [x, y] => coordinate(x, faults).zip(coordinate(y, faults)),
                _ => {
                    faults.error(
                        &value.place,
                        format!("position `{}` has {} numbers", key.text, pair.len()),
                        "here",
                        "two: to the right and upwards, in mm",
                    );
                    None
                }
            },
            other => {
                faults.error(
                    &value.place,
                    format!("position `{}` is {}", key.text, other.word()),
                    "here",
                    "two numbers in mm: [90, 0]",
                );
                None
            }
        };
        let (x_mm, y_mm) = place.unwrap_or((0.0, 0.0));
        list.push(Position {
            label: key.text.clone(),
            x_mm,
            y_mm,
        });
    }
    Some(list)
}

/// A number in mm, or a length with its unit.
fn coordinate(node: &Node, faults: &mut Faults) -> Option<f64> {
    let number = match &node.value {
        Value::Whole(number) => number.to_string().parse().ok(),
        Value::Decimal(number) => number.replace('_', "").parse().ok(),
        Value::Text(text) => {
            let typed = Typed {
                text: text.clone(),
                place: node.place.clone(),
            };
            return millimetres(&typed, faults);
        }
        _ => None,
    };
    match number {
        Some(number) if f64::abs(number) <= 100_000.0 => Some(number),
        _ => {
            faults.error(
                &node.place,
                "a position is not a number it can be",
                "here",
                "mm from -100000 to 100000, or a length with its unit in quotes",
            );
            None
        }
    }
}

/// So many fasteners on a circle, the first at the top, on clockwise, labelled from 1.
fn circle(node: &Node, joint: &str, faults: &mut Faults) -> Option<Vec<Position>> {
    let silent = Choice::default();
    let mut reader = Reader::of_node(
        format!("`circle` of joint `{joint}`"),
        node,
        &silent,
        faults,
    )?;
    let allowed = u32::try_from(FASTENERS_MAX).unwrap_or(64) + 1;
    if !reader.has("number") {
        reader.missing("number", faults);
    }
    let number = reader.whole("number", 1..allowed, faults);
    let diameter = reader
        .needed_text("diameter", faults)
        .and_then(|typed| millimetres(&typed, faults));
    let first = match reader.text("first_at", faults) {
        Some(typed) => bearing_deg(&typed, faults)?,
        None => 0.0,
    };
    reader.finish(faults, |_| None);
    let (number, diameter) = (number?, diameter?);
    let list = (0..number)
        .map(|index| {
            let turned = (f64::from(index) * 360.0 / f64::from(number) + first).to_radians();
            let rounded = |value: f64| (value * 1_000.0).round() / 1_000.0 + 0.0;
            Position {
                label: (index + 1).to_string(),
                x_mm: rounded(turned.sin() * diameter / 2.0),
                y_mm: rounded(turned.cos() * diameter / 2.0),
            }
        })
        .collect();
    Some(list)
}

fn groups(
    reader: &mut Reader<'_>,
    labels: &[String],
    joint: &str,
    faults: &mut Faults,
) -> Vec<(String, Vec<u8>)> {
    let Some(node) = reader.raw("groups") else {
        return Vec::new();
    };
    let Value::Table(entries) = &node.value else {
        faults.error(
            &node.place,
            format!("`groups` of joint `{joint}` is {}", node.value.word()),
            "here",
            "name lists of labels: { inner = [\"1\", \"2\"] }",
        );
        return Vec::new();
    };
    let mut list: Vec<(String, Vec<u8>)> = Vec::new();
    for (key, value) in entries {
        if labels.contains(&key.text) {
            faults.error(
                &key.place,
                format!("group `{}` is named like a fastener", key.text),
                "here",
                "another name",
            );
        }
        let mut own = Vec::new();
        for name in texts_of(value, &format!("group `{}`", key.text), faults) {
            own.extend(fasteners_named(&name, labels, &list, joint, faults).unwrap_or_default());
        }
        own.dedup();
        list.push((key.text.clone(), own));
    }
    list
}

fn front(reader: &mut Reader<'_>, faults: &mut Faults) -> Option<String> {
    let typed = reader.text("front", faults)?;
    if matches!(typed.text.as_str(), "left" | "right" | "top" | "bottom") {
        Some(typed.text)
    } else {
        faults.error(
            &typed.place,
            format!("unknown side `{}`", typed.text),
            "here",
            "front = \"left\", \"right\", \"top\" or \"bottom\": the edge of the map that FRONT is written at",
        );
        None
    }
}

fn names(reader: &mut Reader<'_>, key: &'static str, faults: &mut Faults) -> Vec<Name> {
    reader
        .texts(key, faults)
        .into_iter()
        .map(|typed| Name {
            text: typed.text,
            place: typed.place,
        })
        .collect()
}

fn shares(
    reader: &mut Reader<'_>,
    labels: &[String],
    joint: &str,
    faults: &mut Faults,
) -> Vec<Share> {
    let Some(node) = reader.raw("shares") else {
        return Vec::new();
    };
    let Value::Table(entries) = &node.value else {
        faults.error(
            &node.place,
            format!("`shares` of joint `{joint}` is {}", node.value.word()),
            "here",
            "own label = other joint/label: { 3 = \"bracket/1\" }",
        );
        return Vec::new();
    };
    let mut list = Vec::new();
    for (key, value) in entries {
        let own = Typed {
            text: key.text.clone(),
            place: key.place.clone(),
        };
        let fastener = fasteners_named(&own, labels, &[], joint, faults);
        let of = format!("`shares` of joint `{joint}`");
        let Some(other) = text_of(value, &of, faults) else {
            continue;
        };
        let Some((there, label)) = other.text.split_once('/') else {
            faults.error(
                &other.place,
                format!("`{}` names no fastener of another joint", other.text),
                "here",
                "joint id, stroke, label: \"bracket/1\"",
            );
            continue;
        };
        if let Some([fastener]) = fastener.as_deref() {
            list.push(Share {
                fastener: *fastener,
                joint: there.to_owned(),
                label: label.to_owned(),
                place: other.place.clone(),
            });
        }
    }
    list
}

fn variants(reader: &mut Reader<'_>, faults: &mut Faults) -> Vec<Variant> {
    let silent = Choice::default();
    let mut list: Vec<Variant> = Vec::new();
    for (index, node) in reader.tables("variant", faults).into_iter().enumerate() {
        let of = format!("variant {} of {}", index + 1, reader.of);
        let Some(mut own) = Reader::of_node(of, node, &silent, faults) else {
            continue;
        };
        let key = own.text("id", faults);
        let ask = own.needed_text("ask", faults);
        if !own.has("answers") {
            own.missing("answers", faults);
        }
        let answers = own.texts("answers", faults);
        let mut also = Vec::new();
        if let Some(Node {
            value: Value::Table(entries),
            ..
        }) = own.raw("also")
        {
            for (key, value) in entries {
                let Some(as_if) = text_of(value, "`also`", faults) else {
                    continue;
                };
                if !answers.iter().any(|answer| answer.text == as_if.text) {
                    faults.error(
                        &as_if.place,
                        format!("`{}` is none of the answers", as_if.text),
                        "here",
                        "a further answer takes the values of one of `answers`",
                    );
                }
                also.push((key.text.clone(), as_if.text));
            }
        }
        for (at, answer) in answers.iter().enumerate() {
            let twice = answers[..at].iter().any(|other| other.text == answer.text)
                || list
                    .iter()
                    .any(|other| other.allowed().any(|known| known == answer.text));
            if twice {
                faults.error(
                    &answer.place,
                    format!("answer `{}` stands twice in this joint", answer.text),
                    "the second",
                    "each answer of a joint in its own word, so that values can be written under it",
                );
            }
        }
        own.finish(faults, |_| None);
        let Some(ask) = ask else { continue };
        if answers.len() < 2 {
            faults.error(
                &node.place,
                format!("`{}` leaves no choice", ask.text),
                "here",
                "answers = [\"…\", \"…\"], two at least",
            );
            continue;
        }
        list.push(Variant {
            key: key.map_or_else(|| format!("variant-{}", index + 1), |key| key.text),
            ask: ask.text,
            answers: answers.into_iter().map(|answer| answer.text).collect(),
            also,
        });
    }
    list
}

/// Every combination of answers.
fn combinations(variants: &[Variant], place: &Place, faults: &mut Faults) -> Vec<Answers> {
    let mut list = vec![Answers::new()];
    for variant in variants {
        let answers: Vec<&str> = variant.allowed().collect();
        if list.len() * answers.len() > COMBINATIONS_MAX {
            faults.error(
                place,
                format!(
                    "the answers of this joint combine in {} ways",
                    list.len() * answers.len()
                ),
                "here",
                format!("at most {COMBINATIONS_MAX}: split the joint"),
            );
            break;
        }
        list = list
            .iter()
            .flat_map(|base| {
                answers
                    .iter()
                    .map(|&answer| base.clone().with(variant.key.clone(), answer))
            })
            .collect();
    }
    list
}

fn choice(variants: &[Variant], answers: &Answers) -> Choice {
    let mut choice = Choice::default();
    for variant in variants {
        choice.known.extend(variant.allowed().map(str::to_owned));
        let Some(given) = answers.answer(&variant.key) else {
            continue;
        };
        choice.in_force.push(given.to_owned());
        if let Some((_, as_if)) = variant.also.iter().find(|(answer, _)| answer == given) {
            choice.in_force.push(as_if.clone());
        }
    }
    choice
}

/// The stages and blocks in the order of the file.
fn written<'a>(
    reader: &mut Reader<'a>,
    joint: &str,
    silent: &'a Choice,
    faults: &mut Faults,
) -> (Vec<Written<'a>>, Vec<Block<'a>>) {
    let mut blocks = Vec::new();
    let mut stages: Vec<Written<'a>> = Vec::new();
    let peek = |node: &'a Node, block: Option<usize>, faults: &mut Faults| {
        let mut own = Reader::of_node("a stage", node, silent, faults)?;
        let name = own.text("name", faults).map(|name| name.text);
        let only = own
            .raw("only")
            .map(|node| texts_of(node, "`only`", faults))
            .unwrap_or_default();
        Some(Written {
            node,
            name,
            only,
            block,
        })
    };
    for node in reader.tables("stage", faults) {
        stages.extend(peek(node, None, faults));
    }
    for (index, node) in reader.tables("block", faults).into_iter().enumerate() {
        let of = format!("block {} of joint `{joint}`", index + 1);
        let Some(mut own) = Reader::of_node(of, node, silent, faults) else {
            continue;
        };
        let name = own.text("name", faults).map(|name| name.text);
        let one_at_a_time = own.flag("one_at_a_time", faults).unwrap_or(false);
        let mock_up = own.flag("mock_up", faults).unwrap_or(false);
        // Read with the joint's labels later on.
        let _ = (own.raw("on"), own.raw("order"), own.raw("together"));
        let inside = own.tables("stage", faults);
        if inside.is_empty() {
            faults.error(
                &node.place,
                format!("block {} of joint `{joint}` has no stage", index + 1),
                "here",
                "add at least one [[joint.block.stage]]",
            );
        }
        for stage in inside {
            stages.extend(peek(stage, Some(blocks.len()), faults));
        }
        own.finish(faults, |_| None);
        blocks.push(Block {
            node,
            name,
            one_at_a_time,
            mock_up,
        });
    }
    stages.sort_by_key(|stage| stage.node.place.start);
    (stages, blocks)
}

#[expect(
    clippy::too_many_arguments,
    reason = "one call, and each is a different part of the joint"
)]
fn one_plan(
    reader: &mut Reader<'_>,
    joint: &mut Joint,
    answers: Answers,
    labels: &[String],
    points: &[Point],
    written: &[Written<'_>],
    blocks: &[Block<'_>],
    has_tools: bool,
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
    let grip = reader.text("grip", faults);
    let grip_mm = grip.as_ref().and_then(|typed| millimetres(typed, faults));
    let condition = reader.text("condition", faults);
    let access = access(reader, faults);
    let terms = terms(reader, &condition, has_tools, faults);

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
    Some(JointPlan {
        answers,
        procedure,
        stages: plans,
        thread_size,
        strength,
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

/// The thread and strength that the words mean.
fn metal(
    thread: &Option<Typed>,
    class: &Option<Typed>,
    grade: &Option<Typed>,
    faults: &mut Faults,
) -> (Option<Thread>, Option<Strength>) {
    let mut refused = |typed: &Typed, error: String| {
        let (what, allowed) = error.split_once("; ").unwrap_or((&error, ""));
        faults.error(&typed.place, what, "here", allowed);
    };
    let thread = thread
        .as_ref()
        .and_then(|typed| match typed.text.parse::<Thread>() {
            Ok(thread) => Some(thread),
            Err(error) => {
                refused(typed, error.to_string());
                None
            }
        });
    // Without a thread the name alone is looked at; the sizes that a class exists in are not.
    let diameter = thread.as_ref().map_or(10.0, |thread| thread.major_mm);
    let read = match (class, grade) {
        (Some(typed), _) => Some((typed, Strength::property_class(&typed.text, diameter))),
        (None, Some(typed)) => Some((typed, Strength::grade(&typed.text, diameter))),
        (None, None) => None,
    };
    let strength = read.and_then(|(typed, read)| match read {
        Ok(strength) => Some(strength),
        Err(error) => {
            refused(typed, error.to_string());
            None
        }
    });
    (thread, strength)
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

fn access(reader: &mut Reader<'_>, faults: &mut Faults) -> Option<Access> {
    let silent = Choice::default();
    let node = reader.raw("access")?;
    let of = format!("`access` of {}", reader.of);
    let mut own = Reader::of_node(of, node, &silent, faults)?;
    let mut length = |key, faults: &mut Faults| {
        let typed = own.needed_text(key, faults)?;
        Some((millimetres(&typed, faults)?, typed.text))
    };
    let lever = length("lever", faults);
    let offset = length("offset", faults);
    let angle = match own.text("angle", faults) {
        Some(typed) => bearing_deg(&typed, faults).map(|angle| (angle, typed.text)),
        None => Some((0.0, "0°".to_owned())),
    };
    own.finish(faults, |_| None);
    Some(Access {
        lever: lever?,
        offset: offset?,
        angle: angle?,
    })
}

fn terms(
    reader: &mut Reader<'_>,
    condition: &Option<Typed>,
    has_tools: bool,
    faults: &mut Faults,
) -> Terms {
    let hand = match reader.text("hand", faults) {
        None => Hand::Right,
        Some(typed) => match typed.text.as_str() {
            "right" => Hand::Right,
            "left" => Hand::Left,
            other => {
                faults.error(
                    &typed.place,
                    format!("unknown hand `{other}`"),
                    "here",
                    "hand = \"right\" or \"left\"",
                );
                Hand::Right
            }
        },
    };
    let redo = match reader.text("redo", faults) {
        None => Redo::Fastener,
        Some(typed) => match typed.text.as_str() {
            "fastener" => Redo::Fastener,
            "neighbours" => Redo::Neighbours,
            "joint" => Redo::Joint,
            other => {
                faults.error(
                    &typed.place,
                    format!("unknown redo `{other}`"),
                    "here",
                    "what one disturbed fastener spoils: \"fastener\", \"neighbours\" or \"joint\"",
                );
                Redo::Fastener
            }
        },
    };
    let mut watch = Watch::default();
    if let Some(typed) = reader.text("snug", faults)
        && let Some(torque) = quantity::torque(&typed, faults)
    {
        watch.snug = torque;
    }
    if let Some(typed) = reader.text("train", faults)
        && let Some(rate) = rate(&typed, faults)
    {
        watch.train = rate;
    }
    let angle_sum_max = reader
        .text("sum_max", faults)
        .and_then(|typed| quantity::angle(&typed, faults));
    Terms {
        hand,
        redo,
        reuse: reuse(reader, faults),
        condition_stated: condition.is_some(),
        person_named: true,
        tool_named: has_tools,
        angle_sum_max,
        watch,
    }
}

fn reuse(reader: &mut Reader<'_>, faults: &mut Faults) -> Reuse {
    let allowed = "\"free\", \"replace-if-loosened\" or { cycles = 5 }";
    let Some(node) = reader.value("reuse", faults) else {
        return Reuse::Free;
    };
    match &node.value {
        Value::Text(text) if text == "free" => Reuse::Free,
        Value::Text(text) if text == "replace-if-loosened" => Reuse::ReplaceIfLoosened,
        Value::Table(_) => {
            let silent = Choice::default();
            let of = format!("`reuse` of {}", reader.of);
            let Some(mut own) = Reader::of_node(of, node, &silent, faults) else {
                return Reuse::Free;
            };
            if !own.has("cycles") {
                own.missing("cycles", faults);
            }
            let cycles = own.whole("cycles", 1..201, faults).unwrap_or(1);
            own.finish(faults, |_| None);
            Reuse::Cycles(u8::try_from(cycles).unwrap_or(1))
        }
        _ => {
            let of = format!("`reuse` of {}", reader.of);
            if let Some(typed) = label_of(node, &of, faults) {
                faults.error(
                    &typed.place,
                    format!("unknown reuse `{}`", typed.text),
                    "here",
                    allowed,
                );
            }
            Reuse::Free
        }
    }
}
