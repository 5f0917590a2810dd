//! Colour roles, typeface and type scale: one sheet of paper by day, one blueprint by night.
//!
//! Hue is kept for state; everything else is ink on paper and hairlines. Knows nothing of screens.

use egui::{
    Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Stroke, TextStyle, Theme,
    Vec2,
};
use std::sync::Arc;

/// Smallest text: captions and units of a scale.
pub const NOTE: f32 = 14.0;
/// Running text.
pub const BODY: f32 = 17.0;
/// Names of things.
pub const HEAD: f32 = 21.0;
/// Name of a screen or of an alert.
pub const TITLE: f32 = 28.0;
/// Least height of anything that is pressed.
pub const TARGET: f32 = 48.0;
/// Space between things, and twice it between groups.
pub const GAP: f32 = 8.0;

/// Height of a digit over its font size, measured in the embedded typeface (cap height 700 of 1000 units).
pub const DIGIT_HEIGHT: f32 = 0.7;

/// What a colour is for. Names are uses, not hues.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Colours {
    /// Behind everything.
    pub page: Color32,
    /// Where things are drawn.
    pub sheet: Color32,
    /// Sunken: fields, the empty part of a bar.
    pub well: Color32,
    /// Hairlines.
    pub line: Color32,
    /// Outlines that must be seen.
    pub outline: Color32,
    /// Text and drawings.
    pub ink: Color32,
    /// Text of less weight.
    pub soft: Color32,
    /// The next fastener, the current thing, the one filled button.
    pub next: Color32,
    /// Text on `next`.
    pub on_next: Color32,
    /// Pale ground of `next`.
    pub next_tint: Color32,
    /// Accepted, final, inside the window.
    pub good: Color32,
    /// Pale ground of `good`.
    pub good_tint: Color32,
    /// Rejected, stop.
    pub bad: Color32,
    /// Text on `bad`.
    pub on_bad: Color32,
    /// Pale ground of `bad`.
    pub bad_tint: Color32,
    /// Doubtful, disturbed, held.
    pub caution: Color32,
    /// Pale ground of `caution`.
    pub caution_tint: Color32,
    /// The rehearsal band, and nothing else.
    pub rehearsal: Color32,
    /// Text on `rehearsal`.
    pub on_rehearsal: Color32,
}

const fn rgb(hex: u32) -> Color32 {
    let [_, r, g, b] = hex.to_be_bytes();
    Color32::from_rgb(r, g, b)
}

/// By day.
pub const LIGHT: Colours = Colours {
    page: rgb(0x00e9_e7df),
    sheet: rgb(0x00fa_f9f5),
    well: rgb(0x00e3_e0d6),
    line: rgb(0x00cb_c7ba),
    outline: rgb(0x0082_7e70),
    ink: rgb(0x0017_1f29),
    soft: rgb(0x0047_505b),
    next: rgb(0x0000_4a9f),
    on_next: rgb(0x00ff_ffff),
    next_tint: rgb(0x00d9_e6f7),
    good: rgb(0x0006_5a35),
    good_tint: rgb(0x00cf_e8d8),
    bad: rgb(0x009f_1818),
    on_bad: rgb(0x00ff_ffff),
    bad_tint: rgb(0x00f8_dcd7),
    caution: rgb(0x006f_4300),
    caution_tint: rgb(0x00f5_e2b8),
    rehearsal: rgb(0x0073_2572),
    on_rehearsal: rgb(0x00ff_ffff),
};

/// By night, or in a dark shop.
pub const DARK: Colours = Colours {
    page: rgb(0x000b_131b),
    sheet: rgb(0x0013_1f2a),
    well: rgb(0x001f_2e3c),
    line: rgb(0x002e_4152),
    outline: rgb(0x0074_8a9e),
    ink: rgb(0x00ed_f2f6),
    soft: rgb(0x00ae_bcc9),
    next: rgb(0x0080_bcff),
    on_next: rgb(0x0004_172b),
    next_tint: rgb(0x0016_3556),
    good: rgb(0x0072_d69e),
    good_tint: rgb(0x0010_3b28),
    bad: rgb(0x00ff_978e),
    on_bad: rgb(0x0033_0706),
    bad_tint: rgb(0x004b_1c1b),
    caution: rgb(0x00f4_c263),
    caution_tint: rgb(0x0042_310d),
    rehearsal: rgb(0x00e8_a5e5),
    on_rehearsal: rgb(0x0029_0828),
};

