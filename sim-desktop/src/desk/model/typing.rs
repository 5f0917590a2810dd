//! What a person tells of a pull whose tool sends nothing: what is to be typed, and what was.
//!
//! Knows nothing of drawing; what a tool tells and how a text is read is the job's (`job/ways.rs`).

use evendraw_core::record::Way;
use evendraw_core::session::{Input, Next};

use super::super::view::{Entry, TellKey, TypingView};
use super::Model;
use super::pull_view::typed_target;
use crate::job::Job;
use crate::job::status::{How, JointStatus, rows};
use crate::job::ways::{self, AsSet, ToTell, Wanted};
use crate::plan::ToolKind;
use crate::quantity::Unit as _;
use crate::store::Purpose;

/// How a click wrench stands, and what was asked for once more.
#[derive(Clone, Debug, Default)]
pub(super) struct Typing {
    set: Option<AsSet>,
    /// What was typed and asked for again, and why.
    doubted: Option<(String, String)>,
}

impl Model {
    /// What is to be told of the pull that is next; none where samples tell it, and where it is told elsewhere.
    pub(super) fn typing_view(&self, status: &JointStatus) -> Option<TypingView> {
        let (job, joint) = (self.job.as_ref()?, self.open?);
        if self.is_rehearsing() || status.at_adapter.is_some() || self.is_reading_a_trace() {
            return None;
        }
        let session = job.session(joint)?;
        let Next::Pull { step } = session.next() else {
            return None;
        };
        if session.is_in_pull() {
            return None;
        }
        let to_tell = job.to_tell(joint)?;
        let stage = session.procedure().stage_at(step).map(usize::from);
        let window = stage.and_then(|stage| status.stages.get(stage));
        let target = typed_target(job.joint_plan(joint)?, step);
        let window = window.map_or("", |stage| stage.window.as_str());
        // The uncertainty stands on the sheet; here is the number to pull for.
        let window = window.split(';').next().unwrap_or_default();
        let question = self.typing.doubted.as_ref();
        let mut view = TypingView {
            wanted: match (target.is_empty(), window.is_empty()) {
                (false, false) => format!("{window}   ({target})"),
                (true, false) => window.to_owned(),
                _ => target.to_owned(),
            },
            question: question.map_or_else(String::new, |(_, why)| {
                format!("{why}. Type it once more if that is so.")
            }),
            last: last(job, &status.id),
            turn: job.facts().len(),
            ..TypingView::default()
        };
        let tool = job.tool().unwrap_or("no tool named").to_owned();
        match to_tell {
            Ok(ToTell::Samples) => return None,
            Err(why) => view.title = format!("{tool}: {why}"),
            Ok(ToTell::Values(wanted)) => values(job, &tool, &wanted, &mut view),
            Ok(ToTell::Click { words, moved, .. }) => {
                view.figure = words.clone();
                if job.is_set(joint, self.typing.set).is_some() {
                    view.title = format!("{tool} is set; one key a click");
                    view.keys = clicks(moved);
                    if let Some(set) = job.is_set(joint, self.typing.set) {
                        view.figure = ways::tool_words(set.setting, job.tool_in_hand());
                    }
                } else {
                    view.title = format!("Set {tool} to {words}, and type it back as set");
                    let unit = job.tool_in_hand().map_or("N·m", |tool| tool_unit(tool));
                    view.first = format!("{tool} is set to, in {unit}");
                }
            }
            Ok(ToTell::Done) => {
                view.title = format!("{tool}: done by hand, nothing is measured");
                view.keys = vec![key("Enter", "It is done", "done", false)];
            }
        }
        Some(view)
    }

