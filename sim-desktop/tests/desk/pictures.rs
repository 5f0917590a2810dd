//! The desk in a harness, and pictures of the main screens, light and dark, compared with the committed ones.
//!
//! `UPDATE_SNAPSHOTS=true cargo test -p evendraw --test desk` draws them anew; look at them before committing.

use egui::{Key, Theme, Vec2};
use egui_kittest::{Harness, SnapshotOptions};
use evendraw::desk::app::Desk;
use evendraw::desk::theme;
use evendraw::desk::view::{Ask, DeskView};

use crate::raster::Raster;
use crate::scenes;

/// A desk, the view it shows and what it has asked for.
#[derive(Default)]
pub(crate) struct Scene {
    pub(crate) desk: Desk,
    pub(crate) view: DeskView,
    pub(crate) asked: Vec<Ask>,
}

pub(crate) fn harness(
    view: DeskView,
    theme: Theme,
    size: Vec2,
    scale: f32,
) -> Harness<'static, Scene> {
    let scene = Scene {
        view,
        ..Scene::default()
    };
    let mut harness = Harness::builder()
        .with_size(size)
        .with_pixels_per_point(scale)
        .with_theme(theme)
        .with_context_setup(theme::dress)
        .with_options(SnapshotOptions::new().output_path("tests/desk/pictures"))
        .renderer(Raster::default())
        .build_ui_state(
            |ui, scene: &mut Scene| {
                let asks = scene.desk.show(ui, &scene.view);
                scene.asked.extend(asks);
            },
            scene,
        );
    harness.run();
    harness
}

const SIZE: Vec2 = Vec2::new(1000.0, 640.0);

#[test]
fn the_main_screens_look_as_they_did() {
    let mut results = egui_kittest::SnapshotResults::new();
    for (theme, key, name) in [
        (Theme::Light, Key::F2, "build_light"),
        (Theme::Dark, Key::F2, "build_dark"),
        (Theme::Light, Key::F3, "joint_light"),
        (Theme::Dark, Key::F3, "joint_dark"),
        (Theme::Light, Key::F4, "record_light"),
        (Theme::Dark, Key::F6, "plan_dark"),
        (Theme::Light, Key::F7, "compare_light"),
        (Theme::Light, Key::F1, "keys_light"),
    ] {
        let mut harness = harness(scenes::desk(), theme, SIZE, 1.0);
        harness.key_press(key);
        harness.run();
        harness.snapshot(name);
        results.extend_harness(&mut harness);
    }
    let mut view = scenes::desk();
    if let Some(joint) = &mut view.joint {
        joint.prompt = Some(scenes::alert());
    }
    let mut harness = harness(view, Theme::Light, SIZE, 1.0);
    harness.key_press(Key::F3);
    harness.run();
    harness.snapshot("joint_alert_light");
    results.extend_harness(&mut harness);
}
