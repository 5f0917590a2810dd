//! One build as the shelf needs it: how it stands, and every attempt with the limits that it was held against.
//!
//! How it stands is what `job::status` says. Knows nothing of index files, questions or tables.

use std::path::Path;

use evendraw_core::audit::torque_window;
use evendraw_core::procedure::StageKind;
use evendraw_core::record::{Attempt, Record};
use evendraw_core::unit::{Angle, Torque};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::disk;
use crate::job::revision::Revisions;
use crate::job::status::{Clock, Hands, How, Kept, Status, attempt_of, counted, peak_of, plan_of};
use crate::limits::read_plan;
use crate::mark::Mark;
use crate::plan::{Joint, JointPlan, Plan};
use crate::store::{Content, Fact, HostFact, PlanPieces};
use crate::words;

/// One build.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Build {
    /// What is built.
    pub title: String,
    /// Which one: engine, serial.
    pub unit: String,
    /// The document that it is worked to, as the last text of the plan says.
    pub document: String,
    /// On no metal.
    pub rehearsal: bool,
    /// Its values are invented.
    pub demo: bool,
    /// How it stands.
    pub standing: Standing,
    /// Its joints, in the plan's order.
    pub joints: Vec<JointHead>,
    /// Tools, people and documents that the attempts name by place; the first is always "nothing".
    pub names: Vec<String>,
    /// Every attempt, in the order of the journal.
    pub pulls: Vec<Pull>,
    /// What of the journal did not read, in words.
    pub flaws: Vec<String>,
    /// Some of its records are of kinds that this program does not know.
    pub is_newer: bool,
}

/// How a build stands, as the projection says.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Standing {
    /// Its state.
    pub mark: Mark,
    /// Its state in words.
    pub words: String,
    /// Steps settled.
    pub done: usize,
    /// Steps in all.
    pub steps: usize,
    /// Seconds since 1970 of the last record whose time is known.
    pub last_worked: Option<i64>,
    /// What is next, in words.
    pub next: String,
    /// Things open.
    pub open: usize,
    /// Retorques that are still waited for, in words.
    pub retorques: Vec<String>,
    /// Doubts that nobody has settled, in words.
    pub doubts: Vec<String>,
    /// Tools that were named or are planned, and whose calibration has run out; none once the build is complete. Of a tool of the
    /// register this is what it was when the plan was read.
    pub expired: Vec<String>,
    /// Tools taken from the register; none once the build is complete.
    pub registered: Vec<String>,
    /// Parts that are waited for.
    pub parts: Vec<String>,
}

/// A joint.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct JointHead {
    /// Its number in records.
    pub number: u8,
    /// Its id in the plan.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Its state, in one word.
    pub state: String,
    /// Thread as typed; empty where the plan has none.
    pub thread: String,
    /// Class or grade as typed.
    pub class: String,
    /// Grip as typed.
    pub grip: String,
    /// What must be on the threads, as typed.
    pub condition: String,
    /// The parts that it needs.
    pub needs: Vec<String>,
    /// Its fasteners by label.
    pub labels: Vec<String>,
    /// Each fastener's state, in one word.
    pub states: Vec<String>,
    /// Its stages: the kind, and the whole in one line.
    pub stages: Vec<(String, String)>,
}

/// One attempt with its circumstances.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pull {
    /// The joint's number.
    pub joint: u8,
    /// Its number among the records of the joint.
    pub seq: u32,
    /// Seconds since 1970; none where the time is not known.
    pub at: Option<i64>,
    /// The tool, or the adapter's serial number: a place in [`Build::names`].
    pub tool: u16,
    /// Who worked.
    pub person: u16,
    /// The document of the plan that was worked to.
    pub document: u16,
    /// Lower limit of the torque, in mN·m, running torque put in.
    pub low: Option<i32>,
    /// Upper limit.
    pub high: Option<i32>,
    /// Lower limit of the angle, in millidegrees.
    pub angle_low: Option<i32>,
    /// Upper limit.
    pub angle_high: Option<i32>,
    /// A turn: its lower torque limit is held against the torque at its end.
    pub is_turn: bool,
    /// No later attempt at the same step counts.
    pub is_last: bool,
    /// It was neither withdrawn nor on another fastener.
    pub counts: bool,
    /// The record, of the same joint, that it takes the place of: that pull was on this fastener.
    pub instead_of: Option<u32>,
    /// How the values came to be, as scripts know it: a place in [`Build::names`].
    pub evidence: u16,
    /// A torque is known: whoever read an angle alone knows none.
    pub has_torque: bool,
    /// The record; of what a person read or set, the same in an attempt's words.
    pub attempt: Attempt,
}

