//! A session under test, its records, and the laws that are looked at after every input.

use std::collections::BTreeMap;

use evendraw_core::ledger::Ledger;
use evendraw_core::procedure::{Procedure, StageKind};
use evendraw_core::record::{Attempt, Entry, Record, Way};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Outcome, Readout, Session};
use evendraw_core::unit::{Angle, Instant, Rotation, Torque};

use crate::any::Move;
use crate::every_act_is_taken;

/// One session under test with what a host would hold.
pub(crate) struct Run<'p> {
    pub(crate) procedure: &'p Procedure,
    pub(crate) session: Session<&'p Procedure>,
    pub(crate) kept: Vec<Entry>,
    pub(crate) at: u64,
    boot: u16,
    extra_ticks: bool,
    /// The laws are looked at after every input.
    pub(crate) looks: bool,
    pub(crate) told: Vec<u32>,
    /// How everything stood before each record that came alone.
    before: BTreeMap<u32, String>,
}

impl<'p> Run<'p> {
    pub(crate) fn new(procedure: &'p Procedure, extra_ticks: bool) -> Self {
        let session = Session::new(procedure, 0);
        let mut run = Self {
            procedure,
            session,
            kept: Vec::new(),
            at: 0,
            boot: 0,
            extra_ticks,
            looks: true,
            told: Vec::new(),
            before: BTreeMap::new(),
        };
        run.start();
        run
    }

    pub(crate) fn start(&mut self) {
        self.boot += 1;
        let boot = self.boot;
        self.send(Input::Start {
            boot,
            rehearsal: true,
        });
    }

    pub(crate) fn make(&mut self, step: &Move) {
        self.at += 37_000;
        match step {
            Move::Plain(input) => self.send(*input),
            Move::PutRight { back, fastener } => {
                let of = self.session.ledger().seq().saturating_sub(back - 1);
                let entry = self.kept.iter().find(|entry| entry.seq == of).cloned();
                if let Some(attempt) = entry.as_ref().and_then(|entry| entry.record.attempt()) {
                    let other = Attempt {
                        step: attempt.step ^ 1,
                        ..attempt.clone()
                    };
                    for attempt in [&other, attempt] {
                        self.send_to(|session, at| session.reassign(at, of, attempt, *fastener));
                    }
                }
                self.send(Input::Withdraw {
                    of,
                    reason: "not so",
                });
            }
            Move::Restart => {
                self.session =
                    Session::restore(self.procedure, 0, &self.kept).expect("own records");
                self.start();
            }
            Move::Told { way, off, moved } => self.told_by_a_person(*way, *off, *moved),
            Move::RunDown {
                drag,
                turn,
                samples,
            } => {
                for n in (0..=*samples).chain((0..*samples).rev()) {
                    self.at += 5_000;
                    let is_turning = n % samples != 0;
                    let torque =
                        Torque::from_millinewton_meters(drag * 1000 * i32::from(is_turning));
                    let rotation = Rotation::from_millidegrees(turn * 1000 * n / samples);
                    self.send(Input::Sample(Sample { torque, rotation }));
                }
            }
            Move::Pull {
                peak,
                turn,
                samples,
            } => {
                for n in (0..=*samples).chain((0..=*samples).rev()).chain([0; 40]) {
                    self.at += 5_000;
                    // Torque up and down again; the fastener keeps the angle it reached.
                    let torque = Torque::from_millinewton_meters(peak * 1000 * n / samples);
                    let rotation = Rotation::from_millidegrees(turn * 1000 * n / samples + n * 50);
                    self.send(Input::Sample(Sample { torque, rotation }));
                }
            }
        }
    }

    /// Reads a value, sets a tool or ticks, for the step that is next; for one that does not exist where none is.
    pub(crate) fn told_by_a_person(&mut self, way: u8, off: i32, moved: bool) {
        let step = self.session.next().step().unwrap_or(999);
        let target = self
            .session
            .ledger()
            .torque_window(self.procedure, step)
            .map_or(0, |window| window.target.millinewton_meters());
        let angle = self.procedure.angle_window(step);
        let torque = Torque::from_millinewton_meters(target + off);
        if way == 0 {
            self.send(Input::Confirm { step });
        } else if way <= 2 {
            self.send(Input::BySetting {
                step,
                setting: torque,
                stands_for: torque,
                moved,
            });
        } else {
            let ways = [Way::Display, Way::Eye, Way::Gauge, Way::Mark];
            let turned = angle.map_or(0, |window| window.target.millidegrees());
            let readout = Readout {
                way: ways[usize::from(way % 4)],
                torque: (way != 5).then_some(torque),
                angle: (way != 3).then_some(Angle::from_millidegrees(turned + off)),
                moved,
                stated: "0.1 N·m, 2 %",
            };
            self.send(Input::Read {
                step,
                readout: &readout,
            });
        }
    }

    pub(crate) fn send(&mut self, input: Input<'_>) {
        self.send_to(|session, at| session.apply(at, input));
    }

