//! One stage of a joint: its words as typed beside what the core is told.
//!
//! Knows nothing of the other joints, and nothing of the state of the work.

mod evidence;
mod kind;
mod names;
mod read;

use evendraw_core::procedure::TorqueWindow;

use super::place::Order;
use super::quantity::{usual_angle, usual_torque};
use crate::quantity::{Target, TorqueUnit};

pub use evidence::evidence_word;
pub(super) use names::{fasteners_named, order, places, together};
pub(super) use read::{Around, Pass, Read, kinds_with, overrides_of, read};

/// The stage kinds of a plan.
pub(super) const KINDS: [&str; 12] = [
    "tighten",
    "turn",
    "back-off",
    "hold",
    "repeat",
    "start-by-hand",
    "check",
    "measure",
    "align",
    "wait",
    "fit",
    "retorque",
];

/// What each of them means, as the reference page has it.
pub(super) const ABOUT: [&str; KINDS.len()] = [
    "bring the torque into a window",
    "turn on by an angle from where the stage before ended",
    "turn back",
    "keep the torque; nothing may move",
    "the pass before once more until nothing moves more than `still`",
    "turns by hand before any torque",
    "a question that must be answered with yes",
    "a length that must lie in its window",
    "castle nut: from the low edge on to the next slot inside the window",
    "let time pass, or be done in time",
    "the old fastener out, the new one in",
    "a retorque due after running",
];

/// A stage as the plan words it. What the core is told stands in the procedure under the same number.
#[derive(Clone, Debug, Default)]
pub struct StagePlan {
    /// Its number in records and on the sheet, from 1.
    pub number: u8,
    /// The kind, as written behind `do`.
    pub word: &'static str,
    /// Its name in the plan.
    pub name: Option<String>,
    /// The target as typed: a torque, an angle, a number of turns, a length.
    pub target: Option<String>,
    /// The second printed value as typed.
    pub printed: Option<String>,
    /// The tolerance as typed.
    pub within: Option<String>,
    /// The end torque of a turn, as typed.
    pub end_torque: Option<String>,
    /// Running torque to add: `measure` or a value as typed.
    pub prevailing: Option<String>,
    /// How long: of a hold, or the limits of a wait, in words.
    pub time: Option<String>,
    /// The question of a check, or what is measured.
    pub ask: Option<String>,
    /// By what an answer is given on the command line.
    pub key: String,
    /// The moment or stage that a wait counts from.
    pub from: Option<String>,
    /// When a later retorque is due, and in which state.
    pub due: Option<String>,
    /// How its fasteners are taken.
    pub order: Option<Order>,
    /// Its fasteners in the order of work; empty when it concerns the whole joint.
    pub places: Vec<u8>,
    /// Targets of single fasteners as typed.
    pub each: Vec<(u8, String)>,
    /// Fasteners done at the same time: both ends of a stud.
    pub together: Vec<(u8, u8)>,
    /// What follows when it ends too high, as typed.
    pub on_over: Option<String>,
    /// What follows when a measure is too small, as typed.
    pub on_under: Option<String>,
    /// Tools that the plan names for it.
    pub tools: Vec<String>,
    /// The least evidence that it asks for, in the plan's word; none where any will do.
    pub evidence: Option<&'static str>,
    /// The torque windows as printed, where the plan is guarded and those of the procedure are drawn in: the stage's own, and those of
    /// single fasteners.
    pub printed_windows: Vec<(Option<u8>, TorqueWindow)>,
    /// A remark of the plan.
    pub note: Option<String>,
    /// Turned in one go.
    pub one_sweep: bool,
    /// The block it stands in, from 1, and the block's name.
    pub block: Option<(u8, Option<String>)>,
    /// One fastener is finished through the block before the next.
    pub one_at_a_time: bool,
    /// A trial that must come apart again.
    pub mock_up: bool,
    /// The line of the file, from 1.
    pub line: usize,
    /// The bytes of the file.
    pub place: std::ops::Range<usize>,
}

