//! A plan that changes while the work goes on: what is final stays final to the revision it was done to, what differs is said on every
//! face until somebody settles it, a joint in progress goes on, and a change that was cut off is written to its end.
//!
//! Our judgement throughout; no source.

#![cfg(feature = "desk")]

use std::ffi::OsString;
use std::path::Path;

use evendraw::desk::tag_text;
use evendraw::job::revision::Revisions;
use evendraw::job::status::{Kept, Status};
use evendraw::job::{Job, JobError};
use evendraw::mark::Mark;
use evendraw::plan::Plan;
use evendraw::sheet::{Sheet, page, short_page, text};
use evendraw::store::{PartState, Purpose, entries_of, read};
use evendraw_core::record::{Decision, Role};
use evendraw_core::session::{Input, Next};
use evendraw_core::unit::Instant;

/// A seal housing of three screws and a clamp that shares one of them.
const PLAN: &str = r#"
[build]
title = "Sluice winch 4, seal side"
revision = 1

[[joint]]
id = "housing"
title = "Seal housing"
positions = { a = [0, 0], b = [40, 0], c = [20, 30] }

[[joint.stage]]
do = "tighten"
torque = "20 N·m"

[[joint.stage]]
do = "tighten"
torque = "45 N·m"

[[joint]]
id = "clamp"
title = "Hose clamp"
positions = { 1 = [0, 0], 2 = [30, 0] }
shares = { 1 = "housing/c" }

[[joint.stage]]
do = "tighten"
torque = "8 N·m"
"#;

const HOUSING: u8 = 0;
const CLAMP: u8 = 1;

fn parse(text: &str) -> Plan {
    Plan::parse("winch.toml", text).unwrap_or_else(|errors| panic!("{}", errors.report(false)))
}

/// The plan's second revision, with these words changed.
fn second(changes: &[(&str, &str)]) -> String {
    let mut text = PLAN.replace(
        "revision = 1",
        "revision = 2\nreason = \"manual corrected\"",
    );
    for (old, new) in changes {
        assert!(text.contains(old), "{old}");
        text = text.replacen(old, new, 1);
    }
    text
}

fn at(seconds: u64) -> Instant {
    Instant::from_micros(seconds * 1_000_000)
}

/// A build at work, told from paper.
struct Work {
    job: Job,
    second: u64,
}

impl Work {
    fn begin(path: &Path) -> Self {
        Self::of(Job::create(path, parse(PLAN), Purpose::Job).unwrap())
    }

    fn open(path: &Path) -> Self {
        Self::of(Job::open(path, Purpose::Job).unwrap())
    }

    const fn of(job: Job) -> Self {
        Self { job, second: 1 }
    }

    fn say(&mut self, joint: u8, input: Input<'_>) {
        self.second += 5;
        let done = self.job.apply(joint, at(self.second), input).unwrap();
        assert_eq!((done.refusal, &done.held[..]), (None, &[][..]), "{input:?}");
    }

    fn done(&mut self, joint: u8, steps: impl IntoIterator<Item = u16>) {
        self.say(
            joint,
            Input::Person {
                name: "R. Falk",
                role: Role::Operator,
            },
        );
        for step in steps {
            self.say(joint, Input::Paper { step });
        }
    }

    fn next(&self, joint: u8) -> Next {
        self.job.session(joint).unwrap().next()
    }

    fn status(&self) -> Status {
        self.job.status()
    }

    /// The cells of a joint: label and marks by stage.
    fn cells(&self, joint: u8) -> Vec<(String, Vec<Mark>)> {
        let status = self.status();
        let fasteners = status.joints[usize::from(joint)].fasteners.iter();
        fasteners
            .map(|own| {
                let marks = own.cells.iter().filter_map(|cell| cell.mark);
                (own.label.clone(), marks.collect())
            })
            .collect()
    }
}

fn run(line: &[&str]) -> (u8, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let line = std::iter::once("evendraw").chain(line.iter().copied());
    let status = evendraw::command::run(line.map(OsString::from), &mut out, &mut err, false);
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (status, format!("{}{}", text(out), text(err)))
}

/// The same words without line ends and the blanks of columns.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Every face says these words of the journal.
fn every_face_says(journal: &Path, words: &str) {
    let content = read(journal).unwrap();
    let (name, typed) = content.plan().unwrap();
    let plan = Plan::parse(&name, &typed).unwrap();
    let kept = Kept::of(&plan, &content, None);
    let status = kept.status();
    let sheet = Sheet::of(&kept, "winch", Some(0));
    let (_, check) = run(&["check", journal.to_str().unwrap()]);
    for (face, said) in [
        ("page", page(&sheet)),
        ("owner's page", short_page(&sheet)),
        ("text", text(&sheet)),
        ("tag", tag_text(&status)),
        ("check", check),
    ] {
        assert!(
            flat(&said).contains(words),
            "{face} does not say {words}:\n{said}"
        );
    }
}

