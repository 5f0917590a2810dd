//! What may be done next: which joints and tasks may be started, which wait and why, what would be closed over while open.
//!
//! Takes the standing of every joint as the core tells it, and what was said of every task. Knows nothing of records or sessions.

use std::collections::{HashMap, HashSet};
use std::fmt;

use evendraw_core::ledger::Standing;

use super::Plan;
use super::joint::Joint;
use super::task::{Task, TaskTime};
use crate::mark::Mark;

/// Why a joint or a task is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hold {
    /// This joint must be final first.
    After(String),
    /// This joint is open and could not be reached any more.
    WouldClose(String),
    /// This task must be done first.
    Task(String),
    /// This part is not here.
    Part(String),
    /// It is done last, and this many joints and tasks are open.
    Others(usize),
}

impl fmt::Display for Hold {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::After(joint) => write!(f, "{joint} must be final first"),
            Self::WouldClose(joint) => {
                write!(f, "{joint} is open and could not be reached any more")
            }
            Self::Task(task) => write!(f, "{task}: must be done first"),
            Self::Part(part) => write!(f, "waits for a part: {part}"),
            Self::Others(1) => f.write_str("done last, and one more is open"),
            Self::Others(open) => write!(f, "done last, and {open} more are open"),
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
                "a fastener is to be done again: disturbed, loosened after a rejection, or its stage was changed"
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

/// What was said of a task.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TaskStanding {
    /// Nothing.
    #[default]
    Open,
    /// It is done.
    Done,
    /// It was done, and what it belongs to came apart since.
    Undone,
}

/// One task in the light of everything else.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaskState {
    /// [`Mark::Ready`], [`Mark::Waiting`], [`Mark::Final`] when it is done, [`Mark::Disturbed`] when it was and is no more.
    pub state: Mark,
    /// What stands in the way.
    pub holds: Vec<Hold>,
    /// What it covers and is open though it is done.
    pub closed_over: Vec<String>,
}

impl TaskState {
    /// The word for it: a task is done, not final.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self.state {
            Mark::Final => "done",
            Mark::Disturbed => "undone",
            state => state.word(),
        }
    }

    /// Whether it may be done now.
    #[must_use]
    pub fn may_be_done(&self) -> bool {
        self.holds.is_empty() && self.state != Mark::Final
    }

    /// Why it is in this state, in one line.
    #[must_use]
    pub fn why(&self) -> String {
        let mut words: Vec<String> = match self.state {
            Mark::Disturbed => vec!["to be done again".to_owned()],
            Mark::Ready => vec!["nothing stands in its way".to_owned()],
            _ => Vec::new(),
        };
        if self.state != Mark::Final {
            words.extend(self.holds.iter().map(Hold::to_string));
        }
        let covered = self.closed_over.iter();
        words.extend(covered.map(|name| format!("it covers {name}, which is open")));
        words.join("; ")
    }
}

/// The whole build.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Progress {
    joints: Vec<JointState>,
    tasks: Vec<TaskState>,
    next: Option<u8>,
    next_task: Option<usize>,
}

impl Progress {
    /// Works it out, no task done. `standings` are in the order of the plan's joints; a joint without one is untouched. `is_here`
    /// says whether a part has arrived.
    #[must_use]
    pub fn of(plan: &Plan, standings: &[Standing], is_here: impl Fn(&str) -> bool) -> Self {
        Self::with_tasks(plan, standings, is_here, |_| TaskStanding::Open)
    }

    /// The same, with what was said of every task, by its id.
    #[must_use]
    pub fn with_tasks(
        plan: &Plan,
        standings: &[Standing],
        is_here: impl Fn(&str) -> bool,
        said: impl Fn(&str) -> TaskStanding,
    ) -> Self {
        let all = All {
            plan,
            standings,
            said: plan.tasks().iter().map(|task| said(task.id())).collect(),
        };
        let joints: Vec<JointState> = plan
            .joints()
            .iter()
            .map(|joint| all.joint(joint, &is_here))
            .collect();
        let tasks: Vec<TaskState> = plan
            .tasks()
            .iter()
            .map(|task| all.task(task, &is_here))
            .collect();
        let next = next(plan, &joints);
        let next_task = tasks.iter().position(TaskState::may_be_done);
        Self {
            joints,
            tasks,
            next,
            next_task,
        }
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

    /// Every task, in the order of the plan.
    #[must_use]
    pub fn tasks(&self) -> &[TaskState] {
        &self.tasks
    }

    /// The task to go on with, by its place in the plan: the first that may be done.
    #[must_use]
    pub const fn next_task(&self) -> Option<usize> {
        self.next_task
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

    /// Whether every joint is final, every task done and nothing due.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.joints.iter().all(|joint| joint.state == Mark::Final)
            && self.tasks.iter().all(|task| task.state == Mark::Final)
    }
}

/// Everything that one joint or task is seen in the light of.
struct All<'a> {
    plan: &'a Plan,
    standings: &'a [Standing],
    /// In the order of the plan's tasks.
    said: Vec<TaskStanding>,
}