impl Pull {
    /// The torque that tells of the attempt, in mN·m: of a turn the one it ended at, else the highest; of a tool that was set, what the
    /// setting stands for. None where nobody knows it.
    #[must_use]
    pub const fn torque(&self) -> Option<i32> {
        let attempt = &self.attempt;
        match (self.has_torque, self.is_turn) {
            (false, _) => None,
            (true, true) => Some(attempt.final_torque.millinewton_meters()),
            (true, false) => Some(attempt.peak.millinewton_meters()),
        }
    }

    /// The highest torque, in mN·m: what the upper limit is held against. None where nobody knows it.
    #[must_use]
    pub const fn peak(&self) -> Option<i32> {
        if self.has_torque {
            Some(self.attempt.peak.millinewton_meters())
        } else {
            None
        }
    }
}

impl Build {
    /// What a journal says, on this day. `plan` is the one in it, where that is whole.
    #[must_use]
    pub fn of(content: &Content, plan: Option<&Plan>, today: Date) -> Self {
        let rehearsal = content.rehearsal().unwrap_or(true);
        let mut build = Self {
            rehearsal,
            names: vec![String::new()],
            flaws: flaws(content),
            is_newer: content.damage.iter().any(|damage| damage.is_newer),
            ..Self::default()
        };
        let clock = Clock::of(&content.facts, rehearsal);
        match plan {
            Some(plan) => build.take_plan(plan, content, &clock, today),
            None => {
                build.flaws.push(
                    "its plan is lost or does not read: joints and fasteners are told by number, limits are not known"
                        .to_owned(),
                );
                build.standing.words = "its plan is lost".to_owned();
                build.standing.mark = Mark::Doubtful;
            }
        }
        build.take_pulls(plan, content, &clock);
        build
    }

    /// Of a plan alone: nothing was done yet.
    #[must_use]
    pub fn before_work(plan: &Plan, today: Date) -> Self {
        let mut build = Self {
            names: vec![String::new()],
            ..Self::default()
        };
        let content = Content::default();
        let clock = Clock::of(&[], false);
        build.take_plan(plan, &content, &clock, today);
        build
    }

    /// What nobody may take for work: `REHEARSAL`, invented values; empty for real work.
    #[must_use]
    pub fn not_work(&self) -> String {
        let rehearsal = self.rehearsal.then_some("REHEARSAL");
        let demo = self.demo.then_some(words::DEMO);
        let parts: Vec<&str> = rehearsal.into_iter().chain(demo).collect();
        parts.join(", ")
    }

    /// The joint with this number.
    #[must_use]
    pub fn joint(&self, number: u8) -> Option<&JointHead> {
        self.joints.iter().find(|joint| joint.number == number)
    }

    /// What stands at a place of [`Build::names`].
    #[must_use]
    pub fn name(&self, place: u16) -> &str {
        self.names
            .get(usize::from(place))
            .map_or("", String::as_str)
    }

    /// The id of a joint; its number where the plan is lost.
    #[must_use]
    pub fn joint_id(&self, number: u8) -> String {
        self.joint(number)
            .map_or_else(|| format!("joint {number}"), |joint| joint.id.clone())
    }

    /// The label of a fastener; its index where the plan is lost.
    #[must_use]
    pub fn label(&self, joint: u8, fastener: u8) -> String {
        self.joint(joint)
            .and_then(|joint| joint.labels.get(usize::from(fastener)))
            .cloned()
            .unwrap_or_else(|| format!("index {fastener}"))
    }

    fn take_plan(&mut self, plan: &Plan, content: &Content, clock: &Clock, today: Date) {
        let head = plan.build();
        self.title.clone_from(&head.title);
        self.unit = head.unit.clone().unwrap_or_default();
        self.document = head.document.clone().unwrap_or_default();
        let kept = Kept::on(plan, content, None, today);
        let status = kept.status();
        self.demo = status.demo;
        self.standing = Standing::of(&status, plan, content, clock);
        for (joint, told) in plan.joints().iter().zip(&status.joints) {
            let own = plan_of(&content.facts, joint);
            let text = |text: &Option<String>| text.clone().unwrap_or_default();
            let states = told.fasteners.iter().map(|own| own.mark);
            self.joints.push(JointHead {
                number: joint.number(),
                id: joint.id().to_owned(),
                title: joint.title().to_owned(),
                state: told.mark.word().to_owned(),
                thread: text(&own.thread),
                class: own.class.clone().unwrap_or_else(|| {
                    own.grade
                        .as_ref()
                        .map_or_else(String::new, |grade| format!("grade {grade}"))
                }),
                grip: text(&own.grip),
                condition: text(&own.condition),
                needs: joint.needs().map(str::to_owned).collect(),
                labels: joint
                    .positions()
                    .iter()
                    .map(|position| position.label.clone())
                    .collect(),
                states: states
                    .map(|mark| mark.map_or("", Mark::word).to_owned())
                    .collect(),
                stages: own
                    .stages
                    .iter()
                    .map(|stage| (stage.word.to_owned(), stage.sentence()))
                    .collect(),
            });
        }
    }

