//! A working sheet typed back at the desk: what is open, and what became of what was typed.
//!
//! Knows nothing of drawing, nor of how a row is judged.

use std::sync::Arc;

use super::super::view::PaperView;
use super::Model;
use crate::job::paper::{PaperError, Row, blank};
use crate::job::status::counted;

impl Model {
    /// What is open, to be typed back.
    pub(super) fn open_paper(&mut self) {
        let rows = self.job.as_ref().map_or_else(Vec::new, blank);
        let recorded = self.view.paper.as_ref().map_or(0, |paper| paper.recorded);
        self.view.paper = Some(PaperView {
            rows: Arc::new(rows),
            recorded,
            ..PaperView::default()
        });
    }

    /// What is open now, while somebody looks.
    pub(super) fn show_paper(&mut self) {
        if let (Some(paper), Some(job)) = (&mut self.view.paper, &self.job) {
            paper.rows = Arc::new(blank(job));
        }
    }

    /// Records the rows that were typed, or says which cells are wrong.
    pub(super) fn type_back(&mut self, rows: Vec<Row>) {
        let today = jiff::Zoned::now().date();
        let rows: Vec<Row> = (1..).zip(rows).map(|(line, row)| row.at(line)).collect();
        let tried = match &self.job {
            Some(job) => job.try_rows(&rows, today),
            None => return self.say(true, "no build is open"),
        };
        let result = tried.and_then(|()| {
            if !self.begin_journal() {
                return Ok(None);
            }
            match &mut self.job {
                Some(job) => job.type_back(&rows, today).map(Some),
                None => Ok(None),
            }
        });
        match result {
            Ok(Some(typed)) => {
                let before = self.view.paper.as_ref().map_or(0, |paper| paper.recorded);
                self.open_paper();
                if let Some(paper) = &mut self.view.paper {
                    paper.recorded = before + 1;
                }
                let rejected = match typed.rejected.len() {
                    0 => String::new(),
                    count => format!(", {} not accepted", counted(count, "value")),
                };
                let words = format!("{} recorded{rejected}", counted(typed.recorded, "row"));
                self.say(!typed.rejected.is_empty(), words);
                self.enter();
            }
            Ok(None) => {}
            Err(PaperError::Faults(faults)) => {
                let words = format!(
                    "{} to mend; nothing was recorded",
                    counted(faults.len(), "cell")
                );
                if let Some(paper) = &mut self.view.paper {
                    paper.faults = faults;
                    paper.typed = rows;
                }
                self.say(true, words);
            }
            Err(PaperError::Job(error)) => self.say(true, error.to_string()),
            Err(PaperError::Store(why)) => self.say(true, why),
        }
    }
}