    /// Takes what was typed or told in the reading's place.
    pub(super) fn told(&mut self, first: &str, second: &str, moved: bool) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        let Some(Next::Pull { step }) = self.next() else {
            return self.say(true, "nothing is to be pulled now");
        };
        let doubted = self.typing.doubted.take().map(|(text, _)| text);
        match job.to_tell(joint) {
            None | Some(Ok(ToTell::Samples)) => {}
            Some(Err(why)) => self.say(true, why),
            Some(Ok(ToTell::Done)) => self.apply(Input::Confirm { step }),
            Some(Ok(ToTell::Values(wanted))) => {
                let text = composed(first, second, &wanted, moved);
                self.tell_values(step, &text, &wanted, doubted);
            }
            Some(Ok(ToTell::Click { setting, .. })) => {
                if let Some(set) = job.is_set(joint, self.typing.set) {
                    let input = job.clicked(joint, step, set, moved);
                    return self.apply(input);
                }
                match ways::read_setting(first, job.tool_in_hand()) {
                    Err(why) => self.say(true, why),
                    Ok(typed) if typed != setting && doubted.as_deref() != Some(first) => {
                        let wanted = ways::tool_words(setting, job.tool_in_hand());
                        let why = format!("It is to be set to {wanted}, not {first}");
                        self.typing.doubted = Some((first.to_owned(), why));
                    }
                    Ok(typed) => self.typing.set = job.as_set(joint, typed),
                }
            }
        }
    }

    fn tell_values(&mut self, step: u16, text: &str, wanted: &Wanted, doubted: Option<String>) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        let typed = match ways::read(text, wanted) {
            Ok(typed) => typed,
            Err(why) => return self.say(true, why),
        };
        if doubted.as_deref() != Some(text)
            && let Some(why) = job.question(joint, &typed)
        {
            self.typing.doubted = Some((text.to_owned(), why));
            return;
        }
        let mut stated = String::new();
        let readout = job.readout(joint, wanted, &typed, &mut stated);
        self.apply(Input::Read {
            step,
            readout: &readout,
        });
    }
}

/// The fields of values that are read.
fn values(job: &Job, tool: &str, wanted: &Wanted, view: &mut TypingView) {
    let how = match wanted.way {
        Way::Display => How::Display,
        Way::Eye => How::Eye,
        Way::Gauge => How::Gauge,
        Way::Mark => How::Mark,
    };
    view.title = format!("{tool}, {}", how.words());
    view.moved = wanted.moved;
    if let Some(through) = &wanted.through {
        // Nobody may pull to the fastener's torque on a tool that shows another.
        view.caution = format!("Offset adapter: {through}");
    }
    let torque = format!("Torque in {}", wanted.unit.symbol());
    let angle = "Angle in °".to_owned();
    // Only a display may show both; a pointer may be read beside a mark.
    let kind = job.tool_in_hand().map(|tool| tool.kind);
    let is_display = kind == Some(ToolKind::Display);
    let has_pointer = matches!(kind, Some(ToolKind::Beam | ToolKind::Dial));
    let is_angle_first = wanted.angle && !wanted.torque;
    (view.first, view.second) = match is_angle_first {
        true if is_display || has_pointer => (angle, torque),
        true => (angle, String::new()),
        false if is_display => (torque, angle),
        false => (torque, String::new()),
    };
}

/// Both fields as one line: a bare number has the unit of its field.
fn composed(first: &str, second: &str, wanted: &Wanted, moved: bool) -> String {
    let torque = wanted.unit.symbol();
    let units = if wanted.angle && !wanted.torque {
        ["°", torque]
    } else {
        [torque, "°"]
    };
    let mut text = String::new();
    for (own, unit) in [first, second].into_iter().zip(units) {
        let own = own.trim();
        if own.is_empty() {
            continue;
        }
        let is_bare =
            !own.contains(|letter: char| letter.is_alphabetic() || letter == '°' || letter == ' ');
        text.push_str(own);
        if is_bare {
            text.push_str(if unit == "°" { "" } else { " " });
            text.push_str(unit);
        }
        text.push(' ');
    }
    if moved {
        text.push_str("moved");
    }
    text.trim().to_owned()
}

fn tool_unit(tool: &crate::plan::Tool) -> &'static str {
    ways::own_unit(tool).map_or("N·m", crate::quantity::TorqueUnit::symbol)
}

fn key(key: &'static str, words: &str, tells: &'static str, moved: bool) -> TellKey {
    TellKey {
        key,
        words: words.to_owned(),
        tells,
        moved,
    }
}

fn clicks(moved: bool) -> Vec<TellKey> {
    if moved {
        vec![
            key("Enter", "It clicked, and stood still", "click", false),
            key("O", "It moved, then clicked", "click", true),
        ]
    } else {
        vec![key("Enter", "It clicked", "click", false)]
    }
}

/// The last try at the joint.
fn last(job: &Job, joint: &str) -> Option<Entry> {
    let rehearsal = job.purpose() == Purpose::Rehearsal;
    let rows = rows(job.facts(), rehearsal, &job.names(), Some(job.plan()));
    rows.into_iter()
        .rev()
        .find(|row| row.joint == joint && row.attempt > 0)
        .map(|row| Entry {
            mark: row.mark,
            fastener: row.fastener,
            words: row.what,
        })
}
