//! Reads one joint: its keys once, then its stages for every combination of answers.

use std::collections::BTreeSet;

use evendraw_core::pattern::Point;

use super::compile::Frame;
use super::keys::{front, groups, names, positions, shares, variants};
use super::picture::picture;
use super::{Answers, Joint, Variant};
use crate::limits::{
    BLOCKS_MAX, COMBINATIONS_MAX, ID_BYTES_MAX, PROCEDURES_MAX, STAGES_WRITTEN_MAX,
    WRITTEN_OUT_BYTES_MAX, counted,
};
use crate::plan::checked::{self, Source};
use crate::plan::guard::Instruments;
use crate::plan::place::point;
use crate::plan::tree::{Choice, Node, Place, Reader, Typed, Value, texts_of};

/// A stage as it stands in the file, with the block around it.
pub(super) struct Written<'a> {
    pub(super) node: &'a Node<'a>,
    pub(super) name: Option<String>,
    pub(super) only: Vec<Typed<'a>>,
    pub(super) block: Option<usize>,
}

/// A block of stages.
pub(super) struct Block<'a> {
    pub(super) node: &'a Node<'a>,
    pub(super) name: Option<String>,
    pub(super) one_at_a_time: bool,
    pub(super) mock_up: bool,
}

/// What is known of a joint by its head alone, whether or not the rest of it could be read: others may name it.
pub(in crate::plan) struct Head<'a> {
    pub(in crate::plan) id: Typed<'a>,
    node: &'a Node<'a>,
    number: u8,
    /// Bytes of the file from here to the next joint.
    length: usize,
}

/// What compiling may still take, over the whole build.
pub(in crate::plan) struct Room {
    procedures: usize,
    bytes: usize,
}

impl Room {
    pub(in crate::plan) const fn new() -> Self {
        Self {
            procedures: PROCEDURES_MAX,
            bytes: WRITTEN_OUT_BYTES_MAX,
        }
    }

    /// Takes the room for a joint under so many sets of answers; `None` where it is not there.
    fn take(&mut self, length: usize, ways: usize) -> Option<()> {
        self.procedures = self.procedures.checked_sub(ways)?;
        self.bytes = self.bytes.checked_sub(length.saturating_mul(ways))?;
        Some(())
    }
}

impl<'a> Head<'a> {
    /// The heads of all joints. One without an id goes by its number.
    pub(in crate::plan) fn all(nodes: &[&'a Node<'a>], end: usize) -> Vec<Self> {
        let starts = nodes.iter().map(|node| node.place.bytes().start);
        let ends = starts.skip(1).chain([end]);
        (0_u8..=u8::MAX)
            .zip(nodes.iter().zip(ends))
            .map(|(number, (&node, end))| {
                let id = match &node.value {
                    Value::Table(entries) => entries
                        .iter()
                        .find(|(key, _)| key.text == "id")
                        .and_then(|(_, id)| match &id.value {
                            Value::Text(text) => Some((text.clone(), id.place.clone())),
                            _ => None,
                        }),
                    _ => None,
                };
                let (text, place) = id.unwrap_or_else(|| {
                    let number = u16::from(number).saturating_add(1);
                    (number.to_string(), node.place.clone())
                });
                Self {
                    id: Typed { text, place },
                    length: end.saturating_sub(node.place.bytes().start),
                    node,
                    number,
                }
            })
            .collect()
    }
}

