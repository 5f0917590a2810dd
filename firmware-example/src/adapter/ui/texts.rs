//! `DISPLAY.md`: every text that the display can show, by stage and verdict, made by the code that shows them.
//!
//! `EVENDRAW_REWRITE=1 cargo test -p evendraw-firmware texts` writes the page anew; look at the difference before it is kept.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use evendraw_core::procedure::{
    AngleWindow, EngineState, Fastener, Hand, Moment, Parts, Policy, Prevailing, Procedure, Reuse,
    Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Added, Attempt, Entry, RULES, Record, Started};
use evendraw_core::sample::{Fault, Sample};
use evendraw_core::session::{Announcement, Input, Refusal, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Instant, Length, Rotation, Span, Torque};
use evendraw_core::verdict::{Aim, Reason, Reasons, Verdict};

use super::shown::{At, Rest, rest_page, work_page};
use crate::adapter::Trouble;
use crate::display::Page;

const fn torque(value: i32) -> Torque {
    Torque::from_millinewton_meters(value)
}

const fn angle(value: i32) -> Angle {
    Angle::from_millidegrees(value)
}

const WINDOW: TorqueWindow = TorqueWindow {
    target: torque(40_000),
    min: torque(38_400),
    max: torque(41_600),
};
const TURN: StageKind = StageKind::Turn {
    window: AngleWindow {
        target: angle(90_000),
        min: angle(85_000),
        max: angle(95_000),
    },
    torque: None,
    one_sweep: false,
};
const TIGHTEN: StageKind = StageKind::Tighten {
    window: WINDOW,
    prevailing: Prevailing::None,
};

/// The stages that are pulled, in the words of a plan.
const PULLED: [(&str, StageKind); 7] = [
    ("tighten", TIGHTEN),
    ("turn", TURN),
    (
        "repeat",
        StageKind::Repeat {
            window: WINDOW,
            still: angle(2_000),
            min: 1,
            max: 3,
        },
    ),
    (
        "hold",
        StageKind::Hold {
            torque: torque(40_000),
            time: Span::from_seconds(60),
            still: angle(2_000),
        },
    ),
    (
        "back off by an angle",
        StageKind::BackOff {
            angle: Some(angle(90_000)),
        },
    ),
    ("back off until free", StageKind::BackOff { angle: None }),
    ("align", StageKind::Align { window: WINDOW }),
];

/// Two fasteners, tightened first where the stage is another; the stage is the last.
fn procedure(kind: StageKind, terms: Terms, labels: [&str; 2]) -> Procedure {
    let before = Stage::new(TIGHTEN);
    let own = Stage {
        on_over: Policy::Ask,
        ..Stage::new(kind)
    };
    let stages = [before, own];
    let joint = matches!(kind, StageKind::Wait { .. });
    let steps = [
        Step::on(0, 0),
        Step::on(1, 0),
        if joint {
            Step::joint(1)
        } else {
            Step::on(0, 1)
        },
        Step::on(1, 1),
    ];
    Procedure::new(&Parts {
        fasteners: &labels.map(|label| Fastener {
            label: Label::cut(label),
            near: [None; 4],
        }),
        stages: &stages,
        steps: if joint { &steps[..3] } else { &steps },
        overrides: &[],
        terms,
    })
    .expect("a sound procedure")
}

const BEGUN: Instant = Instant::from_micros(60_000_000);

fn entry(seq: u32, record: Record) -> Entry {
    Entry {
        joint: 1,
        seq,
        boot: 1,
        at: Instant::from_micros(u64::from(seq) * 1_000),
        record,
    }
}

fn attempt(step: u16, stage: u8, verdict: Verdict, reasons: Reasons) -> Record {
    Attempt {
        step,
        fastener: u8::try_from(step % 2).expect("two"),
        stage,
        attempt: 1,
        pulls: 1,
        verdict,
        reasons,
        peak: torque(40_000),
        final_torque: torque(40_000),
        angle: Some(angle(20_000)),
        prevailing: Added::Nothing,
        restart: None,
        trace: 0,
        took_ms: 900,
    }
    .into()
}

