//! The build sheet: what is printed, kept in the folder and handed over.
//!
//! A [`Sheet`] is the projection of a build with the names of its files; `page` draws it as one self-contained HTML file, `text` as
//! plain text, and `blank` draws the working sheet that is ticked by hand. Draws and decides nothing. Knows nothing of journals.

mod blank;
mod curve;
mod map;
mod mark;
mod page;
mod parts;
mod picture;
mod recall;
mod short;
#[cfg(test)]
mod specimen;
mod summary;
mod text;
mod tonight;

pub use blank::blank_page;
pub use page::page;
pub use parts::parts_page;
pub use picture::{Printed, Shown};
pub use recall::{Recalled, recall_page};
pub use short::short_page;
pub use summary::{Answer, summary};
pub use text::text;
pub use tonight::tonight_page;

use std::path::Path;

use crate::job::status::{Kept, Status, counted};
use crate::plan::Plan;

/// Everything a sheet says.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    /// How everything stands.
    pub status: Status,
    /// Name of the journal: what ticked paper is typed back to.
    pub journal: String,
    /// The plan as typed.
    pub plan: String,
    /// The pictures under the maps.
    pub pictures: Vec<Printed>,
    /// Which rules judged, how many records, digest of the journal.
    pub colophon: String,
}

impl std::ops::Deref for Sheet {
    type Target = Status;

    fn deref(&self) -> &Status {
        &self.status
    }
}

impl Sheet {
    /// The sheet of what is kept: `journal` is the file's name, `digest` the CRC-32 of its bytes; none for a sheet without one.
    #[must_use]
    pub fn of(kept: &Kept<'_>, journal: &str, digest: Option<u32>) -> Self {
        let status = kept.status();
        let version = env!("CARGO_PKG_VERSION");
        let rules: Vec<String> = status.rules.iter().map(u16::to_string).collect();
        let colophon = match digest {
            Some(digest) => format!(
                "{}; judged by rules {}; journal CRC-32 {digest:08x}; printed by Evendraw {version}",
                counted(status.records, "record"),
                if rules.is_empty() {
                    "none".to_owned()
                } else {
                    rules.join(", ")
                },
            ),
            None => format!("Printed by Evendraw {version}"),
        };
        Self {
            status,
            journal: journal.to_owned(),
            plan: kept.plan.text().to_owned(),
            colophon,
            pictures: Vec::new(),
        }
    }

    /// With the pictures that the plan wants under its maps, from the folder that plan or journal lies in.
    #[must_use]
    pub fn with_pictures(mut self, plan: &Plan, folder: &Path) -> Self {
        self.pictures = picture::printed(plan, folder);
        self
    }
}

/// Said once on every sheet.
pub const CAUTION: &str = "Evendraw is a record and a guide, not a licence. The maker's current instructions, local codes \
    and licensed practice come first. Safety-critical joints (lifting, steering, brakes, aircraft, pressure) need the \
    qualified person they call for. No specified value was derated or corrected. This record detects damage, not forgery.";

#[cfg(test)]
mod tests {
    use super::specimen::specimen;
    use super::*;
    use crate::job::status::Item;
    use crate::mark::Mark;

    /// Everything a reader needs stands in both printings: neither is a lesser sheet.
    #[test]
    fn page_and_text_say_the_same_facts() {
        let model = specimen();
        let (page, text) = (
            page(&model),
            text(&model)
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" "),
        );
        for fact in [
            "NOT COMPLETE: 2 things open",
            "pump 7, serial 4411",
            "revision C",
            "a decision is waited for",
            "from paper, unmeasured",
            "gasket replaced",
            "retorque when cold",
            "R. Quay",
            "2026-05-04, due 2027-05-04",
            "as the plan assumes",
            "33.2 lbf·ft (45 N·m)",
            "38.4 to 41.6 N·m",
            "97.0° at 64.1 N·m",
            "angle above the window",
            "Does the shaft turn freely?",
            "new, cycle 1, marked",
            "not a licence",
            "4d5ac2f0",
        ] {
            assert!(page.contains(fact), "page lacks: {fact}");
            assert!(text.contains(fact), "text lacks: {fact}");
        }
    }

    #[test]
    fn a_page_needs_nothing_from_outside_itself() {
        let page = page(&specimen());
        for reach in ["http://", "https://", "src=", "@import", "url("] {
            assert!(!page.contains(reach), "page reaches outside by {reach}");
        }
    }

    #[test]
    fn what_is_typed_cannot_become_markup() {
        let mut model = specimen();
        model.status.title = "<script>alert(1)</script> & \"pump\"".to_owned();
        let page = page(&model);
        assert!(!page.contains("<script"), "typed text became markup");
        assert!(page.contains("&lt;script&gt;"));
    }

    #[test]
    fn a_rehearsal_and_a_mock_up_say_so_and_never_complete() {
        let mut model = specimen();
        model.status.open.clear();
        model.status.exceptions.clear();
        assert!(model.is_complete() && text(&model).contains("\nCOMPLETE\n"));
        model.status.rehearsal = true;
        assert!(!model.is_complete());
        for sheet in [page(&model), text(&model)] {
            assert!(sheet.contains("REHEARSAL") && !sheet.contains("COMPLETE"));
        }
        let mut model = specimen();
        model.status.open = vec![Item::new(Mark::MockUp, "bearing", "must come apart again")];
        model.status.joints[0].mark = Mark::MockUp;
        for sheet in [page(&model), text(&model)] {
            assert!(sheet.contains("MOCK-UP, NOT FINAL") && !sheet.contains("COMPLETE"));
        }
    }

    /// The owner reads every value beside its limits, and the tool that took it with its calibration.
    #[test]
    fn the_owners_sheet_has_limits_tool_and_calibration_beside_the_readings() {
        let page = short_page(&specimen());
        for fact in [
            "NOT COMPLETE: 2 things open",
            "38.4 to 41.6 N·m",
            "97.0° at 64.1 N·m",
            "2026-05-04, due 2027-05-04",
            "in date: yes",
            "from paper, unmeasured",
            "R. Quay (operator)",
            "4d5ac2f0",
        ] {
            assert!(page.contains(fact), "the owner's sheet lacks: {fact}");
        }
    }

    #[test]
    fn an_empty_record_is_not_complete() {
        assert!(!Sheet::default().is_complete());
        assert_eq!(
            summary(&Sheet::default())
                .iter()
                .filter(|answer| answer.answer.is_empty())
                .count(),
            0
        );
    }

    #[test]
    fn the_working_sheet_has_a_box_for_each_fastener_and_stage() {
        let page = blank_page(&specimen());
        // 3 fasteners × 2 stages, one of which does not touch the last fastener; 3 boxes for "marked"; one question.
        assert_eq!(page.matches("class=\"box\"").count(), 5 + 3 + 1);
    }

    /// Writes the specimens for looking at when `EVENDRAW_SPECIMENS` names a folder.
    #[test]
    fn specimens_can_be_looked_at() -> std::io::Result<()> {
        if let Some(folder) = std::env::var_os("EVENDRAW_SPECIMENS") {
            let folder = std::path::PathBuf::from(folder);
            let mut rehearsal = specimen();
            rehearsal.status.rehearsal = true;
            std::fs::write(folder.join("sheet.html"), page(&specimen()))?;
            std::fs::write(folder.join("rehearsal.html"), page(&rehearsal))?;
            std::fs::write(folder.join("short.html"), short_page(&specimen()))?;
            std::fs::write(folder.join("blank.html"), blank_page(&specimen()))?;
            std::fs::write(folder.join("sheet.txt"), text(&specimen()))?;
        }
        Ok(())
    }
}
