//! How long a frame of the desk takes without the graphics card: layout, shapes and triangles, for each screen and for a
//! record with a curve of a million samples. `cargo bench -p evendraw --bench desk`
#![cfg(feature = "desk")]

mod long_record;

use std::time::{Duration, Instant};

use egui::{Event, Key, Modifiers, RawInput, Rect, Vec2};
use evendraw::desk::app::Desk;
use evendraw::desk::edit_view::PlanAsk;
use evendraw::desk::model::Model;
use evendraw::desk::view::{Ask, DeskView};
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

/// A plan of so many joints, each with eight fasteners and three stages.
fn large(joints: usize) -> String {
    let mut text = String::from("[build]\ntitle = \"Harbour pump house\"\n");
    for number in 1..=joints {
        text += &format!(
            "\n# page {number}\n[[joint]]\nid = \"j{number}\"\ntitle = \"Flange {number}\"\nthread = \"M12\"\nclass = \"8.8\"\n\
             condition = \"oiled\"\ncircle = {{ number = 8, diameter = \"180 mm\" }}\norder = \"cross\"\n\n[[joint.stage]]\n\
             do = \"tighten\"\ntorque = \"20 N·m\"\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"33.2 lbf·ft\"\n\
             printed = \"45 N·m\"\n\n[[joint.stage]]\ndo = \"turn\"\nangle = \"90°\"\n"
        );
    }
    text
}

/// The plan screen while somebody types: in each frame a letter, everything that comes of it, layout and triangles.
fn typing(name: &str, text: &str, of: &str) {
    let folder = std::env::temp_dir().join(format!("evendraw-bench-edit-{}", std::process::id()));
    let mut model = Model::in_folder("large.toml", text, &folder);
    let context = egui::Context::default();
    theme::dress(&context);
    let mut desk = Desk::default();
    model.carry_out(Ask::Plan(PlanAsk::Select(of.to_owned())));
    let mut seconds = 0.0;
    let mut frame = |events: Vec<Event>, ask: Option<Ask>| {
        let input = RawInput {
            screen_rect: Some(Rect::from_min_size(
                egui::Pos2::ZERO,
                Vec2::new(1280.0, 800.0),
            )),
            events,
            ..RawInput::default()
        };
        seconds += 0.016;
        let began = Instant::now();
        model.tick(seconds);
        let mut asks: Vec<Ask> = ask.into_iter().collect();
        let mut output = context.run_ui(input, |ui| asks.extend(desk.show(ui, model.view())));
        for ask in asks {
            model.carry_out(ask);
        }
        let shapes = std::mem::take(&mut output.shapes);
        std::hint::black_box(context.tessellate(shapes, output.pixels_per_point));
        let took = began.elapsed();
        output.drop_without_applying_deltas();
        took
    };
    let key = |pressed| Event::Key {
        key: Key::F6,
        physical_key: None,
        pressed,
        repeat: false,
        modifiers: Modifiers::NONE,
    };
    for pressed in [true, false] {
        let _ = frame(vec![key(pressed)], None);
    }
    let _ = frame(Vec::new(), None);
    let mut times: Vec<Duration> = (0..FRAMES)
        .map(|number| {
            let typed = format!("{}.{} lbf·ft", 30 + number % 9, number % 10);
            let set = PlanAsk::Set(of.to_owned(), "torque".to_owned(), typed);
            frame(Vec::new(), Some(Ask::Plan(set)))
        })
        .collect();
    times.sort();
    let millis = |own: Duration| own.as_secs_f64() * 1e3;
    println!(
        "{name:>24}: {:>8.2} ms a frame with a letter typed, median of {FRAMES}; the longest {:.2} ms; {} bytes of text",
        millis(times[times.len() / 2]),
        millis(times[times.len() - 1]),
        text.len()
    );
    let _ = std::fs::remove_dir_all(&folder);
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
    typing("typing, demo", evendraw::plan::DEMO, "joint/2/stage/0");
    for joints in [100, 250, 300] {
        let of = format!("joint/{}/stage/1", joints / 2);
        typing(&format!("typing, {joints} joints"), &large(joints), &of);
    }
}
