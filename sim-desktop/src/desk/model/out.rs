//! What leaves the desk: the record as a table, as objects, as a sheet, and the tag; written beside the journal.
//!
//! Knows nothing of how a page is laid out.

use std::path::{Path, PathBuf};

use super::super::view::Export;
use super::{Model, files};
use crate::disk::folder_of;
use crate::job::status::telling::{csv, objects};
use crate::job::status::{PartStatus, parts_csv};
use crate::outputs::{self, Over};
use crate::sheet::{self, Sheet};

impl Model {
    /// A file beside the journal with another ending.
    pub(super) fn beside(&self, ending: &str) -> PathBuf {
        files::journal(&self.file.folder, &self.file.name, self.purpose).with_extension(ending)
    }

    pub(super) fn export(&mut self, kind: Export) {
        let Some(job) = &self.job else { return };
        let names = job.names();
        let facts = job.facts();
        let (path, text) = match kind {
            Export::Csv => {
                let rows: Vec<String> = csv(&names, facts).collect();
                (self.beside("csv"), format!("{}\n", rows.join("\n")))
            }
            Export::Json => {
                let rows: Vec<String> = objects(&names, Some(job.plan()), facts)
                    .map(|row| row.to_string())
                    .collect();
                (self.beside("jsonl"), format!("{}\n", rows.join("\n")))
            }
            Export::Sheet => {
                let Some(path) = job.journal_path() else {
                    return self.say(
                        true,
                        "this job is kept in no journal: there is nothing to print a sheet from",
                    );
                };
                let bytes = match std::fs::read(path) {
                    Ok(bytes) => bytes,
                    Err(error) => return self.say(true, error.to_string()),
                };
                let name = path
                    .file_name()
                    .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
                let digest = evendraw_core::crc::crc32(0, &bytes);
                let sheet = Sheet::of(&job.kept(), &name, Some(digest))
                    .with_pictures(job.plan(), folder_of(path));
                (self.beside("html"), sheet::page(&sheet))
            }
        };
        self.write_out(&path, &text, kind == Export::Sheet);
    }

    pub(super) fn print_tag(&mut self) {
        let text = super::super::handover::tag_page(&self.view.status);
        let path = self.beside("tag.html");
        self.write_out(&path, &text, true);
    }

    /// The list to order from: a table, and a page to print.
    pub(super) fn print_order(&mut self) {
        let status = &self.view.status;
        let parts: Vec<&PartStatus> = status.to_order().collect();
        let (page, table) = (sheet::parts_page(status, &parts), parts_csv(&parts));
        self.write_out(&self.beside("order.csv"), &table, false);
        self.write_out(&self.beside("order.html"), &page, true);
    }

    pub(super) fn write_out(&mut self, path: &Path, text: &str, show: bool) {
        match outputs::write(path, text, Over::Ours) {
            Ok(()) if show => {
                if self.browser && files::open_in_browser(path) {
                    self.say(false, format!("opened {}", path.display()));
                } else {
                    self.say(
                        false,
                        format!("written to {}: open it in a browser", path.display()),
                    );
                }
            }
            Ok(()) => self.say(false, format!("written to {}", path.display())),
            Err(error) => self.say(true, error.to_string()),
        }
    }
}
