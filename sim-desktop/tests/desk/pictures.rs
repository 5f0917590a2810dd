//! The desk in a harness, painted on the processor.

use egui::{Theme, Vec2};
use egui_kittest::{Harness, SnapshotOptions};
use evendraw::desk::app::Desk;
use evendraw::desk::theme;
use evendraw::desk::view::{Ask, DeskView};

use crate::raster::Raster;

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
