//! The map of the keyboard: what every key does, in groups, on a page for the work and one for the plan.
//!
//! The screens print the same keys on their buttons. Knows nothing of what carries them out.

use super::app::Screen;
use super::ink::Ink as _;
use super::theme::{self, BODY, Colours, NOTE, TARGET};
use super::widgets::{self, Look, button, count, line, pressed, silent_line};
use crate::words;
use egui::{Align2, Key, Rect, Stroke, StrokeKind, Ui, pos2, vec2};

/// Whose keys stand beside those that work anywhere.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Page {
    /// The joint, and the job round it.
    #[default]
    Work,
    /// The plan, written and drawn.
    Plan,
}

impl Page {
    /// What is shown when the map is asked for on this screen.
    pub(super) fn of(screen: Screen) -> Self {
        match screen {
            Screen::Plan => Self::Plan,
            _ => Self::Work,
        }
    }

    pub(super) const fn title(self) -> &'static str {
        match self {
            Self::Work => "Keys of the work",
            Self::Plan => "Keys of the plan",
        }
    }

    const fn groups(self) -> [Group; 3] {
        match self {
            Self::Work => [ANYWHERE, JOINT, JOB],
            Self::Plan => [ANYWHERE, WRITTEN, DRAWN],
        }
    }

    /// The other page, and the key that leads there: that of its screen.
    const fn other(self) -> (Self, &'static str, Key) {
        match self {
            Self::Work => (Self::Plan, "Keys of the plan", Key::F6),
            Self::Plan => (Self::Work, "Keys of the work", Key::F3),
        }
    }
}

/// A heading, and each key with what it does.
type Group = (&'static str, &'static [(&'static str, &'static str)]);

/// Where somebody new begins.
pub(super) const GUIDE: &str =
    "new here? `evendraw guide` prints your first evening; F1 or Esc closes this";

const ANYWHERE: Group = (
    "Anywhere",
    &[
        ("F1", "this map"),
        ("F2", "the build"),
        ("F3", "the joint in progress"),
        ("F4", "the record"),
        ("F5", "calculator"),
        ("F6", "the plan"),
        ("F7", "compare orders"),
        ("F8", "handover"),
        ("0", "the shelf of builds"),
        ("F9", "sound, on or off"),
        ("F10", "light, dark"),
        ("Q", "plan's unit or N\u{b7}m"),
        ("Ctrl + \u{2212}", "larger, smaller"),
        ("Tab", "the next thing"),
        ("Backspace", "take it back"),
        ("Esc", "back"),
    ],
);

const JOINT: Group = (
    "At the joint",
    &[
        ("Space", "pull while it is held"),
        ("H", "simulate this one"),
        ("J", "simulate them all"),
        ("Enter", "yes, or the way advised"),
        ("N", "no"),
        ("W", "the last one felt wrong"),
        ("R", "redo"),
        ("L", "loosen"),
        ("K", "skip, with a reason"),
        ("B", "a new one is fitted"),
        ("M", "a paint mark is on it"),
        ("C", "check a final one again"),
        ("I", "a second person looked"),
        ("O", "it was on another one"),
        ("A", "a part has arrived"),
        ("F", "rehearse a fault"),
        ("G", "far view, near view"),
        ("Arrows", "choose another fastener"),
    ],
);

const JOB: Group = (
    "The job",
    &[
        ("P, T", "another person, tool"),
        ("V", "work or rehearse"),
        ("D", "readings from a file"),
        ("F11", "an adapter"),
        ("F12", "a reminder"),
        ("L", "tasks, parts, reminders"),
        ("Z", "a new rehearsal"),
        ("O, E", "open a plan, begin one"),
        ("U", "read the plan again"),
        ("S", "the printed sheet"),
        ("X, Y", "record as CSV, JSON"),
        ("G", "print tag, evening"),
        ("N", "tonight"),
        ("I", "paper typed back"),
        ("1 to 9", "choose from a list"),
        ("Up, Down", "move in a table"),
    ],
);

