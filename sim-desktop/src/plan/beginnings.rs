//! Beginnings: plans of the kinds of procedure that manuals contain, each with one sentence.
//!
//! Their figures are invented; what is taken from them is the manner. Knows nothing of who begins with them.

use std::sync::LazyLock;

/// A plan to begin with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beginning {
    /// By what it is asked for: `P7`.
    pub id: String,
    /// What it is called: `torque, then angles`.
    pub name: &'static str,
    /// One sentence about it.
    pub about: String,
    /// The plan.
    pub text: &'static str,
}

const TEXTS: [(&str, &str, &str); 27] = [
    ("P01", "second pass", include_str!("beginnings/P01.toml")),
    (
        "P02",
        "two groups in turn",
        include_str!("beginnings/P02.toml"),
    ),
    (
        "P03",
        "bolt style decides",
        include_str!("beginnings/P03.toml"),
    ),
    (
        "P04",
        "nut number decides",
        include_str!("beginnings/P04.toml"),
    ),
    (
        "P05",
        "window as printed",
        include_str!("beginnings/P05.toml"),
    ),
    ("P06", "+10 % −0 %", include_str!("beginnings/P06.toml")),
    (
        "P07",
        "torque, then angles",
        include_str!("beginnings/P07.toml"),
    ),
    (
        "P08",
        "backed off, then lower",
        include_str!("beginnings/P08.toml"),
    ),
    (
        "P09",
        "sum of all angles",
        include_str!("beginnings/P09.toml"),
    ),
    (
        "P10",
        "inner and outer bolts",
        include_str!("beginnings/P10.toml"),
    ),
    ("P11", "hold points", include_str!("beginnings/P11.toml")),
    (
        "P12",
        "crank tapped home",
        include_str!("beginnings/P12.toml"),
    ),
    (
        "P13",
        "offset measured",
        include_str!("beginnings/P13.toml"),
    ),
    (
        "P14",
        "pulled home, then new",
        include_str!("beginnings/P14.toml"),
    ),
    (
        "P15",
        "trial for a clearance",
        include_str!("beginnings/P15.toml"),
    ),
    (
        "P16",
        "sealant, closed soon",
        include_str!("beginnings/P16.toml"),
    ),
    (
        "P17",
        "sealant, next part soon",
        include_str!("beginnings/P17.toml"),
    ),
    (
        "P18",
        "rest, then again",
        include_str!("beginnings/P18.toml"),
    ),
    (
        "P19",
        "retorque one by one",
        include_str!("beginnings/P19.toml"),
    ),
    (
        "P20",
        "checked by holding",
        include_str!("beginnings/P20.toml"),
    ),
    (
        "P21",
        "checked by loosening",
        include_str!("beginnings/P21.toml"),
    ),
    ("P22", "through-studs", include_str!("beginnings/P22.toml")),
    ("P23", "castle nut", include_str!("beginnings/P23.toml")),
    (
        "P24",
        "long and short bolts",
        include_str!("beginnings/P24.toml"),
    ),
    (
        "P25",
        "by hand, then round",
        include_str!("beginnings/P25.toml"),
    ),
    ("P26", "by stretch", include_str!("beginnings/P26.toml")),
    (
        "P27",
        "cold, and again later",
        include_str!("beginnings/P27.toml"),
    ),
];

/// The sentence stands in the first line of each.
static ALL: LazyLock<Vec<Beginning>> = LazyLock::new(|| {
    let read = |&(_, name, text): &(&'static str, &'static str, &'static str)| {
        let first = text.lines().next()?.strip_prefix("# ")?;
        let (id, about) = first.split_once(": ")?;
        let mut about = about.to_owned();
        if let Some(letter) = about.get_mut(..1) {
            letter.make_ascii_uppercase();
        }
        Some(Beginning {
            id: id.to_owned(),
            name,
            about,
            text,
        })
    };
    TEXTS.iter().filter_map(read).collect()
});

/// Every beginning.
#[must_use]
pub fn all() -> &'static [Beginning] {
    &ALL
}

/// The beginning of this id or name, in whatever case it is typed.
#[must_use]
pub fn named(name: &str) -> Option<&'static Beginning> {
    let is_it =
        |one: &&Beginning| one.id.eq_ignore_ascii_case(name) || one.name.eq_ignore_ascii_case(name);
    all().iter().find(is_it)
}

#[cfg(test)]
mod tests {
    use super::{TEXTS, all, named};
    use crate::plan::Plan;

    #[test]
    fn every_beginning_is_a_plan_with_its_sentence() {
        assert_eq!(all().len(), TEXTS.len());
        for one in all() {
            let plan = Plan::parse(&one.id, one.text);
            assert!(plan.is_ok(), "{}", one.id);
            assert!(one.about.ends_with('.'), "{}", one.about);
            assert_eq!(named(one.name), Some(one), "two of one name");
        }
    }
}
