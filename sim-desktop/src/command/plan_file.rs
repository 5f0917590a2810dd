//! The plan that a command is given: a file, or the built-in demo build.
//!
//! Knows nothing of what the command does with it.

use std::path::Path;

use super::CommandError;
use crate::disk;
use crate::limits::read_plan;
use crate::plan::Plan;

/// Reads and checks the plan at a path, or the demo build where none is given.
pub(super) fn read(path: Option<&Path>) -> Result<Plan, CommandError> {
    let Some(path) = path else {
        return Plan::demo().map_err(CommandError::pointed);
    };
    let text = read_plan(path).map_err(|error| CommandError::file("read", path, &error))?;
    let name = path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    );
    Plan::read(&name, &text, disk::folder_of(path)).map_err(CommandError::pointed)
}
