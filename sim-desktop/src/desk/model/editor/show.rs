//! The view of a plan being written: fields, additions, text and faults of what is in hand.
//!
//! What a field takes is the schema's word, what is wrong the parser's. Knows nothing of drawing.

use std::ops::Range;

use super::super::super::edit_view::{Addition, FaultView, FieldView, PlanEdit};
use super::Editor;
use crate::job::status::read_back;
use crate::plan::beginnings;
use crate::plan::edit::fields::{Field, kind_of, stage_kinds};
use crate::plan::edit::layout::Path;
use crate::plan::edit::value::{Takes, shown};

/// More lines than this are shown as the part in hand.
const LINES_WHOLE: usize = 600;

impl Editor {
    pub(super) fn draw(&self) -> PlanEdit {
        let text = self.document.text();
        let part = self.part();
        let before = text.get(..part.start).unwrap_or_default();
        let first_line = before.matches('\n').count() + 1;
        PlanEdit {
            version: self.version,
            path: self.path.clone(),
            save_name: self.save_name(),
            is_new: self.path.is_none() && self.saved.is_empty(),
            rows: self.outline(),
            at: self.at.to_string(),
            title: self.title(),
            echo: self.echo(),
            fields: self.fields(),
            drawing: self.drawing(),
            additions: self.additions(),
            offered: self.offers.of_other(),
            offer: self.offers.number,
            check: self.check_words(),
            checker: self.checker.clone(),
            text: text.get(part).unwrap_or_default().into(),
            first_line,
            lines: self.lines_in_hand(),
            faults: self.fault_views(),
            errors: self.checked.count,
            checking: self.is_checking(),
            unsaved: self.is_unsaved(),
            broken: self.document.layout().is_none(),
            can_undo: self.document.can_undo(),
            can_redo: self.document.can_redo(),
        }
    }

    /// A file of its own in the folder that the program was started in, named as the build is; empty where it has one.
    fn save_name(&self) -> String {
        if self.path.is_some() {
            return String::new();
        }
        let build = Path::default().key("build");
        let title = self.document.words(&build, "title").unwrap_or_default();
        let words = title
            .split(|sign: char| !sign.is_alphanumeric())
            .filter(|word| !word.is_empty());
        let mut name = words.collect::<Vec<_>>().join("-").to_lowercase();
        if name.is_empty() {
            "plan".clone_into(&mut name);
        }
        let folder = std::env::current_dir().unwrap_or_default();
        folder.join(name + ".toml").display().to_string()
    }

    fn title(&self) -> String {
        let words = self.words_of(&self.at);
        match self.joint().filter(|joint| *joint != self.at) {
            Some(joint) => format!("{}: {words}", self.words_of(&joint)),
            None => words,
        }
    }

    /// The bytes of the text that are shown: all of it, or of a long one what is in hand.
    pub(super) fn part(&self) -> Range<usize> {
        let text = self.document.text();
        let whole = 0..text.len();
        let Some(layout) = self.document.layout() else {
            return whole;
        };
        if text.matches('\n').count() <= LINES_WHOLE {
            return whole;
        }
        let top = match self.at.0.get(..2) {
            Some(steps) if self.at.item().is_some() || steps.len() == 2 => Path(steps.to_vec()),
            _ => self.at.clone(),
        };
        let start = layout.sections_of(&top).map(|section| section.start).min();
        let end = layout.sections_of(&top).map(|section| section.end).max();
        match (start, end) {
            (Some(start), Some(end)) => start..end,
            _ => {
                0..layout
                    .sections
                    .first()
                    .map_or(text.len(), |first| first.start)
            }
        }
    }

    /// The lines of the text that are in hand, from 1.
    fn lines_in_hand(&self) -> Range<usize> {
        let text = self.document.text();
        let Some(layout) = self.document.layout() else {
            return 0..0;
        };
        let place = match layout.section(&self.at) {
            Some(section) => section.header.start..section.end,
            None => match layout.get(&self.at) {
                Some(node) => node.place(),
                None => return 0..0,
            },
        };
        let line = |byte: usize| text.get(..byte).unwrap_or_default().matches('\n').count() + 1;
        let words = text.get(place.clone()).unwrap_or_default().trim_end();
        let end = place.start + words.len();
        line(place.start)..line(end) + 1
    }

    fn fault_views(&self) -> Vec<FaultView> {
        self.checked
            .faults
            .iter()
            .map(|fault| FaultView {
                path: fault.path.to_string(),
                question: fault.warning,
                line: fault.line,
                column: fault.column,
                length: fault.length,
                words: fault.words.clone(),
                hint: fault.hint.clone(),
            })
            .collect()
    }

