//! A picture beside the plan, read once and again when its file changes.
//!
//! Knows nothing of where it lies.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::SystemTime;

use super::Model;
use crate::picture::{Laid, Picture};

/// A picture as it was read last; nothing before one is wanted.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen(Option<Read>);

#[derive(Clone, Debug)]
struct Read {
    path: PathBuf,
    /// When the file was changed, and how long it is.
    state: Option<(SystemTime, u64)>,
    shown: Result<Arc<Picture>, String>,
}

/// When a file was changed last, and how long it is.
pub(super) fn state(path: &Path) -> Option<(SystemTime, u64)> {
    let data = std::fs::metadata(path).ok()?;
    Some((data.modified().ok()?, data.len()))
}

impl Seen {
    /// Reads this picture where it is another, or was changed.
    pub(super) fn look(&mut self, path: Option<PathBuf>) {
        let Some(path) = path else {
            self.0 = None;
            return;
        };
        let state = state(&path);
        let is_same = |own: &Read| own.path == path && own.state == state && state.is_some();
        if !self.0.as_ref().is_some_and(is_same) {
            let shown = Picture::read(&path)
                .map(Arc::new)
                .map_err(|error| format!("{} cannot be shown: {error}", path.display()));
            self.0 = Some(Read { path, state, shown });
        }
    }

    /// What there is to show; in words why it cannot be.
    pub(super) fn shown(&self) -> Option<&Result<Arc<Picture>, String>> {
        self.0.as_ref().map(|own| &own.shown)
    }
}

/// The picture under the map of the joint in hand.
#[derive(Debug, Default)]
pub(super) struct UnderMap {
    seen: Seen,
    laid: Option<Laid>,
}

impl Model {
    /// Reads the picture of the joint in hand. One without a scale, or that cannot be read, lies under no map: the plan screen says why.
    pub(super) fn look_under_map(&mut self) {
        let own = self.job.as_ref().zip(self.open);
        let own = own.and_then(|(job, number)| job.joint(number)?.picture());
        self.under_map.laid = own.and_then(|own| own.laid);
        let wanted = own.filter(|own| own.laid.is_some());
        let path = wanted.map(|own| self.file.folder.join(&own.file));
        self.under_map.seen.look(path);
    }

    /// That picture, and where it lies.
    pub(super) fn picture_under_map(&self) -> Option<(Arc<Picture>, Laid)> {
        let shown = self.under_map.seen.shown()?.as_ref().ok()?;
        Some((Arc::clone(shown), self.under_map.laid?))
    }
}
