//! What stands on the display: for the joint being worked, and while there is none.
//!
//! Pure: a page is made of what it is given. Every text it can show stands in `DISPLAY.md`. Knows nothing of keys, flash or link.

use evendraw_core::advice::{Act, Advice};
use evendraw_core::ledger::StepState;
use evendraw_core::procedure::{Hand, Procedure};
use evendraw_core::sample::Fault;
use evendraw_core::session::{Announcement, Next, Session};
use evendraw_core::unit::{Angle, Instant, Torque};
use evendraw_core::verdict::{Aim, Reason, Verdict};

use crate::adapter::{Trouble, page};
use crate::display::{Line, Page};

/// What is written over the rest of a line.
const BLANK: &str = "                    ";

/// What is shown beside the session itself.
#[derive(Clone, Copy, Debug)]
pub(super) struct At {
    pub(super) now: Instant,
    /// A refusal or fault to be seen.
    pub(super) trouble: Option<Trouble>,
    /// Why to stop pulling.
    pub(super) halt: Option<Reason>,
    /// A verdict that is new enough to be told.
    pub(super) told: Option<Announcement>,
    /// Measured length being set, in µm.
    pub(super) length: i32,
}

/// What is shown while no joint is worked.
#[derive(Clone, Copy, Debug)]
pub(super) enum Rest {
    Trouble(Trouble),
    /// The cautions of a start.
    Cautions,
    /// A number of a bolt circle: what is set, and its value.
    Circle((&'static str, u16)),
    /// The procedure at this place is offered.
    Place(u8),
    /// A new bolt circle is offered.
    NewCircle,
}

pub(super) fn rest_page(rest: Rest) -> Page {
    let mut shown = Page::default();
    match rest {
        Rest::Trouble(trouble) => trouble_page(&mut shown, trouble),
        Rest::Cautions => {
            shown = page([
                "Eyes protected, work",
                "held up, no bar on",
                "the handle, hands",
                "clear of it YES seen",
            ]);
        }
        Rest::Circle((what, value)) => {
            shown = page(["New bolt circle", what, "", "YES take   NO more"]);
            shown.line(2).number(u32::from(value));
        }
        Rest::Place(place) => {
            shown = page(["Choose a joint", "Place ", "", "YES this   NO next"]);
            shown.line(1).text("Place ").number(u32::from(place) + 1);
        }
        Rest::NewCircle => {
            shown = page([
                "Choose a joint",
                "New bolt circle",
                "",
                "YES this   NO next",
            ]);
        }
    }
    shown
}

pub(super) fn work_page(session: &Session<&Procedure>, at: &At) -> Page {
    let mut page = Page::default();
    if let Some(trouble) = at.trouble
        && !session.is_in_pull()
    {
        trouble_page(&mut page, trouble);
        return page;
    }
    let next = session.next();
    let advice = session.advice();
    top(page.line(0), session, next, advice.as_ref());
    let gravest = advice.as_ref().and_then(|advice| advice.gravest);
    if session.is_in_pull() {
        match at.halt {
            Some(halt) => {
                page.line(1).text("STOP");
                page.line(2).text(named(halt));
            }
            None => pulled(&mut page, session),
        }
    } else if let Some(told) = at.told {
        page.line(1).text(match told.verdict {
            Verdict::Accepted => "ACCEPTED",
            Verdict::Rejected => "REJECTED",
            Verdict::Unknown => "NOT KNOWN",
        });
        page.line(2).text(told.reasons.gravest().map_or("", named));
    } else {
        wanted(&mut page, session, next, at);
        if let Some(gravest) = gravest {
            // Named for as long as it waits for somebody.
            page.line(2).text(named(gravest)).text(BLANK);
        }
    }
    bottom(page.line(3), session, next, at.halt.is_some());
    page
}

/// Which fastener, or that it is about the joint; and the stage.
fn top(mut line: Line<'_>, session: &Session<&Procedure>, next: Next, advice: Option<&Advice>) {
    let procedure = session.procedure();
    let place = next.step().and_then(|step| procedure.step_at(step));
    let fastener = match next {
        Next::Loosen { fastener } | Next::Replace { fastener } | Next::Settle { fastener } => {
            Some(fastener)
        }
        _ => place.and_then(|place| place.fastener()),
    };
    let pulled_on = advice.is_some_and(|advice| advice.acts.first() == Some(&Act::PullOn));
    match fastener.and_then(|at| procedure.fasteners().get(usize::from(at))) {
        Some(fastener) => line
            .text(if pulled_on { "PULL ON " } else { "NEXT " })
            .text(fastener.label.as_str()),
        None => line.text("JOINT ").number(u32::from(session.joint())),
    };
    if let Some(place) = place {
        let stages = u32::try_from(procedure.stages().len()).unwrap_or(0);
        let stage = u32::from(place.stage()).saturating_add(1);
        // Two numbers of at most two digits, and a stroke; the word where there is room for it.
        let word = if line.left() >= 12 { " stage " } else { " " };
        if line.left() >= 6 {
            line.text(word).number(stage).text("/").number(stages);
        }
    }
}

/// What a pull is for, as numbers of a page.
struct Goal {
    /// The thread is turned back.
    back: bool,
    /// Thousandths of the unit; 0 where it is turned until it is free.
    target: i32,
    /// From the least to the most, both 0 where there is no window.
    min: i32,
    max: i32,
    /// To a torque, or by an angle.
    by_angle: bool,
    /// Seconds that it is held.
    held: Option<u32>,
}

impl Goal {
    fn of(aim: &Aim) -> Self {
        let goal = |target, min, max, by_angle| Self {
            back: false,
            target,
            min,
            max,
            by_angle,
            held: None,
        };
        match *aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => goal(
                window.target.millinewton_meters(),
                window.min.millinewton_meters(),
                window.max.millinewton_meters(),
                false,
            ),
            Aim::Turn { window, .. } => goal(
                window.target.millidegrees(),
                window.min.millidegrees(),
                window.max.millidegrees(),
                true,
            ),
            Aim::Hold { torque, time, .. } => Self {
                held: Some(time.millis() / 1_000),
                ..goal(torque.millinewton_meters(), 0, 0, false)
            },
            Aim::BackOff { angle } => Self {
                back: true,
                ..goal(angle.map_or(0, Angle::millidegrees), 0, 0, true)
            },
        }
    }

    /// The window, an open side left out; or how long.
    fn window(&self, line: &mut Line<'_>) {
        if let Some(seconds) = self.held {
            line.text("hold ").number(seconds).text(" s");
            return;
        }
        if self.min > 0 && self.max < OPEN {
            line.thousandths(self.min).text("-").thousandths(self.max);
        } else if self.min > 0 {
            line.text("min ").thousandths(self.min);
        } else if self.max > 0 {
            line.text("max ").thousandths(self.max);
        }
    }
}

/// A window that has no upper end ends here.
const OPEN: i32 = Torque::MAX.millinewton_meters();

/// What is to be done: the way, the target and the window of a pull; a word for everything else.
fn wanted(page: &mut Page, session: &Session<&Procedure>, next: Next, at: &At) {
    match next {
        Next::Pull { .. } => {
            let Some((_, aim)) = session.armed() else {
                return;
            };
            let goal = Goal::of(&aim);
            let clockwise = (session.procedure().terms().hand == Hand::Right) != goal.back;
            let mut line = page.line(1);
            // The longer word leaves no room for another.
            line.text(match (clockwise, goal.by_angle) {
                (true, _) if goal.target == 0 => "clockwise",
                (true, false) => "clockwise to ",
                (true, true) => "clockwise by ",
                (false, _) => "ANTICLOCKWISE ",
            });
            if goal.target > 0 {
                line.thousandths(goal.target);
            }
            let mut line = page.line(2);
            goal.window(&mut line);
            line.text(match (goal.back, goal.by_angle) {
                (true, _) if goal.target == 0 => "until it is free",
                (true, _) => "deg back",
                (false, true) => " deg",
                (false, false) if goal.held.is_some() => ", N.m",
                (false, false) => " N.m",
            });
        }
        Next::Wait { until, .. } => {
            let left = until.since(at.now).millis() / 1_000;
            page.line(1).text("wait ").number(left).text(" s");
        }
        other => {
            page.line(1).text(match other {
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
            if let Next::Measure { .. } = other {
                let um = at.length.unsigned_abs();
                let mut line = page.line(2);
                line.number(um / 1_000).text(".").number(um / 100 % 10);
                line.number(um / 10 % 10).text(" mm");
            }
        }
    }
}

/// During a pull: the target and its window, and what is read now.
fn pulled(page: &mut Page, session: &Session<&Procedure>) {
    if let Some((_, aim)) = session.armed() {
        let goal = Goal::of(&aim);
        let mut line = page.line(1);
        line.text(match (goal.back, goal.by_angle) {
            (true, _) => "back ",
            (false, true) => "by ",
            (false, false) => "to ",
        });
        if goal.target > 0 {
            line.thousandths(goal.target).text(" ");
        }
        goal.window(&mut line);
    }
    let live = session.live();
    let mut line = page.line(2);
    line.thousandths(live.torque.millinewton_meters())
        .text(" N.m");
    if let Some(angle) = live.angle {
        line.text(" ")
            .thousandths(angle.millidegrees())
            .text(" deg");
    }
}

/// What the keys do.
fn bottom(mut line: Line<'_>, session: &Session<&Procedure>, next: Next, halted: bool) {
    let words = match next {
        Next::Pull { .. } if session.is_in_pull() && halted => "LET GO, YES done",
        Next::Pull { .. } if session.is_in_pull() => "YES done",
        Next::Pull { .. } => "YES zero NO felt off",
        Next::Condition | Next::Answer { .. } => "YES yes    NO no",
        Next::Decide { .. } => {
            let (yes, no) = offered(session).0;
            line.text(yes.map_or("decide at the desk", key_words));
            if let Some(act) = no {
                line.text("  NO ")
                    .text(key_words(act).get(4..).unwrap_or(""));
            }
            ""
        }
        Next::Measure { .. } => "YES take   NO more",
        Next::Nothing => "YES leave",
        // The other way than the thread tightens, which a left-hand thread makes the unusual one.
        Next::Loosen { .. } if session.procedure().terms().hand == Hand::Left => {
            "YES done,  clockwise"
        }
        Next::Loosen { .. } => "YES done,anticlockw.",
        Next::Store | Next::Wait { .. } | Next::Start | Next::Tool => "",
        _ => "YES done",
    };
    line.text(words);
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
        Trouble::Flash => ["Flash failed: do not", "go on, nothing kept"],
        Trouble::Supply => ["Supply is low:", "charge it, then pull"],
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
pub(super) fn offered(session: &Session<&Procedure>) -> ((Option<Act>, Option<Act>), u8) {
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

#[cfg(test)]
mod tests {
    use evendraw_core::advice::Act;
    use evendraw_core::verdict::Reason;

    use super::{key_words, named};
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
}