/// A session in which the first stage is done, and whatever else is recorded.
fn session(procedure: &Procedure, more: Vec<Record>) -> Session<&Procedure> {
    let started = Started {
        rules: RULES,
        procedure: procedure.digest(),
        rehearsal: false,
    };
    let done = [0, 1].map(|step| attempt(step, 0, Verdict::Accepted, Reasons::NONE));
    let records = [started.into()].into_iter().chain(done).chain(more);
    let entries: Vec<Entry> = (1..)
        .zip(records)
        .map(|(seq, record)| entry(seq, record))
        .collect();
    let mut session = Session::restore(procedure, 1, &entries).expect("its own records");
    start(&mut session);
    session
}

fn start(session: &mut Session<&Procedure>) {
    let outcome = session.apply(
        BEGUN,
        Input::Start {
            boot: 2,
            rehearsal: false,
        },
    );
    let last = outcome.entries().last().map(|entry| entry.seq);
    if let Some(seq) = last {
        session.apply(BEGUN, Input::Durable { seq });
    }
}

const AT: At = At {
    now: BEGUN,
    trouble: None,
    halt: None,
    told: None,
    length: 120,
};

/// The page, and the rows of the table so far.
struct Table {
    text: String,
    /// Every line that was shown, so that none is cut.
    shown: BTreeSet<String>,
}

impl Table {
    fn head(&mut self, title: &str, about: &str, columns: &str) {
        let _ = writeln!(
            self.text,
            "\n## {title}\n\n{about}\n\n| {columns} | | | | |"
        );
        let rules = "|---".repeat(columns.matches('|').count() + 5);
        let _ = writeln!(self.text, "{rules}|");
    }

    fn row(&mut self, of: &str, page: &Page) {
        let _ = write!(self.text, "| {of} |");
        for row in page.rows() {
            let line: String = row.iter().map(|&byte| char::from(byte)).collect();
            let line = line.trim_end();
            self.shown.insert(line.to_owned());
            let _ = match line {
                "" => write!(self.text, " |"),
                line => write!(self.text, " `{line}` |"),
            };
        }
        self.text.push('\n');
    }
}

/// A pull of this stage under way, at some load.
fn in_a_pull(session: &mut Session<&Procedure>, back: bool) {
    let sign = if back { -1 } else { 1 };
    let top = match session.armed().map(|(_, aim)| aim) {
        Some(Aim::Torque { window }) => window.target.millinewton_meters() / 4 * 3,
        _ => 30_000,
    };
    for tick in 0..200 {
        let at = BEGUN.after(Span::from_millis(u32::try_from(tick).expect("small") * 5));
        let sample = Sample {
            torque: torque(sign * tick * top / 200),
            rotation: Rotation::from_millidegrees(sign * tick * 100),
        };
        session.apply(at, Input::Sample(sample));
    }
    assert!(session.is_in_pull(), "{:?}", session.armed());
}

fn name(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Accepted => "accepted",
        Verdict::Rejected => "rejected",
        Verdict::Unknown => "unknown",
    }
}

fn written() -> Table {
    let mut table = Table {
        text: String::from(HEAD),
        shown: BTreeSet::new(),
    };
    table.head(
        "Before and during a pull",
        "The way, the target and the window; during the pull the target, the window and what is read.",
        "stage | threads | when",
    );
    for (word, kind) in PULLED {
        for hand in [Hand::Right, Hand::Left] {
            let terms = Terms {
                hand,
                ..Terms::default()
            };
            let procedure = procedure(kind, terms, ["1", "2"]);
            let mut session = session(&procedure, Vec::new());
            let of = |when| {
                let hand = if hand == Hand::Right { "right" } else { "left" };
                format!("{word} | {hand} | {when}")
            };
            table.row(&of("before"), &work_page(&session, &AT));
            if hand == Hand::Right {
                in_a_pull(&mut session, matches!(kind, StageKind::BackOff { .. }));
                table.row(&of("during"), &work_page(&session, &AT));
            }
        }
    }
    open_windows(&mut table);
    table.head(
        "Stop",
        "During a pull, as soon as it is seen: let go.",
        "reason",
    );
    let pulled = procedure(TIGHTEN, Terms::default(), ["1", "2"]);
    let mut pulling = session(&pulled, Vec::new());
    in_a_pull(&mut pulling, false);
    for reason in Reason::ALL {
        let at = At {
            halt: Some(reason),
            ..AT
        };
        table.row(reason.word(), &work_page(&pulling, &at));
    }
    verdicts(&mut table);
    others(&mut table);
    table
}

