//! What the numbers in records stand for: ids, labels, stages, under the revision that a record was made under.

use evendraw_core::procedure::{Moment, Procedure, StageKind};
use evendraw_core::record::Entry;

use crate::job::status::Shown;
use crate::plan::{Joint, JointPlan};

/// What the numbers in records stand for.
#[derive(Clone, Debug, Default)]
pub struct Names {
    joints: Vec<(u8, JointNames)>,
    /// Names under earlier revisions: the joint, the number of its last record under it, and what it was called then.
    earlier: Vec<(u8, u32, Names)>,
}

#[derive(Clone, Debug)]
pub(super) struct JointNames {
    id: String,
    labels: Vec<String>,
    steps: Vec<(Option<u8>, u8)>,
    stages: Vec<(StageKind, Shown)>,
    moments: Vec<String>,
    pub(super) procedure: Box<Procedure>,
}

impl Names {
    /// No names: everything is told by number.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// With the names of one more joint.
    #[must_use]
    pub fn with(mut self, joint: &Joint, plan: &JointPlan) -> Self {
        let procedure = &plan.procedure;
        let labels = procedure.fasteners().iter();
        let stages = (0_u8..).zip(procedure.stages());
        self.joints.push((
            joint.number(),
            JointNames {
                id: joint.id().to_owned(),
                labels: labels.map(|own| own.label.to_string()).collect(),
                steps: procedure
                    .steps()
                    .iter()
                    .map(|step| (step.fastener(), step.stage()))
                    .collect(),
                stages: stages
                    .map(|(number, stage)| (stage.kind, Shown::at(plan, number)))
                    .collect(),
                moments: plan.moments.clone(),
                procedure: Box::new(procedure.clone()),
            },
        ));
        self
    }

    /// With the names that a joint's records up to this number were made under.
    #[must_use]
    pub fn with_earlier(mut self, joint: u8, last: u32, names: Self) -> Self {
        self.earlier.push((joint, last, names));
        self
    }

    /// The names that a record was made under.
    #[must_use]
    pub fn at(&self, entry: &Entry) -> &Self {
        let earlier = self
            .earlier
            .iter()
            .filter(|(joint, last, _)| *joint == entry.joint && entry.seq <= *last);
        earlier
            .min_by_key(|(_, last, _)| *last)
            .map_or(self, |(_, _, names)| names)
    }

    pub(super) fn of(&self, joint: u8) -> Option<&JointNames> {
        self.joints
            .iter()
            .find(|(number, _)| *number == joint)
            .map(|(_, names)| names)
    }

    /// The joint's id; its number where it has no name.
    #[must_use]
    pub fn joint(&self, joint: u8) -> String {
        self.of(joint)
            .map_or_else(|| format!("joint {joint}"), |names| names.id.clone())
    }

    /// The fastener's label; its index where it has none.
    #[must_use]
    pub fn fastener(&self, joint: u8, fastener: u8) -> String {
        self.of(joint)
            .and_then(|names| names.labels.get(usize::from(fastener)))
            .cloned()
            .unwrap_or_else(|| format!("index {fastener}"))
    }

    /// The fastener and the stage that a step stands for.
    pub(super) fn step(&self, joint: u8, step: u16) -> Option<(Option<u8>, u8)> {
        self.of(joint)?.steps.get(usize::from(step)).copied()
    }

    /// What kind of stage a step belongs to.
    pub(super) fn kind(&self, joint: u8, step: u16) -> Option<StageKind> {
        let (_, stage) = self.step(joint, step)?;
        Some(self.of(joint)?.stages.get(usize::from(stage))?.0)
    }

    /// The unit of the plan at a stage.
    pub(crate) fn shown(&self, joint: u8, stage: u8) -> Shown {
        self.of(joint)
            .and_then(|names| names.stages.get(usize::from(stage)))
            .map_or(Shown::NEWTON_METERS, |(_, shown)| *shown)
    }

    pub(super) fn moment(&self, joint: u8, moment: Moment) -> String {
        match moment {
            Moment::StageDone(stage) => format!("stage {}", u32::from(stage) + 1),
            Moment::Named(number) => self
                .of(joint)
                .and_then(|names| names.moments.get(usize::from(number)))
                .cloned()
                .unwrap_or_else(|| format!("moment {}", u32::from(number) + 1)),
        }
    }
}
