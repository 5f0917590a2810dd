//! Words on their way to the painter and to the screen reader: the one door, where every text becomes visible data.
//!
//! `clippy.toml` forbids the painter's own text functions elsewhere in this crate. An extension of the painter, so that a screen
//! reads as before. Knows nothing of what the words mean.
#![expect(
    clippy::disallowed_methods,
    reason = "the door through which the others go"
)]

use std::sync::Arc;

use egui::accesskit::Role;
use egui::text::{LayoutJob, TextFormat, TextWrapping};
use egui::{Align2, Color32, FontId, Galley, Painter, Pos2, Rect, WidgetInfo};

use crate::words::{visible, visible_lines};

/// Laying out words whose characters all can be seen.
pub(super) trait Ink {
    /// On one line, however long.
    fn words_in_line(&self, words: impl AsRef<str>, font: FontId, colour: Color32) -> Arc<Galley>;
    /// On as many lines as they need at this width; their own ends of lines hold.
    fn words_wrapped(
        &self,
        words: impl AsRef<str>,
        font: FontId,
        colour: Color32,
        width: f32,
    ) -> Arc<Galley>;
    /// On so many lines at most, cut with an ellipsis.
    fn words_cut(
        &self,
        words: impl AsRef<str>,
        font: FontId,
        colour: Color32,
        wrap: TextWrapping,
    ) -> Arc<Galley>;
    /// Painted on one line at a place; returns what they cover.
    fn write(
        &self,
        place: Pos2,
        anchor: Align2,
        words: impl AsRef<str>,
        font: FontId,
        colour: Color32,
    ) -> Rect;
}

impl Ink for Painter {
    fn words_in_line(&self, words: impl AsRef<str>, font: FontId, colour: Color32) -> Arc<Galley> {
        self.layout_no_wrap(visible(words.as_ref()).into_owned(), font, colour)
    }

    fn words_wrapped(
        &self,
        words: impl AsRef<str>,
        font: FontId,
        colour: Color32,
        width: f32,
    ) -> Arc<Galley> {
        let words = visible_lines(words.as_ref()).into_owned();
        self.layout(words, font, colour, width)
    }

    fn words_cut(
        &self,
        words: impl AsRef<str>,
        font: FontId,
        colour: Color32,
        wrap: TextWrapping,
    ) -> Arc<Galley> {
        let words = visible_lines(words.as_ref()).into_owned();
        let mut job = LayoutJob::single_section(words, TextFormat::simple(font, colour));
        job.wrap = wrap;
        self.layout_job(job)
    }

    fn write(
        &self,
        place: Pos2,
        anchor: Align2,
        words: impl AsRef<str>,
        font: FontId,
        colour: Color32,
    ) -> Rect {
        self.text(place, anchor, visible(words.as_ref()), font, colour)
    }
}

/// What a screen reader says of a thing.
#[must_use]
pub(super) fn labeled(role: Role, enabled: bool, words: impl AsRef<str>) -> WidgetInfo {
    WidgetInfo::labeled(role, enabled, visible_lines(words.as_ref()))
}

/// What a screen reader says of a thing that is chosen or not.
#[must_use]
pub(super) fn selected(
    role: Role,
    enabled: bool,
    selected: bool,
    words: impl AsRef<str>,
) -> WidgetInfo {
    WidgetInfo::selected(role, enabled, selected, visible_lines(words.as_ref()))
}
