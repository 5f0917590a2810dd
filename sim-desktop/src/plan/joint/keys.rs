//! The keys of a joint, each read on its own.

use evendraw_core::limits::{FASTENERS_MAX, LABEL_MAX};
use evendraw_core::procedure::{Hand, Redo, Reuse, Terms};
use evendraw_core::watch::Watch;

use super::{Access, Name, Share, Variant};
use crate::mechanics::{NutClass, Strength, Thread, nut_and_bolt};
use crate::plan::fault::Faults;
use crate::plan::place::Position;
use crate::plan::quantity::{self, bearing_deg, millimetres, rate};
use crate::plan::stage::fasteners_named;
use crate::plan::tree::{Choice, Node, Reader, Typed, Value, label_of, text_of, texts_of};

pub(super) fn positions(
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

pub(super) fn groups(
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

pub(super) fn front(reader: &mut Reader<'_>, faults: &mut Faults) -> Option<String> {
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

pub(super) fn names(reader: &mut Reader<'_>, key: &'static str, faults: &mut Faults) -> Vec<Name> {
    reader
        .texts(key, faults)
        .into_iter()
        .map(|typed| Name {
            text: typed.text,
            place: typed.place,
        })
        .collect()
}

pub(super) fn shares(
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

pub(super) fn variants(reader: &mut Reader<'_>, faults: &mut Faults) -> Vec<Variant> {
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

/// The thread and strength that the words mean.
pub(super) fn metal(
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

/// The nut's class: asked about where it is weaker than its bolt.
pub(super) fn nut(
    reader: &mut Reader<'_>,
    thread: Option<&Thread>,
    strength: Option<&Strength>,
    faults: &mut Faults,
) {
    let Some(typed) = reader.text("nut", faults) else {
        return;
    };
    let class = match NutClass::from_text(&typed.text) {
        Ok(class) => class,
        Err(error) => {
            let error = error.to_string();
            let (what, allowed) = error.split_once("; ").unwrap_or((&error, ""));
            faults.error(&typed.place, what, "here", allowed);
            return;
        }
    };
    let Some((thread, strength)) = thread.zip(strength) else {
        return;
    };
    match nut_and_bolt(class, thread, strength) {
        Ok(pair) if !pair.strong_enough => faults.warning(
            &typed.place,
            format!(
                "a nut of class {} is weaker than the bolt of {}",
                class.name(),
                reader.of
            ),
            "is this nut right?",
            pair.why,
        ),
        Ok(_) => {}
        Err(error) => faults.error(
            &typed.place,
            error.to_string(),
            "here",
            "leave `nut` out for inch, pipe and trapezoidal threads",
        ),
    }
}

pub(super) fn access(reader: &mut Reader<'_>, faults: &mut Faults) -> Option<Access> {
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

pub(super) fn terms(
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
