//! The ranking as bars: in characters for the terminal, as SVG for a file.
//!
//! Knows nothing of how the figures came about.

use crate::limited::Limited as _;
use maud::{PreEscaped, html};

use crate::bench::compare::{Ranked, answers};
use crate::words::visible_lines;

/// Characters of the longest bar in the terminal.
const BAR_MAX: f64 = 24.0;

/// A bar as long as the value is large beside the largest.
pub(super) fn bar(value: f64, most: f64) -> String {
    let share = if most > 0.0 { value / most } else { 0.0 };
    "▪".repeat(whole(share * BAR_MAX).max(1))
}

/// Bars of the mean scatter with a line to what 95 of 100 runs stay below, and how far the part above tilted on the way.
pub(super) fn svg(title: &str, ranked: &[Ranked]) -> String {
    const ROW: f64 = 34.0;
    const LEFT: f64 = 250.0;
    const WIDTH: f64 = 300.0;
    const BEHIND: f64 = 420.0;
    const STYLE: &str = "\
        .ground{fill:#fff}text{fill:#16202a}.soft{fill:#4a5863}.bar{fill:#2f5d7c}.reach{stroke:#16202a}\
        @media(prefers-color-scheme:dark){.ground{fill:#12181e}text{fill:#eef2f5}.soft{fill:#b4c0ca}.bar{fill:#8fc1e3}\
        .reach{stroke:#eef2f5}}";
    const NOTES: [&str; 2] = [
        "The same place: no difference shown. Tilt: largest difference of closing across the joint, on the way.",
        "A virtual bench ranks orders, it does not prove a joint: the maker's order comes first.",
    ];
    let most = ranked
        .iter()
        .map(|one| one.scatter_95.max(one.scatter.mean))
        .fold(1e-9, f64::max);
    let rows = u32::try_from(ranked.len()).map_or(0.0, f64::from);
    let (width, height) = (LEFT + WIDTH + BEHIND, 136.0 + rows * ROW);
    let at = |share: f64| format!("{:.1}", LEFT + share / most * WIDTH);
    let picture = html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(format!("{width:.0}")) height=(format!("{height:.0}"))
            viewBox=(format!("0 0 {width:.0} {height:.0}")) font-family="sans-serif" font-size="14" role="img" {
            title { (title) }
            style { (PreEscaped(STYLE)) }
            rect class="ground" width="100%" height="100%" {}
            text x="20" y="32" font-size="18" font-weight="600" { (title) }
            @for (line, said) in (0_u32..).zip(answers(ranked)) {
                text class="soft" x="20" y=(52 + 17 * line) font-size="12" { (said) }
            }
            @for (row, one) in (0_u32..).zip(ranked) {
                @let y = 88.0 + f64::from(row) * ROW;
                @let middle = format!("{:.1}", y + 10.0);
                text x="20" y=(format!("{:.1}", y + 16.0)) {
                    (one.scatter.rank) ". " (one.trial.order_name) ", " (one.trial.shares.len())
                    @if one.trial.shares.len() == 1 { " pass" } @else { " passes" }
                }
                rect class="bar" x=(LEFT) y=(format!("{y:.1}")) width=(format!("{:.1}", one.scatter.mean / most * WIDTH)) height="20" {}
                line class="reach" x1=(at(one.scatter.mean)) x2=(at(one.scatter_95)) y1=(middle) y2=(middle) stroke-width="2" {}
                text x=(format!("{:.1}", LEFT + one.scatter_95.max(one.scatter.mean) / most * WIDTH + 10.0)) y=(format!("{:.1}", y + 16.0)) {
                    (format!(
                        "{:.1} ± {:.1} % (95 of 100 below {:.1} %), tilt {:.0} µm, place {}",
                        one.scatter.mean * 100.0, one.scatter.error * 100.0, one.scatter_95 * 100.0,
                        one.tilt_mm.mean * 1000.0, one.tilt_mm.rank
                    ))
                }
            }
            @for (line, said) in (0_u32..).zip(NOTES) {
                text class="soft" x="20" y=(format!("{:.1}", height - 29.0 + 17.0 * f64::from(line))) font-size="12" { (said) }
            }
        }
    }
    .into_string();
    visible_lines(&picture).into_owned()
}

fn whole(value: f64) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to a small positive range"
    )]
    {
        value.round().limited(0.0, 1000.0) as usize
    }
}
