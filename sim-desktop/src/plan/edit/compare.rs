//! What two plans differ in, in words: by id and name, not by line.
//!
//! Spelling, comments and the order of keys are no difference. Knows nothing of what has been done under either.

use super::Document;
use super::fields::{Kind, kind_of};
use super::layout::Path;
use super::value::{Takes, shown};

/// Whether something came, went, or changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// Only the new plan has it.
    Added,
    /// Only the old plan has it.
    Removed,
    /// Both have it, and not alike.
    Changed,
}

impl Change {
    /// The word for scripts.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Added => "added",
            Self::Removed => "removed",
            Self::Changed => "changed",
        }
    }
}

/// One difference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// What kind it is.
    pub change: Change,
    /// What it is in, outermost first: kind and name, as `joint head`, `stage 2 tighten`.
    pub of: Vec<String>,
    /// The key; none for a whole table.
    pub key: Option<String>,
    /// As typed in the old plan.
    pub old: Option<String>,
    /// As typed in the new plan.
    pub new: Option<String>,
}

impl std::fmt::Display for Difference {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let of = self.of.join(", ");
        let empty = String::new();
        let old = self.old.as_ref().unwrap_or(&empty);
        let new = self.new.as_ref().unwrap_or(&empty);
        match (self.change, &self.key) {
            (Change::Changed, Some(key)) => write!(f, "{of}: {key} {old} → {new}"),
            (Change::Added, Some(key)) => write!(f, "{of}: {key} {new} is new"),
            (Change::Removed, Some(key)) => write!(f, "{of}: {key} {old} is gone"),
            (Change::Changed, None) => write!(f, "{of}: stands elsewhere in the order"),
            (Change::Added, None) => write!(f, "{of} is new"),
            (Change::Removed, None) => write!(f, "{of} is gone"),
        }
    }
}

/// Everything that differs, in the order of the new plan; none where one of them is no TOML.
#[must_use]
pub fn differences(old: &Document, new: &Document) -> Option<Vec<Difference>> {
    let mut found = Vec::new();
    let (from, to) = (old.layout()?, new.layout()?);
    let root = Path::default();
    let build = root.key("build");
    if from.table(&build).is_some() || to.table(&build).is_some() {
        table(
            (old, &build),
            (new, &build),
            &["build".to_owned()],
            &mut found,
        );
    }
    for list in &kind_of(&root)?.lists {
        let own = root.key(list);
        let all = |document: &Document| -> Vec<Path> {
            (0..document.len_of(&own)).map(|index| own.at(index)).collect()
        };
        lists((old, &all(old)), (new, &all(new)), &[], &mut found);
    }
    Some(found)
}

/// What a table is known by: id or name; a stage without one by its kind.
fn identity(document: &Document, path: &Path) -> String {
    let words = |key: &str| document.words(path, key);
    words("id")
        .or_else(|| words("name"))
        .or_else(|| words("ask"))
        .or_else(|| words("do"))
        .unwrap_or_default()
}

fn called(document: &Document, path: &Path, number: usize) -> String {
    let kind = path.last_key().unwrap_or_default();
    match kind {
        "stage" => {
            let word = document.words(path, "do").unwrap_or_default();
            match document.words(path, "name") {
                Some(name) => format!("stage {number} {word} `{name}`"),
                None => format!("stage {number} {word}"),
            }
        }
        _ => format!("{kind} {}", identity(document, path))
            .trim_end()
            .to_owned(),
    }
}

