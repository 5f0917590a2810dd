//! A build worked from a manual in lbf·ft, on every face: the manual's unit stands first wherever a person reads a torque, N·m behind it;
//! what was typed later or withdrawn is said to be; comma and point are the same wherever a number is typed.
//!
//! The plan is invented.

use std::path::{Path, PathBuf};
use std::process::Output;

use evendraw::desk::model::Model;
use evendraw::desk::tag_text;
use evendraw::desk::view::Ask;
use evendraw::job::Job;
use evendraw::store::Purpose;
use evendraw_core::session::Input;
use evendraw_core::unit::Instant;
use evendraw_tests::binary::{run, run_typed};

const PLAN: &str = r#"
[build]
title = "Bilge pump 3, covers"

[[tool]]
id = "D1"
kind = "display"
capacity = "150 lbf·ft"
lowest = "10 lbf·ft"
step = "0.1 lbf·ft"
accuracy = "2 %"

[[tool]]
id = "W1"
kind = "click"
capacity = "100 lbf·ft"
lowest = "10 lbf·ft"
step = "1 lbf·ft"

[[joint]]
id = "cover"
title = "Cover"
positions = { 1 = [0, 0], 2 = [60, 0], 3 = [60, 60], 4 = [0, 60] }
reuse = "free"

[[joint.stage]]
do = "tighten"
torque = "15 lbf·ft"
within = "±4 %"

[[joint.stage]]
do = "tighten"
torque = "33 lbf·ft"
within = "±4 %"

[[joint.stage]]
do = "turn"
angle = "60°"
within = "±5°"
torque = "40..90 lbf·ft"

[[joint.stage]]
do = "measure"
ask = "gap under the cover"
length = "0.10..0.30 mm"

[[joint]]
id = "lug"
title = "Lifting lug"
after = ["cover"]
positions = { 1 = [0, 0], 2 = [40, 0] }

[[joint.stage]]
do = "tighten"
torque = "210 lbf·ft"
"#;

/// The first pass by setting; of the second one too high, one as it should be.
const SHEET: &str = "\
joint,fastener,stage,way,value,tool,name,date
cover,1,1,setting,15,W1,R. Falk,2026-02-20
cover,2,1,setting,15,W1,R. Falk,2026-02-20
cover,3,1,display,\"15,1\",D1,R. Falk,2026-02-20
cover,4,1,ticked,,,R. Falk,2026-02-20
cover,1,2,display,33.2 lbf·ft,D1,R. Falk,2026-02-21
";

fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("evendraw-faces-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("bilge.toml"), PLAN).expect("the plan");
    std::fs::write(folder.join("evening.csv"), SHEET).expect("the sheet");
    folder
}

fn work(folder: &Path, typed: &str) -> Output {
    let line = [
        "work",
        "bilge.toml",
        "--read",
        "--joint",
        "cover",
        "--tool",
        "D1",
    ];
    let more = ["--answer", "person=M. Ahlers"];
    run_typed(folder, line.iter().chain(&more), typed)
}

fn said(output: &Output) -> String {
    let out = String::from_utf8_lossy(&output.stdout);
    format!("{out}\n{}", String::from_utf8_lossy(&output.stderr))
}

fn good(output: &Output) -> String {
    assert_ne!(output.status.code(), Some(2), "{}", said(output));
    said(output)
}

/// What stands on a page, without its marks; what stands in one cell stays together.
fn words_of(page: &str) -> String {
    let mut words = String::new();
    let mut is_mark = false;
    // Styles are no words.
    let page = match (page.find("<style>"), page.find("</style>")) {
        (Some(from), Some(to)) => format!("{}{}", &page[..from], &page[to..]),
        _ => page.to_owned(),
    };
    for letter in page.chars() {
        match letter {
            '<' => {
                is_mark = true;
                words.push(' ');
            }
            '>' => is_mark = false,
            letter if !is_mark => words.push(letter),
            _ => {}
        }
    }
    words
}

