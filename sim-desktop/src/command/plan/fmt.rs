//! `evendraw plan fmt`: a plan's text in its one form.
//!
//! Knows nothing of what the form is.

use std::path::{Path, PathBuf};

use serde_json::json;

use super::super::{CommandError, Done, Output};
use crate::disk::{self, System};
use crate::job::status::counted;
use crate::limits::read_plan;
use crate::plan::Plan;
use crate::plan::edit::form::in_form;

/// Brings each plan into form, or with `check` says which are not; all are read before the first is written.
pub(super) fn run(
    plans: &[PathBuf],
    check: bool,
    out: &mut Output<'_>,
) -> Result<Done, CommandError> {
    let formed: Vec<(&Path, String, String)> = plans
        .iter()
        .map(|path| {
            let (text, formed) = formed(path)?;
            Ok((path.as_path(), text, formed))
        })
        .collect::<Result<_, CommandError>>()?;
    let mut others = 0;
    for (path, text, formed) in formed {
        let is_other = text != formed;
        others += usize::from(is_other);
        if is_other && !check {
            disk::replace(&System, path, formed.as_bytes())
                .map_err(|error| CommandError::file("write", path, &error))?;
        }
        let lines = changed(&text, &formed);
        let name = path.display();
        out.line(match (is_other, check) {
            (false, _) => format!("{name}: in form"),
            (true, true) => format!("{name}: not in form, the first time in line {}", lines.0),
            (true, false) => format!("{name}: {} changed", counted(lines.1, "line")),
        })?;
        let errors = match Plan::read(&name.to_string(), &formed, disk::folder_of(path)) {
            Ok(_) => 0,
            Err(errors) => errors.count(),
        };
        if errors > 0 {
            out.line(format_args!(
                "  it has {}, as before: `evendraw check {name}` tells them",
                counted(errors, "fault")
            ))?;
        }
        out.object(&json!({
            "plan": name.to_string(), "in_form": !is_other, "written": is_other && !check,
            "first_line": is_other.then_some(lines.0), "lines": lines.1, "faults": errors,
        }))?;
    }
    Ok(Done::rejected_if(check && others > 0))
}

/// A plan's text as it is, and in form.
fn formed(path: &Path) -> Result<(String, String), CommandError> {
    let text = read_plan(path).map_err(|error| CommandError::file("read", path, &error))?;
    match in_form(&text) {
        Ok(formed) => Ok((text, formed)),
        Err(error) => {
            // Where the grammar is broken, reading it as a plan says where.
            let name = path.display().to_string();
            Err(match Plan::read(&name, &text, disk::folder_of(path)) {
                Err(errors) => CommandError::pointed(errors),
                Ok(_) => CommandError::bad(format!("{name}: {error}")),
            })
        }
    }
}

/// The first line that differs, from 1, and how many lines of the new text do.
fn changed(old: &str, new: &str) -> (usize, usize) {
    let (old, new): (Vec<&str>, Vec<&str>) = (old.split('\n').collect(), new.split('\n').collect());
    let start = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let mut kept = old.iter().filter(|line| !line.trim().is_empty()).peekable();
    let mut count = 0_usize;
    for line in new.iter().filter(|line| !line.trim().is_empty()) {
        // No line of words is put in or taken out: the two go side by side.
        count += usize::from(kept.next() != Some(line));
    }
    let blank = |lines: &[&str]| lines.iter().filter(|line| line.trim().is_empty()).count();
    let count = count.saturating_add(blank(&old).abs_diff(blank(&new)));
    (start.saturating_add(1), count.max(usize::from(old != new)))
}
