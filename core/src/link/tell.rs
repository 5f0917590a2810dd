//! What a person at the desk says of the joint that the adapter works: an input of its session, in fields of one shape.
//!
//! Samples, starts and whatever else only the adapter can know are not among them; nor is the tool, as the adapter is one.

use crate::procedure::EngineState;
use crate::record::{Decision, Doubt, Role, Way};
use crate::session::{Input, Readout};
use crate::unit::{Angle, Length, Torque};

/// An input of the session. What a field means depends on `what`; where it means nothing it is 0 or empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tell<'a> {
    /// Which input: the number in `LINK.md`.
    pub what: u8,
    /// Step, fastener, stage or moment.
    pub which: u16,
    /// A length in µm, a torque in mN·m, yes or no, or one of a few.
    pub value: i32,
    /// A second value, of what is told with two: 19 to 28 of the table in `LINK.md`.
    pub second: i32,
    /// In words, at most 48 bytes.
    pub text: &'a str,
}

/// Stands for the joint as a whole, where a fastener could be meant.
const JOINT: u16 = u16::MAX;
/// What is added to [`RESTART`] for each stage.
const STAGE: i32 = 256;
const RESTART: i32 = 1;
/// Values that were read; the way is added to it, and [`MOVED`] where it was seen to move.
const READ: u8 = 19;
const MOVED: u8 = 4;
/// By the setting of a tool; one more where it was seen to move.
const SETTING: u8 = READ + 2 * MOVED;
const MOVED_SETTING: u8 = SETTING + 1;
/// Stands for a value that was not read.
const NOT_READ: i32 = i32::MIN;

impl<'a> Tell<'a> {
    /// Whether this input is told with a second value.
    #[must_use]
    pub(super) const fn has_second(what: u8) -> bool {
        what >= READ && what <= MOVED_SETTING
    }

