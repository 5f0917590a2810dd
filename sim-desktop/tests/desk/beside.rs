//! Tasks, parts and reminders by key: F12 writes a reminder on any screen, L settles what is on the list.

use egui::Key;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::app::Screen;
use evendraw::desk::model::Model;
use evendraw::store::PartState;

use crate::drive::{COVER, Driven, Folder, asking, press, window};

fn plan() -> String {
    format!(
        "{COVER}\n[[part]]\nname = \"lip seal\"\nquantity = 2\non_order = true\n\n\
         [[task]]\nid = \"drain\"\ntitle = \"Join the drain hose\"\n\n\
         [[task]]\nid = \"seal\"\ntitle = \"Press in the seals\"\nneeds = [\"lip seal\"]\nask = \"How deep do they sit?\"\n"
    )
}

fn desk(folder: &Folder) -> Driven {
    let mut model = Model::in_folder("cover.toml", &plan(), folder.path());
    model.set_browser(false);
    window(model)
}

fn type_line(harness: &mut Driven, words: &str) {
    harness.step();
    harness.event(egui::Event::Text(words.to_owned()));
    harness.step();
    press(harness, Key::Enter);
    harness.step();
}

fn keys(harness: &mut Driven, keys: &[Key]) {
    for key in keys {
        press(harness, *key);
    }
}

#[test]
fn a_reminder_is_one_key_and_a_line_on_every_screen() {
    let folder = Folder::new("beside-reminder");
    let mut harness = desk(&folder);
    for (number, (_, _, screen)) in (1_u32..).zip(Screen::ALL) {
        press(&mut harness, screen);
        press(&mut harness, Key::F12);
        // A digit first is the text, not a choice.
        type_line(&mut harness, &format!("{number} M6 clips"));
        let status = &harness.state().model.view().status;
        assert_eq!(
            status.open_reminders().count(),
            usize::try_from(number).unwrap(),
            "{screen:?}"
        );
        assert_eq!(
            status.reminders.last().unwrap().text,
            format!("{number} M6 clips")
        );
    }
}

#[test]
fn what_is_missing_at_the_stand_says_what_it_holds_up() {
    let folder = Folder::new("beside-holds");
    let mut harness = desk(&folder);
    // The joint in front, then the line; F12 again: it holds up the work here.
    keys(&mut harness, &[Key::Enter, Key::F12, Key::F12]);
    type_line(&mut harness, "the long socket is not here");
    let view = harness.state().model.view();
    let reminder = &view.status.reminders[0];
    assert_eq!(reminder.place, "cover");
    assert!(
        reminder.holds.starts_with("Discharge cover"),
        "{reminder:?}"
    );
    // It stands on the first screen and in the handover.
    for screen in [Key::F2, Key::F8] {
        press(&mut harness, screen);
        // Beside the notice that it is kept.
        let said =
            harness.query_all_by_label_contains("Discharge cover: reminder 1: the long socket");
        assert_eq!(said.count(), 1, "{screen:?}");
    }
    // The thread question is one key away from the line.
    keys(&mut harness, &[Key::F12, Key::F5]);
    assert_eq!(harness.state().desk.screen, Screen::Calculator);
    harness.get_by_label_contains("One thread");
}

#[test]
fn tasks_parts_and_reminders_are_settled_from_one_list() {
    let folder = Folder::new("beside-list");
    let mut harness = desk(&folder);
    press(&mut harness, Key::F12);
    type_line(&mut harness, "order two M6 clips");
    // Task, reminder, part: the first row is the task that may be done.
    keys(&mut harness, &[Key::F2, Key::L, Key::Num1, Key::Num1]);
    let status = |harness: &Driven| harness.state().model.view().status.clone();
    assert_eq!(status(&harness).tasks[0].word, "done");
    // The reminder becomes a part to order.
    keys(&mut harness, &[Key::L, Key::Num1, Key::Num2]);
    assert_eq!(status(&harness).open_reminders().count(), 0);
    let to_order = |harness: &Driven| -> Vec<String> {
        let status = status(harness);
        status.to_order().map(|part| part.name.clone()).collect()
    };
    assert_eq!(to_order(&harness), ["order two M6 clips"]);
    // The seal on order: ordered again elsewhere, with a line; then here.
    keys(&mut harness, &[Key::L, Key::Num1, Key::Num3]);
    type_line(&mut harness, "stores on the mole");
    let seal = status(&harness).parts[0].clone();
    assert_eq!(
        (seal.name.as_str(), seal.state),
        ("lip seal", PartState::Ordered)
    );
    assert!(seal.said.contains("stores on the mole"), "{seal:?}");
    keys(&mut harness, &[Key::L, Key::Num1, Key::Num4]);
    assert!(status(&harness).parts[0].is_here);
    // Now the second task may be done, and its answer is asked for.
    keys(&mut harness, &[Key::L, Key::Num1, Key::Num1]);
    type_line(&mut harness, "flush, 0.2 mm");
    let seal = status(&harness).tasks[1].clone();
    assert_eq!(
        seal.word,
        "done",
        "{:?}",
        harness.state().model.view().notice
    );
    assert!(seal.done.starts_with("flush, 0.2 mm"), "{seal:?}");
}

