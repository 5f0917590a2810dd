//! The plan written at the desk: through the accessibility tree and the keys, as a person would.

use std::path::PathBuf;

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::edit_view::PlanEdit;
use evendraw::desk::model::Model;
use evendraw::plan::Plan;

use crate::drive::{COVER, Driven, Folder, press, window};

pub(crate) fn edit(harness: &Driven) -> &PlanEdit {
    &harness.state().model.view().edit
}

pub(crate) fn notice(harness: &Driven) -> String {
    let view = harness.state().model.view();
    let notice = view.notice.as_ref();
    notice.map_or_else(String::new, |notice| notice.words.clone())
}

/// The whole text, also where only a part is shown.
pub(crate) fn text(harness: &Driven) -> String {
    edit(harness).text.to_string()
}

pub(crate) fn chord(harness: &mut Driven, key: Key) {
    harness.key_press_modifiers(Modifiers::COMMAND, key);
    harness.step();
    harness.step();
}

pub(crate) fn typed(harness: &mut Driven, words: &str) {
    harness.event(egui::Event::Text(words.to_owned()));
    harness.step();
    harness.step();
}

/// Goes into a field and types over what stands there.
pub(crate) fn fill(harness: &mut Driven, field: &str, words: &str) {
    harness
        .get_by_role_and_label(Role::TextInput, field)
        .focus();
    harness.step();
    harness.step();
    chord(harness, Key::A);
    typed(harness, words);
}

/// Adds something by the words it is found with.
pub(crate) fn add(harness: &mut Driven, words: &str) {
    chord(harness, Key::N);
    typed(harness, words);
    press(harness, Key::Enter);
    harness.step();
}

pub(crate) fn opened(folder: &Folder, name: &str, text: &str) -> (Driven, PathBuf) {
    let path = folder.path().join(name);
    std::fs::write(&path, text).unwrap();
    let mut model = Model::open(Some(&path)).unwrap();
    model.set_browser(false);
    let mut harness = window(model);
    press(&mut harness, Key::F6);
    (harness, path)
}

#[test]
fn a_field_is_typed_in_checked_saved_and_worked_from() {
    let folder = Folder::new("editor-field");
    let (mut harness, path) = opened(&folder, "cover.toml", COVER);
    for _ in 0..3 {
        press(&mut harness, Key::ArrowDown);
    }
    assert_eq!(edit(&harness).at, "joint/0/stage/1");
    fill(&mut harness, "torque", "40 lb");
    let fields = &edit(&harness).fields;
    let torque = fields.iter().find(|field| field.key == "torque").unwrap();
    assert!(!torque.faults.is_empty());
    // The same words as the reader's own, at the field.
    let wrong = COVER.replace("torque = \"40 N·m\"", "torque = \"40 lb\"");
    let errors = Plan::parse("cover.toml", &wrong).unwrap_err();
    assert!(torque.faults[0].1.starts_with(errors.list()[0].what()));
    assert!(
        harness
            .query_by_label_contains(&torque.faults[0].1)
            .is_some()
    );
    // Saved with its fault, it does not take the place of the plan in work.
    chord(&mut harness, Key::S);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), wrong);
    assert!(
        notice(&harness).contains("saved with a fault"),
        "{}",
        notice(&harness)
    );
    assert!(
        harness
            .query_by_label_contains("saved with faults")
            .is_some()
    );
    assert_eq!(harness.state().model.view().status.joints.len(), 1);
    assert_eq!(harness.state().model.view().status.title, "Harbour pump 7");
    fill(&mut harness, "torque", "45 N·m");
    assert!(edit(&harness).faults.is_empty());
    assert!(
        edit(&harness)
            .echo
            .iter()
            .any(|line| line.contains("45 N·m"))
    );
    // In the manual's unit it is read back in N·m too. [NIST SP 811, appendix B.8: 1 lbf·ft = 1.355 818 N·m]
    fill(&mut harness, "torque", "33.2 lbf·ft");
    let echo = edit(&harness).echo.join(" ");
    assert!(
        echo.starts_with(
            "Tighten to 33.2 lbf·ft, 45.013 N·m (±10 %). That is 29.88 to 36.52 lbf·ft"
        ),
        "{echo}"
    );
    fill(&mut harness, "torque", "45 N·m");
    chord(&mut harness, Key::S);
    let right = COVER.replace("torque = \"40 N·m\"", "torque = \"45 N·m\"");
    assert_eq!(std::fs::read_to_string(&path).unwrap(), right);
    assert!(!edit(&harness).unsaved);
    // And back, to the byte.
    while edit(&harness).can_undo {
        chord(&mut harness, Key::Z);
    }
    assert_eq!(text(&harness), COVER);
}

