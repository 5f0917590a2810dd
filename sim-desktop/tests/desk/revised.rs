//! A plan that is corrected while the work goes on, at the desk: read again, it says what differs; done again or left by key.

use egui::Key;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::mark::Mark;

use crate::drive::{COVER, Driven, Folder, press, window};

#[test]
fn what_differs_is_said_on_every_screen_and_settled_by_key() {
    let folder = Folder::new("revised");
    let one = COVER.to_owned();
    let two = one
        .replace("\"40 N·m\"", "\"46 N·m\"")
        .replace("[build]", "[build]\nrevision = 2\nreason = \"misprint\"");
    let mut model = Model::in_folder("cover.toml", &one, folder.path());
    model.set_browser(false);
    model.set_pace(50.0);
    let mut harness: Driven = window(model);
    press(&mut harness, Key::Enter);
    press(&mut harness, Key::J);
    for _ in 0..4000 {
        harness.step();
        if harness.state().model.view().status.joints[0].mark == Mark::Final {
            break;
        }
    }
    let status = harness.state().model.view().status.clone();
    assert_eq!(status.joints[0].mark, Mark::Final, "{:?}", status.open);
    drop(harness);
    // The corrected plan, the same journal.
    let mut model = Model::in_folder("cover.toml", &two, folder.path());
    model.set_browser(false);
    let mut harness = window(model);
    press(&mut harness, Key::F2);
    for screen in [Key::F2, Key::F8] {
        press(&mut harness, screen);
        let said =
            harness.query_all_by_label_contains("done to revision 1, now differs: 40 → 46 N·m");
        assert!(said.count() > 0, "{screen:?}");
    }
    press(&mut harness, Key::F3);
    harness.get_by_label_contains("the plan changed since");
    // Left as it is, on a name and a reason.
    press(&mut harness, Key::K);
    harness.step();
    harness.event(egui::Event::Text("M. Odum: 40 holds".to_owned()));
    harness.step();
    press(&mut harness, Key::Enter);
    harness.step();
    let differs = |harness: &Driven| {
        harness.state().model.view().status.joints[0]
            .differs
            .clone()
    };
    let settled = differs(&harness);
    assert!(
        settled.iter().any(|own| own.settled == "M. Odum: 40 holds"),
        "{settled:?}"
    );
    // The other one is done again.
    press(&mut harness, Key::R);
    press(&mut harness, Key::L);
    let left = differs(&harness);
    let of = |mark: Mark| -> usize {
        let own = left.iter().filter(|own| own.mark == mark);
        own.map(|own| own.fasteners.len()).sum()
    };
    assert_eq!((of(Mark::Accepted), of(Mark::Doubtful)), (1, 3), "{left:?}");
}
