//! One stage of a joint: its words as typed beside what the core is told.
//!
//! Knows nothing of the other joints, and nothing of the state of the work.

use evendraw_core::procedure::{
    EngineState, Moment, Override, OverrideAim, Policy, Prevailing, Stage, StageKind, TorqueWindow,
};
use evendraw_core::quantity::{AngleUnit, Target, TorqueUnit};
use evendraw_core::unit::{Angle, Span, Torque};

use super::fault::Faults;
use super::place::{ORDER_WORDS, Order};
use super::quantity::{
    self, angle, angle_tolerance, angle_window, compare_printed, length_window, span, target,
    thousandths, torque_tolerance, torque_window, two_tolerances,
};
use super::tree::{
    Choice, Node, Reader, Typed, Value, chosen, closest, label_of, text_of, texts_of,
};

/// The stage kinds of a plan.
pub(super) const KINDS: [&str; 12] = [
    "tighten", "turn", "back-off", "hold", "repeat", "seat", "check", "measure", "align", "wait",
    "fit", "later",
];

/// Movement that counts as none where the plan is silent. Common practice, no source.
const STILL: Angle = Angle::from_millidegrees(2_000);

/// A stage as the plan words it. What the core is told stands in the procedure under the same number.
#[derive(Clone, Debug, Default)]
pub struct StagePlan {
    /// Its number in records and on the sheet, from 1.
    pub number: u8,
    /// The kind, as written behind `do`.
    pub word: &'static str,
    /// Its name in the plan.
    pub name: Option<String>,
    /// The target as typed: a torque, an angle, a number of turns, a length.
    pub target: Option<String>,
    /// The second printed value as typed.
    pub printed: Option<String>,
    /// The tolerance as typed.
    pub within: Option<String>,
    /// The end torque of a turn, as typed.
    pub end_torque: Option<String>,
    /// Running torque to add: `measure` or a value as typed.
    pub prevailing: Option<String>,
    /// How long: of a hold, or the limits of a wait, in words.
    pub time: Option<String>,
    /// The question of a check, or what is measured.
    pub ask: Option<String>,
    /// By what an answer is given on the command line.
    pub key: String,
    /// The moment or stage that a wait counts from.
    pub from: Option<String>,
    /// When a later retorque is due, and in which state.
    pub due: Option<String>,
    /// How its fasteners are taken.
    pub order: Option<Order>,
    /// Its fasteners in the order of work; empty when it concerns the whole joint.
    pub places: Vec<u8>,
    /// Targets of single fasteners as typed.
    pub each: Vec<(u8, String)>,
    /// Fasteners done at the same time: both ends of a stud.
    pub together: Vec<(u8, u8)>,
    /// What follows when it ends too high, as typed.
    pub on_over: Option<String>,
    /// What follows when a measure is too small, as typed.
    pub on_under: Option<String>,
    /// Tools that the plan names for it.
    pub tools: Vec<String>,
    /// A remark of the plan.
    pub note: Option<String>,
    /// Turned in one go.
    pub one_sweep: bool,
    /// The block it stands in, from 1, and the block's name.
    pub block: Option<(u8, Option<String>)>,
    /// One fastener is finished through the block before the next.
    pub one_at_a_time: bool,
    /// A trial that must come apart again.
    pub mock_up: bool,
    /// The line of the file, from 1.
    pub line: usize,
    /// The bytes of the file.
    pub place: std::ops::Range<usize>,
}

