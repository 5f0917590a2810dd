//! What the tool in hand tells of the step that is to be pulled, and how what a person types of it becomes an input.
//!
//! One place for terminal and desk: what is to be typed, in which unit, what a click wrench is to be set to, what is asked once more
//! because it is out of any plausible range. Knows nothing of screens or of judging.

use evendraw_core::limits::TEXT_MAX;
use evendraw_core::procedure::{Procedure, StageKind, TorqueWindow};
use evendraw_core::record::Way;
use evendraw_core::session::{Input, Next, Readout};
use evendraw_core::unit::{Angle, Torque};

use super::Job;
use super::status::Shown;
use crate::mechanics::{self, OffsetAdapter, round_into};
use crate::plan::{Tool, ToolKind};
use crate::quantity::{AngleUnit, Quantity, TorqueUnit, newton_meters};
use crate::words;

/// What a person tells of the step that is next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ToTell {
    /// Nothing: the tool sends its samples.
    Samples,
    /// Values that are read.
    Values(Wanted),
    /// A click at a setting.
    Click {
        /// What the tool is to be set to.
        setting: Torque,
        /// In words, in the tool's own unit, and what it stands for where that is another torque.
        words: String,
        /// Whether it must be said if the fastener moved before it clicked.
        moved: bool,
    },
    /// That it is done.
    Done,
}

/// Which values are read, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// How the torque is read; of a stage that is turned, the angle.
    pub way: Way,
    /// Whether a torque must be read.
    pub torque: bool,
    /// Whether an angle must be read.
    pub angle: bool,
    /// Whether it must be said if the fastener moved.
    pub moved: bool,
    /// What a number without a unit is, beside an angle: the tool's own unit.
    pub unit: TorqueUnit,
    /// Graduation and accuracy as the plan states them.
    pub stated: String,
    /// Through an offset adapter: what the tool is to show, and what that is at the fastener, in words.
    pub through: Option<String>,
}

/// Values as they were typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Typed {
    /// As the tool shows it.
    pub torque: Option<Torque>,
    /// In the direction of the stage.
    pub angle: Option<Angle>,
    /// The fastener moved.
    pub moved: bool,
}

/// A setting that a person typed back, and what it was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AsSet {
    joint: u8,
    stage: u8,
    wanted: Torque,
    /// As set on the tool's scale.
    pub setting: Torque,
}

/// A torque that is so far from the target is another unit, another digit or another fastener: below half of it, or beyond one and a
/// half. An angle likewise. *Our judgement, no source.*
const PLAUSIBLE: (i64, i64) = (50, 150);

impl Job {
    /// The tool in hand, where the plan has it.
    #[must_use]
    pub fn tool_in_hand(&self) -> Option<&Tool> {
        self.plan.tool(self.tool()?)
    }

    /// What is to be told of the joint's next step with the tool in hand; none where nothing is to be pulled.
    ///
    /// # Errors
    /// In words, where a click wrench has no graduation inside the window, or the stage has no torque to set.
    pub fn to_tell(&self, joint: u8) -> Option<Result<ToTell, String>> {
        let session = self.session(joint)?;
        let Next::Pull { step } = session.next() else {
            return None;
        };
        let kind = session.procedure().stage_of(step)?.kind;
        let plan = self.joint_plan(joint)?;
        let tool = self.tool_in_hand();
        let turned = matches!(kind, StageKind::Turn { .. } | StageKind::BackOff { .. });
        if matches!(kind, StageKind::BackOff { angle: None }) {
            return Some(Ok(ToTell::Done));
        }
        let way = match tool.map(|tool| tool.kind) {
            Some(ToolKind::Adapter | ToolKind::Stream) => return Some(Ok(ToTell::Samples)),
            Some(ToolKind::Click) => return Some(self.click(joint, step)),
            Some(ToolKind::Hand) if turned => Way::Mark,
            Some(ToolKind::Hand) => return Some(Ok(ToTell::Done)),
            Some(ToolKind::AngleGauge) => Way::Gauge,
            Some(ToolKind::Display) => Way::Display,
            // A pointer shows no angle: that is seen by a mark.
            Some(ToolKind::Beam | ToolKind::Dial) | None if turned => Way::Mark,
            Some(ToolKind::Beam | ToolKind::Dial) | None => Way::Eye,
        };
        let shown = Shown::at(plan, session.procedure().stage_at(step)?);
        Some(Ok(ToTell::Values(Wanted {
            way,
            torque: !turned,
            angle: turned,
            moved: matches!(kind, StageKind::Repeat { .. } | StageKind::Hold { .. }),
            unit: tool
                .and_then(own_unit)
                .or_else(|| unit_of(&format!("1 {}", shown.symbol())))
                .unwrap_or(TorqueUnit::NewtonMeter),
            stated: tool.map(Tool::stated).unwrap_or_default(),
            through: self.through_words(joint, step),
        })))
    }

