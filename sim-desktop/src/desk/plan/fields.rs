//! The fields of what is in hand: each with its key, what it takes, and what is wrong with it.
//!
//! What is typed is asked for at once; the line itself stays as it is typed while the keyboard is in it. Knows nothing of keys.

use super::super::edit_view::{FieldView, PlanAsk, PlanEdit};
use super::super::ink::{self, Ink as _};
use super::super::theme::{self, BODY, Colours, GAP, NOTE, TARGET};
use super::super::view::Ask;
use super::super::widgets::{self, area, paragraph, silent_line};
use egui::accesskit::Role;
use egui::{Align2, Id, Key, Rect, Sense, Ui, pos2, vec2};

/// What the fields remember.
#[derive(Clone, Debug, Default)]
pub(super) struct FieldsState {
    /// The field that the keyboard is in, and what is typed there.
    typing: Option<(Id, String)>,
    /// The field whose choices are shown.
    open: Option<Id>,
    /// Where the keyboard goes next, once the view is another than this version.
    focus: Option<(Focus, Option<u64>)>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Focus {
    /// To the first field.
    First,
    /// To the first field that is needed and empty, or else the first that is empty.
    Wanted,
    /// To the field of this name, or else the first.
    Named(String),
    /// To this very field.
    Field(Id),
}

impl FieldsState {
    /// The keyboard goes to the first field.
    pub(super) fn focus_first(&mut self) {
        self.focus = Some((Focus::First, None));
    }

    /// The keyboard goes to the first field of what is in hand once this view has changed.
    pub(super) fn focus_first_after(&mut self, edit: &PlanEdit) {
        self.focus = Some((Focus::First, Some(edit.version)));
    }

    /// The keyboard goes to what is to be filled in first of what is in hand once this view has changed.
    pub(super) fn focus_wanted_after(&mut self, edit: &PlanEdit) {
        self.focus = Some((Focus::Wanted, Some(edit.version)));
    }

    /// What stands in the view counts, not what was typed last.
    pub(super) fn let_go(&mut self) {
        self.typing = None;
    }

    /// Where the keyboard is in a field, it goes to the same one of what is taken in hand next.
    pub(super) fn stay_in_field(&mut self, ui: &Ui, edit: &PlanEdit) {
        if let Some((id, _)) = &self.typing
            && ui.memory(|memory| memory.has_focus(*id))
        {
            let caption: Option<String> = ui.data(|data| data.get_temp(*id));
            let focus = caption.map_or(Focus::First, Focus::Named);
            self.focus = Some((focus, Some(edit.version)));
        }
    }
}

fn id_of(field: &FieldView) -> Id {
    Id::unique(("plan field", &field.of, &field.key))
}

/// Draws them.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    edit: &PlanEdit,
    state: &mut FieldsState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let aside = if edit.fields.is_empty() {
        ""
    } else {
        "PgUp, PgDn"
    };
    let inner = area(ui, rect, &edit.title, aside);
    if edit.broken {
        let words = "The text is not TOML at one place. It is put right in the text, or taken back with Ctrl+Z; the fields follow then.";
        paragraph(ui, inner, words, theme::text(BODY), colours.bad);
        return;
    }
    let (fields, echo) = match edit.echo.is_empty() {
        true => (inner, None),
        false => {
            let lines = edit
                .echo
                .iter()
                .map(|words| echo_line(ui, words, inner.width()));
            let height: f32 = lines.map(|galley| galley.size().y + 2.0).sum();
            let height = (height + 34.0).min(inner.height() * 0.4);
            let (fields, echo) = widgets::cut_bottom(inner, height);
            (fields, Some(echo))
        }
    };
    let own: Vec<_> = edit
        .faults
        .iter()
        .filter(|fault| fault.path == edit.at)
        .map(|fault| (fault.question, said(&fault.words, &fault.hint)))
        .collect();
    let mut child = ui.new_child(
        egui::UiBuilder::new()
            .max_rect(fields)
            .id_salt(("fields", &edit.at)),
    );
    child.spacing_mut().item_spacing.y = 4.0;
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            faults(ui, &own);
            aim(ui, edit, state);
            let mut is_usual = true;
            for (index, field) in edit.fields.iter().enumerate() {
                if is_usual && !field.usual {
                    is_usual = false;
                    if index > 0 {
                        let (_, place) = ui.allocate_space(vec2(ui.available_width(), 30.0));
                        widgets::line(
                            ui,
                            place,
                            Align2::LEFT_BOTTOM,
                            "More that can be said",
                            theme::strong(NOTE),
                            colours.soft,
                        );
                    }
                }
                one(ui, edit, index, field, state, free, asks);
            }
        });
    if let Some(place) = echo {
        read_back(ui, place, &edit.echo);
    }
}

fn said(words: &str, hint: &str) -> String {
    if hint.is_empty() {
        words.to_owned()
    } else {
        format!("{words}; {hint}")
    }
}

