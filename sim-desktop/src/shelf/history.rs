//! What like joints showed over the builds of a shelf: rotation since snug, torque at the end of a turn, running torque.
//!
//! Like are joints with the same thread, class, grip and condition as typed, at a stage with the same windows up to there. The values are
//! those that fasteners of one joint are compared by (`evendraw_core::peers`), of real work alone. Knows nothing of who shows it.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use evendraw_core::peers::{What, unlike_before, values};
use evendraw_core::procedure::Procedure;
use evendraw_core::record::Entry;
use evendraw_core::session::Session;
use evendraw_core::unit::{Angle, Torque};
use serde::{Deserialize, Serialize};

use super::recall::thread_key;
use crate::job::Forerunners;
use crate::job::revision::Revisions;
use crate::job::status::plan_of;
use crate::plan::{JointPlan, Plan};
use crate::store::{Content, entries_of};
use crate::words;

/// Forerunners that a value is held against: the middle of so many is sure to a twentieth of their spread.
const COMPARED_MAX: usize = 501;

/// What makes joints like one another at a stage, and what was seen there.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Like {
    /// The thread, in one spelling.
    thread_key: String,
    class: String,
    grip: String,
    condition: String,
    /// Stage by index.
    pub stage: u8,
    /// Equal for equal windows up to this stage.
    likeness: u32,
    /// What was seen, as scripts know it.
    what: u8,
}

/// What one joint of a build showed at a stage.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Section {
    /// What it is like.
    pub like: Like,
    /// The joint in words: thread, class, grip, condition as typed.
    pub joint: String,
    /// The stage in words.
    pub sentence: String,
    /// The joint's id.
    pub id: String,
    /// Values by fastener's label, in mN·m or millidegrees.
    pub values: Vec<(String, i32)>,
}

impl Like {
    fn of(own: &JointPlan, stage: u8, likeness: u32, what: What) -> Self {
        let text = |text: &Option<String>| {
            let text = text.as_deref().unwrap_or_default();
            text.trim().to_lowercase()
        };
        Self {
            thread_key: thread_key(own.thread.as_deref().unwrap_or_default()),
            class: text(&own.class.clone().or_else(|| own.grade.clone())),
            grip: text(&own.grip),
            condition: text(&own.condition),
            stage,
            likeness,
            what: number(what),
        }
    }

    /// What was seen.
    #[must_use]
    pub fn what(&self) -> What {
        let known = What::ALL
            .into_iter()
            .find(|what| number(*what) == self.what);
        known.unwrap_or(What::Rotation)
    }
}

const fn number(what: What) -> u8 {
    match what {
        What::Rotation => 0,
        What::EndTorque => 1,
        What::RunningTorque => 2,
    }
}

/// What was seen, in words.
#[must_use]
pub const fn what_words(what: What) -> &'static str {
    match what {
        What::Rotation => "rotation since snug",
        What::EndTorque => "torque at the end of the turn",
        What::RunningTorque => "running torque",
    }
}

/// A value in words, with its unit.
#[must_use]
pub fn shown(what: What, value: i32) -> String {
    match what {
        What::Rotation => words::angle(Angle::from_millidegrees(value)),
        What::EndTorque | What::RunningTorque => {
            words::torque(Torque::from_millinewton_meters(value))
        }
    }
}

/// What the joints of a journal showed.
#[must_use]
pub fn sections(content: &Content, plan: &Plan) -> Vec<Section> {
    let mut list = Vec::new();
    let revisions = Revisions::of(&content.facts);
    for joint in plan.joints() {
        let number = joint.number();
        let own = plan_of(&content.facts, joint);
        // Records that cannot be folded are told of elsewhere.
        let entries = entries_of(&content.facts, number);
        let Ok(session) = Session::restore(&own.procedure, number, entries) else {
            continue;
        };
        let comparable = revisions.comparable(&content.facts, joint);
        let entries: Vec<&Entry> = comparable.iter().collect();
        list.extend(
            of_joint(own, &session, number, &entries, |fastener| {
                joint.label(fastener).to_owned()
            })
            .into_iter()
            .map(|section| Section {
                id: joint.id().to_owned(),
                ..section
            }),
        );
    }
    list
}