    /// What the tool is to show where an offset adapter is between it and the fastener.
    fn through_words(&self, joint: u8, step: u16) -> Option<String> {
        self.offset(joint)?;
        let session = self.session(joint)?;
        let window = session.ledger().torque_window(session.procedure(), step)?;
        let unit = self
            .tool_in_hand()
            .and_then(own_unit)
            .unwrap_or(TorqueUnit::NewtonMeter);
        let shown = Shown::new(unit);
        let at_tool = TorqueWindow {
            target: self.through_offset(joint, window.target),
            min: self.through_offset(joint, window.min),
            max: if window.max < Torque::MAX {
                self.through_offset(joint, window.max)
            } else {
                window.max
            },
        };
        Some(format!(
            "the tool shows {}, {}, for {} at the fastener",
            shown.words(at_tool.target),
            shown.window(&at_tool),
            shown.words(window.target)
        ))
    }

    fn click(&self, joint: u8, step: u16) -> Result<ToTell, String> {
        let none = || "this stage has no torque that a tool could be set to".to_owned();
        let session = self.session(joint).ok_or_else(none)?;
        let window = session
            .ledger()
            .torque_window(session.procedure(), step)
            .ok_or_else(none)?;
        let tool = self.tool_in_hand();
        let setting = setting(window, self.offset(joint), tool)?;
        let unit = tool.and_then(own_unit).unwrap_or(TorqueUnit::NewtonMeter);
        let mut text = in_unit(setting, unit);
        let stands_for = self.at_fastener(joint, setting);
        if stands_for != setting {
            text.push_str(&format!(
                ", which is {} at the fastener",
                in_unit(stands_for, unit)
            ));
        }
        let kind = session.procedure().stage_of(step).map(|stage| stage.kind);
        Ok(ToTell::Click {
            setting,
            words: text,
            moved: matches!(kind, Some(StageKind::Repeat { .. })),
        })
    }

    /// The offset adapter between tool and fastener, where the joint has one.
    fn offset(&self, joint: u8) -> Option<OffsetAdapter> {
        self.joint_plan(joint)?.access.as_ref()?.adapter()
    }

    /// What the tool comes to for a torque at the fastener.
    #[must_use]
    pub fn through_offset(&self, joint: u8, at_fastener: Torque) -> Torque {
        match self.offset(joint) {
            Some(offset) => millis(offset.setting(newton_meters(at_fastener))),
            None => at_fastener,
        }
    }

    /// What a reading or setting of the tool is at the fastener.
    #[must_use]
    pub fn at_fastener(&self, joint: u8, at_tool: Torque) -> Torque {
        match self.offset(joint) {
            Some(offset) => millis(offset.at_fastener(newton_meters(at_tool))),
            None => at_tool,
        }
    }

    /// What is doubtful about values for the step that is next, as a question; none where they may be taken at once.
    #[must_use]
    pub fn question(&self, joint: u8, typed: &Typed) -> Option<String> {
        let session = self.session(joint)?;
        let Next::Pull { step } = session.next() else {
            return None;
        };
        let (procedure, ledger) = (session.procedure(), session.ledger());
        let aim = ledger
            .torque_window(procedure, step)
            .map(|window| window.target);
        let shown = Shown::at(self.joint_plan(joint)?, procedure.stage_at(step)?);
        if let Some(torque) = typed.torque {
            let is_turned = procedure.angle_window(step).is_some();
            let at_fastener = self.at_fastener(joint, torque);
            if let Some(tool) = self.tool_in_hand().filter(|tool| tool.kind.has_torque())
                && torque > tool.capacity
            {
                return Some(format!(
                    "{} is above the {} that tool {} can show",
                    shown.words(torque),
                    tool.capacity_text,
                    tool.id
                ));
            }
            if let Some(target) = aim.filter(|_| !is_turned)
                && !is_near(
                    at_fastener.millinewton_meters(),
                    target.millinewton_meters(),
                )
            {
                return Some(format!(
                    "{} is far from the target of {}",
                    shown.words(at_fastener),
                    shown.words(target)
                ));
            }
        }
        let target = angle_target(procedure, step);
        if let (Some(angle), Some(target)) = (typed.angle, target)
            && !is_near(angle.millidegrees(), target.millidegrees())
        {
            return Some(format!(
                "{} is far from the target of {}",
                words::angle(angle),
                words::angle(target)
            ));
        }
        None
    }

