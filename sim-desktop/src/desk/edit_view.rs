//! What the plan screen draws of a plan that is being written, and what it asks for.
//!
//! Plain values: places in the plan are ways like `joint/2/stage/0`. Knows nothing of the plan's grammar and nothing of egui.

use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;

use crate::picture::{Laid, Picture};

/// One line of the outline.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OutlineRow {
    /// The way to it.
    pub path: String,
    /// How far it is set in.
    pub depth: usize,
    /// In words.
    pub words: String,
    /// Errors in it, or below where that is not shown.
    pub errors: usize,
    /// Questions likewise.
    pub questions: usize,
    /// A second person compared it with the document.
    pub checked: bool,
}

/// What can be typed or chosen in a field.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FieldView {
    /// The way to its table.
    pub of: String,
    /// The key in the plan.
    pub key: String,
    /// Under which name it is shown and spoken; with its table where that is not the one in hand: `circle diameter`.
    pub caption: String,
    /// What it takes, in words.
    pub about: String,
    /// What stands there, as it is typed.
    pub value: String,
    /// The words there are to choose from.
    pub choices: Vec<String>,
    /// Nothing but one of the words is allowed.
    pub only_choices: bool,
    /// It must be there.
    pub needed: bool,
    /// It is usually filled in.
    pub usual: bool,
    /// What is wrong or asked, each with whether it is a question.
    pub faults: Vec<(bool, String)>,
}

/// One fault in the text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FaultView {
    /// What it is about.
    pub path: String,
    /// A question, not an error.
    pub question: bool,
    /// The line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// How many characters.
    pub length: usize,
    /// What was found.
    pub words: String,
    /// What is allowed.
    pub hint: String,
}

/// Something that can be added, or begun with.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Addition {
    /// What it is called.
    pub words: String,
    /// One sentence.
    pub about: String,
    /// What [`PlanAsk::Add`] takes.
    pub what: String,
}

/// Where the fasteners of the joint in hand sit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DrawingView {
    /// The way to the joint.
    pub joint: String,
    /// What it is called.
    pub title: String,
    /// Each with its label, mm to the right and mm upwards.
    pub fasteners: Vec<(String, f64, f64)>,
    /// The labels in the order of work; empty while that cannot be told.
    pub order: Vec<String>,
    /// They are written as a circle: moving one writes them one by one.
    pub is_circle: bool,
    /// The edge that FRONT is written at; empty where none is said.
    pub front: String,
    /// The picture under them.
    pub picture: Option<PictureView>,
}

/// A picture under the fasteners.
#[derive(Clone, Debug, PartialEq)]
pub struct PictureView {
    /// Its file, beside the plan.
    pub file: String,
    /// The picture; in words why there is none.
    pub shown: Result<Arc<Picture>, String>,
    /// Where it lies; as good as may be while nobody said.
    pub laid: Laid,
    /// Two points say where it lies.
    pub is_scaled: bool,
    /// It is printed on the sheet.
    pub sheet: bool,
}

impl PictureView {
    /// Pixels of its file in a row, and rows: what points are told in.
    #[must_use]
    pub fn size(&self) -> (f64, f64) {
        let (width, height) = self.shown.as_ref().map_or((1, 1), |own| own.full());
        (f64::from(width), f64::from(height))
    }
}

/// What is drawn.
#[derive(Clone, Debug, PartialEq)]
pub enum Draw {
    /// A new fastener there, in mm.
    Put(f64, f64),
    /// This one moved there, in mm.
    Move(String, f64, f64),
    /// This one taken away.
    Take(String),
    /// All laid out as typed: `circle 8, 180 mm`, `2 x 5, 85 x 130`, `mirror`, `align 1, 2, 3`.
    LayOut(String),
    /// This one under another label.
    Label(String, String),
    /// FRONT at this edge; nowhere where it is empty.
    Front(String),
    /// This file laid under the joint, as a small copy beside the plan.
    Picture(PathBuf),
    /// Two pixels of the picture, and what is typed of what lies between them.
    Scale([(f64, f64); 2], String),
    /// The picture printed on the sheet, or not.
    Print(bool),
    /// The picture taken away; its file stays.
    TakePicture,
    /// Numbered from 1 along these labels.
    Number(Vec<String>),
    /// Worked in the order of these labels.
    Order(Vec<String>),
}

/// A plan that is being written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanEdit {
    /// Changes with everything below.
    pub version: u64,
    /// Its file; none for the built-in demo and for a new plan.
    pub path: Option<PathBuf>,
    /// A file it could be saved as.
    pub save_name: String,
    /// It was begun here and has no file yet.
    pub is_new: bool,
    /// The outline.
    pub rows: Vec<OutlineRow>,
    /// The way to what is in hand.
    pub at: String,
    /// What is in hand, in words.
    pub title: String,
    /// What it means, read back in words; empty where that cannot be said.
    pub echo: Vec<String>,
    /// Its fields.
    pub fields: Vec<FieldView>,
    /// Where the fasteners of the joint in hand sit; none where no joint is in hand.
    pub drawing: Option<DrawingView>,
    /// What can be added here.
    pub additions: Vec<Addition>,
    /// Joints of another plan that was chosen.
    pub offered: Vec<Addition>,
    /// Moves on whenever another plan was chosen for its joints.
    pub offer: u64,
    /// Whether what is in hand was compared with the document, in words; empty where it is no line of a joint.
    pub check: String,
    /// Who compares lines now; empty before anybody said.
    pub checker: String,
    /// The text, or of a long one the part in hand.
    pub text: Arc<str>,
    /// The line that the text begins with, from 1.
    pub first_line: usize,
    /// Lines of the text that are in hand, from 1.
    pub lines: Range<usize>,
    /// Everything wrong or asked.
    pub faults: Vec<FaultView>,
    /// How many faults refuse it.
    pub errors: usize,
    /// It is being checked: faults are those of a moment ago.
    pub checking: bool,
    /// It differs from what is saved.
    pub unsaved: bool,
    /// The grammar of the text is broken: only the text can be worked on.
    pub broken: bool,
    /// Something can be taken back.
    pub can_undo: bool,
    /// Something taken back can be done again.
    pub can_redo: bool,
}

/// What the plan screen asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum PlanAsk {
    /// Take this in hand.
    Select(String),
    /// Go this many lines down the outline; up where it is negative.
    Go(isize),
    /// What was typed in a field: table, key, words.
    Set(String, String, String),
    /// The field was left.
    Pause,
    /// The text, or the part of it that is shown, as typed.
    Text(String),
    /// Add this after what is in hand.
    Add(String),
    /// Another like what is in hand, after it.
    Again,
    /// The same once more, after it.
    Copy,
    /// Take away what is in hand.
    Remove,
    /// Move it down, or up.
    Move(bool),
    /// Look again at what the library has.
    Look,
    /// Offer the joints of this plan.
    Offer(PathBuf),
    /// Keep the joint in hand in the library.
    Keep,
    /// What is in hand was compared with the document by this person; then the next line.
    Check(String),
    /// Joints from a table, as pasted.
    Paste(String),
    /// Draw in the joint in hand.
    Draw(Draw),
    /// Take the last change back.
    Undo,
    /// Do it again.
    Redo,
    /// Save.
    Save,
    /// Save under this name, and go on there.
    SaveAs(PathBuf),
    /// Begin a new plan with this.
    Begin(String),
}
