//! The demo's cylinder head, ten bolts by two torques and two angles, worked whole by lines: at the desk and in a terminal.
//!
//! Noise and bad lines all the while; once the instrument falls silent under load, once its plug is pulled out under load. Whatever
//! is advised then is done on the metal. Some four minutes of real time each, and so left out without `--ignored`:
//!
//! ```sh
//! cargo test --workspace --test lines head -- --ignored --nocapture --test-threads=1
//! ```

use std::io::Write as _;
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant as Clock};

use evendraw::desk::view::{Act, Ask, Cue as Shown};
use evendraw::plan::{DEMO, Plan};
use evendraw_core::record::Attempt;
use evendraw_core::tracker::Cue;
use evendraw_core::verdict::{Reason, Verdict};
use serde_json::Value;

use crate::desk::Desk;
use crate::instrument::{Instrument, Print, Pull};
use crate::terminal::{Run, Verdicted, setting, verdict};
use crate::{alone, attempts, reach};

/// The demo's head on a plan of its own, and an instrument that prints its readings.
fn plan() -> String {
    let (build, _) = DEMO.split_once("[[part]]").expect("the demo has parts");
    let mut parts = DEMO
        .split("# -----")
        .filter_map(|part| part.split_once('\n'));
    let head = parts.find(|(title, _)| title.ends_with("- the head"));
    let (_, head) = head.expect("the demo has a head");
    let others = ["demo ", "after ", "closes ", "needs ", "shares "];
    let own = |text: &str| -> String {
        let lines = text.lines();
        let kept = lines.filter(|line| !others.iter().any(|other| line.starts_with(other)));
        kept.map(|line| format!("{line}\n")).collect()
    };
    format!(
        "{}\n[[tool]]\nid = \"S1\"\nkind = \"stream\"\ntitle = \"in-line sensor\"\ncapacity = \"200 N·m\"\n{}",
        own(build),
        own(head)
    )
}

/// What goes wrong with the instrument, each once, at the first load after so many verdicts.
#[derive(Debug, Default)]
struct Troubles {
    stalled: bool,
    unplugged: bool,
}

impl Troubles {
    const STALL_AFTER: usize = 4;
    const UNPLUG_AFTER: usize = 14;

    fn happen(&mut self, instrument: &Instrument, verdicts: usize) {
        if !self.stalled && verdicts >= Self::STALL_AFTER && instrument.is_loaded(8.0) {
            self.stalled = true;
            instrument.stall(Duration::from_millis(1_500));
        }
        if !self.unplugged && verdicts >= Self::UNPLUG_AFTER && instrument.is_loaded(8.0) {
            self.unplugged = true;
            instrument.unplug();
            std::thread::sleep(Duration::from_millis(500));
            instrument.plug();
        }
    }
}

/// Every stage of every bolt is accepted in the end, what was lost is known to be lost, and nothing else went wrong.
fn is_whole(kept: &[Attempt], troubles: &Troubles) {
    assert!(troubles.stalled && troubles.unplugged, "{troubles:?}");
    let not_accepted: Vec<_> = kept
        .iter()
        .filter(|own| own.verdict != Verdict::Accepted)
        .map(|own| (own.fastener, own.stage, own.verdict, own.reasons))
        .collect();
    assert!(
        (1..=2).contains(&not_accepted.len()),
        "one was lost to silence, one to the plug unless it was let go of before: {not_accepted:?}"
    );
    let lost = [Reason::Gap, Reason::Interrupted];
    assert!(
        not_accepted
            .iter()
            .all(|(.., verdict, reasons)| *verdict == Verdict::Unknown
                && lost.iter().any(|reason| reasons.contains(*reason))),
        "{not_accepted:?}"
    );
    for fastener in 0..10 {
        for stage in 1..=4 {
            let last = kept
                .iter()
                .rev()
                .find(|own| (own.fastener, own.stage) == (fastener, stage));
            let verdict = last.map(|own| own.verdict);
            assert_eq!(verdict, Some(Verdict::Accepted), "{fastener}, {stage}");
        }
    }
}

/// What is under way: the pull, the verdicts before it, and since when the hand is off it.
struct UnderWay {
    pull: Pull,
    before: usize,
    off_since: Clock,
}

impl UnderWay {
    fn begin(instrument: &Instrument, pull: Pull, before: usize) -> Self {
        instrument.pull(&pull);
        Self {
            pull,
            before,
            off_since: Clock::now(),
        }
    }

    /// Pulled on where the hand let go short of it, unless it was told to stop; false once there is a verdict.
    fn goes_on(&mut self, instrument: &Instrument, verdicts: usize, is_halted: bool) -> bool {
        if instrument.is_busy() || is_halted && verdicts == self.before {
            self.off_since = Clock::now();
        } else if verdicts > self.before {
            return false;
        } else if self.off_since.elapsed() > Duration::from_millis(900) {
            self.pull.spins = false;
            instrument.pull(&self.pull);
            self.off_since = Clock::now();
        }
        true
    }
}

