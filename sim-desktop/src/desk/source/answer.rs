//! Questions and alerts answered: each way on is a record.
//!
//! Knows nothing of how they are worded.

use crate::quantity::{LengthUnit, Quantity, TorqueUnit};
use evendraw_core::procedure::{EngineState, StageKind};
use evendraw_core::record::{Decision, Doubt};
use evendraw_core::session::{Input, Next, Session};

use super::super::view::Way;
use super::Source;
use super::act::short;
use crate::job::Job;

impl Source {
    pub(super) fn answer(&mut self, yes: bool) {
        if self.answer_about_adapter(yes) {
            return;
        }
        match self.next() {
            Some(Next::Condition) => {
                let wanted = self
                    .open
                    .zip(self.job.as_ref())
                    .and_then(|(joint, job)| job.joint_plan(joint)?.condition.clone())
                    .unwrap_or_else(|| "as assumed".to_owned());
                let found = if yes { wanted } else { format!("not {wanted}") };
                self.apply(Input::Condition {
                    found: short(&found),
                    matches: yes,
                });
            }
            Some(Next::Hand { step }) if yes => self.do_by_hand(step),
            Some(Next::Hand { .. }) => self.say(
                true,
                "stop: take it out, look at thread, hole and part; W marks it, K leaves it out",
            ),
            Some(Next::Fit { step }) if yes => {
                let fastener = self.session().and_then(|session| {
                    session
                        .procedure()
                        .steps()
                        .get(usize::from(step))?
                        .fastener()
                });
                if let Some(fastener) = fastener {
                    self.replace_on_bench(fastener);
                    self.apply(Input::Fitted { fastener });
                }
            }
            Some(Next::Answer { step }) => self.apply(Input::Answer {
                step,
                yes,
                note: "",
            }),
            Some(Next::Moment { moment, .. }) if yes => self.apply(Input::Moment { moment }),
            Some(Next::Wait { until, .. }) if yes && self.is_rehearsing() => {
                let left = until.micros().saturating_sub(self.micros);
                let seconds = std::time::Duration::from_micros(left).as_secs_f64();
                self.pass(seconds + 0.001);
            }
            Some(Next::TakeApart) if yes => {
                self.loosen_all_on_bench();
                self.apply(Input::TakenApart { note: "" });
            }
            Some(Next::AwaitDue { stage }) if yes => {
                let wanted = self.session().and_then(|session| {
                    match session.procedure().stages().get(usize::from(stage))?.kind {
                        StageKind::Later { state, .. } => Some(state),
                        _ => None,
                    }
                });
                let state = match wanted {
                    Some(EngineState::Hot) => EngineState::Hot,
                    _ => EngineState::Cold,
                };
                self.apply(Input::Due { stage, state });
            }
            Some(Next::AwaitDue { .. }) => self.open = None,
            _ => {}
        }
        self.take_tool_in_rehearsal();
    }

    pub(super) fn answer_typed(&mut self, text: &str) {
        match self.next() {
            Some(Next::Person) => self.person(text),
            Some(Next::Tool) => self.tool(text, ""),
            Some(Next::Measure { step }) => match Quantity::<LengthUnit>::parse(text.trim()) {
                Ok(length) => self.apply(Input::Measure {
                    step,
                    length: length.length(),
                }),
                Err(error) => self.say(true, error.to_string()),
            },
            Some(Next::Decide { step }) => {
                let wanting = self.session().and_then(|session| {
                    let fastener = session
                        .procedure()
                        .steps()
                        .get(usize::from(step))?
                        .fastener()?;
                    session.ledger().wants_running(fastener).then_some(fastener)
                });
                let Some(fastener) = wanting else { return };
                match Quantity::<TorqueUnit>::parse(text.trim()) {
                    Ok(running) => self.apply(Input::RunningTorque {
                        fastener,
                        torque: running.torque(),
                    }),
                    Err(error) => self.say(true, error.to_string()),
                }
            }
            _ => {}
        }
    }

    pub(super) fn answer_choice(&mut self, index: usize) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        let unanswered = job
            .joint(joint)
            .zip(job.answers(joint))
            .and_then(|(own, answers)| own.plan(answers).err());
        if let Some(error) = unanswered {
            let Some(answer) = error.allowed.get(index).cloned() else {
                return;
            };
            let result = self
                .job
                .as_mut()
                .map(|job| job.choose(joint, &error.key, &answer));
            if let Some(Err(error)) = result {
                self.say(true, error.to_string());
            }
            self.enter();
        } else if matches!(self.next(), Some(Next::Tool)) {
            let id = job
                .tools_for_next(joint)
                .get(index)
                .map(|id| (*id).to_owned());
            if let Some(id) = id {
                self.tool(&id, "");
            }
        }
    }

    pub(super) fn take_way(&mut self, way: Way, why: &str) {
        let next = self.next();
        let fastener = match next {
            Some(
                Next::Loosen { fastener } | Next::Replace { fastener } | Next::Settle { fastener },
            ) => Some(fastener),
            Some(Next::Decide { step }) => self.session().and_then(|session| {
                session
                    .procedure()
                    .steps()
                    .get(usize::from(step))?
                    .fastener()
            }),
            _ => None,
        };
        match (way, next) {
            (Way::GoOn, Some(Next::Settle { fastener })) => {
                // Who looked stands in the words too: on the sheet they are read alone.
                let name = self.job.as_ref().and_then(Job::person);
                let text = name.map_or_else(
                    || "looked at, good".to_owned(),
                    |name| format!("{name}: looked at, good"),
                );
                self.apply(Input::Note {
                    fastener: Some(fastener),
                    doubt: Doubt::Settled,
                    text: short(&text),
                });
            }
            (Way::GoOn, _) => self.apply(Input::Tick),
            (Way::Redo, Some(Next::Decide { step })) => self.apply(Input::Decide {
                step,
                decision: Decision::Again,
                note: short(why),
            }),
            (Way::Loosen, Some(Next::Decide { step })) => {
                let from = self
                    .session()
                    .and_then(Session::advice)
                    .map_or(0, |advice| advice.from);
                self.apply(Input::Decide {
                    step,
                    decision: Decision::Restart(from),
                    note: short(why),
                });
                if let (Some(fastener), Some(Next::Loosen { .. })) = (fastener, self.next()) {
                    self.loosened(fastener, "after a decision");
                }
            }
            (Way::NewFitted, Some(Next::Decide { step })) => {
                self.apply(Input::Decide {
                    step,
                    decision: Decision::Replace,
                    note: short(why),
                });
                if let Some(fastener) = fastener {
                    self.fit(fastener);
                }
            }
            (Way::Observed, Some(Next::Decide { step })) => self.apply(Input::Decide {
                step,
                decision: Decision::Observed,
                note: short(why),
            }),
            (Way::Loosen, Some(_)) => {
                if let Some(fastener) = fastener {
                    self.loosened(fastener, "as the plan wants");
                }
            }
            (Way::NewFitted, Some(_)) => {
                if let Some(fastener) = fastener {
                    self.fit(fastener);
                }
            }
            (Way::Waive, _) => {
                let tool = self
                    .job
                    .as_ref()
                    .and_then(|job| job.tool().map(str::to_owned));
                if let Some(id) = tool {
                    self.tool(&id, why);
                }
            }
            _ => {}
        }
        self.take_tool_in_rehearsal();
    }
}
