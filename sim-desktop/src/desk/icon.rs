//! The picture that a desktop shows for the window: the head of a fastener, and two equal bars.
//!
//! Drawn here in any size; `share/evendraw.png` is the same, and a test holds it to that. Knows nothing of windows.

use crate::mark::HEAD;

/// Dots along a side are looked at so many times: enough for smooth edges.
const FINE: u16 = 4;
const GROUND: [u16; 3] = [27, 38, 49];
const METAL: [u16; 3] = [236, 240, 243];
const BARS: [u16; 3] = [27, 38, 49];

/// The picture, `side` dots square: red, green, blue and how solid it is, row by row from the top.
#[must_use]
pub fn icon(side: u16) -> Vec<u8> {
    let mut dots = Vec::with_capacity(usize::from(side) * usize::from(side) * 4);
    for row in 0..side {
        for column in 0..side {
            dots.extend(dot(side, column, row));
        }
    }
    dots
}

fn dot(side: u16, column: u16, row: u16) -> [u8; 4] {
    let (mut sum, mut solid) = ([0_u16; 3], 0_u16);
    let scale = f32::from(side * FINE);
    let place = |dot: u16, part: u16| (f32::from(2 * (dot * FINE + part) + 1) / scale) - 1.0;
    for (down, right) in (0..FINE).flat_map(|down| (0..FINE).map(move |right| (down, right))) {
        if let Some(colour) = colour(place(column, right), place(row, down)) {
            solid += 1;
            for (sum, part) in sum.iter_mut().zip(colour) {
                *sum += part;
            }
        }
    }
    let byte = |value: u16| u8::try_from(value).unwrap_or(u8::MAX);
    let [red, green, blue] = sum.map(|sum| byte(sum.checked_div(solid).unwrap_or(0)));
    [red, green, blue, byte(solid * 255 / (FINE * FINE))]
}

/// What lies at a place, in parts of half a side from the middle; none outside.
fn colour(x: f32, y: f32) -> Option<[u16; 3]> {
    if x.hypot(y) > 0.97 {
        return None;
    }
    let is_bar = x.abs() < 0.32 && (0.09..0.25).contains(&y.abs());
    Some(if is_bar {
        BARS
    } else if is_in_head(x / 0.74, y / 0.74) {
        METAL
    } else {
        GROUND
    })
}

/// Whether a place lies inside every side of the hexagon.
fn is_in_head(x: f32, y: f32) -> bool {
    let next = HEAD.iter().cycle().skip(1);
    let mut sides = HEAD.iter().zip(next);
    sides.all(|((x0, y0), (x1, y1))| (x1 - x0) * (y - y0) >= (y1 - y0) * (x - x0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_head_stands_light_on_dark_and_the_corners_are_clear() {
        let side = 64;
        let dots = icon(side);
        assert_eq!(dots.len(), 64 * 64 * 4);
        let at = |x: usize, y: usize| &dots[(y * 64 + x) * 4..][..4];
        assert_eq!(at(0, 0)[3], 0);
        assert_eq!(at(3, 32), [27, 38, 49, 255]);
        assert_eq!(at(14, 32), [236, 240, 243, 255]);
        assert_eq!(at(32, 27), [27, 38, 49, 255]);
        // The same above as below: drawn down evenly.
        for y in 0..32 {
            assert_eq!(at(20, y), at(20, 63 - y), "{y}");
        }
    }
}
