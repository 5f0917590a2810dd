//! What lies over a screen for a moment: the keyboard map, a list to choose from, a line to type.
//!
//! Every list is numbered, so that a choice is one key. Knows nothing of what a choice leads to.

use super::adapter;
use super::beside;
use super::edit_view::Draw;
use super::keys;
use super::model::SKIPPED;
use super::recent;
use super::theme::{self, BODY, Colours, GAP, TARGET, TITLE};
use super::view::{
    About, Act, Ask, CanPutRight, Choice, DeskView, JointView, PlanAsk, Prompt, Status, Wanted,
};
use super::widgets::{self, Look, button, count, line, pressed};
use crate::job::status::StageCell;
use egui::{Align2, Color32, Id, Key, Rect, Stroke, Ui, UiBuilder, pos2, vec2};
use std::path::PathBuf;

/// Something lying over the screen.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Overlay {
    /// The keyboard map.
    Keys(keys::Page),
    /// A list, a line to type, or both.
    List {
        /// What is asked.
        title: String,
        /// The choices, each with what it asks for.
        choices: Vec<(String, Ask)>,
        /// What is being typed and what takes it, if something may be.
        typed: Option<(String, Ask)>,
    },
    /// Which plan to open.
    Plan {
        /// The path being typed.
        typed: String,
    },
    /// A line not to be forgotten.
    Reminder(beside::Line),
    /// The adapter: what it says, which ports there are, what to do with it.
    Adapter {
        /// The path of a port being typed.
        typed: String,
    },
}

impl Overlay {
    /// A list whose words themselves are what is asked with; something else may be typed.
    fn words(
        title: String,
        words: impl IntoIterator<Item = String>,
        ask: &Ask,
        typed: bool,
    ) -> Self {
        let choices = words.into_iter().map(|words| {
            let own = ask.clone().with(&words);
            (words, own)
        });
        Self::List {
            title,
            choices: choices.collect(),
            typed: typed.then(|| (String::new(), ask.clone())),
        }
    }

    /// Why is this fastener skipped?
    #[must_use]
    pub(super) fn skip(fastener: &str) -> Self {
        let ask = Ask::Skip(fastener.to_owned(), String::new());
        let title = format!("Why is fastener {fastener} skipped?");
        Self::words(title, SKIPPED.map(str::to_owned), &ask, true)
    }

    /// The reason for a choice of a card.
    #[must_use]
    pub(super) fn because(choice: &Choice) -> Self {
        let ask = Ask::Act(choice.act.clone(), String::new());
        let usual = choice.because.iter().map(|words| (*words).to_owned());
        Self::words(choice.asks.to_owned(), usual, &ask, true)
    }

    /// Which is it, before something is kept with it?
    #[must_use]
    pub(super) fn which(start: &Prompt) -> Self {
        let begun = start.choices.iter();
        let begun = begun.filter(|choice| matches!(choice.act, Act::Begin(_)));
        let choices = begun.map(|choice| {
            let ask = Ask::Act(choice.act.clone(), String::new());
            (choice.words.clone(), ask)
        });
        Self::List {
            title: "A reminder is kept with the work, or the rehearsal".to_owned(),
            choices: choices.collect(),
            typed: None,
        }
    }

    /// Why is this row withdrawn?
    #[must_use]
    pub(super) fn withdraw(sequence: u64) -> Self {
        let usual = [
            "pressed by mistake",
            "of another fastener",
            "read or typed wrong",
        ];
        let ask = Ask::Withdraw(sequence, String::new());
        let title = "Why is it not so? The line stays, struck through.".to_owned();
        Self::words(title, usual.map(str::to_owned), &ask, true)
    }

    /// On which fastener was that pull?
    #[must_use]
    pub(super) fn was_on(status: &Status, can: &CanPutRight) -> Self {
        let own = can.fastener.as_deref().unwrap_or_default();
        let joint = status.joints.iter().find(|joint| joint.id == can.joint);
        let others = joint.into_iter().flat_map(|joint| &joint.fasteners);
        // It can only have been on one that stood open.
        let others = others.filter(|fastener| {
            let is_open = |cell: &StageCell| cell.mark.is_some_and(|mark| !mark.is_closed());
            fastener.label != own && fastener.cells.iter().any(is_open)
        });
        let labels = others.map(|fastener| fastener.label.clone()).take(9);
        let ask = Ask::WasOn(can.sequence, String::new());
        let title = format!("The pull of {own} was on which fastener?");
        Self::words(title, labels, &ask, true)
    }

    /// Which part has arrived?
    #[must_use]
    pub(super) fn part(waiting: &[&str]) -> Self {
        let parts = waiting.iter().map(|name| (*name).to_owned());
        let choices = parts.map(|name| (name.clone(), Ask::PartArrived(name)));
        Self::List {
            title: "Which part has arrived?".to_owned(),
            choices: choices.collect(),
            typed: None,
        }
    }