fn open_windows(table: &mut Table) {
    let open = |min, max| StageKind::Tighten {
        window: TorqueWindow { min, max, ..WINDOW },
        prevailing: Prevailing::None,
    };
    for (word, kind, labels) in [
        (
            "tighten, only a least",
            open(WINDOW.min, Torque::MAX),
            ["1", "2"],
        ),
        (
            "tighten, only a most",
            open(Torque::ZERO, WINDOW.max),
            ["1", "2"],
        ),
        ("a long label", TIGHTEN, ["LOWER 10", "2"]),
        (
            "above 100 N·m",
            StageKind::Align {
                window: TorqueWindow {
                    target: torque(120_000),
                    min: torque(115_200),
                    max: torque(124_800),
                },
            },
            ["L10", "2"],
        ),
        (
            "above 1,000 N·m",
            StageKind::Align {
                window: TorqueWindow {
                    target: torque(1_200_000),
                    min: torque(1_152_000),
                    max: torque(1_248_000),
                },
            },
            ["L10", "2"],
        ),
    ] {
        let procedure = procedure(kind, Terms::default(), labels);
        let mut session = session(&procedure, Vec::new());
        table.row(
            &format!("{word} | right | before"),
            &work_page(&session, &AT),
        );
        in_a_pull(&mut session, false);
        table.row(
            &format!("{word} | right | during"),
            &work_page(&session, &AT),
        );
    }
}

/// What a verdict leads to, by stage, verdict and the gravest reason.
fn verdicts(table: &mut Table) {
    table.head(
        "A verdict",
        "For two seconds once it is stored, whatever comes next; the lines above and below say what that is.",
        "verdict | reason",
    );
    let plain = procedure(TIGHTEN, Terms::default(), ["1", "2"]);
    let next = session(&plain, Vec::new());
    for verdict in [Verdict::Accepted, Verdict::Rejected, Verdict::Unknown] {
        for reason in [None].into_iter().chain(Reason::ALL.map(Some)) {
            let only = matches!(reason, None | Some(Reason::OutOfOrder));
            if verdict == Verdict::Accepted && !only
                || verdict != Verdict::Accepted && reason.is_none()
            {
                continue;
            }
            let told = Announcement {
                seq: 3,
                step: 0,
                verdict,
                reasons: reason.map_or(Reasons::NONE, |reason| Reasons::NONE.with(reason)),
            };
            let of = format!("{} | {}", name(verdict), reason.map_or("", Reason::word));
            table.row(
                &of,
                &work_page(
                    &next,
                    &At {
                        told: Some(told),
                        ..AT
                    },
                ),
            );
        }
    }
    table.head(
        "What a verdict leads to",
        "By stage and the gravest reason; the acts that need neither a name nor a reason are on the keys, the others at the desk. Under *spent* a loosened \
         fastener must be a new one.",
        "stage | verdict | reason | fastener",
    );
    for (word, kind) in PULLED {
        for verdict in [Verdict::Rejected, Verdict::Unknown] {
            for reason in Reason::ALL {
                for reuse in [Reuse::Free, Reuse::ReplaceIfLoosened] {
                    let terms = Terms {
                        reuse,
                        ..Terms::default()
                    };
                    let procedure = procedure(kind, terms, ["1", "2"]);
                    let reasons = Reasons::NONE.with(reason);
                    let session = session(&procedure, vec![attempt(2, 1, verdict, reasons)]);
                    let spent = if reuse == Reuse::Free { "" } else { "spent" };
                    let of = format!("{word} | {} | {} | {spent}", name(verdict), reason.word());
                    table.row(&of, &work_page(&session, &AT));
                }
            }
        }
    }
}

