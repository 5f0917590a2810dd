//! What a verdict leads to: which reason is the gravest, and which acts make sense then.
//!
//! The one place that ranks reasons and chooses acts; desk, adapter, sheet and commands ask it, and so does the ledger where a
//! rejected attempt has to wait for a person. Pure. Knows nothing of samples, words or screens.
//!
//! Every list is written with the metal in mind: nothing is pulled any further, or once more, beside a reason that speaks of
//! harm; an angle is never pulled twice; a fastener that loosening would use up is not loosened to be used again; what may have
//! gone beyond its limit unseen is not covered up by another pull that stops at the limit. *Our judgement, no source*, where
//! nothing else is said.

use core::ops::Deref;

use crate::ledger::StepState;
use crate::procedure::{Procedure, StageKind};
use crate::record::Decision;
use crate::session::{Next, Session};
use crate::verdict::{Reason, Reasons, Verdict};

/// How grave a reason is, the gravest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Gravity {
    /// Fastener or thread is giving out, or has been loaded beyond what it bears: it is not pulled again.
    Harm,
    /// Something is not as it should be: fastener, thread, parts, direction. To be looked at before the next pull.
    Fault,
    /// Beyond an upper limit.
    TooFar,
    /// What was measured is not to be trusted.
    Lost,
    /// Short of a lower limit, and nothing else.
    Short,
    /// Says nothing about the fastener.
    Remark,
}

/// Every reason with its gravity, the gravest first: whatever lists reasons lists them in this order.
pub(crate) const GRAVEST_FIRST: [(Reason, Gravity); Reason::ALL.len()] = [
    (Reason::GivingWay, Gravity::Harm),
    (Reason::Yielding, Gravity::Harm),
    (Reason::Overload, Gravity::Harm),
    (Reason::NoTurn, Gravity::Fault),
    (Reason::EarlyRise, Gravity::Fault),
    (Reason::NoRise, Gravity::Fault),
    (Reason::LateRise, Gravity::Fault),
    (Reason::StickSlip, Gravity::Fault),
    (Reason::WrongWay, Gravity::Fault),
    (Reason::TorqueHigh, Gravity::TooFar),
    (Reason::AngleHigh, Gravity::TooFar),
    (Reason::Stuck, Gravity::Lost),
    (Reason::Interrupted, Gravity::Lost),
    (Reason::Gap, Gravity::Lost),
    (Reason::Jerk, Gravity::Lost),
    (Reason::TorqueLow, Gravity::Short),
    (Reason::AngleLow, Gravity::Short),
    (Reason::RunningUnknown, Gravity::Short),
    (Reason::OutOfOrder, Gravity::Remark),
];

impl Reason {
    /// How grave it is.
    #[must_use]
    pub fn gravity(self) -> Gravity {
        GRAVEST_FIRST
            .into_iter()
            .find(|(reason, _)| *reason == self)
            .map_or(Gravity::Harm, |(_, gravity)| gravity)
    }
}

impl Reasons {
    /// The reason that decides what is to be done: the gravest.
    #[must_use]
    pub fn gravest(self) -> Option<Reason> {
        self.iter().next()
    }

    /// Whether one of them is as grave as this, or graver.
    #[must_use]
    pub fn reach(self, gravity: Gravity) -> bool {
        self.gravest()
            .is_some_and(|reason| reason.gravity() <= gravity)
    }
}

/// What a person can do about a verdict. How each is carried out stands beside it; every one leaves a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Act {
    /// Pull on to the target: nothing to decide, the step is what is next.
    PullOn,
    /// The same stage once more, as it stands: [`Decision::Again`].
    Again,
    /// Type its running torque, which was not seen: [`Input::RunningTorque`](crate::session::Input::RunningTorque).
    TypeRunning,
    /// Loosen it fully and begin again: [`Decision::Restart`], then [`Input::Loosened`](crate::session::Input::Loosened).
    Loosen,
    /// As [`Self::Loosen`], to look at fastener, thread and parts: only what is sound goes in again.
    TakeOut,
    /// A new fastener: [`Decision::Replace`], then [`Input::Fitted`](crate::session::Input::Fitted).
    Replace,
    /// Its end was seen by a mark on the metal: [`Decision::Observed`], on a name and a reason.
    Observe,
    /// Leave it as it is, on a name and a reason: [`Decision::Waive`], or [`Input::Skip`](crate::session::Input::Skip) where no
    /// decision is waited for.
    Waive,
}

