//! How sure the torque of each attempt is, as the records go by.

use evendraw_core::record::{Entry, Record};

use crate::job::revision::Revisions;
use crate::job::status::{InHand, plan_of};
use crate::plan::{JointPlan, Plan, Tool};
use crate::store::Fact;
use crate::uncertainty::{Judged, judged};

/// How sure the torque of each attempt is, as the records go by: the tool in hand is known without looking back.
#[derive(Clone, Debug)]
pub struct Sure<'p> {
    plan: Option<&'p Plan>,
    joints: Vec<&'p JointPlan>,
    tools: Vec<InHand<&'p Tool>>,
    revisions: Revisions,
}

impl<'p> Sure<'p> {
    /// Before the first record. Nothing is known where the plan is lost.
    #[must_use]
    pub fn new(plan: Option<&'p Plan>, facts: &[Fact]) -> Self {
        let joints: Vec<&JointPlan> = plan
            .into_iter()
            .flat_map(Plan::joints)
            .map(|joint| plan_of(facts, joint))
            .collect();
        Self {
            plan,
            tools: vec![InHand::default(); joints.len()],
            revisions: Revisions::of(facts),
            joints,
        }
    }

    /// Takes in the next record; how sure it is, where it is an attempt.
    pub fn judged(&mut self, entry: &Entry) -> Option<Judged> {
        let own = usize::from(entry.joint);
        let (hand, plan) = (self.tools.get_mut(own)?, self.plan?);
        hand.take(&entry.record, |id| plan.tool(id));
        let tool = hand.tool().copied();
        if !self.revisions.is_of_today(entry) {
            // Judged by limits that are not these.
            return None;
        }
        match &entry.record {
            Record::Attempt(attempt) => judged(self.joints.get(own)?, tool, attempt),
            Record::Reassigned(moved) => judged(self.joints.get(own)?, tool, &moved.attempt),
            // Where a torque was read. A setting is no reading.
            Record::Read(read) if read.torque.is_some() => {
                judged(self.joints.get(own)?, tool, &read.as_attempt())
            }
            _ => None,
        }
    }
}
