//! Whether the tool in hand suits what is next.

use evendraw_core::procedure::TorqueWindow;
use evendraw_core::session::{Next, Session};
use evendraw_core::unit::Torque;

use super::{Held, Job};

impl Job {
    /// What speaks against the tool in hand for the joint's next pull. A tool used on a reason given is not questioned.
    pub(super) fn tool_trouble(&self, joint: u8) -> Option<Held> {
        let (id, waiver) = self.tool.as_ref()?;
        if !waiver.is_empty() || self.plan.tools().is_empty() {
            return None;
        }
        let Some(tool) = self.plan.tools().iter().find(|tool| &tool.id == id) else {
            let known = self
                .plan
                .tools()
                .iter()
                .map(|tool| tool.id.clone())
                .collect();
            return Some(Held::ToolUnknown {
                tool: id.clone(),
                known,
            });
        };
        if let Some(due) = tool
            .due
            .filter(|due| self.today().is_some_and(|today| *due < today))
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
        let target = greatest(session.ledger().torque_window(session.procedure(), step)?);
        if tool.reaches(target) {
            return None;
        }
        let stage = session.procedure().stage_at(step)?;
        let typed = self.joint_plan(joint)?.stage(stage)?.target.clone();
        Some(Held::ToolRange {
            tool: id.clone(),
            target: typed.unwrap_or_else(|| newton_meters(target)),
            range: (newton_meters(tool.lowest), newton_meters(tool.capacity)),
        })
    }

    /// Today's date where the wall time is known.
    pub(super) fn today(&self) -> Option<jiff::civil::Date> {
        let at = jiff::Timestamp::from_second(self.unix_at_boot?).ok()?;
        Some(at.to_zoned(jiff::tz::TimeZone::system()).date())
    }

    /// The ids of the plan's tools that reach the joint's next pull and are in date, the plan's order kept.
    #[must_use]
    pub fn tools_for_next(&self, joint: u8) -> Vec<&str> {
        let target = self
            .session(joint)
            .and_then(|session| match Session::next(session) {
                Next::Pull { step } => session
                    .ledger()
                    .torque_window(session.procedure(), step)
                    .map(greatest),
                _ => None,
            });
        self.plan
            .tools()
            .iter()
            .filter(|tool| target.is_none_or(|target| tool.reaches(target)))
            .filter(|tool| !self.today().is_some_and(|today| tool.is_overdue(today)))
            .map(|tool| tool.id.as_str())
            .collect()
    }
}

/// The torque to be reached; where only a maximum is given, that.
fn greatest(window: TorqueWindow) -> Torque {
    window.target
}

fn newton_meters(torque: Torque) -> String {
    let milli = torque.millinewton_meters();
    if milli % 1000 == 0 {
        format!("{}", milli / 1000)
    } else {
        format!("{}.{:03}", milli / 1000, milli % 1000)
    }
}
