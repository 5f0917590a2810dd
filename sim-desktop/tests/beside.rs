//! An evening of tasks, parts and reminders, on every face: the desk, the handover's tag, the sheets, `check`, `record`, `parts`. What one
//! face tells the others tell; nothing is complete while a task, a part or a reminder is open.

#![cfg(feature = "desk")]

use std::ffi::OsString;
use std::path::Path;

use evendraw::desk::model::Model;
use evendraw::desk::tag_text;
use evendraw::job::status::{Kept, Status};
use evendraw::job::{Job, JobError, task_of_reminder};
use evendraw::mark::Mark;
use evendraw::plan::Plan;
use evendraw::plan::progress::TaskStanding;
use evendraw::sheet::{Sheet, blank_page, page, short_page, text};
use evendraw::store::{Became, PartState, Purpose, read};
use evendraw_core::record::{Doubt, Role};
use evendraw_core::session::Input;
use evendraw_core::unit::Instant;

const PLAN: &str = r#"
[build]
title = "Mole crane winch, gearbox side"

[[part]]
name = "lip seal"
number = "W-204"
quantity = 2
on_order = true

[[task]]
id = "drain"
title = "Join the drain hose"
needs = ["hose clip"]

[[task]]
id = "stack"
title = "Stack the shims under the seal plate"
after = ["plate"]
needs = ["lip seal"]
stack = ["shim 0.1", "shim 0.3", "lip seal"]

[[task]]
id = "oil"
title = "Fill with oil"
at = "before start"
ask = "How many litres went in?"

[[joint]]
id = "plate"
title = "Seal plate"
positions = { 1 = [0, 0], 2 = [40, 0] }
closes = ["drain"]

[[joint.stage]]
do = "tighten"
torque = "20 N·m"
"#;

fn plan() -> Plan {
    Plan::parse("winch.toml", PLAN).unwrap_or_else(|errors| panic!("{}", errors.report(false)))
}

fn at(seconds: u64) -> Instant {
    Instant::from_micros(seconds * 1_000_000)
}

/// The plate tightened, told from paper.
fn plate_done(job: &mut Job, second: u64) {
    let name = Input::Person {
        name: "R. Falk",
        role: Role::Operator,
    };
    job.apply(0, at(second), name).unwrap();
    for step in [0, 1] {
        let done = job.apply(0, at(second + 1), Input::Paper { step }).unwrap();
        assert_eq!(done.refusal, None);
    }
}

fn run(line: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let line = std::iter::once("evendraw").chain(line.iter().copied());
    let status = evendraw::command::run(line.map(OsString::from), &mut out, &mut err, false);
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (status, text(out), text(err))
}

/// The same words without line ends and the blanks of columns.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What every face must say, and that all of them say it.
fn every_face_says(journal: &Path, words: &[&str]) -> Status {
    let content = read(journal).unwrap();
    let (name, typed) = content.plan().unwrap();
    let plan = Plan::parse(&name, &typed).unwrap();
    let kept = Kept::of(&plan, &content, None);
    let status = kept.status();
    let sheet = Sheet::of(&kept, "winch", Some(0));
    let (_, check, _) = run(&["check", journal.to_str().unwrap()]);
    for (face, said) in [
        ("page", page(&sheet)),
        ("owner's page", short_page(&sheet)),
        ("text", text(&sheet)),
        ("tag", tag_text(&status)),
        ("check", check),
    ] {
        let said = flat(&said);
        for wanted in words {
            assert!(said.contains(wanted), "{face} lacks `{wanted}`");
        }
    }
    // The owner's sheet, the tag and the desk draw from the same projection.
    let live = Job::open(journal, Purpose::Job).unwrap().status();
    assert_eq!(live.open, status.open);
    assert_eq!(live.tasks, status.tasks);
    assert_eq!(live.parts, status.parts);
    assert_eq!(live.reminders, status.reminders);
    status
}

