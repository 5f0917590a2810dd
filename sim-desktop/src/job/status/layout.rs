//! Which tools of the plan do a stage, what each is set to or shows, and until when its calibration holds.
//!
//! Knows nothing of what was done.

use evendraw_core::procedure::{Evidence, Stage, StageKind};
use evendraw_core::unit::Torque;
use jiff::civil::Date;

use super::tools::range;
use super::unit::Shown;
use crate::job::tool_check::unsuited;
use crate::job::ways::own_unit;
use crate::mechanics::{Advice, Window, advise};
use crate::plan::{Access, JointPlan, Plan, StagePlan, Tool, ToolKind};
use crate::quantity::newton_meters;

/// A stage that is pulled, and the tools that do it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StageTools {
    /// From 1.
    pub stage: u8,
    /// The target as printed in the manual and typed.
    pub target: String,
    /// The tools that do it and are in date, the one that suits best first.
    pub suits: Vec<Suiting>,
    /// Why each of the others does not, where none does.
    pub refused: Vec<String>,
}

/// A tool that does a stage.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suiting {
    /// Its id.
    pub id: String,
    /// `set to 45.0 N·m`, or `reads 10 N·m to 100 N·m`; empty where it has neither.
    pub how: String,
    /// What to know when using it.
    pub notes: Vec<String>,
}

impl Suiting {
    /// The tool, how, and what to know.
    #[must_use]
    pub fn words(&self) -> String {
        let how = match self.how.as_str() {
            "" => self.id.clone(),
            how => format!("{}, {how}", self.id),
        };
        match &self.notes[..] {
            [] => how,
            notes => format!("{how} ({})", notes.join("; ")),
        }
    }
}

impl StageTools {
    /// Every tool that does it, or why none does.
    #[must_use]
    pub fn words(&self) -> String {
        if self.suits.is_empty() {
            return match &self.refused[..] {
                [] => "no tool suits".to_owned(),
                refused => format!("no tool suits ({})", refused.join("; ")),
            };
        }
        let suits: Vec<String> = self.suits.iter().map(Suiting::words).collect();
        suits.join("; or ")
    }
}

/// The tools for every pulled stage of a joint, on a day.
#[must_use]
pub fn stage_tools(plan: &Plan, made: &JointPlan, today: Date) -> Vec<StageTools> {
    let stages = (0_u8..).zip(made.procedure.stages()).zip(&made.stages);
    stages
        .filter(|((_, stage), _)| stage.kind.is_pulled())
        .map(|((number, stage), written)| one(plan, made, (number, stage), written, today))
        .collect()
}

fn one(
    plan: &Plan,
    made: &JointPlan,
    (number, stage): (u8, &Stage),
    written: &StagePlan,
    today: Date,
) -> StageTools {
    let shown = Shown::at(made, number);
    let suits = |tool: &&Tool| {
        (written.tools.is_empty() || written.tools.contains(&tool.id))
            && tool.kind.evidence() >= stage.evidence
            && unsuited(tool, &stage.kind, written).is_none()
    };
    let tools: Vec<&Tool> = plan.tools().iter().filter(suits).collect();
    let mut found = StageTools {
        stage: number.saturating_add(1),
        target: written.target.clone().unwrap_or_default(),
        ..StageTools::default()
    };
    let is_overdue = |tool: &Tool| tool.is_overdue(today);
    let torque = window(made, stage);
    let measured: Vec<_> = tools
        .iter()
        .filter(|tool| tool.kind.has_torque() && torque.is_some())
        .map(|tool| tool.calculated())
        .collect();
    let words = |newton_meters: f64| shown.words(torque_of(newton_meters));
    if let Some(window) = torque {
        for advice in advise(&measured, window, greatest(made), today, &words) {
            let tool = tools.iter().find(|tool| tool.id == advice.id);
            match tool.filter(|_| advice.usable()) {
                Some(tool) => found.suits.push(suiting(tool, &advice)),
                None => found
                    .refused
                    .push(format!("{}: {}", advice.id, advice.refused.join(", "))),
            }
        }
    }
    for tool in tools {
        let is_advised = tool.kind.has_torque() && torque.is_some();
        if is_advised {
            continue;
        }
        if is_overdue(tool) {
            let due = tool.due.map_or_else(String::new, |due| due.to_string());
            found
                .refused
                .push(format!("{}: its calibration ran out on {due}", tool.id));
        } else {
            found.suits.push(Suiting {
                id: tool.id.clone(),
                how: match (tool.kind, &tool.step_text) {
                    (ToolKind::Hand, _) => "by hand".to_owned(),
                    (ToolKind::Beam | ToolKind::Dial, _) => "angle by a mark".to_owned(),
                    (_, Some(step)) if !tool.kind.has_torque() => format!("to {step}"),
                    _ => "angle".to_owned(),
                },
                notes: Vec::new(),
            });
        }
    }
    found
}

fn suiting(tool: &Tool, advice: &Advice) -> Suiting {
    let unit = own_unit(tool).map_or(Shown::NEWTON_METERS, Shown::new);
    let how = match (tool.kind, advice.setting_Nm) {
        (ToolKind::Click, Some(setting)) => {
            format!("set to {}", unit.words(torque_of(setting)))
        }
        // Through an offset adapter it shows another torque than the fastener's.
        (_, Some(setting)) => format!(
            "to show {}, reads {}",
            unit.words(torque_of(setting)),
            range(tool)
        ),
        (_, None) => format!("reads {}", range(tool)),
    };
    Suiting {
        id: tool.id.clone(),
        how,
        notes: advice.notes.clone(),
    }
}

/// What the tool must come to, through the offset adapter if there is one; none where the stage has no torque.
fn window(made: &JointPlan, stage: &Stage) -> Option<Window> {
    let window = match stage.kind {
        StageKind::Tighten { window, .. }
        | StageKind::Repeat { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. } => {
            let target = newton_meters(window.target);
            Window {
                low_Nm: newton_meters(window.min),
                target_Nm: target,
                high_Nm: if window.max < Torque::MAX {
                    newton_meters(window.max)
                } else {
                    target
                },
            }
        }
        StageKind::Hold { torque, .. } => {
            let target = newton_meters(torque);
            Window {
                low_Nm: target,
                target_Nm: target,
                high_Nm: target,
            }
        }
        _ => return None,
    };
    Some(match made.access.as_ref().and_then(Access::adapter) {
        Some(adapter) => window.through(adapter),
        None => window,
    })
}

/// The greatest torque that a turn of the joint may end at, N·m.
fn greatest(made: &JointPlan) -> f64 {
    let ends = made
        .procedure
        .stages()
        .iter()
        .filter_map(|stage| match stage.kind {
            StageKind::Turn {
                torque: Some(window),
                ..
            } if window.max < Torque::MAX && stage.evidence <= Evidence::Curve => Some(window.max),
            _ => None,
        });
    ends.max().map_or(0.0, newton_meters)
}

/// The nearest torque to this many N·m.
#[must_use]
pub fn torque_of(newton_meters: f64) -> Torque {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "held inside the range of a torque at once"
    )]
    let millis = (newton_meters * 1_000.0).round() as i64;
    Torque::from_wide(millis)
}
