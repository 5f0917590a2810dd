//! The joint from three metres: how high the figures really stand, measured on the picture, from a small window to a wall.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixels of a picture, far below the limits"
)]

use egui::{Color32, Key, Rect, Theme, Vec2};
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::theme::{DARK, LIGHT};

use crate::pictures::{Scene, harness};
use crate::scenes;

/// How many pixels high the part of this place is that has nearly this colour, between two shares of its width.
fn height_of(
    picture: &image::RgbaImage,
    place: Rect,
    scale: f32,
    ink: Color32,
    from: f32,
    to: f32,
) -> f32 {
    let near = |pixel: &image::Rgba<u8>| {
        let [r, g, b, _] = pixel.0;
        [(r, ink.r()), (g, ink.g()), (b, ink.b())]
            .iter()
            .all(|(a, b)| a.abs_diff(*b) < 40)
    };
    let columns = (place.left() + place.width() * from)..(place.left() + place.width() * to);
    let rows = (place.top() * scale) as u32..(place.bottom() * scale) as u32;
    let inked: Vec<u32> = rows
        .filter(|y| {
            ((columns.start * scale) as u32..(columns.end * scale) as u32)
                .any(|x| near(picture.get_pixel(x, *y)))
        })
        .collect();
    match (inked.first(), inked.last()) {
        (Some(first), Some(last)) => (last - first + 1) as f32,
        _ => 0.0,
    }
}

fn at_the_joint(theme: Theme, size: Vec2) -> egui_kittest::Harness<'static, Scene> {
    let mut harness = harness(scenes::desk(), theme, size, 1.0);
    harness.key_press(Key::F3);
    harness.run();
    harness.run();
    harness
}

#[test]
fn the_next_fastener_and_the_reading_stand_a_twelfth_of_the_window() {
    // Small windows, a laptop, a wall screen, and a tall one.
    for (width, height) in [
        (640.0, 400.0),
        (800.0, 500.0),
        (1280.0, 800.0),
        (2560.0, 1600.0),
        (1200.0, 1600.0),
    ] {
        for (theme, colours) in [(Theme::Light, LIGHT), (Theme::Dark, DARK)] {
            let mut harness = at_the_joint(theme, Vec2::new(width, height));
            let picture = harness.render().unwrap();
            let scale = picture.width() as f32 / harness.ctx.content_rect().width();
            let place = harness.get_by_label("Next fastener 7").rect();
            let digit = height_of(&picture, place, scale, colours.on_next, 0.2, 0.8);
            let reading = harness.get_by_label_contains("Angle 63.4").rect();
            // Without the degree sign, which stands higher than the digits.
            let figures = height_of(&picture, reading, scale, colours.ink, 0.0, 0.7);
            for (what, found) in [("next fastener", digit), ("reading", figures)] {
                assert!(
                    found >= height / 12.0,
                    "{what} is {found} px high in a window of {width} by {height} ({theme:?})"
                );
            }
        }
    }
}

#[test]
fn no_text_falls_below_the_smallest_size_in_a_window_of_any_use() {
    for size in [
        Vec2::new(800.0, 500.0),
        Vec2::new(1280.0, 800.0),
        Vec2::new(2560.0, 1600.0),
    ] {
        let harness = at_the_joint(Theme::Light, size);
        let zoom = harness.ctx.zoom_factor();
        assert!(zoom >= 1.0, "drawn smaller than life at {size:?}: {zoom}");
        assert!(evendraw::desk::theme::NOTE * zoom >= 14.0);
    }
    // On a wall the text grows with the screen.
    let wall = at_the_joint(Theme::Light, Vec2::new(2560.0, 1600.0));
    assert!(wall.ctx.zoom_factor() >= 2.0);
}