impl Act {
    /// The decision that begins it where one is waited for; `from` is the stage to begin again at.
    #[must_use]
    pub const fn decision(self, from: u8) -> Option<Decision> {
        match self {
            Self::PullOn | Self::TypeRunning => None,
            Self::Again => Some(Decision::Again),
            Self::Loosen | Self::TakeOut => Some(Decision::Restart(from)),
            Self::Replace => Some(Decision::Replace),
            Self::Observe => Some(Decision::Observed),
            Self::Waive => Some(Decision::Waive),
        }
    }
}

/// What the session waits for after a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Waiting {
    /// For nothing: the same step is pulled on.
    Pull,
    /// For a decision about a step.
    Decision,
    /// For a decision about passes that ended with fasteners still moving.
    Passes,
    /// For the fastener to be loosened.
    Loosening,
    /// For a new fastener.
    Replacement,
}

/// What the acts depend on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Case {
    /// What the attempt was found to be.
    pub verdict: Verdict,
    /// Why; none where nobody knows any more.
    pub reasons: Reasons,
    /// What the stage does.
    pub kind: StageKind,
    /// Whether loosening uses the fastener up, so that a new one must follow.
    pub is_spent_by_loosening: bool,
    /// Whether its running torque is all that is missing for a verdict.
    pub wants_running: bool,
    /// What the session waits for.
    pub waiting: Waiting,
}

/// What makes sense now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Advice {
    /// The step that it is about; `None` where a fastener is to be loosened or replaced.
    pub step: Option<u16>,
    /// The fastener; `None` for a step of the whole joint.
    pub fastener: Option<u8>,
    /// What the verdict was.
    pub verdict: Verdict,
    /// The reason that decides; none where nobody knows any more.
    pub gravest: Option<Reason>,
    /// The acts, the one that makes it surely right first, the way out last. The session refuses none of them now.
    pub acts: &'static [Act],
    /// The stage at which it begins again after [`Act::Loosen`] and [`Act::TakeOut`].
    pub from: u8,
}

/// The acts that make sense, in order.
#[must_use]
pub fn acts(case: &Case) -> &'static [Act] {
    match case.waiting {
        Waiting::Pull if case.is_spent_by_loosening => &[Act::PullOn, Act::Waive],
        Waiting::Pull => &[Act::PullOn, Act::Loosen, Act::Waive],
        Waiting::Passes => &[Act::Again, Act::Waive],
        Waiting::Loosening => &[Act::Loosen, Act::Replace, Act::Waive],
        Waiting::Replacement => &[Act::Replace, Act::Waive],
        Waiting::Decision if case.wants_running && case.is_spent_by_loosening => {
            &[Act::TypeRunning, Act::Replace, Act::Waive]
        }
        Waiting::Decision if case.wants_running => &[Act::TypeRunning, Act::Loosen, Act::Waive],
        Waiting::Decision => decisions(case),
    }
}

fn decisions(case: &Case) -> &'static [Act] {
    match case.kind {
        // A wait that took too long: another try would find the same clock.
        StageKind::Wait { .. } | StageKind::Check => &[Act::Waive],
        StageKind::Measure { .. } => once_more(case),
        _ => pulled(case),
    }
}

