//! Clamp loads pass by pass, for the terminal: a table, and a bar for each fastener. Plain characters, 80 columns.
//!
//! Knows nothing of how the loads came about.

use crate::limited::Limited as _;
use crate::plan::Joint;
use crate::rehearsal::PassResult;
use crate::rehearsal::result::mean;

/// Widest line, in characters.
const WIDTH: usize = 80;
/// Passes that get a column of figures; the bars show all.
const COLUMNS_MAX: usize = 5;
const COLUMN: usize = 7;
const LABEL: usize = 13;
const MARKS: &[u8] = b"123456789abcdefghijklmnopqrstuvwxyz";

/// The lines; none where no pass was worked.
pub(super) fn lines(joint: &Joint, passes: &[PassResult]) -> Vec<String> {
    let from = passes.len().saturating_sub(COLUMNS_MAX);
    let Some(shown) = passes.get(from..).filter(|shown| !shown.is_empty()) else {
        return Vec::new();
    };
    let most = passes
        .iter()
        .flat_map(|pass| &pass.clamps_kn)
        .map(|(_, load)| *load)
        .fold(0.0, f64::max);
    let row = |name: &str, figure: &dyn Fn(usize, &PassResult) -> String| {
        let mut line = format!("  {name:LABEL$}");
        for (index, pass) in shown.iter().enumerate() {
            line.push_str(&format!("{:>COLUMN$}", figure(from + index, pass)));
        }
        line
    };
    let room = WIDTH - 2 - LABEL - shown.len() * COLUMN - 2;
    let mut lines = vec![
        format!("  clamp load after each pass, kN; the bars end at {most:.1}"),
        row("pass", &|index, _| mark(index).to_string()),
        row("stage", &|_, pass| stage(pass)),
    ];
    let fasteners = passes.last().map_or(&[][..], |pass| &pass.clamps_kn);
    for &(fastener, _) in fasteners {
        let name: String = joint.label(fastener).chars().take(LABEL - 1).collect();
        let mut line = row(&name, &|_, pass| format!("{:.1}", load(pass, fastener)));
        line.push_str("  ");
        line.push_str(&bar(passes, fastener, most, room));
        lines.push(line);
    }
    lines.push(row("mean", &|_, pass| {
        format!("{:.1}", mean(&pass.clamps_kn))
    }));
    if fasteners.len() > 1 {
        lines.push(row("scatter, %", &|_, pass| {
            pass.scatter()
                .map_or_else(|| "-".to_owned(), |part| format!("{:.1}", part * 100.0))
        }));
    }
    lines.push(row("settled, µm", &|_, pass| {
        format!("{:.1}", pass.embedding_um)
    }));
    lines.push(row("at, min", &|_, pass| {
        format!("{:.1}", pass.seconds / 60.0)
    }));
    lines
}

/// The stage of a pass as the plan counts, with the round of a repeated one: `3.2`.
pub(super) fn stage(pass: &PassResult) -> String {
    let number = u32::from(pass.stage) + 1;
    match pass.round {
        Some(round) => format!("{number}.{round}"),
        None => number.to_string(),
    }
}

/// What a fastener clamps with after a pass, kN.
pub(super) fn load(pass: &PassResult, fastener: u8) -> f64 {
    pass.clamps_kn
        .iter()
        .find(|(other, _)| *other == fastener)
        .map_or(0.0, |(_, load)| *load)
}

/// How a pass is marked in a bar.
fn mark(index: usize) -> char {
    char::from(MARKS.get(index).copied().unwrap_or(b'+'))
}

/// A line as long as the highest load, with the mark of every pass where it stood after it; later marks cover earlier ones.
fn bar(passes: &[PassResult], fastener: u8, most: f64, room: usize) -> String {
    let place = |load: f64| {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::cast_precision_loss,
            reason = "a share of fewer than 80 characters"
        )]
        {
            let share = (load / most.max(1e-9)).limited(0.0, 1.0);
            (share * (room - 1) as f64).round() as usize
        }
    };
    let mut cells = vec![' '; room];
    for (index, pass) in passes.iter().enumerate() {
        let at = place(load(pass, fastener));
        for cell in cells.iter_mut().take(at) {
            if *cell == ' ' {
                *cell = '-';
            }
        }
        if let Some(cell) = cells.get_mut(at) {
            *cell = mark(index);
        }
    }
    cells.into_iter().collect::<String>().trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Plan;

    fn pass(stage: u8, loads: &[f64]) -> PassResult {
        PassResult {
            stage,
            round: None,
            clamps_kn: (0_u8..).zip(loads.iter().copied()).collect(),
            embedding_um: 1.0,
            seconds: 60.0,
        }
    }

    #[test]
    fn every_line_fits_the_terminal_and_the_marks_stand_at_their_loads() {
        let plan = Plan::demo().expect("the demo reads");
        let joint = plan.joint("head").expect("its head");
        for count in 1..=9_u8 {
            let passes: Vec<PassResult> = (0..count)
                .map(|number| pass(number, &[f64::from(number) * 4.0, 36.0 - f64::from(number)]))
                .collect();
            for line in lines(joint, &passes) {
                assert!(line.chars().count() <= WIDTH, "{line}");
            }
        }
        let two = [pass(0, &[10.0, 5.0]), pass(1, &[20.0, 20.0])];
        assert_eq!(bar(&two, 0, 20.0, 21), "----------1---------2");
        assert_eq!(bar(&two, 1, 20.0, 21), "-----1--------------2");
    }
}
