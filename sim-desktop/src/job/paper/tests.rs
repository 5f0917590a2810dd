use evendraw_core::record::{Record, Role, Way};
use evendraw_core::session::{Input, Readout};
use evendraw_core::unit::{Instant, Torque};
use jiff::civil::{Date, date};

use super::*;
use crate::mark::Mark;
use crate::plan::Plan;
use crate::store::Purpose;

const PLAN: &str = r#"
[build]
title = "Strainer, harbour pump 7"

[[tool]]
id = "D1"
kind = "display"
capacity = "100 N·m"
step = "0.1 N·m"
due = 2026-03-01

[[tool]]
id = "W1"
kind = "click"
capacity = "100 N·m"
step = "1 N·m"

[[joint]]
id = "lid"
title = "Lid"
condition = "oiled"
positions = { 1 = [0, 0], 2 = [40, 0], 3 = [80, 0] }

[[joint.stage]]
do = "tighten"
torque = "40 N·m"
within = "±5 %"

[[joint.stage]]
do = "check"
ask = "Does the strainer turn freely?"

[[joint.stage]]
do = "measure"
ask = "gap under the lid"
length = "0.10..0.30 mm"
"#;

const TODAY: Date = date(2026, 5, 4);

/// A working sheet filled in, two tools and two people.
const SHEET: &str = "\
joint;fastener;stage;way;value;tool;name;date
lid;;threads;;yes;;R. Falk;2026-02-20
lid;1;1;display;40,2;D1;R. Falk;2026-02-20
lid;2;1;setting;40;W1;M. Ahlers;2026-02-21
lid;3;1;ticked;;;M. Ahlers;2026-02-21
lid;;2;;yes;;M. Ahlers;2026-02-21
lid;;3;;0.25 mm;;M. Ahlers;2026-02-21
";

fn job() -> Job {
    let plan = Plan::parse("strainer.toml", PLAN)
        .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
    Job::unkept(plan, Purpose::Job)
}

fn rows(text: &str) -> Vec<Row> {
    read_table(text).unwrap_or_else(|error| panic!("{error}"))
}

fn records(job: &Job) -> Vec<Record> {
    let facts = job.facts().iter();
    let entries = facts.filter_map(|fact| match fact {
        Fact::Entry(entry) => Some(entry.record.clone()),
        Fact::Host(_) => None,
    });
    entries.collect()
}

