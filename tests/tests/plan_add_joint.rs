//! Joints put into a plan by a script: what stands there stays byte for byte, and what is wrong is told at its field.

use std::fs;
use std::path::Path;

use evendraw::job::status::read_back;
use evendraw::plan::Plan;
use evendraw_tests::binary::run;

const PLAN: &str = "# The winch.\n[build]\ntitle = \"Winch\"   # on its plate\n\n[[joint]]\nid = \"lid\"\npositions = { 1 = [0, 0], 2 = [90, 0] }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"9 N·m\" # as printed\n";

fn said(folder: &Path, line: &[&str]) -> (Option<i32>, String, String) {
    let output = run(folder, line);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (
        output.status.code(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

#[test]
fn a_joint_is_written_key_by_key_and_everything_else_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("winch.toml");
    fs::write(&path, PLAN).unwrap();
    let line = [
        "plan",
        "add-joint",
        "winch.toml",
        "--set",
        "id=foot",
        "--set",
        "title=Foot, left",
        "--set",
        "circle.number=4",
        "--set",
        "circle.diameter=90 mm",
        "--set",
        "after=lid",
        "--set",
        "stage.1.do=tighten",
        "--set",
        "stage.1.torque=60 N·m",
        "--set",
        "stage.2.do=turn",
        "--set",
        "stage.2.angle=90°",
    ];
    let dry = [&line[..], &["--dry-run"]].concat();
    let (status, out, err) = said(folder.path(), &dry);
    assert_eq!(status, Some(0), "{err}");
    assert!(out.contains("foot: Foot, left, 4 fasteners"), "{out}");
    assert!(out.contains("Tighten to 60 N·m (±4 %)."), "{out}");
    assert!(out.contains("would be: 1 joint added"), "{out}");
    assert_eq!(fs::read_to_string(&path).unwrap(), PLAN);
    let (status, ..) = said(folder.path(), &line);
    assert_eq!(status, Some(0));
    let text = fs::read_to_string(&path).unwrap();
    let added = text.strip_prefix(PLAN).expect("the old text stands");
    assert_eq!(
        added,
        "\n[[joint]]\nid = \"foot\"\ntitle = \"Foot, left\"\ncircle = { number = 4, diameter = \"90 mm\" }\nafter = \"lid\"\n\n\
         [[joint.stage]]\ndo = \"tighten\"\ntorque = \"60 N·m\"\n\n[[joint.stage]]\ndo = \"turn\"\nangle = \"90°\"\n"
    );
    // In front of the first, under an id that is free.
    let (status, out, err) = said(
        folder.path(),
        &[
            "plan",
            "add-joint",
            "winch.toml",
            "--from",
            "winch.toml",
            "--joint",
            "foot",
            "--before",
            "lid",
            "--set",
            "after=",
            "--json",
        ],
    );
    assert_eq!(status, Some(0), "{err}");
    assert!(out.contains("\"joint\":\"foot-2\""), "{out}");
    let plan = Plan::parse("winch.toml", &fs::read_to_string(&path).unwrap()).unwrap();
    let ids: Vec<&str> = plan.joints().iter().map(|joint| joint.id()).collect();
    assert_eq!(ids, ["foot-2", "lid", "foot"]);
}

#[test]
fn every_beginning_and_every_joint_of_the_demo_can_be_added() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("all.toml");
    for number in 1..=27 {
        let like = format!("P{number:02}");
        let new: &[&str] = if number == 1 { &["--new"] } else { &[] };
        let line = [&["plan", "add-joint", "all.toml", "--like", &like][..], new].concat();
        let (status, out, err) = said(folder.path(), &line);
        assert_eq!(status, Some(0), "{like}: {out}{err}");
    }
    let demo = evendraw::plan::DEMO;
    fs::write(folder.path().join("demo.toml"), demo).unwrap();
    for joint in Plan::demo().unwrap().joints() {
        let (status, out, err) = said(
            folder.path(),
            &[
                "plan",
                "add-joint",
                "all.toml",
                "--from",
                "demo.toml",
                "--joint",
                joint.id(),
                "--set",
                "after=",
                "--set",
                "closes=",
                "--set",
                "shares=",
                "--set",
                "needs=",
            ],
        );
        assert_eq!(status, Some(0), "{}: {out}{err}", joint.id());
    }
    let plan = Plan::parse("all.toml", &fs::read_to_string(&path).unwrap()).unwrap();
    assert!(plan.joints().len() > 27, "{}", plan.joints().len());
}

#[test]
fn a_value_that_is_wrong_is_told_at_its_field_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("winch.toml");
    fs::write(&path, PLAN).unwrap();
    let (status, _, err) = said(
        folder.path(),
        &[
            "plan",
            "add-joint",
            "winch.toml",
            "--from",
            "winch.toml",
            "--set",
            "stage.1.torqe=9 N·m",
        ],
    );
    assert_eq!(status, Some(2));
    assert!(
        err.contains("torqe") && err.contains("torque") && err.contains("as it would be"),
        "{err}"
    );
    fs::write(
        folder.path().join("rows.csv"),
        "id;number;diameter;torque;unit\na;4;60 mm;20;N·m\nb;4;60 mm;20;lb\n",
    )
    .unwrap();
    let (status, _, err) = said(
        folder.path(),
        &["plan", "add-joint", "winch.toml", "--table", "rows.csv"],
    );
    assert_eq!(status, Some(2));
    assert!(err.contains("20 lb"), "{err}");
    assert_eq!(fs::read_to_string(&path).unwrap(), PLAN);
    fs::write(
        folder.path().join("rows.csv"),
        "id;number;diameter;torque;unit\na;4;60 mm;20;N·m\nb;4;60 mm;20;lbf·ft\n",
    )
    .unwrap();
    let (status, out, err) = said(
        folder.path(),
        &["plan", "add-joint", "winch.toml", "--table", "rows.csv"],
    );
    assert_eq!(status, Some(0), "{err}");
    assert!(out.contains("2 joints added"), "{out}");
    assert!(fs::read_to_string(&path).unwrap().starts_with(PLAN));
}

