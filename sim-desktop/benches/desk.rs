//! How long a frame of the desk takes without the graphics card: layout, shapes and triangles, for each screen and for a
//! record with a curve of a million samples. `cargo bench -p evendraw --bench desk`
#![cfg(feature = "desk")]

mod long_record;

use std::time::{Duration, Instant};

use egui::{Event, Key, Modifiers, RawInput, Rect, Vec2};
use evendraw::desk::app::Desk;
use evendraw::desk::model::Model;
use evendraw::desk::view::DeskView;
use evendraw::desk::{theme, thin};

const FRAMES: usize = 200;

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

/// The median frame, how many corners of triangles it draws, and in how many pieces.
fn frames(view: &DeskView, keys: &[Key]) -> (Duration, usize, usize) {
    let context = egui::Context::default();
    theme::dress(&context);
    let mut desk = Desk::default();
    let (mut corners, mut pieces) = (0, 0);
    let mut frame = |events: Vec<Event>| {
        let input = RawInput {
            screen_rect: Some(Rect::from_min_size(
                egui::Pos2::ZERO,
                Vec2::new(1280.0, 800.0),
            )),
            events,
            ..RawInput::default()
        };
        let began = Instant::now();
        let mut output = context.run_ui(input, |ui| {
            std::hint::black_box(desk.show(ui, view));
        });
        let shapes = std::mem::take(&mut output.shapes);
        let painted = std::hint::black_box(context.tessellate(shapes, output.pixels_per_point));
        let took = began.elapsed();
        pieces = painted.len();
        corners = painted
            .iter()
            .map(|clipped| match &clipped.primitive {
                egui::epaint::Primitive::Mesh(mesh) => mesh.vertices.len(),
                egui::epaint::Primitive::Callback(_) => 0,
            })
            .sum();
        output.drop_without_applying_deltas();
        took
    };
    for key in keys {
        for pressed in [true, false] {
            let _ = frame(vec![Event::Key {
                key: *key,
                physical_key: None,
                pressed,
                repeat: false,
                modifiers: Modifiers::NONE,
            }]);
        }
    }
    let took = median((0..FRAMES).map(|_| frame(Vec::new())).collect());
    (took, corners, pieces)
}

fn tell(name: &str, (took, corners, pieces): (Duration, usize, usize)) {
    let millis = took.as_secs_f64() * 1e3;
    println!(
        "{name:>24}: {millis:>8.2} ms a frame, median of {FRAMES}; {corners} corners drawn in {pieces} pieces"
    );
}

fn main() {
    let folder = std::env::temp_dir().join(format!("evendraw-bench-{}", std::process::id()));
    let mut model = Model::in_folder("demo.toml", evendraw::plan::DEMO, &folder);
    model.go_on();
    model.tick(0.0);
    let view = model.view().clone();
    for (name, key) in [
        ("build", Key::F2),
        ("calculator", Key::F5),
        ("plan", Key::F6),
        ("handover", Key::F8),
    ] {
        tell(name, frames(&view, &[key]));
    }
    let points = long_record::points();
    let began = Instant::now();
    let kept = thin(&points, 0.0, 90.0, 1_000).len();
    println!(
        "{:>24}: {:>8.2} ms, once, {kept} points kept",
        "thinning 1,000,000",
        began.elapsed().as_secs_f64() * 1e3
    );
    let long = long_record::on(view);
    tell(
        "record, 1,000,000",
        frames(&long, &[Key::F4, Key::ArrowDown]),
    );
    let _ = std::fs::remove_dir_all(&folder);
}
