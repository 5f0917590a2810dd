//! The rehearsal as pictures: clamp loads by fastener and pass, torque over angle, the joint from above. Each file stands by itself and
//! follows the reader's choice of dark or light.
//!
//! Knows nothing of how the figures came about.

use crate::limited::Limited as _;
use std::path::{Path, PathBuf};

use maud::{Markup, PreEscaped, html};

use super::super::CommandError;
use super::bars;
use crate::outputs::{self, Over};
use crate::plan::Joint;
use crate::rehearsal::JointResult;
use crate::rehearsal::result::Curve;
use crate::rehearsal::trace_file::file_word;
use crate::words::visible_lines;

/// The kinds of pictures.
const KINDS: [&str; 3] = ["clamps", "torque-angle", "map"];

fn file(folder: &Path, joint: &Joint, kind: &str) -> PathBuf {
    folder.join(format!("{}-{kind}.svg", file_word(joint.id())))
}

/// Whether the pictures of a joint may be written, to be known before the work.
pub(super) fn may_write(folder: &Path, joint: &Joint, over: Over) -> Result<(), CommandError> {
    for kind in KINDS {
        outputs::may_write(&file(folder, joint, kind), over)?;
    }
    Ok(())
}

/// Writes what there is to see of a joint; the names of the files.
pub(super) fn write(
    folder: &Path,
    joint: &Joint,
    result: &JointResult,
    over: Over,
) -> Result<Vec<PathBuf>, CommandError> {
    let mut pictures = Vec::new();
    if !result.passes.is_empty() {
        pictures.push((KINDS[0], clamps(joint, result)));
    }
    if !result.curves.is_empty() {
        pictures.push((KINDS[1], curves(joint, &result.curves)));
    }
    if !result.clamps_kn.is_empty() {
        pictures.push((KINDS[2], map(joint, result)));
    }
    outputs::folder(folder)?;
    let mut names = Vec::new();
    for (kind, picture) in pictures {
        let path = file(folder, joint, kind);
        outputs::write(&path, &visible_lines(&picture.into_string()), over)?;
        names.push(path);
    }
    Ok(names)
}

/// Grounds, words and lines in both lights; passes get darker (in the dark: lighter) from the first to the last.
const STYLE: &str = "\
    .ground{fill:#fff}.panel{fill:#f4f6f8}text{fill:#16202a}.soft{fill:#4a5863}.line{stroke:#aab4bd}\
    .early{fill:#b9c9d6}.late{fill:#2f5d7c}.edge{stroke:#16202a;fill:none}.curve{stroke:#2f5d7c;fill:none}\
    .on{fill:#fff}\
    @media(prefers-color-scheme:dark){.ground{fill:#12181e}.panel{fill:#1b242d}text{fill:#eef2f5}.soft{fill:#b4c0ca}\
    .line{stroke:#55636f}.early{fill:#3d5568}.late{fill:#8fc1e3}.edge{stroke:#eef2f5}.curve{stroke:#8fc1e3}.on{fill:#0d1318}}";

fn frame(title: &str, below: &str, width: f64, height: f64, inside: &Markup) -> Markup {
    html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(px(width)) height=(px(height)) viewBox=(format!("0 0 {width:.0} {height:.0}"))
            font-family="sans-serif" font-size="14" role="img" {
            title { (title) }
            style { (PreEscaped(STYLE)) }
            rect class="ground" width="100%" height="100%" {}
            text x="20" y="30" font-size="18" font-weight="600" { (title) }
            (inside)
            text class="soft" x="20" y=(px(height - 14.0)) font-size="12" { (below) }
        }
    }
}