#[test]
fn text_and_fields_follow_each_other() {
    let folder = Folder::new("editor-both");
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    fill(&mut harness, "unit", "serial 4411");
    assert!(text(&harness).contains("unit = \"serial 4411\"\n"));
    harness
        .get_by_role_and_label(Role::MultilineTextInput, "Plan as text")
        .focus();
    harness.step();
    chord(&mut harness, Key::A);
    typed(
        &mut harness,
        &COVER.replace("Harbour pump 7", "Harbour pump 9"),
    );
    let fields = &edit(&harness).fields;
    let title = fields.iter().find(|field| field.key == "title").unwrap();
    assert_eq!(title.value, "Harbour pump 9");
    // A broken text is no end: it is said, kept, and taken back.
    typed(&mut harness, "[[");
    assert!(edit(&harness).broken);
    assert!(
        harness
            .query_by_label_contains("The text is not TOML at one place")
            .is_some()
    );
    chord(&mut harness, Key::Z);
    assert!(!edit(&harness).broken);
}

#[test]
fn stages_are_added_moved_copied_and_taken_away_by_key() {
    let folder = Folder::new("editor-stages");
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    press(&mut harness, Key::ArrowDown);
    assert_eq!(edit(&harness).at, "joint/0");
    add(&mut harness, "stage: turn");
    assert_eq!(edit(&harness).at, "joint/0/stage/2");
    fill(&mut harness, "angle", "90°");
    assert!(edit(&harness).faults.iter().all(|fault| fault.question));
    harness.key_press_modifiers(Modifiers::COMMAND, Key::ArrowUp);
    harness.step();
    harness.step();
    assert_eq!(edit(&harness).at, "joint/0/stage/1");
    chord(&mut harness, Key::D);
    assert_eq!(edit(&harness).at, "joint/0/stage/2");
    assert_eq!(text(&harness).matches("do = \"turn\"").count(), 2);
    // The keyboard went along: what is typed is typed into the copy.
    chord(&mut harness, Key::A);
    typed(&mut harness, "back-off");
    assert_eq!(text(&harness).matches("do = \"turn\"").count(), 1);
    chord(&mut harness, Key::Z);
    assert_eq!(text(&harness).matches("do = \"turn\"").count(), 2);
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::Delete);
    assert_eq!(text(&harness).matches("do = \"turn\"").count(), 1);
    while edit(&harness).can_undo {
        chord(&mut harness, Key::Z);
    }
    assert_eq!(text(&harness), COVER);
}

#[test]
fn a_new_plan_is_begun_filled_in_and_saved_under_a_name_that_is_free() {
    let folder = Folder::new("editor-new");
    let (mut harness, path) = opened(&folder, "cover.toml", COVER);
    press(&mut harness, Key::E);
    typed(&mut harness, "castle nut");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(text(&harness).starts_with("# P23"));
    assert!(edit(&harness).path.is_none());
    fill(&mut harness, "title", "Harbour pump 8");
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::S);
    harness.step();
    typed(&mut harness, &path.display().to_string());
    press(&mut harness, Key::Enter);
    assert!(
        notice(&harness).contains("never written over"),
        "{}",
        notice(&harness)
    );
    assert_eq!(std::fs::read_to_string(&path).unwrap(), COVER);
    let free = folder.path().join("eight.toml");
    press(&mut harness, Key::S);
    harness.step();
    typed(&mut harness, &free.display().to_string());
    press(&mut harness, Key::Enter);
    harness.step();
    assert_eq!(harness.state().model.view().status.title, "Harbour pump 8");
    assert_eq!(harness.state().model.plan_path(), Some(free.as_path()));
    assert!(edit(&harness).can_undo, "saved is not the end of undo");
    let check = std::process::Command::new(env!("CARGO_BIN_EXE_evendraw"))
        .args(["check".as_ref(), free.as_os_str()])
        .output()
        .unwrap();
    assert!(check.status.success());
}