impl Colours {
    /// The colours of the theme this part of the window is drawn in.
    #[must_use]
    pub fn of(ui: &egui::Ui) -> Self {
        if ui.visuals().dark_mode { DARK } else { LIGHT }
    }

    /// Every text colour with every ground it is written on, named, for the contrast test.
    #[must_use]
    pub fn pairs(&self) -> Vec<(&'static str, Color32, Color32)> {
        let mut pairs = vec![
            ("on next", self.on_next, self.next),
            ("on bad", self.on_bad, self.bad),
            ("on rehearsal", self.on_rehearsal, self.rehearsal),
            ("ink on next tint", self.ink, self.next_tint),
            ("ink on good tint", self.ink, self.good_tint),
            ("ink on bad tint", self.ink, self.bad_tint),
            ("ink on caution tint", self.ink, self.caution_tint),
            ("soft on next tint", self.soft, self.next_tint),
            ("next on its tint", self.next, self.next_tint),
            ("good on its tint", self.good, self.good_tint),
            ("bad on its tint", self.bad, self.bad_tint),
            ("caution on its tint", self.caution, self.caution_tint),
        ];
        for (name, ground) in [
            ("page", self.page),
            ("sheet", self.sheet),
            ("well", self.well),
        ] {
            for colour in [
                self.ink,
                self.soft,
                self.next,
                self.good,
                self.bad,
                self.caution,
                self.rehearsal,
            ] {
                pairs.push((name, colour, ground));
            }
        }
        pairs
    }
}

