//! What may be done next: which joints may be started, which wait and why, what would be closed over while open.
//!
//! Takes the standing of every joint as the core tells it. Knows nothing of records or sessions.

use std::collections::{HashMap, HashSet};
use std::fmt;

use evendraw_core::ledger::Standing;

use super::Plan;
use super::joint::Joint;
use crate::mark::Mark;

/// Why a joint is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hold {
    /// This joint must be final first.
    After(String),
    /// This joint is open and could not be reached any more.
    WouldClose(String),
    /// This part is not here.
    Part(String),
}

impl fmt::Display for Hold {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::After(joint) => write!(f, "{joint} must be final first"),
            Self::WouldClose(joint) => {
                write!(f, "{joint} is open and could not be reached any more")
            }
            Self::Part(part) => write!(f, "waits for a part: {part}"),
        }
    }
}

/// One joint in the light of all others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JointState {
    /// The joint's number.
    pub joint: u8,
    /// What can be done about it.
    pub state: Mark,
    /// What stands in the way; also of a joint that was begun all the same.
    pub holds: Vec<Hold>,
    /// Joints that it covers and that are open, though it is begun or done: they must be opened up again.
    pub closed_over: Vec<String>,
}

impl JointState {
    /// Why it is in this state, in one line.
    #[must_use]
    pub fn why(&self) -> String {
        let mut words: Vec<String> = match self.state {
            Mark::Ready => vec!["nothing stands in its way".to_owned()],
            Mark::Waiting => Vec::new(),
            Mark::InProgress => vec!["begun, not finished".to_owned()],
            Mark::MockUp => vec!["fitted for a trial: must come apart again".to_owned()],
            Mark::Doubtful => {
                vec!["a fastener is rejected, unknown or felt wrong".to_owned()]
            }
            Mark::Disturbed => vec![
                "a fastener is to be done again: disturbed, or loosened after a rejection"
                    .to_owned(),
            ],
            Mark::Due => vec!["final but for the retorque after running".to_owned()],
            Mark::Final => vec!["every stage is settled".to_owned()],
            Mark::Open | Mark::Accepted | Mark::Unmeasured | Mark::Skipped | Mark::Rejected => {
                Vec::new()
            }
        };
        // A joint that is closed has no use for what would have held it.
        if !self.state.is_closed() {
            words.extend(self.holds.iter().map(Hold::to_string));
        }
        words.extend(
            self.closed_over
                .iter()
                .map(|joint| format!("it covers {joint}, which is open")),
        );
        words.join("; ")
    }
}

/// The whole build.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Progress {
    joints: Vec<JointState>,
    next: Option<u8>,
}

impl Progress {
    /// Works it out. `standings` are in the order of the plan's joints; a joint without one is untouched. `is_here` says
    /// whether a part has arrived.
    #[must_use]
    pub fn of(plan: &Plan, standings: &[Standing], is_here: impl Fn(&str) -> bool) -> Self {
        let standing = |id: &str| {
            plan.joint(id)
                .and_then(|joint| standings.get(usize::from(joint.number())).copied())
                .unwrap_or(Standing::Untouched)
        };
        let is_closed = |id: &str| matches!(standing(id), Standing::Final | Standing::RetorqueDue);
        let joints: Vec<JointState> = plan
            .joints()
            .iter()
            .map(|joint| {
                let title = |id: &str| {
                    plan.joint(id)
                        .map_or_else(|| id.to_owned(), |other| other.title().to_owned())
                };
                let open = |id: &&str| !is_closed(id);
                let mut holds: Vec<Hold> = Vec::new();
                holds.extend(
                    joint
                        .needs()
                        .filter(|part| !is_here(part))
                        .map(|part| Hold::Part(part.to_owned())),
                );
                holds.extend(joint.after().filter(open).map(|id| Hold::After(title(id))));
                let covered: Vec<String> = joint.closes().filter(open).map(title).collect();
                let own = standing(joint.id());
                let untouched = own == Standing::Untouched;
                if untouched {
                    for open in &covered {
                        if !holds.contains(&Hold::After(open.clone())) {
                            holds.push(Hold::WouldClose(open.clone()));
                        }
                    }
                }
                let state = match own {
                    Standing::Untouched if holds.is_empty() => Mark::Ready,
                    Standing::Untouched => Mark::Waiting,
                    Standing::InHand => Mark::InProgress,
                    Standing::MockUp => Mark::MockUp,
                    Standing::Doubtful => Mark::Doubtful,
                    Standing::Disturbed => Mark::Disturbed,
                    Standing::Final => Mark::Final,
                    Standing::RetorqueDue => Mark::Due,
                };
                JointState {
                    joint: joint.number(),
                    state,
                    holds,
                    closed_over: if untouched || own == Standing::MockUp {
                        Vec::new()
                    } else {
                        covered
                    },
                }
            })
            .collect();
        let next = next(plan, &joints);
        Self { joints, next }
    }

    /// At the beginning: nothing touched, every part here that the plan does not say is on order.
    #[must_use]
    pub fn at_start(plan: &Plan) -> Self {
        Self::of(plan, &[], |name| !plan.is_on_order(name))
    }

    /// Every joint, in the order of the plan.
    #[must_use]
    pub fn joints(&self) -> &[JointState] {
        &self.joints
    }

    /// One joint.
    #[must_use]
    pub fn joint(&self, number: u8) -> Option<&JointState> {
        self.joints.get(usize::from(number))
    }

    /// The joint to go on with, by number: one that is begun before a new one, one that others wait for before others.
    #[must_use]
    pub const fn next(&self) -> Option<u8> {
        self.next
    }

    /// Whether every joint is final and nothing is due.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.joints.iter().all(|joint| joint.state == Mark::Final)
    }
}

fn next(plan: &Plan, joints: &[JointState]) -> Option<u8> {
    let in_state = |wanted: Mark| {
        joints
            .iter()
            .filter(move |joint| joint.state == wanted)
            .map(|joint| joint.joint)
    };
    for begun in [
        Mark::InProgress,
        Mark::Doubtful,
        Mark::Disturbed,
        Mark::MockUp,
    ] {
        if let Some(joint) = in_state(begun).next() {
            return Some(joint);
        }
    }
    // The last of equals in `max_by_key` wins, so the list is turned round to prefer the plan's own order.
    let mut list: Vec<u8> = in_state(Mark::Ready).collect();
    list.reverse();
    let mut waiting: HashMap<&str, Vec<&str>> = HashMap::new();
    for joint in plan.joints() {
        for earlier in joint.after().chain(joint.closes()) {
            waiting.entry(earlier).or_default().push(joint.id());
        }
    }
    list.into_iter().max_by_key(|&joint| {
        plan.joints()
            .get(usize::from(joint))
            .map_or(0, |joint| waiting_for(joint, &waiting))
    })
}

/// How many joints cannot begin before this one, directly or through others. `waiting` lists who waits for whom.
fn waiting_for(joint: &Joint, waiting: &HashMap<&str, Vec<&str>>) -> usize {
    let mut reached = HashSet::from([joint.id()]);
    let mut open = vec![joint.id()];
    while let Some(id) = open.pop() {
        for &other in waiting.get(id).into_iter().flatten() {
            if reached.insert(other) {
                open.push(other);
            }
        }
    }
    reached.len().saturating_sub(1)
}
