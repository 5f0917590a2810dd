//! Do two threads go together? The answer in plain words.
//!
//! Knows nothing of strength or torque.

use super::{Thread, ThreadKind};

/// Whether two threads go together, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fit {
    /// Whether they make the joint they are meant for.
    pub fits: bool,
    /// The reason, in plain words.
    pub why: String,
}

fn no(why: String) -> Fit {
    Fit { fits: false, why }
}

fn yes(why: String) -> Fit {
    Fit { fits: true, why }
}

/// Judges two threads, one of them outside and the other inside.
///
/// # Examples
/// ```
/// use evendraw::mechanics::fit;
/// let answer = fit(&"1/8-28 BSPT".parse().unwrap(), &"1/8-27 NPT".parse().unwrap());
/// assert!(!answer.fits);
/// ```
#[must_use]
pub fn fit(a: &Thread, b: &Thread) -> Fit {
    if a.left_hand != b.left_hand {
        return no(format!(
            "{a} and {b} turn opposite ways: one tightens clockwise, the other anticlockwise"
        ));
    }
    let same_size = (a.major_mm - b.major_mm).abs() < 1e-6;
    let same_pitch = (a.pitch_mm / b.pitch_mm - 1.0).abs() < 1e-6;
    if same_size
        && same_pitch
        && [a.kind, b.kind].contains(&ThreadKind::PipeUnstated)
        && a.kind.pipe()
        && b.kind.pipe()
    {
        return no(format!(
            "{a} and {b} have the same size and threads per inch, but BSP alone does not say whether it is parallel (G, BSPP, seals on a washer or face) or taper (R, BSPT, seals in the thread): find out which, then ask again"
        ));
    }
    if same_size && same_pitch && a.kind == b.kind {
        return match (a.rounded_root(), b.rounded_root()) {
            (true, false) | (false, true) => no("same size and pitch, but one is UNJ: its bolt has a fuller root than a plain UN nut leaves room for; a UN bolt in a UNJ nut goes".to_owned()),
            _ => yes(format!("same thread: {}", describe(a))),
        };
    }
    if a.kind.pipe() && b.kind.pipe() && same_size && same_pitch {
        return pipes(a, b);
    }
    different(a, b)
}

/// The same Whitworth pipe size in two forms.
fn pipes(a: &Thread, b: &Thread) -> Fit {
    use ThreadKind::{PipeParallel, PipeParallelSealing, PipeTaper};
    match (a.kind, b.kind) {
        (PipeTaper, PipeParallelSealing) | (PipeParallelSealing, PipeTaper) => {
            yes("a taper pipe thread outside (R) in a parallel one inside (Rp) is the standard joint that seals in the thread [ISO 7-1]".to_owned())
        }
        (PipeTaper, PipeParallel) | (PipeParallel, PipeTaper) => no(
            "same size and threads per inch, but one is taper and seals in the thread (R), the other is parallel and seals on a washer or face (G): they start and then wedge after a few turns; no standard makes that joint tight"
                .to_owned(),
        ),
        _ => yes(
            "both parallel, same size and threads per inch: they go together, but nothing seals in the thread; use a washer or sealing ring".to_owned(),
        ),
    }
}

fn describe(thread: &Thread) -> String {
    let pitch = if matches!(
        thread.kind,
        ThreadKind::Metric | ThreadKind::BritishAssociation | ThreadKind::Trapezoidal
    ) {
        format!("{:.2} mm pitch", thread.pitch_mm)
    } else {
        let count = thread.threads_per_inch();
        if (count - count.round()).abs() < 1e-6 {
            format!("{count:.0} threads per inch")
        } else {
            format!("{count:.1} threads per inch")
        }
    };
    let form = match thread.kind {
        ThreadKind::Metric
        | ThreadKind::Unified
        | ThreadKind::Whitworth
        | ThreadKind::BritishAssociation => "parallel",
        ThreadKind::Trapezoidal => "parallel, trapezoidal",
        ThreadKind::PipeUnstated => "pipe, parallel or taper is not said",
        ThreadKind::PipeParallel | ThreadKind::PipeParallelSealing => "parallel pipe",
        ThreadKind::PipeTaper | ThreadKind::NationalPipeTaper => "taper pipe",
    };
    format!(
        "{thread} is {form}, {:.2} mm over the threads, {pitch}, {}° flanks",
        thread.major_mm,
        thread.kind.flank_angle_deg()
    )
}

