//! What lies over a screen for a moment: the keyboard map, a list to choose from, a line to type.
//!
//! Every list is numbered, so that a choice is one key. Knows nothing of what a choice leads to.

use super::adapter;
use super::theme::{self, BODY, Colours, GAP, NOTE, TARGET, TITLE};
use super::view::{Ask, BuildView, DeskView, JointView, Wanted, Way};
use super::widgets::{self, Look, button, count, line, pressed};
use crate::words;
use egui::{Align2, Color32, Id, Key, Rect, Stroke, StrokeKind, Ui, UiBuilder, pos2, vec2};
use std::path::PathBuf;

/// What a choice turns into.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Use {
    /// Leave this fastener out for the chosen reason.
    Skip(String),
    /// This part has arrived.
    Part,
    /// Put the chosen fault on this fastener.
    Fault(String),
    /// Work on with this tool.
    Tool,
    /// This person works on.
    Person,
    /// This second person has looked.
    Witness,
    /// Readings from this file.
    Trace,
    /// Open this plan.
    Plan,
    /// Take this way on, for a reason.
    Way(Way),
}

/// Something lying over the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Overlay {
    /// The keyboard map.
    Keys,
    /// A list, a line to type, or both.
    Ask {
        /// What is asked.
        title: String,
        /// The choices.
        choices: Vec<String>,
        /// What is being typed, if something may be.
        typed: Option<String>,
        /// What it becomes.
        becomes: Use,
    },
    /// The adapter: what it says, which ports there are, what to do with it.
    Adapter {
        /// The path of a port being typed.
        typed: String,
    },
}

impl Overlay {
    /// Why is this fastener left out?
    #[must_use]
    pub(super) fn skip(_: &JointView, fastener: String) -> Self {
        Self::Ask {
            title: format!("Why is fastener {fastener} left out?"),
            choices: [
                "not within reach now",
                "part missing",
                "thread to be repaired",
                "waiting for advice",
            ]
            .map(str::to_owned)
            .to_vec(),
            typed: Some(String::new()),
            becomes: Use::Skip(fastener),
        }
    }

    /// Which part has arrived?
    #[must_use]
    pub(super) fn part(waiting: &[&str]) -> Self {
        Self::Ask {
            title: "Which part has arrived?".to_owned(),
            choices: waiting.iter().map(|name| (*name).to_owned()).collect(),
            typed: None,
            becomes: Use::Part,
        }
    }

    /// Which fault shall the bench play?
    #[must_use]
    pub(super) fn fault(joint: &JointView, fastener: &str) -> Self {
        Self::Ask {
            title: format!("Rehearse a fault on fastener {fastener}"),
            choices: joint.faults.clone(),
            typed: None,
            becomes: Use::Fault(fastener.to_owned()),
        }
    }

    /// Which tool?
    #[must_use]
    pub(super) fn tool(build: &BuildView) -> Self {
        Self::Ask {
            title: "Which tool is in use now?".to_owned(),
            choices: build.tools.iter().map(|tool| tool.id.clone()).collect(),
            typed: None,
            becomes: Use::Tool,
        }
    }

    /// Who works on?
    #[must_use]
    pub(super) fn person() -> Self {
        Self::Ask {
            title: "Who is working now?".to_owned(),
            choices: Vec::new(),
            typed: Some(String::new()),
            becomes: Use::Person,
        }
    }

    /// Which second person has looked?
    #[must_use]
    pub(super) fn witness(joint: &JointView) -> Self {
        Self::Ask {
            title: "Which second person has looked?".to_owned(),
            choices: joint.witnesses.clone(),
            typed: Some(String::new()),
            becomes: Use::Witness,
        }
    }

    /// Which file? Chosen in a dialog, or its path typed.
    #[must_use]
    pub(super) fn file(wanted: Wanted) -> Self {
        let (title, becomes) = match wanted {
            Wanted::Plan => ("Which plan?", Use::Plan),
            Wanted::Trace => ("Which trace file?", Use::Trace),
        };
        Self::Ask {
            title: title.to_owned(),
            choices: vec![IN_A_DIALOG.to_owned()],
            typed: Some(String::new()),
            becomes,
        }
    }