/// What one joint showed.
pub(crate) fn of_joint<P: Deref<Target = Procedure>>(
    own: &JointPlan,
    session: &Session<P>,
    number: u8,
    entries: &[&Entry],
    label: impl Fn(u8) -> String,
) -> Vec<Section> {
    let mut list: Vec<Section> = Vec::new();
    let told = in_words(own);
    for (stage, written) in (0_u8..).zip(&own.stages) {
        let entries = entries.iter().copied();
        values(
            session.procedure(),
            session.ledger(),
            number,
            stage,
            entries,
            |value| {
                let like = Like::of(own, stage, value.likeness, value.what);
                let one = (label(value.fastener), value.value);
                match list.iter_mut().find(|section| section.like == like) {
                    Some(section) => section.values.push(one),
                    None => list.push(Section {
                        like,
                        joint: told.clone(),
                        sentence: written.sentence(),
                        id: String::new(),
                        values: vec![one],
                    }),
                }
            },
        );
    }
    list
}

fn in_words(own: &JointPlan) -> String {
    let grip = own.grip.as_ref().map(|grip| format!("grip {grip}"));
    let grade = own.grade.as_ref().map(|grade| format!("grade {grade}"));
    let parts = [
        own.thread.clone(),
        own.class.clone().or(grade),
        grip,
        own.condition.clone(),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() {
        "no thread stated".to_owned()
    } else {
        parts.join(", ")
    }
}

/// What like joints showed, over many builds.
#[derive(Clone, Debug, Default)]
pub struct History {
    groups: BTreeMap<Like, Group>,
}

/// Like joints at a stage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Group {
    /// The joints in words.
    pub joint: String,
    /// The stage in words.
    pub sentence: String,
    /// The values of each joint, with the journal that it stands in.
    pub joints: Vec<(PathBuf, Vec<i32>)>,
}

impl Group {
    /// Every value in order, lowest first; without those of one journal, where one is named.
    #[must_use]
    pub fn values(&self, without: Option<&Path>) -> Vec<i32> {
        let joints = self.joints.iter();
        let mut list: Vec<i32> = joints
            .filter(|(path, _)| Some(path.as_path()) != without)
            .flat_map(|(_, values)| values.iter().copied())
            .collect();
        list.sort_unstable();
        list
    }

    /// Builds that its joints stand in.
    #[must_use]
    pub fn builds(&self) -> usize {
        let mut paths: Vec<&Path> = self.joints.iter().map(|(path, _)| path.as_path()).collect();
        paths.sort_unstable();
        paths.dedup();
        paths.len()
    }
}

impl History {
    /// Takes what a build showed.
    pub fn take(&mut self, path: &Path, sections: &[Section]) {
        for section in sections {
            let group = self
                .groups
                .entry(section.like.clone())
                .or_insert_with(|| Group {
                    joint: section.joint.clone(),
                    sentence: section.sentence.clone(),
                    joints: Vec::new(),
                });
            let values = section.values.iter().map(|(_, value)| *value).collect();
            group.joints.push((path.to_owned(), values));
        }
    }

    /// Every group, by thread and stage.
    pub fn groups(&self) -> impl Iterator<Item = (&Like, &Group)> {
        self.groups.iter()
    }

    /// The journals that it has values of.
    fn paths(&self) -> BTreeSet<&Path> {
        let joints = self.groups.values().flat_map(|group| &group.joints);
        joints.map(|(path, _)| path.as_path()).collect()
    }

    /// How many builds it has values of.
    #[must_use]
    pub fn builds(&self) -> usize {
        self.paths().len()
    }

    /// The journal among them that a file is, however it is named.
    #[must_use]
    pub fn journal(&self, path: &Path) -> Option<&Path> {
        let real = |path: &Path| std::fs::canonicalize(path).ok();
        let own = real(path)?;
        let mut paths = self.paths().into_iter();
        paths.find(|path| real(path).as_ref() == Some(&own))
    }

    /// What forerunners of a section showed, lowest first: like joints of every journal but its own.
    #[must_use]
    pub fn before(&self, like: &Like, own: Option<&Path>) -> Vec<i32> {
        let group = self.groups.get(like);
        group.map_or_else(Vec::new, |group| group.values(own))
    }

    /// The forerunners of a job that is kept in a journal, for the comparison while it is worked.
    #[must_use]
    pub fn forerunners(&self, own: Option<&Path>) -> Forerunners {
        let own = own.and_then(|own| self.journal(own));
        let known: BTreeMap<Like, Arc<[i32]>> = self
            .groups
            .iter()
            .map(|(like, group)| (like.clone(), thinned(&group.values(own)).into()))
            .collect();
        Forerunners::new(Arc::new(move |own, stage, likeness, what| {
            let like = Like::of(own, stage, likeness, what);
            known.get(&like).map_or_else(|| Arc::from([]), Arc::clone)
        }))
    }

