//! Whether the tool in hand suits what is next.

use evendraw_core::procedure::StageKind;
use evendraw_core::session::{Next, Session};
use evendraw_core::unit::Torque;

use super::{Held, Job, status};
use crate::plan::{StagePlan, Tool, ToolKind, evidence_word};
use crate::store::Purpose;

impl Job {
    /// What speaks against the tool in hand for the joint's next pull. A tool used on a reason given is questioned only for what no
    /// reason can mend: what it tells.
    pub(super) fn tool_trouble(&self, joint: u8) -> Option<Held> {
        let (id, waiver) = self.tool.as_ref()?;
        if self.plan.tools().is_empty() {
            return None;
        }
        let is_waived = !waiver.is_empty();
        let Some(tool) = self.plan.tools().iter().find(|tool| &tool.id == id) else {
            let known = self
                .plan
                .tools()
                .iter()
                .map(|tool| tool.id.clone())
                .collect();
            return (!is_waived).then(|| Held::ToolUnknown {
                tool: id.clone(),
                known,
            });
        };
        if let Some(due) = tool
            .due
            .filter(|due| self.today().is_some_and(|today| *due < today))
            .filter(|_| !is_waived)
        {
            return Some(Held::ToolOverdue {
                tool: id.clone(),
                due: due.to_string(),
            });
        }
        let session = self.session(joint)?;
        let Next::Pull { step } = session.next() else {
            return None;
        };
        if let Some(held) = self.tells_too_little(joint, tool, step) {
            return Some(held);
        }
        let stage = self
            .joint_plan(joint)?
            .stage(session.procedure().stage_at(step)?)?;
        if is_waived {
            return None;
        }
        if self.is_real_work() && !stage.tools.is_empty() && !stage.tools.contains(id) {
            return Some(Held::ToolNotNamed {
                tool: id.clone(),
                named: stage.tools.clone(),
            });
        }
        let target = self.torque_at_tool(joint, step)?;
        if !tool.kind.has_torque() || tool.reaches(target) {
            return None;
        }
        Some(Held::ToolRange {
            tool: id.clone(),
            target: stage
                .target
                .clone()
                .unwrap_or_else(|| newton_meters(target)),
            range: status::tools::range(tool),
        })
    }

    /// In a rehearsal, and where recorded samples are judged, what is in hand is what gives samples.
    fn is_real_work(&self) -> bool {
        self.purpose == Purpose::Job && self.alone.is_none()
    }

    /// What the tool cannot tell of a step, whatever reason is given.
    fn tells_too_little(&self, joint: u8, tool: &Tool, step: u16) -> Option<Held> {
        if !self.is_real_work() {
            return None;
        }
        let session = self.session(joint)?;
        let stage = session.procedure().stage_of(step)?;
        if stage.evidence > tool.kind.evidence() {
            return Some(Held::ToolEvidence {
                tool: tool.id.clone(),
                gives: evidence_word(tool.kind.evidence()),
                wanted: evidence_word(stage.evidence),
            });
        }
        let number = session.procedure().stage_at(step)?;
        let plan = self.joint_plan(joint)?.stage(number)?;
        let what = unsuited(tool, &stage.kind, plan)?;
        Some(Held::ToolUnsuited {
            tool: tool.id.clone(),
            kind: tool.kind.word(),
            what,
        })
    }

    /// What the tool in hand must come to for a step: with an offset adapter between them another torque than the fastener's.
    fn torque_at_tool(&self, joint: u8, step: u16) -> Option<Torque> {
        let session = self.session(joint)?;
        let target = session
            .ledger()
            .torque_window(session.procedure(), step)?
            .target;
        Some(self.through_offset(joint, target))
    }

    /// Today's date where the wall time is known; the day on the paper while a working sheet is typed back.
    pub(super) fn today(&self) -> Option<jiff::civil::Date> {
        if self.as_of.is_some() {
            return self.as_of;
        }
        let at = jiff::Timestamp::from_second(self.unix_at_boot?).ok()?;
        Some(at.to_zoned(jiff::tz::TimeZone::system()).date())
    }

    /// The ids of the plan's tools that suit the joint's next pull and are in date, the plan's order kept.
    #[must_use]
    pub fn tools_for_next(&self, joint: u8) -> Vec<&str> {
        let step = self
            .session(joint)
            .and_then(|session| match Session::next(session) {
                Next::Pull { step } => Some(step),
                // Nobody is named, or no tool, before the first pull: then it is about the first step that is open.
                _ => session
                    .procedure()
                    .numbered_steps()
                    .find(|(step, _)| !session.ledger().step(*step).is_settled())
                    .map(|(step, _)| step),
            });
        let suits = |tool: &&Tool| step.is_none_or(|step| self.suits(joint, tool, step));
        self.plan
            .tools()
            .iter()
            .filter(suits)
            .filter(|tool| !self.today().is_some_and(|today| tool.is_overdue(today)))
            .map(|tool| tool.id.as_str())
            .collect()
    }

    fn suits(&self, joint: u8, tool: &Tool, step: u16) -> bool {
        if self.tells_too_little(joint, tool, step).is_some() {
            return false;
        }
        let stage = self
            .session(joint)
            .and_then(|session| session.procedure().stage_at(step));
        let named = stage
            .and_then(|stage| self.joint_plan(joint)?.stage(stage))
            .map_or(&[][..], |stage| &stage.tools);
        let is_named = named.is_empty() || named.contains(&tool.id);
        is_named
            && self
                .torque_at_tool(joint, step)
                .is_none_or(|torque| !tool.kind.has_torque() || tool.reaches(torque))
    }
}

/// Why nothing that a tool tells will do for a stage; none where it will.
pub(in crate::job) fn unsuited(
    tool: &Tool,
    kind: &StageKind,
    stage: &StagePlan,
) -> Option<&'static str> {
    let is_angle = matches!(kind, StageKind::Turn { .. } | StageKind::BackOff { .. });
    match tool.kind {
        ToolKind::Click if is_angle => Some("tells no angle"),
        ToolKind::Click if matches!(kind, StageKind::Hold { .. }) => Some("keeps no torque"),
        ToolKind::AngleGauge if !is_angle => Some("tells no torque"),
        // A tick is no evidence: where nobody wrote that it will do, it does not stand for a torque.
        ToolKind::Hand if !is_angle && !stage.tools.contains(&tool.id) => {
            Some("tells no torque, and this stage does not name it")
        }
        _ => None,
    }
}

fn newton_meters(torque: Torque) -> String {
    let milli = torque.millinewton_meters();
    if milli % 1000 == 0 {
        format!("{}", milli / 1000)
    } else {
        format!("{}.{:03}", milli / 1000, milli % 1000)
    }
}