#[test]
fn changes_that_are_not_saved_are_not_lost_to_another_plan_nor_to_a_change_on_disk() {
    let folder = Folder::new("editor-unsaved");
    let (mut harness, path) = opened(&folder, "cover.toml", COVER);
    fill(&mut harness, "unit", "serial 4411");
    press(&mut harness, Key::Escape);
    let mine = text(&harness);
    press(&mut harness, Key::O);
    harness.step();
    typed(&mut harness, &path.display().to_string());
    press(&mut harness, Key::Enter);
    assert!(
        notice(&harness).contains("not saved"),
        "{}",
        notice(&harness)
    );
    std::fs::write(&path, COVER.replace("pump 7", "pump 6")).unwrap();
    let file = std::fs::File::options().append(true).open(&path).unwrap();
    let later = std::time::SystemTime::now() + std::time::Duration::from_secs(10);
    file.set_modified(later).unwrap();
    harness.step();
    harness.step();
    assert_eq!(text(&harness), mine);
    assert_eq!(harness.state().model.view().status.title, "Harbour pump 6");
    // Dropped, the file's text stands there; taken back, one's own again.
    press(&mut harness, Key::U);
    assert!(text(&harness).contains("pump 6"));
    chord(&mut harness, Key::Z);
    assert_eq!(text(&harness), mine);
}

#[test]
fn a_table_is_pasted_as_joints_and_taken_back_at_once() {
    let folder = Folder::new("editor-paste");
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    let table = "id\tthread\tnumber\tdiameter\ttorque\nlid\tM8\t6\t120 mm\t18 lb\nfoot\tM12\t4\t7 in\t60 N·m\n";
    harness.event(egui::Event::Paste(table.to_owned()));
    harness.step();
    harness.step();
    assert_eq!(edit(&harness).at, "joint/2");
    assert_eq!(edit(&harness).errors, 1);
    assert_eq!(edit(&harness).faults[0].path, "joint/1/stage/0/torque");
    harness.event(egui::Event::Paste("no table".to_owned()));
    harness.step();
    harness.step();
    assert!(
        notice(&harness).contains("nothing of a joint"),
        "{}",
        notice(&harness)
    );
    chord(&mut harness, Key::Z);
    assert_eq!(text(&harness), COVER);
}

/// What a newcomer met: a new plan is called one, an empty list says why, a stage waits for what it lacks, and a name is offered.
#[test]
fn a_new_plan_says_what_it_is_and_leads_to_what_it_lacks() {
    let folder = Folder::new("editor-newcomer");
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    press(&mut harness, Key::E);
    press(&mut harness, Key::Enter);
    harness.step();
    harness.step();
    harness.get_by_label_contains("A new plan");
    typed(&mut harness, "Tide gauge 3, drive side");
    press(&mut harness, Key::Escape);
    // Without a joint there is no stage to add, and that is said.
    chord(&mut harness, Key::N);
    harness.step();
    typed(&mut harness, "stage: tighten");
    harness.get_by_label_contains("take the joint in hand first");
    press(&mut harness, Key::Escape);
    harness.step();
    for (what, words) in [("joint", "flange"), ("stage: turn", "60 deg")] {
        chord(&mut harness, Key::N);
        harness.step();
        typed(&mut harness, what);
        press(&mut harness, Key::Enter);
        harness.step();
        harness.step();
        typed(&mut harness, words);
    }
    let whole = text(&harness);
    assert!(whole.contains("id = \"flange\""), "{whole}");
    assert!(whole.contains("angle = \"60 deg\""), "{whole}");
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::S);
    harness.step();
    harness.get_by_label_contains("tide-gauge-3-drive-side.toml");
}

/// Keys alone, counted: a letter is one, a key with Ctrl is one.
struct Keys {
    harness: Driven,
    struck: usize,
}

impl Keys {
    fn words(&mut self, words: &str) {
        typed(&mut self.harness, words);
        self.struck += words.chars().count();
    }

    fn enter(&mut self) {
        press(&mut self.harness, Key::Enter);
        self.harness.step();
        self.struck += 1;
    }

    fn add(&mut self, words: &str) {
        chord(&mut self.harness, Key::N);
        self.struck += 1;
        self.words(words);
        self.enter();
        self.harness.step();
    }
}