    fn take_pulls(&mut self, plan: Option<&Plan>, content: &Content, clock: &Clock) {
        let revisions = Revisions::of(&content.facts);
        let mut hands = Hands::default();
        let mut documents = Documents::default();
        let mut adapters = std::collections::BTreeMap::<u8, String>::new();
        let plans: Vec<(&Joint, &JointPlan)> = plan.map_or_else(Vec::new, |plan| {
            let joints = plan.joints().iter();
            joints
                .map(|joint| (joint, plan_of(&content.facts, joint)))
                .collect()
        });
        let mut places = std::collections::BTreeMap::<(u8, u32), usize>::new();
        for fact in &content.facts {
            let entry = match fact {
                Fact::Entry(entry) => entry,
                Fact::Host(fact) => {
                    documents.take(fact);
                    if let HostFact::AtAdapter { joint, serial } = fact {
                        adapters.insert(*joint, serial.clone());
                    }
                    continue;
                }
            };
            hands.take(entry);
            let moved = entry.record.puts_right().and_then(|of| {
                let place = *places.get(&(entry.joint, of))?;
                let before = self.pulls.get_mut(place)?;
                before.counts = false;
                Some(before.clone())
            });
            let Some(attempt) = attempt_of(&entry.record) else {
                continue;
            };
            let tool = match hands.tool(entry.joint) {
                // An adapter is its own tool.
                "" => adapters.get(&entry.joint).map_or("", String::as_str),
                named => named,
            };
            let (tool, person) = (self.place(tool), self.place(hands.person(entry.joint)));
            let document = self.place(&documents.now);
            let own = plans
                .iter()
                .find(|(joint, _)| joint.number() == entry.joint)
                .map(|(_, own)| *own);
            let mut pull = Pull {
                joint: entry.joint,
                seq: entry.seq,
                at: clock.unix(entry),
                tool,
                person,
                document,
                low: None,
                high: None,
                angle_low: None,
                angle_high: None,
                is_turn: false,
                is_last: true,
                counts: true,
                instead_of: None,
                evidence: self.place(How::of(&entry.record).map_or("", How::key)),
                has_torque: match &entry.record {
                    // What it was set to stands for a torque that the tool's error changes.
                    Record::BySetting(_) => true,
                    record => peak_of(record).is_some(),
                },
                attempt: attempt.into_owned(),
            };
            // Where the joint went on under another plan, the limits of its time; not known where that plan is lost.
            let own = own.and_then(|own| revisions.joint_plan(&content.facts, entry, own));
            if let Some(own) = own {
                pull.take_limits(own);
            }
            if let Some(before) = moved {
                // The same pull: whoever put it right later, it was made then and by those hands.
                pull.instead_of = Some(before.seq);
                pull.at = before.at;
                pull.tool = before.tool;
                pull.person = before.person;
                pull.document = before.document;
            }
            places.insert((entry.joint, entry.seq), self.pulls.len());
            self.pulls.push(pull);
        }
        let mut seen = std::collections::BTreeSet::new();
        for pull in self.pulls.iter_mut().rev() {
            pull.is_last = pull.counts && seen.insert((pull.joint, pull.attempt.step));
        }
    }

    fn place(&mut self, name: &str) -> u16 {
        let at = self.names.iter().position(|known| known == name);
        let at = at.unwrap_or_else(|| {
            self.names.push(name.to_owned());
            self.names.len() - 1
        });
        u16::try_from(at).unwrap_or(0)
    }
}