/// Threads that differ in size, pitch or form.
fn different(a: &Thread, b: &Thread) -> Fit {
    let mut reasons = vec![describe(a), describe(b)];
    let (small, large) = if a.major_mm <= b.major_mm {
        (a, b)
    } else {
        (b, a)
    };
    let pitch = small.pitch_mm.max(large.pitch_mm);
    let apart_mm = large.major_mm - small.major_mm;
    // Basic depth of engagement is 5/8 of the sharp height, 0.5413 P a side. [ISO 68-1]
    let overlap = 1.0 - apart_mm / (2.0 * 0.5413 * pitch);
    let pitch_step = (small.pitch_mm - large.pitch_mm).abs();
    let flanks_differ = (a.kind.flank_angle_deg() - b.kind.flank_angle_deg()).abs() > 0.1;
    if overlap <= 0.0 {
        reasons.push(format!("they differ by {apart_mm:.2} mm in diameter: the smaller drops in, the larger will not start"));
    } else if pitch_step / pitch > 0.002 {
        // Tooth flanks meet once the pitches have drifted apart by the play there is: about an eighth of a pitch, common practice, no source.
        let turns = (0.125 * pitch / pitch_step).max(1.0);
        reasons.push(format!(
            "their pitches drift apart by {pitch_step:.3} mm a turn: they start together and then bind after about {turns:.0} {}; forced on, the thread is ruined",
            if turns < 1.5 { "turn" } else { "turns" }
        ));
    } else if apart_mm > 0.02 * pitch {
        reasons.push(format!(
            "pitches agree but the diameters differ by {apart_mm:.2} mm: only about {:.0} % of the thread's depth would carry; it feels right and strips",
            overlap * 100.0
        ));
    }
    if flanks_differ {
        let (one, other) = (a.kind.flank_angle_deg(), b.kind.flank_angle_deg());
        reasons.push(format!(
            "{}° against {}° flanks touch on a line only: they seize or leak, and carry less than either thread should",
            one.max(other),
            one.min(other)
        ));
    }
    if a.kind.tapered() != b.kind.tapered() {
        reasons.push("one is taper (1:16), the other parallel".to_owned());
    }
    no(reasons.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judge(a: &str, b: &str) -> Fit {
        let (one, other) = (a.parse().unwrap(), b.parse().unwrap());
        let forth = fit(&one, &other);
        assert_eq!(
            forth.fits,
            fit(&other, &one).fits,
            "{a} and {b} must agree both ways round"
        );
        forth
    }

    #[test]
    fn threads_that_go_together_do() {
        for (a, b) in [
            ("M10", "M10x1.5"),
            ("3/8-16", "3/8 UNC"),
            ("1/8-28 BSPT", "R 1/8"),
            ("R 1/8", "Rp 1/8"),
            ("R 1/8", "Rc 1/8"),
            ("1/8 NPT", "1/8-27 NPT"),
            ("G 1/8", "1/8 BSPP"),
            ("3/8 BSW", "3/8-16 Whit"),
            ("2BA", "BA 2"),
            ("Tr 40x7", "Tr 40x7-7e"),
        ] {
            assert!(judge(a, b).fits, "{a} and {b}: {}", judge(a, b).why);
        }
    }

    #[test]
    fn threads_that_start_and_bind_are_told_with_the_reason() {
        for (a, b, part) in [
            ("1/8-28 BSPT", "1/8-27 NPT", "then bind"),
            ("G 1/8", "1/8-27 NPT", "then bind"),
            ("M8", "5/16-18", "then bind"),
            ("M10x1.5", "M10x1.25", "then bind"),
            ("1/2-14 NPT", "R 1/2", "55°"),
            ("M5", "No.10-32", "start"),
            ("M6", "M8", "drops in"),
            ("M10", "M10 LH", "opposite ways"),
            ("R 1/8", "G 1/8", "wedge"),
            ("M10x1", "G 1/8", "then bind"),
            ("3/8-24 UNF", "3/8-24 UNJF", "UNJ"),
            ("3/8 BSW", "3/8 UNC", "60° against 55°"),
            ("1/2 BSW", "1/2 UNC", "then bind"),
            ("3/8 BSW", "3/8 BSF", "then bind"),
            ("0BA", "M6", "60° against 47.5°"),
            ("2BA", "M5", "then bind"),
            ("Tr 16x4", "M16", "then bind"),
            ("3/8 BSP", "G 3/8", "does not say"),
            ("3/8 BSP", "3/8 BSP", "does not say"),
            ("3/8 BSP", "3/8 BSW", "drops in"),
        ] {
            let fit = judge(a, b);
            assert!(
                !fit.fits && fit.why.contains(part),
                "{a} and {b}: {}",
                fit.why
            );
        }
    }
}