impl StagePlan {
    /// The stage in one plain line, in the plan's own figures.
    #[must_use]
    pub fn sentence(&self) -> String {
        self.worded(str::to_owned, self.within.as_deref())
    }

    /// The same line read back to who enters it: N·m beside each torque that the manual has in another unit, and the window also where it
    /// is the usual one, of which nothing is typed.
    #[must_use]
    pub fn echo(&self) -> String {
        let typed = self.target.as_deref().unwrap_or_default();
        let usual = match self.word {
            "tighten" => usual_torque(typed),
            "turn" => usual_angle(typed),
            _ => None,
        };
        self.worded(with_newton_meters, self.within.as_deref().or(usual))
    }

    /// The line, each torque in it as `figure` writes it.
    fn worded(&self, figure: fn(&str) -> String, within: Option<&str>) -> String {
        let running = match self.prevailing.as_deref() {
            Some("measure") => " plus the running torque measured".to_owned(),
            Some(value) => format!(" plus {} running torque", figure(value)),
            None => String::new(),
        };
        let typed = self.target.as_deref().unwrap_or("");
        // A turn's target is an angle: there it belongs to the end torque, and a pull's tolerance stands before it.
        let target = match self.word {
            "hold" | "repeat" | "align" | "retorque" => format!("{}{running}", figure(typed)),
            "tighten" => figure(typed),
            _ => typed.to_owned(),
        };
        let mut line = match self.word {
            "tighten" => format!("tighten to {target}"),
            "turn" => format!("turn on by {target}"),
            "back-off" => match typed {
                "free" => "back off until free".to_owned(),
                _ => format!("back off by {target}"),
            },
            "hold" => format!(
                "hold {target} for {}: nothing may move",
                self.time.as_deref().unwrap_or("")
            ),
            "repeat" => format!(
                "repeat at {target} until nothing moves more than {}",
                self.within.as_deref().unwrap_or("2°")
            ),
            "start-by-hand" => format!("turn in by hand, {target}"),
            "check" => self.ask.clone().unwrap_or_default(),
            "measure" => format!(
                "measure {}: {target}",
                self.ask.as_deref().unwrap_or("the length")
            ),
            "align" => format!("from the low edge of {target} on to the next slot"),
            "wait" => self.time.clone().unwrap_or_default(),
            "fit" => "take out the old fastener, fit the new one".to_owned(),
            "retorque" => format!("retorque to {target}"),
            other => other.to_owned(),
        };
        if (self.word == "tighten" || self.word == "turn")
            && let Some(within) = within
        {
            line.push_str(&format!(" ({within})"));
        }
        if let Some(printed) = &self.printed {
            line.push_str(&format!(", printed beside it {printed}"));
        }
        if let Some(end) = &self.end_torque {
            line.push_str(&format!(", end torque {}", figure(end)));
        }
        if self.word == "tighten" || self.end_torque.is_some() {
            line.push_str(&running);
        }
        if self.one_sweep {
            line.push_str(", in one sweep");
        }
        if let Some(due) = &self.due {
            line.push_str(&format!(", {due}"));
        }
        if let Some(evidence) = self.evidence {
            line.push_str(match evidence {
                "curve" => ", with a curve",
                "reading" => ", with a value read",
                _ => ", with a tool that is set",
            });
        }
        line
    }

    /// The target as typed for one fastener: its own, or the stage's.
    #[must_use]
    pub fn target_for(&self, fastener: u8) -> Option<&str> {
        self.each
            .iter()
            .find(|(own, _)| *own == fastener)
            .map(|(_, text)| text.as_str())
            .or(self.target.as_deref())
    }
}

/// `33.2 lbf·ft, 45.013 N·m`: a torque as typed, and in N·m as it is judged where it is typed in another unit.
#[must_use]
pub fn with_newton_meters(typed: &str) -> String {
    let target = Target::<TorqueUnit>::parse(typed).ok();
    match target.and_then(|target| target.in_newton_meters()) {
        Some(newton_meters) => format!("{typed}, {newton_meters}"),
        None => typed.to_owned(),
    }
}