/// What was entered is read back as the desk's plan screen reads it back: in the manual's unit, in N·m, with its window and in its order.
/// [NIST SP 811, appendix B.8: 1 lbf·ft = 1.355 818 N·m]
#[test]
fn a_stage_is_read_back_in_newton_metres_too() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("winch.toml"), PLAN).unwrap();
    let line = "plan add-joint winch.toml --set id=foot --set circle.number=4 --set|circle.diameter=90 mm|--set order=2,4,1,3 --set stage.1.do=tighten \
        --set|stage.1.torque=33.2 lbf·ft|--set stage.2.do=turn --set stage.2.angle=90° --set|stage.2.torque=24..28 lbf·ft|--set|\
        stage.2.each={ 3 = \"80°\" }";
    let words: Vec<&str> = line
        .split('|')
        .enumerate()
        .flat_map(|(at, part)| match at % 2 {
            0 => part.split_whitespace().collect(),
            _ => vec![part.trim()],
        })
        .collect();
    let (status, out, err) = said(folder.path(), &words);
    assert_eq!(status, Some(0), "{err}");
    let out = out.split_whitespace().collect::<Vec<_>>().join(" ");
    for wanted in [
        "1 Tighten to 33.2 lbf·ft, 45.013 N·m (±4 %). That is 31.87 to 34.53 lbf·ft (43.21 to 46.81 N·m). Each, in order 2 4 1 3.",
        "2 Turn on by 90° (±5°), end torque 24..28 lbf·ft, 32.54..37.963 N·m. That is",
        "Fastener 3: 80° instead.",
    ] {
        assert!(out.contains(wanted), "{wanted} in {out}");
    }
    // The same words at the desk.
    let text = fs::read_to_string(folder.path().join("winch.toml")).unwrap();
    let plan = Plan::parse("winch.toml", &text).unwrap();
    let joint = plan.joint("foot").unwrap();
    for stage in &joint.first_plan().stages {
        let lines = read_back(joint, &stage.place).join(" ");
        assert!(out.contains(&lines), "{lines} in {out}");
    }
}