    /// A line to type for this use.
    #[must_use]
    pub(super) fn line(title: &str, becomes: Use) -> Self {
        Self::Ask {
            title: title.to_owned(),
            choices: Vec::new(),
            typed: Some(String::new()),
            becomes,
        }
    }
}

/// The choice that stands beside a path to type.
const IN_A_DIALOG: &str = "Choose it in a dialog";

impl Use {
    fn ask(&self, words: &str) -> Ask {
        let words = words.trim().to_owned();
        match self {
            Self::Skip(fastener) => Ask::Skip(fastener.clone(), words),
            Self::Part => Ask::PartArrived(words),
            Self::Fault(fastener) => Ask::Fault(fastener.clone(), words),
            Self::Tool => Ask::Tool(words),
            Self::Person => Ask::Person(words),
            Self::Witness => Ask::Witness(words),
            Self::Trace if words == IN_A_DIALOG => Ask::Choose(Wanted::Trace),
            Self::Plan if words == IN_A_DIALOG => Ask::Choose(Wanted::Plan),
            Self::Trace => Ask::Trace(PathBuf::from(words)),
            Self::Plan => Ask::OpenPlan(PathBuf::from(words)),
            Self::Way(way) => Ask::TakeBecause(*way, words),
        }
    }
}

/// Every key, in groups, as the map shows it. The screens print the same keys on their buttons.
pub(super) const MAP: [(&str, &[(&str, &str)]); 3] = [
    (
        "Anywhere",
        &[
            ("F1", "this map"),
            ("F2", "the build"),
            ("F3", "the joint in hand"),
            ("F4", "the record"),
            ("F5", "reckoner"),
            ("F6", "the plan"),
            ("F7", "compare orders"),
            ("F8", "handover"),
            ("F9", "sound, on or off"),
            ("F10", "light, dark"),
            ("Q", "N\u{b7}m or manual's unit"),
            ("Ctrl + \u{2212}", "larger, smaller"),
            ("Tab", "the next thing"),
            ("Esc", "back"),
        ],
    ),
    (
        "At the joint",
        &[
            ("Space", "pull while it is held"),
            ("H", "the hand does this one"),
            ("J", "the hand does them all"),
            ("Enter", "yes, or the way advised"),
            ("N", "no"),
            ("W", "the last one felt wrong"),
            ("R", "redo"),
            ("L", "loosen"),
            ("K", "leave it out"),
            ("B", "a new one is fitted"),
            ("M", "a paint mark is on it"),
            ("C", "check a final one again"),
            ("I", "a second person looked"),
            ("A", "a part has arrived"),
            ("F", "rehearse a fault"),
            ("Arrows", "choose another fastener"),
        ],
    ),
    (
        "The job",
        &[
            ("P", "another person"),
            ("T", "another tool"),
            ("V", "the virtual bench"),
            ("D", "readings from a file"),
            ("F11", "an adapter"),
            ("Z", "a new rehearsal"),
            ("O", "open a plan"),
            ("E", "a new plan from a form"),
            ("U", "read the plan again"),
            ("S", "the printed sheet"),
            ("X, Y", "record as CSV, JSON"),
            ("G", "print the tag"),
            ("1 to 9", "choose from a list"),
            ("Up, Down", "move in a table"),
        ],
    ),
];

