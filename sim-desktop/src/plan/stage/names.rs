//! Names inside a joint: fasteners and groups, orders, pairs, stages that others refer to.

use evendraw_core::procedure::Policy;

use super::read::Around;
use crate::plan::fault::Faults;
use crate::plan::place::{ORDER_WORDS, Order};
use crate::plan::tree::{Node, Reader, Typed, Value, closest, label_of, text_of, texts_of};

/// The fasteners that a label or group name means.
pub(in crate::plan) fn named(
    name: &Typed,
    around: &Around<'_>,
    faults: &mut Faults,
) -> Option<Vec<u8>> {
    fasteners_named(name, around.labels, around.groups, around.joint, faults)
}

/// The fasteners that a label or group name means.
pub(in crate::plan) fn fasteners_named(
    name: &Typed,
    labels: &[String],
    groups: &[(String, Vec<u8>)],
    joint: &str,
    faults: &mut Faults,
) -> Option<Vec<u8>> {
    if let Some(index) = labels.iter().position(|label| *label == name.text) {
        return u8::try_from(index).ok().map(|index| vec![index]);
    }
    if let Some((_, group)) = groups.iter().find(|(group, _)| *group == name.text) {
        return Some(group.clone());
    }
    let known = labels
        .iter()
        .map(String::as_str)
        .chain(groups.iter().map(|(group, _)| group.as_str()));
    let allowed = match closest(&name.text, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => {
            let all: Vec<&str> = known.collect();
            format!("fasteners and groups: {}", all.join(", "))
        }
    };
    faults.error(
        &name.place,
        format!("joint `{joint}` has no fastener `{}`", name.text),
        "here",
        allowed,
    );
    None
}

/// The fasteners under a key, each once; none when the key is not there.
pub(in crate::plan) fn places(
    reader: &mut Reader<'_>,
    key: &'static str,
    around: &Around<'_>,
    faults: &mut Faults,
) -> Option<Vec<u8>> {
    let of = format!("`{key}` of {}", reader.of);
    let node = reader.value(key, faults)?;
    let mut list = Vec::new();
    for name in texts_of(node, &of, faults) {
        for fastener in named(&name, around, faults).unwrap_or_default() {
            if list.contains(&fastener) {
                faults.error(
                    &name.place,
                    format!("{of} names `{}` twice", name.text),
                    "the second",
                    "each fastener once",
                );
            } else {
                list.push(fastener);
            }
        }
    }
    Some(list)
}

/// The order under `order`.
pub(in crate::plan) fn order(
    reader: &mut Reader<'_>,
    around: &Around<'_>,
    faults: &mut Faults,
) -> Option<Order> {
    let of = format!("`order` of {}", reader.of);
    let node = reader.value("order", faults)?;
    if let Value::List(_) = node.value {
        return places(reader, "order", around, faults).map(Order::Own);
    }
    let typed = text_of(node, &of, faults)?;
    match typed.text.as_str() {
        "centre-out" => Some(Order::CentreOut),
        "cross" => Some(Order::Cross),
        "listed" => Some(Order::Listed),
        "reverse" => Some(Order::Reverse),
        "any" => Some(Order::Any),
        other => {
            faults.error(
                &typed.place,
                format!("unknown order `{other}`"),
                "here",
                match closest(other, ORDER_WORDS) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("{}, or a list of labels", ORDER_WORDS.join(", ")),
                },
            );
            None
        }
    }
}

/// Pairs under `together`.
pub(in crate::plan) fn together(
    reader: &mut Reader<'_>,
    around: &Around<'_>,
    faults: &mut Faults,
) -> Vec<(u8, u8)> {
    let of = format!("`together` of {}", reader.of);
    let Some(node) = reader.value("together", faults) else {
        return Vec::new();
    };
    let wrong = |faults: &mut Faults| {
        faults.error(
            &node.place,
            format!("{of} is not a list of pairs"),
            "here",
            "write pairs: [[\"1\", \"1b\"], [\"2\", \"2b\"]]",
        );
    };
    let Value::List(list) = &node.value else {
        wrong(faults);
        return Vec::new();
    };
    let mut pairs: Vec<(u8, u8)> = Vec::new();
    for pair in list {
        let Value::List(ends) = &pair.value else {
            wrong(faults);
            continue;
        };
        let [first, second] = ends.as_slice() else {
            wrong(faults);
            continue;
        };
        let mut end = |node: &Node| {
            let typed = label_of(node, &of, faults)?;
            let found = named(&typed, around, faults)?;
            found.first().copied().filter(|_| found.len() == 1)
        };
        let (Some(first), Some(second)) = (end(first), end(second)) else {
            continue;
        };
        let taken = |end: u8| pairs.iter().any(|&(a, b)| a == end || b == end);
        if first == second || taken(first) || taken(second) {
            faults.error(
                &pair.place,
                "a fastener stands in two pairs, or is paired with itself",
                "here",
                "each fastener in one pair at most",
            );
            continue;
        }
        pairs.push((first, second));
    }
    pairs
}

/// The number as written of the stage meant: by name, or as `2` or `stage 2`.
pub(super) fn stage_named(text: &str, around: &Around<'_>) -> Option<usize> {
    if let Some((_, number)) = around.names.iter().find(|(name, _)| name == text) {
        return Some(*number);
    }
    let number = text.strip_prefix("stage ").unwrap_or(text);
    let number: usize = number.trim().parse().ok()?;
    (1..=around.effective.len())
        .contains(&number)
        .then_some(number)
}

/// `replace`, `ask` or `restart 2`.
pub(super) fn policy(
    reader: &mut Reader<'_>,
    key: &'static str,
    around: &Around<'_>,
    faults: &mut Faults,
) -> (Policy, Option<String>) {
    let Some(typed) = reader.text(key, faults) else {
        return (Policy::Ask, None);
    };
    let policy = match typed.text.as_str() {
        "ask" => Some(Policy::Ask),
        "replace" => Some(Policy::Replace),
        other => other.strip_prefix("restart ").and_then(|stage| {
            let number = stage_named(stage.trim(), around)?;
            let stage = around.effective.get(number - 1).copied().flatten()?;
            Some(Policy::Restart(stage))
        }),
    };
    if policy.is_none() {
        faults.error(
            &typed.place,
            format!("`{key}` is `{}`", typed.text),
            "here",
            "\"replace\", \"ask\", or \"restart 1\" with the number or name of a stage; never a little back",
        );
    }
    (policy.unwrap_or_default(), Some(typed.text))
}
