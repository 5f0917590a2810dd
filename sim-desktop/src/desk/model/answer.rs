//! What a person does about a prompt, carried out: each an input or two.
//!
//! Knows nothing of how it was worded.

use crate::quantity::{LengthUnit, Quantity, TorqueUnit};
use evendraw_core::record::{Decision, Doubt};
use evendraw_core::session::{Input, Next, Session};

use super::super::act::Act;
use super::Model;
use super::act::short;

impl Model {
    pub(super) fn act(&mut self, act: Act, text: &str) {
        match act {
            Act::Begin(purpose) => return self.begin(purpose),
            // Both are the screens' own.
            Act::OpenPlan | Act::NewPlan => return,
            Act::Person => self.person(text),
            Act::Tool(id) if id.is_empty() => self.tool(text.trim(), ""),
            Act::Tool(id) => self.tool(&id, ""),
            Act::WaiveTool => {
                let tool = self.job.as_ref().and_then(crate::job::Job::tool);
                if let Some(id) = tool.map(str::to_owned) {
                    self.tool(&id, text);
                }
            }
            Act::Choose(key, answer) => self.choose_variant(&key, &answer),
            Act::Condition(matches) => self.say_condition(matches),
            Act::ByHand(step) => self.do_by_hand(step),
            Act::WillNotStart => self.say(
                true,
                "stop: take it out, look at thread, hole and part; W marks it, K skips it",
            ),
            Act::Answer(step, yes) => self.apply(Input::Answer {
                step,
                yes,
                note: "",
            }),
            Act::Measure(step) => match Quantity::<LengthUnit>::parse(text.trim()) {
                Ok(length) => self.apply(Input::Measure {
                    step,
                    length: length.length(),
                }),
                Err(error) => self.say(true, error.to_string()),
            },
            Act::Running(fastener) => match Quantity::<TorqueUnit>::parse(text.trim()) {
                Ok(running) => self.apply(Input::RunningTorque {
                    fastener,
                    torque: running.torque(),
                }),
                Err(error) => self.say(true, error.to_string()),
            },
            Act::TypedWrong(of) => self.apply(Input::Withdraw {
                of,
                reason: "typed wrong",
            }),
            Act::Moment(moment) => self.apply(Input::Moment { moment }),
            Act::PassTime(until) => {
                let left = std::time::Duration::from_micros(until.saturating_sub(self.micros));
                self.pass(left.as_secs_f64() + 0.001);
            }
            Act::TakenApart => {
                self.loosen_all_on_bench();
                self.apply(Input::TakenApart { note: "" });
            }
            Act::Due(stage, state) => self.apply(Input::Due { stage, state }),
            Act::LeaveJoint => self.open = None,
            Act::Fitted(fastener) => self.fit(fastener),
            Act::Loosened(fastener) => self.loosened(fastener, "as the plan wants"),
            Act::LookedAt(fastener) => {
                // Who looked stands in the words too: on the sheet they are read alone.
                let name = self.job.as_ref().and_then(crate::job::Job::person);
                let good = "looked at, good";
                let text = name.map_or(good.to_owned(), |name| format!("{name}: {good}"));
                self.apply(Input::Note {
                    fastener: Some(fastener),
                    doubt: Doubt::Settled,
                    text: short(&text),
                });
            }
            Act::Decide(step, decision) => self.decide(step, decision, text),
            Act::Restart(step, fastener) => {
                let advice = self.session().and_then(Session::advice);
                let from = advice.map_or(0, |advice| advice.from);
                self.decide(step, Decision::Restart(from), text);
                if matches!(self.next(), Some(Next::Loosen { .. })) {
                    self.loosened(fastener, "after a decision");
                }
            }
            Act::Replace(step, fastener) => {
                self.decide(step, Decision::Replace, text);
                self.fit(fastener);
            }
            Act::Skip(label) => self.skip(&label, text),
            Act::TryAgain => self.apply(Input::Tick),
            Act::AtAdapter(yes) => self.answer_about_adapter(yes),
        }
        self.take_tool_in_rehearsal();
    }

    fn decide(&mut self, step: u16, decision: Decision, note: &str) {
        self.apply(Input::Decide {
            step,
            decision,
            note: short(note),
        });
    }

    fn say_condition(&mut self, matches: bool) {
        let plan = self.open.zip(self.job.as_ref());
        let wanted = plan.and_then(|(joint, job)| job.joint_plan(joint)?.condition.clone());
        let wanted = wanted.unwrap_or_else(|| "as assumed".to_owned());
        let found = if matches {
            wanted
        } else {
            format!("not {wanted}")
        };
        self.apply(Input::Condition {
            found: short(&found),
            matches,
        });
    }

    fn choose_variant(&mut self, key: &str, answer: &str) {
        if !self.begin_journal() {
            return;
        }
        let (Some(job), Some(joint)) = (&mut self.job, self.open) else {
            return;
        };
        if let Err(error) = job.choose(joint, key, answer) {
            self.say(true, error.to_string());
        }
        self.enter();
    }
}