/// Everything that is not pulled; faults; and what is shown while no joint is worked.
fn others(table: &mut Table) {
    table.head("Everything else in a joint", "What is waited for.", "when");
    let wait = StageKind::Wait {
        at_least: Span::from_seconds(3_600),
        at_most: Span::from_seconds(7_200),
        after: Moment::StageDone(0),
    };
    let told = StageKind::Wait {
        at_least: Span::from_seconds(3_600),
        at_most: Span::from_seconds(7_200),
        after: Moment::Named(0),
    };
    let later = StageKind::Later {
        window: WINDOW,
        state: EngineState::Any,
    };
    for (word, kind) in [
        (
            "seat",
            StageKind::Seat {
                turns: angle(1_080_000),
            },
        ),
        ("check", StageKind::Check),
        (
            "measure",
            StageKind::Measure {
                min: Length::from_micrometers(50),
                max: Length::from_micrometers(150),
            },
        ),
        ("wait, begun before a restart", wait),
        ("wait for a moment", told),
        ("fit", StageKind::Fit),
        ("retorque, not due yet", later),
    ] {
        let procedure = procedure(kind, Terms::default(), ["1", "2"]);
        table.row(word, &work_page(&session(&procedure, Vec::new()), &AT));
    }
    let procedure_of_wait = procedure(told, Terms::default(), ["1", "2"]);
    let mut waiting = session(&procedure_of_wait, Vec::new());
    let come = waiting.apply(BEGUN, Input::Moment { moment: 0 });
    let seq = come.entries().last().expect("a record").seq;
    waiting.apply(BEGUN, Input::Durable { seq });
    table.row("wait, its moment came", &work_page(&waiting, &AT));
    for (word, terms) in [
        (
            "a person is wanted",
            Terms {
                person_named: true,
                ..Terms::default()
            },
        ),
        (
            "the threads are asked about",
            Terms {
                condition_stated: true,
                ..Terms::default()
            },
        ),
    ] {
        let procedure = procedure(TIGHTEN, terms, ["1", "2"]);
        let mut session = Session::new(&procedure, 1);
        start(&mut session);
        table.row(word, &work_page(&session, &AT));
    }
    asked_and_done(table);
    table.head(
        "Refusals and faults",
        "Until YES is pressed, and never over a pull that is under way.",
        "what",
    );
    for (word, trouble) in [
        ("not now", Trouble::Refused(Refusal::NothingToPull)),
        ("procedure damaged", Trouble::Procedure(812)),
        ("another job", Trouble::Restore),
        ("zero under load", Trouble::Zero),
        ("zero drifted", Trouble::Drifted),
        ("load cell at its end", Trouble::Sensor(Fault::Saturated)),
        ("load cell stuck", Trouble::Sensor(Fault::Stuck)),
        ("readings missing", Trouble::Sensor(Fault::Gap)),
        ("journal full", Trouble::Full),
        ("flash", Trouble::Flash),
        ("supply low", Trouble::Supply),
    ] {
        table.row(word, &rest_page(Rest::Trouble(trouble)));
    }
    table.head(
        "No joint is worked",
        "After a start, and after YES leave.",
        "what",
    );
    let mut circle = super::Circle::new();
    table.row("cautions, once a start", &rest_page(Rest::Cautions));
    table.row("a place", &rest_page(Rest::Place(2)));
    table.row("a bolt circle", &rest_page(Rest::NewCircle));
    for word in ["its bolts", "its torque", "its angle"] {
        table.row(word, &rest_page(Rest::Circle(circle.shown())));
        let _ = circle.pressed(super::Key::Yes);
    }
}

