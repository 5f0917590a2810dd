//! Reads one joint: its keys once, then its stages for every combination of answers.

use evendraw_core::pattern::Point;

use super::compile::one_plan;
use super::keys::{front, groups, names, positions, shares, variants};
use super::{Answers, Joint, Variant};
use crate::plan::fault::Faults;
use crate::plan::guard::Instruments;
use crate::plan::place::point;
use crate::plan::tree::{Choice, Node, Place, Reader, Typed, texts_of};

/// Combinations of answers that one joint may have.
const COMBINATIONS_MAX: usize = 64;

/// A stage as it stands in the file, with the block around it.
pub(super) struct Written<'a> {
    pub(super) node: &'a Node,
    pub(super) name: Option<String>,
    pub(super) only: Vec<Typed>,
    pub(super) block: Option<usize>,
}

/// A block of stages.
pub(super) struct Block<'a> {
    pub(super) node: &'a Node,
    pub(super) name: Option<String>,
    pub(super) one_at_a_time: bool,
    pub(super) mock_up: bool,
}

/// Reads a joint. What is wrong goes to `faults`; a joint comes back when enough of it could be read.
pub(crate) fn read(
    node: &Node,
    number: u8,
    instruments: Instruments<'_>,
    faults: &mut Faults,
) -> Option<Joint> {
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
            &mut own,
            &mut joint,
            answers,
            &labels,
            &points,
            &written,
            &blocks,
            instruments,
            faults,
        );
        asked = own.into_asked();
        joint.plans.extend(plan);
    }
    reader.also_asked(&asked);
    reader.finish(faults, |_| None);
    (!joint.plans.is_empty() && id.is_some()).then_some(joint)
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

pub(super) fn choice(variants: &[Variant], answers: &Answers) -> Choice {
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