impl All<'_> {
    fn standing(&self, joint: &Joint) -> Standing {
        let standing = self.standings.get(usize::from(joint.number()));
        standing.copied().unwrap_or(Standing::Untouched)
    }

    /// Whether the joint with this id is closed, or the task done.
    fn is_closed(&self, id: &str) -> bool {
        match self.plan.joint(id) {
            Some(joint) => matches!(
                self.standing(joint),
                Standing::Final | Standing::RetorqueDue
            ),
            None => self.said_of(id) == TaskStanding::Done,
        }
    }

    fn said_of(&self, id: &str) -> TaskStanding {
        let place = self.plan.tasks().iter().position(|task| task.id() == id);
        place
            .and_then(|place| self.said.get(place))
            .copied()
            .unwrap_or_default()
    }

    fn title(&self, id: &str) -> String {
        match (self.plan.joint(id), self.plan.task(id)) {
            (Some(joint), _) => joint.title().to_owned(),
            (None, Some(task)) => task.title().to_owned(),
            (None, None) => id.to_owned(),
        }
    }

    fn holds<'n>(
        &self,
        needs: impl Iterator<Item = &'n str>,
        after: impl Iterator<Item = &'n str>,
        is_here: impl Fn(&str) -> bool,
    ) -> Vec<Hold> {
        let missing = needs.filter(|part| !is_here(part));
        let mut holds: Vec<Hold> = missing.map(|part| Hold::Part(part.to_owned())).collect();
        holds.extend(after.filter(|id| !self.is_closed(id)).map(|id| {
            if self.plan.joint(id).is_some() {
                Hold::After(self.title(id))
            } else {
                Hold::Task(self.title(id))
            }
        }));
        holds
    }

    /// What would be closed over counts once, as something that comes first or as something that is covered.
    fn would_close(covered: &[String], holds: &mut Vec<Hold>) {
        for open in covered {
            let known = [Hold::After(open.clone()), Hold::Task(open.clone())];
            if !known.iter().any(|hold| holds.contains(hold)) {
                holds.push(Hold::WouldClose(open.clone()));
            }
        }
    }

    fn covered<'n>(&self, closes: impl Iterator<Item = &'n str>) -> Vec<String> {
        let open = closes.filter(|id| !self.is_closed(id));
        open.map(|id| self.title(id)).collect()
    }

    fn joint(&self, joint: &Joint, is_here: &impl Fn(&str) -> bool) -> JointState {
        let mut holds = self.holds(joint.needs(), joint.after(), is_here);
        let covered = self.covered(joint.closes());
        let own = self.standing(joint);
        let untouched = own == Standing::Untouched;
        if untouched {
            Self::would_close(&covered, &mut holds);
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
    }

    fn task(&self, task: &Task, is_here: &impl Fn(&str) -> bool) -> TaskState {
        let mut holds = self.holds(task.needs(), task.after(), is_here);
        let covered = self.covered(task.closes());
        let said = self.said_of(task.id());
        let is_done = said == TaskStanding::Done;
        if !is_done {
            Self::would_close(&covered, &mut holds);
        }
        if task.at() == TaskTime::BeforeStart {
            let joints = self.plan.joints().iter().map(Joint::id);
            let in_order = |other: &&Task| other.at() != TaskTime::BeforeStart;
            let others = self.plan.tasks().iter().filter(in_order).map(Task::id);
            let open = joints.chain(others).filter(|id| !self.is_closed(id));
            match open.count() {
                0 => {}
                open => holds.push(Hold::Others(open)),
            }
        }
        TaskState {
            state: match said {
                TaskStanding::Done => Mark::Final,
                TaskStanding::Undone => Mark::Disturbed,
                TaskStanding::Open if holds.is_empty() => Mark::Ready,
                TaskStanding::Open => Mark::Waiting,
            },
            holds,
            closed_over: if is_done { covered } else { Vec::new() },
        }
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
    for task in plan.tasks() {
        for earlier in task.after().chain(task.closes()) {
            waiting.entry(earlier).or_default().push(task.id());
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
