//! The picture under the joint in hand: copied small beside the plan.
//!
//! Knows nothing of where it lies.

use std::path::Path as File;

use super::super::super::edit_view::PictureView;
use super::super::picture::state;
use super::Editor;
use crate::disk::{self, System, folder_of};
use crate::picture::{Laid, Picture, is_beside};
use crate::plan::Position;
use crate::plan::edit::layout::Path;

/// A kept picture of more bytes is copied small, though it is beside the plan already.
const AS_IT_IS: u64 = 1024 * 1024;

/// Letters that every system takes in a name.
pub(super) fn plain(name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|letter| {
            if letter.is_alphanumeric() || letter == '_' {
                letter
            } else {
                '-'
            }
        })
        .collect();
    plain.trim_matches('-').to_owned()
}

impl Editor {
    /// Puts a small copy of a picture beside the plan, and returns its name.
    pub(super) fn keep_picture(&self, joint: &Path, path: &File) -> Result<String, String> {
        let Some(plan) = self.path.as_deref() else {
            return Err("save the plan first: the picture is kept beside it".to_owned());
        };
        let failed = |error: &dyn std::fmt::Display| format!("{}: {error}", path.display());
        let picture = Picture::read(path).map_err(|error| failed(&error))?;
        let folder = folder_of(plan);
        if let Some(name) = is_there(folder, path, &picture) {
            return Ok(name);
        }
        let (bytes, ending) = picture.packed().map_err(|error| failed(&error))?;
        let id = self.document.words(joint, "id").unwrap_or_default();
        let stem = plan.file_stem().unwrap_or_default().to_string_lossy();
        let name = plain(&format!("{stem}-{id}"));
        keep(folder, &name, ending, &bytes)
    }

    /// Reads the picture of the joint in hand where it is another, or was changed.
    pub(super) fn look_at_picture(&mut self) {
        let path = self.joint().and_then(|joint| {
            let name = self.document.picture(&joint)?.file;
            let folder = folder_of(self.path.as_deref()?);
            is_beside(&name).then(|| folder.join(name))
        });
        self.picture.look(path);
    }

    pub(super) fn picture_view(&self, joint: &Path, drawn: &[Position]) -> Option<PictureView> {
        let own = self.document.picture(joint)?;
        let shown = match self.picture.shown() {
            Some(shown) => shown.clone(),
            None if self.path.is_none() => {
                Err("the plan has no file yet that a picture could lie beside".to_owned())
            }
            None => Err(format!("{} is no picture beside the plan", own.file)),
        };
        let (width, height) = shown.as_ref().map_or((1, 1), |own| own.full());
        let laid = own.laid.unwrap_or_else(|| {
            let (middle, span) = around(drawn);
            let size = (f64::from(width), f64::from(height));
            Laid::upright(size, middle, (span * 1.4).max(200.0))
        });
        Some(PictureView {
            is_scaled: own.laid.is_some(),
            file: own.file,
            shown,
            laid,
            sheet: own.sheet,
        })
    }
}

/// The middle of the fasteners, and how far they reach.
fn around(drawn: &[Position]) -> ((f64, f64), f64) {
    let ends = |of: fn(&Position) -> f64| {
        let low = drawn.iter().map(of).min_by(f64::total_cmp).unwrap_or(0.0);
        let high = drawn.iter().map(of).max_by(f64::total_cmp).unwrap_or(0.0);
        (low, high)
    };
    let (left, right) = ends(|own| own.x_mm);
    let (bottom, top) = ends(|own| own.y_mm);
    (
        ((left + right) / 2.0, (bottom + top) / 2.0),
        (right - left).max(top - bottom),
    )
}

/// The name of a file that lies beside the plan and is small already.
fn is_there(folder: &File, path: &File, picture: &Picture) -> Option<String> {
    let name = path.file_name()?.to_str()?;
    let own = std::fs::canonicalize(folder_of(path)).ok()?;
    let is_here = own == std::fs::canonicalize(folder).ok()?;
    let is_small = picture.size() == picture.full()
        && std::fs::metadata(path).is_ok_and(|data| data.len() <= AS_IT_IS);
    (is_here && is_small && is_beside(name)).then(|| name.to_owned())
}

/// Writes a file under a name that is free, unless the same bytes stand there already; returns its name.
pub(super) fn keep(
    folder: &File,
    stem: &str,
    ending: &str,
    bytes: &[u8],
) -> Result<String, String> {
    for number in 1..1_000 {
        let name = match number {
            1 => format!("{stem}.{ending}"),
            _ => format!("{stem}-{number}.{ending}"),
        };
        let path = folder.join(&name);
        match disk::create(&System, &path, bytes) {
            Ok(()) => return Ok(name),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
                let is_same = state(&path)
                    .is_some_and(|(_, length)| usize::try_from(length) == Ok(bytes.len()))
                    && std::fs::read(&path).is_ok_and(|own| own == bytes);
                if is_same {
                    return Ok(name);
                }
            }
            Err(error) => return Err(format!("{} cannot be written: {error}", path.display())),
        }
    }
    Err(format!(
        "{}: every name for the picture is taken",
        folder.display()
    ))
}