fn pulled(case: &Case) -> &'static [Act] {
    let turn = matches!(case.kind, StageKind::Turn { .. });
    let hold = matches!(case.kind, StageKind::Hold { .. });
    let back_off = matches!(case.kind, StageKind::BackOff { .. });
    let unknown = case.verdict == Verdict::Unknown;
    let jerked = case.reasons.contains(Reason::Jerk);
    let gravest = case.reasons.gravest();
    match (gravest, gravest.map(Reason::gravity)) {
        (_, Some(Gravity::Harm)) => &[Act::Replace, Act::Waive],
        (Some(Reason::NoTurn | Reason::WrongWay), _) => first_loosened(case),
        (_, Some(Gravity::Fault)) => taken_out(case),
        // What moved while it was held is held again.
        (Some(Reason::AngleHigh), _) if hold => once_more(case),
        // A bolt turned too far is stretched for good; whether it may be used again is the maker's word.
        (_, Some(Gravity::TooFar)) if turn && !case.is_spent_by_loosening => {
            &[Act::Replace, Act::Loosen, Act::Waive]
        }
        (_, Some(Gravity::TooFar)) => first_loosened(case),
        // Turned as far as wanted and the torque did not come: that is not a matter of pulling more.
        (Some(Reason::TorqueLow), _) if turn => taken_out(case),
        // A mark shows an angle, and no torque.
        (_, None | Some(Gravity::Lost)) if turn && unknown && !jerked => {
            if case.is_spent_by_loosening {
                &[Act::Replace, Act::Observe, Act::Waive]
            } else {
                &[Act::Loosen, Act::Observe, Act::Replace, Act::Waive]
            }
        }
        _ if turn => first_loosened(case),
        // Turned back too little is turned back more; how far, after a loss, nobody knows.
        (_, Some(Gravity::Short | Gravity::Remark)) if back_off => {
            &[Act::Again, Act::Loosen, Act::Waive]
        }
        _ if back_off => first_loosened(case),
        // Another pull ends at the target and would show nothing of what went beyond it unseen.
        (Some(Reason::Stuck), _) => first_loosened(case),
        _ if unknown && jerked => first_loosened(case),
        _ if unknown => {
            if case.is_spent_by_loosening {
                &[Act::Replace, Act::Again, Act::Waive]
            } else {
                &[Act::Loosen, Act::Again, Act::Replace, Act::Waive]
            }
        }
        // Rejected, and nobody knows why any more.
        (None, _) => taken_out(case),
        _ => once_more(case),
    }
}

const fn first_loosened(case: &Case) -> &'static [Act] {
    if case.is_spent_by_loosening {
        &[Act::Replace, Act::Waive]
    } else {
        &[Act::Loosen, Act::Replace, Act::Waive]
    }
}

const fn taken_out(case: &Case) -> &'static [Act] {
    if case.is_spent_by_loosening {
        &[Act::Replace, Act::Waive]
    } else {
        &[Act::TakeOut, Act::Replace, Act::Waive]
    }
}

const fn once_more(case: &Case) -> &'static [Act] {
    if case.is_spent_by_loosening {
        &[Act::Again, Act::Replace, Act::Waive]
    } else {
        &[Act::Again, Act::Loosen, Act::Replace, Act::Waive]
    }
}

/// Whether a rejected attempt is simply pulled on: too little torque, and nothing else spoke.
///
/// An angle is never added to a finished one; what else is short, harmed or lost waits for a person.
pub(crate) fn is_pulled_on(reasons: Reasons, kind: &StageKind) -> bool {
    !matches!(kind, StageKind::Turn { .. })
        && reasons.iter().all(|reason| {
            matches!(
                reason,
                Reason::TorqueLow | Reason::OutOfOrder | Reason::RunningUnknown
            )
        })
}