/// What follows a decision, a doubt, a trial, and the end.
fn asked_and_done(table: &mut Table) {
    use evendraw_core::record::{Decided, Decision, Doubt, Noted};
    use evendraw_core::text::Text;

    let rejected = || {
        attempt(
            2,
            1,
            Verdict::Rejected,
            Reasons::NONE.with(Reason::TorqueHigh),
        )
    };
    let decided = |decision| {
        let note = Text::empty();
        Record::from(Decided {
            step: 2,
            decision,
            note,
        })
    };
    for hand in [Hand::Right, Hand::Left] {
        let terms = Terms {
            hand,
            ..Terms::default()
        };
        let procedure = procedure(TIGHTEN, terms, ["1", "2"]);
        let loosened = session(&procedure, vec![rejected(), decided(Decision::Restart(0))]);
        let threads = if hand == Hand::Right { "right" } else { "left" };
        table.row(
            &format!("to be loosened, {threads}-hand threads"),
            &work_page(&loosened, &AT),
        );
    }
    let procedure = procedure(TIGHTEN, Terms::default(), ["1", "2"]);
    let replaced = session(&procedure, vec![rejected(), decided(Decision::Replace)]);
    table.row("to be replaced", &work_page(&replaced, &AT));
    let doubt = Noted {
        fastener: Some(1),
        doubt: Doubt::Raised,
        text: Text::cut("felt wrong"),
    };
    let all = [2, 3].map(|step| attempt(step, 1, Verdict::Accepted, Reasons::NONE));
    let felt = session(
        &procedure,
        all.iter().cloned().chain([doubt.into()]).collect(),
    );
    table.row("one felt wrong", &work_page(&felt, &AT));
    let done = session(&procedure, all.to_vec());
    table.row("all is done", &work_page(&done, &AT));
    let trial = Procedure::new(&Parts {
        fasteners: procedure.fasteners(),
        stages: &[Stage {
            mock_up: true,
            ..Stage::new(TIGHTEN)
        }],
        steps: &[Step::on(0, 0), Step::on(1, 0)],
        overrides: &[],
        terms: Terms::default(),
    })
    .expect("a sound procedure");
    table.row(
        "a trial is over",
        &work_page(&session(&trial, Vec::new()), &AT),
    );
    let mut storing = Session::new(&procedure, 1);
    storing.apply(
        BEGUN,
        Input::Start {
            boot: 1,
            rehearsal: false,
        },
    );
    storing.apply(BEGUN, Input::StoreFailed);
    table.row("a record is not kept yet", &work_page(&storing, &AT));
}

const HEAD: &str = "# What the display says

Four lines of 20 characters, ASCII. Made by the code that shows them (`src/adapter/ui/shown.rs`), and compared with it by a test. The first line names
the fastener and the stage, the second which way to turn and what for, the third the window, then what is read or the gravest reason; the
last what the two keys do: YES what stands first, NO what stands second.
";

#[test]
fn the_page_of_texts_is_what_is_shown() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("DISPLAY.md");
    let table = written();
    // What fills its line to the last letter may have been cut: these are whole.
    let full: Vec<&str> = table
        .shown
        .iter()
        .filter(|line| line.len() == crate::display::COLUMNS)
        .map(String::as_str)
        .collect();
    assert_eq!(
        full,
        [
            "Eyes protected, work",
            "Flash failed: do not",
            "Load cell at its end",
            "PRESSURE OFF, LOOSEN",
            "YES again  NO loosen",
            "YES done,  clockwise",
            "YES done,anticlockw.",
            "YES loosen  NO again",
            "YES take out  NO new",
            "YES zero NO felt off",
            "charge it, then pull",
            "check, see the sheet",
            "clear of it YES seen",
            "to 120.0 115.2-124.8",
        ]
    );
    if std::env::var_os("EVENDRAW_REWRITE").is_some() {
        std::fs::write(&path, &table.text).expect("written");
    }
    let kept = std::fs::read_to_string(&path).expect("DISPLAY.md");
    assert!(
        kept == table.text,
        "DISPLAY.md is not what is shown; EVENDRAW_REWRITE=1 writes it anew"
    );
}