#[test]
fn what_is_final_stays_final_to_the_revision_it_was_done_to() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut work = Work::begin(&journal);
    work.done(HOUSING, 0..6);
    work.done(CLAMP, 0..2);
    assert!(work.status().is_complete());
    let new = second(&[("45 N·m", "60 N·m")]);
    work.job.change_plan(parse(&new)).unwrap();
    let status = work.status();
    assert!(!status.is_complete());
    // The clamp did not change, and stays as it was.
    assert_eq!(status.joints[1].mark, Mark::Final);
    let differs = &status.joints[0].differs[..];
    let [own] = differs else {
        panic!("{differs:?}")
    };
    assert_eq!(
        (own.stage, own.is_all, own.revision, own.now),
        (Some(2), true, 1, 2)
    );
    let words = "done to revision 1, now differs: 45 → 60 N·m";
    every_face_says(&journal, words);
    let (exit, json) = run(&["check", journal.to_str().unwrap(), "--json"]);
    assert_eq!(exit, 1);
    assert!(
        json.contains(
            r#"{"record":"differs","joint":"housing","fastener":"b","stage":2,"done_to_revision":1,"revision":2,"was":"45 N·m","now":"60 N·m","settled":false,"said":""}"#
        ),
        "{json}"
    );
    // It is the same after a restart.
    drop(work);
    let mut work = Work::open(&journal);
    assert_eq!(work.status().joints[0].differs, status.joints[0].differs);
    // One is left as it is, with name and reason; the others are done again.
    work.done(HOUSING, []);
    work.say(
        HOUSING,
        Input::Decide {
            step: 3,
            decision: Decision::Waive,
            note: "M. Odum: 45 holds here",
        },
    );
    for (fastener, step) in [(1, 4), (2, 5)] {
        work.say(
            HOUSING,
            Input::Decide {
                step,
                decision: Decision::Restart(1),
                note: "",
            },
        );
        work.say(
            HOUSING,
            Input::Loosened {
                fastener,
                elsewhere: false,
                cause: "revision 2",
            },
        );
        work.say(HOUSING, Input::Paper { step });
    }
    every_face_says(
        &journal,
        "fastener a done to revision 1, now differs: 45 → 60 N·m; left as it is: M. Odum: 45 holds here",
    );
    let status = work.status();
    assert_eq!(status.joints[0].mark, Mark::Final, "{:?}", status.open);
    // The shared one was taken off: the clamp is to be done again.
    assert!(
        status
            .open
            .iter()
            .all(|item| item.place.starts_with("clamp")),
        "{:?}",
        status.open
    );
}

#[test]
fn a_joint_in_progress_goes_on_and_only_what_changed_is_done_again() {
    let folder = tempfile::tempdir().unwrap();
    let mut work = Work::begin(&folder.path().join("winch.evj"));
    work.done(HOUSING, 0..4);
    let before = work.job.facts().len();
    let new = second(&[("45 N·m", "60 N·m")]);
    work.job.change_plan(parse(&new)).unwrap();
    use Mark::{Disturbed, Open, Unmeasured};
    let marks = |work: &Work| -> Vec<Vec<Mark>> {
        work.cells(HOUSING)
            .into_iter()
            .map(|(_, marks)| marks)
            .collect()
    };
    assert_eq!(
        marks(&work),
        [
            [Unmeasured, Disturbed],
            [Unmeasured, Open],
            [Unmeasured, Open]
        ]
    );
    // Nothing of what stood before was touched.
    assert!(work.job.facts().len() > before);
    work.done(HOUSING, []);
    assert_eq!(work.next(HOUSING), Next::Loosen { fastener: 0 });
    work.say(
        HOUSING,
        Input::Loosened {
            fastener: 0,
            elsewhere: false,
            cause: "revision 2",
        },
    );
    work.done(HOUSING, 3..6);
    assert_eq!(work.status().joints[0].mark, Mark::Final);
    assert!(work.status().joints[0].differs.is_empty());
}