    fn fields(&self) -> Vec<FieldView> {
        let (Some(layout), Some(kind)) = (self.document.layout(), kind_of(&self.at)) else {
            return Vec::new();
        };
        let table = layout.table(&self.at);
        let has = |key: &str| table.is_some_and(|table| table.get(key).is_some());
        let stage = (self.at.last_key() == Some("stage"))
            .then(|| self.document.words(&self.at, "do").unwrap_or_default());
        let mut views = Vec::new();
        for field in &kind.fields {
            // A key that a stage of this kind does not have is shown while it stands there, so that it can go.
            let wanted = match &stage {
                Some(kind) => field.is_for(kind) || has(&field.key),
                None => true,
            };
            if !wanted {
                continue;
            }
            let needed = field.is_needed_by(stage.as_deref().unwrap_or_default());
            if field.takes == Takes::Table {
                let of = self.at.key(&field.key);
                for below in &field.below {
                    let caption = format!("{} {}", field.key, below.key);
                    views.push(self.field(&of, below, caption, false));
                }
            } else {
                views.push(self.field(&self.at, field, field.key.clone(), needed));
            }
        }
        // What nothing reads can be seen, and taken away.
        let unknown = table.into_iter().flat_map(|table| &table.entries);
        for entry in unknown
            .filter(|entry| kind.field(&entry.key).is_none() && !kind.lists.contains(&entry.key))
        {
            let field = Field {
                key: entry.key.clone(),
                about: "Nothing reads this.".to_owned(),
                takes: Takes::Text,
                needed: false,
                usual: true,
                kinds: Vec::new(),
                below: Vec::new(),
            };
            views.push(self.field(&self.at, &field, entry.key.clone(), false));
        }
        views.sort_by_key(|view| (!view.needed, !view.usual));
        views
    }

    fn field(&self, of: &Path, field: &Field, caption: String, needed: bool) -> FieldView {
        let path = of.key(&field.key);
        let value = match self.document.raw_value(&path) {
            Some(toml) => shown(&toml, &field.takes),
            None => String::new(),
        };
        let (choices, only_choices) = match &field.takes {
            Takes::Words(words) => (words.clone(), true),
            Takes::WordsOrLabels(words) | Takes::WordsOrMap(words) => (words.clone(), false),
            Takes::Flag => (vec!["yes".to_owned(), "no".to_owned()], true),
            Takes::FlagOrLabels => (vec!["yes".to_owned()], false),
            _ => (Vec::new(), false),
        };
        let faults = self
            .checked
            .faults
            .iter()
            .filter(|fault| fault.path.is_in(&path))
            .map(|fault| {
                let words = match fault.hint.as_str() {
                    "" => fault.words.clone(),
                    hint => format!("{}; {hint}", fault.words),
                };
                (fault.warning, words)
            })
            .collect();
        FieldView {
            of: of.to_string(),
            key: field.key.clone(),
            caption,
            about: field.about.clone(),
            value,
            choices,
            only_choices,
            needed,
            usual: needed || field.usual,
            faults,
        }
    }

    fn additions(&self) -> Vec<Addition> {
        let mut list = Vec::new();
        let mut add = |words: String, about: &str, what: String| {
            list.push(Addition {
                words,
                about: about.to_owned(),
                what,
            });
        };
        if self.joint().is_some() {
            for kind in stage_kinds() {
                add(
                    format!("stage: {}", kind.word),
                    kind.about,
                    format!("stage {}", kind.word),
                );
            }
            add(
                "block".to_owned(),
                "Stages put together: one fastener finished before the next, or a trial.",
                "block".to_owned(),
            );
            add(
                "variant".to_owned(),
                "A question before work starts, whose answer decides values.",
                "variant".to_owned(),
            );
        }
        if let Some(kind) = kind_of(&Path::default()) {
            for own in &kind.lists {
                let about = match own.as_str() {
                    "joint" => {
                        "A new joint, empty. Several at once: a table copied elsewhere, Ctrl+V on this screen."
                    }
                    "tool" => "A tool with its range and its calibration.",
                    "task" => {
                        "Work without fasteners, in the order of work: a seal fitted, a drain joined."
                    }
                    "part" => "What is to be said of a part beyond its name.",
                    _ => "",
                };
                add(own.clone(), about, own.clone());
            }
        }
        add(
            "joint of another plan".to_owned(),
            "Choose the plan, then the joint; what it names and lacks here is told.",
            "from".to_owned(),
        );
        if self.joint().is_some() {
            add(
                "keep this joint".to_owned(),
                "Into the library, with its document and page, for the next job.",
                "keep".to_owned(),
            );
        }
        for own in self.offers.of_library() {
            add(own.words, &own.about, own.what);
        }
        for beginning in beginnings::all() {
            add(
                format!("joint: {}", beginning.name),
                &beginning.about,
                format!("like {}", beginning.id),
            );
        }
        list
    }

    /// What is in hand, read back in words; empty where a fault stands in the way.
    fn echo(&self) -> Vec<String> {
        let Some(plan) = &self.checked.plan else {
            return Vec::new();
        };
        let Some(place) = self
            .document
            .layout()
            .and_then(|layout| layout.get(&self.at))
        else {
            return Vec::new();
        };
        let index = self.joint().and_then(|joint| joint.item());
        match index.and_then(|(_, index)| plan.joints().get(index)) {
            Some(joint) => read_back(joint, &place.place()),
            None => Vec::new(),
        }
    }
}