/// Draws the overlay; true when it is to be taken away.
pub(super) fn show(
    ui: &mut Ui,
    overlay: &mut Overlay,
    view: &DeskView,
    asks: &mut Vec<Ask>,
) -> bool {
    let screen = ui.ctx().content_rect();
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
        Overlay::Keys => vec2(
            (screen.width() - 32.0).min(1020.0),
            (screen.height() - 24.0).min(590.0),
        ),
        Overlay::Adapter { .. } => vec2(
            (screen.width() - 32.0).min(680.0),
            adapter::height(view).min(screen.height() - 16.0),
        ),
        Overlay::Ask { choices, typed, .. } => {
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
        Overlay::Keys => {
            heading(ui, head, "Keys", "F1 or Esc closes this");
            let (body, foot) = widgets::cut_bottom(body, 58.0);
            keys(ui, body);
            let words = format!("{} {}", words::HANDS, words::LOOSENING);
            widgets::paragraph(ui, foot, &words, theme::text(BODY), colours.caution);
            close |= pressed(ui, Key::F1) || pressed(ui, Key::Enter);
        }
        Overlay::Adapter { typed } => {
            heading(ui, head, "Adapter", "F11 or Esc closes this");
            close |= adapter::body(ui, body, view, typed, asks) || pressed(ui, Key::F11);
        }
        Overlay::Ask {
            title,
            choices,
            typed,
            becomes,
        } => {
            heading(ui, head, title, "Esc");
            let mut y = body.top();
            for (index, choice) in choices.iter().enumerate() {
                let place = Rect::from_min_size(pos2(body.left(), y), vec2(body.width(), TARGET));
                y += TARGET + GAP;
                let key = widgets::DIGITS.get(index).copied();
                let cap = key.map_or("", Key::name);
                let by_key = typed.as_ref().is_none_or(String::is_empty)
                    && key.is_some_and(|key| digit(ui, key));
                if button(ui, place, choice, cap, Look::Plain, true).clicked() || by_key {
                    asks.push(becomes.ask(choice));
                    close = true;
                }
            }
            if let Some(text) = typed {
                let caption = if choices.is_empty() {
                    "Type it, then Enter"
                } else {
                    "or type it, then Enter"
                };
                let place = Rect::from_min_size(pos2(body.left(), y), vec2(body.width(), 70.0));
                let response = widgets::field(ui, place, caption, text, "");
                if response.lost_focus()
                    && ui.input(|input| input.key_pressed(Key::Enter))
                    && !text.trim().is_empty()
                {
                    asks.push(becomes.ask(text));
                    close = true;
                } else if !response.has_focus() && !close {
                    response.request_focus();
                }
            }
        }
    }
    close
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

fn keys(ui: &mut Ui, rect: Rect) {
    let colours = Colours::of(ui);
    // A small window has the words a little smaller and nearer, and all of them.
    let (size, cap_width) = if rect.width() < 800.0 {
        (NOTE + 0.5, 76.0)
    } else {
        (BODY, 76.0)
    };
    let longest = MAP.iter().map(|(_, rows)| rows.len()).max().unwrap_or(1);
    let height = ((rect.height() - 30.0) / count(longest)).min(36.0);
    for (place, (group, rows)) in widgets::split_across(rect, MAP.len()).into_iter().zip(MAP) {
        let head = Rect::from_min_size(place.min, vec2(place.width(), 26.0));
        line(
            ui,
            head,
            Align2::LEFT_CENTER,
            group,
            theme::strong(BODY),
            colours.next,
        );
        widgets::rule(ui, place.left(), place.right() - 8.0, head.bottom());
        for (index, (cap, words)) in rows.iter().enumerate() {
            let row = Rect::from_min_size(
                pos2(place.left(), head.bottom() + 4.0 + height * count(index)),
                vec2(place.width() - 6.0, height),
            );
            let galley =
                ui.painter()
                    .layout_no_wrap((*cap).to_owned(), theme::strong(NOTE), colours.ink);
            let key = Rect::from_min_size(
                pos2(row.left(), row.center().y - 11.5),
                vec2(galley.size().x + 12.0, 23.0),
            );
            ui.painter().rect_stroke(
                key,
                3.0,
                Stroke::new(1.0, colours.outline),
                StrokeKind::Inside,
            );
            ui.painter()
                .galley(key.center() - galley.size() / 2.0, galley, colours.ink);
            let room = Rect::from_min_max(pos2(row.left() + cap_width, row.top()), row.max);
            line(
                ui,
                room,
                Align2::LEFT_CENTER,
                words,
                theme::text(size),
                colours.ink,
            );
        }
    }
}