/// A shim that a correction adds under what is tight already is in no place yet, and the build is not whole without it.
#[test]
fn a_part_that_a_revision_adds_to_what_was_worked_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut work = Work::begin(&journal);
    work.done(HOUSING, 0..6);
    work.done(CLAMP, 0..2);
    assert!(work.status().open.is_empty(), "{:?}", work.status().open);
    let needs = "id = \"housing\"\nneeds = [\"shim\"]";
    work.job
        .change_plan(parse(&second(&[("id = \"housing\"", needs)])))
        .unwrap();
    let asks = |status: &Status| {
        let mut open = status.open.iter();
        open.any(|item| {
            item.what
                .starts_with("shim came into the plan after this was worked")
        })
    };
    let state = |status: &Status| status.parts.first().map(|part| part.state);
    let status = work.status();
    assert_eq!(status.joints[0].mark, Mark::Final);
    assert_eq!(state(&status), Some(PartState::Needed));
    assert!(asks(&status), "{:?}", status.open);
    every_face_says(&journal, "shim came into the plan after this was worked");
    // One screw out and in again brings no shim under the housing; all of them do, once they are tight again.
    for fastener in 0..3 {
        let cause = "the shim";
        let elsewhere = false;
        work.say(
            HOUSING,
            Input::Loosened {
                fastener,
                elsewhere,
                cause,
            },
        );
        assert_eq!(asks(&work.status()), fastener < 2, "{fastener}");
    }
    work.done(HOUSING, 0..6);
    let status = work.status();
    assert_eq!(
        state(&status),
        Some(PartState::Fitted),
        "{:?}",
        status.parts
    );
    drop(work);
    // A person's word does as well.
    let other = folder.path().join("other.evj");
    let mut work = Work::begin(&other);
    work.done(HOUSING, 0..6);
    work.job
        .change_plan(parse(&second(&[("id = \"housing\"", needs)])))
        .unwrap();
    assert!(asks(&work.status()));
    work.job
        .part_is("shim", PartState::Fitted, "it was in already", at(900))
        .unwrap();
    assert!(!asks(&work.status()));
}

#[test]
fn fasteners_come_and_go_and_keep_their_names_in_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut work = Work::begin(&journal);
    work.done(HOUSING, 0..4);
    // The second is no more, and there is a new one in front.
    let new = second(&[("a = [0, 0], b = [40, 0],", "n = [0, 30], a = [0, 0],")]);
    work.job.change_plan(parse(&new)).unwrap();
    let (_, record) = run(&["record", journal.to_str().unwrap()]);
    assert!(record.contains("fastener b, stage 1"), "{record}");
    assert!(record.contains("fastener a, stage 2"), "{record}");
    use Mark::{Open, Unmeasured};
    let named = |label: &str, marks: [Mark; 2]| (label.to_owned(), marks.to_vec());
    assert_eq!(
        work.cells(HOUSING),
        [
            named("n", [Open, Open]),
            named("a", [Unmeasured, Unmeasured]),
            named("c", [Unmeasured, Open]),
        ]
    );
    // A stage put in behind, and the plan taken up again as it is now.
    drop(work);
    let work = Work::open(&journal);
    assert_eq!(work.job.plan().text(), new);
    assert_eq!(work.cells(HOUSING)[1], named("a", [Unmeasured, Unmeasured]));
}

#[test]
fn what_was_taken_back_stands_in_the_way_of_no_revision_and_is_compared_with_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut work = Work::begin(&journal);
    work.done(HOUSING, 0..2);
    let kept = work.job.sound(HOUSING).last().map(|entry| entry.seq);
    let of = kept.expect("a step told from paper");
    work.say(
        HOUSING,
        Input::Withdraw {
            of,
            reason: "not this one",
        },
    );
    let all: Vec<u32> = entries_of(work.job.facts(), HOUSING)
        .map(|entry| entry.seq)
        .collect();
    let new = second(&[("torque = \"45 N·m\"", "torque = \"60 N·m\"")]);
    work.job.change_plan(parse(&new)).unwrap();

    let content = read(&journal).unwrap();
    let plan = parse(&new);
    let joint = &plan.joints()[usize::from(HOUSING)];
    let compared = Revisions::of(&content.facts).comparable(&content.facts, joint);
    assert!(compared.iter().any(|entry| entry.seq == all[0]));
    assert!(
        compared.iter().all(|entry| entry.seq != of),
        "{compared:#?}"
    );
    drop(work);
    // Taken up again the step is open still: withdrawn is withdrawn under any revision.
    let mut work = Work::open(&journal);
    work.done(HOUSING, []);
    assert_eq!(work.next(HOUSING), Next::Pull { step: 1 });
}