    /// Values typed, as an input's readout: through an offset adapter the tool shows another torque than the fastener's, and what it
    /// showed stands in `stated`, in front of its graduation and accuracy.
    #[must_use]
    pub fn readout<'s>(
        &self,
        joint: u8,
        wanted: &Wanted,
        typed: &Typed,
        stated: &'s mut String,
    ) -> Readout<'s> {
        let torque = typed.torque.map(|torque| self.at_fastener(joint, torque));
        stated.clone_from(&wanted.stated);
        if let Some(shown) = typed.torque.filter(|shown| torque != Some(*shown)) {
            *stated = format!("showed {}; {stated}", in_unit(shown, wanted.unit));
        }
        stated.truncate(stated.floor_char_boundary(TEXT_MAX));
        // A pointer and a mark: with a torque beside it, the torque is what was read.
        let way = match wanted.way {
            Way::Mark if torque.is_some() => Way::Eye,
            way => way,
        };
        Readout {
            way,
            torque,
            angle: typed.angle,
            moved: typed.moved,
            stated,
        }
    }

    /// A click at a setting, as an input.
    #[must_use]
    pub fn clicked(&self, joint: u8, step: u16, set: AsSet, moved: bool) -> Input<'static> {
        Input::BySetting {
            step,
            setting: set.setting,
            stands_for: self.at_fastener(joint, set.setting),
            moved,
        }
    }

    /// Whether a click wrench stands set for the step that is next: as it was set, if it was set for this stage and this value.
    #[must_use]
    pub fn is_set(&self, joint: u8, as_set: Option<AsSet>) -> Option<AsSet> {
        let (stage, wanted) = self.wanted_setting(joint)?;
        as_set.filter(|set| (set.joint, set.stage, set.wanted) == (joint, stage, wanted))
    }

    /// A setting typed back for the step that is next.
    #[must_use]
    pub fn as_set(&self, joint: u8, setting: Torque) -> Option<AsSet> {
        let (stage, wanted) = self.wanted_setting(joint)?;
        Some(AsSet {
            joint,
            stage,
            wanted,
            setting,
        })
    }

    fn wanted_setting(&self, joint: u8) -> Option<(u8, Torque)> {
        let session = self.session(joint)?;
        let stage = session.procedure().stage_at(session.next().step()?)?;
        match self.to_tell(joint)? {
            Ok(ToTell::Click { setting, .. }) => Some((stage, setting)),
            _ => None,
        }
    }
}

/// Reads what was typed: `48.2`, `48,2`, `48.2 N·m 91°`, `91°`, with `moved` behind where the fastener moved.
///
/// # Errors
/// In words: what was given and what is wanted.
pub fn read(text: &str, wanted: &Wanted) -> Result<Typed, String> {
    let mut typed = Typed::default();
    let mut items: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        if word.eq_ignore_ascii_case("moved") {
            if !wanted.moved {
                return Err("`moved` is said only where nothing may move".to_owned());
            }
            typed.moved = true;
        } else if word.starts_with(|first: char| first.is_ascii_digit() || "+-.,−".contains(first))
        {
            items.push(word.to_owned());
        } else if let Some(item) = items.last_mut() {
            item.push(' ');
            item.push_str(word);
        } else {
            return Err(format!("`{word}` is no number: {}", allowed(wanted)));
        }
    }
    for item in &items {
        let has_unit = item
            .chars()
            .any(|character| character.is_alphabetic() || character == '°');
        let is_angle_next = wanted.angle && !wanted.torque || typed.torque.is_some();
        let angle = if has_unit {
            Quantity::<AngleUnit>::parse(item).ok()
        } else if is_angle_next {
            let text = format!("{item}°");
            Some(
                Quantity::<AngleUnit>::parse(&text)
                    .map_err(|error| unread(item, &error, wanted))?,
            )
        } else {
            None
        };
        if let Some(angle) = angle {
            put(&mut typed.angle, angle.angle(), item, "angle")?;
            continue;
        }
        let text = if has_unit {
            item.clone()
        } else {
            format!("{item} {}", crate::quantity::Unit::symbol(wanted.unit))
        };
        let torque =
            Quantity::<TorqueUnit>::parse(&text).map_err(|error| unread(item, &error, wanted))?;
        put(&mut typed.torque, torque.torque(), item, "torque")?;
    }
    if wanted.torque && typed.torque.is_none() || wanted.angle && typed.angle.is_none() {
        return Err(format!(
            "`{}` is not enough: {}",
            text.trim(),
            allowed(wanted)
        ));
    }
    Ok(typed)
}

