//! What can be added or begun with, found by typing letters of it.
//!
//! Knows nothing of what the choices mean.

use super::super::edit_view::{Addition, PlanAsk, PlanEdit};
use super::super::ink;
use super::super::theme::{self, BODY, Colours, NOTE, TARGET};
use super::super::widgets::{self, area, pressed, silent_line};
use egui::accesskit::Role;
use egui::{Align2, Key, Rect, Sense, Ui, pos2, vec2};

/// What is chosen from.
#[derive(Clone, Debug)]
pub(super) struct Palette {
    /// A whole new plan, not a part of this one.
    begins: bool,
    /// A joint of the plan that was chosen.
    takes: bool,
    typed: String,
    at: usize,
}

impl Palette {
    pub(super) const fn to_add() -> Self {
        Self {
            begins: false,
            takes: false,
            typed: String::new(),
            at: 0,
        }
    }

    pub(super) const fn to_begin() -> Self {
        Self {
            begins: true,
            takes: false,
            typed: String::new(),
            at: 0,
        }
    }

    pub(super) const fn to_take() -> Self {
        Self {
            begins: false,
            takes: true,
            typed: String::new(),
            at: 0,
        }
    }

    fn take(&self, addition: &Addition) -> PlanAsk {
        if self.begins {
            let id = addition.what.strip_prefix("like ").unwrap_or_default();
            PlanAsk::Begin(id.to_owned())
        } else if addition.what == "keep" {
            PlanAsk::Keep
        } else {
            PlanAsk::Add(addition.what.clone())
        }
    }
}

/// Whether it stays, and what was chosen.
pub(super) enum Done {
    /// It stays.
    Open,
    /// It is left.
    Leave,
    /// This was chosen.
    Take(PlanAsk),
}

/// Draws it.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    edit: &PlanEdit,
    palette: &mut Palette,
    free: bool,
) -> Done {
    let colours = Colours::of(ui);
    let title = match (palette.begins, palette.takes) {
        (true, _) => "A new plan, begun with",
        (_, true) => "Take a joint of that plan",
        _ => "Add",
    };
    let mut done = Done::Open;
    if free && pressed(ui, Key::Escape) {
        done = Done::Leave;
    }
    let inner = area(
        ui,
        rect,
        title,
        "type letters of it, Enter takes it, Esc leaves",
    );
    let (head, body) = widgets::cut_top(inner, 70.0);
    let response = widgets::field(ui, head, "Find", &mut palette.typed, "");
    let entered = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    if free && !response.has_focus() && !entered && matches!(done, Done::Open) {
        response.request_focus();
    }
    if response.changed() {
        palette.at = 0;
    }
    let empty = Addition {
        words: "nothing".to_owned(),
        about: "An empty plan.".to_owned(),
        what: String::new(),
    };
    let all = if palette.takes {
        &edit.offered
    } else {
        &edit.additions
    };
    let list: Vec<&Addition> = std::iter::once(&empty)
        .filter(|_| palette.begins)
        .chain(
            all.iter()
                .filter(|own| !palette.begins || own.what.starts_with("like ")),
        )
        .filter(|own| fits(&palette.typed, own))
        .collect();
    for (key, down) in [(Key::ArrowDown, true), (Key::ArrowUp, false)] {
        if free && super::chord(ui, egui::Modifiers::NONE, key) {
            let last = list.len().saturating_sub(1);
            palette.at = if down {
                (palette.at + 1).min(last)
            } else {
                palette.at.saturating_sub(1)
            };
        }
    }
    if entered && let Some(own) = list.get(palette.at) {
        return Done::Take(palette.take(own));
    }
    if list.is_empty() {
        let words = nothing_so(palette, all);
        widgets::paragraph(ui, body, &words, theme::text(BODY), colours.ink);
        return done;
    }
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(body).id_salt("palette"));
    child.spacing_mut().item_spacing.y = 0.0;
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            for (index, own) in list.iter().enumerate() {
                let (id, place) = ui.allocate_space(vec2(ui.available_width(), TARGET));
                let response = ui.interact(place, id, Sense::click());
                let said = format!("{}: {}", own.words, own.about);
                response.widget_info(|| ink::labeled(Role::Button, true, &said));
                if index == palette.at {
                    ui.painter().rect_filled(place, 0.0, colours.next_tint);
                    if !ui.clip_rect().contains_rect(place) {
                        ui.scroll_to_rect(place, None);
                    }
                } else if response.hovered() {
                    ui.painter().rect_filled(place, 0.0, colours.well);
                }
                let name = Rect::from_min_size(place.min, vec2(190.0, place.height()));
                let words = match palette.begins {
                    true => own.words.trim_start_matches("joint: "),
                    false => &own.words,
                };
                silent_line(
                    ui.painter(),
                    name.shrink2(vec2(10.0, 0.0)),
                    Align2::LEFT_CENTER,
                    words,
                    theme::strong(BODY),
                    colours.ink,
                );
                let about = Rect::from_min_max(pos2(name.right(), place.top()), place.max);
                widgets::silent_lines(
                    ui.painter(),
                    about,
                    &own.about,
                    theme::text(NOTE + 1.0),
                    colours.soft,
                    2,
                );
                widgets::rule(ui, place.left(), place.right(), place.bottom());
                if response.clicked() && free {
                    done = Done::Take(palette.take(own));
                }
            }
        });
    done
}

/// Why nothing is left to choose from.
fn nothing_so(palette: &Palette, all: &[Addition]) -> String {
    let typed = palette.typed.trim();
    let nothing = format!("Nothing that can be added has \u{201c}{typed}\u{201d} in it.");
    let has_stages = all.iter().any(|own| own.what.starts_with("stage "));
    if palette.begins || palette.takes || has_stages {
        nothing
    } else {
        format!(
            "{nothing} A stage, a block or a variant is added to a joint: Esc, and take the joint in hand first."
        )
    }
}

/// Whether all words typed are in it, in whatever case.
fn fits(typed: &str, own: &Addition) -> bool {
    let all = format!("{} {}", own.words, own.about).to_lowercase();
    typed
        .to_lowercase()
        .split_whitespace()
        .all(|word| all.contains(word))
}