/// In real work a task is done by a name: whoever has not said one is asked for it, and letters typed then are letters.
#[test]
fn who_says_done_without_a_name_is_asked_for_it() {
    let folder = Folder::new("beside-named");
    // Whether a joint could go on meanwhile or all of them wait for the task.
    let waits = "after = [\"drain\"]\n\n[[joint.stage]]";
    let waiting = plan().replacen("[[joint.stage]]", waits, 1);
    for (number, text) in [plan(), waiting].iter().enumerate() {
        let name = format!("cover-{number}.toml");
        let mut model = Model::in_folder(&name, text, folder.path());
        model.set_browser(false);
        let mut harness = asking(model);
        press(&mut harness, Key::W);
        let status = |harness: &Driven| harness.state().model.view().status.clone();
        assert!(!status(&harness).rehearsal);
        keys(&mut harness, &[Key::L, Key::Num1, Key::Num1]);
        assert_eq!(status(&harness).tasks[0].word, "ready");
        // Left without a name, nothing is done.
        press(&mut harness, Key::Escape);
        keys(&mut harness, &[Key::L, Key::Num1, Key::Num1]);
        type_line(&mut harness, "R. Falk");
        let done = status(&harness).tasks[0].clone();
        let view = harness.state().model.view();
        assert_eq!(done.word, "done", "{number}: {:?}", view.notice);
        assert!(done.done.starts_with("R. Falk, "), "{}", done.done);
        assert_eq!(view.build.person.as_deref(), Some("R. Falk"));
    }
}

#[test]
fn a_task_that_comes_next_is_one_key_away_and_the_list_to_order_from_is_printed() {
    let folder = Folder::new("beside-next");
    let text = format!(
        "{}\n[[task]]\nid = \"drain\"\ntitle = \"Join the drain hose\"\n",
        COVER.replacen(
            "[[joint.stage]]",
            "after = [\"drain\"]\n\n[[joint.stage]]",
            1
        )
    );
    let mut model = Model::in_folder("cover.toml", &text, folder.path());
    model.set_browser(false);
    let mut harness = window(model);
    // No joint can go on, so the task is what is next, and Enter leads to it.
    harness.get_by_label_contains("Next: task: Join the drain hose");
    keys(&mut harness, &[Key::Enter, Key::Num1]);
    let status = &harness.state().model.view().status;
    assert_eq!(status.tasks[0].word, "done");
    harness.get_by_label_contains("Next: Discharge cover");
    // What a reminder became stands on the list to order from, which is a page and a table.
    press(&mut harness, Key::F12);
    type_line(&mut harness, "clip, M6");
    keys(
        &mut harness,
        &[Key::L, Key::Num1, Key::Num2, Key::L, Key::Num2],
    );
    let notice = harness.state().model.view().notice.clone();
    let find = |ending: &str| {
        let mut files = std::fs::read_dir(folder.path()).unwrap();
        files
            .find_map(|file| {
                let path = file.unwrap().path();
                let name = path.to_string_lossy().into_owned();
                name.ends_with(ending)
                    .then(|| std::fs::read_to_string(&path).unwrap())
            })
            .unwrap_or_else(|| panic!("no {ending}: {notice:?}"))
    };
    let table = find("order.csv");
    assert_eq!(
        table,
        "part,number,quantity,state,for,said\n\"clip, M6\",,1,to order,the build,\n"
    );
    assert!(find("order.html").contains("clip, M6"));
}

/// Before anybody said whether it is work, there is nothing that a reminder could be kept with: that is asked, and letters typed meanwhile
/// choose nothing.
#[test]
fn a_reminder_before_the_work_is_begun_asks_what_it_is_kept_with() {
    let folder = Folder::new("beside-start");
    let mut model = Model::in_folder("cover.toml", COVER, folder.path());
    model.set_browser(false);
    let mut harness = asking(model);
    press(&mut harness, Key::F12);
    harness.get_by_label("A reminder is kept with the work, or the rehearsal");
    keys(&mut harness, &[Key::O, Key::R, Key::W, Key::E]);
    assert!(harness.state().model.view().start.is_some());
    harness.get_by_label("A reminder is kept with the work, or the rehearsal");
    // The rehearsal first, as it is advised where nothing was done; then the work.
    press(&mut harness, Key::Num2);
    assert!(!harness.state().model.view().status.rehearsal);
    press(&mut harness, Key::F12);
    type_line(&mut harness, "order two M6 clips");
    assert_eq!(
        harness.state().model.view().status.open_reminders().count(),
        1
    );
}
