//! What the hand sees and presses: the page of the display, two keys, the cues; a joint chosen or a bolt circle made without a
//! desktop.
//!
//! Yes does what the bottom line says first, no what it says second.

mod circle;
mod shown;
#[cfg(test)]
mod texts;

use evendraw_core::procedure::{EngineState, Procedure};
use evendraw_core::record::{Doubt, Role};
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::tracker::Cue as Told;
use evendraw_core::unit::{Instant, Length};

use super::{
    Adapter, Cue, Display, Flash, Key, Keys, Leave, Port, Power, Readings, Trouble, told_for,
};
use crate::cue::Signal;
use crate::slots::SLOTS;
use circle::Circle;
use shown::{At, Rest, offered, rest_page, work_page};

/// What the hand is in the middle of.
#[derive(Debug, Default)]
pub(super) struct Hands {
    /// The place that is offered for choice; beyond the last: a new bolt circle.
    choice: u8,
    circle: Option<Circle>,
    /// Measured length being set, in µm.
    length: i32,
    /// Whether the cautions of this start have been seen.
    cautioned: bool,
}

/// Lengths are set in steps of 10 µm up to 2 mm.
const LENGTH_STEP: i32 = 10;
const LENGTH_LAST: i32 = 2_000;

impl<F, R, P, C, D, K, W> Adapter<F, R, P, C, D, K, W>
where
    F: Flash,
    R: Readings,
    P: Port,
    C: Cue,
    D: Display,
    K: Keys,
    W: Power,
{
    pub(super) fn hands_step(
        &mut self,
        session: Option<&mut Session<&Procedure>>,
        now: Instant,
    ) -> Option<Leave> {
        let key = self.parts.keys.pressed(now);
        if self.low {
            // Said for as long as it is so, whatever key is pressed.
            self.trouble = Some(Trouble::Supply);
        }
        let leave = match (session, key) {
            (Some(session), key) => {
                let leave = self.worked(session, key, now);
                let page = work_page(
                    session,
                    &At {
                        now,
                        trouble: self.trouble,
                        halt: self.halt,
                        told: self.verdict.filter(|_| {
                            self.told.is_some_and(|(_, at)| now.since(at) < told_for())
                        }),
                        length: self.hands.length,
                    },
                );
                self.parts.display.show(&page);
                leave
            }
            (None, key) => {
                let leave = key.and_then(|key| self.chosen(key));
                let page = rest_page(self.at_rest());
                self.parts.display.show(&page);
                leave
            }
        };
        let told = self
            .told
            .filter(|(_, since)| now.since(*since) < told_for())
            .map(|(signal, _)| signal);
        // A stop comes before everything; then what a finished attempt was; then what this one asks for.
        let signal = match (self.signal, told) {
            (Signal::Wrong, _) | (_, None) => self.signal,
            (_, Some(told)) => told,
        };
        let tick = u32::try_from(now.micros() / 50_000 % 1_000).unwrap_or(0);
        self.parts.cue.tell(signal, tick);
        leave
    }

    /// What the key means for the joint being worked.
    fn worked(
        &mut self,
        session: &mut Session<&Procedure>,
        key: Option<Key>,
        now: Instant,
    ) -> Option<Leave> {
        if !self.log.has_room(super::ROOM_WANTED) {
            return None;
        }
        let next = session.next();
        // The adapter is the tool, and names itself.
        if next == Next::Tool {
            // Its name is on the flash.
            if !self.log.is_idle() || !self.slots.is_idle() {
                return None;
            }
            self.name_itself(session, now);
            return None;
        }
        let key = key?;
        let yes = key == Key::Yes;
        if self.trouble.take().is_some() && !yes {
            return None;
        }
        let name = "at the adapter";
        let input = match next {
            Next::Person => Input::Person {
                name: "not named, at the adapter",
                role: Role::Operator,
            },
            Next::Condition => Input::Condition {
                found: if yes { "as specified" } else { "otherwise" },
                matches: yes,
            },
            Next::Pull { .. } if yes && session.is_in_pull() => Input::Finish,
            Next::Pull { .. } if yes => {
                self.sensing.ask_zero();
                return None;
            }
            Next::Pull { step } if !session.is_in_pull() => Input::Note {
                fastener: session.procedure().fastener_of(step),
                doubt: Doubt::Raised,
                text: "felt wrong",
            },
            Next::Hand { step } | Next::Fit { step } if yes => Input::Confirm { step },
            Next::Answer { step } => Input::Answer {
                step,
                yes,
                note: name,
            },
            Next::Measure { step } if yes => Input::Measure {
                step,
                length: Length::from_micrometers(self.hands.length),
            },
            Next::Measure { .. } => {
                let more = self.hands.length + LENGTH_STEP;
                self.hands.length = if more > LENGTH_LAST { 0 } else { more };
                return None;
            }
            Next::Moment { moment, .. } if yes => Input::Moment { moment },
            Next::Loosen { fastener } if yes => Input::Loosened {
                fastener,
                elsewhere: false,
                cause: "to start again",
            },
            Next::Replace { fastener } if yes => Input::Fitted { fastener },
            Next::Decide { step } => {
                let (offered, from) = offered(session);
                let act = if yes { offered.0 } else { offered.1 };
                Input::Decide {
                    step,
                    decision: act.and_then(|act| act.decision(from))?,
                    note: name,
                }
            }
            Next::Settle { fastener } if yes => Input::Note {
                fastener: Some(fastener),
                doubt: Doubt::Settled,
                text: "looked at",
            },
            Next::TakeApart if yes => Input::TakenApart { note: "" },
            Next::AwaitDue { stage } if yes => Input::Due {
                stage,
                state: EngineState::Any,
            },
            Next::Nothing | Next::AwaitDue { .. } => return Some(Leave::Rest),
            _ => return None,
        };
        if let Some(refusal) = self.apply(session, now, input) {
            self.trouble = Some(Trouble::Refused(refusal));
        }
        None
    }

    /// What the key means while no joint is worked.
    fn chosen(&mut self, key: Key) -> Option<Leave> {
        if self.low {
            return None;
        }
        self.trouble = None;
        if !self.hands.cautioned {
            self.hands.cautioned = true;
            return None;
        }
        if let Some(circle) = &mut self.hands.circle {
            let made = circle.pressed(key)?;
            self.hands.circle = None;
            return Some(made);
        }
        let choice = self.hands.choice;
        if key == Key::No {
            let next = (1..=SLOTS + 1).map(|on| (choice + on) % (SLOTS + 1));
            let filled = |place: &u8| *place == SLOTS || self.slots.held(*place).is_some();
            self.hands.choice = next.into_iter().find(filled).unwrap_or(SLOTS);
            return None;
        }
        if choice < SLOTS && self.slots.held(choice).is_some() {
            return Some(Leave::Work {
                place: choice,
                joint: choice,
                asked: false,
            });
        }
        self.hands.circle = Some(Circle::new());
        None
    }

    /// What is shown while no joint is worked.
    fn at_rest(&self) -> Rest {
        let choice = self.hands.choice;
        match (self.trouble, &self.hands.circle) {
            (Some(trouble), _) => Rest::Trouble(trouble),
            _ if !self.hands.cautioned => Rest::Cautions,
            (None, Some(circle)) => Rest::Circle(circle.shown()),
            _ if choice < SLOTS && self.slots.held(choice).is_some() => Rest::Place(choice),
            _ => Rest::NewCircle,
        }
    }

    /// The cue of the reading taken last.
    pub(super) const fn cue_word(&self) -> Told {
        match self.signal {
            Signal::Near => Told::Approach,
            Signal::Enough => Told::Target,
            Signal::Wrong if self.halt.is_none() => Told::Over,
            _ => Told::None,
        }
    }
}
