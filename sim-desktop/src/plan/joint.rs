//! One joint of the plan: what it is, and for each set of answers the procedure it compiles to.
//!
//! Knows nothing of the other joints: names of them are checked in `check`.

mod compile;
mod keys;
mod metal;
mod picture;
mod printed_for;
mod read;
mod steps;
mod watched;

use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;

use evendraw_core::procedure::{Prevailing, Procedure, StageKind, TorqueWindow};
use evendraw_core::unit::Torque;

use super::checked::Line;
use super::place::{Order, Position};
use super::stage::StagePlan;
use crate::mechanics::{OffsetAdapter, Strength, Thread};

pub use picture::PictureOf;

pub(super) use keys::names;
pub(super) use read::{Head, Room, ids, is_an_id, read};

/// A question that is answered before work starts, because values depend on it.
#[derive(Clone, Debug)]
pub struct Variant {
    /// By what the answer is given.
    pub key: String,
    /// The question.
    pub ask: String,
    /// The answers that values are written under.
    pub answers: Vec<String>,
    /// Further answers, each with the one whose values it takes.
    pub also: Vec<(String, String)>,
}

impl Variant {
    /// Every answer that may be given.
    pub fn allowed(&self) -> impl Iterator<Item = &str> {
        self.answers
            .iter()
            .chain(self.also.iter().map(|(answer, _)| answer))
            .map(String::as_str)
    }
}

/// Answers to the variants of a joint, by their key.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answers(BTreeMap<String, String>);

impl Answers {
    /// No answer.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// With one more answer.
    #[must_use]
    pub fn with(mut self, key: impl Into<String>, answer: impl Into<String>) -> Self {
        self.0.insert(key.into(), answer.into());
        self
    }

    /// The answer under a key.
    #[must_use]
    pub fn answer(&self, key: &str) -> Option<&str> {
        self.0.get(key).map(String::as_str)
    }

    /// Every answer with its key.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(key, answer)| (key.as_str(), answer.as_str()))
    }
}

/// A question of a variant that is not answered, or with something that is no answer to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AnswerError {
    /// The joint.
    pub joint: String,
    /// By what the answer is given.
    pub key: String,
    /// The question.
    pub ask: String,
    /// The answer given.
    pub given: Option<String>,
    /// The answers that it takes.
    pub allowed: Vec<String>,
}

impl fmt::Display for AnswerError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.given {
            Some(given) => write!(
                f,
                "`{given}` is no answer to `{}` of joint `{}`",
                self.ask, self.joint
            )?,
            None => write!(f, "joint `{}` asks: {}", self.joint, self.ask)?,
        }
        write!(
            f,
            "; allowed for {} are {}",
            self.key,
            self.allowed.join(", ")
        )
    }
}

impl std::error::Error for AnswerError {}

/// A fastener that belongs to another joint too.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Share {
    /// The fastener here, by index.
    pub fastener: u8,
    /// The other joint's id.
    pub joint: String,
    /// The fastener's label there.
    pub label: String,
    pub(super) place: Range<usize>,
}

/// A name in the plan, where it stands.
#[derive(Clone, Debug)]
pub(super) struct Name {
    pub(super) text: String,
    pub(super) place: Range<usize>,
}

/// What a question is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// A part is at hand.
    Part,
    /// What is on the threads.
    Condition,
    /// A check of this stage, by index.
    Check(u8),
    /// A moment that is told, by number.
    Moment(u8),
}

/// A question that must be answered while the joint is worked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// By what the answer is given on the command line.
    pub key: String,
    /// In words.
    pub text: String,
    /// What about.
    pub about: About,
}

/// How the tool reaches the fastener, where not straight.
#[derive(Clone, Debug, PartialEq)]
pub struct Access {
    /// Hand to adapter's axis, in mm, and as typed.
    pub lever: (f64, String),
    /// Axis of the adapter to the fastener, in mm, and as typed.
    pub offset: (f64, String),
    /// Between the two, 0 in line and away from the hand, in degrees, and as typed.
    pub angle: (f64, String),
}

impl Access {
    /// The offset as the shop's arithmetic takes it; none where it makes no sense.
    #[must_use]
    pub fn adapter(&self) -> Option<OffsetAdapter> {
        OffsetAdapter::new(self.lever.0, self.offset.0, self.angle.0).ok()
    }
}

