//! The joint in hand: how it stands, and what is asked and told at it now.
//!
//! Knows nothing of drawing, nor of the pull in progress (`pull_view`).

use evendraw_core::ledger::Reached;
use evendraw_core::procedure::{Moment, Procedure, StageKind};
use evendraw_core::session::{Next, Session};
use evendraw_core::unit::Span;

use super::super::view::{ClampView, Entry, FastenerView, Front, JointView, Mark, StageRow};
use super::bench::fault_words;
use super::{Model, prompt};
use crate::bench::Fault;
use crate::job::Job;
use crate::job::status::{JointStatus, Shown, StageCell, rows};
use crate::store::Purpose;
use crate::words;

impl Model {
    pub(super) fn joint_view(&self) -> Option<JointView> {
        let (job, number) = (self.job.as_ref()?, self.open?);
        let status = self.view.status.joint(number)?;
        let session = job.session(number);
        let checking = session.and_then(checking_again);
        let step = checking.or(status.step);
        let steps = job.joint_plan(number)?.procedure.steps();
        let at_step = step.and_then(|step| steps.get(usize::from(step)));
        let stage = at_step.map_or(status.stage, |step| usize::from(step.stage()));
        let next = at_step.and_then(|step| step.fastener()).map(usize::from);
        let at = next.and_then(|next| status.path.iter().position(|own| *own == next));
        let finished = session.is_some_and(|session| matches!(session.next(), Next::Nothing))
            && checking.is_none()
            && status.mark.is_closed();
        // While a fastener is checked again, whatever else is to be answered waits.
        let prompt = match checking {
            Some(_) => None,
            None => prompt::of(self, job, number),
        };
        let is_trial = status.stages.get(stage).is_some_and(|stage| stage.mock_up);
        let typing = if prompt.is_none() && checking.is_none() {
            self.typing_view(status)
        } else {
            None
        };
        Some(JointView {
            typing,
            id: status.id.clone(),
            title: status.title.clone(),
            what: status.what.clone(),
            mock_up: status.mark == Mark::MockUp || is_trial && !finished,
            finished,
            out_of_turn: session.and_then(|session| self.turn_of(session, step?)),
            checking_again: checking.is_some(),
            witness_wanted: witness_wanted(status),
            witnesses: self.witnesses(),
            fasteners: fasteners(status, stage, self.shown()?),
            picture: self.picture_under_map(),
            front: match status.front.as_str() {
                "left" => Some(Front::Left),
                "right" => Some(Front::Right),
                "top" => Some(Front::Top),
                "bottom" => Some(Front::Bottom),
                _ => None,
            },
            left_hand: status.is_left_hand,
            path: status.path.clone(),
            at,
            stages: stages(status, stage),
            stage_words: match status.stages.get(stage) {
                _ if checking.is_some() => "Check again, Esc leaves it".to_owned(),
                Some(own) => format!(
                    "Stage {} of {}: {}",
                    own.number,
                    status.stages.len(),
                    own.sentence
                ),
                None => String::new(),
            },
            live: self.live_view().unwrap_or_else(|| self.live_before_begun()),
            entries: entries(job, &status.id),
            prompt,
            clock: self.clock(job, number),
            faults: if self.is_rehearsing() && !self.is_reading_a_trace() {
                let faults = Fault::ALL.iter();
                faults.map(|fault| fault_words(*fault).to_owned()).collect()
            } else {
                Vec::new()
            },
            clamp: clamps(status),
            at_adapter: status.at_adapter.clone(),
            may_send: self.may_send(job, number),
        })
    }

    /// The fastener whose turn it would be, where the step at hand is another one's that was chosen before it.
    fn turn_of(&self, session: &Session<std::sync::Arc<Procedure>>, step: u16) -> Option<String> {
        let Next::Pull { step: next } = session.next() else {
            return None;
        };
        let (procedure, ledger) = (session.procedure(), session.ledger());
        let stage = procedure.stage_of(next)?;
        let mut before = procedure.numbered_steps().take(usize::from(next));
        let turn = before.find_map(|(index, own)| {
            let is_later = matches!(procedure.stage_of(index)?.kind, StageKind::Later { .. });
            let is_due = !is_later || ledger.is_due(own.stage());
            (is_due && !ledger.step(index).is_settled()).then_some(own.fastener()?)
        })?;
        let own = self.job.as_ref()?.joint(session.joint())?;
        (next == step && !stage.any_order).then(|| own.label(turn).to_owned())
    }

