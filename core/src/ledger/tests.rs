//! What each record does to what is known of a joint: records as they stand in a journal, whoever made them.

#[cfg(feature = "put-right")]
mod before;
mod loosened;
mod pulls;
mod standing;

use super::*;
use crate::procedure::samples::{self, degrees, tighten, torque, window};
use crate::procedure::{AngleWindow, EngineState, Policy, Redo, Terms};
use crate::record::{
    Added, AfterPass, Answered, Apart, Attempt, Begun, Condition, Decided, Decision, Done, Doubt,
    Entry, Fitted, Loosened, Manner, Marked, Measured, Moment as Came, Noted, Pass, Person, Read,
    Rechecked, Record, Role, Running, Skipped, Started, Tool, Way, Zero,
};
use crate::text::Text;
use crate::unit::{Length, Span};
use crate::verdict::{Reason, Verdict};

fn turn(angle: i32) -> Stage {
    Stage::new(StageKind::Turn {
        window: AngleWindow {
            target: degrees(angle),
            min: degrees(angle - 5),
            max: degrees(angle + 5),
        },
        torque: None,
        one_sweep: false,
    })
}

fn repeat(newton_meters: i32) -> Stage {
    Stage::new(StageKind::Repeat {
        window: window(newton_meters),
        still: degrees(2),
        min: 1,
        max: 5,
    })
}

fn back_off(angle: Option<i32>) -> Stage {
    Stage::new(StageKind::BackOff {
        angle: angle.map(degrees),
    })
}

fn trial(stage: Stage) -> Stage {
    Stage {
        mock_up: true,
        ..stage
    }
}

fn wait(after: Moment) -> Stage {
    Stage::new(StageKind::Wait {
        at_least: Span::from_millis(1_000),
        at_most: Span::MAX,
        after,
    })
}

/// Fasteners 1 to 4 in a ring, each stage at every one of them, a wait and a check for the joint.
struct Joint {
    procedure: Procedure,
    ledger: Ledger,
}

impl Joint {
    fn of(stages: &[Stage]) -> Self {
        Self::under(Terms::default(), stages)
    }

    fn under(terms: Terms, stages: &[Stage]) -> Self {
        let near = [[1, 3], [0, 2], [1, 3], [2, 0]]
            .map(|[one, other]| [Some(one), Some(other), None, None]);
        Self {
            procedure: samples::procedure(&near, stages, terms),
            ledger: Ledger::new(),
        }
    }

    /// Takes a record into the ledger, a second after the one before.
    fn keep(&mut self, record: impl Into<Record>) -> &mut Self {
        self.keep_in_run(1, record)
    }

    /// Likewise, in the n-th run of the clock.
    fn keep_in_run(&mut self, boot: u16, record: impl Into<Record>) -> &mut Self {
        let seq = self.ledger.seq() + 1;
        let entry = Entry {
            joint: 0,
            seq,
            boot,
            at: seconds(seq),
            record: record.into(),
        };
        fold(&mut self.ledger, &self.procedure, &entry);
        self
    }

    fn step(&self, fastener: u8, stage: u8) -> u16 {
        let own = |fastener| {
            let mut steps = self.procedure.numbered_steps();
            steps.find(|(_, step)| step.fastener() == fastener && step.stage() == stage)
        };
        let found = own(Some(fastener)).or_else(|| own(None));
        found.expect("a step").0
    }

    fn state(&self, fastener: u8, stage: u8) -> StepState {
        self.ledger.step(self.step(fastener, stage))
    }

    /// A pull that ended so, at the target of its stage.
    fn pull(&self, fastener: u8, stage: u8, verdict: Verdict) -> Attempt {
        let step = self.step(fastener, stage);
        let reached = match self.procedure.torque_window(step) {
            Some(window) => window.target,
            None => Torque::ZERO,
        };
        Attempt {
            step,
            fastener,
            stage,
            attempt: 1,
            pulls: 1,
            verdict,
            reasons: Reasons::NONE,
            peak: reached,
            final_torque: reached,
            angle: None,
            prevailing: Added::Nothing,
            restart: None,
            trace: 0,
            took_ms: 0,
        }
    }

