//! `evendraw thread A B`: do these two threads go together?
//!
//! Knows nothing of how it is judged.

use clap::Args as ClapArgs;
use serde::Serialize;

use super::{CommandError, Done, Output};
use crate::mechanics::{Thread, fit};

/// Do these two threads go together? Metric, Unified, BSW, BSF, BA, trapezoidal and pipe threads.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw thread \"1/8-28 BSPT\" \"1/8-27 NPT\"\n  \
        evendraw thread M8 5/16-18\n  \
        evendraw thread \"R 1/8\" \"Rp 1/8\"\n  \
        evendraw thread \"3/8 BSW\" \"3/8 UNC\"\n\n\
        Ends with status 0 if they go together, 1 if they do not, 2 if a thread is not understood.")]
pub(super) struct Args {
    /// One thread: M10x1.5, M10, 3/8-16 UNC, No.10-32 or 10-32, 3/8 BSW, 3/8 BSF, 2BA, Tr 40x7, G 1/8, R 1/8, Rp 1/8, 1/8-28 BSPT,
    /// 3/8 BSP, 1/8-27 NPT; LH after it for left-hand.
    a: String,
    /// The other.
    b: String,
}

#[derive(Serialize)]
struct Answer<'a> {
    fits: bool,
    why: &'a str,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let read = |text: &str| {
        text.parse::<Thread>()
            .map_err(|error| CommandError::bad(error.to_string()))
    };
    let judged = fit(&read(&args.a)?, &read(&args.b)?);
    out.line(format_args!(
        "{}: {}",
        if judged.fits {
            "they go together"
        } else {
            "they do NOT go together"
        },
        judged.why
    ))?;
    out.object(&Answer {
        fits: judged.fits,
        why: &judged.why,
    })?;
    Ok(Done::rejected_if(!judged.fits))
}
