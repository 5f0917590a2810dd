//! Names inside a joint: fasteners and groups, orders, pairs, stages that others refer to.

use evendraw_core::procedure::Policy;

use super::read::Around;
use crate::plan::place::{ORDER_WORDS, Order};
use crate::plan::tree::{Node, Reader, Typed, Value, label_of, text_of, texts_of};

/// The fasteners that a label or group name means.
pub(in crate::plan) fn named(name: &Typed<'_>, around: &Around<'_>) -> Option<Vec<u8>> {
    fasteners_named(name, around.labels, around.groups, around.joint)
}

/// The fasteners that a label or group name means.
pub(in crate::plan) fn fasteners_named(
    name: &Typed<'_>,
    labels: &[String],
    groups: &[(String, Vec<u8>)],
    joint: &str,
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
    let allowed = match name.place.to.closest(&name.text, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => {
            let all: Vec<&str> = known.collect();
            format!("fasteners and groups: {}", all.join(", "))
        }
    };
    name.place.error(
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
) -> Option<Vec<u8>> {
    let of = format!("`{key}` of {}", reader.of);
    let node = reader.value(key)?;
    let mut list = Vec::new();
    for name in texts_of(node, &of) {
        for fastener in named(&name, around).unwrap_or_default() {
            if list.contains(&fastener) {
                name.place.error(
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
pub(in crate::plan) fn order(reader: &mut Reader<'_>, around: &Around<'_>) -> Option<Order> {
    let of = format!("`order` of {}", reader.of);
    let node = reader.value("order")?;
    if let Value::List(_) = node.value {
        return places(reader, "order", around).map(Order::Own);
    }
    let typed = text_of(node, &of)?;
    match typed.text.as_str() {
        "centre-out" => Some(Order::CentreOut),
        "cross" => Some(Order::Cross),
        "listed" => Some(Order::Listed),
        "reverse" => Some(Order::Reverse),
        "any" => Some(Order::Any),
        other => {
            typed.place.error(
                format!("unknown order `{other}`"),
                "here",
                match typed.place.to.closest(other, ORDER_WORDS) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("{}, or a list of labels", ORDER_WORDS.join(", ")),
                },
            );
            None
        }
    }
}

/// Pairs under `together`.
pub(in crate::plan) fn together(reader: &mut Reader<'_>, around: &Around<'_>) -> Vec<(u8, u8)> {
    let of = format!("`together` of {}", reader.of);
    let Some(node) = reader.value("together") else {
        return Vec::new();
    };
    let wrong = || {
        node.place.error(
            format!("{of} is not a list of pairs"),
            "here",
            "write pairs: [[\"1\", \"1b\"], [\"2\", \"2b\"]]",
        );
    };
    let Value::List(list) = &node.value else {
        wrong();
        return Vec::new();
    };
    let mut pairs: Vec<(u8, u8)> = Vec::new();
    for pair in list {
        let Value::List(ends) = &pair.value else {
            wrong();
            continue;
        };
        let [first, second] = ends.as_slice() else {
            wrong();
            continue;
        };
        let end = |node: &Node<'_>| {
            let typed = label_of(node, &of)?;
            let found = named(&typed, around)?;
            found.first().copied().filter(|_| found.len() == 1)
        };
        let (Some(first), Some(second)) = (end(first), end(second)) else {
            continue;
        };
        let taken = |end: u8| pairs.iter().any(|&(a, b)| a == end || b == end);
        if first == second || taken(first) || taken(second) {
            pair.place.error(
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
) -> (Policy, Option<String>) {
    let Some(typed) = reader.text(key) else {
        return (Policy::Ask, None);
    };
    let policy = match typed.text.as_str() {
        "ask" => Some(Policy::Ask),
        "replace" => Some(Policy::Replace),
        other => other.strip_prefix("restart ").and_then(|stage| {
            let number = stage_named(stage.trim(), around)?;
            let stage = around
                .effective
                .get(number.checked_sub(1)?)
                .copied()
                .flatten()?;
            Some(Policy::Restart(stage))
        }),
    };
    if policy.is_none() {
        typed.place.error(
            format!("`{key}` is `{}`", typed.text),
            "here",
            "\"replace\", \"ask\", or \"restart 1\" with the number or name of a stage; never a little back",
        );
    }
    (policy.unwrap_or_default(), Some(typed.text))
}
