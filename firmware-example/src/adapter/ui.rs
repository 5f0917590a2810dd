//! What the hand sees and presses: the page of the display, two keys, the cues; a joint chosen or a bolt circle made without a
//! desktop.
//!
//! Yes does what the bottom line says first, no what it says second.

use evendraw_core::advice::Act;
use evendraw_core::ledger::StepState;
use evendraw_core::pattern::cross;
use evendraw_core::procedure::{
    AngleWindow, EngineState, Fastener, Parts as ProcedureParts, Prevailing, Procedure, Stage,
    StageKind, Step as Place, Terms, TorqueWindow,
};
use evendraw_core::record::{Doubt, Role};
use evendraw_core::sample::Fault;
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::text::Label;
use evendraw_core::tracker::Cue as Told;
use evendraw_core::unit::{Angle, Instant, Length, Torque};
use evendraw_core::verdict::{Aim, Reason, Verdict};

use super::{
    Adapter, Cue, Display, Flash, Key, Keys, Leave, Port, Readings, Trouble, page, told_for,
};
use crate::cue::Signal;
use crate::display::Page;
use crate::slots::SLOTS;

/// Numbers that make a bolt circle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Circle {
    /// Which number is being set: count, torque, angle.
    field: u8,
    values: [u16; 3],
}

const FIELDS: [&str; 3] = ["Bolts on circle:", "Torque, N.m:", "Then angle, deg:"];
/// First and last value of each number, and the step between.
const RANGES: [(u16, u16, u16); 3] = [(3, 64, 1), (2, 200, 2), (0, 180, 15)];

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