impl<P: Deref<Target = Procedure>> Session<P> {
    /// What makes sense now, where a verdict waits for somebody: about the step or fastener that is next. `None` where nothing
    /// was rejected or lost there.
    #[must_use]
    pub fn advice(&self) -> Option<Advice> {
        let procedure = self.procedure();
        let ledger = self.ledger();
        let passes = ledger.not_converged().is_some();
        let (waiting, step, fastener) = match self.next() {
            Next::Decide { step } if passes => (Waiting::Passes, Some(step), None),
            Next::Decide { step } => (Waiting::Decision, Some(step), procedure.fastener_of(step)),
            Next::Pull { step } if ledger.step(step) == StepState::Rejected => {
                (Waiting::Pull, Some(step), procedure.fastener_of(step))
            }
            Next::Loosen { fastener } => (Waiting::Loosening, None, Some(fastener)),
            Next::Replace { fastener } => (Waiting::Replacement, None, Some(fastener)),
            _ => return None,
        };
        let judged = ledger.judged().filter(|(judged, _)| match step {
            Some(step) => *judged == step,
            None => procedure.fastener_of(*judged) == fastener,
        });
        let about = step.or(judged.map(|(step, _)| step));
        let verdict = match about.map(|step| ledger.step(step)) {
            Some(StepState::Doubtful) => Verdict::Unknown,
            _ => Verdict::Rejected,
        };
        let reasons = judged.map_or(Reasons::NONE, |(_, reasons)| reasons);
        let case = Case {
            verdict,
            reasons,
            kind: about
                .and_then(|step| procedure.stage_of(step))
                .map_or(StageKind::Check, |stage| stage.kind),
            is_spent_by_loosening: fastener.is_some_and(|fastener| {
                ledger.is_spent_by_loosening(procedure, fastener, ledger.is_tight(fastener))
            }),
            wants_running: fastener.is_some_and(|fastener| ledger.wants_running(fastener)),
            waiting,
        };
        Some(Advice {
            step,
            fastener,
            verdict,
            gravest: reasons.gravest(),
            acts: acts(&case),
            from: about.map_or(0, |step| first_pulled(procedure, step)),
        })
    }
}

/// The stage at which the fastener of a step is first tightened for good, or for the trial that the step belongs to; never a
/// later one than the step's own.
fn first_pulled(procedure: &Procedure, step: u16) -> u8 {
    let Some(own) = procedure.step_at(step) else {
        return 0;
    };
    let is_trial = |stage: u8| {
        procedure
            .stages()
            .get(usize::from(stage))
            .is_some_and(|stage| stage.mock_up)
    };
    procedure
        .steps()
        .iter()
        .filter(|other| other.fastener() == own.fastener())
        .map(|other| other.stage())
        .find(|&stage| {
            is_trial(stage) == is_trial(own.stage())
                && procedure
                    .stages()
                    .get(usize::from(stage))
                    .is_some_and(|stage| stage.kind.tightens())
        })
        .map_or(own.stage(), |stage| stage.min(own.stage()))
}

#[cfg(test)]
mod tests {
    use super::{Act, Case, GRAVEST_FIRST, Gravity, Waiting, acts, is_pulled_on};
    use crate::procedure::{AngleWindow, StageKind, TorqueWindow};
    use crate::unit::{Angle, Length, Span, Torque};
    use crate::verdict::{Reason, Reasons, Verdict};

    fn kinds() -> [StageKind; 8] {
        let torque = TorqueWindow {
            target: Torque::from_millinewton_meters(40_000),
            min: Torque::from_millinewton_meters(38_000),
            max: Torque::from_millinewton_meters(42_000),
        };
        let degrees = Angle::from_millidegrees;
        [
            StageKind::Tighten {
                window: torque,
                prevailing: crate::procedure::Prevailing::None,
            },
            StageKind::Turn {
                window: AngleWindow {
                    target: degrees(90_000),
                    min: degrees(85_000),
                    max: degrees(95_000),
                },
                torque: None,
                one_sweep: false,
            },
            StageKind::Repeat {
                window: torque,
                still: degrees(2_000),
                min: 1,
                max: 3,
            },
            StageKind::Hold {
                torque: torque.target,
                time: Span::from_seconds(1),
                still: degrees(1_000),
            },
            StageKind::BackOff { angle: None },
            StageKind::Align { window: torque },
            StageKind::Measure {
                min: Length::from_micrometers(10),
                max: Length::from_micrometers(20),
            },
            StageKind::Wait {
                at_least: Span::from_seconds(1),
                at_most: Span::from_seconds(2),
                after: crate::procedure::Moment::Named(0),
            },
        ]
    }

