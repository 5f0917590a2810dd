//! No state by colour alone: the marks told apart from a grey picture of the map.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixels of a picture, far below the limits"
)]

use egui::{Key, Rect, Theme, Vec2, pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::view::{Cue, DeskView, Mark, StageRow};

use crate::pictures::{Scene, harness};
use crate::scenes;

/// What is left of a place without hue and without depth of tone: ink or ground, pixel by pixel.
fn shape(picture: &image::RgbaImage, place: Rect, scale: f32) -> Vec<bool> {
    let mut grey = Vec::new();
    let from = (place.min * scale).round();
    let (width, height) = (
        (place.width() * scale) as u32,
        (place.height() * scale) as u32,
    );
    for dy in 0..height {
        for dx in 0..width {
            let [r, g, b, _] = picture.get_pixel(from.x as u32 + dx, from.y as u32 + dy).0;
            grey.push(0.2126 * f32::from(r) + 0.7152 * f32::from(g) + 0.0722 * f32::from(b));
        }
    }
    let least = grey.iter().fold(f32::MAX, |a, b| a.min(*b));
    let greatest = grey.iter().fold(0.0f32, |a, b| a.max(*b));
    let middle = (least + greatest) / 2.0;
    let ground = grey[0] > middle;
    grey.iter()
        .map(|value| (*value > middle) != ground)
        .collect()
}

/// Every shape is there, and no two are alike.
fn tell_apart(names: &[String], shapes: &[Vec<bool>], least: f32) {
    for (i, a) in shapes.iter().enumerate() {
        let ink = a.iter().filter(|ink| **ink).count() as f32 / a.len() as f32;
        assert!(ink > 0.03, "{} is hardly there: {ink}", names[i]);
        for (j, b) in shapes.iter().enumerate().skip(i + 1) {
            let differs = a.iter().zip(b).filter(|(a, b)| a != b).count() as f32 / a.len() as f32;
            assert!(
                differs > least,
                "{} and {} differ in {:.1} % of their ground",
                names[i],
                names[j],
                differs * 100.0
            );
        }
    }
}

/// The stage list, one row for each mark, as grey squares cut out round the marks.
fn grey_marks(theme: Theme) -> Vec<Vec<bool>> {
    let mut view = scenes::desk();
    let joint = view.joint.as_mut().unwrap();
    joint.stages = Mark::ALL
        .into_iter()
        .enumerate()
        .map(|(index, mark)| StageRow {
            number: index + 1,
            words: String::new(),
            mark,
            done: 0,
            of: 1,
            current: false,
        })
        .collect();
    let mut harness = harness(view, theme, Vec2::new(1280.0, 1500.0), 1.0);
    harness.key_press(Key::F3);
    harness.run();
    harness.run();
    let picture = harness.render().unwrap();
    let scale = picture.width() as f32 / harness.ctx.content_rect().width();
    Mark::ALL
        .into_iter()
        .enumerate()
        .map(|(index, mark)| {
            let row = harness
                .get_by_label(&format!("stage {} {}: 0 of 1", index + 1, mark.word()))
                .rect();
            // The mark stands 32 points left of the row's words, 15 below its top.
            let list_left = harness.get_by_label("Stages").rect().left();
            let (x, y) = ((list_left + 14.0) * scale, (row.top() + 15.0) * scale);
            let place = Rect::from_center_size(pos2(x, y) / scale, Vec2::splat(22.0));
            shape(&picture, place, scale)
        })
        .collect()
}

#[test]
fn every_state_has_a_shape_of_its_own() {
    for theme in [Theme::Light, Theme::Dark] {
        let names: Vec<String> = Mark::ALL
            .iter()
            .map(|mark| format!("{theme:?} {mark:?}"))
            .collect();
        tell_apart(&names, &grey_marks(theme), 0.08);
    }
}

fn at_the_joint(view: DeskView, theme: Theme) -> Harness<'static, Scene> {
    let mut harness = harness(view, theme, Vec2::new(800.0, 500.0), 1.0);
    harness.key_press(Key::F3);
    harness.run();
    harness.run();
    harness
}

#[test]
fn every_cue_has_a_shape_of_its_own() {
    let cues = [
        Cue::Ready,
        Cue::Pull,
        Cue::Slow,
        Cue::Stop,
        Cue::Halt,
        Cue::Release,
        Cue::Storing,
        Cue::Wait,
    ];
    for theme in [Theme::Light, Theme::Dark] {
        let shapes: Vec<Vec<bool>> = cues
            .iter()
            .map(|cue| {
                let mut view = scenes::desk();
                let live = &mut view.joint.as_mut().unwrap().live;
                live.cue = *cue;
                // The same words for all, so that it is not the words that differ.
                live.cue_words = "so".to_owned();
                let mut harness = at_the_joint(view, theme);
                let place = harness.get_by_label("so").rect();
                let side = Rect::from_min_size(place.min, Vec2::new(46.0, place.height()));
                shape(&harness.render().unwrap(), side, 1.0)
            })
            .collect();
        let names: Vec<String> = cues
            .iter()
            .map(|cue| format!("{theme:?} {cue:?}"))
            .collect();
        tell_apart(&names, &shapes, 0.02);
    }
}

#[test]
fn every_state_of_a_fastener_can_be_told_on_the_map_without_colour() {
    for theme in [Theme::Light, Theme::Dark] {
        let shapes: Vec<Vec<bool>> = Mark::ALL
            .iter()
            .map(|mark| {
                // Always the same fastener, so that nothing but its state differs.
                let mut view = scenes::desk();
                view.joint.as_mut().unwrap().fasteners[2].mark = *mark;
                let mut harness = at_the_joint(view, theme);
                let place = harness.get_by_label_contains("Fastener 3, ").rect();
                let place = Rect::from_center_size(place.center(), Vec2::splat(64.0));
                shape(&harness.render().unwrap(), place, 1.0)
            })
            .collect();
        let names: Vec<String> = Mark::ALL
            .iter()
            .map(|mark| format!("{theme:?} {mark:?}"))
            .collect();
        tell_apart(&names, &shapes, 0.01);
    }
}