impl<F, R, P, C, D, K> Adapter<F, R, P, C, D, K>
where
    F: Flash,
    R: Readings,
    P: Port,
    C: Cue,
    D: Display,
    K: Keys,
{
    pub(super) fn hands_step(
        &mut self,
        session: Option<&mut Session<&Procedure>>,
        now: Instant,
    ) -> Option<Leave> {
        let key = self.parts.keys.pressed(now);
        let leave = match (session, key) {
            (Some(session), key) => {
                let leave = self.worked(session, key, now);
                let page = self.work_page(session, now);
                self.parts.display.show(&page);
                leave
            }
            (None, key) => {
                let leave = key.and_then(|key| self.chosen(key));
                let page = self.rest_page();
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
            let id = self.plate.serial;
            self.apply(session, now, Input::Tool { id, waiver: "" });
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

    fn work_page(&self, session: &Session<&Procedure>, now: Instant) -> Page {
        let mut page = Page::default();
        if let Some(trouble) = self.trouble
            && !session.is_in_pull()
        {
            trouble_page(&mut page, trouble);
            return page;
        }
        let procedure = session.procedure();
        let next = session.next();
        let step = next.step();
        let place = step.and_then(|step| procedure.step_at(step));
        let fastener = match next {
            Next::Loosen { fastener } | Next::Replace { fastener } | Next::Settle { fastener } => {
                Some(fastener)
            }
            _ => place.and_then(|place| place.fastener()),
        };
        let label = fastener.and_then(|at| procedure.fasteners().get(usize::from(at)));
        let mut top = page.line(0);
        match label {
            Some(fastener) => top.text("NEXT ").text(fastener.label.as_str()),
            None => top.text("JOINT ").number(u32::from(session.joint())),
        };
        if let Some(place) = place {
            let stages = u32::try_from(procedure.stages().len()).unwrap_or(0);
            let stage = u32::from(place.stage()).saturating_add(1);
            top.text("  stage ").number(stage).text("/").number(stages);
        }
        if let Some(halt) = self.halt.filter(|_| session.is_in_pull()) {
            page.line(1).text("STOP: ").text(halt.word());
        } else {
            target_line(&mut page, session, next, now);
        }
        let live = session.live();
        let told = self
            .verdict
            .filter(|_| self.told.is_some_and(|(_, at)| now.since(at) < told_for()));
        let mut line = page.line(2);
        if session.is_in_pull() {
            line.thousandths(live.torque.millinewton_meters())
                .text(" N.m");
            if let Some(angle) = live.angle {
                line.text(" ")
                    .thousandths(angle.millidegrees())
                    .text(" deg");
            }
        } else if let Some(gravest) = session.advice().and_then(|advice| advice.gravest) {
            // Named for as long as it waits for somebody.
            line.text(named(gravest));
        } else if let Some(told) = told {
            line.text(match told.verdict {
                Verdict::Accepted => "ACCEPTED ",
                Verdict::Rejected => "REJECTED ",
                Verdict::Unknown => "UNKNOWN ",
            });
            if let Some(reason) = told.reasons.gravest() {
                line.text(reason.word());
            }
        }
        let keys = match next {
            Next::Pull { .. } if session.is_in_pull() => "YES done",
            Next::Pull { .. } => "YES zero NO felt off",
            Next::Condition | Next::Answer { .. } => "YES yes    NO no",
            Next::Decide { .. } => {
                let (yes, no) = offered(session).0;
                let mut line = page.line(3);
                line.text(match yes {
                    Some(act) => key_words(act),
                    None => "decide at the desk",
                });
                if let Some(act) = no {
                    line.text("  NO ")
                        .text(key_words(act).get(4..).unwrap_or(""));
                }
                ""
            }
            Next::Measure { .. } => "YES take   NO more",
            Next::Nothing => "YES leave",
            Next::Store | Next::Wait { .. } | Next::Start | Next::Tool => "",
            _ => "YES done",
        };
        if !keys.is_empty() {
            page.line(3).text(keys);
        }
        if let Next::Measure { .. } = next {
            page.line(2).thousandths(self.hands.length).text(" mm");
        }
        page
    }

    /// What the key means while no joint is worked.
    fn chosen(&mut self, key: Key) -> Option<Leave> {
        self.trouble = None;
        if !self.hands.cautioned {
            self.hands.cautioned = true;
            return None;
        }
        if let Some(circle) = &mut self.hands.circle {
            let field = usize::from(circle.field);
            let (first, last, by) = RANGES.get(field).copied().unwrap_or((0, 0, 1));
            if let Some(value) = circle.values.get_mut(field)
                && key == Key::No
            {
                *value = if *value + by > last {
                    first
                } else {
                    *value + by
                };
                return None;
            }
            if field + 1 < RANGES.len() {
                circle.field += 1;
                return None;
            }
            let [count, newton_meters, degrees] = circle.values;
            self.hands.circle = None;
            return Some(Leave::Circle {
                count: u8::try_from(count).unwrap_or(3),
                newton_meters,
                degrees,
            });
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
        self.hands.circle = Some(Circle {
            field: 0,
            values: RANGES.map(|(first, ..)| first),
        });
        None
    }

    fn rest_page(&self) -> Page {
        if let Some(trouble) = self.trouble {
            let mut page = Page::default();
            trouble_page(&mut page, trouble);
            return page;
        }
        if !self.hands.cautioned {
            return page([
                "Eyes protected, work",
                "held up, no bar on",
                "the handle, hands",
                "clear of it. YES seen",
            ]);
        }
        if let Some(circle) = self.hands.circle {
            let mut shown = page(["New bolt circle", "", "", "YES take   NO more"]);
            let field = usize::from(circle.field);
            shown.line(1).text(FIELDS.get(field).copied().unwrap_or(""));
            let value = circle.values.get(field).copied().unwrap_or(0);
            shown.line(2).number(u32::from(value));
            return shown;
        }
        let mut shown = page(["Choose a joint", "", "", "YES this   NO next"]);
        let choice = self.hands.choice;
        if choice < SLOTS && self.slots.held(choice).is_some() {
            shown.line(1).text("Place ").number(u32::from(choice) + 1);
        } else {
            shown.line(1).text("New bolt circle");
        }
        shown
    }

    /// Makes a bolt circle and stores it in the first free place, or the last.
    #[inline(never)]
    pub(super) fn make_circle(&mut self, count: u8, newton_meters: u16, degrees: u16) -> Leave {
        self.settle();
        let place = (0..SLOTS)
            .find(|&place| self.slots.held(place).is_none())
            .unwrap_or(SLOTS - 1);
        let mut blob = heapless::Vec::<u8, 2560>::new();
        if !circle_form(count, newton_meters, degrees, &mut blob) {
            self.trouble = Some(Trouble::Procedure(0));
            return Leave::Rest;
        }
        self.slots.clear();
        let mut offset = 0;
        let mut kept = self.finish_shelf();
        for piece in blob.chunks(evendraw_core::link::PIECE_MAX) {
            self.slots.write(offset, piece);
            kept &= self.finish_shelf();
            offset += u32::try_from(piece.len()).unwrap_or(0);
        }
        let sum = blob.last_chunk().map_or(0, |sum| u32::from_le_bytes(*sum));
        match self.slots.filled(offset, sum) {
            Some(held) if kept => {
                self.slots.commit(place, held);
                if self.finish_shelf() {
                    return Leave::Work {
                        place,
                        joint: place,
                        asked: false,
                    };
                }
            }
            _ => {}
        }
        self.trouble = Some(Trouble::Flash);
        Leave::Rest
    }

    fn finish_shelf(&mut self) -> bool {
        loop {
            match self.slots.advance(&mut self.parts.flash) {
                crate::slots::SlotWrite::Busy => {}
                other => return other == crate::slots::SlotWrite::Done,
            }
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

fn target_line(page: &mut Page, session: &Session<&Procedure>, next: Next, now: Instant) {
    let mut line = page.line(1);
    match next {
        Next::Pull { .. } => {
            let Some((_, aim)) = session.armed() else {
                return;
            };
            match aim {
                Aim::Torque { window } | Aim::Repeat { window, .. } => line
                    .text("to ")
                    .thousandths(window.target.millinewton_meters())
                    .text(" N.m"),
                Aim::Turn { window, .. } => line
                    .text("turn ")
                    .thousandths(window.target.millidegrees())
                    .text(" deg"),
                Aim::Hold { torque, time, .. } => line
                    .text("hold ")
                    .thousandths(torque.millinewton_meters())
                    .text(" ")
                    .number(time.millis() / 1_000)
                    .text(" s"),
                Aim::BackOff { .. } => line.text("back off"),
            };
        }
        Next::Wait { until, .. } => {
            line.text("wait ")
                .number(until.since(now).millis() / 1_000)
                .text(" s");
        }
        other => {
            line.text(match other {
                Next::Person => "name who works",
                Next::Condition => "threads as stated?",
                Next::Hand { .. } => "turn in by hand",
                Next::Fit { .. } => "fit the new one",
                Next::Answer { .. } => "check, see the sheet",
                Next::Measure { .. } => "measure, set length",
                Next::Moment { .. } => "say when",
                Next::Loosen { .. } => "PRESSURE OFF, LOOSEN",
                Next::Replace { .. } => "fit a NEW one",
                Next::Decide { step } if session.ledger().step(step) == StepState::Doubtful => {
                    "NOT KNOWN"
                }
                Next::Decide { .. } => "REJECTED",
                Next::Settle { .. } => "felt wrong: look",
                Next::TakeApart => "take MOCK-UP apart",
                Next::AwaitDue { .. } => "retorque when run",
                Next::Nothing => "every step settled",
                Next::Store => "storing...",
                _ => "",
            });
        }
    }
}

fn trouble_page(page: &mut Page, trouble: Trouble) {
    let [first, second] = match trouble {
        Trouble::Refused(_) => ["Not now", "see what is next"],
        Trouble::Procedure(_) => ["Procedure refused", "send it again"],
        Trouble::Restore => ["Journal has another", "job of this joint"],
        Trouble::Zero => ["Zero refused:", "unload the tool"],
        Trouble::Drifted => ["Zero has drifted:", "unload, press YES"],
        Trouble::Sensor(Fault::Saturated) => ["Load cell at its end", "unload, look at it"],
        Trouble::Sensor(Fault::Stuck) => ["Load cell is stuck", "look at its cable"],
        Trouble::Sensor(Fault::Gap | Fault::Reversed) => {
            ["Readings missing", "look at the sensors"]
        }
        Trouble::Full => ["Journal full:", "fetch it"],
        Trouble::Flash => ["Flash failed: do not", "go on, it is not kept"],
    };
    page.line(0).text(first);
    page.line(1).text(second);
    if let Trouble::Procedure(at) = trouble {
        page.line(2).text("at byte ").number(at);
    }
    page.line(3).text("YES seen");
}

/// The acts on the two keys, and the stage at which a loosened one begins again: the first two of what is advised that need no
/// name and no reason.
fn offered(session: &Session<&Procedure>) -> ((Option<Act>, Option<Act>), u8) {
    let Some(advice) = session.advice() else {
        return ((None, None), 0);
    };
    let mut acts = advice
        .acts
        .iter()
        .copied()
        .filter(|act| !matches!(act, Act::TypeRunning | Act::Observe | Act::Waive));
    ((acts.next(), acts.next()), advice.from)
}

/// What an act is called on the key YES.
const fn key_words(act: Act) -> &'static str {
    match act {
        Act::Again => "YES again",
        Act::Loosen => "YES loosen",
        Act::TakeOut => "YES take out",
        Act::Replace => "YES new",
        Act::PullOn | Act::TypeRunning | Act::Observe | Act::Waive => "",
    }
}

/// A reason in a line of the display: what the hand should think of first.
const fn named(reason: Reason) -> &'static str {
    match reason {
        Reason::GivingWay => "STRIPPING?",
        Reason::Yielding => "YIELDING?",
        Reason::Overload => "OVERLOADED",
        Reason::NoTurn => "ALREADY TIGHT?",
        Reason::EarlyRise => "CROSSED, BOTTOMED?",
        Reason::NoRise => "TURNS FOR NOTHING?",
        Reason::LateRise => "CROSSED, SOFT PART?",
        Reason::StickSlip => "DIRT ON THE THREAD?",
        Reason::WrongWay => "WRONG WAY ROUND?",
        Reason::TorqueHigh => "TOO MUCH TORQUE",
        Reason::AngleHigh => "TURNED TOO FAR",
        Reason::Stuck => "SENSOR STUCK?",
        Reason::Interrupted => "CUT SHORT",
        Reason::Gap => "READINGS MISSING",
        Reason::Jerk => "PULLED IN A JERK",
        Reason::RunningUnknown => "RUNNING TORQUE?",
        Reason::TorqueLow => "TOO LITTLE TORQUE",
        Reason::AngleLow => "TURNED TOO LITTLE",
        Reason::OutOfOrder => "OUT OF ORDER",
    }
}

/// The stored form of a bolt circle: half the torque, the torque, then the angle if there is one; across, each time.
#[inline(never)]
pub(super) fn circle_form(
    count: u8,
    newton_meters: u16,
    degrees: u16,
    blob: &mut heapless::Vec<u8, 2560>,
) -> bool {
    let mut order = [0; evendraw_core::limits::FASTENERS_MAX];
    let Some(order) = order.get_mut(..usize::from(count)) else {
        return false;
    };
    if cross(order).is_err() {
        return false;
    }
    let tighten = |target: i32| {
        // ±4 %, as plans have it where they say nothing.
        let half = target / 100 * 4;
        Stage::new(StageKind::Tighten {
            window: TorqueWindow {
                target: Torque::from_millinewton_meters(target),
                min: Torque::from_millinewton_meters(target - half),
                max: Torque::from_millinewton_meters(target + half),
            },
            prevailing: Prevailing::None,
        })
    };
    let target = i32::from(newton_meters) * 1_000;
    let angle = i32::from(degrees) * 1_000;
    let turn = Stage::new(StageKind::Turn {
        window: AngleWindow {
            target: Angle::from_millidegrees(angle),
            min: Angle::from_millidegrees(angle - 5_000),
            max: Angle::from_millidegrees(angle + 5_000),
        },
        torque: None,
        one_sweep: false,
    });
    let all = [tighten(target / 2), tighten(target), turn];
    let stages = all.get(..if angle > 0 { 3 } else { 2 }).unwrap_or(&all);
    let mut fasteners = heapless::Vec::<Fastener, { evendraw_core::limits::FASTENERS_MAX }>::new();
    let mut steps = heapless::Vec::<Place, { 3 * evendraw_core::limits::FASTENERS_MAX }>::new();
    for number in 1..=count {
        let digits = [b'0' + number / 10, b'0' + number % 10];
        let label = digits.get(usize::from(number < 10)..).unwrap_or(&digits);
        let fastener = Fastener {
            label: Label::cut(core::str::from_utf8(label).unwrap_or("?")),
            near: [None; 4],
        };
        // As many as the order has.
        let _ = fasteners.push(fastener);
    }
    for stage in 0..u8::try_from(stages.len()).unwrap_or(0) {
        for &fastener in order.iter() {
            let _ = steps.push(Place::on(fastener, stage));
        }
    }
    // The parts are written without making a procedure of them: there is memory for one only.
    let parts = ProcedureParts {
        fasteners: &fasteners,
        stages,
        steps: &steps,
        overrides: &[],
        terms: Terms::default(),
    };
    let _ = blob.resize_default(blob.capacity());
    let length = parts.encode(blob).map(|bytes| bytes.len());
    blob.truncate(length.unwrap_or(0));
    length.is_ok()
}

#[cfg(test)]
mod tests {
    use evendraw_core::procedure::Procedure;

    use evendraw_core::advice::Act;
    use evendraw_core::verdict::Reason;

    use super::{circle_form, key_words, named};
    use crate::display::COLUMNS;

    #[test]
    fn every_reason_and_every_pair_of_keys_fits_its_line() {
        for reason in Reason::ALL {
            assert!(named(reason).len() <= COLUMNS, "{}", named(reason));
        }
        // The pairs that the core's lists begin with.
        for (yes, no) in [
            (Act::Again, Act::Loosen),
            (Act::Again, Act::Replace),
            (Act::Loosen, Act::Again),
            (Act::Loosen, Act::Replace),
            (Act::Replace, Act::Loosen),
            (Act::Replace, Act::Again),
            (Act::TakeOut, Act::Replace),
        ] {
            let line = format!("{}  NO {}", key_words(yes), &key_words(no)[4..]);
            assert!(line.len() <= COLUMNS, "{line}");
        }
    }

    #[test]
    fn the_largest_circle_fits_and_the_order_goes_across() {
        let mut blob = heapless::Vec::new();
        for count in [3, 4, 8, 64] {
            assert!(circle_form(count, 40, 90, &mut blob), "{count}");
            let procedure = Procedure::decode(&blob).unwrap();
            assert_eq!(procedure.steps().len(), usize::from(count) * 3);
        }
        // Four bolts: the second is opposite the first.
        assert!(circle_form(4, 40, 0, &mut blob));
        let procedure = Procedure::decode(&blob).unwrap();
        let order: Vec<_> = procedure.steps()[..4]
            .iter()
            .map(|step| step.fastener().unwrap())
            .collect();
        assert_eq!((order[1] + 4 - order[0]) % 4, 2, "{order:?}");
        assert!(!circle_form(2, 40, 0, &mut blob));
        assert!(!circle_form(65, 40, 0, &mut blob));
    }
}