/// A joint under one set of answers.
#[derive(Clone, Debug)]
pub struct JointPlan {
    /// The answers that lead to it.
    pub answers: Answers,
    /// What the core executes.
    pub procedure: Procedure,
    /// The stages as the plan words them, numbered as in the procedure.
    pub stages: Vec<StagePlan>,
    /// Thread as typed.
    pub thread: Option<String>,
    /// Property class as typed.
    pub class: Option<String>,
    /// Grade as typed.
    pub grade: Option<String>,
    /// Grip as typed.
    pub grip: Option<String>,
    /// Grip in mm.
    pub grip_mm: Option<f64>,
    /// What must be on the threads, as typed.
    pub condition: Option<String>,
    /// The joint's own order.
    pub order: Order,
    /// The fasteners in that order, by index.
    pub base: Vec<u8>,
    /// The moments that stages wait for; a moment's number is its place here.
    pub moments: Vec<String>,
    /// What is asked while the joint is worked.
    pub questions: Vec<Question>,
    /// How the tool reaches the fasteners.
    pub access: Option<Access>,
    /// The thread's measures.
    pub thread_size: Option<Thread>,
    /// How strong the fasteners are.
    pub strength: Option<Strength>,
    /// Whether the plan says if a fastener may be used again.
    pub says_reuse: bool,
}

impl JointPlan {
    /// The torque window of a step as printed, a given running torque put in: where the plan is guarded, wider than the procedure's. None
    /// for stages without one.
    #[must_use]
    pub fn printed_window(&self, step: u16) -> Option<TorqueWindow> {
        let judged = self.procedure.torque_window(step)?;
        let at = self.procedure.step_at(step)?;
        let windows = &self.stage(at.stage())?.printed_windows;
        let own = windows
            .iter()
            .find(|(fastener, _)| fastener.is_some() && *fastener == at.fastener())
            .or_else(|| windows.iter().find(|(fastener, _)| fastener.is_none()));
        let on_top = match self.procedure.stage_of(step)?.kind {
            StageKind::Tighten {
                prevailing: Prevailing::Given(torque),
                ..
            } => torque,
            _ => Torque::ZERO,
        };
        Some(own.map_or(judged, |(_, window)| window.raised(on_top)))
    }

    /// The stage with this index in the procedure.
    #[must_use]
    pub fn stage(&self, stage: u8) -> Option<&StagePlan> {
        self.stages.get(usize::from(stage))
    }

    /// The number of a moment, for the core.
    #[must_use]
    pub fn moment(&self, name: &str) -> Option<u8> {
        let at = self.moments.iter().position(|moment| moment == name)?;
        u8::try_from(at).ok()
    }
}

/// A joint.
#[derive(Clone, Debug)]
pub struct Joint {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) number: u8,
    pub(super) note: Option<String>,
    pub(super) positions: Vec<Position>,
    pub(super) groups: Vec<(String, Vec<u8>)>,
    pub(super) front: Option<String>,
    pub(super) picture: Option<PictureOf>,
    pub(super) document: Option<String>,
    pub(super) entered_by: Option<String>,
    pub(super) lines: Vec<Line>,
    pub(super) after: Vec<Name>,
    pub(super) closes: Vec<Name>,
    pub(super) needs: Vec<Name>,
    pub(super) shares: Vec<Share>,
    pub(super) second_look: Vec<u8>,
    pub(super) variants: Vec<Variant>,
    pub(super) plans: Vec<JointPlan>,
    pub(super) line: usize,
    pub(super) place: Range<usize>,
}

impl Joint {
    /// Its id: the word that files and commands use.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its title; the id where the plan gives none.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Its number in the build, from 0: the number that records carry.
    #[must_use]
    pub const fn number(&self) -> u8 {
        self.number
    }

    /// A remark of the plan.
    #[must_use]
    pub fn note(&self) -> Option<&str> {
        self.note.as_deref()
    }

    /// Where its fasteners sit, in the order written; a fastener's index is its place here.
    #[must_use]
    pub fn positions(&self) -> &[Position] {
        &self.positions
    }

    /// Named groups of fasteners, by index.
    #[must_use]
    pub fn groups(&self) -> &[(String, Vec<u8>)] {
        &self.groups
    }

