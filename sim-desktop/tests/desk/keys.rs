//! Keys and names: what a hand with greasy gloves, or no sight, works with.

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, Theme, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use evendraw::desk::view::{Act, Ask, Cue};

use crate::pictures::{Scene, harness};
use crate::scenes;

fn at_the_joint(
    change: impl FnOnce(&mut evendraw::desk::view::JointView),
) -> Harness<'static, Scene> {
    let mut view = scenes::desk();
    change(view.joint.as_mut().unwrap());
    let mut harness = harness(view, Theme::Light, Vec2::new(1000.0, 640.0), 1.0);
    harness.key_press(Key::F3);
    harness.run();
    harness.state_mut().asked.clear();
    harness
}

fn repeat(harness: &Harness<'static, Scene>, key: Key) {
    harness.event(Event::Key {
        key,
        physical_key: None,
        pressed: true,
        repeat: true,
        modifiers: Modifiers::NONE,
    });
}

#[test]
fn every_screen_is_one_key_away_and_names_itself() {
    let mut harness = harness(scenes::desk(), Theme::Light, Vec2::new(1000.0, 640.0), 1.0);
    for (key, name) in [
        (Key::F2, "Build"),
        (Key::F3, "Joint"),
        (Key::F4, "Record"),
        (Key::F5, "Calculator"),
        (Key::F6, "Plan"),
        (Key::F7, "Compare"),
        (Key::F8, "Handover"),
    ] {
        harness.key_press(key);
        harness.run();
        let tab = harness.get_by_role_and_label(Role::Tab, name);
        assert_eq!(
            tab.accesskit_node().toggled(),
            Some(egui::accesskit::Toggled::True),
            "{name}"
        );
    }
}

#[test]
fn the_keyboard_map_lies_over_any_screen_and_goes_with_the_same_key() {
    let mut harness = at_the_joint(|_| {});
    harness.key_press(Key::F1);
    harness.run();
    assert!(
        harness
            .query_by_label("Space: pull while it is held")
            .is_some()
    );
    harness.key_press(Key::F1);
    harness.run();
    assert!(
        harness
            .query_by_label("Space: pull while it is held")
            .is_none()
    );
}

#[test]
fn holding_enter_answers_one_question_not_every_one() {
    let mut harness = at_the_joint(|joint| {
        joint.prompt = Some(scenes::check());
    });
    harness.key_down(Key::Enter);
    harness.step();
    for _ in 0..5 {
        repeat(&harness, Key::Enter);
        harness.step();
    }
    harness.key_up(Key::Enter);
    harness.step();
    assert_eq!(
        harness.state().asked,
        [Ask::Act(Act::Answer(7, true), String::new())]
    );
}

#[test]
fn space_pulls_while_it_is_held_and_lets_go_when_it_is_let_go() {
    let mut harness = at_the_joint(|_| {});
    harness.key_down(Key::Space);
    harness.step();
    repeat(&harness, Key::Space);
    harness.step();
    harness.key_up(Key::Space);
    harness.step();
    assert_eq!(harness.state().asked, [Ask::Pull(true), Ask::Pull(false)]);
}

#[test]
fn an_alert_lets_nothing_be_pulled_and_offers_its_ways_by_key() {
    let mut harness = at_the_joint(|joint| {
        joint.prompt = Some(scenes::alert());
        joint.live.cue = Cue::Halt;
    });
    harness.key_down(Key::Space);
    harness.step();
    harness.key_up(Key::Space);
    harness.step();
    assert_eq!(
        harness.state().asked,
        [],
        "no pull while something is wrong"
    );
    assert!(
        harness
            .query_by_role_and_label(Role::Alert, "Fastener 4: turned too far")
            .is_some()
    );
    // What is advised has its own key, and Enter.
    harness.key_press(Key::B);
    harness.run();
    harness.key_press(Key::Enter);
    harness.run();
    let fitted = Ask::Act(Act::Fitted(3), String::new());
    assert_eq!(harness.state().asked, [fitted.clone(), fitted]);
    assert!(
        harness
            .query_by_label_contains("window 90.0 to 94.0")
            .is_some(),
        "the card keeps the window"
    );
}

#[test]
fn skipping_a_fastener_asks_why_and_a_digit_answers() {
    let mut harness = at_the_joint(|_| {});
    harness.key_press(Key::K);
    harness.run();
    assert!(
        harness
            .query_by_label("Why is fastener 7 skipped?")
            .is_some()
    );
    harness.key_press(Key::Num2);
    harness.run();
    assert_eq!(
        harness.state().asked,
        [Ask::Skip("7".to_owned(), "part missing".to_owned())]
    );
}