/// Two lists of tables, those that are the same matched in their order.
fn lists(
    (old, from): (&Document, &[Path]),
    (new, to): (&Document, &[Path]),
    of: &[String],
    found: &mut Vec<Difference>,
) {
    let key = |document: &Document, path: &Path| {
        (
            path.last_key().unwrap_or_default().to_owned(),
            identity(document, path),
        )
    };
    let a: Vec<_> = from.iter().map(|path| key(old, path)).collect();
    let b: Vec<_> = to.iter().map(|path| key(new, path)).collect();
    let pairs = matched(&a, &b);
    let within = |document: &Document, path: &Path, number: usize| {
        let mut within = of.to_vec();
        within.push(called(document, path, number));
        within
    };
    let lone = |change, of| Difference {
        change,
        of,
        key: None,
        old: None,
        new: None,
    };
    let pair_of = |own: usize| pairs.iter().find(|(_, to)| *to == own).map(|(from, _)| *from);
    // What has an id and only stands elsewhere is still the same.
    let moved = |own: usize| {
        let key = b.get(own)?;
        let at = a.iter().position(|other| other == key)?;
        let is_free = !pairs.iter().any(|(from, _)| *from == at);
        (is_free && key.0 != "stage").then_some(at)
    };
    for (index, path) in to.iter().enumerate() {
        let number = index.saturating_add(1);
        let of = within(new, path, number);
        let other = match (pair_of(index), moved(index)) {
            (Some(at), _) => Some(at),
            (None, Some(at)) => {
                found.push(lone(Change::Changed, of.clone()));
                Some(at)
            }
            (None, None) => None,
        };
        match other.and_then(|at| from.get(at)) {
            Some(before) => table((old, before), (new, path), &of, found),
            None => found.push(lone(Change::Added, of)),
        }
    }
    for (index, path) in from.iter().enumerate() {
        let is_matched = pairs.iter().any(|(own, _)| *own == index);
        let is_moved = (0..to.len()).any(|own| pair_of(own).is_none() && moved(own) == Some(index));
        if !is_matched && !is_moved {
            found.push(lone(
                Change::Removed,
                within(old, path, index.saturating_add(1)),
            ));
        }
    }
}

/// The longest run of equal things in both, in order: pairs of places.
fn matched<T: PartialEq>(a: &[T], b: &[T]) -> Vec<(usize, usize)> {
    let width = b.len().saturating_add(1);
    let at = |i: usize, j: usize| i.saturating_mul(width).saturating_add(j);
    let mut longest = vec![0_u32; at(a.len(), width)];
    let length = |longest: &[u32], i: usize, j: usize| longest.get(at(i, j)).copied().unwrap_or(0);
    for (i, own) in a.iter().enumerate().rev() {
        for (j, other) in b.iter().enumerate().rev() {
            let (next_i, next_j) = (i.saturating_add(1), j.saturating_add(1));
            let best = if own == other {
                length(&longest, next_i, next_j).saturating_add(1)
            } else {
                length(&longest, next_i, j).max(length(&longest, i, next_j))
            };
            if let Some(place) = longest.get_mut(at(i, j)) {
                *place = best;
            }
        }
    }
    let (mut i, mut j) = (0, 0);
    let mut pairs = Vec::new();
    while let (Some(own), Some(other)) = (a.get(i), b.get(j)) {
        let (next_i, next_j) = (i.saturating_add(1), j.saturating_add(1));
        if own == other {
            pairs.push((i, j));
            (i, j) = (next_i, next_j);
        } else if length(&longest, next_i, j) >= length(&longest, i, next_j) {
            i = next_i;
        } else {
            j = next_j;
        }
    }
    pairs
}

/// Two tables that are the same thing.
fn table(
    (old, from): (&Document, &Path),
    (new, to): (&Document, &Path),
    of: &[String],
    found: &mut Vec<Difference>,
) {
    let kind = kind_of(to);
    let lists_of = kind.map(|kind| kind.lists.clone()).unwrap_or_default();
    let mut keys: Vec<String> = Vec::new();
    for (document, path) in [(new, to), (old, from)] {
        let table = document.layout().and_then(|layout| layout.table(path));
        for entry in table.into_iter().flat_map(|table| &table.entries) {
            if !keys.contains(&entry.key) && !lists_of.contains(&entry.key) {
                keys.push(entry.key.clone());
            }
        }
    }
    for key in keys {
        let takes = kind
            .and_then(|kind: &Kind| kind.field(&key))
            .map_or(Takes::Text, |field| field.takes.clone());
        let typed = |document: &Document, path: &Path| {
            let toml = document.raw_value(&path.key(&key))?;
            Some((plain(&toml), shown(&toml, &takes)))
        };
        let (before, after) = (typed(old, from), typed(new, to));
        let (change, is_same) = match (&before, &after) {
            (Some((a, _)), Some((b, _))) => (Change::Changed, a == b),
            (None, Some(_)) => (Change::Added, false),
            (Some(_), None) => (Change::Removed, false),
            (None, None) => continue,
        };
        if !is_same {
            found.push(Difference {
                change,
                of: of.to_vec(),
                key: Some(key),
                old: before.map(|(_, words)| words),
                new: after.map(|(_, words)| words),
            });
        }
    }
    // Stages and blocks stand in one order.
    let steps = |document: &Document, path: &Path| match path.last_key() {
        Some("joint") => document.steps(path),
        _ => below(document, path, "stage"),
    };
    if lists_of.iter().any(|list| list == "variant") {
        lists(
            (old, &below(old, from, "variant")),
            (new, &below(new, to, "variant")),
            of,
            found,
        );
    }
    lists((old, &steps(old, from)), (new, &steps(new, to)), of, found);
}

