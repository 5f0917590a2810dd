//! The one door into [`Procedure`]: every rule that makes one valid.

use heapless::Vec;

use super::{
    AngleWindow, Moment, Override, OverrideAim, Parts, Policy, Procedure, ProcedureError, Reuse,
    Rule, Stage, StageKind, Step, TorqueWindow,
};
use crate::limits::{FASTENERS_MAX, OVERRIDES_MAX, STAGES_MAX, STEPS_MAX};
use crate::unit::{Angle, Torque};

impl Procedure {
    /// Checks the parts and copies them.
    ///
    /// # Errors
    /// [`ProcedureError`] with the first rule broken; sizes come first.
    pub fn new(parts: &Parts<'_>) -> Result<Self, ProcedureError> {
        let mut procedure = Self {
            fasteners: copied(parts.fasteners, "fasteners", FASTENERS_MAX)?,
            stages: copied(parts.stages, "stages", STAGES_MAX)?,
            steps: copied(parts.steps, "steps", STEPS_MAX)?,
            overrides: copied(parts.overrides, "targets by fastener", OVERRIDES_MAX)?,
            terms: parts.terms,
            in_stage: [0; STAGES_MAX],
            digest: parts.digest(),
        };
        procedure.check()?;
        Ok(procedure)
    }

    /// Checks every rule, and counts the steps of each stage.
    pub(super) fn check(&mut self) -> Result<(), ProcedureError> {
        at_least_one(&self.fasteners, "fasteners")?;
        at_least_one(&self.stages, "stages")?;
        at_least_one(&self.steps, "steps")?;
        labels(self)?;
        stages(self)?;
        steps(self)?;
        overrides(self)?;
        terms(self)?;
        for step in &self.steps {
            if let Some(count) = self.in_stage.get_mut(usize::from(step.stage)) {
                *count = count.saturating_add(1);
            }
        }
        Ok(())
    }
}

fn copied<T: Clone, const N: usize>(
    from: &[T],
    what: &'static str,
    allowed: usize,
) -> Result<Vec<T, N>, ProcedureError> {
    match Vec::from_slice(from) {
        Ok(own) => Ok(own),
        Err(_) => Err(ProcedureError::TooMany {
            what,
            given: from.len(),
            allowed,
        }),
    }
}

fn at_least_one<T>(of: &[T], what: &'static str) -> Result<(), ProcedureError> {
    if of.is_empty() {
        Err(ProcedureError::None { what })
    } else {
        Ok(())
    }
}

fn labels(procedure: &Procedure) -> Result<(), ProcedureError> {
    for (index, fastener) in (0..=u8::MAX).zip(&procedure.fasteners) {
        let first = procedure.fastener_labelled(fastener.label.as_str());
        let near_exist = fastener
            .near
            .iter()
            .flatten()
            .all(|&near| usize::from(near) < procedure.fasteners.len() && near != index);
        if fastener.label.is_empty() || first != Some(index) || !near_exist {
            return Err(ProcedureError::Label { fastener: index });
        }
    }
    Ok(())
}

fn stages(procedure: &Procedure) -> Result<(), ProcedureError> {
    for (index, stage) in (0..=u8::MAX).zip(&procedure.stages) {
        let limits = |sound: bool, why| {
            if sound {
                Ok(())
            } else {
                Err(ProcedureError::Limits { stage: index, why })
            }
        };
        limits(policy_exists(stage.on_over, index), Rule::OnOver)?;
        limits(policy_exists(stage.on_under, index), Rule::OnUnder)?;
        match stage.kind {
            StageKind::Tighten { window, prevailing } => {
                limits(torque_sound(&window), Rule::TorqueWindow)?;
                if let super::Prevailing::Given(torque) = prevailing {
                    limits(torque >= Torque::ZERO, Rule::Prevailing)?;
                }
            }
            StageKind::Align { window } | StageKind::Later { window, .. } => {
                limits(torque_sound(&window), Rule::TorqueWindow)?
            }
            StageKind::Turn { window, torque, .. } => {
                limits(angle_sound(&window), Rule::AngleWindow)?;
                limits(
                    torque.is_none_or(|torque| torque_sound(&torque)),
                    Rule::TorqueWindow,
                )?;
            }
            StageKind::Repeat {
                window,
                still,
                min,
                max,
            } => {
                limits(torque_sound(&window), Rule::TorqueWindow)?;
                limits(still > Angle::ZERO, Rule::Still)?;
                limits(min >= 1 && min <= max && max <= 30, Rule::Passes)?;
            }
            StageKind::Hold {
                torque,
                still,
                time,
            } => {
                limits(
                    torque > Torque::ZERO && torque < Torque::MAX,
                    Rule::HoldTorque,
                )?;
                limits(still > Angle::ZERO, Rule::Still)?;
                limits(time.micros() > 0, Rule::HoldTime)?;
            }
            StageKind::BackOff { angle } => {
                limits(angle.is_none_or(|angle| angle > Angle::ZERO), Rule::BackOff)?;
            }
            StageKind::Seat { turns } => limits(turns > Angle::ZERO, Rule::Turns)?,
            StageKind::Measure { min, max } => limits(min <= max, Rule::Length)?,
            StageKind::Wait {
                at_least,
                at_most,
                after,
            } => {
                limits(at_least <= at_most, Rule::Wait)?;
                if let Moment::StageDone(stage) = after {
                    limits(stage < index, Rule::WaitAfter)?;
                }
            }
            StageKind::Check | StageKind::Fit => {}
        }
    }
    Ok(())
}