fn faults(job: &mut Job, text: &str) -> Vec<String> {
    let before = job.facts().len();
    let result = job.type_back(&rows(text), TODAY);
    assert_eq!(job.facts().len(), before, "nothing is recorded");
    match result {
        Err(PaperError::Faults(faults)) => faults.iter().map(Fault::to_string).collect(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_sheet_typed_back_is_what_the_same_inputs_one_by_one_are() {
    let mut typed = job();
    let done = typed.type_back(&rows(SHEET), TODAY).expect("it is sound");
    assert_eq!((done.recorded, done.known), (6, 0));
    let mut one_by_one = job();
    let mut tell = |input: Input<'_>| {
        let done = one_by_one.apply(0, Instant::BOOT, input).expect("a joint");
        assert_eq!((done.refusal, done.held), (None, vec![]), "{input:?}");
    };
    let role = Role::Operator;
    let torque = |value| Torque::from_millinewton_meters(value);
    tell(Input::Tick);
    tell(Input::Person {
        name: "R. Falk",
        role,
    });
    tell(Input::Condition {
        found: "oiled",
        matches: true,
    });
    tell(Input::Tool {
        id: "D1",
        waiver: "",
    });
    let readout = Readout {
        way: Way::Display,
        torque: Some(torque(40_200)),
        angle: None,
        moved: false,
        stated: "0.1 N·m",
    };
    tell(Input::Read {
        step: 0,
        readout: &readout,
    });
    tell(Input::Person {
        name: "M. Ahlers",
        role,
    });
    tell(Input::Tool {
        id: "W1",
        waiver: "",
    });
    tell(Input::BySetting {
        step: 1,
        setting: torque(40_000),
        stands_for: torque(40_000),
        moved: false,
    });
    tell(Input::Paper { step: 2 });
    tell(Input::Answer {
        step: 3,
        yes: true,
        note: "",
    });
    let length = crate::quantity::Quantity::<crate::quantity::LengthUnit>::parse("0.25 mm");
    tell(Input::Measure {
        step: 4,
        length: length.expect("a length").length(),
    });
    assert_eq!(records(&typed), records(&one_by_one));
}

#[test]
fn a_sheet_given_twice_is_recorded_once_and_more_of_it_goes_on_behind() {
    let mut job = job();
    let half: String = SHEET
        .lines()
        .take(3)
        .flat_map(|line| [line, "\n"])
        .collect();
    let done = job.type_back(&rows(&half), TODAY).expect("it is sound");
    assert_eq!((done.recorded, done.known), (2, 0));
    let done = job.type_back(&rows(SHEET), TODAY).expect("it is sound");
    assert_eq!((done.recorded, done.known), (4, 2));
    let before = job.facts().len();
    let done = job.type_back(&rows(SHEET), TODAY).expect("it is sound");
    assert_eq!((done.recorded, done.known), (0, 6));
    assert_eq!(job.facts().len(), before);
}

#[test]
fn one_wrong_cell_and_nothing_is_recorded() {
    for (from, to, why) in [
        (
            "lid;1;1",
            "lit;1;1",
            "line 3, column `joint`: there is no joint `lit`; allowed are lid",
        ),
        (
            "lid;1;1",
            "lid;9;1",
            "line 3, column `fastener`: joint lid has no fastener `9`; allowed are 1, 2, 3",
        ),
        (
            "lid;1;1",
            "lid;1;4",
            "line 3, column `stage`: there is no stage `4` here; allowed are 1 to 3, threads, running, marked, looked at",
        ),
        (
            "lid;1;1",
            "lid;;1",
            "line 3, column `fastener`: stage 1 is done fastener by fastener: which one?",
        ),
        (
            "display;",
            "felt;",
            "line 3, column `way`: `felt` is no way; allowed are display, eye, gauge, mark, setting, hand, ticked",
        ),
        (
            "display;",
            "eye;",
            "line 3, column `way`: `eye` is not what tool D1 tells here; allowed are display, hand, ticked",
        ),
        (
            "40,2;D1",
            "402;D1",
            "line 3, column `value`: 402.0 N·m is above the 100 N·m that tool D1 can show; yes in the column `sure` if that is so",
        ),
        (
            "40,2;D1",
            "40,2;D9",
            "line 3, column `tool`: the plan has no tool `D9`; allowed are D1, W1",
        ),
        (
            "yes;;M. Ahlers",
            "perhaps;;M. Ahlers",
            "line 6, column `value`: `perhaps` is no answer; allowed are yes and no",
        ),
        (
            "2026-02-20\nlid;1",
            "20.2.\nlid;1",
            "line 2, column `date`: `20.2.` is no day; allowed is 2026-05-04",
        ),
        (
            "2026-02-20\nlid;1",
            "2026-09-20\nlid;1",
            "line 2, column `date`: 2026-09-20 is still to come; today is 2026-05-04",
        ),
        // On the day that stands on the paper it had run out.
        (
            "R. Falk;2026-02-20\nlid;2",
            "R. Falk;2026-03-20\nlid;2",
            "line 3, column `tool`: the calibration of tool D1 ran out on 2026-03-01: take another, or give a reason",
        ),
    ] {
        let text = SHEET.replacen(from, to, 1);
        assert_ne!(text, SHEET, "{from}");
        assert_eq!(faults(&mut job(), &text), [why]);
    }
}

#[test]
fn what_is_recorded_already_is_not_recorded_over() {
    let mut job = job();
    job.type_back(&rows(SHEET), TODAY).expect("it is sound");
    let text = SHEET.replace("40,2", "40,4");
    let why = "line 3, column `stage`: it is recorded already, and not as this row has it; what was recorded wrong is put right first, then typed";
    assert_eq!(faults(&mut job, &text), [why]);
}

/// Sealant that has to skin, between two passes; and a clock that begins at a moment somebody names.
#[test]
fn a_sheet_with_waits_is_typed_back_whole() {
    let waits = PLAN.replace(
        "[[joint.stage]]\ndo = \"check\"",
        "[[joint.stage]]\ndo = \"wait\"\nat_least = \"30 min\"\n\n\
         [[joint.stage]]\ndo = \"wait\"\nat_least = \"2 min\"\nat_most = \"10 min\"\nafter = \"sealant opened\"\n\n\
         [[joint.stage]]\ndo = \"check\"",
    );
    let sheet = "\
joint;fastener;stage;way;value;tool;name;date
lid;;threads;;yes;;R. Falk;2026-02-20
lid;1;1;display;40,2;D1;R. Falk;2026-02-20
lid;2;1;display;40;D1;R. Falk;2026-02-20
lid;3;1;display;39,9;D1;R. Falk;2026-02-20
lid;;2;;yes;;R. Falk;2026-02-20
lid;;3;;no;;R. Falk;2026-02-20
";
    let plan = Plan::parse("strainer.toml", &waits)
        .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
    let mut job = Job::unkept(plan, Purpose::Job);
    let done = job.type_back(&rows(sheet), TODAY).expect("it is sound");
    assert_eq!((done.recorded, done.known), (6, 0));
    let answers: Vec<bool> = records(&job)
        .into_iter()
        .filter_map(|record| match record {
            Record::Answered(own) => Some(own.yes),
            _ => None,
        })
        .collect();
    assert_eq!(answers, [true, false]);
    // A time that was not kept is a person's to decide about, as at the desk.
    let next = job.session(0).map(evendraw_core::session::Session::next);
    assert!(
        matches!(next, Some(evendraw_core::session::Next::Decide { .. })),
        "{next:?}"
    );
}

#[test]
fn a_value_outside_its_window_is_recorded_as_not_accepted() {
    let mut job = job();
    let text: String = SHEET
        .lines()
        .take(3)
        .flat_map(|line| [line, "\n"])
        .collect();
    let done = job.type_back(&rows(&text.replace("40,2", "43,1")), TODAY);
    assert_eq!(done.expect("it is sound").rejected, [3]);
    let status = job.status();
    assert_eq!(
        status.joints[0].fasteners[0].cells[0].mark,
        Some(Mark::Rejected)
    );
}

#[test]
fn every_face_says_that_it_was_typed_later_and_from_the_paper_of_which_day() {
    let mut job = job();
    job.type_back(&rows(SHEET), TODAY).expect("it is sound");
    let status = job.status();
    let cell = &status.joints[0].fasteners[0].cells[0];
    assert_eq!(
        cell.behind(),
        "read from the display, tool D1, typed later, paper of 2026-02-20"
    );
    let model = crate::sheet::Sheet::of(&job.kept(), "lid.evj", Some(0));
    for sheet in [crate::sheet::page(&model), crate::sheet::text(&model)] {
        assert!(
            sheet.contains("typed later, paper of 2026-02-20"),
            "{sheet}"
        );
        assert!(
            sheet.contains("typed later, paper of 2026-02-21"),
            "{sheet}"
        );
    }
    let names = job.names();
    let rows = crate::job::status::rows(job.facts(), false, &names, Some(job.plan()));
    let reading = rows.iter().find(|row| row.attempt > 0).expect("a reading");
    assert!(
        reading.words.ends_with("typed later, paper of 2026-02-20"),
        "{}",
        reading.words
    );
    // What is done at the metal afterwards comes from no paper.
    let fastener = None;
    let note = Input::Note {
        fastener,
        doubt: evendraw_core::record::Doubt::None,
        text: "it hums",
    };
    job.apply(0, Instant::BOOT, note).expect("a joint");
    let rows = crate::job::status::rows(job.facts(), false, &names, Some(job.plan()));
    let last = rows.last().expect("a row");
    assert!(!last.words.contains("paper"), "{}", last.words);
}

#[test]
fn the_table_to_fill_has_a_row_for_whatever_is_open_and_reads_as_it_was_written() {
    let mut job = job();
    let open = blank(&job);
    let places: Vec<(&str, &str)> = open
        .iter()
        .map(|row| (row.cell(Column::Fastener), row.cell(Column::Stage)))
        .collect();
    let all = [
        ("", "threads"),
        ("1", "1"),
        ("2", "1"),
        ("3", "1"),
        ("", "2"),
        ("", "3"),
    ];
    assert_eq!(places, all);
    let table = write_table(&open);
    assert_eq!(rows(&table), open);
    // Nothing is filled in: nothing is recorded.
    let done = job.type_back(&open, TODAY).expect("it is sound");
    assert_eq!(done, TypedBack::default());
    job.type_back(&rows(SHEET), TODAY).expect("it is sound");
    assert_eq!(blank(&job), []);
}

#[test]
fn a_table_says_what_it_may_be() {
    for (text, why) in [
        ("", "line 1: it is empty"),
        ("joint,stage\n", "line 1: column `value` is missing"),
        (
            "joint,stage,value,torque\n",
            "line 1: `torque` is no column",
        ),
        (
            "stage,value,stage\n",
            "line 1: column `stage` is named twice",
        ),
        (
            "stage,value\n1,48,2\n",
            "line 2: 3 cells, and the first line names 2 columns",
        ),
    ] {
        let error = read_table(text).expect_err(text).to_string();
        assert!(error.starts_with(why), "{error}");
    }
}

/// What table programs write: quotes, a byte order mark, their own ends of lines, tabs. [RFC 4180 for the quotes]
#[test]
fn a_table_is_read_as_any_table_program_writes_it() {
    let wanted = [
        Row::new(2)
            .with(Column::Stage, "1")
            .with(Column::Value, "48,2"),
        Row::new(4)
            .with(Column::Stage, "2")
            .with(Column::Value, "a \"good\" one\nand more"),
    ];
    for text in [
        "stage,value\n1,\"48,2\"\n\n2,\"a \"\"good\"\" one\nand more\"\n",
        "\u{feff}stage;value\r\n1;48,2\r\n\r\n2;\"a \"\"good\"\" one\nand more\"",
        "Stage\tValue\n1\t48,2\n\n2\t\"a \"\"good\"\" one\nand more\"\n",
    ] {
        assert_eq!(rows(text), wanted, "{text}");
    }
}
