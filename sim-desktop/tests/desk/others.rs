//! Joints of other plans and of the library, and lines compared with the document by a second person, at the desk.

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use evendraw::plan::Plan;

use crate::drive::{COVER, Driven, Folder, press};
use crate::editor::{add, chord, click, edit, fill, notice, opened, text, typed};

/// Another plan, with a joint that names what is not everywhere.
const OTHER: &str = "[build]\ntitle = \"Harbour pump 5\"\ndocument = \"section 6, page 42\"\nentered_by = \"R. Quay\"\n\n[[tool]]\nid = \"A1\"\nkind = \"adapter\"\ncapacity = \"100 N·m\"\n\n[[joint]]\nid = \"cover\"\ntitle = \"Suction cover\"\npositions = { 1 = [0, 0], 2 = [90, 0] }\npicture = { file = \"flange.png\" }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\ntool = \"A1\"\n\n[[joint]]\nid = \"foot\"\npositions = { 1 = [0, 0] }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"30 N·m\"\n";

#[test]
fn a_joint_is_copied_from_a_plan_that_is_chosen_and_what_lacks_here_is_told() {
    let folder = Folder::new("others-copy");
    std::fs::create_dir(folder.path().join("five")).unwrap();
    let other = folder.path().join("five/pump5.toml");
    std::fs::write(&other, OTHER).unwrap();
    std::fs::write(
        folder.path().join("five/flange.png"),
        include_bytes!("flange.png"),
    )
    .unwrap();
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    add(&mut harness, "joint of another plan");
    harness.step();
    typed(&mut harness, &other.display().to_string());
    press(&mut harness, Key::Enter);
    harness.step();
    harness.step();
    assert!(
        harness
            .query_by_label_contains("Take a joint of that plan")
            .is_some(),
        "{}",
        notice(&harness)
    );
    typed(&mut harness, "suction");
    press(&mut harness, Key::Enter);
    harness.step();
    harness.step();
    let told = notice(&harness);
    assert!(
        told.contains("lacking here: tool A1") && told.contains("section 6, page 42"),
        "{told}"
    );
    assert_eq!(edit(&harness).at, "joint/1");
    let whole = text(&harness);
    // Its id was taken here; its picture and its document came along.
    for part in [
        "id = \"cover-2\"",
        "document = \"section 6, page 42\"",
        "entered_by = \"R. Quay\"",
    ] {
        assert!(whole.contains(part), "{part}: {whole}");
    }
    assert!(folder.path().join("flange.png").exists());
    // The tool that lacks is told at its field as well.
    assert!(
        edit(&harness)
            .faults
            .iter()
            .any(|own| own.path.starts_with("joint/1/stage/0") && own.words.contains("`A1`")),
        "{:?}",
        edit(&harness).faults
    );
    while edit(&harness).can_undo {
        chord(&mut harness, Key::Z);
    }
    assert_eq!(text(&harness), COVER);
    // What is no plan says so.
    let wrong = folder.path().join("wrong.toml");
    std::fs::write(&wrong, "[[joint").unwrap();
    add(&mut harness, "joint of another plan");
    harness.step();
    typed(&mut harness, &wrong.display().to_string());
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(
        notice(&harness).contains("not TOML"),
        "{}",
        notice(&harness)
    );
}

#[test]
fn a_joint_is_kept_in_the_library_beside_the_plan_and_taken_from_it_into_another() {
    let folder = Folder::new("others-library");
    let shelf = folder.path().join("library");
    std::fs::create_dir(&shelf).unwrap();
    let plan = COVER.replace(
        "title = \"Harbour pump 7\"\n",
        "title = \"Harbour pump 7\"\ndocument = \"section 4, page 9\"\n",
    );
    let (mut harness, _) = opened(&folder, "cover.toml", &plan);
    press(&mut harness, Key::ArrowDown);
    add(&mut harness, "keep this joint");
    harness.step();
    let kept = shelf.join("cover.toml");
    assert!(notice(&harness).contains("kept as"), "{}", notice(&harness));
    let read = Plan::parse("cover.toml", &std::fs::read_to_string(&kept).unwrap()).unwrap();
    assert_eq!(read.build().document.as_deref(), Some("section 4, page 9"));
    assert_eq!(read.joints()[0].title(), "Discharge cover");
    // Kept once more, the same is the same; changed, it is another.
    add(&mut harness, "keep this joint");
    harness.step();
    assert_eq!(std::fs::read_dir(&shelf).unwrap().count(), 1);
    // Into a plan of its own.
    press(&mut harness, Key::E);
    typed(&mut harness, "nothing");
    press(&mut harness, Key::Enter);
    harness.step();
    fill(&mut harness, "title", "Harbour pump 9");
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::S);
    harness.step();
    typed(
        &mut harness,
        &folder.path().join("nine.toml").display().to_string(),
    );
    press(&mut harness, Key::Enter);
    harness.step();
    add(&mut harness, "library: discharge");
    harness.step();
    assert!(
        text(&harness).contains("document = \"section 4, page 9\"\n"),
        "{}: {}",
        notice(&harness),
        text(&harness)
    );
    assert_eq!(edit(&harness).errors, 0, "{:?}", edit(&harness).faults);
}

