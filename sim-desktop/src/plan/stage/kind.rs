//! The keys of each stage kind.

use crate::quantity::{AngleUnit, Target, TorqueUnit};
use evendraw_core::procedure::{
    EngineState, Moment, OverrideAim, Policy, Prevailing, StageKind, TorqueWindow,
};
use evendraw_core::unit::{Angle, Span};

use super::StagePlan;
use super::names::{named, policy, stage_named};
use super::read::{Around, Pass};
use crate::plan::quantity::{
    self, angle, angle_tolerance, angle_window, compare_printed, length_window, span, target,
    thousandths, torque_tolerance, torque_window, two_tolerances,
};
use crate::plan::tree::{Node, Reader, Typed, Value, chosen, text_of};

/// Movement that counts as none where the plan is silent. Common practice, no source.
const STILL: Angle = Angle::from_millidegrees(2_000);

/// A stage while the keys of its kind are read.
pub(super) struct Kind<'r, 'a, 'b> {
    pub(super) reader: Reader<'r>,
    pub(super) around: &'a mut Around<'b>,
    pub(super) plan: StagePlan,
    pub(super) overrides: Vec<(u8, OverrideAim)>,
    pub(super) whole_joint: bool,
    pub(super) on_under: Policy,
}

impl Kind<'_, '_, '_> {
    pub(super) fn read(
        &mut self,
        word: &str,
        on: Option<&[u8]>,
        before: Option<&Pass>,
    ) -> Option<StageKind> {
        match word {
            "tighten" => {
                let window = self.torque("torque");
                let prevailing = self.prevailing();
                Some(StageKind::Tighten {
                    window: window?,
                    prevailing,
                })
            }
            "turn" => self.turn(),
            "back-off" => self.back_off(),
            "hold" => self.hold(),
            "repeat" => self.repeat(before),
            "start-by-hand" => self.seat(),
            "check" => {
                self.ask("check")?;
                self.per_fastener(on);
                Some(StageKind::Check)
            }
            "measure" => self.measure(on),
            "align" => {
                let window = self.torque("torque")?;
                Some(StageKind::Align { window })
            }
            "wait" => self.wait(),
            "fit" => Some(StageKind::Fit),
            _ => self.later(),
        }
    }

    /// A torque with its tolerance, second printed value and targets by fastener.
    fn torque(&mut self, key: &'static str) -> Option<TorqueWindow> {
        let typed = self.reader.needed_text(key);
        let printed = self.reader.text("printed");
        let within = self.reader.text("within");
        let tolerance = torque_tolerance(within.as_ref())?;
        self.plan.within = within.as_ref().map(|typed| typed.text.clone());
        self.plan.printed = printed.as_ref().map(|typed| typed.text.clone());
        self.each(|typed| {
            let aim = target::<TorqueUnit>(typed)?;
            torque_window(typed, &aim, &tolerance).map(OverrideAim::Torque)
        });
        let typed = typed?;
        self.plan.target = Some(typed.text.clone());
        let aim = target::<TorqueUnit>(&typed)?;
        if let (Some(within), false) = (&within, matches!(aim, Target::Exact(_))) {
            two_tolerances(within, "torque");
        }
        if let Some(printed) = &printed {
            compare_printed(&aim, printed);
        }
        torque_window(&typed, &aim, &tolerance)
    }

    fn each(&mut self, aim: impl Fn(&Typed<'_>) -> Option<OverrideAim>) {
        let Some(node) = self.reader.raw("each") else {
            return;
        };
        let Value::Table(entries) = &node.value else {
            node.place.error(
                format!("`each` is {}", node.value.word()),
                "here",
                "write targets by fastener: { 3 = \"27 N·m\" }",
            );
            return;
        };
        for (key, value) in entries {
            let name = Typed {
                text: key.text.clone(),
                place: key.place.clone(),
            };
            let Some(fasteners) = named(&name, self.around) else {
                continue;
            };
            let of = format!("`each` of `{}`", key.text);
            let typed =
                chosen(value, self.around.choice, &of).and_then(|value| text_of(value, &of));
            let Some((typed, aim)) = typed.and_then(|typed| aim(&typed).map(|aim| (typed, aim)))
            else {
                continue;
            };
            for fastener in fasteners {
                if self.plan.each.iter().any(|(own, _)| *own == fastener) {
                    let label = self.around.labels.get(usize::from(fastener));
                    key.place.error(
                        format!(
                            "fastener `{}` has two targets",
                            label.map_or("", String::as_str)
                        ),
                        "the second",
                        "name each fastener once, alone or in a group",
                    );
                    continue;
                }
                self.plan.each.push((fastener, typed.text.clone()));
                self.overrides.push((fastener, aim));
            }
        }
    }

    fn prevailing(&mut self) -> Prevailing {
        let own = self.reader.text("prevailing");
        let Some(typed) = own.or_else(|| self.around.prevailing.cloned()) else {
            return Prevailing::None;
        };
        self.plan.prevailing = Some(typed.text.clone());
        if typed.text == "measure" {
            return Prevailing::Measure;
        }
        if !typed.text.contains(|letter: char| letter.is_ascii_digit()) {
            typed.place.error(
                format!("unknown `prevailing`: `{}`", typed.text),
                "here",
                "prevailing = \"measure\", or a value like \"8 N·m\"",
            );
            return Prevailing::None;
        }
        match quantity::torque(&typed) {
            Some(torque) => Prevailing::Given(torque),
            None => Prevailing::None,
        }
    }

    fn turn(&mut self) -> Option<StageKind> {
        let typed = self.reader.needed_text("angle");
        let within = self.reader.text("within");
        let tolerance = angle_tolerance(within.as_ref())?;
        self.each(|typed| {
            let aim = target::<AngleUnit>(typed)?;
            angle_window(typed, &aim, &tolerance).map(OverrideAim::Angle)
        });
        let torque = self.reader.text("torque");
        self.plan.end_torque = torque.as_ref().map(|typed| typed.text.clone());
        let torque = match &torque {
            Some(typed) => {
                let aim = target::<TorqueUnit>(typed)?;
                let within = torque_tolerance(None)?;
                Some(torque_window(typed, &aim, &within)?)
            }
            None => None,
        };
        let one_sweep = self.reader.flag("one_sweep").unwrap_or(false);
        self.plan.one_sweep = one_sweep;
        self.plan.within = within.as_ref().map(|typed| typed.text.clone());
        let typed = typed?;
        self.plan.target = Some(typed.text.clone());
        let aim = target::<AngleUnit>(&typed)?;
        if let (Some(within), false) = (&within, matches!(aim, Target::Exact(_))) {
            two_tolerances(within, "angle");
        }
        Some(StageKind::Turn {
            window: angle_window(&typed, &aim, &tolerance)?,
            torque,
            one_sweep,
        })
    }

    fn back_off(&mut self) -> Option<StageKind> {
        let angle = self.reader.text("angle");
        let to = self.reader.text("to");
        match (angle, to) {
            (Some(angle), None) => {
                let back = quantity::angle(&angle)?;
                self.plan.target = Some(angle.text);
                Some(StageKind::BackOff { angle: Some(back) })
            }
            (None, Some(to)) if to.text == "free" => {
                self.plan.target = Some(to.text);
                Some(StageKind::BackOff { angle: None })
            }
            (None, Some(to)) => {
                to.place.error(
                    format!("back-off to `{}`", to.text),
                    "here",
                    "write to = \"free\", or angle = \"180°\"",
                );
                None
            }
            (Some(_), Some(to)) => {
                to.place.error(
                    "back-off has both `angle` and `to`",
                    "the second",
                    "leave out one",
                );
                None
            }
            (None, None) => {
                self.reader.place.error(
                    format!("{} does not say how far", self.reader.of),
                    "it is missing here",
                    "add angle = \"180°\" or to = \"free\"",
                );
                None
            }
        }
    }

    fn still(&mut self) -> Angle {
        self.reader
            .text("still")
            .and_then(|typed| {
                let still = angle(&typed)?;
                self.plan.within = Some(typed.text);
                Some(still)
            })
            .unwrap_or(STILL)
    }

    fn hold(&mut self) -> Option<StageKind> {
        let typed = self.reader.needed_text("torque");
        let printed = self.reader.text("printed");
        let torque = typed.as_ref().and_then(|typed| {
            let value = quantity::single::<TorqueUnit>(typed)?;
            if let Some(printed) = &printed {
                compare_printed(&Target::Exact(value), printed);
            }
            Some(value.torque())
        });
        self.plan.printed = printed.map(|typed| typed.text);
        let still = self.still();
        let time = match self.reader.value("seconds") {
            Some(Node {
                value: Value::Whole(seconds),
                ..
            }) if (1..=86_400).contains(seconds) => {
                self.plan.time = Some(format!("{seconds} s"));
                u32::try_from(*seconds).ok().map(Span::from_seconds)
            }
            Some(node) => {
                node.place.error(
                    "`seconds` of a hold is not a number of seconds",
                    "here",
                    "a whole number from 1 to 86400, without quotes",
                );
                None
            }
            None => {
                self.reader.missing("seconds");
                None
            }
        };
        self.plan.target = typed.map(|typed| typed.text);
        Some(StageKind::Hold {
            torque: torque?,
            time: time?,
            still,
        })
    }

    fn repeat(&mut self, before: Option<&Pass>) -> Option<StageKind> {
        let still = self.still();
        let min = self.reader.whole("min", 1..=30).unwrap_or(1);
        let max = self.reader.whole("max", 1..=30).unwrap_or(min.max(4));
        if min > max {
            self.reader.key_place("max").error(
                format!("at least {min} passes but at most {max}"),
                "here",
                "max must not be below min",
            );
            return None;
        }
        let own = self.reader.text("torque");
        let Some(pass) = before else {
            if self.around.is_broken {
                return None;
            }
            self.reader.place.error(
                "nothing to repeat: no `tighten` stage stands before this one",
                "here",
                "put it after the pass that is repeated",
            );
            return None;
        };
        if let Some(own) = own {
            let given = target::<TorqueUnit>(&own)?;
            let within = torque_tolerance(None)?;
            if torque_window(&own, &given, &within)?.target != pass.window.target {
                own.place.error(
                    format!(
                        "`repeat` at {} after a pass at {}",
                        own.text,
                        pass.target.as_deref().unwrap_or("another torque")
                    ),
                    "here",
                    "repeat keeps the torque of the pass before: leave `torque` out, or add a `tighten` stage",
                );
            }
        }
        self.plan.target.clone_from(&pass.target);
        self.plan.each.clone_from(&pass.each);
        self.overrides.clone_from(&pass.overrides);
        Some(StageKind::Repeat {
            window: pass.window,
            still,
            min: u8::try_from(min).unwrap_or(1),
            max: u8::try_from(max).unwrap_or(1),
        })
    }

    fn seat(&mut self) -> Option<StageKind> {
        let node = self.reader.value("turns");
        let Some(node) = node else {
            self.reader.missing("turns");
            return None;
        };
        let typed = match &node.value {
            Value::Whole(number) => number.to_string(),
            Value::Decimal(number) => number.clone(),
            Value::Text(text) => text
                .trim()
                .trim_end_matches("turns")
                .trim_end_matches("turn")
                .trim()
                .to_owned(),
            _ => String::new(),
        };
        let turns = thousandths(&typed).filter(|&turns| turns <= 100_000);
        let Some(turns) = turns else {
            node.place.error(
                "`turns` is not a number of turns",
                "here",
                "a number above 0, up to 100: turns = 3",
            );
            return None;
        };
        self.plan.target = Some(format!("{typed} turns"));
        // Thousandths of a turn, 360 millidegrees each.
        let angle = i32::try_from(turns.checked_mul(360)?).ok()?;
        Some(StageKind::Seat {
            turns: Angle::from_millidegrees(angle),
        })
    }

    fn ask(&mut self, what: &str) -> Option<()> {
        let ask = self.reader.needed_text("ask")?;
        if ask.text.len() > 200 {
            ask.place.error(
                format!(
                    "the question of this {what} is {} bytes long",
                    ask.text.len()
                ),
                "here",
                "at most 200",
            );
        }
        self.plan.ask = Some(ask.text);
        Some(())
    }

    fn per_fastener(&mut self, on: Option<&[u8]>) {
        let per = self.reader.text("per");
        self.whole_joint = match per {
            Some(typed) => match typed.text.as_str() {
                "fastener" => false,
                "joint" if on.is_some() => {
                    typed.place.error(
                        "a question for the whole joint cannot be `on` single fasteners",
                        "here",
                        "leave out `on`, or write per = \"fastener\"",
                    );
                    true
                }
                "joint" => true,
                _ => {
                    typed.place.error(
                        format!("unknown `per`: `{}`", typed.text),
                        "here",
                        "per = \"fastener\" or per = \"joint\"",
                    );
                    true
                }
            },
            None => on.is_none(),
        };
    }

    fn measure(&mut self, on: Option<&[u8]>) -> Option<StageKind> {
        self.ask("measure");
        self.per_fastener(on);
        let (on_under, text) = policy(&mut self.reader, "on_under", self.around);
        self.on_under = on_under;
        self.plan.on_under = text;
        let typed = self.reader.needed_text("length")?;
        let within = self.reader.text("within");
        let (min, max) = length_window(&typed, within.as_ref())?;
        self.plan.target = Some(typed.text);
        self.plan.within = within.map(|typed| typed.text);
        Some(StageKind::Measure { min, max })
    }

    fn wait(&mut self) -> Option<StageKind> {
        self.whole_joint = true;
        let least = self.reader.text("at_least");
        let most = self.reader.text("at_most");
        let after = self.reader.text("after");
        let at_least = match &least {
            Some(typed) => span(typed)?,
            None => Span::ZERO,
        };
        let at_most = match &most {
            Some(typed) => span(typed)?,
            None => Span::MAX,
        };
        if least.is_none() && most.is_none() && after.is_none() {
            self.reader.place.error(
                format!("{} waits for nothing", self.reader.of),
                "here",
                "add at_least = \"4 h\", at_most = \"3 min\" or after = \"a moment\"",
            );
            return None;
        }
        if at_least > at_most {
            self.reader.key_place("at_most").error(
                "the wait must end before it begins",
                "here",
                "at_most must not be below at_least",
            );
            return None;
        }
        let (moment, from) = self.moment(after)?;
        let from_words = from.clone();
        let words = match (&least, &most) {
            (Some(least), Some(most)) => {
                format!("{} to {} after {from_words}", least.text, most.text)
            }
            (Some(least), None) => format!("at least {} after {from_words}", least.text),
            (None, Some(most)) => format!("within {} of {from_words}", most.text),
            (None, None) => format!("wait for: {from_words}"),
        };
        self.plan.time = Some(words);
        self.plan.from = Some(from);
        Some(StageKind::Wait {
            at_least,
            at_most,
            after: moment,
        })
    }

    /// The stage or named moment that a wait counts from.
    fn moment(&mut self, after: Option<Typed<'_>>) -> Option<(Moment, String)> {
        let written = self.plan_written();
        let Some(after) = after else {
            let before = (0..written.saturating_sub(1))
                .rev()
                .find_map(|index| self.around.effective.get(index).copied().flatten());
            return match before {
                Some(stage) => Some((
                    Moment::StageDone(stage),
                    format!("stage {}", u16::from(stage) + 1),
                )),
                None => {
                    self.reader.place.error(
                        "the wait counts from nothing: no stage stands before it",
                        "here",
                        "say from when: after = \"sealant applied\"",
                    );
                    None
                }
            };
        };
        if let Some(number) = stage_named(&after.text, self.around) {
            let at = number.checked_sub(1);
            let stage = at
                .and_then(|at| self.around.effective.get(at).copied())
                .flatten();
            let Some(stage) = stage.filter(|_| number < written) else {
                after.place.error(
                    format!("the wait counts from stage {number}, which is not earlier"),
                    "here",
                    "an earlier stage, by its name or as \"stage 2\", or a moment",
                );
                return None;
            };
            return Some((Moment::StageDone(stage), after.text));
        }
        let names = self.around.names.iter().map(|(name, _)| name.as_str());
        if let Some(near) = after.place.to.closest(&after.text, names) {
            after.place.warning(
                format!(
                    "`{}` is taken as a moment; there is a stage `{near}`",
                    after.text
                ),
                "here",
                "write it as the stage is named if that is meant",
            );
        }
        let index = match self
            .around
            .moments
            .iter()
            .position(|moment| *moment == after.text)
        {
            Some(index) => index,
            None => {
                let index = self.around.moments.len();
                self.around.moments.push(after.text.clone());
                index
            }
        };
        match u8::try_from(index) {
            Ok(index) => Some((Moment::Named(index), after.text)),
            Err(_) => {
                after
                    .place
                    .error("more than 256 moments in one plan", "one too many", "");
                None
            }
        }
    }

    /// The number of this stage as written, from 1.
    fn plan_written(&self) -> usize {
        self.reader
            .of
            .split(' ')
            .nth(1)
            .and_then(|number| number.parse().ok())
            .unwrap_or(1)
    }

    fn later(&mut self) -> Option<StageKind> {
        let window = self.torque("torque");
        let engine = self.reader.text("engine");
        let state = match engine.as_ref().map(|typed| typed.text.as_str()) {
            None | Some("any") => EngineState::Any,
            Some("cold") => EngineState::Cold,
            Some("hot") => EngineState::Hot,
            Some(_) => {
                if let Some(typed) = &engine {
                    typed.place.error(
                        format!("unknown engine state `{}`", typed.text),
                        "here",
                        "engine = \"cold\", \"hot\" or \"any\"",
                    );
                }
                EngineState::Any
            }
        };
        let after = self.reader.needed_text("after");
        let state_words = match state {
            EngineState::Cold => ", engine cold",
            EngineState::Hot => ", engine hot",
            EngineState::Any => "",
        };
        self.plan.due = after.map(|after| format!("after {}{state_words}", after.text));
        Some(StageKind::Later {
            window: window?,
            state,
        })
    }
}
