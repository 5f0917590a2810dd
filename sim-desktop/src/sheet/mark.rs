//! Marks on paper: the strokes of each shape as a drawing, with its word.
//!
//! Knows nothing of what a mark means.

use maud::{Markup, html};

use crate::mark::{Corner, LINE, Mark, Stroke};

/// Half the side of the box that a mark is drawn in.
const HALF: f32 = 10.0;
/// Radius of the shape inside it.
const RADIUS: f32 = 8.2;

fn points(corners: &[Corner]) -> String {
    let point = |(x, y): &Corner| format!("{:.1},{:.1}", x * RADIUS, y * RADIUS);
    corners.iter().map(point).collect::<Vec<_>>().join(" ")
}

fn stroke(stroke: &Stroke) -> Markup {
    let width = format!("{:.1}", LINE * RADIUS);
    let dash = format!("{:.1} {:.1}", RADIUS * 0.4, RADIUS * 0.28);
    html! {
        @match stroke {
            Stroke::Area(corners) => polygon points=(points(corners)) fill="currentColor" {},
            Stroke::Outline(corners) => {
                polygon points=(points(corners)) fill="none" stroke="currentColor" stroke-width=(width) {}
            },
            Stroke::Dashes(corners) => {
                polygon points=(points(corners)) fill="none" stroke="currentColor" stroke-width=(width)
                    stroke-dasharray=(dash) {}
            },
            Stroke::Line(corners) => {
                polyline points=(points(corners)) fill="none" stroke="currentColor" stroke-width=(width) {}
            },
            Stroke::Cut(corners) => {
                polyline points=(points(corners)) fill="none" stroke="white" stroke-width=(width) {}
            },
            Stroke::Ring(radius) => {
                circle r=(format!("{:.1}", radius * RADIUS)) fill="none" stroke="currentColor" stroke-width=(width) {}
            },
        }
    }
}

fn id(mark: Mark) -> String {
    format!("mark-{}", mark.word().replace(' ', "-"))
}

/// The use of a drawing that [`symbols`] made.
pub(super) fn reference(mark: Mark) -> Markup {
    html! { use href=(format!("#{}", id(mark))) {} }
}

/// The shape alone.
pub(super) fn shape(mark: Mark) -> Markup {
    html! {
        svg.mark.(mark.hue().name()) viewBox=(format!("-{HALF} -{HALF} {0} {0}", 2.0 * HALF)) role="img" aria-label=(mark.word()) {
            (reference(mark))
        }
    }
}

/// Shape and word.
pub(super) fn badge(mark: Mark) -> Markup {
    html! { span.badge.(mark.hue().name()) { (shape(mark)) (mark.word()) } }
}

/// The drawings that [`shape`] refers to: once a page.
pub(super) fn symbols() -> Markup {
    html! {
        svg.symbols width="0" height="0" aria-hidden="true" {
            defs { @for mark in Mark::ALL { g id=(id(mark)) { @for own in mark.shape() { (stroke(own)) } } } }
        }
    }
}
