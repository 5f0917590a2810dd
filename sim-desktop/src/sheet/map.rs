//! The map of a joint: where each fastener sits on the metal, with FRONT named.
//!
//! Positions are in mm, x to the right and y up; the drawing turns y over. Knows nothing of the order of work beyond the
//! number it is given.

use maud::{Markup, html};

use super::mark::reference;
use super::picture::Printed;
use crate::job::status::{FastenerStatus, JointStatus};
use crate::mark::Mark;
use crate::picture::Laid;

/// Half the size of a fastener on the drawing.
const RADIUS: f64 = 15.0;
/// Least distance between two fasteners on the drawing, so that neither label nor mark covers another.
const APART: f64 = 58.0;
/// Largest drawing.
const WIDEST: f64 = 560.0;
const TALLEST: f64 = 400.0;
const MARGIN: f64 = 50.0;

/// The drawing; with the states of the fasteners, or without them for before work.
pub(super) fn drawing(joint: &JointStatus, pictures: &[Printed], with_states: bool) -> Markup {
    let Some(frame) = Frame::around(&joint.fasteners) else {
        return html! { p.quiet { "No positions are given, so there is no map." } };
    };
    let (width, height) = (frame.width, frame.height);
    let own = pictures.iter().find(|own| own.joint == joint.id);
    let picture = own.and_then(|own| own.shown.as_ref().ok());
    let missing = own.and_then(|own| own.shown.as_ref().err());
    // Where FRONT stands, and how far it is turned.
    let front = match joint.front.as_str() {
        "left" => Some((9.0, height / 2.0, -90)),
        "right" => Some((width - 9.0, height / 2.0, 90)),
        "top" => Some((width / 2.0, 10.0, 0)),
        "bottom" => Some((width / 2.0, height - 3.0, 0)),
        _ => None,
    };
    html! {
        svg.map viewBox=(format!("0 0 {width:.0} {height:.0}")) role="img" aria-label="map of the joint"
            style=(format!("width:{:.0}px", width * frame.shrink)) {
            rect.metal x=(MARGIN - 34.0) y=(MARGIN - 34.0) rx="22"
                width=(format!("{:.1}", width - 2.0 * (MARGIN - 34.0)))
                height=(format!("{:.1}", height - 2.0 * (MARGIN - 34.0))) {}
            @if let Some(picture) = picture {
                image.under href=(picture.data) width=(picture.width) height=(picture.height)
                    preserveAspectRatio="none" transform=(frame.matrix(&picture.laid)) {}
            }
            @if let Some((x, y, turn)) = front {
                text.front x=(format!("{x:.1}")) y=(format!("{y:.1}")) transform=(format!("rotate({turn} {x:.1} {y:.1})")) { "FRONT" }
            }
            @for fastener in &joint.fasteners {
                @let (x, y) = frame.at(fastener);
                @let mark = fastener.mark.filter(|_| with_states);
                g.place.(mark.map_or("blank", |mark| mark.hue().name())) transform=(format!("translate({x:.1} {y:.1})")) {
                    circle r=(RADIUS) {}
                    text.label { (fastener.label) }
                    @if let Some(order) = fastener.order { text.order y="25" { (order) "." } }
                    @if let Some(mark) = mark { (small(mark)) }
                }
            }
        }
        @if joint.front.is_empty() { p.quiet { "The plan names no front side." } }
        @if let Some(missing) = missing { p.quiet { (missing) } }
        @if joint.is_left_hand { p.lefthand { "LEFT-HAND THREAD: tighten anticlockwise" } }
    }
}

fn small(mark: Mark) -> Markup {
    html! { g transform="translate(13.5 -13.5) scale(0.88)" { circle.behind r="11" {} (reference(mark)) } }
}

/// How mm become places on the drawing.
struct Frame {
    low: (f64, f64),
    scale: f64,
    shift: (f64, f64),
    width: f64,
    height: f64,
    shrink: f64,
}

impl Frame {
    fn around(places: &[FastenerStatus]) -> Option<Self> {
        let first = places.first()?;
        let mut low = (first.x_mm, first.y_mm);
        let mut high = low;
        for place in places {
            low = (low.0.min(place.x_mm), low.1.min(place.y_mm));
            high = (high.0.max(place.x_mm), high.1.max(place.y_mm));
        }
        let span = (high.0 - low.0, high.1 - low.1);
        let nearest = nearest(places);
        let fit = f64::min(WIDEST / span.0.max(1e-6), TALLEST / span.1.max(1e-6));
        // Small joints are not blown up, crowded ones are spread until the labels clear each other.
        let scale = match nearest {
            Some(nearest) if nearest > 0.0 => {
                f64::max(fit.min(APART * 1.7 / nearest), APART / nearest)
            }
            _ => 1.0,
        };
        let inner = (span.0 * scale, span.1 * scale);
        let least = 3.0 * RADIUS;
        let size = (inner.0.max(least), inner.1.max(least));
        let width = size.0 + 2.0 * MARGIN;
        Some(Self {
            low,
            scale,
            shift: (
                (size.0 - inner.0) / 2.0 + MARGIN,
                (size.1 - inner.1) / 2.0 + MARGIN,
            ),
            width,
            height: size.1 + 2.0 * MARGIN,
            shrink: f64::min(1.0, (WIDEST + 2.0 * MARGIN) / width),
        })
    }

    fn at(&self, place: &FastenerStatus) -> (f64, f64) {
        self.on_paper((place.x_mm, place.y_mm))
    }

    fn on_paper(&self, (x_mm, y_mm): (f64, f64)) -> (f64, f64) {
        (
            self.shift.0 + (x_mm - self.low.0) * self.scale,
            self.height - self.shift.1 - (y_mm - self.low.1) * self.scale,
        )
    }

    /// From the pixels of a picture that lies so.
    fn matrix(&self, laid: &Laid) -> String {
        let corner = self.on_paper(laid.corner());
        let (along, up) = laid.along();
        let (a, b) = (along * self.scale, up * self.scale);
        format!(
            "matrix({a:.6} {:.6} {b:.6} {a:.6} {:.3} {:.3})",
            -b, corner.0, corner.1
        )
    }
}

/// Distance of the two fasteners nearest to each other, in mm.
fn nearest(places: &[FastenerStatus]) -> Option<f64> {
    let mut least: Option<f64> = None;
    for (index, one) in places.iter().enumerate() {
        for other in places.iter().skip(index + 1) {
            let distance = (one.x_mm - other.x_mm).hypot(one.y_mm - other.y_mm);
            if distance > 1e-9 {
                least = Some(least.map_or(distance, |least| least.min(distance)));
            }
        }
    }
    least
}
