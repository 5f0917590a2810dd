//! The keys of a joint, each read on its own.

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::limits::{FASTENERS_MAX, LABEL_MAX};
use evendraw_core::procedure::{Hand, Redo, Reuse, Terms};

use super::{Access, Name, Share, Variant};
use crate::limits::{COMBINATIONS_MAX, NAMES_MAX, VARIANTS_MAX, counted};
use crate::plan::place::{Position, on_circle};
use crate::plan::quantity::{self, bearing_deg, millimetres, rate};
use crate::plan::stage::fasteners_named;
use crate::plan::tree::{Choice, Node, Reader, Typed, Value, label_of, text_of, texts_of};

pub(super) fn positions(
    reader: &mut Reader<'_>,
    joint: &str,
) -> Option<(Vec<Position>, Vec<String>)> {
    let list = match (reader.raw("positions"), reader.raw("circle")) {
        (Some(node), None) => listed_positions(node, joint)?,
        (None, Some(node)) => circle(node, joint)?,
        (Some(_), Some(circle)) => {
            circle.place.error(
                format!("joint `{joint}` has both `positions` and `circle`"),
                "the second",
                "leave out one",
            );
            return None;
        }
        (None, None) => {
            reader.place.error(
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
        place.error(
            format!("joint `{joint}` has no fastener"),
            "here",
            "at least one position: { 1 = [0, 0] }",
        );
        return None;
    }
    if list.len() > FASTENERS_MAX {
        place.error(
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

fn listed_positions(node: &Node<'_>, joint: &str) -> Option<Vec<Position>> {
    let Value::Table(entries) = &node.value else {
        node.place.error(
            format!("`positions` of joint `{joint}` is {}", node.value.word()),
            "here",
            "a place for each label, in mm: { 1 = [0, 0], 2 = [90, 0] }",
        );
        return None;
    };
    let mut list: Vec<Position> = Vec::new();
    for (key, value) in entries {
        if key.text.len() > LABEL_MAX || key.text.is_empty() {
            key.place.error(
                format!("label `{}` has {} bytes", key.text, key.text.len()),
                "here",
                format!("1 to {LABEL_MAX} bytes"),
            );
        }
        let place = match &value.value {
            Value::List(pair) => match pair.as_slice() {
                [x, y] => coordinate(x).zip(coordinate(y)),
                _ => {
                    value.place.error(
                        format!("position `{}` has {} numbers", key.text, pair.len()),
                        "here",
                        "two: to the right and upwards, in mm",
                    );
                    None
                }
            },
            other => {
                value.place.error(
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
pub(super) fn coordinate(node: &Node<'_>) -> Option<f64> {
    let number = match &node.value {
        Value::Whole(number) => number.to_string().parse().ok(),
        Value::Decimal(number) => number.replace('_', "").parse().ok(),
        Value::Text(text) => {
            let typed = Typed {
                text: text.clone(),
                place: node.place.clone(),
            };
            return millimetres(&typed);
        }
        _ => None,
    };
    match number {
        Some(number) if f64::abs(number) <= 100_000.0 => Some(number),
        _ => {
            node.place.error(
                "a position is not a number it can be",
                "here",
                "mm from -100000 to 100000, or a length with its unit in quotes",
            );
            None
        }
    }
}

/// So many fasteners on a circle, the first at the top, on clockwise, labelled from 1.
fn circle(node: &Node<'_>, joint: &str) -> Option<Vec<Position>> {
    let silent = Choice::default();
    let mut reader = Reader::of_node(format!("`circle` of joint `{joint}`"), node, &silent)?;
    let most = u32::try_from(FASTENERS_MAX).unwrap_or(u32::MAX);
    if !reader.has("number") {
        reader.missing("number");
    }
    let number = reader.whole("number", 1..=most);
    let diameter = reader
        .needed_text("diameter")
        .and_then(|typed| millimetres(&typed));
    let first = match reader.text("first_at") {
        Some(typed) => bearing_deg(&typed)?,
        None => 0.0,
    };
    reader.finish(|_| None);
    let (number, diameter) = (number?, diameter?);
    Some(on_circle(number, diameter, first))
}

pub(super) fn groups(
    reader: &mut Reader<'_>,
    labels: &[String],
    joint: &str,
) -> Vec<(String, Vec<u8>)> {
    let Some(node) = reader.raw("groups") else {
        return Vec::new();
    };
    let Value::Table(entries) = &node.value else {
        node.place.error(
            format!("`groups` of joint `{joint}` is {}", node.value.word()),
            "here",
            "name lists of labels: { inner = [\"1\", \"2\"] }",
        );
        return Vec::new();
    };
    let mut list: Vec<(String, Vec<u8>)> = Vec::new();
    for (key, value) in entries {
        if labels.contains(&key.text) {
            key.place.error(
                format!("group `{}` is named like a fastener", key.text),
                "here",
                "another name",
            );
        }
        let mut own: Vec<u8> = Vec::new();
        for name in texts_of(value, &format!("group `{}`", key.text)) {
            for fastener in fasteners_named(&name, labels, &list, joint).unwrap_or_default() {
                // A group of groups of groups is still no more than the joint's fasteners.
                if !own.contains(&fastener) {
                    own.push(fastener);
                }
            }
        }
        list.push((key.text.clone(), own));
    }
    list
}

pub(super) fn front(reader: &mut Reader<'_>) -> Option<String> {
    let typed = reader.text("front")?;
    if matches!(typed.text.as_str(), "left" | "right" | "top" | "bottom") {
        Some(typed.text)
    } else {
        typed.place.error(
            format!("unknown side `{}`", typed.text),
            "here",
            "front = \"left\", \"right\", \"top\" or \"bottom\": the edge of the map that FRONT is written at",
        );
        None
    }
}

pub(in crate::plan) fn names(reader: &mut Reader<'_>, key: &'static str) -> Vec<Name> {
    let list = reader.texts(key);
    if list.len() > NAMES_MAX {
        reader.key_place(key).error(
            format!(
                "{} names under `{key}` of {}",
                counted(list.len()),
                reader.of
            ),
            "here",
            format!("at most {NAMES_MAX}"),
        );
    }
    list.into_iter()
        .take(NAMES_MAX)
        .map(|typed| Name {
            text: typed.text,
            place: typed.place.bytes(),
        })
        .collect()
}

pub(super) fn shares(reader: &mut Reader<'_>, labels: &[String], joint: &str) -> Vec<Share> {
    let Some(node) = reader.raw("shares") else {
        return Vec::new();
    };
    let Value::Table(entries) = &node.value else {
        node.place.error(
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
        let fastener = fasteners_named(&own, labels, &[], joint);
        let of = format!("`shares` of joint `{joint}`");
        let Some(other) = text_of(value, &of) else {
            continue;
        };
        let Some((there, label)) = other.text.split_once('/') else {
            other.place.error(
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
                place: other.place.bytes(),
            });
        }
    }
    list
}

/// The variants that could be read, and whether that is all of them.
pub(super) fn variants(reader: &mut Reader<'_>) -> (Vec<Variant>, bool) {
    let silent = Choice::default();
    let mut list: Vec<Variant> = Vec::new();
    let tables = reader.tables("variant", "joint.variant");
    if tables.len() > VARIANTS_MAX {
        reader.key_place("variant").error(
            format!(
                "{} asks {} questions before work starts",
                reader.of,
                tables.len()
            ),
            "here",
            format!("at most {VARIANTS_MAX}: split the joint"),
        );
        return (list, false);
    }
    let count = tables.len();
    for (number, node) in (1_usize..).zip(tables) {
        let of = format!("variant {number} of {}", reader.of);
        let Some(mut own) = Reader::of_node(of, node, &silent) else {
            continue;
        };
        let key = own.text("id");
        let ask = own.needed_text("ask");
        if !own.has("answers") {
            own.missing("answers");
        }
        let answers = own.texts("answers");
        let mut also = Vec::new();
        if let Some(Node {
            value: Value::Table(entries),
            ..
        }) = own.raw("also")
        {
            for (key, value) in entries {
                let Some(as_if) = text_of(value, "`also`") else {
                    continue;
                };
                if !answers.iter().any(|answer| answer.text == as_if.text) {
                    as_if.place.error(
                        format!("`{}` is none of the answers", as_if.text),
                        "here",
                        "a further answer takes the values of one of `answers`",
                    );
                }
                also.push((key.text.clone(), as_if.text));
            }
        }
        for (at, answer) in answers.iter().enumerate() {
            let mut earlier = answers.iter().take(at).map(|other| other.text.as_str());
            let mut elsewhere = list.iter().flat_map(Variant::allowed);
            if earlier.any(|other| other == answer.text)
                || elsewhere.any(|other| other == answer.text)
            {
                answer.place.error(
                    format!("answer `{}` stands twice in this joint", answer.text),
                    "the second",
                    "each answer of a joint in its own word, so that values can be written under it",
                );
            }
        }
        own.finish(|_| None);
        let Some(ask) = ask else { continue };
        if answers.len().saturating_add(also.len()) > COMBINATIONS_MAX {
            node.place.error(
                format!("`{}` has {} answers", ask.text, counted(answers.len())),
                "here",
                format!("at most {COMBINATIONS_MAX}"),
            );
            continue;
        }
        if answers.len() < 2 {
            node.place.error(
                format!("`{}` leaves no choice", ask.text),
                "here",
                "answers = [\"…\", \"…\"], two at least",
            );
            continue;
        }
        list.push(Variant {
            key: key.map_or_else(|| format!("variant-{number}"), |key| key.text),
            ask: ask.text,
            answers: answers.into_iter().map(|answer| answer.text).collect(),
            also,
        });
    }
    let is_whole = list.len() == count;
    (list, is_whole)
}

pub(super) fn access(reader: &mut Reader<'_>) -> Option<Access> {
    let silent = Choice::default();
    let node = reader.raw("access")?;
    let of = format!("`access` of {}", reader.of);
    let mut own = Reader::of_node(of, node, &silent)?;
    let mut length = |key| {
        let typed = own.needed_text(key)?;
        Some((millimetres(&typed)?, typed.text))
    };
    let lever = length("lever");
    let offset = length("offset");
    let angle = match own.text("angle") {
        Some(typed) => bearing_deg(&typed).map(|angle| (angle, typed.text)),
        None => Some((0.0, "0°".to_owned())),
    };
    own.finish(|_| None);
    Some(Access {
        lever: lever?,
        offset: offset?,
        angle: angle?,
    })
}

pub(super) fn terms(reader: &mut Reader<'_>, is_condition_stated: bool, has_tools: bool) -> Terms {
    let hand = match reader.text("hand") {
        None => Hand::Right,
        Some(typed) => match typed.text.as_str() {
            "right" => Hand::Right,
            "left" => Hand::Left,
            other => {
                typed.place.error(
                    format!("unknown hand `{other}`"),
                    "here",
                    "hand = \"right\" or \"left\"",
                );
                Hand::Right
            }
        },
    };
    let redo = match reader.text("redo") {
        None => Redo::Fastener,
        Some(typed) => match typed.text.as_str() {
            "fastener" => Redo::Fastener,
            "neighbours" => Redo::Neighbours,
            "joint" => Redo::Joint,
            other => {
                typed.place.error(
                    format!("unknown redo `{other}`"),
                    "here",
                    "what one disturbed fastener spoils: \"fastener\", \"neighbours\" or \"joint\"",
                );
                Redo::Fastener
            }
        },
    };
    let mut limits = CurveLimits::default();
    if let Some(typed) = reader.text("snug")
        && let Some(torque) = quantity::torque(&typed)
    {
        limits.snug = torque;
    }
    if let Some(typed) = reader.text("train")
        && let Some(rate) = rate(&typed)
    {
        limits.train = rate;
    }
    let angle_sum_max = reader
        .text("sum_max")
        .and_then(|typed| quantity::angle(&typed));
    Terms {
        hand,
        redo,
        reuse: reuse(reader),
        condition_stated: is_condition_stated,
        person_named: true,
        tool_named: has_tools,
        angle_sum_max,
        limits,
    }
}

fn reuse(reader: &mut Reader<'_>) -> Reuse {
    let allowed = "\"free\", \"replace-if-loosened\" or { cycles = 5 }";
    let Some(node) = reader.value("reuse") else {
        return Reuse::Free;
    };
    match &node.value {
        Value::Text(text) if text == "free" => Reuse::Free,
        Value::Text(text) if text == "replace-if-loosened" => Reuse::ReplaceIfLoosened,
        Value::Table(_) => {
            let silent = Choice::default();
            let of = format!("`reuse` of {}", reader.of);
            let Some(mut own) = Reader::of_node(of, node, &silent) else {
                return Reuse::Free;
            };
            if !own.has("cycles") {
                own.missing("cycles");
            }
            let cycles = own.whole("cycles", 1..=200).unwrap_or(1);
            own.finish(|_| None);
            Reuse::Cycles(u8::try_from(cycles).unwrap_or(1))
        }
        _ => {
            let of = format!("`reuse` of {}", reader.of);
            if let Some(typed) = label_of(node, &of) {
                typed
                    .place
                    .error(format!("unknown reuse `{}`", typed.text), "here", allowed);
            }
            Reuse::Free
        }
    }
}
