//! The picture of an order: in characters for the terminal, as SVG for a file.
//!
//! Knows nothing of how the order was found.

use crate::limited::Limited as _;
use std::fmt::Write as _;

use super::Spot;

/// A joint seen from above, its fasteners numbered in the order of work.
pub(super) struct Picture<'a> {
    pub(super) spots: &'a [Spot],
    pub(super) order: &'a [u8],
    pub(super) front: Option<&'a str>,
}

/// Widest picture in the terminal, in characters, and how many of them make the width of one line's height.
const COLUMNS_MAX: f64 = 96.0;
const ROWS_MAX: f64 = 40.0;
const ASPECT: f64 = 2.0;

impl Picture<'_> {
    /// The place of a fastener in the order, from 1.
    fn place(&self, fastener: usize) -> Option<usize> {
        let at = self
            .order
            .iter()
            .position(|&index| usize::from(index) == fastener);
        at.map(|at| at + 1)
    }

    /// In characters; none where the fasteners are too close together.
    pub(super) fn text(&self) -> Option<String> {
        let frame = Frame::around(self.spots);
        let words: Vec<String> = (0_usize..)
            .zip(self.spots)
            .map(|(index, spot)| match self.place(index) {
                Some(place) => format!("{}:{place}", spot.label),
                None => spot.label.clone(),
            })
            .collect();
        // The smallest drawing in which no two words touch.
        (8..=40_u8).find_map(|step| {
            let per_mm = f64::from(step) * 0.025 * COLUMNS_MAX
                / frame.width.max(frame.height * ASPECT).max(1.0);
            let fits =
                frame.width * per_mm <= COLUMNS_MAX && frame.height * per_mm / ASPECT <= ROWS_MAX;
            if fits {
                self.grid(&frame, per_mm, &words)
            } else {
                None
            }
        })
    }

    fn grid(&self, frame: &Frame, per_mm: f64, words: &[String]) -> Option<String> {
        let mut cells: Vec<(usize, usize, &str)> = Vec::new();
        for (spot, word) in self.spots.iter().zip(words) {
            let column = whole((spot.x_mm - frame.left) * per_mm);
            let row = whole((frame.top - spot.y_mm) * per_mm / ASPECT);
            cells.push((row, column, word.as_str()));
        }
        cells.sort_unstable();
        let length = |word: &str| word.chars().count();
        let touching = cells.windows(2).any(|pair| match pair {
            [(row, column, word), (next_row, next_column, _)] => {
                row == next_row && column + length(word) + 1 > *next_column
            }
            _ => false,
        });
        if touching {
            return None;
        }
        let mut text = String::new();
        if let Some(front) = self.front {
            let _ = writeln!(text, "FRONT: {front}");
        }
        let (mut row, mut column) = (0, 0);
        for (at_row, at_column, word) in cells {
            while row < at_row {
                text.push('\n');
                row += 1;
                column = 0;
            }
            let _ = write!(text, "{:gap$}{word}", "", gap = at_column - column);
            column = at_column + length(word);
        }
        Some(text)
    }

    /// As a self-contained SVG: the path of the order, and the fasteners with label and place.
    pub(super) fn svg(&self) -> String {
        const SIZE: f64 = 640.0;
        const MARGIN: f64 = 70.0;
        let frame = Frame::around(self.spots);
        let scale = (SIZE - 2.0 * MARGIN) / frame.width.max(frame.height).max(1.0);
        let (width, height) = (
            frame.width * scale + 2.0 * MARGIN,
            frame.height * scale + 2.0 * MARGIN,
        );
        let at = |spot: &Spot| {
            (
                MARGIN + (spot.x_mm - frame.left) * scale,
                MARGIN + (frame.top - spot.y_mm) * scale,
            )
        };
        let radius = self.radius(&at);
        let mut svg = String::new();
        // Writing into a string cannot fail.
        let _ = write!(
            svg,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" \
             height=\"{height:.0}\" font-family=\"sans-serif\">\n<title>Order of work</title>\n\
             <defs><marker id=\"tip\" viewBox=\"0 0 8 8\" refX=\"7\" refY=\"4\" markerWidth=\"7\" markerHeight=\"7\" \
             orient=\"auto\"><path d=\"M0 0 8 4 0 8z\" fill=\"#5a6b7b\"/></marker></defs>\n\
             <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n"
        );
        if let Some(front) = self.front {
            let (x, y, turn) = match front.to_ascii_lowercase().as_str() {
                "left" => (24.0, height / 2.0, -90.0),
                "right" => (width - 24.0, height / 2.0, 90.0),
                "bottom" => (width / 2.0, height - 16.0, 0.0),
                _ => (width / 2.0, 28.0, 0.0),
            };
            let _ = writeln!(
                svg,
                "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"middle\" font-size=\"16\" font-weight=\"bold\" \
                 transform=\"rotate({turn} {x:.1} {y:.1})\">FRONT</text>"
            );
        }
        let path: Vec<(f64, f64)> = self
            .order
            .iter()
            .filter_map(|&index| self.spots.get(usize::from(index)))
            .map(at)
            .collect();
        for pair in path.windows(2) {
            if let [from, to] = pair {
                let ((x1, y1), (x2, y2)) = (
                    shortened(*to, *from, radius),
                    shortened(*from, *to, radius + 2.0),
                );
                let _ = writeln!(
                    svg,
                    "<line x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\" stroke=\"#5a6b7b\" \
                     stroke-width=\"1.2\" marker-end=\"url(#tip)\"/>"
                );
            }
        }
        for (index, spot) in self.spots.iter().enumerate() {
            let (x, y) = at(spot);
            let place = self
                .place(index)
                .map(|place| place.to_string())
                .unwrap_or_default();
            let (label, font) = (escaped(&spot.label), radius * 0.85);
            let _ = writeln!(
                svg,
                "<g><circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius:.1}\" fill=\"#eef2f5\" stroke=\"#1d2a35\" \
                 stroke-width=\"1.5\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"{font:.1}\" \
                 font-weight=\"bold\">{place}</text><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" \
                 font-size=\"{:.1}\" fill=\"#33414d\">{label}</text></g>",
                y + font * 0.35,
                y - radius - 4.0,
                font * 0.75,
            );
        }
        let _ = writeln!(
            svg,
            "<text x=\"12\" y=\"{:.1}\" font-size=\"12\" fill=\"#33414d\">inside: place in the order; above: label on the \
             metal</text>\n</svg>",
            height - 8.0
        );
        svg
    }

    /// Large enough to read, small enough that neighbours do not touch.
    fn radius(&self, at: &impl Fn(&Spot) -> (f64, f64)) -> f64 {
        let mut nearest = f64::INFINITY;
        for (index, one) in self.spots.iter().enumerate() {
            for other in self.spots.iter().skip(index + 1) {
                let ((x1, y1), (x2, y2)) = (at(one), at(other));
                nearest = nearest.min((x1 - x2).hypot(y1 - y2));
            }
        }
        (nearest * 0.36).limited(5.0, 20.0)
    }
}

