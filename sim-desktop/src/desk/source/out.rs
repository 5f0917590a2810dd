//! What leaves the desk: the record as a table, as objects, as a sheet, and the tag; written beside the journal.
//!
//! Knows nothing of how a page is laid out.

use std::path::{Path, PathBuf};

use super::super::view::Export;
use super::{Source, files, record_view};
use crate::outputs::{self, Over};
use crate::sheet::{self, export};
use crate::store::Fact;

impl Source {
    /// A file beside the journal with another ending.
    pub(super) fn beside(&self, ending: &str) -> PathBuf {
        files::journal(&self.folder, &self.name, self.purpose).with_extension(ending)
    }

    pub(super) fn export(&mut self, kind: Export) {
        let Some(job) = &self.job else { return };
        let names = record_view::names(job);
        let entries = job.facts().iter().filter_map(|fact| match fact {
            Fact::Entry(entry) => Some(entry),
            Fact::Host(_) => None,
        });
        let (path, text) = match kind {
            Export::Csv => {
                let rows: Vec<String> = entries
                    .map(|entry| export::csv_row(&names, entry))
                    .collect();
                (
                    self.beside("csv"),
                    format!("{}\n{}\n", export::CSV_HEADER, rows.join("\n")),
                )
            }
            Export::Json => {
                let rows: Vec<String> = entries
                    .map(|entry| export::object(&names, entry).to_string())
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
                match crate::store::read_with_bytes(path) {
                    Ok((content, bytes)) => {
                        let name = path
                            .file_name()
                            .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
                        let kept = sheet::Kept {
                            journal: &name,
                            content: &content,
                            digest: Some(evendraw_core::check_sum::crc32(0, &bytes)),
                            plan: job.plan(),
                            traces: job.traces(),
                        };
                        (self.beside("html"), sheet::page(&sheet::gather(&kept)))
                    }
                    Err(error) => return self.say(true, error.to_string()),
                }
            }
        };
        self.write_out(&path, &text, kind == Export::Sheet);
    }

    pub(super) fn print_tag(&mut self) {
        let text = super::super::handover::tag_page(&self.view);
        let path = self.beside("tag.html");
        self.write_out(&path, &text, true);
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