impl StagePlan {
    /// The stage in one plain line, in the plan's own figures.
    #[must_use]
    pub fn sentence(&self) -> String {
        let target = self.target.as_deref().unwrap_or("");
        let mut line = match self.word {
            "tighten" => format!("tighten to {target}"),
            "turn" => format!("turn on by {target}"),
            "back-off" => match target {
                "free" => "back off until free".to_owned(),
                _ => format!("back off by {target}"),
            },
            "hold" => format!(
                "hold {target} for {}: nothing may move",
                self.time.as_deref().unwrap_or("")
            ),
            "repeat" => format!(
                "repeat at {target} until nothing moves more than {}",
                self.within.as_deref().unwrap_or("2°")
            ),
            "seat" => format!("turn in by hand, {target}"),
            "check" => self.ask.clone().unwrap_or_default(),
            "measure" => format!(
                "measure {}: {target}",
                self.ask.as_deref().unwrap_or("the length")
            ),
            "align" => format!("from the low edge of {target} on to the next slot"),
            "wait" => self.time.clone().unwrap_or_default(),
            "fit" => "take out the old fastener, fit the new one".to_owned(),
            "later" => format!("retorque to {target}"),
            other => other.to_owned(),
        };
        if (self.word == "tighten" || self.word == "turn")
            && let Some(within) = &self.within
        {
            line.push_str(&format!(" ({within})"));
        }
        if let Some(printed) = &self.printed {
            line.push_str(&format!(", printed beside it {printed}"));
        }
        if let Some(end) = &self.end_torque {
            line.push_str(&format!(", end torque {end}"));
        }
        match self.prevailing.as_deref() {
            Some("measure") => line.push_str(" plus the running torque measured"),
            Some(value) => line.push_str(&format!(" plus {value} running torque")),
            None => {}
        }
        if self.one_sweep {
            line.push_str(", in one sweep");
        }
        if let Some(due) = &self.due {
            line.push_str(&format!(", {due}"));
        }
        line
    }

    /// The target as typed for one fastener: its own, or the stage's.
    #[must_use]
    pub fn target_for(&self, fastener: u8) -> Option<&str> {
        self.each
            .iter()
            .find(|(own, _)| *own == fastener)
            .map(|(_, text)| text.as_str())
            .or(self.target.as_deref())
    }
}

/// What a stage needs to know of its joint while it is read.
pub(super) struct Around<'a> {
    /// The joint's title or id, for messages.
    pub(super) joint: &'a str,
    pub(super) labels: &'a [String],
    pub(super) groups: &'a [(String, Vec<u8>)],
    /// Names of stages with their written number, from 1.
    pub(super) names: &'a [(String, usize)],
    /// Number of a written stage in the procedure, from 0; none when the answers leave it out.
    pub(super) effective: &'a [Option<u8>],
    pub(super) choice: &'a Choice,
    pub(super) together: &'a [(u8, u8)],
    /// Every moment named in the build so far.
    pub(super) moments: &'a mut Vec<String>,
}

/// What was read of one stage.
pub(super) struct Read {
    pub(super) stage: Stage,
    pub(super) plan: StagePlan,
    pub(super) overrides: Vec<(u8, OverrideAim)>,
    /// Fasteners asked for, as listed; `None` for all.
    pub(super) on: Option<Vec<u8>>,
    pub(super) whole_joint: bool,
    pub(super) sum_max: Option<Angle>,
    /// The pass that a `repeat` after this one repeats.
    pub(super) pass: Option<Pass>,
}

/// A torque pass that can be repeated.
#[derive(Clone)]
pub(super) struct Pass {
    window: TorqueWindow,
    /// The target without a running torque.
    aim: Torque,
    target: Option<String>,
    overrides: Vec<(u8, OverrideAim)>,
    each: Vec<(u8, String)>,
    on: Option<Vec<u8>>,
}

/// Keys that stages know, with the kinds they belong to; for a key in the wrong place.
const KEYS: [(&str, &str); 22] = [
    ("torque", "tighten, turn, hold, repeat, align, later"),
    ("printed", "tighten, hold, align, later"),
    ("angle", "turn, back-off"),
    ("to", "back-off"),
    ("seconds", "hold"),
    ("still", "repeat, hold"),
    ("min", "repeat"),
    ("max", "repeat"),
    ("turns", "seat"),
    ("ask", "check, measure"),
    ("per", "check, measure"),
    ("length", "measure"),
    ("on_under", "measure"),
    ("at_least", "wait"),
    ("at_most", "wait"),
    ("after", "wait, later"),
    ("engine", "later"),
    ("one_sweep", "turn"),
    ("prevailing", "tighten"),
    ("sum_max", "turn"),
    ("each", "tighten, turn, align, later"),
    ("within", "tighten, turn, measure, later"),
];