    /// Which fault shall the bench play?
    #[must_use]
    pub(super) fn fault(joint: &JointView, fastener: &str) -> Self {
        let faults = joint.faults.iter().cloned();
        let choices = faults.map(|fault| (fault.clone(), Ask::Fault(fastener.to_owned(), fault)));
        Self::List {
            title: format!("Rehearse a fault on fastener {fastener}"),
            choices: choices.collect(),
            typed: None,
        }
    }

    /// Which tool? What tells it from others, its range and its calibration stand beside its number.
    #[must_use]
    pub(super) fn tool(status: &Status) -> Self {
        let tools = status.tools.iter();
        let choices = tools.map(|tool| (tool.line(), Ask::Tool(tool.id.clone())));
        Self::List {
            title: "Which tool is in use now?".to_owned(),
            choices: choices.collect(),
            typed: None,
        }
    }

    /// Who works on?
    #[must_use]
    pub(super) fn person() -> Self {
        let ask = Ask::Person(String::new());
        Self::words("Who is working now?".to_owned(), [], &ask, true)
    }

    /// Which second person has looked?
    #[must_use]
    pub(super) fn witness(joint: &JointView) -> Self {
        let title = "Which second person has looked?".to_owned();
        let ask = Ask::Witness(String::new());
        Self::words(title, joint.witnesses.iter().cloned(), &ask, true)
    }

    /// Under which name is the plan saved?
    #[must_use]
    pub(super) fn save_as(suggested: &str) -> Self {
        let ask = Ask::Plan(PlanAsk::SaveAs(PathBuf::new()));
        let suggested = Some(suggested.to_owned()).filter(|own| !own.is_empty());
        Self::words("Save the plan as".to_owned(), suggested, &ask, true)
    }

    /// Who compares the plan with the document?
    #[must_use]
    pub(super) fn checker(status: &Status) -> Self {
        let mut names: Vec<String> = Vec::new();
        for person in &status.people {
            if !names.contains(&person.name) {
                names.push(person.name.clone());
            }
        }
        names.truncate(6);
        let title = "Who compares the plan with the document, line by line?";
        let ask = Ask::Plan(PlanAsk::Check(String::new()));
        Self::words(title.to_owned(), names, &ask, true)
    }

    /// Which plan? One of those opened lately, chosen in a dialog, or its path typed.
    #[must_use]
    pub(super) fn plan(asks: &mut Vec<Ask>) -> Self {
        asks.push(Ask::LookForRecent);
        Self::Plan {
            typed: String::new(),
        }
    }

    /// Which trace file? Chosen in a dialog, or its path typed.
    #[must_use]
    pub(super) fn trace() -> Self {
        Self::file(
            "Which trace file?",
            Wanted::Trace,
            Ask::Trace(PathBuf::new()),
        )
    }

    /// Which picture of the part? Chosen in a dialog, or its path typed.
    #[must_use]
    pub(super) fn picture() -> Self {
        Self::file(
            "Which picture? PNG or JPEG, taken from straight above",
            Wanted::Picture,
            Ask::Plan(PlanAsk::Draw(Draw::Picture(PathBuf::new()))),
        )
    }

    /// Joints of which plan? Chosen in a dialog, or its path typed.
    #[must_use]
    pub(super) fn joint() -> Self {
        Self::file(
            "Joints of which plan?",
            Wanted::Joint,
            Ask::Plan(PlanAsk::Offer(PathBuf::new())),
        )
    }

    fn file(title: &str, wanted: Wanted, typed: Ask) -> Self {
        Self::List {
            title: title.to_owned(),
            choices: vec![("Choose it in a dialog".to_owned(), Ask::Choose(wanted))],
            typed: Some((String::new(), typed)),
        }
    }
}