/// The point on the way from `from` to `to` that lies this far before `to`.
fn shortened(from: (f64, f64), to: (f64, f64), by: f64) -> (f64, f64) {
    let (x, y) = (to.0 - from.0, to.1 - from.1);
    let length = x.hypot(y).max(1e-9);
    (to.0 - x / length * by, to.1 - y / length * by)
}

fn escaped(text: &str) -> String {
    crate::words::visible(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// The box around the fasteners, in mm.
struct Frame {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
}

impl Frame {
    fn around(spots: &[Spot]) -> Self {
        let fold = |of: fn(&Spot) -> f64, better: fn(f64, f64) -> f64| {
            spots.iter().map(of).reduce(better).unwrap_or(0.0)
        };
        let (left, right) = (
            fold(|spot| spot.x_mm, f64::min),
            fold(|spot| spot.x_mm, f64::max),
        );
        let (bottom, top) = (
            fold(|spot| spot.y_mm, f64::min),
            fold(|spot| spot.y_mm, f64::max),
        );
        Self {
            left,
            top,
            width: right - left,
            height: top - bottom,
        }
    }
}

fn whole(value: f64) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "0 to 96: distances from the edge, scaled to the picture"
    )]
    let cell = value.round().limited(0.0, 200.0) as usize;
    cell
}
