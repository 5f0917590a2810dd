//! The frame round every screen: the rehearsal band, the rail of screens, the title block, and the keys that work anywhere.
//!
//! Knows nothing of the job: a view goes in, asks come out.

use super::actions;
use super::adapter;
use super::beside;
use super::build::{self, BuildState};
use super::calculator::{self, Calculator};
use super::compare::{self, CompareState};
use super::curve::hatch;
use super::handover;
use super::ink::{self, Ink as _};
use super::joint::{self, JointState};
use super::keys::Page;
use super::overlay::{self, Overlay};
use super::paper::{self, PaperState};
use super::plan::{self, PlanState};
use super::record::{self, RecordState};
use super::settings::Settings;
use super::shelf::{self, ShelfState};
use super::theme::{self, BODY, Colours, GAP, NOTE};
use super::tonight;
use super::view::{About, Act, Ask, DeskView, Heard, JointView, Readings, Status};
use super::widgets::{LEAST, count, focus_ring, ground, line, pressed, silent_line, speak};
use crate::limited::Limited as _;
use crate::words;
use egui::accesskit::Role;
use egui::{Align2, Key, Rect, Sense, Stroke, Ui, pos2, vec2};

/// How much larger than on a laptop things are drawn at most: a wall of 10,240 points. Beyond it letters would only fill memory.
const ZOOM_MAX: f32 = 8.0;

/// The screens, in the order of the rail.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Screen {
    /// The build at a glance.
    #[default]
    Build,
    /// The joint at work.
    Joint,
    /// The record.
    Record,
    /// The calculator.
    Calculator,
    /// The plan.
    Plan,
    /// Orders compared.
    Compare,
    /// The handover.
    Handover,
    /// The shelf of builds.
    Shelf,
    /// A working sheet typed back; reached from the record.
    Paper,
    /// The evening before it begins; reached from build and handover.
    Tonight,
}