    /// Every reason beside every other, with both verdicts, at every kind of stage, used up by loosening or not.
    fn cases() -> impl Iterator<Item = Case> {
        let reasons = Reason::ALL.into_iter().flat_map(|one| {
            Reason::ALL
                .into_iter()
                .map(move |other| Reasons::NONE.with(one).with(other))
        });
        reasons
            .chain([Reasons::NONE])
            .flat_map(|reasons| kinds().map(|kind| (reasons, kind)))
            .flat_map(|(reasons, kind)| {
                [
                    (Verdict::Rejected, false),
                    (Verdict::Rejected, true),
                    (Verdict::Unknown, false),
                    (Verdict::Unknown, true),
                ]
                .map(move |(verdict, is_spent_by_loosening)| Case {
                    verdict,
                    reasons,
                    kind,
                    is_spent_by_loosening,
                    wants_running: verdict == Verdict::Unknown
                        && reasons == Reasons::NONE.with(Reason::RunningUnknown),
                    waiting: if verdict == Verdict::Rejected && is_pulled_on(reasons, &kind) {
                        Waiting::Pull
                    } else {
                        Waiting::Decision
                    },
                })
            })
    }

    #[test]
    fn every_reason_has_its_place_and_the_gravest_come_first() {
        for reason in Reason::ALL {
            let places = GRAVEST_FIRST.iter().filter(|(own, _)| *own == reason);
            assert_eq!(places.count(), 1, "{reason:?}");
        }
        assert!(GRAVEST_FIRST.is_sorted_by_key(|(_, gravity)| *gravity));
        let all = Reason::ALL.into_iter().fold(Reasons::NONE, Reasons::with);
        assert!(all.iter().eq(GRAVEST_FIRST.map(|(reason, _)| reason)));
        let stripping = Reasons::NONE
            .with(Reason::TorqueLow)
            .with(Reason::GivingWay);
        assert_eq!(stripping.gravest(), Some(Reason::GivingWay));
        assert!(stripping.reach(Gravity::Harm) && !Reasons::NONE.reach(Gravity::Remark));
    }

    #[test]
    fn nothing_is_pulled_on_or_again_beside_harm() {
        for case in cases().filter(|case| case.reasons.reach(Gravity::TooFar)) {
            let held = matches!(case.kind, StageKind::Hold { .. })
                && case.reasons.gravest() == Some(Reason::AngleHigh);
            let measured = matches!(case.kind, StageKind::Measure { .. });
            let list = acts(&case);
            assert!(!list.contains(&Act::PullOn), "{case:?}: {list:?}");
            assert!(
                held || measured || !list.contains(&Act::Again),
                "{case:?}: {list:?}"
            );
        }
    }

    #[test]
    fn an_angle_is_never_pulled_twice_and_only_an_unknown_one_is_seen_by_a_mark() {
        for case in cases() {
            let list = acts(&case);
            let turn = matches!(case.kind, StageKind::Turn { .. });
            assert!(
                !turn || !list.contains(&Act::Again) && !list.contains(&Act::PullOn),
                "{case:?}"
            );
            assert!(
                !list.contains(&Act::Observe) || turn && case.verdict == Verdict::Unknown,
                "{case:?}"
            );
        }
    }

    #[test]
    fn a_fastener_that_loosening_uses_up_is_not_loosened_to_be_used_again() {
        for case in cases().filter(|case| case.is_spent_by_loosening) {
            let list = acts(&case);
            let back_off = matches!(case.kind, StageKind::BackOff { .. });
            assert!(
                back_off || !list.contains(&Act::Loosen) && !list.contains(&Act::TakeOut),
                "{case:?}: {list:?}"
            );
        }
    }

    #[test]
    fn there_is_always_something_to_do_no_act_twice_and_the_way_out_is_last() {
        for case in cases() {
            let list = acts(&case);
            assert_eq!(list.last(), Some(&Act::Waive), "{case:?}");
            for (index, act) in list.iter().enumerate() {
                assert!(!list[..index].contains(act), "{case:?}: {list:?}");
            }
        }
    }

    #[test]
    fn what_may_have_gone_beyond_its_limit_unseen_is_not_covered_up_by_another_pull() {
        for case in cases().filter(|case| case.verdict == Verdict::Unknown) {
            let unseen =
                case.reasons.contains(Reason::Jerk) || case.reasons.contains(Reason::Stuck);
            let pulled = case.kind.is_pulled()
                && !matches!(
                    case.kind,
                    StageKind::BackOff { .. } | StageKind::Hold { .. }
                );
            if unseen && pulled {
                assert!(!acts(&case).contains(&Act::Again), "{case:?}");
            }
        }
    }
}