fn below(document: &Document, path: &Path, list: &str) -> Vec<Path> {
    let list = path.key(list);
    (0..document.len_of(&list))
        .map(|index| list.at(index))
        .collect()
}

/// A value without its spelling; a label may be a number or a text.
fn plain(toml: &str) -> Option<toml::Value> {
    fn labels(value: toml::Value) -> toml::Value {
        match value {
            toml::Value::Integer(number) => toml::Value::String(number.to_string()),
            toml::Value::Array(list) => {
                toml::Value::Array(list.into_iter().map(labels).collect())
            }
            toml::Value::Table(table) => toml::Value::Table(
                table
                    .into_iter()
                    .map(|(key, value)| (key, labels(value)))
                    .collect(),
            ),
            other => other,
        }
    }
    let table: toml::Table = format!("x = {toml}\n").parse().ok()?;
    table.get("x").cloned().map(labels)
}

impl Difference {
    /// The id of the joint it is in.
    #[must_use]
    pub fn joint(&self) -> Option<&str> {
        self.of.first()?.strip_prefix("joint ")
    }
}

#[cfg(test)]
mod tests {
    use super::{Document, differences};

    fn words(old: &str, new: &str) -> Vec<String> {
        let (old, new) = (Document::new(old), Document::new(new));
        let found = differences(&old, &new).unwrap();
        found.iter().map(ToString::to_string).collect()
    }

    const OLD: &str = "[build]\ntitle = \"Pump\"\n[[joint]]\nid = \"head\"\npositions = { 1 = [0, 0] }\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"45 N·m\"\n[[joint.stage]]\nname = \"last\"\ndo = \"turn\"\nangle = \"90°\"\n[[joint]]\nid = \"sump\"\n[[joint.stage]]\ndo = \"fit\"\n";

    #[test]
    fn a_changed_value_is_told_by_joint_and_stage() {
        let new = OLD.replace("45 N·m", "60 N·m");
        assert_eq!(
            words(OLD, &new),
            ["joint head, stage 1 tighten: torque 45 N·m → 60 N·m"]
        );
    }

    #[test]
    fn spelling_comments_and_the_order_of_keys_are_no_difference() {
        let new = OLD
            .replace("title = \"Pump\"", "title    = 'Pump' # as painted")
            .replace(
                "do = \"tighten\"\ntorque = \"45 N·m\"",
                "torque = \"45 N·m\"\ndo = \"tighten\"",
            );
        assert_eq!(words(OLD, &new), [""; 0]);
        assert_eq!(words(OLD, OLD), [""; 0]);
    }

    #[test]
    fn what_came_went_or_stands_elsewhere_is_told_as_that() {
        let new = OLD
            .replace(
                "[[joint.stage]]\nname = \"last\"",
                "[[joint.stage]]\ndo = \"check\"\nask = \"free?\"\n[[joint.stage]]\nname = \"last\"",
            )
            .replace("title = \"Pump\"\n", "title = \"Pump\"\nunit = \"4411\"\n");
        assert_eq!(
            words(OLD, &new),
            ["build: unit 4411 is new", "joint head, stage 2 check is new"]
        );
        assert_eq!(
            words(&new, OLD),
            ["build: unit 4411 is gone", "joint head, stage 2 check is gone"]
        );
        let (head, sump) = OLD.split_at(OLD.find("[[joint]]\nid = \"sump\"").unwrap());
        let (build, head) = head.split_at(head.find("[[joint]]").unwrap());
        let moved = words(OLD, &format!("{build}{sump}{head}"));
        assert_eq!(moved.len(), 1, "{moved:?}");
        assert!(moved[0].ends_with("stands elsewhere in the order"));
    }
}
