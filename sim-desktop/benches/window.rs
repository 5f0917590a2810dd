//! How long a whole frame takes in a real window: layout, triangles, and painting by the graphics layer.
//!
//! Opens the window, draws frames as fast as they go with the screens of `benches/desk.rs` (the record with a curve of a million
//! samples last), and prints medians. It needs a display:
//!
//! ```sh
//! xvfb-run -s "-screen 0 1280x800x24 +extension GLX" env LIBGL_ALWAYS_SOFTWARE=1 cargo bench -p evendraw --bench window
//! ```
#![cfg(feature = "desk")]

mod long_record;

use std::time::{Duration, Instant};

use egui::{Event, Key, Modifiers};
use evendraw::desk::app::Desk;
use evendraw::desk::model::Model;
use evendraw::desk::theme;
use evendraw::desk::view::DeskView;

const FRAMES: usize = 200;
/// Frames before the first that counts: letters are drawn into the texture, the curve is thinned.
const BEFORE: usize = 20;

/// One screen to be measured.
struct Scene {
    name: &'static str,
    view: DeskView,
    keys: &'static [Key],
}

struct Bench {
    desk: Desk,
    scenes: Vec<Scene>,
    at: usize,
    frame: usize,
    began: Option<Instant>,
    whole: Vec<Duration>,
    worked: Vec<Duration>,
    /// Processor time of this process, all threads, when the first frame that counts began.
    spent: Option<f64>,
}

/// Processor time that this process used so far, in ms: where others use the machine too, it says more than the clock on the wall.
fn processor_ms() -> Option<f64> {
    // [Linux, proc_pid_stat(5)]: user and system time are fields 14 and 15, in hundredths of a second on every usual kernel.
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let field = |number: usize| fields.get(number - 3)?.parse::<f64>().ok();
    Some((field(14)? + field(15)?) * 10.0)
}

impl eframe::App for Bench {
    fn clear_color(&self, visuals: &egui::Visuals) -> [f32; 4] {
        visuals.panel_fill.to_normalized_gamma_f32()
    }

    fn raw_input_hook(&mut self, _: &egui::Context, input: &mut egui::RawInput) {
        let Some(scene) = self.scenes.get(self.at) else {
            return;
        };
        let (place, pressed) = (self.frame / 2, self.frame.is_multiple_of(2));
        if let Some(&key) = scene.keys.get(place) {
            input.events.push(Event::Key {
                key,
                physical_key: None,
                pressed,
                repeat: false,
                modifiers: Modifiers::NONE,
            });
        }
    }

    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut eframe::Frame) {
        ui.ctx().request_repaint();
        let now = Instant::now();
        let since = self.began.replace(now).map(|began| now - began);
        let Some(scene) = self.scenes.get(self.at) else {
            return;
        };
        if self.frame == BEFORE {
            self.spent = processor_ms();
        }
        if self.frame > BEFORE {
            // From one beginning to the next, and what of it was not waiting for the display.
            self.whole.extend(since);
            let worked = frame.info().cpu_usage.map(Duration::from_secs_f32);
            self.worked.extend(worked);
        }
        let _ = self.desk.show(ui, &scene.view);
        self.frame += 1;
        if self.whole.len() >= FRAMES {
            let spent = processor_ms()
                .zip(self.spent)
                .map_or(f64::NAN, |(now, then)| now - then);
            tell(scene.name, &mut self.whole, &mut self.worked, spent);
            self.desk = Desk::default().on_clear_ground();
            self.at += 1;
            self.frame = 0;
            self.whole.clear();
            self.worked.clear();
            if self.at == self.scenes.len() {
                ui.ctx().send_viewport_cmd(egui::ViewportCommand::Close);
            }
        }
    }
}

fn tell(name: &str, whole: &mut [Duration], worked: &mut [Duration], spent: f64) {
    let at = |times: &mut [Duration], share: usize| {
        times.sort();
        let place = (times.len() * share / 100).min(times.len().saturating_sub(1));
        times
            .get(place)
            .map_or(f64::NAN, |time| time.as_secs_f64() * 1e3)
    };
    let frames = u32::try_from(whole.len()).unwrap_or(u32::MAX);
    println!(
        "{name:>24}: {:>6.2} ms a frame, 95 % below {:>6.2}; {:>6.2} ms of it before the display is waited for; {:>5.1} ms of processor time; {frames} frames",
        at(whole, 50),
        at(whole, 95),
        at(worked, 50),
        spent / f64::from(frames.max(1)),
    );
}

fn scenes() -> Vec<Scene> {
    let folder = std::env::temp_dir().join(format!("evendraw-bench-{}", std::process::id()));
    let mut model = Model::in_folder("demo.toml", evendraw::plan::DEMO, &folder);
    model.go_on();
    model.tick(0.0);
    let view = model.view().clone();
    let _ = std::fs::remove_dir_all(&folder);
    let long = long_record::on(view.clone());
    let scene = |name, keys| Scene {
        name,
        view: view.clone(),
        keys,
    };
    vec![
        scene("build", &[Key::F2]),
        scene("calculator", &[Key::F5]),
        scene("plan", &[Key::F6]),
        scene("handover", &[Key::F8]),
        Scene {
            name: "record, 1,000,000",
            view: long,
            keys: &[Key::F4, Key::ArrowDown],
        },
    ]
}

fn main() {
    let mut options = eframe::NativeOptions {
        viewport: egui::ViewportBuilder::default().with_inner_size([1280.0, 800.0]),
        ..eframe::NativeOptions::default()
    };
    // As `desk/window.rs` has it.
    options.dithering = false;
    options.glow_options.vsync = false;
    let opened = eframe::run_native(
        "evendraw frames",
        options,
        Box::new(|creation| {
            theme::dress(&creation.egui_ctx);
            Ok(Box::new(Bench {
                desk: Desk::default().on_clear_ground(),
                scenes: scenes(),
                at: 0,
                frame: 0,
                began: None,
                whole: Vec::new(),
                worked: Vec::new(),
                spent: None,
            }))
        }),
    );
    if let Err(error) = opened {
        println!("not measured: no window can be opened here ({error})");
    }
}
