//! Judging a recorded reading again, and comparing.
//!
//! Changes nothing: a verdict is a recorded fact, and an audit only says whether today's rules would come to the same. What a
//! record does not hold (how long a hold was kept, how far a jerk reached between two samples) is taken as recorded. Knows
//! nothing of storage or of the samples behind a reading.

use crate::ledger::Ledger;
use crate::procedure::{Prevailing, Procedure, TorqueWindow};
use crate::record::{Added, Attempt};
use crate::unit::{Span, Torque};
use crate::verdict::{Aim, Judgement, Reading, Reason, Told, Verdict, judge, judge_told};

/// Reasons that the limits give; every other one the curve gave.
const BY_LIMIT: [Reason; 5] = [
    Reason::TorqueLow,
    Reason::TorqueHigh,
    Reason::AngleLow,
    Reason::AngleHigh,
    Reason::OutOfOrder,
];

/// What an audit of one attempt found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Finding {
    /// Today's rules come to the same verdict for the same reasons.
    Agrees,
    /// They come to another one.
    Differs(Judgement),
    /// The procedure has no such step, or it is not pulled.
    NoSuchStep,
}

/// The running torque that the limits of a recorded attempt came on top of; zero where none was known.
#[must_use]
pub fn added(procedure: &Procedure, attempt: &Attempt) -> Torque {
    match (attempt.prevailing, procedure.prevailing(attempt.step)) {
        // The first version of the record did not say a running torque that the plan gives.
        (Added::Nothing, Prevailing::Given(torque)) => torque,
        (added, _) => added.torque().unwrap_or(Torque::ZERO),
    }
}

/// The torque window that a recorded attempt was held against, its running torque put in; `None` for stages without one.
#[must_use]
pub fn torque_window(procedure: &Procedure, attempt: &Attempt) -> Option<TorqueWindow> {
    let window = procedure.torque_window(attempt.step)?;
    Some(window.raised(added(procedure, attempt)))
}

/// Judges again what a person read, or what a setting stands for, as [`audit`] does an attempt.
#[must_use]
pub fn audit_told(
    procedure: &Procedure,
    before: &Ledger,
    attempt: &Attempt,
    told: Told,
) -> Finding {
    let aim = before.aim_as_planned(procedure, attempt.step);
    let aim = aim.map(|aim| aim.raised(added(procedure, attempt)));
    let Some(again) = aim.and_then(|aim| judge_told(&aim, told, attempt.prevailing)) else {
        return Finding::NoSuchStep;
    };
    found(again, attempt)
}

fn found(again: Judgement, attempt: &Attempt) -> Finding {
    let recorded = Judgement {
        verdict: attempt.verdict,
        reasons: attempt.reasons.without(Reason::OutOfOrder),
    };
    if again == recorded {
        Finding::Agrees
    } else {
        Finding::Differs(again)
    }
}

/// Judges a recorded attempt again by the limits of its procedure. `before` is the ledger as it stood before the attempt; it
/// matters only where the procedure limits the sum of a fastener's angles.
#[must_use]
pub fn audit(procedure: &Procedure, before: &Ledger, attempt: &Attempt) -> Finding {
    let Some(aim) = before.aim_as_planned(procedure, attempt.step) else {
        return Finding::NoSuchStep;
    };
    let aim = aim.raised(added(procedure, attempt));
    let reading = reading(attempt, &aim);
    let in_one_sweep = matches!(
        aim,
        Aim::Turn {
            one_sweep: true,
            ..
        }
    ) && attempt.pulls > 1;
    if reading.shape.contains(Reason::Interrupted)
        && !in_one_sweep
        && attempt.verdict == Verdict::Unknown
    {
        // The measurement was lost: there is nothing that could be judged otherwise.
        return Finding::Agrees;
    }
    found(judge(&aim, &reading), attempt)
}

/// What was measured, as far as a record holds it.
pub(crate) fn reading(attempt: &Attempt, aim: &Aim) -> Reading {
    let mut shape = attempt.reasons;
    for reason in BY_LIMIT {
        shape = shape.without(reason);
    }
    Reading {
        pulls: attempt.pulls,
        peak: attempt.peak,
        final_torque: attempt.final_torque,
        angle: attempt.angle,
        restart: attempt.restart,
        held: match aim {
            Aim::Hold { time, .. } if !attempt.reasons.contains(Reason::TorqueLow) => *time,
            _ => Span::ZERO,
        },
        bound: if attempt.verdict == Verdict::Unknown {
            Torque::MAX
        } else {
            Torque::ZERO
        },
        shape,
        ..Reading::default()
    }
}