/// Reads a setting typed back, in the tool's own unit where none is typed.
///
/// # Errors
/// In words.
pub fn read_setting(text: &str, tool: Option<&Tool>) -> Result<Torque, String> {
    let wanted = Wanted {
        way: Way::Display,
        torque: true,
        angle: false,
        moved: false,
        unit: tool.and_then(own_unit).unwrap_or(TorqueUnit::NewtonMeter),
        stated: String::new(),
        through: None,
    };
    let typed = read(text, &wanted)?;
    match (typed.torque, typed.angle) {
        (Some(torque), None) if !typed.moved => Ok(torque),
        _ => Err(format!("`{}` is not a setting alone", text.trim())),
    }
}

fn put<T>(place: &mut Option<T>, value: T, item: &str, what: &str) -> Result<(), String> {
    match place.replace(value) {
        None => Ok(()),
        Some(_) => Err(format!("`{item}` is a second {what}: one of each at most")),
    }
}

fn unread(item: &str, error: &crate::quantity::QuantityError, wanted: &Wanted) -> String {
    format!("`{item}`: {error}; {}", allowed(wanted))
}

/// What may be typed.
#[must_use]
pub fn allowed(wanted: &Wanted) -> String {
    let symbol = crate::quantity::Unit::symbol(wanted.unit);
    let values = match (wanted.torque, wanted.angle) {
        _ if wanted.way == Way::Gauge => "an angle: `91`".to_owned(),
        (_, false) => format!(
            "a torque in {symbol} or with its unit, and an angle if it is shown: `48.2`, `48.2 {symbol} 91°`"
        ),
        (false, true) => {
            "an angle, and a torque with its unit if it is shown: `91`, `91° 80 N·m`".to_owned()
        }
        (true, true) => format!("a torque and an angle: `48.2 {symbol} 91°`"),
    };
    if wanted.moved {
        format!("{values}; with `moved` behind it where the fastener moved")
    } else {
        values
    }
}

/// What a tool is to be set to, or comes to, for a window at the fastener: a graduation of its scale.
fn setting(
    window: TorqueWindow,
    offset: Option<OffsetAdapter>,
    tool: Option<&Tool>,
) -> Result<Torque, String> {
    let window = mechanics::Window {
        low_Nm: newton_meters(window.min),
        target_Nm: newton_meters(window.target),
        high_Nm: newton_meters(window.max),
    };
    let window = match offset {
        Some(offset) => window.through(offset),
        None => window,
    };
    let step = tool.and_then(Tool::step_newton_meters);
    match step.filter(|step| *step > 0.0) {
        None => Ok(millis(window.target_Nm)),
        Some(step) => round_into(window, step)
            .map(millis)
            .map_err(|error| error.to_string()),
    }
}

fn angle_target(procedure: &Procedure, step: u16) -> Option<Angle> {
    match procedure.stage_of(step)?.kind {
        StageKind::BackOff { angle } => angle,
        _ => procedure.angle_window(step).map(|window| window.target),
    }
}

fn is_near(value: i32, target: i32) -> bool {
    let percent = |of: i64| i64::from(target).saturating_mul(of);
    let value = i64::from(value).saturating_mul(100);
    value >= percent(PLAUSIBLE.0) && value <= percent(PLAUSIBLE.1)
}

/// The unit that a tool's own scale has: that of its graduation, else of its capacity.
#[must_use]
pub fn own_unit(tool: &Tool) -> Option<TorqueUnit> {
    tool.step_text
        .as_deref()
        .and_then(unit_of)
        .or_else(|| unit_of(&tool.capacity_text))
}

fn unit_of(text: &str) -> Option<TorqueUnit> {
    Quantity::<TorqueUnit>::parse(text)
        .ok()
        .map(|given| given.unit())
}

/// A torque as the tool's own scale has it.
#[must_use]
pub fn tool_words(torque: Torque, tool: Option<&Tool>) -> String {
    in_unit(
        torque,
        tool.and_then(own_unit).unwrap_or(TorqueUnit::NewtonMeter),
    )
}

fn in_unit(torque: Torque, unit: TorqueUnit) -> String {
    Shown::new(unit).words(torque)
}

/// The nearest mN·m.
fn millis(newton_meters: f64) -> Torque {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "held inside the range of a torque at once"
    )]
    let millis = (newton_meters * 1_000.0).round() as i64;
    Torque::from_wide(millis)
}
