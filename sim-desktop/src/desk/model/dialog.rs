//! A file chosen in the system's own dialog, while the desk goes on; where there is none, a path is typed.
//!
//! The dialog is asked for over the desktop portal (D-Bus, which the screen reader needs anyway): no toolkit is linked.
//! Knows nothing of what is in the files.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

use super::super::edit_view::{Draw, PlanAsk};
use super::super::view::Wanted;
use super::Model;
use crate::picture;

/// Shows a dialog for this kind of file, beginning in this folder. Nothing when it was closed, or could not be shown.
pub type Picker = fn(Wanted, &Path) -> Option<PathBuf>;

/// A dialog that is open.
#[derive(Debug)]
pub(super) struct Choosing {
    wanted: Wanted,
    chosen: Receiver<Option<PathBuf>>,
}

/// The system's dialog.
pub(super) fn system(wanted: Wanted, folder: &Path) -> Option<PathBuf> {
    let (title, kind, endings) = match wanted {
        Wanted::Plan => ("Open a plan", "plans", &["toml"][..]),
        Wanted::Trace => ("Read a trace file", "traces", &["csv"][..]),
        Wanted::Joint => ("Joints of another plan", "plans", &["toml"][..]),
        Wanted::Picture => ("A picture of the part", "pictures", &picture::ENDINGS[..]),
    };
    rfd::FileDialog::new()
        .set_title(title)
        .add_filter(kind, endings)
        .set_directory(folder)
        .pick_file()
}

impl Model {
    /// Lets files be chosen in another way than in the system's dialog.
    pub fn set_picker(&mut self, picker: Picker) {
        self.picker = picker;
    }

    pub(super) fn choose(&mut self, wanted: Wanted) {
        if self.choosing.is_some() {
            return self.say(true, "a dialog is open already");
        }
        let folder =
            std::path::absolute(&self.file.folder).unwrap_or_else(|_| self.file.folder.clone());
        let picker = self.picker;
        let (tell, chosen) = channel();
        if cfg!(target_os = "macos") {
            // There a dialog belongs to the window's own thread.
            let _ = tell.send(picker(wanted, &folder));
        } else {
            std::thread::spawn(move || tell.send(picker(wanted, &folder)));
        }
        self.choosing = Some(Choosing { wanted, chosen });
    }

    /// Takes what was chosen, once something was.
    pub(super) fn look_at_dialog(&mut self) {
        let Some(choosing) = &self.choosing else {
            return;
        };
        let (wanted, chosen) = (choosing.wanted, choosing.chosen.try_recv());
        match chosen {
            Err(TryRecvError::Empty) => return,
            Ok(Some(path)) => match wanted {
                Wanted::Plan => self.open_plan(&path),
                Wanted::Trace => self.read_trace(&path),
                Wanted::Joint => self.edit(PlanAsk::Offer(path)),
                Wanted::Picture => self.edit(PlanAsk::Draw(Draw::Picture(path))),
            },
            Ok(None) | Err(TryRecvError::Disconnected) => {
                let key = match wanted {
                    Wanted::Plan => "O",
                    Wanted::Trace => "D",
                    Wanted::Picture => "C",
                    Wanted::Joint => "A",
                };
                self.say(
                    true,
                    format!("no file was chosen; if no dialog came up, type the path ({key})"),
                );
            }
        }
        self.choosing = None;
    }
}