/// The ids of all joints; one that stands twice is told.
pub(in crate::plan) fn ids<'h>(heads: &'h [Head<'_>]) -> BTreeSet<&'h str> {
    let mut ids = BTreeSet::new();
    for head in heads {
        if !ids.insert(head.id.text.as_str()) {
            head.node.place.error(
                format!("two joints have the id `{}`", head.id.text),
                "the second",
                "every joint its own id",
            );
        }
    }
    ids
}

/// Reads a joint; it comes back when enough of it could be read.
pub(in crate::plan) fn read(
    head: &Head<'_>,
    source: Source<'_>,
    instruments: Instruments<'_>,
    room: &mut Room,
) -> Option<Joint> {
    let node = head.node;
    let silent = Choice::default();
    let of = format!("joint {}", u16::from(head.number).saturating_add(1));
    let mut reader = Reader::of_node(of, node, &silent)?;
    let has_id = reader.needed_text("id").is_some_and(|id| is_an_id(&id));
    let id = head.id.text.clone();
    reader.of = format!("joint `{id}`");
    let title = reader.text("title");
    let note = reader.text("note");
    let document = reader.text("document").map(|typed| typed.text);
    let entered_by = reader.text("entered_by").map(|typed| typed.text);
    let _ = reader.raw("checked");
    let errors_before = node.place.to.errors();
    let (positions, labels) = positions(&mut reader, &id)?;
    let is_placed = node.place.to.errors() == errors_before;
    let groups = groups(&mut reader, &labels, &id);
    let front = front(&mut reader);
    let picture = picture(&mut reader, &id);
    let after = names(&mut reader, "after");
    let closes = names(&mut reader, "closes");
    let needs = names(&mut reader, "needs");
    let shares = shares(&mut reader, &labels, &id);
    let (variants, can_answer) = variants(&mut reader);
    let (written, blocks) = written(&mut reader, &id, &silent)?;
    let source = Source {
        document: document.as_deref().or(source.document),
        entered_by: entered_by.as_deref().or(source.entered_by),
    };
    let stages = written.iter().map(|stage| stage.node);
    let lines = checked::lines(node, &id, stages, source);
    let mut joint = Joint {
        title: title.map_or_else(|| id.clone(), |title| title.text),
        id,
        number: head.number,
        note: note.map(|note| note.text),
        positions,
        groups,
        front,
        picture,
        document,
        entered_by,
        lines,
        after,
        closes,
        needs,
        shares,
        second_look: Vec::new(),
        variants,
        plans: Vec::new(),
        line: node.place.to.line(&node.place.bytes()),
        place: node.place.bytes(),
    };
    if !can_answer {
        // Under answers that are wrong nothing of what follows could be said rightly.
        return None;
    }
    let points: Vec<Point> = joint
        .positions
        .iter()
        .map(|position| point(position.x_mm, position.y_mm))
        .collect();
    let mut asked = Vec::new();
    let mut done = Vec::new();
    let mut ways = combinations(&joint.variants, &node.place);
    if room.take(head.length, ways.len()).is_none() {
        node.place.error(
            format!(
                "the joints up to `{}` are too many or too long, each written out under each of its answers",
                joint.id
            ),
            "here",
            format!(
                "at most {} procedures and {} bytes: split the build into two plans",
                counted(PROCEDURES_MAX),
                counted(WRITTEN_OUT_BYTES_MAX)
            ),
        );
        ways.truncate(1);
    }
    for answers in ways {
        let choice = choice(&joint.variants, &answers);
        let mut own = Reader::of_node(reader.of.clone(), node, &choice)?;
        let frame = Frame {
            joint: &joint,
            place: &node.place,
            labels: &labels,
            points: &points,
            written: &written,
            blocks: &blocks,
            instruments,
            is_placed,
        };
        done.extend(frame.under(answers, &mut own));
        asked = own.into_asked();
    }
    reader.also_asked(&asked);
    reader.finish(|_| None);
    for compiled in done {
        joint.second_look = compiled.second_look;
        joint.plans.push(compiled.plan);
    }
    (!joint.plans.is_empty() && has_id).then_some(joint)
}

/// Whether a text can be an id; what is wrong with it is told.
pub(in crate::plan) fn is_an_id(id: &Typed<'_>) -> bool {
    if id.text.contains(['/', ' ']) {
        id.place.error(
            format!("id `{}` has a stroke or a space in it", id.text),
            "here",
            "letters, digits, - and _: the id is what commands and shares name",
        );
    }
    if id.text.len() > ID_BYTES_MAX {
        id.place.error(
            format!("id of {} bytes", id.text.len()),
            "here",
            format!("at most {ID_BYTES_MAX}: the id is what commands and records name"),
        );
    }
    true
}

/// Every combination of answers.
fn combinations(variants: &[Variant], place: &Place<'_>) -> Vec<Answers> {
    let mut list = vec![Answers::new()];
    for variant in variants {
        let answers: Vec<&str> = variant.allowed().collect();
        let ways = list.len().saturating_mul(answers.len());
        if ways > COMBINATIONS_MAX {
            place.error(
                format!("the answers of this joint combine in {ways} ways"),
                "here",
                format!("at most {COMBINATIONS_MAX}: split the joint"),
            );
            // Read under the first answers only: what else is wrong is told all the same.
            list.truncate(1);
            list = list
                .into_iter()
                .zip(answers.first())
                .map(|(base, &answer)| base.with(variant.key.clone(), answer))
                .collect();
            continue;
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

/// The stages and blocks in the order of the file, at least one stage.
fn written<'a>(
    reader: &mut Reader<'a>,
    joint: &str,
    silent: &'a Choice,
) -> Option<(Vec<Written<'a>>, Vec<Block<'a>>)> {
    let mut blocks = Vec::new();
    let mut stages: Vec<Written<'a>> = Vec::new();
    let peek = |node: &'a Node<'a>, block: Option<usize>| {
        let mut own = Reader::of_node("a stage", node, silent)?;
        let name = own.text("name").map(|name| name.text);
        let only = own
            .raw("only")
            .map(|node| texts_of(node, "`only`"))
            .unwrap_or_default();
        Some(Written {
            node,
            name,
            only,
            block,
        })
    };
    let is_silent = !reader.has("stage") && !reader.has("block");
    for node in reader.tables("stage", "joint.stage") {
        stages.extend(peek(node, None));
    }
    let tables = reader.tables("block", "joint.block");
    if tables.len() > BLOCKS_MAX {
        reader.key_place("block").error(
            format!("joint `{joint}` has {} blocks", counted(tables.len())),
            "here",
            format!("at most {BLOCKS_MAX}: split it into two joints, one after the other"),
        );
        return None;
    }
    for (number, node) in (1_usize..).zip(tables) {
        let of = format!("block {number} of joint `{joint}`");
        let Some(mut own) = Reader::of_node(of, node, silent) else {
            continue;
        };
        let name = own.text("name").map(|name| name.text);
        let one_at_a_time = own.flag("one_at_a_time").unwrap_or(false);
        let mock_up = own.flag("mock_up").unwrap_or(false);
        // Read with the joint's labels later on.
        let _ = (own.raw("on"), own.raw("order"), own.raw("together"));
        if !own.has("stage") {
            node.place.error(
                format!("block {number} of joint `{joint}` has no stage"),
                "here",
                "add at least one [[joint.block.stage]]",
            );
        }
        for stage in own.tables("stage", "joint.block.stage") {
            stages.extend(peek(stage, Some(blocks.len())));
        }
        own.finish(|_| None);
        blocks.push(Block {
            node,
            name,
            one_at_a_time,
            mock_up,
        });
    }
    if is_silent {
        reader.place.error(
            format!("joint `{joint}` has no stage"),
            "here",
            "add at least one [[joint.stage]]",
        );
    }
    if stages.len() > STAGES_WRITTEN_MAX {
        reader.place.error(
            format!(
                "joint `{joint}` has {} stages written",
                counted(stages.len())
            ),
            "here",
            format!("at most {STAGES_WRITTEN_MAX}, over all answers: split it into two joints"),
        );
        return None;
    }
    stages.sort_by_key(|stage| stage.node.place.bytes().start);
    (!stages.is_empty()).then_some((stages, blocks))
}
