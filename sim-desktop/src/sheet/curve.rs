//! Torque over angle of one fastener, small: evidence at a glance, not for reading values off.
//!
//! Knows nothing of traces on disk.

use maud::{Markup, html};

use crate::job::status::Curve;

const WIDTH: f64 = 92.0;
const HEIGHT: f64 = 40.0;
const INSET: f64 = 3.0;

/// The drawing.
pub(super) fn drawing(curve: &Curve) -> Markup {
    let finite = |&&(angle, torque): &&(f64, f64)| angle.is_finite() && torque.is_finite();
    let points: Vec<(f64, f64)> = curve.points.iter().filter(finite).copied().collect();
    let Some(&(first, _)) = points.first() else {
        return html! {};
    };
    let (mut low, mut high, mut top) = (first, first, 0.0_f64);
    for &(angle, torque) in &points {
        low = low.min(angle);
        high = high.max(angle);
        top = top.max(torque);
    }
    if let Some((_, max)) = curve.torque_nm.filter(|(_, max)| *max < 1e5) {
        top = top.max(max);
    }
    if let Some((min, max)) = curve.angle_deg.filter(|(_, max)| *max < 1e5) {
        (low, high) = (low.min(min), high.max(max));
    }
    let x = |angle: f64| INSET + (angle - low) / (high - low).max(1e-9) * (WIDTH - 2.0 * INSET);
    let y = |torque: f64| HEIGHT - INSET - torque / (top * 1.06).max(1e-9) * (HEIGHT - 2.0 * INSET);
    let mut line = String::new();
    for &(angle, torque) in &points {
        line.push_str(&format!("{:.1},{:.1} ", x(angle), y(torque)));
    }
    let window = curve.torque_nm.map(|(min, max)| {
        let (upper, lower) = (y(max.min(top * 1.06)), y(min.max(0.0)));
        (upper, (lower - upper).max(0.8))
    });
    let angles = curve.angle_deg.map(|(min, max)| {
        let (left, right) = (x(min), x(max.min(high)));
        (left, (right - left).max(0.8))
    });
    html! {
        svg.curve viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img"
            aria-label=(format!("torque over angle, {}", curve.of)) {
            title { (curve.of) ": 0 to " (format!("{:.0}", high - low)) "°, up to " (format!("{top:.1}")) " N·m" }
            @if let Some((upper, height)) = window {
                rect.window x="0" width=(WIDTH) y=(format!("{upper:.1}")) height=(format!("{height:.1}")) {}
            }
            @if let Some((left, width)) = angles {
                rect.window y="0" height=(HEIGHT) x=(format!("{left:.1}")) width=(format!("{width:.1}")) {}
            }
            path.axis d=(format!("M{INSET} 1V{0}H{1}", HEIGHT - INSET, WIDTH - 1.0)) {}
            polyline points=(line.trim_end()) {}
        }
    }
}