/// A bar for each fastener and pass, with its load behind it.
fn clamps(joint: &Joint, result: &JointResult) -> Markup {
    const LEFT: f64 = 120.0;
    const WIDTH: f64 = 500.0;
    const BAR: f64 = 15.0;
    const GAP: f64 = 12.0;
    let passes = &result.passes;
    let fasteners: Vec<u8> = result.clamps_kn.iter().map(|(which, _)| *which).collect();
    let most = passes
        .iter()
        .flat_map(|pass| &pass.clamps_kn)
        .map(|(_, load)| *load)
        .fold(1e-9, f64::max);
    let group = count(passes.len()) * BAR + GAP;
    let top = 56.0;
    let height = top + count(fasteners.len()) * group + 44.0;
    let inside = html! {
        @for (row, fastener) in fasteners.iter().enumerate() {
            @let y = top + count(row) * group;
            text x="20" y=(px(y + count(passes.len()) * BAR / 2.0 + 5.0)) font-weight="600" { (joint.label(*fastener)) }
            @for (index, pass) in passes.iter().enumerate() {
                @let load = bars::load(pass, *fastener);
                @let y = y + count(index) * BAR;
                text class="soft" x=(px(LEFT - 8.0)) y=(px(y + 11.5)) font-size="11" text-anchor="end" { (bars::stage(pass)) }
                rect class=(if index + 1 == passes.len() { "late" } else { "early" }) x=(px(LEFT)) y=(px(y))
                    width=(px(load / most * WIDTH)) height=(px(BAR - 3.0)) {}
                text x=(px(LEFT + load / most * WIDTH + 6.0)) y=(px(y + 11.0)) font-size="12"
                    font-weight=(if index + 1 == passes.len() { "600" } else { "400" }) { (format!("{load:.1}")) }
            }
        }
    };
    let scatter = result.scatter().map_or_else(String::new, |part| {
        format!("; scatter in the end {:.1} %", part * 100.0)
    });
    frame(
        &format!("{}: clamp load, kN", joint.title()),
        &format!("Rehearsal. Left: fastener, then stage (3.2: stage 3, second round){scatter}."),
        LEFT + WIDTH + 80.0,
        height,
        &inside,
    )
}

/// A panel for each fastener: all its pulls, torque as measured over its own true rotation.
fn curves(joint: &Joint, curves: &[Curve]) -> Markup {
    const WIDE: f64 = 270.0;
    const HIGH: f64 = 190.0;
    const ACROSS: usize = 3;
    let mut fasteners: Vec<u8> = curves.iter().map(|curve| curve.fastener).collect();
    fasteners.sort_unstable();
    fasteners.dedup();
    let top_torque = nice(points(curves).map(|point| point.1).fold(0.0, f64::max));
    // The run-down says nothing: every panel begins a little before the first real torque.
    let from = |fastener: u8| {
        let own = curves.iter().filter(|curve| curve.fastener == fastener);
        own.flat_map(|curve| &curve.points)
            .filter(|point| point.1 > 0.05 * top_torque)
            .map(|point| point.0)
            .fold(f64::INFINITY, f64::min)
    };
    let span = fasteners
        .iter()
        .map(|&fastener| {
            let own = curves.iter().filter(|curve| curve.fastener == fastener);
            let end = own
                .flat_map(|curve| &curve.points)
                .map(|point| point.0)
                .fold(0.0, f64::max);
            end - from(fastener)
        })
        .filter(|span| span.is_finite())
        .fold(0.0, f64::max);
    let span = nice(span.max(1.0));
    let rows = fasteners.len().div_ceil(ACROSS);
    let columns = fasteners.len().limited(2, ACROSS);
    let inside = html! {
        @for (place, &fastener) in fasteners.iter().enumerate() {
            @let x = 20.0 + count(place % ACROSS) * (WIDE + 20.0);
            @let y = 50.0 + count(place / ACROSS) * (HIGH + 34.0);
            @let right = WIDE - 44.0;
            @let high = HIGH - 26.0;
            g transform=(format!("translate({x:.1} {y:.1})")) {
                rect class="panel" x="34" y="0" width=(px(right)) height=(px(high)) {}
                @for part in [0.0, 0.5, 1.0] {
                    @let height = high * (1.0 - part);
                    line class="line" x1="34" x2=(px(34.0 + right)) y1=(px(height)) y2=(px(height)) stroke-width="1" {}
                    text class="soft" x="29" y=(px(height + 4.0)) font-size="11" text-anchor="end" { (short(part * top_torque)) }
                    text class="soft" x=(px(34.0 + part * right)) y=(px(high + 15.0)) font-size="11" text-anchor="middle" {
                        (short(part * span)) "°"
                    }
                }
                @for curve in curves.iter().filter(|curve| curve.fastener == fastener) {
                    polyline class="curve" stroke-width="1.6" stroke-linejoin="round"
                        points=(polyline(curve, from(fastener), |angle| 34.0 + angle / span * right, |torque| high * (1.0 - torque / top_torque))) {}
                }
                text x="42" y="17" font-weight="600" { (joint.label(fastener)) }
            }
        }
    };
    frame(
        &format!(
            "{}: torque, N·m, over rotation of the fastener",
            joint.title()
        ),
        "Rehearsal. One line for each pull; a line that falls straight is the hand letting go.",
        20.0 + count(columns) * (WIDE + 20.0),
        50.0 + count(rows) * (HIGH + 34.0) + 30.0,
        &inside,
    )
}