#[test]
fn a_stage_put_in_and_one_taken_out_are_said() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut work = Work::begin(&journal);
    work.done(HOUSING, 0..6);
    // Behind the last one: it is to be done, and nothing else changed.
    let turn = "[[joint.stage]]\ndo = \"turn\"\nangle = \"30°\"\n";
    let behind = format!("torque = \"45 N·m\"\n\n{turn}");
    let new = second(&[("torque = \"45 N·m\"\n", &behind)]);
    work.job.change_plan(parse(&new)).unwrap();
    let open = work.status().open;
    assert!(
        open.iter()
            .any(|item| item.what.contains("not done: turn on by 30°")),
        "{open:?}"
    );
    assert!(work.status().joints[0].differs.is_empty());
    // In between: what came after it was done without it.
    let mut between = Work::begin(&folder.path().join("between.evj"));
    between.done(HOUSING, 0..6);
    let first = format!("torque = \"20 N·m\"\n\n{turn}");
    let new = second(&[("torque = \"20 N·m\"\n", &first)]);
    between.job.change_plan(parse(&new)).unwrap();
    every_face_says(
        &folder.path().join("between.evj"),
        "done to revision 1, now differs: put in:",
    );
    let mut other = Work::begin(&folder.path().join("other.evj"));
    other.done(HOUSING, 0..6);
    let new = second(&[(
        "[[joint.stage]]\ndo = \"tighten\"\ntorque = \"45 N·m\"\n",
        "",
    )]);
    other.job.change_plan(parse(&new)).unwrap();
    every_face_says(
        &folder.path().join("other.evj"),
        "done to revision 1, now differs: taken out:",
    );
}

#[test]
fn what_cannot_be_carried_says_why_and_nothing_changes() {
    let folder = tempfile::tempdir().unwrap();
    let mut work = Work::begin(&folder.path().join("winch.evj"));
    work.done(CLAMP, [0]);
    let facts = work.job.facts().len();
    // Another joint in front of one that was begun, and one that was begun is gone.
    let in_front = PLAN.replacen(
        "[[joint]]",
        "[[joint]]\nid = \"foot\"\npositions = { 1 = [0, 0] }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"9 N·m\"\n\n[[joint]]",
        1,
    );
    let gone = PLAN
        .split("[[joint]]\nid = \"clamp\"")
        .next()
        .unwrap()
        .to_owned();
    for text in [in_front, gone] {
        let error = work.job.change_plan(parse(&text)).unwrap_err();
        assert!(
            matches!(&error, JobError::Moved { joint, place: 2 } if joint == "clamp"),
            "{error}"
        );
    }
    assert_eq!(
        (work.job.facts().len(), work.job.plan().text()),
        (facts, PLAN)
    );
    // A joint behind those, and one that nobody touched, may change as they like.
    let behind = format!(
        "{PLAN}\n[[joint]]\nid = \"foot\"\npositions = {{ 1 = [0, 0] }}\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"9 N·m\"\n"
    );
    let behind = behind.replacen("45 N·m", "60 N·m", 1);
    work.job.change_plan(parse(&behind)).unwrap();
    assert!(
        work.status()
            .joints
            .iter()
            .all(|joint| joint.differs.is_empty())
    );
}

#[test]
fn an_adapter_goes_on_as_it_was_sent_until_it_is_taken_back() {
    let folder = tempfile::tempdir().unwrap();
    let plan = PLAN.replace("shares = { 1 = \"housing/c\" }\n", "");
    let journal = folder.path().join("winch.evj");
    let mut work = Work::of(Job::create(&journal, parse(&plan), Purpose::Job).unwrap());
    // What the adapter records, made as it would.
    let mut other =
        Work::of(Job::create(&folder.path().join("a.evj"), parse(&plan), Purpose::Job).unwrap());
    other.done(HOUSING, 0..4);
    let entries: Vec<_> = other.job.sound(HOUSING).into_iter().cloned().collect();
    work.job.leave_to_adapter(HOUSING, "K-7").unwrap();
    work.job.take_over(HOUSING, &entries).unwrap();
    let new = plan
        .replace("45 N·m", "60 N·m")
        .replace("revision = 1", "revision = 2");
    let error = work.job.change_plan(parse(&new)).unwrap_err();
    assert!(error.to_string().contains("adapter K-7 has it"), "{error}");
    work.job.take_back(HOUSING).unwrap();
    work.job.change_plan(parse(&new)).unwrap();
    work.done(HOUSING, []);
    assert_eq!(work.next(HOUSING), Next::Loosen { fastener: 0 });
}