#[test]
fn twelve_joints_of_ten_are_entered_by_keyboard_alone_with_fewer_keys_than_the_text_has_letters() {
    let folder = Folder::new("editor-keys");
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    press(&mut harness, Key::E);
    press(&mut harness, Key::Enter);
    harness.step();
    harness.step();
    let mut keys = Keys { harness, struck: 2 };
    keys.words("Harbour pump 9");
    for number in 1..=12 {
        keys.add("joint");
        for words in [
            format!("cover-{number}"),
            format!("Cover {number}"),
            "M10".to_owned(),
            "8.8".to_owned(),
            "oiled".to_owned(),
            String::new(),
            "10".to_owned(),
            "180 mm".to_owned(),
            // As many letters as only this word has.
            "cro".to_owned(),
        ] {
            keys.words(&words);
            keys.enter();
        }
        for torque in ["20 N·m", "45 N·m"] {
            keys.add("tighten");
            keys.words(torque);
        }
    }
    assert_eq!(
        edit(&keys.harness).errors,
        0,
        "{:?}",
        edit(&keys.harness).faults
    );
    let whole = text(&keys.harness);
    let plan = Plan::parse("keys.toml", &whole).unwrap();
    let fasteners: usize = plan.joints().iter().map(|own| own.positions().len()).sum();
    assert_eq!((plan.joints().len(), fasteners), (12, 120));
    let letters = whole.chars().count();
    println!("{} keys, {letters} letters of TOML", keys.struck);
    assert!(
        keys.struck < letters,
        "{} keys, {letters} letters",
        keys.struck
    );
}

/// Clicks what is spoken so.
pub(crate) fn click(harness: &mut Driven, role: Role, words: &str) {
    let node = harness.get_by(|node| {
        let spoken = node.label();
        node.role() == role && spoken.is_some_and(|own| own.starts_with(words))
    });
    node.click();
    harness.step();
    harness.step();
}

#[test]
fn places_are_laid_out_numbered_ordered_dragged_and_put_by_clicking() {
    let folder = Folder::new("editor-drawing");
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::M);
    fill(&mut harness, "Lay out all of them", "2 x 2");
    press(&mut harness, Key::Enter);
    assert!(notice(&harness).contains("2 x 5, 85 x 130"));
    assert_eq!(text(&harness), COVER);
    fill(&mut harness, "Lay out all of them", "2 x 2, 85 x 130");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(text(&harness).contains("{ 1 = [0, 0], 2 = [85, 0], 3 = [0, 130], 4 = [85, 130] }"));
    // Along the manual's numbers, round the edge.
    click(&mut harness, Role::RadioButton, "Number");
    for label in ["1", "2", "4", "3"] {
        click(&mut harness, Role::Button, &format!("Fastener {label} at"));
    }
    let round = "{ 1 = [0, 0], 2 = [85, 0], 3 = [85, 130], 4 = [0, 130] }";
    assert!(text(&harness).contains(round), "{}", text(&harness));
    click(&mut harness, Role::RadioButton, "Order");
    for label in ["1", "3", "2", "4"] {
        click(&mut harness, Role::Button, &format!("Fastener {label} at"));
    }
    let order = "order = [\"1\", \"3\", \"2\", \"4\"]";
    assert!(text(&harness).contains(order), "{}", text(&harness));
    let drawing = edit(&harness).drawing.clone().unwrap();
    assert_eq!(drawing.order, ["1", "3", "2", "4"]);
    // Dragged nearly under another, it stands in line with it.
    let at = |harness: &Driven, label: &str| {
        let words = format!("Fastener {label} at");
        let node = harness.get_by(|node| {
            let spoken = node.label();
            spoken.is_some_and(|own| own.starts_with(&words))
        });
        node.rect().center()
    };
    let (from, to) = (at(&harness, "4"), at(&harness, "3") + egui::vec2(3.0, 60.0));
    harness.drag_at(from);
    harness.step();
    harness.hover_at(to);
    harness.step();
    harness.drop_at(to);
    harness.step();
    harness.step();
    let drawing = edit(&harness).drawing.clone().unwrap();
    let (_, x, y) = drawing.fasteners.iter().find(|own| own.0 == "4").unwrap();
    assert!((*x - 85.0).abs() < 1e-9 && *y < 130.0, "{x} {y}");
    // One more, on free ground.
    let free = at(&harness, "1") + egui::vec2(0.0, -70.0);
    harness.drag_at(free);
    harness.step();
    harness.drop_at(free);
    harness.step();
    harness.step();
    let drawing = edit(&harness).drawing.clone().unwrap();
    assert_eq!(drawing.fasteners.len(), 5);
    assert!(
        drawing.fasteners[4].1.abs() < 1e-9,
        "in line with the first"
    );
    while edit(&harness).can_undo {
        chord(&mut harness, Key::Z);
    }
    assert_eq!(text(&harness), COVER);
}