fn go_to(harness: &mut Driven, at: &str) {
    for _ in 0..8 {
        if edit(harness).at == at {
            return;
        }
        press(harness, Key::ArrowDown);
    }
    panic!("{at} is not in the outline");
}

#[test]
fn a_second_person_compares_line_by_line_and_a_change_takes_that_back() {
    let folder = Folder::new("others-check");
    let plan = COVER.replace(
        "title = \"Harbour pump 7\"\n",
        "title = \"Harbour pump 7\"\nentered_by = \"R. Quay\"\n",
    );
    let (mut harness, path) = opened(&folder, "cover.toml", &plan);
    go_to(&mut harness, "joint/0");
    assert!(edit(&harness).check.starts_with("Not compared"));
    press(&mut harness, Key::K);
    harness.step();
    typed(&mut harness, "M. Aster");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(
        notice(&harness).contains("Discharge cover, head: compared by M. Aster; 2 to go"),
        "{}",
        notice(&harness)
    );
    // On to the next by itself; who it is need not be said again.
    assert_eq!(edit(&harness).at, "joint/0/stage/0");
    press(&mut harness, Key::K);
    click(&mut harness, Role::Button, "M. Aster");
    assert!(
        notice(&harness).contains("the last line"),
        "{}",
        notice(&harness)
    );
    let plan_of = |harness: &Driven| Plan::parse("cover.toml", &text(harness)).unwrap();
    assert!(plan_of(&harness).warnings().is_empty());
    assert!(
        plan_of(&harness).joints()[0]
            .lines()
            .iter()
            .all(|line| line.is_checked())
    );
    assert_eq!(
        edit(&harness).rows.iter().filter(|row| row.checked).count(),
        3
    );
    // One value changed: this line is a question, the others stay.
    go_to(&mut harness, "joint/0/stage/1");
    fill(&mut harness, "torque", "45 N·m");
    press(&mut harness, Key::Escape);
    assert!(edit(&harness).check.starts_with("Changed since M. Aster"));
    let lines = plan_of(&harness).joints()[0].lines().to_vec();
    assert!(lines[0].is_checked() && lines[1].is_checked() && !lines[2].is_checked());
    // By who typed it, it is told apart.
    press(&mut harness, Key::J);
    harness.step();
    typed(&mut harness, "r quay");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(text(&harness).matches("checked = ").count() == 3);
    go_to(&mut harness, "joint/0/stage/1");
    assert!(
        edit(&harness)
            .check
            .contains("only by r quay, who typed it"),
        "{}",
        edit(&harness).check
    );
    chord(&mut harness, Key::S);
    // A copy of a line was compared by nobody.
    chord(&mut harness, Key::D);
    assert_eq!(text(&harness).matches("checked = ").count(), 3);
    chord(&mut harness, Key::Z);
    // The sheet says it.
    let sheet = std::process::Command::new(env!("CARGO_BIN_EXE_evendraw"))
        .args([
            "sheet".as_ref(),
            "--blank".as_ref(),
            "--plan".as_ref(),
            path.as_os_str(),
        ])
        .output()
        .unwrap();
    let page = String::from_utf8(sheet.stdout).unwrap();
    assert!(page.contains("only by r quay, who typed it"), "{page}");
    assert!(page.contains("head, stage 1 by M. Aster, "));
    while edit(&harness).can_undo {
        chord(&mut harness, Key::Z);
    }
    assert_eq!(text(&harness), plan);
}