#[test]
fn a_change_cut_off_anywhere_is_written_to_its_end() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut work = Work::begin(&journal);
    work.done(HOUSING, 0..6);
    work.done(CLAMP, 0..2);
    let before = std::fs::metadata(&journal).unwrap().len();
    let new = second(&[("45 N·m", "60 N·m"), ("8 N·m", "9 N·m")]);
    work.job.change_plan(parse(&new)).unwrap();
    let status = work.status();
    drop(work);
    let whole = std::fs::read(&journal).unwrap();
    let (mut as_before, mut as_after) = (0, 0);
    for cut in (usize::try_from(before).unwrap()..=whole.len()).step_by(3) {
        let path = folder.path().join(format!("cut-{cut}.evj"));
        std::fs::write(&path, &whole[..cut]).unwrap();
        // Where the text of the plan itself is cut, the plan before it holds.
        let job =
            Job::open(&path, Purpose::Job).unwrap_or_else(|error| panic!("cut at {cut}: {error}"));
        if job.plan().text() == PLAN {
            as_before += 1;
            assert!(job.status().is_complete(), "cut at {cut}");
            // The change can be made again, and is there when the journal is opened again.
            if as_before % 50 == 1 {
                let mut job = job;
                job.change_plan(parse(&new)).unwrap();
                drop(job);
                let again = Job::open(&path, Purpose::Job).unwrap();
                assert_eq!(again.status().joints[0].differs, status.joints[0].differs);
            }
            continue;
        }
        as_after += 1;
        for (own, wanted) in job.status().joints.iter().zip(&status.joints) {
            assert_eq!(
                (own.mark, &own.differs),
                (wanted.mark, &wanted.differs),
                "cut at {cut}"
            );
        }
        // And what was written then opens again.
        drop(job);
        let again = Job::open(&path, Purpose::Job).unwrap();
        assert_eq!(again.status().joints[0].differs, status.joints[0].differs);
    }
    assert!(as_before > 0 && as_after > 50, "{as_before} {as_after}");
}

#[test]
fn two_plans_are_compared_and_a_build_goes_on_from_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut work = Work::begin(&journal);
    work.done(HOUSING, 0..6);
    drop(work);
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let new = second(&[
        ("45 N·m", "60 N·m"),
        ("2 = [30, 0]", "2 = [30, 0], 3 = [60, 0]"),
    ]);
    let new = format!("{new}\n[[task]]\nid = \"drain\"\n");
    let (one, two) = (file("one.toml", PLAN), file("two.toml", &new));
    // Spelling and comments are no difference.
    let respelled = PLAN
        .replace("[build]", "# typed again\n[build]")
        .replace("id = \"clamp\"\n", "id   = 'clamp'\n");
    let (exit, said) = run(&["plan", "diff", &one, &file("again.toml", &respelled)]);
    assert_eq!((exit, said.as_str()), (0, "no difference\n"));
    let (exit, said) = run(&["plan", "diff", journal.to_str().unwrap(), &two]);
    assert_eq!(exit, 0);
    assert_eq!(
        said.lines().collect::<Vec<_>>(),
        [
            "build, revision: 1 → 2",
            "build, reason is new: manual corrected",
            "task drain is new",
            "joint housing, stage 2: 45 → 60 N·m",
            "joint clamp, order: 1 2 → 1 2 3",
            "joint clamp: fastener 3 is new",
        ]
    );
    let (_, json) = run(&["plan", "diff", &one, &two, "--json"]);
    assert!(
        json.contains(
            r#""of":"joint","id":"housing","what":"stage 2","old":"45 N·m","new":"60 N·m""#
        ),
        "{json}"
    );
    // Tried first, and nothing is written; then done.
    let before = std::fs::read(&journal).unwrap();
    let path = journal.to_str().unwrap();
    let (exit, said) = run(&["plan", "revise", path, &two, "--dry-run"]);
    assert_eq!(exit, 0, "{said}");
    let words = "Seal housing: done to revision 1, now differs: 45 → 60 N·m; to be done again, or left on a name and a reason";
    assert!(flat(&said).contains(words), "{said}");
    assert_eq!(std::fs::read(&journal).unwrap(), before);
    let (exit, said) = run(&["plan", "revise", path, &two]);
    assert_eq!(exit, 0, "{said}");
    assert!(flat(&said).contains(words), "{said}");
    every_face_says(&journal, "done to revision 1, now differs: 45 → 60 N·m");
    // A change without a number of its own is not taken.
    let (exit, said) = run(&[
        "plan",
        "revise",
        path,
        &file("three.toml", &new.replace("60 N·m", "70 N·m")),
    ]);
    assert_eq!(exit, 2);
    assert!(said.contains("`revision = 3`"), "{said}");
}