fn torque_sound(window: &TorqueWindow) -> bool {
    window.min >= Torque::ZERO
        && window.min <= window.target
        && window.target <= window.max
        && window.target > Torque::ZERO
        && window.target < Torque::MAX
}

fn angle_sound(window: &AngleWindow) -> bool {
    window.min >= Angle::ZERO
        && window.min <= window.target
        && window.target <= window.max
        && window.target > Angle::ZERO
}

fn policy_exists(policy: Policy, index: u8) -> bool {
    match policy {
        Policy::Restart(stage) => stage <= index,
        Policy::Ask | Policy::Replace => true,
    }
}

fn steps(procedure: &Procedure) -> Result<(), ProcedureError> {
    let mut seen = [0_u64; STAGES_MAX];
    let mut joint_seen = 0_u16;
    let mut last_stage = None;
    for (index, step) in (0..=u16::MAX).zip(&procedure.steps) {
        let Some(stage) = procedure.stages.get(usize::from(step.stage)) else {
            return Err(ProcedureError::Dangling { step: index });
        };
        if !place_suits(stage, *step) {
            return Err(ProcedureError::Place { step: index });
        }
        let twice = match step.fastener() {
            Some(fastener) => {
                if usize::from(fastener) >= procedure.fasteners.len() {
                    return Err(ProcedureError::Dangling { step: index });
                }
                let bit = 1_u64.wrapping_shl(u32::from(fastener));
                match seen.get_mut(usize::from(step.stage)) {
                    Some(places) => {
                        let twice = *places & bit != 0;
                        *places |= bit;
                        twice
                    }
                    None => true,
                }
            }
            None => {
                let bit = 1_u16.wrapping_shl(u32::from(step.stage));
                let twice = joint_seen & bit != 0;
                joint_seen |= bit;
                twice
            }
        };
        if twice {
            return Err(ProcedureError::Twice { step: index });
        }
        if matches!(stage.kind, StageKind::Repeat { .. })
            && last_stage != Some(step.stage)
            && procedure
                .steps
                .iter()
                .take(usize::from(index))
                .any(|earlier| earlier.stage == step.stage)
        {
            return Err(ProcedureError::Scattered { stage: step.stage });
        }
        last_stage = Some(step.stage);
    }
    Ok(())
}

fn place_suits(stage: &Stage, step: Step) -> bool {
    match stage.kind {
        StageKind::Wait { .. } => step.fastener().is_none(),
        StageKind::Check | StageKind::Measure { .. } => true,
        _ => step.fastener().is_some(),
    }
}

fn overrides(procedure: &Procedure) -> Result<(), ProcedureError> {
    for (index, own) in (0..=u8::MAX).zip(&procedure.overrides) {
        let fits = procedure.steps.contains(&Step::on(own.fastener, own.stage))
            && first_of_its_step(&procedure.overrides, own, index)
            && match (
                procedure
                    .stages
                    .get(usize::from(own.stage))
                    .map(|stage| stage.kind),
                own.aim,
            ) {
                (Some(StageKind::Turn { .. }), OverrideAim::Angle(window)) => angle_sound(&window),
                (
                    Some(
                        StageKind::Tighten { .. }
                        | StageKind::Repeat { .. }
                        | StageKind::Align { .. }
                        | StageKind::Later { .. },
                    ),
                    OverrideAim::Torque(window),
                ) => torque_sound(&window),
                _ => false,
            };
        if !fits {
            return Err(ProcedureError::Override { index });
        }
    }
    Ok(())
}

fn first_of_its_step(overrides: &[Override], own: &Override, index: u8) -> bool {
    !overrides
        .iter()
        .take(usize::from(index))
        .any(|other| other.fastener == own.fastener && other.stage == own.stage)
}

fn terms(procedure: &Procedure) -> Result<(), ProcedureError> {
    if procedure.terms.reuse == Reuse::Cycles(0) {
        return Err(ProcedureError::Limits {
            stage: 0,
            why: Rule::Cycles,
        });
    }
    if procedure
        .terms
        .angle_sum_max
        .is_some_and(|sum| sum <= Angle::ZERO)
    {
        return Err(ProcedureError::Limits {
            stage: 0,
            why: Rule::AngleSum,
        });
    }
    procedure.terms.limits.checked()
}

#[cfg(test)]
mod tests;
