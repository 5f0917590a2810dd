//! No state by colour alone: the marks told apart from a grey picture of the map.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixels of a picture, far below the limits"
)]

use egui::{Key, Theme, Vec2};
use evendraw::desk::view::{Mark, StageRow};

use crate::pictures::harness;
use crate::scenes;

/// The stage list, one row for each mark, as grey squares cut out round the marks.
fn grey_marks(theme: Theme) -> Vec<Vec<f32>> {
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
    let mut harness = harness(view, theme, Vec2::new(1280.0, 1200.0), 1.0);
    harness.key_press(Key::F3);
    harness.run();
    harness.run();
    let picture = harness.render().unwrap();
    let scale = picture.width() as f32 / harness.ctx.content_rect().width();
    Mark::ALL
        .into_iter()
        .enumerate()
        .map(|(index, mark)| {
            use egui_kittest::kittest::Queryable as _;
            let row = harness
                .get_by_label(&format!("stage {} {}: 0 of 1", index + 1, mark.word()))
                .rect();
            // The mark stands 32 points left of the row's words, 15 below its top.
            let list_left = harness.get_by_label("Stages").rect().left();
            let (x, y) = ((list_left + 14.0) * scale, (row.top() + 15.0) * scale);
            let half = (11.0 * scale) as i32;
            let mut grey = Vec::new();
            for dy in -half..=half {
                for dx in -half..=half {
                    let [r, g, b, _] = picture
                        .get_pixel((x as i32 + dx) as u32, (y as i32 + dy) as u32)
                        .0;
                    grey.push(
                        (0.2126 * f32::from(r) + 0.7152 * f32::from(g) + 0.0722 * f32::from(b))
                            / 255.0,
                    );
                }
            }
            // Black or white only: what is left is shape, neither hue nor depth of tone.
            let middle = (grey.iter().fold(1.0f32, |a, b| a.min(*b))
                + grey.iter().fold(0.0f32, |a, b| a.max(*b)))
                / 2.0;
            let ground = grey[0] > middle;
            grey.iter()
                .map(|value| {
                    if (*value > middle) == ground {
                        0.0
                    } else {
                        1.0
                    }
                })
                .collect()
        })
        .collect()
}

#[test]
fn every_state_has_a_shape_of_its_own() {
    for theme in [Theme::Light, Theme::Dark] {
        let marks = grey_marks(theme);
        for (i, a) in marks.iter().enumerate() {
            let ink: f32 = a.iter().sum::<f32>() / a.len() as f32;
            assert!(ink > 0.05, "{:?} is hardly there: {ink}", Mark::ALL[i]);
            for (j, b) in marks.iter().enumerate().skip(i + 1) {
                let differs =
                    a.iter().zip(b).filter(|(a, b)| a != b).count() as f32 / a.len() as f32;
                assert!(
                    differs > 0.08,
                    "{theme:?}: {:?} and {:?} differ in {:.1} % of their ground",
                    Mark::ALL[i],
                    Mark::ALL[j],
                    differs * 100.0
                );
            }
        }
    }
}
