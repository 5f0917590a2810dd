//! From a line that an instrument prints to the cue on the screen, in a real window, and what the processor does meanwhile.
//!
//! A pseudo terminal prints 1,000 lines a second, eight pulls of them; every frame says which line it shows. It needs a display:
//!
//! ```sh
//! xvfb-run -s "-screen 0 1280x800x24 +extension GLX" env LIBGL_ALWAYS_SOFTWARE=1 cargo bench -p evendraw --bench lines
//! ```
#![cfg(all(unix, feature = "desk"))]

use std::io::Write as _;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use evendraw::desk::app::Desk;
use evendraw::desk::model::Model;
use evendraw::desk::theme;
use evendraw::desk::view::{Ask, Cue};
use evendraw::store::Purpose;
use serialport::{SerialPort as _, TTYPort};

const RATE: u64 = 1_000;
const PULLS: u32 = 8;
/// Lines of a pull: at rest, rising, let go of.
const REST: u32 = 1_500;
const RISE: u32 = 2_000;
const FALL: u32 = 100;
/// Where a pull ends, in mN·m: fifteen a line.
const PEAK: u32 = 30_000;

const PLAN: &str = r#"
[build]
title = "Harbour pump 7"

[[tool]]
id = "S1"
kind = "stream"
capacity = "100 N·m"
lowest = "1 N·m"

[[joint]]
id = "cover"
circle = { number = 24, diameter = "300 mm" }

[[joint.stage]]
do = "tighten"
torque = "30 N·m"
within = "±10 %"
"#;

/// When each line of the rise was printed: by pull and mN·m.
type Printed = Arc<Mutex<Vec<(u32, Instant)>>>;

/// Processor time in ms, of this process or of the thread that asks.
fn processor_ms(of: &str) -> f64 {
    // [Linux, proc_pid_stat(5)]: user and system time are fields 14 and 15, in hundredths of a second on every usual kernel.
    let stat = std::fs::read_to_string(format!("/proc/{of}/stat")).unwrap_or_default();
    let rest = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    let fields: Vec<&str> = rest.split_whitespace().collect();
    let field = |number: usize| {
        fields
            .get(number - 3)
            .and_then(|text| text.parse::<f64>().ok())
    };
    (field(14).unwrap_or(f64::NAN) + field(15).unwrap_or(f64::NAN)) * 10.0
}

/// Prints the pulls, and says what that cost.
fn print(mut port: TTYPort, printed: &Printed, over: &AtomicBool, cost: &Mutex<f64>) {
    let began = Instant::now();
    let mut line = 0_u64;
    let mut say = |torque: f64, angle: f64| {
        line += 1;
        let due = began + Duration::from_micros(line * 1_000_000 / RATE);
        if let Some(left) = due.checked_duration_since(Instant::now()) {
            std::thread::sleep(left);
        }
        if line % 250 == 1 {
            let _ = port.write_all(b"time_s,torque_Nm,angle_deg\n");
        }
        let time = f64::from(u32::try_from(line).unwrap_or(u32::MAX)) / 1_000.0;
        let _ = writeln!(port, "{time:.3},{torque:.3},{angle:.3}");
    };
    for pull in 0..PULLS {
        let from = f64::from(pull) * 30.0;
        (0..REST).for_each(|_| say(0.0, from));
        if let Ok(mut printed) = printed.lock() {
            printed.clear();
        }
        for at in 1..=RISE {
            let torque = PEAK * at / RISE;
            say(
                f64::from(torque) / 1_000.0,
                from + f64::from(torque) / 1_000.0 * 1.05,
            );
            if let Ok(mut printed) = printed.lock() {
                printed.push((torque, Instant::now()));
            }
        }
        for at in (0..FALL).rev() {
            let torque = f64::from(PEAK * at / FALL) / 1_000.0;
            say(torque, from + 30.0 + torque * 0.05);
        }
    }
    (0..RATE * 3).for_each(|_| say(0.0, 0.0));
    if let Ok(mut cost) = cost.lock() {
        *cost = processor_ms("thread-self");
    }
    over.store(true, Ordering::Relaxed);
}

struct Bench {
    desk: Desk,
    model: Model,
    port: String,
    printed: Printed,
    over: Arc<AtomicBool>,
    cost: Arc<Mutex<f64>>,
    began: Instant,
    begun: bool,
    /// What the last frame showed: when it began, the newest line in it, the oldest one that the frame before did not show.
    last: Option<(Instant, Instant, Instant, Cue)>,
    shown: u32,
    cue: Cue,
    lines: Vec<Duration>,
    cues: Vec<Duration>,
    frames: u32,
}

impl Bench {
    /// The frame before is on the screen now: what it showed is as old as this.
    fn count(&mut self, painting: Duration) {
        let Some((frame, newest, oldest, cue)) = self.last.take() else {
            return;
        };
        let on_screen = frame + painting;
        self.lines.push(on_screen.saturating_duration_since(newest));
        self.lines.push(on_screen.saturating_duration_since(oldest));
        if cue != self.cue {
            self.cue = cue;
            // Any of the lines that came since may have been the one: the oldest.
            self.cues.push(on_screen.saturating_duration_since(oldest));
        }
    }