/// Draws the overlay; true when it is to be taken away.
pub(super) fn show(
    ui: &mut Ui,
    overlay: &mut Overlay,
    view: &DeskView,
    asks: &mut Vec<Ask>,
) -> bool {
    let screen = widgets::ground(ui.ctx());
    let colours = Colours::of(ui);
    let layer = egui::LayerId::new(egui::Order::Foreground, Id::unique("overlay"));
    let mut over = ui.new_child(
        UiBuilder::new()
            .layer_id(layer)
            .max_rect(screen)
            .id_salt("overlay"),
    );
    let ui = &mut over;
    ui.set_clip_rect(screen);
    // Catches presses outside, which close it.
    let outside = ui.interact(screen, Id::unique("overlay outside"), egui::Sense::click());
    ui.painter().rect_filled(
        screen,
        0.0,
        Color32::from_black_alpha(if ui.visuals().dark_mode { 150 } else { 90 }),
    );
    let size = match overlay {
        Overlay::Keys(_) => vec2(
            (screen.width() - 32.0).min(1020.0),
            (screen.height() - 24.0).min(590.0),
        ),
        Overlay::Adapter { .. } => vec2(
            (screen.width() - 32.0).min(680.0),
            adapter::height(view).min(screen.height() - 16.0),
        ),
        Overlay::Plan { .. } => vec2(
            (screen.width() - 32.0).min(760.0),
            (92.0 + recent::height(&view.recent)).min(screen.height() - 16.0),
        ),
        Overlay::Reminder(line) => vec2(
            (screen.width() - 32.0).min(680.0),
            (76.0 + beside::height(line)).min(screen.height() - 16.0),
        ),
        Overlay::List { choices, typed, .. } => {
            let rows =
                count(choices.len()) * (TARGET + GAP) + if typed.is_some() { 82.0 } else { 0.0 };
            vec2(
                (screen.width() - 32.0).min(620.0),
                (92.0 + rows).min(screen.height() - 16.0),
            )
        }
    };
    let sheet = Rect::from_center_size(screen.center(), size);
    widgets::plate(ui, sheet, colours.sheet, Stroke::new(2.0, colours.ink));
    let inner = sheet.shrink2(vec2(20.0, 14.0));
    let head = Rect::from_min_size(inner.min, vec2(inner.width(), 38.0));
    let mut close =
        pressed(ui, Key::Escape) || (outside.clicked() && !ui.rect_contains_pointer(sheet));
    let body = Rect::from_min_max(pos2(inner.left(), head.bottom() + GAP), inner.max);
    match overlay {
        Overlay::Keys(page) => {
            heading(ui, head, page.title(), keys::GUIDE);
            keys::show(ui, body, page);
            close |= pressed(ui, Key::F1) || pressed(ui, Key::Enter);
        }
        Overlay::Adapter { typed } => {
            heading(ui, head, "Adapter", "F11 or Esc closes this");
            close |= adapter::body(ui, body, view, typed, asks) || pressed(ui, Key::F11);
        }
        Overlay::Plan { typed } => {
            heading(ui, head, "Which plan?", "Esc");
            let taken = recent::show(ui, body, &view.recent, typed, close);
            close |= taken.is_some();
            asks.extend(taken);
        }
        Overlay::Reminder(own) => {
            let about = match own.title.as_str() {
                "" => "Reminder, for the build".to_owned(),
                title => format!("Reminder, for {title}"),
            };
            heading(ui, head, &about, "Esc");
            match beside::show(ui, body, own, close) {
                beside::Typed::Still => {}
                beside::Typed::Ask(ask) => {
                    asks.push(ask);
                    close = true;
                }
                beside::Typed::Threads => {
                    asks.push(Ask::Choices(About::Threads));
                    close = true;
                }
            }
        }
        Overlay::List {
            title,
            choices,
            typed,
        } => {
            heading(ui, head, title, "Esc");
            let caption = if choices.is_empty() {
                "Type it, then Enter"
            } else {
                "or type it, then Enter"
            };
            let line = typed
                .as_mut()
                .map(|(text, ask)| (text, ask.clone(), caption));
            let taken = list(ui, body, choices, line, close);
            close |= taken.is_some();
            asks.extend(taken);
        }
    }
    close
}

/// A numbered list, and below it a line to type; returns what is asked for.
pub(super) fn list(
    ui: &mut Ui,
    rect: Rect,
    choices: &[(String, Ask)],
    typed: Option<(&mut String, Ask, &str)>,
    closes: bool,
) -> Option<Ask> {
    let mut taken = None;
    let is_typing = typed.as_ref().is_some_and(|(text, ..)| !text.is_empty());
    let mut y = rect.top();
    for (index, (words, ask)) in choices.iter().enumerate() {
        let place = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), TARGET));
        y += TARGET + GAP;
        let key = widgets::DIGITS.get(index).copied();
        let cap = key.map_or("", Key::name);
        let by_key = !is_typing && key.is_some_and(|key| digit(ui, key));
        if button(ui, place, words, cap, Look::Plain, true).clicked() || by_key {
            taken = Some(ask.clone());
        }
    }
    let Some((text, ask, caption)) = typed else {
        return taken;
    };
    let place = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), 70.0));
    let response = widgets::field(ui, place, caption, text, "");
    if response.lost_focus()
        && ui.input(|input| input.key_pressed(Key::Enter))
        && !text.trim().is_empty()
    {
        taken = Some(ask.with(text));
    } else if !response.has_focus() && !closes && taken.is_none() {
        response.request_focus();
    }
    taken
}

/// What lies here, and how it goes away.
fn heading(ui: &mut Ui, rect: Rect, title: &str, aside: &str) {
    let colours = Colours::of(ui);
    let (title_font, aside_font) = (theme::strong(TITLE), theme::text(BODY));
    line(
        ui,
        rect,
        Align2::LEFT_CENTER,
        title,
        title_font,
        colours.ink,
    );
    line(
        ui,
        rect,
        Align2::RIGHT_CENTER,
        aside,
        aside_font,
        colours.soft,
    );
}

/// A digit pressed while the line below the list is still empty: it chooses, and is taken out of the line.
pub(super) fn digit(ui: &Ui, key: Key) -> bool {
    ui.input_mut(|input| {
        let hit = input.events.iter().any(|event| {
            matches!(event, egui::Event::Key { key: down, pressed: true, repeat: false, modifiers, .. } if *down == key && modifiers.is_none())
        });
        if hit {
            input.events.retain(|event| !matches!(event, egui::Event::Text(_)));
        }
        hit
    })
}