#[test]
fn an_evening_of_tasks_parts_and_reminders_on_every_face() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut job = Job::create(&journal, plan(), Purpose::Job).unwrap();
    job.set_wall_time(1_790_000_000);

    // The plate would cover the drain: it waits for a task as it would for a joint.
    assert_eq!(job.status().joints[0].mark, Mark::Waiting);
    let error = job.task_done("drain", "", at(1)).unwrap_err();
    assert!(matches!(error, JobError::NobodyNamed), "{error}");
    job.remember_person("R. Falk");
    let error = job.task_done("drian", "", at(1)).unwrap_err();
    assert!(error.to_string().contains("drain, stack, oil"), "{error}");
    job.task_done("drain", "", at(2)).unwrap();
    assert_eq!(job.status().joints[0].mark, Mark::Ready);

    // Something is missing at the stand: one line, and what it holds up.
    let first = job
        .remind(
            "plate",
            "order two M6 clips",
            "Seal plate, fastener 2",
            at(3),
        )
        .unwrap();
    let second = job.remind("", "sweep the pit", "", at(4)).unwrap();
    assert_eq!((first, second), (1, 2));
    plate_done(&mut job, 5);
    let error = job.task_done("stack", "", at(9)).unwrap_err();
    assert!(
        error.to_string().contains("waits for a part: lip seal"),
        "{error}"
    );
    job.part_is(
        "lip seal",
        PartState::Ordered,
        "stores on the mole, for the 4th",
        at(10),
    )
    .unwrap();
    drop(job);
    let status = every_face_says(
        &journal,
        &[
            "order two M6 clips; holds up Seal plate, fastener 2",
            "sweep the pit",
            "stores on the mole, for the 4th",
            "from the bottom up: 1 shim 0.1; 2 shim 0.3; 3 lip seal",
            "2 × lip seal",
            "How many litres went in?",
        ],
    );
    assert!(!status.is_complete());
    assert_eq!(status.joints[0].mark, Mark::Final);
    let open: Vec<String> = status.open.iter().map(|item| item.line()).collect();
    assert_eq!(open.len(), 4, "two tasks, two reminders: {open:?}");

    // The seal comes, and is the wrong one; then the right one.
    let mut job = Job::open(&journal, Purpose::Job).unwrap();
    job.set_wall_time(1_790_010_000);
    job.remember_person("M. Odum");
    job.part_is("lip seal", PartState::Wrong, "8 mm too wide", at(1))
        .unwrap();
    assert!(job.status().to_order().any(|part| part.name == "lip seal"));
    job.part_is("lip seal", PartState::Here, "", at(2)).unwrap();
    job.task_done("stack", "", at(3)).unwrap();

    // One reminder is a part, the other is settled; the part holds the build open by itself.
    job.put_away(1, Became::Part, "M6 clip", at(4)).unwrap();
    job.put_away(2, Became::Ticked, "", at(5)).unwrap();
    let error = job.put_away(2, Became::Ticked, "", at(5)).unwrap_err();
    assert!(error.to_string().contains("no open reminder 2"), "{error}");
    drop(job);
    let status = every_face_says(&journal, &["M6 clip", "to order"]);
    assert!(
        status
            .open
            .iter()
            .any(|item| item.what.contains("part to order: M6 clip"))
    );
    let (done, table, _) = run(&["parts", journal.to_str().unwrap(), "--order", "--csv"]);
    assert_eq!(done, 0);
    assert_eq!(
        table.lines().next(),
        Some("part,number,quantity,state,for,said")
    );
    assert_eq!(table.lines().count(), 2, "{table}");
    assert!(table.contains("M6 clip,,1,to order,Seal plate,"), "{table}");

    // Done from the terminal; `before start` comes last, and its answer is kept.
    let path = journal.to_str().unwrap();
    let (status, _, err) = run(&["say", path, "task", "oil", "--name", "M. Odum"]);
    assert_eq!(status, 2);
    assert!(err.contains("How many litres went in?"), "{err}");
    let said = ["--said", "1.4 litres", "--name", "M. Odum"];
    let (status, _, err) = run(&[&["say", path, "task", "oil"][..], &said].concat());
    assert_eq!((status, err.as_str()), (0, ""));
    let (status, _, _) = run(&["check", path]);
    assert_eq!(status, 1, "the clip is still open");
    let (status, _, err) = run(&["say", path, "part", "M6 clip", "fitted"]);
    assert_eq!((status, err.as_str()), (0, ""));
    // The tag tells what is open, and nothing is.
    let status = every_face_says(&journal, &[]);
    assert_eq!(
        status.tasks[2].done.split(", ").next(),
        Some("1.4 litres; M. Odum")
    );
    assert!(status.is_complete(), "{:?}", status.open);
    assert!(
        status
            .parts
            .iter()
            .all(|part| part.state == PartState::Fitted),
        "what was at hand is in its place once all that it is for is done"
    );
    let (status, out, _) = run(&["check", path]);
    assert_eq!(status, 0, "{out}");

    // The plate comes apart: what lay under the seal is to be done again, and with it the oil? No: that belongs to nothing.
    let mut job = Job::open(&journal, Purpose::Job).unwrap();
    job.remember_person("M. Odum");
    let loosened = Input::Loosened {
        fastener: 1,
        elsewhere: false,
        cause: "seal leaks",
    };
    job.apply(0, at(1), loosened).unwrap();
    let beside = job.beside();
    assert_eq!(beside.task("stack").0, TaskStanding::Undone);
    assert_eq!(beside.task("oil").0, TaskStanding::Done);
    assert_eq!(beside.task("drain").0, TaskStanding::Done);
    drop(job);
    let status = every_face_says(
        &journal,
        &["Seal plate, fastener 2, was loosened after it was finished"],
    );
    assert!(!status.is_complete());
}