/// Reads one stage. `before` is the pass that a `repeat` would repeat.
pub(super) fn read(
    node: &Node,
    written: usize,
    around: &mut Around<'_>,
    before: Option<&Pass>,
    faults: &mut Faults,
) -> Option<Read> {
    let of = format!("stage {written} of joint `{}`", around.joint);
    let mut reader = Reader::of_node(of, node, around.choice, faults)?;
    let word = reader.needed_text("do", faults)?;
    let Some(&word) = KINDS.iter().find(|kind| **kind == word.text) else {
        let near = closest(&word.text, KINDS.iter().copied());
        faults.error(
            &word.place,
            format!("unknown stage kind `{}`", word.text),
            "here",
            match near {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("kinds: {}", KINDS.join(", ")),
            },
        );
        return None;
    };
    let mut plan = StagePlan {
        word,
        place: node.place.clone(),
        ..StagePlan::default()
    };
    plan.name = reader.text("name", faults).map(|name| name.text);
    plan.note = reader.text("note", faults).map(|note| note.text);
    plan.tools = reader
        .texts("tool", faults)
        .into_iter()
        .map(|tool| tool.text)
        .collect();
    // Read by the joint, which decides whether the stage is done at all.
    let _ = reader.raw("only");
    let on = places(&mut reader, "on", around, faults);
    let order = order(&mut reader, around, faults);
    plan.together = together(&mut reader, around, faults);
    if plan.together.is_empty() {
        plan.together = around.together.to_vec();
    }
    let mock_up = reader.flag("mock_up", faults).unwrap_or(false);
    let sum_max = (word == "turn")
        .then(|| reader.text("sum_max", faults))
        .flatten()
        .and_then(|typed| angle(&typed, faults));
    let (on_over, on_over_text) = policy(&mut reader, "on_over", around, faults);
    plan.on_over = on_over_text;

    let mut done = Kind {
        reader,
        around,
        plan,
        overrides: Vec::new(),
        whole_joint: false,
        on_under: Policy::Ask,
    };
    let kind = done.read(word, on.as_deref(), before, faults);
    let Kind {
        reader,
        mut plan,
        overrides,
        whole_joint,
        on_under,
        ..
    } = done;
    reader.finish(faults, |key| {
        KEYS.iter()
            .find(|(own, _)| *own == key)
            .map(|(own, kinds)| format!("`{own}` belongs to {kinds}; this stage is `{word}`"))
    });
    let kind = kind?;
    let any_order = order == Some(Order::Any);
    plan.mock_up = mock_up;
    plan.order = order;
    let mut stage = Stage::new(kind);
    stage.on_over = on_over;
    stage.on_under = on_under;
    stage.any_order = any_order;
    stage.mock_up = mock_up;
    let pass = match kind {
        StageKind::Tighten { window, prevailing } => Some(Pass {
            aim: window.target,
            window: match prevailing {
                Prevailing::Given(torque) => window.raised(torque),
                _ => window,
            },
            target: plan.target.clone(),
            overrides: match prevailing {
                Prevailing::Given(torque) => overrides
                    .iter()
                    .map(|&(fastener, aim)| (fastener, raised(aim, torque)))
                    .collect(),
                _ => overrides.clone(),
            },
            each: plan.each.clone(),
            on: on.clone(),
        }),
        _ => None,
    };
    let on = match (kind, on, before) {
        (StageKind::Repeat { .. }, None, Some(pass)) => pass.on.clone(),
        (_, on, _) => on,
    };
    Some(Read {
        stage,
        plan,
        overrides,
        on,
        whole_joint,
        sum_max,
        pass,
    })
}

fn raised(aim: OverrideAim, by: Torque) -> OverrideAim {
    match aim {
        OverrideAim::Torque(window) => OverrideAim::Torque(window.raised(by)),
        angle => angle,
    }
}

/// A stage while the keys of its kind are read.
struct Kind<'r, 'a, 'b> {
    reader: Reader<'r>,
    around: &'a mut Around<'b>,
    plan: StagePlan,
    overrides: Vec<(u8, OverrideAim)>,
    whole_joint: bool,
    on_under: Policy,
}