    fn send_to(&mut self, act: impl FnOnce(&mut Session<&'p Procedure>, Instant) -> Outcome) {
        if self.extra_ticks {
            self.apply(self.at.saturating_sub(2_000), Input::Tick);
            self.apply(self.at, Input::Tick);
        }
        self.act(self.at, act);
        let seq = self.session.ledger().seq();
        if self.session.durable() < seq {
            self.apply(self.at, Input::Durable { seq });
        }
        while self.session.durable() == seq {
            let before = self.told.len();
            self.apply(self.at, Input::Tick);
            if self.told.len() == before {
                break;
            }
        }
    }

    fn apply(&mut self, at: u64, input: Input<'_>) {
        self.act(at, |session, at| session.apply(at, input));
    }

    fn act(&mut self, at: u64, act: impl FnOnce(&mut Session<&'p Procedure>, Instant) -> Outcome) {
        if !self.looks {
            let outcome = act(&mut self.session, Instant::from_micros(at));
            self.told.extend(outcome.announce.map(|own| own.seq));
            self.kept.extend(outcome.entries().iter().cloned());
            return;
        }
        let before = self.session.ledger().clone();
        let stood = stands(&before, self.procedure);
        let outcome = act(&mut self.session, Instant::from_micros(at));
        if outcome.refusal.is_some() && outcome.entries().is_empty() {
            assert_eq!(
                &before,
                self.session.ledger(),
                "L4: a refused input changed the state"
            );
        }
        if let Some(announcement) = outcome.announce {
            assert!(
                announcement.seq <= self.session.durable(),
                "L6: told before it was safe"
            );
            self.told.push(announcement.seq);
        }
        for entry in outcome.entries() {
            assert_eq!(
                entry.seq,
                self.kept.last().map_or(1, |last| last.seq + 1),
                "a gap in the records"
            );
            self.kept.push(entry.clone());
        }
        assert!(
            outcome.entries().len() < evendraw_core::limits::ENTRIES_MAX,
            "no input may fill the room for records"
        );
        if let [entry] = outcome.entries() {
            if let Record::Withdrawn(own) = &entry.record
                && own.of + 1 == entry.seq
                && let Some(stood) = self.before.get(&own.of)
            {
                let now = stands(self.session.ledger(), self.procedure);
                assert_eq!(&now, stood, "what was withdrawn at once left a trace");
            }
            self.before.insert(entry.seq, stood);
        }
        self.nobody_is_offered_a_later_stage();
        self.every_act_advised_is_taken();
        if !outcome.entries().is_empty() {
            let restored = Session::restore(self.procedure, 0, &self.kept).expect("own records");
            assert_eq!(
                restored.ledger(),
                self.session.ledger(),
                "L3: a restart differs from the live state"
            );
        }
    }
}

/// Everything that a ledger says of steps and fasteners, but how often each was tried.
pub(crate) fn stands(ledger: &Ledger, procedure: &Procedure) -> String {
    let steps = procedure
        .numbered_steps()
        .map(|(index, _)| ledger.step(index));
    let fasteners = (0_u8..).zip(procedure.fasteners()).map(|(own, _)| {
        (
            (
                ledger.cycles(own),
                ledger.must_loosen(own),
                ledger.must_replace(own),
            ),
            (
                ledger.must_decide(own),
                ledger.felt_wrong(own),
                ledger.is_marked(own),
            ),
            (
                ledger.is_new(own),
                ledger.is_tight(own),
                ledger.left_at(own),
            ),
            (
                ledger.running(own),
                ledger.wants_running(own),
                ledger.turned(own),
            ),
        )
    });
    format!(
        "{:?} {:?} {}",
        steps.collect::<Vec<_>>(),
        fasteners.collect::<Vec<_>>(),
        ledger.moved()
    )
}

impl Run<'_> {
    /// The step order is the truth: what is next is never of a later stage than the first step that stands open, whoever was
    /// selected before.
    fn nobody_is_offered_a_later_stage(&self) {
        let (Next::Pull { step }
        | Next::Hand { step }
        | Next::Fit { step }
        | Next::Answer { step }
        | Next::Measure { step }) = self.session.next()
        else {
            return;
        };
        let ledger = self.session.ledger();
        let first = (0_u16..)
            .zip(self.procedure.steps())
            .find(|(index, other)| {
                let later = matches!(
                    self.procedure.stages()[usize::from(other.stage())].kind,
                    StageKind::Later { .. }
                );
                !ledger.step(*index).is_settled() && (!later || ledger.is_due(other.stage()))
            })
            .map(|(_, other)| other.stage());
        let offered = self.procedure.steps()[usize::from(step)].stage();
        assert!(
            first.is_some_and(|first| offered <= first),
            "step {step} of stage {offered} is offered while a step of stage {first:?} stands open"
        );
    }

    /// What is advised after a restart of these records; a selection and a pull in progress do not outlast it.
    fn every_act_advised_is_taken(&self) {
        if self.session.advice().is_some() {
            every_act_is_taken(self.procedure, &self.kept);
        }
    }
}