#[test]
fn a_reminder_becomes_a_task_that_holds_the_build_open() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut job = Job::create(&journal, plan(), Purpose::Job).unwrap();
    let number = job.remind("plate", "paint the edge", "", at(1)).unwrap();
    job.put_away(number, Became::Task, "", at(2)).unwrap();
    let id = task_of_reminder(number);
    let task = |job: &Job| {
        let tasks = job.status().tasks;
        tasks.into_iter().find(|task| task.id == id).unwrap()
    };
    assert_eq!(
        (task(&job).title.as_str(), task(&job).word),
        ("paint the edge", "ready")
    );
    assert!(
        job.status()
            .open
            .iter()
            .any(|item| item.what.contains("paint the edge"))
    );
    job.remember_person("R. Falk");
    job.task_done(&id, "", at(3)).unwrap();
    assert_eq!(task(&job).word, "done");
    assert!(
        !job.status()
            .open
            .iter()
            .any(|item| item.what.contains("paint the edge"))
    );
    job.task_undone(&id, "the wrong grey", at(4)).unwrap();
    assert_eq!(task(&job).word, "undone");
}

/// Whatever is said too long, about nothing, or of nobody is told, and nothing is kept.
#[test]
fn what_cannot_be_kept_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let mut job = Job::create(&journal, plan(), Purpose::Job).unwrap();
    let before = job.facts().len();
    let long = "x".repeat(201);
    for (error, wanted) in [
        (
            job.remind("", "  ", "", at(1)).unwrap_err(),
            "say what is to be remembered",
        ),
        (job.remind("", &long, "", at(1)).unwrap_err(), "at most 200"),
        (
            job.remind("lid", "a", "", at(1)).unwrap_err(),
            "there is no task `lid`",
        ),
        (
            job.part_is("glue", PartState::Here, "", at(1)).unwrap_err(),
            "no joint or task needs a part `glue`",
        ),
        (
            job.put_away(7, Became::Ticked, "", at(1)).unwrap_err(),
            "no open reminder 7",
        ),
        (
            job.task_undone("oil", "leaks", at(1)).unwrap_err(),
            "who works",
        ),
    ] {
        assert!(error.to_string().contains(wanted), "{error}");
    }
    assert_eq!(job.facts().len(), before);
}

