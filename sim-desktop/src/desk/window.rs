//! Opens the window and keeps the desk and its model in step, frame by frame.
//!
//! Knows nothing of screens or of the job.

use std::panic::{self, AssertUnwindSafe};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use super::app::{Desk, Screen};
use super::icon::icon;
use super::model::{Model, ModelError};
use super::settings::Settings;
use super::sound::{Ears, Tone};
use super::theme;
use super::view::Ask;
use crate::disk;
use crate::recent::Recent;

/// Why there is no window.
#[derive(Debug)]
#[non_exhaustive]
pub enum DeskError {
    /// There is no display, or nothing that can draw on it; with what was tried.
    NoDisplay(String),
    /// The plan or its journal cannot be used.
    Model(ModelError),
}

impl std::fmt::Display for DeskError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoDisplay(what) => write!(
                f,
                "no window can be opened here ({what}); `evendraw rehearse` needs none, `evendraw --help` lists every command"
            ),
            Self::Model(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for DeskError {}

/// Dots along a side of the window's picture; desktops make smaller ones of it.
const ICON: u16 = 128;

/// The program in the window.
struct Window {
    desk: Desk,
    model: Model,
    ears: Ears,
    /// As they are kept.
    kept: Settings,
}

impl Window {
    /// Sound, where it is wanted and can be had.
    fn listen(&mut self) {
        let tone = self.ears.hear(self.model.view());
        if let Some(words) = self.ears.trouble() {
            self.desk.silence();
            self.model.tell(true, &words);
        }
        match (self.kept.sound, self.desk.settings().sound) {
            (false, true) => match self.ears.switched_on() {
                Ok(words) => {
                    self.model.tell(false, &words);
                    self.ears.play(Tone::There);
                }
                Err(words) => {
                    self.desk.silence();
                    self.model.tell(true, &words);
                }
            },
            (true, false) => self.model.tell(false, "sound off"),
            (true, true) => {
                if let Some(tone) = tone {
                    self.ears.play(tone);
                }
            }
            (false, false) => {}
        }
    }

    fn remember(&mut self) {
        let settings = self.desk.settings();
        if settings == self.kept {
            return;
        }
        self.kept = settings;
        if let Err(words) = settings.save(&settings_file()) {
            self.model.tell(true, &words);
        }
    }
}

fn settings_file() -> std::path::PathBuf {
    disk::state_folder().join("desk.toml")
}

impl eframe::App for Window {
    fn clear_color(&self, visuals: &egui::Visuals) -> [f32; 4] {
        visuals.panel_fill.to_normalized_gamma_f32()
    }

    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        let now = ui.input(|input| input.time);
        self.model.tick(now);
        for ask in self.desk.show(ui, self.model.view()) {
            self.model.carry_out(ask);
        }
        self.listen();
        self.remember();
        // Only while something moves: a desk at rest costs nothing.
        if let Some(pause) = self.model.wants_frame_after() {
            ui.ctx().request_repaint_after(pause);
        }
    }
}

/// The cause at the end of a windowing error, without the source files it names on the way.
fn last_words(error: &str) -> String {
    let words = error.rsplit(": ").next().unwrap_or(error);
    words.trim_end_matches(')').trim().to_owned()
}

/// Looks at the plan on disk once a second and wakes the window when it changed.
fn watch(context: egui::Context, path: std::path::PathBuf) {
    std::thread::spawn(move || {
        let stamp = || {
            std::fs::metadata(&path)
                .and_then(|data| data.modified())
                .ok()
        };
        let mut last = stamp();
        loop {
            std::thread::sleep(Duration::from_secs(1));
            let now = stamp();
            if now != last {
                last = now;
                context.request_repaint();
            }
        }
    });
}

/// Opens the desk on a plan, on a folder of builds, or on the built-in demo build, and stays until it is closed.
///
/// # Errors
/// [`DeskError::NoDisplay`] where no window can be opened; [`DeskError::Model`] when the plan's file or its journal cannot be read.
pub fn run(plan: Option<&Path>) -> Result<(), DeskError> {
    // A folder is a shelf of builds; the demo build lies behind it until one is opened.
    let shelf = plan.filter(|path| path.is_dir()).map(Path::to_owned);
    let plan = plan.filter(|_| shelf.is_none());
    let mut model = Model::open(plan).map_err(DeskError::Model)?;
    model.set_recent(Recent::of_this_user());
    let options = eframe::NativeOptions {
        viewport: egui::ViewportBuilder::default()
            .with_app_id("evendraw")
            .with_icon(egui::IconData {
                rgba: icon(ICON),
                width: ICON.into(),
                height: ICON.into(),
            })
            .with_title("Evendraw")
            .with_inner_size([1280.0, 800.0])
            .with_min_inner_size([640.0, 400.0]),
        // There is no shade on the desk that would need it, and a processor that paints has to pay for it.
        dithering: false,
        ..eframe::NativeOptions::default()
    };
    // A missing library of the display makes the windowing layer panic: that is no display, not a fault of ours.
    let told = Arc::new(Mutex::new(String::new()));
    let started = Arc::new(std::sync::atomic::AtomicBool::new(false));
    let before = panic::take_hook();
    {
        let (told, started) = (Arc::clone(&told), Arc::clone(&started));
        panic::set_hook(Box::new(move |info| {
            if started.load(std::sync::atomic::Ordering::Relaxed) {
                eprintln!("{info}");
            } else if let Ok(mut told) = told.lock() {
                *told = info
                    .to_string()
                    .lines()
                    .last()
                    .unwrap_or_default()
                    .trim()
                    .to_owned();
            }
        }));
    }
    let in_window = Arc::clone(&started);
    let result = panic::catch_unwind(AssertUnwindSafe(|| {
        eframe::run_native(
            "evendraw",
            options,
            Box::new(move |creation| {
                in_window.store(true, std::sync::atomic::Ordering::Relaxed);
                theme::dress(&creation.egui_ctx);
                if let Some(path) = model.plan_path() {
                    watch(creation.egui_ctx.clone(), path.to_owned());
                }
                let context = creation.egui_ctx.clone();
                model.set_wake(move || context.request_repaint());
                let kept = Settings::load(&settings_file());
                if let Some(dark) = kept.dark {
                    creation.egui_ctx.set_theme(if dark {
                        egui::Theme::Dark
                    } else {
                        egui::Theme::Light
                    });
                }
                let mut model = model;
                model.carry_out(Ask::NewtonMeters(kept.newton_meters));
                let path = std::env::var_os("PATH").unwrap_or_default();
                let mut desk = Desk::new(kept).on_clear_ground();
                if let Some(folder) = shelf {
                    model.carry_out(Ask::ReadShelf(folder));
                    desk = desk.in_front(Screen::Shelf);
                }
                Ok(Box::new(Window {
                    desk,
                    model,
                    ears: Ears::new(&path),
                    kept,
                }))
            }),
        )
    }));
    panic::set_hook(before);
    match result {
        Ok(Ok(())) => Ok(()),
        Ok(Err(error)) => Err(DeskError::NoDisplay(last_words(&error.to_string()))),
        Err(payload) if started.load(std::sync::atomic::Ordering::Relaxed) => {
            panic::resume_unwind(payload)
        }
        Err(_) => {
            let told = told.lock().map(|told| told.clone()).unwrap_or_default();
            Err(DeskError::NoDisplay(told))
        }
    }
}