    fn accept(&mut self, fastener: u8, stage: u8) -> &mut Self {
        let pull = self.pull(fastener, stage, Verdict::Accepted);
        self.keep(pull)
    }

    fn reject(&mut self, fastener: u8, stage: u8, reason: Reason) -> &mut Self {
        let pull = Attempt {
            reasons: Reasons::NONE.with(reason),
            ..self.pull(fastener, stage, Verdict::Rejected)
        };
        self.keep(pull)
    }

    /// A pull whose verdict is not known for want of the running torque.
    fn want_running(&mut self, fastener: u8, stage: u8) -> &mut Self {
        let pull = Attempt {
            reasons: Reasons::NONE.with(Reason::RunningUnknown),
            ..self.pull(fastener, stage, Verdict::Unknown)
        };
        self.keep(pull)
    }

    fn standing(&self) -> Standing {
        self.ledger.standing(&self.procedure)
    }
}

fn seconds(value: u32) -> Instant {
    Instant::BOOT.after(Span::from_seconds(value))
}

fn loosened(fastener: u8) -> Loosened {
    Loosened {
        fastener,
        elsewhere: false,
        cause: Text::empty(),
    }
}

fn noted(fastener: u8, doubt: Doubt) -> Noted {
    Noted {
        fastener: Some(fastener),
        doubt,
        text: Text::empty(),
    }
}

fn decided(step: u16, decision: Decision) -> Decided {
    Decided {
        step,
        decision,
        note: Text::empty(),
    }
}

fn skipped(step: u16) -> Skipped {
    Skipped {
        step,
        reason: Text::cut("M. Odum: not reached"),
    }
}

fn done(step: u16, manner: Manner) -> Done {
    Done { step, manner }
}

fn apart() -> Apart {
    Apart {
        note: Text::empty(),
    }
}

#[test]
fn a_time_is_known_in_the_run_of_the_clock_that_it_came_in_and_no_longer() {
    let stages = [
        tighten(40),
        wait(Moment::StageDone(0)),
        wait(Moment::Named(3)),
    ];
    let mut joint = Joint::of(&stages);
    let moments = |joint: &Joint| {
        [Moment::StageDone(0), Moment::Named(3), Moment::Named(2)]
            .map(|moment| joint.ledger.moment(&joint.procedure, moment))
    };
    assert_eq!(moments(&joint), [Reached::NotYet; 3]);
    (0..4).for_each(|own| {
        joint.accept(own, 0);
    });
    joint.keep(Came { moment: 3 });
    let known = [
        Reached::At(seconds(4)),
        Reached::At(seconds(5)),
        Reached::NotYet,
    ];
    assert_eq!(moments(&joint), known);
    joint.keep_in_run(
        2,
        Zero {
            taken: true,
            offset: Torque::ZERO,
        },
    );
    let unknown = [Reached::TimeUnknown, Reached::TimeUnknown, Reached::NotYet];
    assert_eq!(moments(&joint), unknown);
    // Told again it is known again; a stage that is opened again has not come to its end.
    joint.keep_in_run(2, Came { moment: 3 });
    joint.keep_in_run(2, loosened(2));
    let again = [Reached::NotYet, Reached::At(seconds(7)), Reached::NotYet];
    assert_eq!(moments(&joint), again);
}

#[test]
fn a_start_asks_anew_who_works_and_with_what() {
    let person = |role| Person {
        name: Text::cut("M. Odum"),
        role,
    };
    let mut joint = Joint::of(&[tighten(40)]);
    joint.keep(person(Role::Witness));
    assert!(!joint.ledger.has_person(), "whoever looks on does not work");
    joint
        .keep(person(Role::Operator))
        .keep(person(Role::Witness));
    joint.keep(Tool {
        id: Text::cut("W1"),
        waiver: Text::empty(),
    });
    assert!(joint.ledger.has_person() && joint.ledger.has_tool());
    joint.keep(Started {
        rules: 1,
        procedure: 0,
        rehearsal: false,
    });
    assert!(!joint.ledger.has_person() && !joint.ledger.has_tool());
}