    /// The values of a section that are unlike, where its peers include its forerunners; each with the median. Nothing where it has no
    /// forerunners: then the peers of the joint itself say all there is.
    #[must_use]
    pub fn unlike<'s>(&self, section: &'s Section, own: Option<&Path>) -> Vec<(&'s str, i32, i32)> {
        let before = self.before(&section.like, own);
        if before.is_empty() {
            return Vec::new();
        }
        let mut all = thinned(&before);
        all.extend(section.values.iter().map(|(_, value)| *value));
        let mut room = all.clone();
        let mut found = Vec::new();
        for (label, value) in &section.values {
            room.clone_from(&all);
            if let Some(median) = unlike_before(section.like.what(), *value, &mut room) {
                found.push((label.as_str(), *value, median));
            }
        }
        found
    }
}

/// Values in order, evenly thinned to what a comparison needs: the middle and the spread stay what they were, and a joint of many
/// fasteners is compared between two pulls.
fn thinned(sorted: &[i32]) -> Vec<i32> {
    let Some(last) = sorted
        .len()
        .checked_sub(1)
        .filter(|last| *last >= COMPARED_MAX)
    else {
        return sorted.to_vec();
    };
    (0..COMPARED_MAX)
        .filter_map(|at| sorted.get(at * last / (COMPARED_MAX - 1)).copied())
        .collect()
}

/// A distribution in figures. All in the unit of the values.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Spread {
    /// The lowest.
    pub least: i32,
    /// A twentieth lies at or below.
    pub low: i32,
    /// The middle.
    pub median: i32,
    /// A twentieth lies at or above.
    pub high: i32,
    /// The highest.
    pub most: i32,
}

impl Spread {
    /// Of values in order; none of no values.
    #[must_use]
    pub fn of(sorted: &[i32]) -> Option<Self> {
        let last = sorted.len().checked_sub(1)?;
        // Nearest rank: always a value that was seen.
        let at = |twentieths: usize| sorted.get((last * twentieths + 10) / 20).copied();
        Some(Self {
            least: at(0)?,
            low: at(1)?,
            median: at(10)?,
            high: at(19)?,
            most: at(20)?,
        })
    }
}

/// How many values lie in each of `parts` equal parts from the lowest to the highest.
#[must_use]
pub fn counts(sorted: &[i32], parts: usize) -> Vec<usize> {
    let mut list = vec![0; parts];
    let (Some(&least), Some(&most)) = (sorted.first(), sorted.last()) else {
        return list;
    };
    let span = i64::from(most) - i64::from(least) + 1;
    for &value in sorted {
        let above = i64::from(value) - i64::from(least);
        let wide = i64::try_from(parts).unwrap_or(i64::MAX);
        let part = usize::try_from(above * wide / span).unwrap_or(0);
        if let Some(count) = list.get_mut(part) {
            *count += 1;
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_is_made_of_values_that_were_seen() {
        let values: Vec<i32> = (0..=100).collect();
        let spread = Spread::of(&values).expect("values");
        assert_eq!(
            (
                spread.least,
                spread.low,
                spread.median,
                spread.high,
                spread.most
            ),
            (0, 5, 50, 95, 100)
        );
        assert_eq!(
            Spread::of(&[7]).map(|one| (one.low, one.high)),
            Some((7, 7))
        );
        assert_eq!(Spread::of(&[]), None);
    }

    #[test]
    fn every_value_is_counted_once() {
        assert_eq!(counts(&[0, 1, 2, 3, 4, 5, 6, 7, 8, 9], 5), [2; 5]);
        assert_eq!(counts(&[4, 4, 4], 3), [3, 0, 0]);
        assert_eq!(counts(&[i32::MIN, i32::MAX], 2), [1, 1]);
        assert_eq!(counts(&[], 2), [0, 0]);
    }

    #[test]
    fn thinned_values_keep_their_middle_and_their_ends() {
        let values: Vec<i32> = (0..100_000).map(|at| at * 7).collect();
        let few = thinned(&values);
        assert_eq!(few.len(), COMPARED_MAX);
        let (all, few) = (Spread::of(&values), Spread::of(&few));
        let (all, few) = (all.expect("values"), few.expect("values"));
        assert_eq!((all.least, all.most), (few.least, few.most));
        for (one, other) in [
            (all.low, few.low),
            (all.median, few.median),
            (all.high, few.high),
        ] {
            assert!(one.abs_diff(other) < 1_500, "{one} {other}");
        }
    }
}