impl Screen {
    /// Every screen with its word and key.
    pub const ALL: [(Self, &'static str, Key); 8] = [
        (Self::Build, "Build", Key::F2),
        (Self::Joint, "Joint", Key::F3),
        (Self::Record, "Record", Key::F4),
        (Self::Calculator, "Calculator", Key::F5),
        (Self::Plan, "Plan", Key::F6),
        (Self::Compare, "Compare", Key::F7),
        (Self::Handover, "Handover", Key::F8),
        (Self::Shelf, "Shelf", Key::Num0),
    ];
}

/// Everything the window remembers that is not the job.
#[derive(Debug, Default)]
pub struct Desk {
    /// The screen in front.
    pub screen: Screen,
    /// What lies over it.
    overlay: Option<Overlay>,
    /// What is said once it is known who says it.
    unsigned: Option<Ask>,
    /// What is remembered from one day to the next.
    settings: Settings,
    /// Whoever shows the frame clears it in the page's colour first.
    ground_is_clear: bool,
    /// The first frame was drawn.
    begun: bool,
    build: BuildState,
    joint: JointState,
    record: RecordState,
    calculator: Calculator,
    plan: PlanState,
    compare: CompareState,
    shelf: ShelfState,
    paper: PaperState,
}

impl Desk {
    /// A desk as this person left it.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        Self {
            settings,
            ..Self::default()
        }
    }

    /// With this screen in front, whatever was in hand.
    #[must_use]
    pub fn in_front(self, screen: Screen) -> Self {
        Self {
            screen,
            begun: true,
            ..self
        }
    }

    /// How this person likes it now.
    #[must_use]
    pub const fn settings(&self) -> Settings {
        self.settings
    }

    /// Sound stays off after all: there is nothing to play it with.
    pub const fn silence(&mut self) {
        self.settings.sound = false;
    }

    /// For a window that clears every frame in the page's colour (`panel_fill`): the page is not painted a second time then, which
    /// is a good part of the work where the processor paints.
    #[must_use]
    pub fn on_clear_ground(self) -> Self {
        Self {
            ground_is_clear: true,
            ..self
        }
    }

    /// Draws the whole window; returns what was asked for.
    pub fn show(&mut self, ui: &mut Ui, view: &DeskView) -> Vec<Ask> {
        let mut asks = Vec::new();
        let colours = Colours::of(ui);
        self.fit(ui.ctx());
        if !self.begun {
            self.begun = true;
            // A plan that cannot be worked is shown where it is wrong.
            if view.status.joints.is_empty()
                && view.plan.findings.iter().any(|finding| !finding.warning)
            {
                self.screen = Screen::Plan;
            } else if view.joint.is_some() {
                // Where it was left.
                self.screen = Screen::Joint;
            }
        }
        ui.set_clip_rect(ui.ctx().content_rect());
        let window = ground(ui.ctx());
        if !self.ground_is_clear {
            ui.painter().rect_filled(window, 0.0, colours.page);
        }
        // An overlay takes its keys before anything below can.
        if let Some(overlay) = &mut self.overlay
            && overlay::show(ui, overlay, view, &mut asks)
        {
            self.overlay = None;
            // The key that closed it is spent; what is below sees the next one.
            ui.input_mut(|input| {
                input
                    .events
                    .retain(|event| !matches!(event, egui::Event::Key { .. }))
            });
        }
        let is_typed = |joint: &JointView| joint.typing.is_some() && joint.prompt.is_none();
        if self.screen == Screen::Joint
            && self.overlay.is_none()
            && view.joint.as_ref().is_some_and(is_typed)
        {
            self.joint.typing.hear(ui);
        }
        self.choose(&view.status, &mut asks);
        self.anywhere(ui, view, &mut asks);
        let mut rest = window;
        if view.status.rehearsal || view.status.demo {
            let band = Rect::from_min_size(window.min, vec2(window.width(), 28.0));
            unreal_band(ui, band, &view.status);
            rest.min.y = band.bottom();
        }
        if let Some(link) = view
            .build
            .link
            .as_ref()
            .filter(|link| link.heard != Heard::Connected)
        {
            let band = Rect::from_min_size(rest.min, vec2(window.width(), 34.0));
            adapter::band(ui, band, link);
            rest.min.y = band.bottom();
        }
        let far = self.screen == Screen::Joint && self.joint.far && view.joint.is_some();
        if !far {
            let block = Rect::from_min_max(pos2(rest.left(), rest.bottom() - 50.0), rest.max);
            rest.max.y = block.top();
            let rail = Rect::from_min_max(rest.min, pos2(rest.left() + 88.0, rest.bottom()));
            rest.min.x = rail.right();
            self.rail(ui, rail);
            self.title_block(ui, block, view, &mut asks);
        }
        let mut page = rest.shrink(if far { GAP / 2.0 } else { GAP + 2.0 });
        if let Some(notice) = &view.notice {
            let place = Rect::from_min_size(page.min, vec2(page.width(), 30.0));
            let (ground, hue) = if notice.bad {
                (colours.bad_tint, colours.bad)
            } else {
                (colours.good_tint, colours.good)
            };
            ui.painter().rect_filled(place, 0.0, ground);
            line(
                ui,
                place.shrink2(vec2(12.0, 0.0)),
                Align2::LEFT_CENTER,
                &notice.words,
                theme::strong(BODY),
                hue,
            );
            if notice.take_back {
                // The whole line is the button; the key says it once more.
                let id = ui.scope_id().with("take back");
                let response = ui.interact(place, id, Sense::click());
                let said = format!("{}. Take it back", notice.words);
                response.widget_info(|| ink::labeled(Role::Button, true, &said));
                line(
                    ui,
                    place.shrink2(vec2(12.0, 0.0)),
                    Align2::RIGHT_CENTER,
                    "Backspace takes it back",
                    theme::strong(BODY),
                    colours.next,
                );
                focus_ring(ui, &response, place);
                if response.clicked() || (self.overlay.is_none() && pressed(ui, Key::Backspace)) {
                    asks.push(Ask::TakeLastBack);
                }
            }
            page.min.y = place.bottom() + GAP;
        }
        let free = self.overlay.is_none();
        match self.screen {
            Screen::Build => build::show(ui, page, view, &mut self.build, free, &mut asks),
            Screen::Joint => joint::show(
                ui,
                page,
                view,
                &mut self.joint,
                &mut self.overlay,
                &mut asks,
            ),
            Screen::Record => record::show(
                ui,
                page,
                view,
                &mut self.record,
                &mut self.overlay,
                &mut asks,
            ),
            Screen::Calculator => calculator::show(ui, page, &mut self.calculator, free),
            Screen::Plan => {
                plan::show(ui, page, view, &mut self.plan, &mut self.overlay, &mut asks)
            }
            Screen::Compare => compare::show(ui, page, view, &mut self.compare, free, &mut asks),
            Screen::Handover => handover::show(ui, page, view, free, &mut asks),
            Screen::Shelf => shelf::show(ui, page, &view.shelf, &mut self.shelf, free, &mut asks),
            Screen::Paper => {
                if paper::show(ui, page, view, &mut self.paper, free, &mut asks) {
                    self.screen = Screen::Record;
                }
            }
            Screen::Tonight => {
                if tonight::show(ui, page, view, free, &mut asks) {
                    self.screen = Screen::Build;
                }
            }
        }
        if self.screen != Screen::Paper && view.paper.is_some()
            || self.screen != Screen::Tonight && view.tonight.is_some()
        {
            asks.push(Ask::PutAside);
        }
        // Opening a joint goes to it; closing one goes back.
        self.choose(&view.status, &mut asks);
        self.ask_for_a_name(view, &mut asks);
        let mut wants_plan = false;
        for ask in &asks {
            match ask {
                // Where it was left, once it is known which.
                Ask::Act(Act::Begin(_), _) => self.begun = false,
                Ask::Act(Act::OpenPlan, _) => wants_plan = true,
                Ask::Act(Act::NewPlan, _) => {
                    self.plan.begin();
                    self.screen = Screen::Plan;
                }
                Ask::OpenJoint(joint) if joint.is_empty() => self.screen = Screen::Build,
                Ask::OpenJoint(_) => {
                    self.joint = self.joint.anew();
                    self.screen = Screen::Joint;
                }
                Ask::OpenBuild(_) => self.screen = Screen::Build,
                Ask::Paper => self.screen = Screen::Paper,
                Ask::Tonight => self.screen = Screen::Tonight,
                _ => {}
            }
        }
        if wants_plan {
            self.overlay = Some(Overlay::plan(&mut asks));
        }
        asks
    }

    /// Opens what a choice of the list leads to: that is the desk's own, and nobody else hears of it.
    fn choose(&mut self, status: &Status, asks: &mut Vec<Ask>) {
        asks.retain(|ask| {
            let Ask::Choices(about) = ask else {
                return true;
            };
            if *about == About::Threads {
                self.screen = Screen::Calculator;
                self.calculator.ask_of_threads();
            } else {
                self.overlay = Some(beside::choices(status, about));
            }
            false
        });
    }

    /// What is said by a name waits until there is one.
    fn ask_for_a_name(&mut self, view: &DeskView, asks: &mut Vec<Ask>) {
        if self.overlay.is_none() && !asks.iter().any(|ask| matches!(ask, Ask::Person(_))) {
            // It was left without a name.
            self.unsigned = None;
        }
        if view.build.person.is_none() && !view.status.rehearsal {
            asks.retain(|ask| {
                if ask.is_signed() {
                    self.unsigned = Some(ask.clone());
                    self.overlay = Some(Overlay::person());
                }
                !ask.is_signed()
            });
        }
        if asks.iter().any(|ask| matches!(ask, Ask::Person(_))) {
            asks.extend(self.unsigned.take());
        }
    }

    /// A line not to be forgotten: about the joint in front, or the build.
    fn remind(&mut self, view: &DeskView) {
        let joint = view.joint.as_ref().filter(|_| self.screen == Screen::Joint);
        self.overlay = Some(Overlay::Reminder(joint.map_or_else(
            beside::Line::default,
            |joint| {
                let place = match joint.next() {
                    Some(next) => format!(", fastener {}", next.label),
                    None => String::new(),
                };
                beside::Line {
                    about: joint.id.clone(),
                    title: joint.title.clone(),
                    work: format!("{}{place}", joint.title),
                    ..beside::Line::default()
                }
            },
        )));
    }

    /// Fits the drawing to the window: never less than 800 by 500 points to draw on, and larger on a wall screen.
    fn fit(&mut self, context: &egui::Context) {
        context.options_mut(|options| options.zoom_with_keyboard = false);
        for (keys, step) in [
            ([Key::Plus, Key::Equals], 1),
            ([Key::Minus, Key::Minus], -1),
        ] {
            let hit = context.input_mut(|input| {
                keys.into_iter()
                    .any(|key| input.consume_key(egui::Modifiers::COMMAND, key))
            });
            if hit {
                self.settings.larger = (self.settings.larger + step).limited(-4, 16);
            }
        }
        let zoom = context.zoom_factor();
        let size = context.content_rect().size() * zoom;
        let room = (size.x / LEAST.x).min(size.y / LEAST.y);
        let wanted = (size.y / 800.0).min(size.x / 1280.0).max(1.0)
            * (1.0 + f32::from(self.settings.larger) / 8.0);
        let fitting = (wanted.min(room).limited(0.3, ZOOM_MAX) * 16.0).floor() / 16.0;
        if (fitting - zoom).abs() > 1e-3 {
            context.set_zoom_factor(fitting);
        }
    }

    fn anywhere(&mut self, ui: &Ui, view: &DeskView, asks: &mut Vec<Ask>) {
        if pressed(ui, Key::F1) {
            self.overlay = match self.overlay {
                Some(Overlay::Keys(_)) => None,
                _ => Some(Overlay::Keys(Page::of(self.screen))),
            };
        }
        if pressed(ui, Key::F10) {
            let dark = ui.visuals().dark_mode;
            self.settings.dark = Some(!dark);
            ui.ctx().set_theme(if dark {
                egui::Theme::Light
            } else {
                egui::Theme::Dark
            });
        }
        if pressed(ui, Key::F9) {
            self.settings.sound = !self.settings.sound;
        }
        if self.overlay.is_some() {
            return;
        }
        for (screen, _, key) in Screen::ALL {
            if pressed(ui, key) {
                self.screen = screen;
                ui.ctx().memory_mut(|memory| {
                    if let Some(focused) = memory.focused() {
                        memory.surrender_focus(focused);
                    }
                });
            }
        }
        if let Some(start) = &view.start {
            // The card takes the letters; those of a reminder are not for it.
            if pressed(ui, Key::F12) {
                self.overlay = Some(Overlay::which(start));
            }
            return;
        }
        if pressed(ui, Key::P) {
            self.overlay = Some(Overlay::person());
        }
        if !view.status.tools.is_empty() && pressed(ui, Key::T) {
            self.overlay = Some(Overlay::tool(&view.status));
        }
        let waiting = view.status.waiting();
        if self.screen == Screen::Build && !waiting.is_empty() && pressed(ui, Key::A) {
            actions::take_part(&waiting, &mut self.overlay, asks);
        }
        if pressed(ui, Key::D) {
            self.overlay = Some(Overlay::trace());
        }
        if pressed(ui, Key::Q) {
            self.settings.newton_meters = !self.settings.newton_meters;
            asks.push(Ask::NewtonMeters(self.settings.newton_meters));
        }
        if pressed(ui, Key::V) {
            self.screen = Screen::Build;
            asks.push(Ask::WorkOrRehearse);
        }
        if pressed(ui, Key::F11) {
            self.open_adapter(asks);
        }
        if pressed(ui, Key::F12) {
            self.remind(view);
        }
        if matches!(self.screen, Screen::Build | Screen::Handover) && pressed(ui, Key::L) {
            self.overlay = Some(beside::list(&view.status, 0));
        }
        // A letter that opened a line to type is not its first letter.
        if self.overlay.is_some() {
            ui.input_mut(|input| {
                input
                    .events
                    .retain(|event| !matches!(event, egui::Event::Text(_)))
            });
        }
    }

    fn open_adapter(&mut self, asks: &mut Vec<Ask>) {
        asks.push(Ask::LookForPorts);
        self.overlay = Some(Overlay::Adapter {
            typed: String::new(),
        });
    }

    fn rail(&mut self, ui: &mut Ui, rect: Rect) {
        let colours = Colours::of(ui);
        ui.painter()
            .vline(rect.right(), rect.y_range(), Stroke::new(1.0, colours.line));
        let height = (rect.height() / count(Screen::ALL.len())).min(76.0);
        for (index, (screen, word, key)) in Screen::ALL.into_iter().enumerate() {
            let cell = Rect::from_min_size(
                pos2(rect.left(), rect.top() + height * count(index)),
                vec2(rect.width(), height),
            );
            let response = ui.interact(cell, ui.scope_id().with(("screen", word)), Sense::click());
            let here = self.screen == screen;
            response.widget_info(|| ink::selected(Role::Tab, true, here, word));
            if here {
                // The sheet in front joins the page: no line between them.
                ui.painter().rect_filled(
                    Rect::from_min_max(cell.min, pos2(cell.right() + 1.0, cell.bottom())),
                    0.0,
                    colours.sheet,
                );
                ui.painter().rect_filled(
                    Rect::from_min_size(cell.min, vec2(6.0, cell.height())),
                    0.0,
                    colours.ink,
                );
            } else if response.hovered() {
                ui.painter().rect_filled(cell, 0.0, colours.well);
            }
            ui.painter().hline(
                cell.x_range(),
                cell.bottom(),
                Stroke::new(1.0, colours.line),
            );
            let text = Rect::from_min_max(pos2(cell.left() + 10.0, cell.top()), cell.max);
            let middle = text.center().y;
            let upper = Rect::from_min_max(text.min, pos2(text.right(), middle + 3.0));
            let lower = Rect::from_min_max(pos2(text.left(), middle + 2.0), text.max);
            let ink = if here { colours.ink } else { colours.soft };
            silent_line(
                ui.painter(),
                upper,
                Align2::LEFT_BOTTOM,
                word,
                theme::strong(BODY - 0.5),
                ink,
            );
            silent_line(
                ui.painter(),
                lower,
                Align2::LEFT_TOP,
                key.name(),
                theme::text(NOTE),
                colours.soft,
            );
            focus_ring(ui, &response, cell.shrink(5.0));
            if response.clicked() {
                self.screen = screen;
            }
        }
    }

    fn title_block(&mut self, ui: &mut Ui, rect: Rect, view: &DeskView, asks: &mut Vec<Ask>) {
        let colours = Colours::of(ui);
        let (build, status) = (&view.build, &view.status);
        ui.painter().rect_filled(rect, 0.0, colours.sheet);
        ui.painter().hline(
            rect.x_range(),
            rect.top(),
            Stroke::new(1.5, colours.outline),
        );
        let readings = match &build.readings {
            Readings::Bench => "virtual bench".to_owned(),
            Readings::Trace(name) => format!("trace {name}"),
            Readings::Adapter(name) | Readings::Lines(name) => match &build.link {
                Some(link) => format!("{}, {name}", link.heard.word()),
                None => name.clone(),
            },
            Readings::None => "none".to_owned(),
        };
        let person = build.person.clone().unwrap_or_else(|| "nobody".to_owned());
        let tool = build.tool.clone().unwrap_or_else(|| "none".to_owned());
        let wide = rect.width() >= 1000.0;
        let mut cells: Vec<(&str, String, f32, Option<&str>)> =
            vec![("Build", status.title.clone(), 2.2, None)];
        if wide {
            cells.push(("Unit", status.unit.clone(), 1.5, None));
            cells.push(("Document", status.document.clone(), 2.3, None));
        }
        cells.push(("Person", person, 1.2, Some("P")));
        if wide {
            let seen = build.witness.clone().unwrap_or_else(|| "nobody".to_owned());
            cells.push(("Second person", seen, 1.2, None));
        }
        cells.push(("Tool", tool, 0.9, Some("T")));
        cells.push(("Readings", readings, 1.6, Some("F11")));
        cells.push(("Keys", "F1".to_owned(), 0.55, Some("F1")));
        let total: f32 = cells.iter().map(|cell| cell.2).sum();
        let mut x = rect.left();
        for (index, (caption, value, share, key)) in cells.iter().enumerate() {
            let width = rect.width() * share / total;
            let cell = Rect::from_min_size(pos2(x, rect.top()), vec2(width, rect.height()));
            x += width;
            if index > 0 {
                ui.painter()
                    .vline(cell.left(), cell.y_range(), Stroke::new(1.0, colours.line));
            }
            let inner = Rect::from_min_max(
                pos2(cell.left() + 10.0, cell.top() + 4.0),
                pos2(cell.right() - 6.0, cell.bottom() - 3.0),
            );
            let (upper, lower) = (
                Rect::from_min_max(inner.min, pos2(inner.right(), inner.top() + 18.0)),
                Rect::from_min_max(pos2(inner.left(), inner.top() + 18.0), inner.max),
            );
            if let Some(key) = key {
                let response =
                    ui.interact(cell, ui.scope_id().with(("block", caption)), Sense::click());
                let said = format!("{caption}: {value}");
                response.widget_info(|| ink::labeled(Role::Button, true, &said));
                if response.hovered() {
                    ui.painter()
                        .rect_filled(cell.shrink(1.0), 0.0, colours.well);
                }
                let marked = build.link.as_ref().filter(|_| *caption == "Readings");
                if let Some(link) = marked {
                    adapter::mark(
                        ui.painter(),
                        &colours,
                        link.heard,
                        lower.left_center() + vec2(8.0, 0.0),
                    );
                }
                let lower = Rect::from_min_max(
                    lower.min + vec2(if marked.is_some() { 22.0 } else { 0.0 }, 0.0),
                    lower.max,
                );
                let head = if *key == "F1" {
                    (*caption).to_owned()
                } else {
                    format!("{caption} ({key})")
                };
                block_words(ui, upper, &head, lower, value);
                focus_ring(ui, &response, cell.shrink(5.0));
                if response.clicked() && *caption == "Readings" {
                    self.open_adapter(asks);
                } else if response.clicked() {
                    self.overlay = Some(match *caption {
                        "Person" => Overlay::person(),
                        "Tool" if !status.tools.is_empty() => Overlay::tool(status),
                        _ => Overlay::Keys(Page::of(self.screen)),
                    });
                }
            } else {
                block_words(ui, upper, caption, lower, value);
                speak(ui, cell, &format!("{caption}: {value}"));
            }
        }
    }
}