    /// The clock that limits the work here: what is left of it.
    pub(super) fn clock(&self, job: &Job, joint: u8) -> Option<(String, bool)> {
        let session = job.session(joint)?;
        let (procedure, ledger) = (session.procedure(), session.ledger());
        let mut running = procedure.numbered_steps().filter_map(|(index, _)| {
            let StageKind::Wait { at_most, after, .. } = procedure.stage_of(index)?.kind else {
                return None;
            };
            let Reached::At(began) = ledger.moment(procedure, after) else {
                return None;
            };
            let is_limit = at_most < Span::MAX && !ledger.step(index).is_settled();
            is_limit.then(|| (began.after(at_most), after))
        });
        let (until, after) = running.next()?;
        let name = match after {
            Moment::Named(moment) => {
                let moments = &job.joint_plan(joint)?.moments;
                moments.get(usize::from(moment))?.clone()
            }
            Moment::StageDone(stage) => format!("stage {}", u32::from(stage) + 1),
        };
        let left = until.micros().saturating_sub(self.joint_micros()) / 1_000_000;
        Some(if left == 0 {
            (format!("Time is over since {name}"), true)
        } else {
            (
                format!("{} left, counted from: {name}", words::seconds(left)),
                false,
            )
        })
    }

    /// Names of the second persons that the journal knows, the last one first.
    fn witnesses(&self) -> Vec<String> {
        let people = self.view.status.people.iter().rev();
        let looked = people.filter(|person| person.is_witness);
        looked.map(|person| person.name.clone()).take(5).collect()
    }
}

/// The step that the next pull checks again, or this one: settled, and yet the tool is set to it.
pub(super) fn checking_again<P: std::ops::Deref<Target = Procedure>>(
    session: &Session<P>,
) -> Option<u16> {
    let (step, _) = session.armed()?;
    let due = matches!(session.next(), Next::Pull { step: next } if next == step);
    (!due && session.ledger().step(step).is_settled()).then_some(step)
}

/// What the bench carried after each pass; nothing where the journal keeps none.
#[expect(clippy::cast_precision_loss, reason = "kilonewtons for a drawing")]
fn clamps(status: &JointStatus) -> Option<ClampView> {
    let kilonewtons = |loads: &[u32]| loads.iter().map(|load| *load as f32 / 1000.0).collect();
    let passes = status.clamps.iter();
    let labels = status.fasteners.iter();
    (!status.clamps.is_empty()).then(|| ClampView {
        labels: labels.map(|own| own.label.clone()).collect(),
        passes: passes
            .map(|(name, loads)| (name.clone(), kilonewtons(loads)))
            .collect(),
    })
}

/// What a second person is still to look at, where the plan wants that.
fn witness_wanted(status: &JointStatus) -> Option<String> {
    match status.to_witness.len() {
        0 => None,
        all if all == status.fasteners.len() => Some("A second person is to look at it".to_owned()),
        _ => Some(format!(
            "A second person is to look at {}",
            status.to_witness.join(", ")
        )),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "millimetres for a drawing")]
fn fasteners(status: &JointStatus, stage: usize, shown: Shown) -> Vec<FastenerView> {
    // The number alone: its unit stands on every other number of the screen.
    let reading = |cell: &StageCell| match cell.torque_nm {
        Some(torque) => format!("{:.1}", shown.value(torque)),
        None => {
            let first = cell.reached.split(' ').next().unwrap_or_default();
            let unknown = matches!(first, "angle" | "torque");
            if unknown { "unknown" } else { first }.to_owned()
        }
    };
    let fasteners = status.fasteners.iter();
    fasteners
        .map(|own| FastenerView {
            label: own.label.clone(),
            x: own.x_mm as f32,
            y: -own.y_mm as f32,
            mark: own.mark.unwrap_or_default(),
            reading: own.cells.get(stage).map_or_else(String::new, reading),
            place: own.place.clone(),
            marked: own.is_marked,
        })
        .collect()
}

fn stages(status: &JointStatus, current: usize) -> Vec<StageRow> {
    let stages = status.stages.iter().enumerate();
    stages
        .map(|(index, stage)| StageRow {
            number: stage.number,
            words: stage.sentence.clone(),
            mark: stage.mark,
            done: stage.done,
            of: stage.of,
            current: index == current,
        })
        .collect()
}

/// The last three entries of the joint.
fn entries(job: &Job, joint: &str) -> Vec<Entry> {
    let rehearsal = job.purpose() == Purpose::Rehearsal;
    let rows = rows(job.facts(), rehearsal, &job.names(), Some(job.plan()));
    rows.into_iter()
        .rev()
        .filter(|row| row.joint == joint && !row.is_first_load && !row.is_beside)
        .take(3)
        .map(|row| Entry {
            mark: row.mark,
            fastener: row.fastener,
            words: row.what,
        })
        .collect()
}
