//! The plan that a command is given: a file, or the built-in demo build.
//!
//! Knows nothing of what the command does with it.

use std::path::Path;

use super::CommandError;
use crate::plan::Plan;

/// Reads and checks the plan at a path, or the demo build where none is given.
pub(super) fn read(path: Option<&Path>) -> Result<Plan, CommandError> {
    let Some(path) = path else {
        return Plan::demo().map_err(CommandError::pointed);
    };
    let bytes = std::fs::read(path).map_err(|error| CommandError::file("read", path, &error))?;
    let text = String::from_utf8(bytes).map_err(|error| {
        CommandError::bad(format!(
            "{} is not UTF-8 text at byte {}; a plan is a TOML file",
            path.display(),
            error.utf8_error().valid_up_to()
        ))
    })?;
    let name = path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    );
    // A byte order mark is how some editors say UTF-8.
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    Plan::parse(&name, text).map_err(CommandError::pointed)
}
