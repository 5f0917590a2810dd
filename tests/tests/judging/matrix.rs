//! The confusion matrix as a table: a row for what was done, columns for the verdicts and for every reason that was named.
//!
//! Knows nothing of how pulls are made and of what must hold.

use std::collections::BTreeMap;
use std::fmt::{Display, Formatter, Result};

use evendraw_core::verdict::{Judgement, Reason, Verdict};

use crate::Kind;

/// How often what was done was judged how.
#[derive(Default)]
pub(crate) struct Matrix(BTreeMap<Kind, Row>);

#[derive(Default)]
struct Row {
    count: u32,
    accepted: u32,
    rejected: u32,
    unknown: u32,
    stopped: u32,
    reasons: BTreeMap<Reason, u32>,
}

impl Matrix {
    /// Counts one tightening; `stopped` when the hand was told to stop.
    pub(crate) fn count(&mut self, kind: Kind, judgement: Judgement, stopped: bool) {
        let row = self.0.entry(kind).or_default();
        row.count += 1;
        *match judgement.verdict {
            Verdict::Accepted => &mut row.accepted,
            Verdict::Rejected => &mut row.rejected,
            Verdict::Unknown => &mut row.unknown,
        } += 1;
        row.stopped += u32::from(stopped);
        for reason in judgement.reasons.iter() {
            *row.reasons.entry(reason).or_default() += 1;
        }
    }

    /// How many of a kind were given that reason.
    pub(crate) fn named(&self, kind: Kind, reason: Reason) -> u32 {
        let row = self.0.get(&kind);
        row.and_then(|row| row.reasons.get(&reason).copied())
            .unwrap_or(0)
    }
}

/// A head takes two lines, broken at its hyphen, so that the table fits a terminal.
fn lines(head: &str) -> (&str, &str) {
    head.split_once('-').unwrap_or(("", head))
}

impl Display for Matrix {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        type Cell<'a> = Box<dyn Fn(&Row) -> u32 + 'a>;
        let mut columns: Vec<(&str, Cell<'_>)> = vec![
            ("number", Box::new(|row| row.count)),
            ("accepted", Box::new(|row| row.accepted)),
            ("rejected", Box::new(|row| row.rejected)),
            ("unknown", Box::new(|row| row.unknown)),
            ("stopped", Box::new(|row| row.stopped)),
        ];
        for reason in Reason::ALL {
            if self.0.values().any(|row| row.reasons.contains_key(&reason)) {
                let cell = move |row: &Row| row.reasons.get(&reason).copied().unwrap_or(0);
                columns.push((reason.word(), Box::new(cell)));
            }
        }
        let width = |head: &str| {
            let (above, below) = lines(head);
            above.len().max(below.len()).max(4)
        };
        for above in [true, false] {
            write!(f, "{:<12}", if above { "" } else { "done" })?;
            for (head, _) in &columns {
                let (first, second) = lines(head);
                let word = if above { first } else { second };
                write!(f, "  {word:>0$}", width(head))?;
            }
            writeln!(f)?;
        }
        for (kind, row) in &self.0 {
            write!(f, "{:<12}", format!("{kind:?}"))?;
            for (head, cell) in &columns {
                let number = match cell(row) {
                    0 => "·".to_owned(),
                    number => number.to_string(),
                };
                write!(f, "  {number:>0$}", width(head))?;
            }
            writeln!(f)?;
        }
        Ok(())
    }
}