const WRITTEN: Group = (
    "The plan, written",
    &[
        ("A, Ctrl N", "add a joint, a stage, a tool"),
        ("Ctrl Enter", "add another of its kind"),
        ("Ctrl D", "the same once more"),
        ("Ctrl V", "a table of joints, pasted"),
        ("Del", "take it away"),
        ("Ctrl Up, Down", "move it up, down"),
        ("Up, Down", "the one above, below"),
        ("PgUp, PgDn", "that, inside a field too"),
        ("Enter", "into its first field"),
        ("Ctrl Z, Y", "take back, do again"),
        ("S, Ctrl S", "save"),
        ("U", "drop changes, read again"),
        ("O, E", "open a plan, begin one"),
        ("K", "compared with the page"),
        ("J", "who compares"),
        ("X", "fields, text, drawing"),
        ("M", "the drawing, and back"),
    ],
);

const DRAWN: Group = (
    "The plan, drawn",
    &[
        ("Arrows", "move the cross, the fastener"),
        ("Shift Arrows", "the cross, ten steps"),
        ("Enter", "put one at the cross"),
        ("Del", "take it, or the picture, away"),
        ("Esc", "let the fastener go"),
        ("L", "type its label"),
        ("F", "FRONT: to the next edge"),
        ("R", "run through the order"),
        ("C", "choose a picture"),
        ("B", "picture on the sheet, or not"),
    ],
);

/// Draws a page; the key of the other page's screen leads there.
pub(super) fn show(ui: &mut Ui, rect: Rect, page: &mut Page) {
    let (body, foot) = widgets::cut_bottom(rect, 58.0);
    groups(ui, body, &page.groups());
    let (said, place) = widgets::cut_left(foot, foot.width() - 236.0);
    let caution = format!("{} {}", words::HANDS, words::LOOSENING);
    let colours = Colours::of(ui);
    let said = said.with_max_x(said.right() - 12.0);
    widgets::paragraph(ui, said, &caution, theme::text(BODY), colours.caution);
    let (other, words, key) = page.other();
    let place = Rect::from_center_size(place.center(), vec2(place.width(), TARGET));
    if button(ui, place, words, key.name(), Look::Plain, true).clicked() || pressed(ui, key) {
        *page = other;
    }
}

fn groups(ui: &mut Ui, rect: Rect, groups: &[Group]) {
    let colours = Colours::of(ui);
    // A small window has the words a little smaller and nearer, and all of them.
    let size = if rect.width() < 800.0 {
        NOTE + 0.5
    } else {
        BODY
    };
    let longest = groups.iter().map(|(_, rows)| rows.len()).max().unwrap_or(1);
    let height = ((rect.height() - 30.0) / count(longest)).min(36.0);
    for (place, (group, rows)) in widgets::split_across(rect, groups.len())
        .into_iter()
        .zip(groups)
    {
        let head = Rect::from_min_size(place.min, vec2(place.width(), 26.0));
        let font = theme::strong(BODY);
        line(ui, head, Align2::LEFT_CENTER, group, font, colours.next);
        widgets::rule(ui, place.left(), place.right() - 8.0, head.bottom());
        let caps = rows
            .iter()
            .map(|(cap, _)| widgets::text_width(ui, cap, theme::strong(NOTE)));
        // As wide as its widest key, and no narrower than the other columns.
        let cap_width = caps.fold(64.0_f32, f32::max) + 20.0;
        for (index, (cap, words)) in rows.iter().enumerate() {
            let row = Rect::from_min_size(
                pos2(place.left(), head.bottom() + 4.0 + height * count(index)),
                vec2(place.width() - 6.0, height),
            );
            let galley = ui
                .painter()
                .words_in_line(*cap, theme::strong(NOTE), colours.ink);
            let key = Rect::from_min_size(
                pos2(row.left(), row.center().y - 11.5),
                vec2(galley.size().x + 12.0, 23.0),
            );
            let stroke = Stroke::new(1.0, colours.outline);
            ui.painter()
                .rect_stroke(key, 3.0, stroke, StrokeKind::Inside);
            ui.painter()
                .galley(key.center() - galley.size() / 2.0, galley, colours.ink);
            let room = Rect::from_min_max(pos2(row.left() + cap_width, row.top()), row.max);
            let font = theme::text(size);
            silent_line(
                ui.painter(),
                room,
                Align2::LEFT_CENTER,
                words,
                font,
                colours.ink,
            );
            widgets::speak(ui, row, &format!("{cap}: {words}"));
        }
    }
}
