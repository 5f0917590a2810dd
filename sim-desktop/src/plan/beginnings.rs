//! Beginnings: plans of the kinds of procedure that manuals contain, each with one sentence.
//!
//! Their figures are invented; what is taken from them is the manner. Knows nothing of who begins with them.

use std::sync::LazyLock;

/// A plan to begin with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beginning {
    /// By what it is asked for: `P7`.
    pub id: String,
    /// One sentence about it.
    pub about: String,
    /// The plan.
    pub text: &'static str,
}

const TEXTS: [(&str, &str); 27] = [
    ("P01", include_str!("beginnings/P01.toml")),
    ("P02", include_str!("beginnings/P02.toml")),
    ("P03", include_str!("beginnings/P03.toml")),
    ("P04", include_str!("beginnings/P04.toml")),
    ("P05", include_str!("beginnings/P05.toml")),
    ("P06", include_str!("beginnings/P06.toml")),
    ("P07", include_str!("beginnings/P07.toml")),
    ("P08", include_str!("beginnings/P08.toml")),
    ("P09", include_str!("beginnings/P09.toml")),
    ("P10", include_str!("beginnings/P10.toml")),
    ("P11", include_str!("beginnings/P11.toml")),
    ("P12", include_str!("beginnings/P12.toml")),
    ("P13", include_str!("beginnings/P13.toml")),
    ("P14", include_str!("beginnings/P14.toml")),
    ("P15", include_str!("beginnings/P15.toml")),
    ("P16", include_str!("beginnings/P16.toml")),
    ("P17", include_str!("beginnings/P17.toml")),
    ("P18", include_str!("beginnings/P18.toml")),
    ("P19", include_str!("beginnings/P19.toml")),
    ("P20", include_str!("beginnings/P20.toml")),
    ("P21", include_str!("beginnings/P21.toml")),
    ("P22", include_str!("beginnings/P22.toml")),
    ("P23", include_str!("beginnings/P23.toml")),
    ("P24", include_str!("beginnings/P24.toml")),
    ("P25", include_str!("beginnings/P25.toml")),
    ("P26", include_str!("beginnings/P26.toml")),
    ("P27", include_str!("beginnings/P27.toml")),
];

/// The sentence stands in the first line of each.
static ALL: LazyLock<Vec<Beginning>> = LazyLock::new(|| {
    let read = |&(_, text): &(&'static str, &'static str)| {
        let first = text.lines().next()?.strip_prefix("# ")?;
        let (id, about) = first.split_once(": ")?;
        let mut about = about.to_owned();
        if let Some(letter) = about.get_mut(..1) {
            letter.make_ascii_uppercase();
        }
        Some(Beginning {
            id: id.to_owned(),
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

/// The beginning of this id, in whatever case it is typed.
#[must_use]
pub fn named(id: &str) -> Option<&'static Beginning> {
    all().iter().find(|one| one.id.eq_ignore_ascii_case(id))
}

#[cfg(test)]
mod tests {
    use super::{TEXTS, all};
    use crate::plan::Plan;

    #[test]
    fn every_beginning_is_a_plan_with_its_sentence() {
        assert_eq!(all().len(), TEXTS.len());
        for one in all() {
            let plan = Plan::parse(&one.id, one.text);
            assert!(plan.is_ok(), "{}", one.id);
            assert!(one.about.ends_with('.'), "{}", one.about);
        }
    }
}
