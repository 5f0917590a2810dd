//! `evendraw [PLAN]`: opens the desk.
//!
//! Knows nothing of what the desk shows.

use std::path::Path;

use super::{CommandError, Done};

/// Opens the desk on a plan, or on the demo build.
pub(super) fn run(plan: Option<&Path>) -> Result<Done, CommandError> {
    if cfg!(all(unix, not(target_os = "macos")))
        && ["DISPLAY", "WAYLAND_DISPLAY"].map(is_set) == [false, false]
    {
        return Err(CommandError::bad(
            "no display to open the desk on: neither DISPLAY nor WAYLAND_DISPLAY is set; `evendraw rehearse` needs none, \
             `evendraw --help` lists every command",
        ));
    }
    open(plan)
}

#[cfg(feature = "desk")]
fn open(plan: Option<&Path>) -> Result<Done, CommandError> {
    match crate::desk::run(plan) {
        Ok(()) => Ok(Done::Good),
        Err(error) => Err(CommandError::bad(error.to_string())),
    }
}

#[cfg(not(feature = "desk"))]
fn open(_plan: Option<&Path>) -> Result<Done, CommandError> {
    Err(CommandError::bad(
        "this build has no desk; `evendraw rehearse` needs none, `evendraw --help` lists every command",
    ))
}

fn is_set(variable: &str) -> bool {
    std::env::var_os(variable).is_some_and(|value| !value.is_empty())
}