impl Pull {
    fn take_limits(&mut self, own: &JointPlan) {
        let procedure = &own.procedure;
        let step = self.attempt.step;
        self.is_turn = procedure
            .stage_of(step)
            .is_some_and(|stage| matches!(stage.kind, StageKind::Turn { .. }));
        let window = match procedure.stage_of(step).map(|stage| stage.kind) {
            // The limits of its end; an angle is what it is judged by.
            Some(StageKind::Turn { torque, .. }) => torque,
            _ => torque_window(procedure, &self.attempt),
        };
        if let Some(window) = window {
            let low = window.min.millinewton_meters();
            self.low = (window.min > Torque::ZERO).then_some(low);
            let high = window.max.millinewton_meters();
            self.high = (window.max < Torque::MAX).then_some(high);
        }
        if let Some(window) = procedure.angle_window(step) {
            self.angle_low = Some(window.min.millidegrees());
            self.angle_high = (window.max < Angle::MAX).then_some(window.max.millidegrees());
        }
    }
}

impl Standing {
    fn of(status: &Status, plan: &Plan, content: &Content, clock: &Clock) -> Self {
        let is_open = !status.is_complete();
        let doubts = status
            .open
            .iter()
            .filter(|item| item.mark == Mark::Doubtful)
            .map(|item| item.line());
        Self {
            mark: status.mark(),
            words: status.headline(),
            done: status.joints.iter().map(|joint| joint.done).sum(),
            steps: status.joints.iter().map(|joint| joint.steps).sum(),
            last_worked: content
                .entries()
                .filter_map(|entry| clock.unix(entry))
                .max(),
            next: status
                .next
                .as_ref()
                .map_or_else(String::new, |next| next.words.clone()),
            open: status.open.len(),
            retorques: status.due.iter().map(|item| item.line()).collect(),
            doubts: doubts.collect(),
            expired: status
                .tools
                .iter()
                .filter(|tool| is_open && tool.is_expired)
                .map(|tool| tool.id.clone())
                .collect(),
            registered: if is_open {
                plan.build().tools.clone()
            } else {
                Vec::new()
            },
            parts: status.waiting().into_iter().map(str::to_owned).collect(),
        }
    }
}

/// The document of the text that is worked to, as the journal goes on.
#[derive(Default)]
struct Documents {
    now: String,
    pieces: PlanPieces,
}

impl Documents {
    fn take(&mut self, fact: &HostFact) {
        self.pieces.take(fact);
        if matches!(fact, HostFact::Plan { .. })
            && let Some((_, text)) = self.pieces.whole()
        {
            self.now = document_of(text);
        }
    }
}

/// The plan that a journal was last worked to; none where a piece of it is lost.
pub(super) fn plan_in(content: &Content) -> Option<Plan> {
    let (name, text) = content.plan()?;
    Plan::parse(&name, &text).ok()
}

/// `[build] document` of a plan's text. The text was read as a plan when work began.
fn document_of(text: &str) -> String {
    let table = text.parse::<toml::Table>().ok();
    let own = table
        .as_ref()
        .and_then(|table| table.get("build")?.get("document")?.as_str());
    own.unwrap_or_default().to_owned()
}

fn flaws(content: &Content) -> Vec<String> {
    let mut flaws: Vec<String> = Vec::new();
    let unknown = content
        .damage
        .iter()
        .filter(|damage| damage.is_newer)
        .count();
    let torn = content.damage.iter().filter(|damage| damage.torn).count();
    let broken = content.damage.len() - unknown - torn;
    if unknown > 0 {
        flaws.push(format!(
            "{} of a kind that this program does not know, made by a newer one; the rest is read",
            counted(unknown, "record")
        ));
    }
    if broken > 0 {
        flaws.push(format!(
            "damaged in {}, records may be missing; the rest is read",
            counted(broken, "place")
        ));
    }
    if torn > 0 {
        flaws.push("its last write was cut off; nothing that was announced is in it".to_owned());
    }
    if let Some(lost) = content.beginning_lost() {
        flaws.push(lost.to_owned());
    }
    flaws
}

/// A build that no journal was begun for; none where the file is no plan at all.
pub(super) fn of_plan(path: &Path, today: Date) -> Result<Option<Build>, String> {
    let text = read_plan(path).map_err(|error| format!("cannot be read: {error}: passed over"))?;
    if !text
        .lines()
        .any(|line| line.trim_start().starts_with("[[joint]]"))
    {
        return Ok(None);
    }
    let name = path
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    match Plan::read(&name, &text, disk::folder_of(path)) {
        Ok(plan) => Ok(Some(Build::before_work(&plan, today))),
        Err(_) => Err("a plan with errors, `evendraw check` says which: passed over".to_owned()),
    }
}