    fn look(&mut self, frame: Instant) {
        let Some(joint) = &self.model.view().joint else {
            return;
        };
        let Some(value) = joint.live.gauges.first().and_then(|gauge| gauge.value) else {
            return;
        };
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a torque of the pull, in mN·m"
        )]
        let torque = (value * 1_000.0).round().max(0.0) as u32;
        if !joint.live.loaded || torque < 1_000 {
            self.shown = 0;
            return;
        }
        let Ok(printed) = self.printed.lock() else {
            return;
        };
        let newest = printed.iter().rev().find(|(own, _)| *own <= torque);
        let oldest = printed.iter().find(|(own, _)| *own > self.shown);
        let (Some(&(shown, newest)), Some(&(_, oldest))) = (newest, oldest) else {
            return;
        };
        if shown > self.shown && self.shown > 0 {
            self.last = Some((frame, newest, oldest, joint.live.cue));
        }
        self.shown = shown;
    }

    fn tell(&mut self) {
        let at = |times: &mut Vec<Duration>, share: usize| {
            times.sort();
            let place = (times.len() * share / 100).min(times.len().saturating_sub(1));
            times
                .get(place)
                .map_or(f64::NAN, |time| time.as_secs_f64() * 1e3)
        };
        let passed = self.began.elapsed().as_secs_f64() * 1e3;
        let printing = self.cost.lock().map_or(f64::NAN, |cost| *cost);
        println!(
            "line to screen: median {:.1} ms, 95 % below {:.1}, worst {:.1}; {} lines in {} frames",
            at(&mut self.lines, 50),
            at(&mut self.lines, 95),
            at(&mut self.lines, 100),
            self.lines.len(),
            self.frames,
        );
        println!(
            "line to cue:    median {:.1} ms, worst {:.1}; {} cues",
            at(&mut self.cues, 50),
            at(&mut self.cues, 100),
            self.cues.len(),
        );
        println!(
            "processor: {:.0} % of one core by the desk, {:.0} % by what prints",
            (processor_ms("self") - printing) / passed * 100.0,
            printing / passed * 100.0,
        );
    }
}

impl eframe::App for Bench {
    fn clear_color(&self, visuals: &egui::Visuals) -> [f32; 4] {
        visuals.panel_fill.to_normalized_gamma_f32()
    }

    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut eframe::Frame) {
        let now = Instant::now();
        let painting = frame.info().cpu_usage.map(Duration::from_secs_f32);
        self.count(painting.unwrap_or_default());
        if !self.begun {
            self.begun = true;
            let context = ui.ctx().clone();
            self.model.set_wake(move || context.request_repaint());
            self.model.carry_out(Ask::OpenJoint("cover".to_owned()));
            let port = self.port.clone();
            self.model.carry_out(Ask::Lines("S1".to_owned(), port));
            self.model.carry_out(Ask::Person("R. Falk".to_owned()));
        }
        self.model.tick(ui.input(|input| input.time));
        self.look(now);
        for ask in self.desk.show(ui, self.model.view()) {
            self.model.carry_out(ask);
        }
        self.frames += 1;
        if let Some(pause) = self.model.wants_frame_after() {
            ui.ctx().request_repaint_after(pause);
        }
        if self.over.swap(false, Ordering::Relaxed) {
            self.tell();
            ui.ctx().send_viewport_cmd(egui::ViewportCommand::Close);
        }
    }
}

fn main() {
    let folder = std::env::temp_dir().join(format!("evendraw-lines-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let (mut port, slave) = TTYPort::pair().expect("a pseudo terminal");
    port.set_timeout(Duration::from_millis(500))
        .expect("a time to wait");
    let name = slave.name().expect("it has a path");
    drop(slave);
    let (printed, over, cost) = (
        Printed::default(),
        Arc::new(AtomicBool::new(false)),
        Arc::new(Mutex::new(0.0)),
    );
    let (mut options, own) = (eframe::NativeOptions::default(), folder.clone());
    options.viewport = egui::ViewportBuilder::default().with_inner_size([1280.0, 800.0]);
    // As `desk/window.rs` has it.
    options.dithering = false;
    options.glow_options.vsync = false;
    let opened = eframe::run_native(
        "evendraw lines",
        options,
        Box::new(move |creation| {
            theme::dress(&creation.egui_ctx);
            let mut model = Model::in_folder("cover.toml", PLAN, &own);
            model.set_browser(false);
            model.begin(Purpose::Job);
            let told = (Arc::clone(&printed), Arc::clone(&over), Arc::clone(&cost));
            std::thread::spawn(move || print(port, &told.0, &told.1, &told.2));
            Ok(Box::new(Bench {
                desk: Desk::default().on_clear_ground(),
                model,
                port: name,
                printed,
                over,
                cost,
                began: Instant::now(),
                begun: false,
                last: None,
                shown: 0,
                cue: Cue::default(),
                lines: Vec::new(),
                cues: Vec::new(),
                frames: 0,
            }))
        }),
    );
    if let Err(error) = opened {
        println!("not measured: no window can be opened here ({error})");
    }
    let _ = std::fs::remove_dir_all(&folder);
}