/// Sends the keyboard where it is wanted.
fn aim(ui: &Ui, edit: &PlanEdit, state: &mut FieldsState) {
    let is_now = |version: &Option<u64>| version.is_none_or(|version| version != edit.version);
    let Some((focus, _)) = state.focus.take_if(|(_, version)| is_now(version)) else {
        return;
    };
    let first = edit.fields.first().map(id_of);
    let target = match focus {
        Focus::First => first,
        Focus::Wanted => {
            let empty = || edit.fields.iter().filter(|field| field.value.is_empty());
            let needed = empty().find(|field| field.needed);
            let wanted = needed.or_else(|| empty().find(|field| field.usual));
            wanted.map(id_of).or(first)
        }
        Focus::Named(name) => edit
            .fields
            .iter()
            .find(|field| field.caption == name)
            .map(id_of)
            .or(first),
        Focus::Field(id) => Some(id),
    };
    if let Some(id) = target {
        ui.memory_mut(|memory| memory.request_focus(id));
    }
}

/// What is wrong or asked, each in a line of its own.
fn faults(ui: &mut Ui, list: &[(bool, String)]) {
    let colours = Colours::of(ui);
    for (question, words) in list {
        let (hue, ground) = if *question {
            (colours.caution, colours.caution_tint)
        } else {
            (colours.bad, colours.bad_tint)
        };
        let width = ui.available_width();
        let galley = ui
            .painter()
            .words_wrapped(words, theme::text(NOTE), hue, width - 16.0);
        let (_, place) = ui.allocate_space(vec2(width, galley.size().y + 6.0));
        ui.painter().rect_filled(place, 0.0, ground);
        ui.painter().galley(place.min + vec2(8.0, 3.0), galley, hue);
        widgets::speak(ui, place, words);
    }
}

/// What one of the choices is meant by what is typed; all letters of it, or as many as only it has.
fn meant<'c>(typed: &str, choices: &'c [String]) -> Option<&'c str> {
    let typed = typed.trim();
    if typed.is_empty() {
        return None;
    }
    if let Some(exact) = choices.iter().find(|choice| *choice == typed) {
        return Some(exact);
    }
    let mut alike = choices.iter().filter(|choice| choice.starts_with(typed));
    let first = alike.next()?;
    alike.next().is_none().then_some(first)
}

fn one(
    ui: &mut Ui,
    edit: &PlanEdit,
    index: usize,
    field: &FieldView,
    state: &mut FieldsState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let id = id_of(field);
    let width = ui.available_width() - 4.0;
    let (_, head) = ui.allocate_space(vec2(width, 20.0));
    let name = silent_line(
        ui.painter(),
        head,
        Align2::LEFT_CENTER,
        &field.caption,
        theme::strong(NOTE),
        colours.ink,
    );
    let about = if field.needed {
        format!("needed. {}", field.about)
    } else {
        field.about.clone()
    };
    let beside = Rect::from_min_max(pos2(name.right() + 10.0, head.top()), head.max);
    silent_line(
        ui.painter(),
        beside,
        Align2::LEFT_CENTER,
        &about,
        theme::text(NOTE),
        colours.soft,
    );
    let is_cut = widgets::text_width(ui, &about, theme::text(NOTE)) > beside.width();
    let has_focus = ui.memory(|memory| memory.has_focus(id));
    let mut text = match &state.typing {
        Some((own, typed)) if *own == id && has_focus => typed.clone(),
        _ => field.value.clone(),
    };
    let (_, place) = ui.allocate_space(vec2(width, TARGET));
    let line = egui::TextEdit::singleline(&mut text)
        .id(id)
        .font(theme::text(BODY))
        .align(Align2::LEFT_CENTER)
        .margin(egui::Margin::symmetric(10, 6))
        .interactive(free)
        .desired_width(f32::INFINITY);
    let response = ui.put(place, line).accessible_name(&field.caption);
    if response.gained_focus() {
        state.open = Some(id);
        ui.data_mut(|data| data.insert_temp(id, field.caption.clone()));
        // What stands there is typed over.
        if let Some(mut own) = egui::TextEdit::load_state(ui.ctx(), id) {
            let all = egui::text::CCursorRange::two(
                egui::text::CCursor::new(0),
                egui::text::CCursor::new(text.chars().count()),
            );
            own.cursor.set_char_range(Some(all));
            own.store(ui.ctx(), id);
        }
    }
    let set = |words: &str| {
        Ask::Plan(PlanAsk::Set(
            field.of.clone(),
            field.key.clone(),
            words.to_owned(),
        ))
    };
    let word = meant(&text, &field.choices);
    if response.changed() {
        match (field.only_choices, word) {
            (true, Some(word)) => asks.push(set(word)),
            (true, None) if text.is_empty() => asks.push(set("")),
            // Half a word is not told off yet.
            (true, None) => {}
            (false, _) => asks.push(set(&text)),
        }
    }
    if response.has_focus() {
        state.typing = Some((id, text.clone()));
    }
    if response.lost_focus() {
        match (field.only_choices, word) {
            (true, None) if text != field.value => asks.push(set(&text)),
            // As many letters as only one of the words has are that word.
            (false, Some(word)) if text.chars().count() >= 3 && word != text => {
                asks.push(set(word));
            }
            _ => {}
        }
        asks.push(Ask::Plan(PlanAsk::Pause));
        if ui.input(|input| input.key_pressed(Key::Enter)) {
            // On to the next that is usually filled in.
            let next = edit
                .fields
                .get(index + 1..)
                .and_then(|rest| rest.iter().find(|own| own.usual || !own.value.is_empty()));
            match next {
                Some(next) => state.focus = Some((Focus::Field(id_of(next)), None)),
                None => ui.memory_mut(|memory| memory.surrender_focus(id)),
            }
        }
    }
    if is_cut && response.has_focus() {
        let galley = ui
            .painter()
            .words_wrapped(&about, theme::text(NOTE), colours.soft, width);
        let (_, below) = ui.allocate_space(vec2(width, galley.size().y));
        ui.painter().galley(below.min, galley, colours.soft);
    }
    if state.open == Some(id) && !field.choices.is_empty() {
        choices(ui, width, field, &text, free, &set, state, asks);
    }
    if response.gained_focus() || response.changed() {
        // With what is said and chosen below it.
        let end = ui.cursor().top();
        ui.scroll_to_rect(place.with_max_y(end), None);
    }
    faults(ui, &field.faults);
}