/// Every N·m has the plan's unit just before it.
fn manual_first(face: &str, text: &str) {
    let text: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let mut seen = 0;
    for (at, _) in text.match_indices("N·m") {
        let before: String = {
            let all: Vec<char> = text[..at].chars().collect();
            all[all.len().saturating_sub(48)..].iter().collect()
        };
        assert!(
            before.contains("lbf·ft"),
            "{face}: N·m without the manual's unit: …{before}N·m"
        );
        seen += 1;
    }
    assert!(
        seen > 0 || !text.contains("lbf·ft") || face.contains("alone"),
        "{face} has no N·m beside its lbf·ft: {text}"
    );
}

#[test]
fn every_face_has_the_manuals_unit_first() {
    let folder = folder("unit");
    let check = good(&run(&folder, ["check", "bilge.toml"]));
    manual_first("check", &check);
    // The tenth line of the scale is ten of them, whatever they are in N·m: 15 lbf·ft is 20.34 N·m [NIST SP 811, B.8].
    let wanted = "cover stage 1, 15 lbf·ft: D1, to show 15.00 lbf·ft (20.34 N·m), reads 10 lbf·ft to 150 lbf·ft";
    assert!(check.contains(wanted), "{check}");
    assert!(
        check.contains("or W1, set to 15.00 lbf·ft (20.34 N·m)"),
        "{check}"
    );
    manual_first(
        "tonight",
        &good(&run(&folder, ["tonight", "bilge.toml", "--no-time"])),
    );
    manual_first(
        "table alone",
        &good(&run(&folder, ["paper", "bilge.toml", "--blank"])),
    );
    let typed = good(&run(&folder, ["paper", "bilge.toml", "evening.csv"]));
    assert!(typed.contains("5 rows recorded"), "{typed}");
    // One beyond every limit, asked once more, then rejected.
    let at_work = good(&work(&folder, "33,4\n60\n60\n"));
    manual_first("work", &at_work);
    assert!(at_work.contains("33.40 lbf·ft"), "{at_work}");
    let journal = "bilge.evj";
    for line in [
        &["check", journal][..],
        &["record", journal],
        &["sheet", journal],
        &["sheet", journal, "--short"],
        &["sheet", journal, "--text"],
        &["sheet", "--blank", "--plan", "bilge.toml"],
        &["tonight", journal, "--no-time"],
    ] {
        let text = good(&run(&folder, line));
        manual_first(&line.join(" "), &words_of(&text));
    }
    let setting = [
        "setting",
        "--torque",
        "33 lbf·ft",
        "--lever",
        "300 mm",
        "--offset",
        "25 mm",
        "--plan",
        "bilge.toml",
    ];
    manual_first("setting", &good(&run(&folder, setting)));

    // The desk: whatever it has to draw.
    let mut model = Model::in_folder("bilge.toml", PLAN, &folder);
    model.begin(Purpose::Job);
    model.carry_out(Ask::OpenJoint("cover".to_owned()));
    model.carry_out(Ask::Tonight);
    model.carry_out(Ask::Paper);
    model.tick(0.1);
    let view = model.view();
    // What is of this build; the editor's beginnings of other plans are in their own units.
    let build = (&view.status, &view.build, &view.joint, &view.record);
    let view = format!("{build:?}{:?}{:?}", view.tonight, view.paper);
    // Of a gauge what stands beside the window is drawn behind it.
    let view = view.replace("beside: \"(", "beside: \"lbf·ft (");
    assert!(view.contains("33.20 lbf·ft (45.01 N·m)"), "{view}");
    let texts: Vec<&str> = view.split('"').skip(1).step_by(2).collect();
    for text in texts {
        if text.contains("N·m") && !text.contains("\\n") {
            manual_first(&format!("desk alone: {text}"), text);
        }
    }
    manual_first("tag", &tag_text(&model.view().status));
    let _ = std::fs::remove_dir_all(&folder);
}

