//! The real desk in a harness: plan, sessions, journal and bench, driven by key through the window's own frame loop.
//!
//! Knows nothing of what a test wants of it.

use std::path::{Path, PathBuf};

use egui::{Key, Theme, Vec2};
use egui_kittest::{Harness, SnapshotOptions};
use evendraw::desk::app::Desk;
use evendraw::desk::model::Model;
use evendraw::desk::theme;
use evendraw::desk::view::{JointView, RecordRow};
use evendraw::store::Purpose;

use crate::raster::Raster;

/// The window without its frame.
pub(crate) struct Window {
    pub(crate) desk: Desk,
    pub(crate) model: Model,
    pub(crate) seconds: f64,
}

/// A window on this model, as large as a small screen; where nobody said whether it is work, as it was left.
pub(crate) fn window(mut model: Model) -> Driven {
    model.go_on();
    asking(model)
}

/// The same, as real work.
pub(crate) fn at_work(mut model: Model) -> Driven {
    model.begin(Purpose::Job);
    asking(model)
}

/// The same, before anybody said whether this is work or a rehearsal.
pub(crate) fn asking(model: Model) -> Driven {
    pictured(model, Vec2::new(1280.0, 800.0), "tests/desk/pictures")
}

/// The same in this size, its pictures in that folder.
pub(crate) fn pictured(model: Model, size: Vec2, pictures: &str) -> Driven {
    let window = Window {
        desk: Desk::default(),
        model,
        seconds: 0.0,
    };
    let mut harness = Harness::builder()
        .with_size(size)
        .with_options(SnapshotOptions::new().output_path(pictures))
        .with_theme(Theme::Light)
        .with_context_setup(theme::dress)
        .with_max_steps(8)
        .renderer(Raster::default())
        .build_ui_state(
            |ui, window: &mut Window| {
                window.seconds += 0.1;
                window.model.tick(window.seconds);
                for ask in window.desk.show(ui, window.model.view()) {
                    window.model.carry_out(ask);
                }
            },
            window,
        );
    harness.step();
    harness
}

/// An empty folder of its own, cleaned up with the test.
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub(crate) fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("evendraw-desk-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// One joint, five fasteners, two passes: nothing to ask.
pub(crate) const COVER: &str = r#"
[build]
title = "Harbour pump 7"

[[joint]]
id = "cover"
title = "Discharge cover"
thread = "M10x1.5"
class = "8.8"
positions = { 1 = [0, 60], 2 = [57, 19], 3 = [35, -49], 4 = [-35, -49], 5 = [-57, 19] }
order = "cross"

[[joint.stage]]
do = "tighten"
torque = "15 N·m"
within = "±10 %"

[[joint.stage]]
do = "tighten"
torque = "40 N·m"
within = "±10 %"
"#;

/// The window, driven by key.
pub(crate) type Driven = Harness<'static, Window>;

/// The cover in the window, the hand fifty times as fast as life.
pub(crate) fn cover(folder: &Folder) -> Driven {
    let mut model = Model::in_folder("cover.toml", COVER, folder.path());
    model.set_pace(50.0);
    model.set_browser(false);
    window(model)
}

/// The joint in front.
pub(crate) fn joint(harness: &Driven) -> &JointView {
    let view = harness.state().model.view();
    view.joint.as_ref().expect("a joint is open")
}

/// The record as the screen shows it.
pub(crate) fn record(harness: &Driven) -> &[RecordRow] {
    &harness.state().model.view().record
}

/// How many attempts have their verdict.
pub(crate) fn verdicts(window: &Window) -> usize {
    let rows = window.model.view().record.iter();
    rows.filter(|row| row.attempt > 0).count()
}

/// Opens what is next and lets the hand do one fastener.
pub(crate) fn one_verdict(harness: &mut Driven) {
    press(harness, Key::Enter);
    press(harness, Key::H);
    wait_until(harness, "one verdict", |window| verdicts(window) > 0);
}

/// Lets the hand work until the joint is final.
pub(crate) fn to_the_end(harness: &mut Driven) {
    press(harness, Key::J);
    wait_until(harness, "the joint is final", |window| {
        window.model.is_joint_final()
    });
    harness.step();
}

/// One key, and the frame after it.
pub(crate) fn press(harness: &mut Driven, key: Key) {
    harness.key_press(key);
    harness.step();
    harness.step();
}

/// Frames until something is so; what stands in its way is told when it never is.
pub(crate) fn wait_until(harness: &mut Driven, what: &str, done: impl Fn(&Window) -> bool) {
    for _ in 0..600 {
        if done(harness.state()) {
            return;
        }
        harness.step();
    }
    let view = harness.state().model.view();
    let record: Vec<&str> = view.record.iter().map(|row| row.words.as_str()).collect();
    panic!(
        "never: {what}; notice {:?}, prompt {:?}, record {record:?}",
        view.notice,
        view.joint.as_ref().map(|joint| &joint.prompt)
    );
}