/// The words there are, to be clicked.
#[expect(
    clippy::too_many_arguments,
    reason = "one row of buttons under a field"
)]
fn choices(
    ui: &mut Ui,
    width: f32,
    field: &FieldView,
    typed: &str,
    free: bool,
    set: &dyn Fn(&str) -> Ask,
    state: &mut FieldsState,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let font = theme::strong(NOTE);
    let mut rows: Vec<Vec<(&String, f32)>> = vec![Vec::new()];
    let mut used = 0.0;
    for choice in &field.choices {
        let own = widgets::text_width(ui, choice, font.clone()).max(24.0) + 24.0;
        if used + own > width && used > 0.0 {
            rows.push(Vec::new());
            used = 0.0;
        }
        used += own + GAP;
        if let Some(row) = rows.last_mut() {
            row.push((choice, own));
        }
    }
    for row in rows {
        let (_, strip) = ui.allocate_space(vec2(width, TARGET));
        let mut x = strip.left();
        for (choice, own) in row {
            let place = Rect::from_min_size(pos2(x, strip.top()), vec2(own, TARGET));
            x += own + GAP;
            let id = id_of(field).with(choice);
            let response = ui.interact(place, id, Sense::click());
            // Reached with the mouse; the keyboard types the word.
            let on = *choice == field.value;
            response.widget_info(|| {
                ink::selected(
                    Role::RadioButton,
                    true,
                    on,
                    format!("{}: {choice}", field.caption),
                )
            });
            let fits = typed == field.value || choice.starts_with(typed.trim());
            let (ground, ink) = match (on, response.hovered()) {
                (true, _) => (colours.ink, colours.sheet),
                (false, true) => (colours.well, colours.ink),
                (false, false) => (colours.sheet, if fits { colours.ink } else { colours.soft }),
            };
            ui.painter().rect(
                place,
                3.0,
                ground,
                egui::Stroke::new(1.0, colours.outline),
                egui::StrokeKind::Inside,
            );
            silent_line(
                ui.painter(),
                place,
                Align2::CENTER_CENTER,
                choice,
                font.clone(),
                ink,
            );
            widgets::focus_ring(ui, &response, place.shrink(4.0));
            if response.clicked() && free {
                state.typing = None;
                // Chosen once more, it is taken back.
                asks.push(set(if on { "" } else { choice }));
            }
        }
    }
}

fn echo_line(ui: &Ui, words: &str, width: f32) -> std::sync::Arc<egui::Galley> {
    let (font, ink) = (theme::text(BODY - 1.0), Colours::of(ui).ink);
    ui.painter().words_wrapped(words, font, ink, width)
}

/// What was entered, in words.
fn read_back(ui: &mut Ui, rect: Rect, lines: &[String]) {
    let colours = Colours::of(ui);
    widgets::rule(ui, rect.left(), rect.right(), rect.top());
    let (head, body) = widgets::cut_top(rect, 22.0);
    widgets::line(
        ui,
        head,
        Align2::LEFT_CENTER,
        "Read back",
        theme::strong(NOTE),
        colours.good,
    );
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(body).id_salt("read back"));
    child.spacing_mut().item_spacing.y = 2.0;
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .min_scrolled_height(0.0)
        .show(&mut child, |ui| {
            for words in lines {
                let width = ui.available_width();
                let galley =
                    ui.painter()
                        .words_wrapped(words, theme::text(BODY - 1.0), colours.ink, width);
                let (_, place) = ui.allocate_space(vec2(width, galley.size().y));
                ui.painter().galley(place.min, galley, colours.ink);
                widgets::speak(ui, place, words);
            }
        });
}