fn points(curves: &[Curve]) -> impl Iterator<Item = &(f64, f64)> {
    curves.iter().flat_map(|curve| &curve.points)
}

fn polyline(curve: &Curve, from: f64, x: impl Fn(f64) -> f64, y: impl Fn(f64) -> f64) -> String {
    let seen = curve.points.iter().filter(|point| point.0 >= from);
    seen.map(|&(angle, torque)| format!("{:.1},{:.1}", x(angle - from), y(torque.max(0.0))))
        .collect::<Vec<_>>()
        .join(" ")
}

/// The joint from above: a disc as large as the load stands for, in a ring that is the mean.
fn map(joint: &Joint, result: &JointResult) -> Markup {
    const SIZE: f64 = 560.0;
    const MARGIN: f64 = 70.0;
    let places: Vec<(u8, f64, f64, f64)> = result
        .clamps_kn
        .iter()
        .filter_map(|&(which, load)| {
            let position = joint.positions().get(usize::from(which))?;
            Some((which, position.x_mm, position.y_mm, load))
        })
        .collect();
    let least =
        |of: fn(&(u8, f64, f64, f64)) -> f64| places.iter().map(of).fold(f64::INFINITY, f64::min);
    let largest = |of: fn(&(u8, f64, f64, f64)) -> f64| {
        places.iter().map(of).fold(f64::NEG_INFINITY, f64::max)
    };
    let (left, right) = (least(|place| place.1), largest(|place| place.1));
    let (bottom, top) = (least(|place| place.2), largest(|place| place.2));
    let scale = SIZE / (right - left).max(top - bottom).max(1.0);
    let (width, height) = ((right - left) * scale, (top - bottom) * scale);
    let mut nearest = SIZE;
    for (index, one) in places.iter().enumerate() {
        for other in places.iter().skip(index + 1) {
            let apart = (one.1 - other.1).hypot(one.2 - other.2) * scale;
            nearest = nearest.min(apart.max(1.0));
        }
    }
    let ring = (nearest * 0.34).limited(14.0, 34.0);
    let mean = crate::rehearsal::result::mean(&result.clamps_kn).max(1e-9);
    let drawn = (width + 2.0 * MARGIN).max(420.0);
    let inset = (drawn - width) / 2.0;
    let inside = html! {
        @if let Some(front) = joint.front() {
            text class="soft" x="20" y="52" font-size="13" { "front: " (front) }
        }
        @for &(which, x, y, load) in &places {
            @let x = inset + (x - left) * scale;
            @let y = 64.0 + MARGIN + (top - y) * scale;
            circle class="late" cx=(px(x)) cy=(px(y)) r=(px(ring * (load / mean).max(0.0).sqrt().min(1.5))) {}
            circle class="edge" cx=(px(x)) cy=(px(y)) r=(px(ring)) stroke-width="1.5" stroke-dasharray="3 3" {}
            text class=(if load > 0.25 * mean { "on" } else { "" }) x=(px(x)) y=(px(y + 5.0)) text-anchor="middle" font-weight="600" {
                (joint.label(which))
            }
            text x=(px(x)) y=(px(y + ring + 18.0)) font-size="13" text-anchor="middle" { (format!("{load:.1}")) }
        }
    };
    frame(
        &format!("{}: clamp load, kN", joint.title()),
        &format!("Rehearsal. Area of a disc: its load. Dashed ring: the mean, {mean:.1} kN."),
        drawn,
        height + 2.0 * MARGIN + 104.0,
        &inside,
    )
}

/// The next round number of 1, 1.5, 2, 3, 4, 5, 6, 8 and their tens.
fn nice(value: f64) -> f64 {
    let ten = 10_f64.powf(value.max(1e-6).log10().floor());
    let steps = [1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0];
    steps
        .into_iter()
        .map(|step| step * ten)
        .find(|round| *round >= value)
        .unwrap_or(10.0 * ten)
}

fn short(value: f64) -> String {
    if value.fract().abs() < 1e-9 {
        format!("{value:.0}")
    } else {
        format!("{value:.1}")
    }
}

fn px(value: f64) -> String {
    format!("{value:.1}")
}

fn count(number: usize) -> f64 {
    u32::try_from(number).map_or(0.0, f64::from)
}