#[test]
fn what_was_withdrawn_stays_struck_through_with_its_reason() {
    let folder = folder("struck");
    good(&run(&folder, ["paper", "bilge.toml", "evening.csv"]));
    let path = folder.join("bilge.evj");
    let mut job = Job::open(&path, Purpose::Job).expect("the journal");
    let fastener = Some(2);
    let note = Input::Note {
        fastener,
        doubt: evendraw_core::record::Doubt::Raised,
        text: "it creaked",
    };
    let done = job.apply(0, Instant::BOOT, note).expect("the joint");
    let of = done.entries.last().expect("a record").seq;
    let reason = "M. Ahlers: of another fastener";
    let done = job.apply(0, Instant::BOOT, Input::Withdraw { of, reason });
    assert_eq!(done.expect("the joint").refusal, None);
    drop(job);
    let page = good(&run(&folder, ["sheet", "bilge.evj"]));
    let struck = page.split("<s>").nth(1).expect("a line struck through");
    assert!(struck.contains("it creaked"), "{struck}");
    let behind = struck.split("</s>").nth(1).unwrap_or_default();
    assert!(
        behind.starts_with("; withdrawn: M. Ahlers: of another fastener"),
        "{behind}"
    );
    let text: String = good(&run(&folder, ["sheet", "bilge.evj", "--text"]));
    let text: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Struck through: fastener 3: "), "{text}");
    assert!(
        text.contains("; withdrawn: M. Ahlers: of another fastener"),
        "{text}"
    );
    let record = good(&run(&folder, ["record", "bilge.evj"]));
    let record: String = record.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        record.contains("[struck through, withdrawn: M. Ahlers: of another fastener] fastener 3"),
        "{record}"
    );
    let _ = std::fs::remove_dir_all(&folder);
}

#[test]
fn what_was_done_last_is_told_from_the_journal_and_not_by_the_files_time() {
    let folder = folder("last");
    good(&run(&folder, ["paper", "bilge.toml", "evening.csv"]));
    let path = folder.join("bilge.evj");
    let age = std::time::SystemTime::now() - std::time::Duration::from_secs(40 * 86_400);
    let file = std::fs::File::options()
        .append(true)
        .open(&path)
        .expect("the journal");
    file.set_modified(age).expect("the file's time");
    let last = "R. Falk: cover, fastener 1 to stage 2; typed later, paper of 2026-02-21";
    for line in [
        &["check", "bilge.evj"][..],
        &["tonight", "bilge.evj", "--no-time"],
    ] {
        let text = good(&run(&folder, line));
        let own = text.lines().find(|own| own.starts_with("last: "));
        let own = own.unwrap_or_else(|| panic!("{text}"));
        assert!(own.ends_with(last) && !own.contains("40 days"), "{own}");
    }
    let at_work = good(&work(&folder, ""));
    assert!(at_work.contains(last), "{at_work}");
    let model = Model::in_folder("bilge.toml", PLAN, &folder);
    let card = model.view().start.clone().expect("the first question");
    assert!(card.what_now.join(" ").contains(last), "{card:?}");
    let _ = std::fs::remove_dir_all(&folder);
}

#[test]
fn a_comma_is_as_good_as_a_point_wherever_a_number_is_typed() {
    let folder = folder("comma");
    std::fs::write(
        folder.join("comma.toml"),
        PLAN.replace("15 lbf·ft", "15,5 lbf·ft"),
    )
    .expect("a plan");
    let both = |line: &[&str]| {
        let typed = |text: &str| {
            let line: Vec<String> = line.iter().map(|word| word.replace('_', text)).collect();
            good(&run(&folder, line))
        };
        // As it was typed, the text itself is kept.
        assert_eq!(typed(",").replace("33,2", "33.2"), typed("."), "{line:?}");
    };
    both(&["convert", "33_2 lbf·ft"]);
    both(&[
        "setting",
        "--torque",
        "33_2 lbf·ft",
        "--lever",
        "300_5 mm",
        "--offset",
        "25_5 mm",
    ]);
    let plan = good(&run(&folder, ["check", "comma.toml"]));
    assert!(plan.contains("cover stage 1, 15,5 lbf·ft: D1"), "{plan}");
    for (typed, name) in [("15,1", "comma.csv"), ("15.1", "point.csv")] {
        let sheet = SHEET.replace("\"15,1\"", &format!("\"{typed}\""));
        std::fs::write(folder.join(name), sheet).expect("a sheet");
        let journal = folder.join("bilge.evj");
        let _ = std::fs::remove_file(&journal);
        good(&run(&folder, ["paper", "bilge.toml", name]));
        let record = good(&run(&folder, ["record", "bilge.evj"]));
        assert!(record.contains("15.10 lbf·ft"), "{record}");
    }
    let _ = std::fs::remove_dir_all(&folder);
}