    /// Which way the front of the unit lies on the map: `left`, `right`, `top` or `bottom`.
    #[must_use]
    pub fn front(&self) -> Option<&str> {
        self.front.as_deref()
    }

    /// The document, its page and revision, where it is another than the build's.
    #[must_use]
    pub fn document(&self) -> Option<&str> {
        self.document.as_deref()
    }

    /// Who typed its values in, where it was another than for the build.
    #[must_use]
    pub fn entered_by(&self) -> Option<&str> {
        self.entered_by.as_deref()
    }

    /// The lines that can be compared with the document: its head, then its stages in the order of the file.
    #[must_use]
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// The picture of the part that lies under the map.
    #[must_use]
    pub const fn picture(&self) -> Option<&PictureOf> {
        self.picture.as_ref()
    }

    /// Joints that must be final first.
    pub fn after(&self) -> impl Iterator<Item = &str> {
        self.after.iter().map(|name| name.text.as_str())
    }

    /// Joints that cannot be reached once this one is fitted.
    pub fn closes(&self) -> impl Iterator<Item = &str> {
        self.closes.iter().map(|name| name.text.as_str())
    }

    /// Parts that must be at hand.
    pub fn needs(&self) -> impl Iterator<Item = &str> {
        self.needs.iter().map(|name| name.text.as_str())
    }

    /// Fasteners that belong to another joint too, seen from either side.
    #[must_use]
    pub fn shares(&self) -> &[Share] {
        &self.shares
    }

    /// Fasteners that a second person must look at.
    #[must_use]
    pub fn second_look(&self) -> &[u8] {
        &self.second_look
    }

    /// What is asked before work starts.
    #[must_use]
    pub fn variants(&self) -> &[Variant] {
        &self.variants
    }

    /// The line of the file, from 1.
    #[must_use]
    pub const fn line(&self) -> usize {
        self.line
    }

    /// The label of a fastener; empty when there is none.
    #[must_use]
    pub fn label(&self, fastener: u8) -> &str {
        self.positions
            .get(usize::from(fastener))
            .map_or("", |position| position.label.as_str())
    }

    /// The index of a fastener.
    #[must_use]
    pub fn fastener(&self, label: &str) -> Option<u8> {
        let at = self
            .positions
            .iter()
            .position(|position| position.label == label)?;
        u8::try_from(at).ok()
    }

    /// The joint under these answers. Answers to questions it does not ask are passed over.
    ///
    /// # Errors
    /// [`AnswerError`] for the first question without an answer that it takes.
    pub fn plan(&self, answers: &Answers) -> Result<&JointPlan, AnswerError> {
        for variant in &self.variants {
            let given = answers.answer(&variant.key);
            if !given.is_some_and(|given| variant.allowed().any(|allowed| allowed == given)) {
                return Err(AnswerError {
                    joint: self.id.clone(),
                    key: variant.key.clone(),
                    ask: variant.ask.clone(),
                    given: given.map(str::to_owned),
                    allowed: variant.allowed().map(str::to_owned).collect(),
                });
            }
        }
        let found = self.plans.iter().find(|plan| {
            plan.answers
                .iter()
                .all(|(key, answer)| answers.answer(key) == Some(answer))
        });
        // Every combination was compiled when the plan was read.
        found.or(self.plans.first()).ok_or_else(|| AnswerError {
            joint: self.id.clone(),
            key: String::new(),
            ask: String::new(),
            given: None,
            allowed: Vec::new(),
        })
    }

    /// The joint under the first answer of every variant: for lists and maps, before anything is chosen.
    #[must_use]
    #[cfg_attr(
        not(test),
        expect(
            clippy::indexing_slicing,
            reason = "a joint that compiled under no answer is not made"
        )
    )]
    pub fn first_plan(&self) -> &JointPlan {
        &self.plans[0]
    }

    /// The joint under every combination of answers.
    #[must_use]
    pub fn plans(&self) -> &[JointPlan] {
        &self.plans
    }

    /// The stages under the first answer of every variant.
    #[must_use]
    pub fn stages(&self) -> &[StagePlan] {
        &self.first_plan().stages
    }

    /// What the core executes under these answers.
    ///
    /// # Errors
    /// [`AnswerError`] as for [`Joint::plan`].
    pub fn procedure(&self, answers: &Answers) -> Result<Procedure, AnswerError> {
        self.plan(answers).map(|plan| plan.procedure.clone())
    }
}