/// At the desk the same list, the same words.
#[test]
fn the_desk_shows_what_the_journal_says() {
    let folder = tempfile::tempdir().unwrap();
    let mut model = Model::in_folder("winch.toml", PLAN, folder.path());
    model.go_on();
    model.carry_out(evendraw::desk::view::Ask::Remind(
        String::new(),
        String::new(),
        "order two M6 clips".to_owned(),
    ));
    model.carry_out(evendraw::desk::view::Ask::TaskDone(
        "drain".to_owned(),
        String::new(),
    ));
    model.tick(0.1);
    let status = &model.view().status;
    assert!(
        status
            .open_reminders()
            .any(|own| own.text == "order two M6 clips")
    );
    assert!(status.tasks[0].is_done());
    let sheet = Sheet {
        status: status.clone(),
        ..Sheet::default()
    };
    assert!(blank_page(&sheet).contains("Stack the shims"));
}

const COVER: &str = r#"
[build]
title = "Mole crane winch, brake side"

[[part]]
name = "gasket"
number = "W-311"

[[joint]]
id = "cover"
title = "Brake cover"
positions = { 1 = [0, 0], 2 = [40, 0] }
needs = ["gasket", "shim"]

[[joint.stage]]
do = "tighten"
torque = "12 N·m"
"#;

/// What lies under a cover is there whatever is doubted of its bolts, until none of them holds.
#[test]
fn a_part_is_fitted_until_what_holds_it_comes_apart_or_it_is_told_otherwise() {
    let folder = tempfile::tempdir().unwrap();
    let journal = folder.path().join("winch.evj");
    let plan = Plan::parse("winch.toml", COVER).unwrap();
    let mut job = Job::create(&journal, plan, Purpose::Job).unwrap();
    let states = |job: &Job| {
        let parts = job.status().parts;
        parts.iter().map(|part| part.state).collect::<Vec<_>>()
    };
    // Of the gasket nobody says anything; the shim is laid in and said to be.
    job.part_is("shim", PartState::Fitted, "", at(1)).unwrap();
    assert_eq!(states(&job), [PartState::Needed, PartState::Fitted]);
    plate_done(&mut job, 2);
    assert_eq!(states(&job), [PartState::Fitted, PartState::Fitted]);

    // One felt wrong: the joint is doubtful, the gasket is where it was, and nobody orders another.
    let wrong = Input::Note {
        fastener: Some(0),
        doubt: Doubt::Raised,
        text: "felt wrong",
    };
    let refusal = job.apply(0, at(5), wrong).unwrap().refusal;
    assert_eq!(refusal, None);
    assert_eq!(job.status().joints[0].mark, Mark::Doubtful);
    assert_eq!(states(&job), [PartState::Fitted, PartState::Fitted]);
    let (_, order, _) = run(&["parts", journal.to_str().unwrap(), "--order"]);
    assert!(!order.contains("gasket"), "{order}");

    // One is loose, the other holds them; then neither does.
    for (second, fastener, state) in [(6, 0, PartState::Fitted), (7, 1, PartState::Here)] {
        let loosened = Input::Loosened {
            fastener,
            elsewhere: false,
            cause: "felt wrong",
        };
        job.apply(0, at(second), loosened).unwrap();
        assert_eq!(states(&job), [state, state], "{second}");
    }
    let shim = job.status().parts[1].line();
    assert!(
        shim.contains("was fitted; Brake cover came apart"),
        "{shim}"
    );

    // Told otherwise, it is otherwise; put together again, they are in once more.
    job.part_is("gasket", PartState::Wrong, "torn", at(8))
        .unwrap();
    assert_eq!(states(&job)[0], PartState::Wrong);
    job.part_is("gasket", PartState::Here, "", at(9)).unwrap();
    plate_done(&mut job, 10);
    assert_eq!(states(&job), [PartState::Fitted, PartState::Fitted]);
    // Opened anew from the disk it is the same.
    drop(job);
    let job = Job::open(&journal, Purpose::Job).unwrap();
    assert_eq!(states(&job), [PartState::Fitted, PartState::Fitted]);
}