#[test]
fn letters_typed_into_a_field_are_not_commands() {
    let mut harness = harness(scenes::desk(), Theme::Light, Vec2::new(1000.0, 640.0), 1.0);
    harness.key_press(Key::F4);
    harness.run();
    harness.get_by_role(Role::TextInput).focus();
    harness.run();
    for key in [Key::S, Key::P, Key::X] {
        harness.key_press(key);
        harness.run();
    }
    assert_eq!(harness.state().asked, []);
    assert!(harness.query_by_label("Who is working now?").is_none());
}

#[test]
fn the_record_is_filtered_by_words_and_by_kind() {
    let mut harness = harness(scenes::desk(), Theme::Light, Vec2::new(1280.0, 900.0), 1.0);
    harness.key_press(Key::F4);
    harness.run();
    let rows = |harness: &Harness<'static, Scene>| harness.get_all_by_role(Role::Row).count();
    let all = rows(&harness);
    harness.get_by_label("Exceptions only").click();
    harness.run();
    assert_eq!(rows(&harness), 5);
    assert!(all > 5);
    harness.get_by_role(Role::TextInput).focus();
    harness.run();
    harness.get_by_role(Role::TextInput).type_text("nowhere");
    harness.run();
    assert!(harness.query_by_role(Role::Row).is_none());
    assert!(
        harness
            .query_by_label("No row has all these words.")
            .is_some()
    );
}

#[test]
fn exceptions_stand_first_and_the_newest_of_them_on_top() {
    let mut harness = harness(scenes::desk(), Theme::Light, Vec2::new(1280.0, 900.0), 1.0);
    harness.key_press(Key::F4);
    harness.run();
    let mut rows: Vec<(f32, String)> = harness
        .get_all_by_role(Role::Row)
        .map(|row| {
            (
                row.rect().top(),
                row.accesskit_node().label().unwrap_or_default(),
            )
        })
        .collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let numbers: Vec<&str> = rows
        .iter()
        .filter_map(|(_, said)| said.split_whitespace().next())
        .collect();
    // The scene has a rejected attempt at every eleventh entry of sixty.
    assert_eq!(numbers[..7], ["55", "44", "33", "22", "11", "60", "59"]);
}

#[test]
fn a_fastener_says_its_place_and_state() {
    let harness = at_the_joint(|_| {});
    assert!(
        harness
            .query_by_label("Fastener 7, next, lower row, second from the front, number 6 in order")
            .is_some()
    );
    assert!(
        harness
            .query_by_label("Fastener 4, rejected, upper row, number 4 in order")
            .is_some()
    );
    assert!(
        harness
            .query_by_label_contains(
                "Angle 63.4 \u{b0}, window 90.0 to 94.0\u{b0}, 26.6\u{b0} to go"
            )
            .is_some()
    );
}

#[test]
fn a_rehearsal_says_so_on_every_screen() {
    let mut harness = harness(scenes::desk(), Theme::Dark, Vec2::new(800.0, 500.0), 1.0);
    for key in [
        Key::F2,
        Key::F3,
        Key::F4,
        Key::F5,
        Key::F6,
        Key::F7,
        Key::F8,
    ] {
        harness.key_press(key);
        harness.run();
        assert!(
            harness.query_by_label_contains("REHEARSAL").is_some(),
            "{key:?}"
        );
    }
}

#[test]
fn everything_that_is_pressed_is_big_enough_for_a_glove() {
    // 48 points: what a finger in a glove hits; twice the 24 CSS pixels of WCAG 2.2, 2.5.8.
    const LEAST: f32 = 48.0;
    for size in [Vec2::new(800.0, 500.0), Vec2::new(1280.0, 800.0)] {
        let mut harness = harness(scenes::desk(), Theme::Light, size, 1.0);
        for keys in [
            &[Key::F2][..],
            &[Key::F3],
            &[Key::F4],
            &[Key::F5],
            &[Key::F6],
            &[Key::F6, Key::E],
            &[Key::F7],
            &[Key::F8],
        ] {
            for key in keys {
                harness.key_press(*key);
                harness.run();
            }
            for role in [
                Role::Button,
                Role::Tab,
                Role::RadioButton,
                Role::TextInput,
                Role::Row,
            ] {
                for node in harness.query_all_by_role(role) {
                    let rect = node.rect();
                    assert!(
                        rect.height() >= LEAST && rect.width() >= LEAST,
                        "{:?} is {:?} on {keys:?} at {size:?}",
                        node.accesskit_node().label(),
                        rect.size()
                    );
                }
            }
            harness.key_press(Key::Escape);
            harness.run();
        }
    }
}