/// Contrast of two colours, 1 to 21, by the relative luminance of WCAG 2.2 [w3.org/TR/WCAG22, "contrast ratio"].
#[must_use]
pub fn contrast(a: Color32, b: Color32) -> f64 {
    let luminance = |colour: Color32| {
        let linear = |byte: u8| {
            let value = f64::from(byte) / 255.0;
            if value <= 0.04045 {
                value / 12.92
            } else {
                ((value + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(colour.r()) + 0.7152 * linear(colour.g()) + 0.0722 * linear(colour.b())
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// Running text.
#[must_use]
pub fn text(size: f32) -> FontId {
    FontId::new(size, FontFamily::Proportional)
}

/// Files as they are written: every letter equally wide.
#[must_use]
pub fn mono(size: f32) -> FontId {
    FontId::new(size, FontFamily::Monospace)
}

/// Names, words of state, buttons.
#[must_use]
pub fn strong(size: f32) -> FontId {
    FontId::new(size, FontFamily::Name("strong".into()))
}

/// Big numbers: narrower, and every digit equally wide.
#[must_use]
pub fn figure(size: f32) -> FontId {
    FontId::new(size, FontFamily::Name("figure".into()))
}

fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::empty();
    let faces: [(&str, &'static [u8]); 4] = [
        ("text", include_bytes!("fonts/barlow-medium-tabular.ttf")),
        (
            "strong",
            include_bytes!("fonts/barlow-semibold-tabular.ttf"),
        ),
        (
            "figure",
            include_bytes!("fonts/barlow-semicondensed-semibold-tabular.ttf"),
        ),
        ("mono", include_bytes!("fonts/noto-sans-mono-latin.ttf")),
    ];
    for (name, bytes) in faces {
        fonts
            .font_data
            .insert(name.to_owned(), Arc::new(FontData::from_static(bytes)));
    }
    fonts.families.insert(
        FontFamily::Proportional,
        vec!["text".to_owned(), "mono".to_owned()],
    );
    fonts
        .families
        .insert(FontFamily::Monospace, vec!["mono".to_owned()]);
    fonts.families.insert(
        FontFamily::Name("strong".into()),
        vec!["strong".to_owned(), "mono".to_owned()],
    );
    fonts
        .families
        .insert(FontFamily::Name("figure".into()), vec!["figure".to_owned()]);
    fonts
}

/// Dresses a fresh egui context: fonts, both themes, spacing.
pub fn dress(context: &egui::Context) {
    context.set_fonts(fonts());
    for (theme, colours) in [(Theme::Light, LIGHT), (Theme::Dark, DARK)] {
        context.style_mut_of(theme, |style| {
            style.text_styles = [
                (TextStyle::Small, text(NOTE)),
                (TextStyle::Body, text(BODY)),
                (TextStyle::Monospace, mono(NOTE)),
                (TextStyle::Button, strong(BODY)),
                (TextStyle::Heading, strong(HEAD)),
            ]
            .into();
            style.spacing.item_spacing = Vec2::splat(GAP);
            style.spacing.button_padding = Vec2::new(14.0, 8.0);
            style.spacing.interact_size = Vec2::new(TARGET, TARGET);
            style.spacing.scroll.floating = false;
            style.spacing.scroll.bar_width = 12.0;
            style.spacing.scroll.foreground_color = false;
            style.animation_time = 0.0;
            let visuals = &mut style.visuals;
            visuals.dark_mode = theme == Theme::Dark;
            visuals.override_text_color = Some(colours.ink);
            visuals.weak_text_color = Some(colours.soft);
            visuals.panel_fill = colours.page;
            visuals.window_fill = colours.sheet;
            visuals.window_stroke = Stroke::new(1.0, colours.outline);
            visuals.window_shadow = egui::Shadow::NONE;
            visuals.popup_shadow = egui::Shadow::NONE;
            visuals.window_corner_radius = CornerRadius::same(3);
            visuals.menu_corner_radius = CornerRadius::same(3);
            visuals.extreme_bg_color = colours.well;
            visuals.text_edit_bg_color = Some(colours.sheet);
            visuals.faint_bg_color = colours.page;
            visuals.hyperlink_color = colours.next;
            visuals.warn_fg_color = colours.caution;
            visuals.error_fg_color = colours.bad;
            visuals.selection.bg_fill = colours.next_tint;
            visuals.selection.stroke = Stroke::new(2.0, colours.next);
            visuals.text_cursor.stroke = Stroke::new(2.0, colours.next);
            let widgets = &mut visuals.widgets;
            let states = [
                (
                    &mut widgets.noninteractive,
                    colours.sheet,
                    Stroke::new(1.0, colours.line),
                ),
                (
                    &mut widgets.inactive,
                    colours.sheet,
                    Stroke::new(1.0, colours.outline),
                ),
                (
                    &mut widgets.hovered,
                    colours.well,
                    Stroke::new(1.0, colours.ink),
                ),
                (
                    &mut widgets.active,
                    colours.well,
                    Stroke::new(2.0, colours.next),
                ),
                (
                    &mut widgets.open,
                    colours.well,
                    Stroke::new(1.0, colours.ink),
                ),
            ];
            for (widget, fill, stroke) in states {
                // Grips and handles; everything else here is drawn by hand.
                widget.bg_fill = colours.line;
                widget.weak_bg_fill = fill;
                widget.bg_stroke = stroke;
                widget.fg_stroke = Stroke::new(1.5, colours.ink);
                widget.corner_radius = CornerRadius::same(3);
                widget.expansion = 0.0;
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::{Color32, DARK, LIGHT, contrast};

    #[test]
    fn contrast_agrees_with_the_published_ends_of_the_scale() {
        // [WCAG 2.2: black on white is 21:1, a colour on itself 1:1]
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-9);
        assert!((contrast(LIGHT.bad, LIGHT.bad) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn every_text_has_a_contrast_of_five_to_one() {
        for (theme, colours) in [("light", LIGHT), ("dark", DARK)] {
            for (name, text, ground) in colours.pairs() {
                let ratio = contrast(text, ground);
                assert!(
                    ratio >= 5.0,
                    "{theme}: {name} {text:?} on {ground:?} is only {ratio:.2}:1"
                );
            }
        }
    }

    #[test]
    fn outlines_that_carry_meaning_have_three_to_one() {
        for colours in [LIGHT, DARK] {
            assert!(contrast(colours.outline, colours.sheet) >= 3.0);
        }
    }

    #[test]
    fn digits_of_every_embedded_face_are_equally_wide() {
        let context = egui::Context::default();
        super::dress(&context);
        context
            .run_ui(egui::RawInput::default(), |_| {})
            .drop_without_applying_deltas();
        for font in [super::text(40.0), super::strong(40.0), super::figure(40.0)] {
            let widths: Vec<f32> = context.fonts_mut(|fonts| {
                ('0'..='9')
                    .map(|digit| fonts.glyph_width(&font, digit))
                    .collect()
            });
            assert!(
                widths
                    .iter()
                    .all(|width| (width - widths[0]).abs() < 1e-3 && *width > 10.0),
                "{widths:?}"
            );
        }
    }
}
