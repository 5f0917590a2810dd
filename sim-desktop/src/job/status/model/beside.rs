//! Tasks, parts and reminders in plain values and in words; the list to order from as a table.
//!
//! Knows nothing of how they are worked out.

use crate::mark::Mark;
use crate::store::PartState;

/// A part that joints or tasks need.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartStatus {
    /// Its name.
    pub name: String,
    /// Part number; empty where the plan gives none.
    pub number: String,
    /// How many, or how much, as typed.
    pub quantity: String,
    /// The titles of the joints and tasks that need it.
    pub for_joints: String,
    /// Whether work goes on with it: it is here, or nobody said that it is not.
    pub is_here: bool,
    /// How it is with it.
    pub state: PartState,
    /// What was said of it last, by whom and when.
    pub said: String,
    /// A remark of the plan.
    pub note: String,
    /// Id of the first joint or task that needs it.
    pub place: String,
}

impl Default for PartStatus {
    fn default() -> Self {
        Self {
            name: String::new(),
            number: String::new(),
            quantity: "1".to_owned(),
            for_joints: String::new(),
            is_here: false,
            state: PartState::Needed,
            said: String::new(),
            note: String::new(),
            place: String::new(),
        }
    }
}

impl PartStatus {
    /// How many of what, for what, and what was said of it.
    #[must_use]
    pub fn line(&self) -> String {
        match self.rest().as_str() {
            "" => self.counted(),
            rest => format!("{}: {rest}", self.counted()),
        }
    }

    /// How many of what: `2 × shim`, `grease, 40 g`.
    #[must_use]
    pub fn counted(&self) -> String {
        match self.quantity.as_str() {
            "1" => self.name.clone(),
            count if count.bytes().all(|byte| byte.is_ascii_digit()) => {
                format!("{count} × {}", self.name)
            }
            amount => format!("{}, {amount}", self.name),
        }
    }

    /// How it is with it, and everything else, in one sentence: `part ordered: 2 × shim: for Cover`.
    #[must_use]
    pub fn told(&self) -> String {
        match self.state {
            PartState::Wrong => format!("{}: {}", self.state.word(), self.line()),
            state => format!("part {}: {}", state.word(), self.line()),
        }
    }

    /// Its number, what it is for, and what was said of it.
    #[must_use]
    pub fn rest(&self) -> String {
        let for_what = match self.for_joints.as_str() {
            "" => String::new(),
            titles => format!("for {titles}"),
        };
        // What was said last says more than what the plan knew before.
        let said = if self.said.is_empty() {
            &self.note
        } else {
            &self.said
        };
        let words = [&self.number, &for_what, said];
        let words: Vec<&str> = words
            .into_iter()
            .map(String::as_str)
            .filter(|word| !word.is_empty())
            .collect();
        words.join("; ")
    }

    /// Its state as a mark.
    #[must_use]
    pub const fn mark(&self) -> Mark {
        match self.state {
            PartState::Needed | PartState::ToOrder => Mark::Open,
            PartState::Ordered => Mark::Waiting,
            PartState::Here => Mark::Accepted,
            PartState::Fitted => Mark::Final,
            PartState::Wrong => Mark::Doubtful,
        }
    }
}

/// Work without fasteners.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TaskStatus {
    /// Its id.
    pub id: String,
    /// What is to be done.
    pub title: String,
    /// How it stands.
    pub mark: Mark,
    /// The word for that: ready, waiting, done, undone.
    pub word: &'static str,
    /// Why it stands so, in one line.
    pub why: String,
    /// Whether it may be done now.
    pub may_be_done: bool,
    /// Titles of what it covers and is open, though it is done.
    pub closed_over: Vec<String>,
    /// The parts it needs.
    pub needs: Vec<String>,
    /// What lies on what, from the bottom up.
    pub stack: Vec<String>,
    /// What is asked when it is done.
    pub ask: String,
    /// What it comes after, covers and needs, in words.
    pub place: String,
    /// A remark of the plan.
    pub note: String,
    /// The answer, who did it, when; empty while it is open.
    pub done: String,
}

impl TaskStatus {
    /// Whether it is done.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.mark == Mark::Final
    }

    /// `shim, seal, plate` from the bottom up, in words; empty where nothing is stacked.
    #[must_use]
    pub fn layers(&self) -> String {
        if self.stack.is_empty() {
            String::new()
        } else {
            let layers = (1_usize..).zip(&self.stack);
            let layers: Vec<String> = layers
                .map(|(number, layer)| format!("{number} {layer}"))
                .collect();
            format!("from the bottom up: {}", layers.join("; "))
        }
    }

    /// Everything about it but its title, in one line.
    #[must_use]
    pub fn line(&self) -> String {
        let asks = match (self.ask.as_str(), self.is_done()) {
            ("", _) => self.done.clone(),
            (question, true) => format!("{question} {}", self.done),
            (question, false) => format!("asks: {question}"),
        };
        let (first, last) = if self.is_done() {
            (asks, String::new())
        } else {
            (String::new(), asks)
        };
        let words = [
            first.as_str(),
            &self.why,
            &self.layers(),
            &self.note,
            last.as_str(),
        ];
        let words: Vec<&str> = words.into_iter().filter(|word| !word.is_empty()).collect();
        words.join("; ")
    }
}

/// A task, a part or a reminder in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BesideRow {
    /// Its state as a mark.
    pub mark: Mark,
    /// The word for its state.
    pub word: String,
    /// What it is; of a reminder, what it belongs to.
    pub name: String,
    /// The rest.
    pub line: String,
}

/// A line not to be forgotten.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReminderStatus {
    /// Its number, from 1.
    pub number: u32,
    /// The line.
    pub text: String,
    /// Title of the joint or task it belongs to, or the build.
    pub about: String,
    /// Id of that; `build` for the build.
    pub place: String,
    /// What it holds up.
    pub holds: String,
    /// Who wrote it, and when.
    pub by: String,
    /// What became of it; empty while it is open.
    pub became: String,
}

impl ReminderStatus {
    /// The line with its number, what it holds up and who wrote it.
    #[must_use]
    pub fn line(&self) -> String {
        let holds = match self.holds.as_str() {
            "" => String::new(),
            holds => format!("; holds up {holds}"),
        };
        format!(
            "reminder {}: {}{holds} ({})",
            self.number, self.text, self.by
        )
    }
}

/// Parts as a table with a head line, the way RFC 4180 has it.
#[must_use]
pub fn parts_csv(parts: &[&PartStatus]) -> String {
    let mut table = "part,number,quantity,state,for,said\n".to_owned();
    for part in parts {
        let cells = [
            &part.name,
            &part.number,
            &part.quantity,
            part.state.word(),
            &part.for_joints,
            &part.said,
        ];
        table.push_str(&cells.map(quoted).join(","));
        table.push('\n');
    }
    table
}

/// A cell of a table, in quotes where it must be (RFC 4180).
fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}