/// Nobody can take a rehearsal or invented values for the work: a hatched band with the words on every screen.
fn unreal_band(ui: &mut Ui, rect: Rect, status: &Status) {
    let colours = Colours::of(ui);
    ui.painter().rect_filled(rect, 0.0, colours.rehearsal);
    hatch(
        ui.painter(),
        rect,
        14.0,
        Stroke::new(5.0, colours.on_rehearsal.gamma_multiply(0.28)),
    );
    let rehearsal = status
        .rehearsal
        .then_some("REHEARSAL: virtual fasteners, nothing here is a record of work");
    let demo = status.demo.then_some(words::DEMO);
    let words: Vec<&str> = demo.into_iter().chain(rehearsal).collect();
    let words = words.join(". ");
    let galley =
        ui.painter()
            .words_in_line(words.clone(), theme::strong(BODY), colours.on_rehearsal);
    let ground = Rect::from_center_size(rect.center(), galley.size() + vec2(28.0, 8.0));
    ui.painter().rect_filled(ground, 0.0, colours.rehearsal);
    ui.painter().galley(
        rect.center() - galley.size() / 2.0,
        galley,
        colours.on_rehearsal,
    );
    speak(ui, rect, &words);
}

/// A caption and what stands under it, in a cell of the title block.
fn block_words(ui: &Ui, upper: Rect, caption: &str, lower: Rect, value: &str) {
    let (colours, painter) = (Colours::of(ui), ui.painter());
    let left = Align2::LEFT_CENTER;
    silent_line(
        painter,
        upper,
        left,
        caption,
        theme::text(NOTE),
        colours.soft,
    );
    silent_line(
        painter,
        lower,
        left,
        value,
        theme::strong(BODY),
        colours.ink,
    );
}