    pub(super) const fn without_text(self) -> Tell<'static> {
        Tell {
            what: self.what,
            which: self.which,
            value: self.value,
            second: self.second,
            text: "",
        }
    }

    /// The message for an input; none for one that is not told over the link.
    #[must_use]
    pub fn of(input: &Input<'a>) -> Option<Self> {
        let yes = i32::from;
        let mut second = 0;
        let (what, which, value, text) = match *input {
            Input::Select { fastener } => (1, u16::from(fastener), 0, ""),
            Input::Finish => (2, 0, 0, ""),
            Input::Confirm { step } => (3, step, 0, ""),
            Input::Answer {
                step,
                yes: said,
                note,
            } => (4, step, yes(said), note),
            Input::Measure { step, length } => (5, step, length.micrometers(), ""),
            Input::Person { name, role } => (6, 0, yes(role == Role::Witness), name),
            Input::Condition { found, matches } => (7, 0, yes(matches), found),
            Input::Loosened {
                fastener,
                elsewhere,
                cause,
            } => (8, u16::from(fastener), yes(elsewhere), cause),
            Input::Fitted { fastener } => (9, u16::from(fastener), 0, ""),
            Input::Skip { step, reason } => (10, step, 0, reason),
            Input::Note {
                fastener,
                doubt,
                text,
            } => {
                let doubt = match doubt {
                    Doubt::None => 0,
                    Doubt::Raised => 1,
                    Doubt::Settled => 2,
                };
                (11, fastener.map_or(JOINT, u16::from), doubt, text)
            }
            Input::Decide {
                step,
                decision,
                note,
            } => {
                let decision = match decision {
                    Decision::Again => 0,
                    Decision::Restart(stage) => {
                        RESTART.saturating_add(STAGE.saturating_mul(i32::from(stage)))
                    }
                    Decision::Replace => 2,
                    Decision::Observed => 3,
                    Decision::Waive => 4,
                };
                (12, step, decision, note)
            }
            Input::Mark { fastener } => (13, u16::from(fastener), 0, ""),
            Input::Recheck { fastener } => (14, u16::from(fastener), 0, ""),
            Input::Moment { moment } => (15, u16::from(moment), 0, ""),
            Input::Due { stage, state } => {
                let state = match state {
                    EngineState::Cold => 0,
                    EngineState::Hot => 1,
                    EngineState::Any => 2,
                };
                (16, u16::from(stage), state, "")
            }
            Input::TakenApart { note } => (17, 0, 0, note),
            Input::RunningTorque { fastener, torque } => {
                (18, u16::from(fastener), torque.millinewton_meters(), "")
            }
            Input::Read { step, readout } => {
                let way = match readout.way {
                    Way::Display => READ,
                    Way::Eye => READ + 1,
                    Way::Gauge => READ + 2,
                    Way::Mark => READ + 3,
                };
                let moved = if readout.moved { MOVED } else { 0 };
                second = readout.angle.map_or(NOT_READ, Angle::millidegrees);
                let torque = readout.torque.map_or(NOT_READ, Torque::millinewton_meters);
                (way.saturating_add(moved), step, torque, readout.stated)
            }
            Input::BySetting {
                step,
                setting,
                stands_for,
                moved,
            } => {
                second = stands_for.millinewton_meters();
                let what = if moved { MOVED_SETTING } else { SETTING };
                (what, step, setting.millinewton_meters(), "")
            }
            _ => return None,
        };
        Some(Self {
            what,
            which,
            value,
            second,
            text,
        })
    }

    /// The input that is told; none if the fields say none. What was read is put into `room`, where the input refers to it.
    #[must_use]
    pub fn input<'r>(&self, room: &'r mut Readout<'a>) -> Option<Input<'r>>
    where
        'a: 'r,
    {
        let (step, note) = (self.which, self.text);
        let small = u8::try_from(self.which).ok();
        let yes = match self.value {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        };
        Some(match self.what {
            1 => Input::Select { fastener: small? },
            2 => Input::Finish,
            3 => Input::Confirm { step },
            4 => Input::Answer {
                step,
                yes: yes?,
                note,
            },
            5 => Input::Measure {
                step,
                length: Length::try_from(self.value).ok()?,
            },
            6 => Input::Person {
                name: note,
                role: if yes? { Role::Witness } else { Role::Operator },
            },
            7 => Input::Condition {
                found: note,
                matches: yes?,
            },
            8 => Input::Loosened {
                fastener: small?,
                elsewhere: yes?,
                cause: note,
            },
            9 => Input::Fitted { fastener: small? },
            10 => Input::Skip { step, reason: note },
            11 => Input::Note {
                fastener: match self.which {
                    JOINT => None,
                    _ => Some(small?),
                },
                doubt: match self.value {
                    0 => Doubt::None,
                    1 => Doubt::Raised,
                    2 => Doubt::Settled,
                    _ => return None,
                },
                text: note,
            },
            12 => Input::Decide {
                step,
                decision: match self.value.to_le_bytes() {
                    [0, 0, 0, 0] => Decision::Again,
                    [1, stage, 0, 0] => Decision::Restart(stage),
                    [2, 0, 0, 0] => Decision::Replace,
                    [3, 0, 0, 0] => Decision::Observed,
                    [4, 0, 0, 0] => Decision::Waive,
                    _ => return None,
                },
                note,
            },
            13 => Input::Mark { fastener: small? },
            14 => Input::Recheck { fastener: small? },
            15 => Input::Moment { moment: small? },
            16 => Input::Due {
                stage: small?,
                state: match self.value {
                    0 => EngineState::Cold,
                    1 => EngineState::Hot,
                    2 => EngineState::Any,
                    _ => return None,
                },
            },
            17 => Input::TakenApart { note },
            18 => Input::RunningTorque {
                fastener: small?,
                torque: Torque::try_from(self.value).ok()?,
            },
            READ..SETTING => {
                let read = self.what.saturating_sub(READ);
                *room = Readout {
                    way: match read & 3 {
                        0 => Way::Display,
                        1 => Way::Eye,
                        2 => Way::Gauge,
                        _ => Way::Mark,
                    },
                    torque: match self.value {
                        NOT_READ => None,
                        torque => Some(Torque::try_from(torque).ok()?),
                    },
                    angle: match self.second {
                        NOT_READ => None,
                        angle => Some(Angle::try_from(angle).ok()?),
                    },
                    moved: read >= MOVED,
                    stated: self.text,
                };
                Input::Read {
                    step,
                    readout: room,
                }
            }
            SETTING | MOVED_SETTING => Input::BySetting {
                step,
                setting: Torque::try_from(self.value).ok()?,
                stands_for: Torque::try_from(self.second).ok()?,
                moved: self.what == MOVED_SETTING,
            },
            _ => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_input_that_is_told_comes_back_as_it_was() {
        let told = [
            Input::Select { fastener: 63 },
            Input::Finish,
            Input::Confirm { step: 1_023 },
            Input::Answer {
                step: 7,
                yes: true,
                note: "turns",
            },
            Input::Answer {
                step: 7,
                yes: false,
                note: "",
            },
            Input::Measure {
                step: 3,
                length: Length::from_micrometers(-12),
            },
            Input::Person {
                name: "M. Ahlers",
                role: Role::Operator,
            },
            Input::Person {
                name: "J. Brandt",
                role: Role::Witness,
            },
            Input::Condition {
                found: "oiled",
                matches: true,
            },
            Input::Loosened {
                fastener: 2,
                elsewhere: true,
                cause: "taken off",
            },
            Input::Fitted { fastener: 2 },
            Input::Skip {
                step: 4,
                reason: "not within reach",
            },
            Input::Note {
                fastener: None,
                doubt: Doubt::None,
                text: "cold",
            },
            Input::Note {
                fastener: Some(5),
                doubt: Doubt::Raised,
                text: "felt wrong",
            },
            Input::Note {
                fastener: Some(5),
                doubt: Doubt::Settled,
                text: "good",
            },
            Input::Decide {
                step: 9,
                decision: Decision::Again,
                note: "",
            },
            Input::Decide {
                step: 9,
                decision: Decision::Restart(15),
                note: "",
            },
            Input::Decide {
                step: 9,
                decision: Decision::Replace,
                note: "",
            },
            Input::Decide {
                step: 9,
                decision: Decision::Observed,
                note: "mark",
            },
            Input::Decide {
                step: 9,
                decision: Decision::Waive,
                note: "foreman",
            },
            Input::Mark { fastener: 1 },
            Input::Recheck { fastener: 1 },
            Input::Moment { moment: 7 },
            Input::Due {
                stage: 3,
                state: EngineState::Hot,
            },
            Input::TakenApart { note: "0.05 mm" },
            Input::RunningTorque {
                fastener: 3,
                torque: Torque::from_millinewton_meters(8_500),
            },
            Input::Read {
                step: 1_023,
                readout: &Readout {
                    way: Way::Eye,
                    torque: Some(Torque::from_millinewton_meters(48_200)),
                    angle: None,
                    moved: true,
                    stated: "1 N·m, 4 %",
                },
            },
            Input::Read {
                step: 0,
                readout: &Readout {
                    way: Way::Mark,
                    torque: None,
                    angle: Some(Angle::from_millidegrees(-90_500)),
                    moved: false,
                    stated: "",
                },
            },
            Input::BySetting {
                step: 7,
                setting: Torque::from_millinewton_meters(41_300),
                stands_for: Torque::from_millinewton_meters(45_000),
                moved: true,
            },
            Input::BySetting {
                step: 7,
                setting: Torque::from_millinewton_meters(45_000),
                stands_for: Torque::from_millinewton_meters(45_000),
                moved: false,
            },
        ];
        for input in told {
            let tell = Tell::of(&input).expect("it is told");
            let mut room = Readout::NOTHING;
            assert_eq!(tell.input(&mut room), Some(input));
        }
    }

    #[test]
    fn what_only_the_adapter_knows_is_not_told() {
        for input in [
            Input::Tick,
            Input::Durable { seq: 1 },
            Input::MeasurementLost,
            Input::Tool {
                id: "A1",
                waiver: "",
            },
            Input::Start {
                boot: 9,
                rehearsal: true,
            },
        ] {
            assert_eq!(Tell::of(&input), None);
        }
    }

    #[test]
    fn fields_that_say_nothing_are_no_input() {
        let tell = |what, which, value| Tell {
            what,
            which,
            value,
            second: i32::MAX,
            text: "",
        };
        for wrong in [
            tell(0, 0, 0),
            tell(18, 0, i32::MIN),
            tell(19, 0, 0),
            tell(27, 0, 0),
            tell(29, 0, 0),
            tell(1, 256, 0),
            tell(4, 0, 2),
            tell(11, 256, 0),
            tell(11, 0, 3),
            tell(12, 0, 5),
            tell(12, 0, 0x0001_0001),
            tell(16, 0, -1),
        ] {
            let mut room = Readout::NOTHING;
            assert_eq!(wrong.input(&mut room), None, "{wrong:?}");
        }
    }
}
