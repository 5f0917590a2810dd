//! The map of a joint: where each fastener sits on the metal, with FRONT named.
//!
//! Positions are in mm, x to the right and y up; the drawing turns y over. Knows nothing of the order of work beyond the
//! number it is given.

use maud::{Markup, html};

use super::Mark;

/// Where the fasteners of a joint are.
#[derive(Clone, Debug, Default)]
pub struct Map {
    /// The fasteners.
    pub places: Vec<Place>,
    /// The side that faces front: left, right, top or bottom; empty where the plan names none.
    pub front: String,
}

impl Map {
    /// The same map without states: what is drawn before work.
    #[must_use]
    pub fn unmarked(&self) -> Self {
        let mut map = self.clone();
        for place in &mut map.places {
            place.mark = None;
        }
        map
    }
}

/// One fastener on the map.
#[derive(Clone, Debug)]
pub struct Place {
    /// Fixed to the metal.
    pub label: String,
    /// To the right, in mm.
    pub x_mm: f64,
    /// Up, in mm.
    pub y_mm: f64,
    /// Its state; none on a blank sheet.
    pub mark: Option<Mark>,
    /// Its place in the order, from 1.
    pub order: Option<usize>,
}

/// Half the size of a fastener on the drawing.
const RADIUS: f64 = 15.0;
/// Least distance between two fasteners on the drawing, so that neither label nor mark covers another.
const APART: f64 = 58.0;
/// Largest drawing.
const WIDEST: f64 = 560.0;
const TALLEST: f64 = 400.0;
const MARGIN: f64 = 50.0;

/// The drawing.
pub(super) fn drawing(map: &Map) -> Markup {
    let Some(frame) = Frame::around(map) else {
        return html! { p.quiet { "No positions are given, so there is no map." } };
    };
    let side = |name: &str| map.front.eq_ignore_ascii_case(name);
    let (left, right) = (side("left"), side("right"));
    let (top, bottom) = (side("top") || side("rear"), side("bottom"));
    let (width, height) = (frame.width, frame.height);
    html! {
        svg.map viewBox=(format!("0 0 {width:.0} {height:.0}")) role="img" aria-label="map of the joint"
            style=(format!("width:{:.0}px", width * frame.shrink)) {
            rect.metal x=(MARGIN - 34.0) y=(MARGIN - 34.0) rx="22"
                width=(format!("{:.1}", width - 2.0 * (MARGIN - 34.0)))
                height=(format!("{:.1}", height - 2.0 * (MARGIN - 34.0))) {}
            @if left { text.front x="9" y=(height / 2.0) transform=(format!("rotate(-90 9 {:.1})", height / 2.0)) { "FRONT" } }
            @if right {
                text.front x=(width - 9.0) y=(height / 2.0)
                    transform=(format!("rotate(90 {:.1} {:.1})", width - 9.0, height / 2.0)) { "FRONT" }
            }
            @if top { text.front x=(width / 2.0) y="10" { "FRONT" } }
            @if bottom { text.front x=(width / 2.0) y=(height - 3.0) { "FRONT" } }
            @for place in &map.places {
                @let (x, y) = frame.at(place);
                g.place.(place.mark.map_or("blank", Mark::name)) transform=(format!("translate({x:.1} {y:.1})")) {
                    circle r=(RADIUS) {}
                    text.label { (place.label) }
                    @if let Some(order) = place.order { text.order y="25" { (order) "." } }
                    @if let Some(mark) = place.mark {
                        g transform="translate(13.5 -13.5) scale(0.88)" {
                            circle.behind r="11" {}
                            use href=(format!("#mark-{}", mark.name())) {}
                        }
                    }
                }
            }
        }
        @if map.front.is_empty() { p.quiet { "The plan names no front side." } }
    }
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
    fn around(map: &Map) -> Option<Self> {
        let first = map.places.first()?;
        let mut low = (first.x_mm, first.y_mm);
        let mut high = low;
        for place in &map.places {
            low = (low.0.min(place.x_mm), low.1.min(place.y_mm));
            high = (high.0.max(place.x_mm), high.1.max(place.y_mm));
        }
        let span = (high.0 - low.0, high.1 - low.1);
        let nearest = nearest(&map.places);
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

    fn at(&self, place: &Place) -> (f64, f64) {
        (
            self.shift.0 + (place.x_mm - self.low.0) * self.scale,
            self.height - self.shift.1 - (place.y_mm - self.low.1) * self.scale,
        )
    }
}

/// Distance of the two fasteners nearest to each other, in mm.
fn nearest(places: &[Place]) -> Option<f64> {
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