impl Kind<'_, '_, '_> {
    fn read(
        &mut self,
        word: &str,
        on: Option<&[u8]>,
        before: Option<&Pass>,
        faults: &mut Faults,
    ) -> Option<StageKind> {
        match word {
            "tighten" => {
                let window = self.torque("torque", faults);
                let prevailing = self.prevailing(faults);
                Some(StageKind::Tighten {
                    window: window?,
                    prevailing,
                })
            }
            "turn" => self.turn(faults),
            "back-off" => self.back_off(faults),
            "hold" => self.hold(faults),
            "repeat" => self.repeat(before, faults),
            "seat" => self.seat(faults),
            "check" => {
                self.ask("check", faults)?;
                self.per_fastener(on, faults);
                Some(StageKind::Check)
            }
            "measure" => self.measure(on, faults),
            "align" => {
                let window = self.torque("torque", faults)?;
                Some(StageKind::Align { window })
            }
            "wait" => self.wait(faults),
            "fit" => Some(StageKind::Fit),
            _ => self.later(faults),
        }
    }

    /// A torque with its tolerance, second printed value and targets by fastener.
    fn torque(&mut self, key: &'static str, faults: &mut Faults) -> Option<TorqueWindow> {
        let typed = self.reader.needed_text(key, faults);
        let printed = self.reader.text("printed", faults);
        let within = self.reader.text("within", faults);
        let tolerance = torque_tolerance(within.as_ref(), faults)?;
        self.plan.within = within.as_ref().map(|typed| typed.text.clone());
        self.plan.printed = printed.as_ref().map(|typed| typed.text.clone());
        self.each(
            |typed, faults| {
                let aim = target::<TorqueUnit>(typed, faults)?;
                torque_window(typed, &aim, &tolerance, faults).map(OverrideAim::Torque)
            },
            faults,
        );
        let typed = typed?;
        self.plan.target = Some(typed.text.clone());
        let aim = target::<TorqueUnit>(&typed, faults)?;
        if let (Some(within), false) = (&within, matches!(aim, Target::Exact(_))) {
            two_tolerances(within, "torque", faults);
        }
        if let Some(printed) = &printed {
            compare_printed(&aim, printed, faults);
        }
        torque_window(&typed, &aim, &tolerance, faults)
    }

    fn each(
        &mut self,
        aim: impl Fn(&Typed, &mut Faults) -> Option<OverrideAim>,
        faults: &mut Faults,
    ) {
        let Some(node) = self.reader.raw("each") else {
            return;
        };
        let Value::Table(entries) = &node.value else {
            faults.error(
                &node.place,
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
            let Some(fasteners) = named(&name, self.around, faults) else {
                continue;
            };
            let of = format!("`each` of `{}`", key.text);
            let typed = chosen(value, self.around.choice, &of, faults)
                .and_then(|value| text_of(value, &of, faults));
            let Some((typed, aim)) =
                typed.and_then(|typed| aim(&typed, faults).map(|aim| (typed, aim)))
            else {
                continue;
            };
            for fastener in fasteners {
                if self.plan.each.iter().any(|(own, _)| *own == fastener) {
                    let label = self.around.labels.get(usize::from(fastener));
                    faults.error(
                        &key.place,
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

    fn prevailing(&mut self, faults: &mut Faults) -> Prevailing {
        let Some(typed) = self.reader.text("prevailing", faults) else {
            return Prevailing::None;
        };
        self.plan.prevailing = Some(typed.text.clone());
        if typed.text == "measure" {
            return Prevailing::Measure;
        }
        match quantity::torque(&typed, faults) {
            Some(torque) => Prevailing::Given(torque),
            None => Prevailing::None,
        }
    }

    fn turn(&mut self, faults: &mut Faults) -> Option<StageKind> {
        let typed = self.reader.needed_text("angle", faults);
        let within = self.reader.text("within", faults);
        let tolerance = angle_tolerance(within.as_ref(), faults)?;
        self.each(
            |typed, faults| {
                let aim = target::<AngleUnit>(typed, faults)?;
                angle_window(typed, &aim, &tolerance, faults).map(OverrideAim::Angle)
            },
            faults,
        );
        let torque = self.reader.text("torque", faults);
        self.plan.end_torque = torque.as_ref().map(|typed| typed.text.clone());
        let torque = match &torque {
            Some(typed) => {
                let aim = target::<TorqueUnit>(typed, faults)?;
                let within = torque_tolerance(None, faults)?;
                Some(torque_window(typed, &aim, &within, faults)?)
            }
            None => None,
        };
        let one_sweep = self.reader.flag("one_sweep", faults).unwrap_or(false);
        self.plan.one_sweep = one_sweep;
        self.plan.within = within.as_ref().map(|typed| typed.text.clone());
        let typed = typed?;
        self.plan.target = Some(typed.text.clone());
        let aim = target::<AngleUnit>(&typed, faults)?;
        if let (Some(within), false) = (&within, matches!(aim, Target::Exact(_))) {
            two_tolerances(within, "angle", faults);
        }
        Some(StageKind::Turn {
            window: angle_window(&typed, &aim, &tolerance, faults)?,
            torque,
            one_sweep,
        })
    }

    fn back_off(&mut self, faults: &mut Faults) -> Option<StageKind> {
        let angle = self.reader.text("angle", faults);
        let to = self.reader.text("to", faults);
        match (angle, to) {
            (Some(angle), None) => {
                let back = quantity::angle(&angle, faults)?;
                self.plan.target = Some(angle.text);
                Some(StageKind::BackOff { angle: Some(back) })
            }
            (None, Some(to)) if to.text == "free" => {
                self.plan.target = Some(to.text);
                Some(StageKind::BackOff { angle: None })
            }
            (None, Some(to)) => {
                faults.error(
                    &to.place,
                    format!("back-off to `{}`", to.text),
                    "here",
                    "write to = \"free\", or angle = \"180°\"",
                );
                None
            }
            (Some(_), Some(to)) => {
                faults.error(
                    &to.place,
                    "back-off has both `angle` and `to`",
                    "the second",
                    "leave out one",
                );
                None
            }
            (None, None) => {
                faults.error(
                    &self.reader.place,
                    format!("{} does not say how far", self.reader.of),
                    "it is missing here",
                    "add angle = \"180°\" or to = \"free\"",
                );
                None
            }
        }
    }

    fn still(&mut self, faults: &mut Faults) -> Angle {
        self.reader
            .text("still", faults)
            .and_then(|typed| {
                let still = angle(&typed, faults)?;
                self.plan.within = Some(typed.text);
                Some(still)
            })
            .unwrap_or(STILL)
    }

    fn hold(&mut self, faults: &mut Faults) -> Option<StageKind> {
        let typed = self.reader.needed_text("torque", faults);
        let printed = self.reader.text("printed", faults);
        let torque = typed.as_ref().and_then(|typed| {
            let value = quantity::single::<TorqueUnit>(typed, faults)?;
            if let Some(printed) = &printed {
                compare_printed(&Target::Exact(value), printed, faults);
            }
            Some(value.torque())
        });
        self.plan.printed = printed.map(|typed| typed.text);
        let still = self.still(faults);
        let time = match self.reader.value("seconds", faults) {
            Some(Node {
                value: Value::Whole(seconds),
                ..
            }) if (1..=86_400).contains(seconds) => {
                self.plan.time = Some(format!("{seconds} s"));
                u32::try_from(*seconds).ok().map(Span::from_seconds)
            }
            Some(node) => {
                faults.error(
                    &node.place,
                    "`seconds` of a hold is not a number of seconds",
                    "here",
                    "a whole number from 1 to 86400, without quotes",
                );
                None
            }
            None => {
                self.reader.missing("seconds", faults);
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

    fn repeat(&mut self, before: Option<&Pass>, faults: &mut Faults) -> Option<StageKind> {
        let still = self.still(faults);
        let min = self.reader.whole("min", 1..31, faults).unwrap_or(1);
        let max = self
            .reader
            .whole("max", 1..31, faults)
            .unwrap_or(min.max(4));
        if min > max {
            faults.error(
                &self.reader.key_place("max"),
                format!("at least {min} passes but at most {max}"),
                "here",
                "max must not be below min",
            );
            return None;
        }
        let own = self.reader.text("torque", faults);
        let Some(pass) = before else {
            faults.error(
                &self.reader.place,
                "nothing to repeat: no `tighten` stage stands before this one",
                "here",
                "put it after the pass that is repeated",
            );
            return None;
        };
        if let Some(own) = own {
            let given = target::<TorqueUnit>(&own, faults)?;
            let within = torque_tolerance(None, faults)?;
            if torque_window(&own, &given, &within, faults)?.target != pass.aim {
                faults.error(
                    &own.place,
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

    fn seat(&mut self, faults: &mut Faults) -> Option<StageKind> {
        let node = self.reader.value("turns", faults);
        let Some(node) = node else {
            self.reader.missing("turns", faults);
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
            faults.error(
                &node.place,
                "`turns` is not a number of turns",
                "here",
                "a number above 0, up to 100: turns = 3",
            );
            return None;
        };
        self.plan.target = Some(format!("{typed} turns"));
        // Thousandths of a turn, 360 millidegrees each.
        let angle = i32::try_from(turns * 360).ok()?;
        Some(StageKind::Seat {
            turns: Angle::from_millidegrees(angle),
        })
    }

    fn ask(&mut self, what: &str, faults: &mut Faults) -> Option<()> {
        let ask = self.reader.needed_text("ask", faults)?;
        if ask.text.len() > 200 {
            faults.error(
                &ask.place,
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

    fn per_fastener(&mut self, on: Option<&[u8]>, faults: &mut Faults) {
        let per = self.reader.text("per", faults);
        self.whole_joint = match per {
            Some(typed) => match typed.text.as_str() {
                "fastener" => false,
                "joint" if on.is_some() => {
                    faults.error(
                        &typed.place,
                        "a question for the whole joint cannot be `on` single fasteners",
                        "here",
                        "leave out `on`, or write per = \"fastener\"",
                    );
                    true
                }
                "joint" => true,
                _ => {
                    faults.error(
                        &typed.place,
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

    fn measure(&mut self, on: Option<&[u8]>, faults: &mut Faults) -> Option<StageKind> {
        self.ask("measure", faults);
        self.per_fastener(on, faults);
        let (on_under, text) = policy(&mut self.reader, "on_under", self.around, faults);
        self.on_under = on_under;
        self.plan.on_under = text;
        let typed = self.reader.needed_text("length", faults)?;
        let within = self.reader.text("within", faults);
        let (min, max) = length_window(&typed, within.as_ref(), faults)?;
        self.plan.target = Some(typed.text);
        self.plan.within = within.map(|typed| typed.text);
        Some(StageKind::Measure { min, max })
    }

    fn wait(&mut self, faults: &mut Faults) -> Option<StageKind> {
        self.whole_joint = true;
        let least = self.reader.text("at_least", faults);
        let most = self.reader.text("at_most", faults);
        let after = self.reader.text("after", faults);
        let at_least = match &least {
            Some(typed) => span(typed, faults)?,
            None => Span::ZERO,
        };
        let at_most = match &most {
            Some(typed) => span(typed, faults)?,
            None => Span::MAX,
        };
        if least.is_none() && most.is_none() && after.is_none() {
            faults.error(
                &self.reader.place,
                format!("{} waits for nothing", self.reader.of),
                "here",
                "add at_least = \"4 h\", at_most = \"3 min\" or after = \"a moment\"",
            );
            return None;
        }
        if at_least > at_most {
            faults.error(
                &self.reader.key_place("at_most"),
                "the wait must end before it begins",
                "here",
                "at_most must not be below at_least",
            );
            return None;
        }
        let (moment, from) = self.moment(after, faults)?;
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
    fn moment(&mut self, after: Option<Typed>, faults: &mut Faults) -> Option<(Moment, String)> {
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
                    faults.error(
                        &self.reader.place,
                        "the wait counts from nothing: no stage stands before it",
                        "here",
                        "say from when: after = \"sealant applied\"",
                    );
                    None
                }
            };
        };
        if let Some(number) = stage_named(&after.text, self.around) {
            let stage = self.around.effective.get(number - 1).copied().flatten();
            let Some(stage) = stage.filter(|_| number < written) else {
                faults.error(
                    &after.place,
                    format!("the wait counts from stage {number}, which is not earlier"),
                    "here",
                    "an earlier stage, by its name or as \"stage 2\", or a moment",
                );
                return None;
            };
            return Some((Moment::StageDone(stage), after.text));
        }
        let names = self.around.names.iter().map(|(name, _)| name.as_str());
        if let Some(near) = closest(&after.text, names) {
            faults.warning(
                &after.place,
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
                self.around.moments.push(after.text.clone());
                self.around.moments.len() - 1
            }
        };
        match u8::try_from(index) {
            Ok(index) => Some((Moment::Named(index), after.text)),
            Err(_) => {
                faults.error(
                    &after.place,
                    "more than 256 moments in one plan",
                    "one too many",
                    "",
                );
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

    fn later(&mut self, faults: &mut Faults) -> Option<StageKind> {
        let window = self.torque("torque", faults);
        let engine = self.reader.text("engine", faults);
        let state = match engine.as_ref().map(|typed| typed.text.as_str()) {
            None | Some("any") => EngineState::Any,
            Some("cold") => EngineState::Cold,
            Some("hot") => EngineState::Hot,
            Some(_) => {
                if let Some(typed) = &engine {
                    faults.error(
                        &typed.place,
                        format!("unknown engine state `{}`", typed.text),
                        "here",
                        "engine = \"cold\", \"hot\" or \"any\"",
                    );
                }
                EngineState::Any
            }
        };
        let after = self.reader.needed_text("after", faults);
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

/// The fasteners that a label or group name means.
pub(super) fn named(name: &Typed, around: &Around<'_>, faults: &mut Faults) -> Option<Vec<u8>> {
    fasteners_named(name, around.labels, around.groups, around.joint, faults)
}

/// The fasteners that a label or group name means.
pub(super) fn fasteners_named(
    name: &Typed,
    labels: &[String],
    groups: &[(String, Vec<u8>)],
    joint: &str,
    faults: &mut Faults,
) -> Option<Vec<u8>> {
    if let Some(index) = labels.iter().position(|label| *label == name.text) {
        return u8::try_from(index).ok().map(|index| vec![index]);
    }
    if let Some((_, group)) = groups.iter().find(|(group, _)| *group == name.text) {
        return Some(group.clone());
    }
    let known = labels
        .iter()
        .map(String::as_str)
        .chain(groups.iter().map(|(group, _)| group.as_str()));
    let allowed = match closest(&name.text, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => {
            let all: Vec<&str> = known.collect();
            format!("fasteners and groups: {}", all.join(", "))
        }
    };
    faults.error(
        &name.place,
        format!("joint `{joint}` has no fastener `{}`", name.text),
        "here",
        allowed,
    );
    None
}

/// The fasteners under a key, each once; none when the key is not there.
pub(super) fn places(
    reader: &mut Reader<'_>,
    key: &'static str,
    around: &Around<'_>,
    faults: &mut Faults,
) -> Option<Vec<u8>> {
    let of = format!("`{key}` of {}", reader.of);
    let node = reader.value(key, faults)?;
    let mut list = Vec::new();
    for name in texts_of(node, &of, faults) {
        for fastener in named(&name, around, faults).unwrap_or_default() {
            if list.contains(&fastener) {
                faults.error(
                    &name.place,
                    format!("{of} names `{}` twice", name.text),
                    "the second",
                    "each fastener once",
                );
            } else {
                list.push(fastener);
            }
        }
    }
    Some(list)
}

/// The order under `order`.
pub(super) fn order(
    reader: &mut Reader<'_>,
    around: &Around<'_>,
    faults: &mut Faults,
) -> Option<Order> {
    let of = format!("`order` of {}", reader.of);
    let node = reader.value("order", faults)?;
    if let Value::List(_) = node.value {
        return places(reader, "order", around, faults).map(Order::Own);
    }
    let typed = text_of(node, &of, faults)?;
    match typed.text.as_str() {
        "centre-out" => Some(Order::CentreOut),
        "cross" => Some(Order::Cross),
        "listed" => Some(Order::Listed),
        "reverse" => Some(Order::Reverse),
        "any" => Some(Order::Any),
        other => {
            faults.error(
                &typed.place,
                format!("unknown order `{other}`"),
                "here",
                match closest(other, ORDER_WORDS) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("{}, or a list of labels", ORDER_WORDS.join(", ")),
                },
            );
            None
        }
    }
}

/// Pairs under `together`.
pub(super) fn together(
    reader: &mut Reader<'_>,
    around: &Around<'_>,
    faults: &mut Faults,
) -> Vec<(u8, u8)> {
    let of = format!("`together` of {}", reader.of);
    let Some(node) = reader.value("together", faults) else {
        return Vec::new();
    };
    let wrong = |faults: &mut Faults| {
        faults.error(
            &node.place,
            format!("{of} is not a list of pairs"),
            "here",
            "write pairs: [[\"1\", \"1b\"], [\"2\", \"2b\"]]",
        );
    };
    let Value::List(list) = &node.value else {
        wrong(faults);
        return Vec::new();
    };
    let mut pairs: Vec<(u8, u8)> = Vec::new();
    for pair in list {
        let Value::List(ends) = &pair.value else {
            wrong(faults);
            continue;
        };
        let [first, second] = ends.as_slice() else {
            wrong(faults);
            continue;
        };
        let mut end = |node: &Node| {
            let typed = label_of(node, &of, faults)?;
            let found = named(&typed, around, faults)?;
            found.first().copied().filter(|_| found.len() == 1)
        };
        let (Some(first), Some(second)) = (end(first), end(second)) else {
            continue;
        };
        let taken = |end: u8| pairs.iter().any(|&(a, b)| a == end || b == end);
        if first == second || taken(first) || taken(second) {
            faults.error(
                &pair.place,
                "a fastener stands in two pairs, or is paired with itself",
                "here",
                "each fastener in one pair at most",
            );
            continue;
        }
        pairs.push((first, second));
    }
    pairs
}

/// The number as written of the stage meant: by name, or as `2` or `stage 2`.
fn stage_named(text: &str, around: &Around<'_>) -> Option<usize> {
    if let Some((_, number)) = around.names.iter().find(|(name, _)| name == text) {
        return Some(*number);
    }
    let number = text.strip_prefix("stage ").unwrap_or(text);
    let number: usize = number.trim().parse().ok()?;
    (1..=around.effective.len())
        .contains(&number)
        .then_some(number)
}

/// `replace`, `ask` or `restart 2`.
fn policy(
    reader: &mut Reader<'_>,
    key: &'static str,
    around: &Around<'_>,
    faults: &mut Faults,
) -> (Policy, Option<String>) {
    let Some(typed) = reader.text(key, faults) else {
        return (Policy::Ask, None);
    };
    let policy = match typed.text.as_str() {
        "ask" => Some(Policy::Ask),
        "replace" => Some(Policy::Replace),
        other => other.strip_prefix("restart ").and_then(|stage| {
            let number = stage_named(stage.trim(), around)?;
            let stage = around.effective.get(number - 1).copied().flatten()?;
            Some(Policy::Restart(stage))
        }),
    };
    if policy.is_none() {
        faults.error(
            &typed.place,
            format!("`{key}` is `{}`", typed.text),
            "here",
            "\"replace\", \"ask\", or \"restart 1\" with the number or name of a stage; never a little back",
        );
    }
    (policy.unwrap_or_default(), Some(typed.text))
}

/// Targets of single fasteners, for the core.
pub(super) fn overrides_of(read: &Read, stage: u8, places: &[u8]) -> Vec<Override> {
    read.overrides
        .iter()
        .filter(|(fastener, _)| places.contains(fastener))
        .map(|&(fastener, aim)| Override {
            fastener,
            stage,
            aim,
        })
        .collect()
}