fn at_the_desk(rate: u32) {
    let mut desk = Desk::new(&plan(), "S1", rate, Print::Trace);
    let (mut troubles, began) = (Troubles::default(), Clock::now());
    let mut under_way: Option<UnderWay> = None;
    while !desk.model.is_joint_final() {
        let joint = desk.joint();
        assert!(
            began.elapsed() < Duration::from_mins(10),
            "{:?}, {:?}",
            joint.prompt,
            joint.live.cue_words
        );
        desk.tick();
        std::thread::sleep(Duration::from_millis(5));
        let verdicts = attempts(&desk.journal).len();
        troubles.happen(&desk.instrument, verdicts);
        let is_halted = desk.joint().live.cue == Shown::Halt;
        let is_under_way = under_way
            .as_mut()
            .is_some_and(|own| own.goes_on(&desk.instrument, verdicts, is_halted));
        if is_under_way {
            continue;
        }
        under_way = None;
        if let Some(asked) = desk.joint().prompt.clone() {
            let advised = asked.choices.first().expect("a way out").act.clone();
            match &advised {
                Act::Replace(_, fastener) | Act::Fitted(fastener) => {
                    desk.instrument.replace(*fastener);
                }
                Act::Restart(_, fastener) | Act::Loosened(fastener) => {
                    desk.instrument.loosen(*fastener);
                }
                _ => {}
            }
            desk.model.carry_out(Ask::Act(advised, String::new()));
        } else if Desk::is_ready(desk.model.view()) {
            let pull = reach(&desk.journal, &desk.plan).expect("something to pull");
            under_way = Some(UnderWay::begin(&desk.instrument, pull, verdicts));
        }
    }
    let kept = attempts(&desk.journal);
    is_whole(&kept, &troubles);
    println!(
        "desk, {rate} lines a second: {} attempts in {:.0} s",
        kept.len(),
        began.elapsed().as_secs_f64()
    );
}

/// The answer to a question, after what it asks for is done on the metal: what is advised, which stands first.
fn answer(said: &Value, plan: &Plan, instrument: &Instrument) -> String {
    let allowed = said["allowed"].as_str().unwrap_or_default();
    let advised = allowed.split([',', ' ']).next().unwrap_or_default();
    let words = said["words"].as_str().unwrap_or_default();
    let named = words.split("astener ").nth(1).unwrap_or_default();
    let named = named.split(|sign: char| !sign.is_alphanumeric()).next();
    let joint = plan.joints().first().expect("a joint");
    let fastener = (0..10).find(|&own| Some(joint.label(own)) == named);
    match (said["key"].as_str(), advised, fastener) {
        (Some("person"), ..) => return "R. Falk".to_owned(),
        (Some("fitted"), _, Some(fastener)) | (_, "replaced", Some(fastener)) => {
            instrument.replace(fastener);
        }
        (Some("loosened"), _, Some(fastener)) | (_, "loosened", Some(fastener)) => {
            instrument.loosen(fastener);
        }
        _ => {}
    }
    advised.to_owned()
}

fn in_a_terminal(rate: u32) {
    let _alone = alone();
    let (folder, plan, instrument, journal) = setting(&plan(), rate, Print::Trace);
    let mut run = Run::start(folder.path(), &["--lines", instrument.port()]);
    let mut typed = run.child.stdin.take().expect("a pipe");
    let (mut troubles, began) = (Troubles::default(), Clock::now());
    let (mut is_heard, mut is_next, mut is_halted) = (false, false, false);
    let mut under_way: Option<UnderWay> = None;
    let mut announced: Vec<Verdicted> = Vec::new();
    loop {
        assert!(began.elapsed() < Duration::from_mins(10), "{announced:?}");
        match run.said.recv_timeout(Duration::from_millis(5)) {
            Ok(said) => match said["record"].as_str() {
                Some("instrument") => is_heard = said["state"] == "heard",
                Some("next") => is_next = true,
                Some("question") => {
                    let line = answer(&said, &plan, &instrument);
                    writeln!(typed, "{line}").expect("it listens");
                }
                Some("cue") => {
                    is_halted = said["cue"] == "halt";
                    let cue = match said["cue"].as_str() {
                        Some("approach") => Cue::Approach,
                        Some("target" | "over") => Cue::Target,
                        _ => Cue::None,
                    };
                    instrument.hear(cue, is_halted);
                }
                Some("attempt") => announced.push(verdict(&said)),
                _ => {}
            },
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        troubles.happen(&instrument, announced.len());
        let is_under_way = under_way
            .as_mut()
            .is_some_and(|own| own.goes_on(&instrument, announced.len(), is_halted));
        if is_under_way {
            continue;
        }
        under_way = None;
        if is_heard
            && is_next
            && let Some(pull) = reach(&journal, &plan)
        {
            is_next = false;
            under_way = Some(UnderWay::begin(&instrument, pull, announced.len()));
        }
    }
    assert_eq!(run.status(), Some(0), "{announced:?}");
    let kept = attempts(&journal);
    assert_eq!(announced.len(), kept.len(), "what was told is what is kept");
    is_whole(&kept, &troubles);
    println!(
        "terminal, {rate} lines a second: {} attempts in {:.0} s",
        kept.len(),
        began.elapsed().as_secs_f64()
    );
}

#[test]
#[ignore = "minutes of real time"]
fn the_demos_head_at_the_desk_at_a_thousand_lines_a_second() {
    at_the_desk(1_000);
}

#[test]
#[ignore = "minutes of real time"]
fn the_demos_head_at_the_desk_at_a_hundred_lines_a_second() {
    at_the_desk(100);
}

#[test]
#[ignore = "minutes of real time"]
fn the_demos_head_in_a_terminal_at_a_thousand_lines_a_second() {
    in_a_terminal(1_000);
}

#[test]
#[ignore = "minutes of real time"]
fn the_demos_head_in_a_terminal_at_a_hundred_lines_a_second() {
    in_a_terminal(100);
}
