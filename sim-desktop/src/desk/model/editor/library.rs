//! Joints of other plans: those of a plan that was chosen, and those of the library, each a plan of its own.
//!
//! The library is the folder `library` beside the plan where there is one, else that of the user; joints are read from both.
//! Knows nothing of what a joint says.

use std::path::{Path as File, PathBuf};

use super::super::super::edit_view::Addition;
use super::Editor;
use super::picture::keep;
use crate::disk::{folder_of, state_folder};
use crate::limits::read_plan;
use crate::picture::is_beside;
use crate::plan::edit::layout::Path;
use crate::plan::edit::{Document, EditError};

/// Files of a library that are looked at: more than a shop keeps of one kind of engine.
const FILES_MAX: usize = 500;

/// A joint that can be taken.
#[derive(Clone, Debug)]
struct Offer {
    file: PathBuf,
    document: std::rc::Rc<Document>,
    joint: Path,
    addition: Addition,
}

/// What is on offer.
#[derive(Clone, Debug, Default)]
pub(super) struct Offers {
    /// Of a plan that was chosen.
    other: Vec<Offer>,
    /// Of the library.
    library: Vec<Offer>,
    /// Moves on whenever a plan was chosen.
    pub(super) number: u64,
}

impl Offers {
    pub(super) fn of_other(&self) -> Vec<Addition> {
        self.other.iter().map(|own| own.addition.clone()).collect()
    }

    pub(super) fn of_library(&self) -> Vec<Addition> {
        self.library
            .iter()
            .map(|own| own.addition.clone())
            .collect()
    }
}

/// The joints of a plan file, as additions whose words begin so.
fn offers(file: &File, word: &str, what: &str, first: usize) -> Result<Vec<Offer>, String> {
    let failed = |error: std::io::Error| format!("{} cannot be read: {error}", file.display());
    let text = read_plan(file).map_err(failed)?;
    let document = std::rc::Rc::new(Document::new(&text));
    if document.layout().is_none() {
        return Err(format!(
            "{} is no plan: its text is not TOML",
            file.display()
        ));
    }
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    let joints = document.titled_joints().into_iter().enumerate();
    let list = joints.map(|(index, (joint, title))| {
        let about = match document.document_of(&joint) {
            Some(from) => format!("{from} ({name})"),
            None => format!("No document is named ({name})"),
        };
        Offer {
            file: file.to_owned(),
            document: std::rc::Rc::clone(&document),
            joint,
            addition: Addition {
                words: format!("{word} {title}"),
                about,
                what: format!("{what} {}", first.saturating_add(index)),
            },
        }
    });
    Ok(list.collect())
}

/// Whether an addition is a joint that was offered.
pub(super) fn is_offer(what: &str) -> bool {
    what.starts_with("library ") || what.starts_with("other ")
}

/// The user's own library.
fn own_folder() -> PathBuf {
    state_folder().join("library")
}

impl Editor {
    /// The library beside the plan, where there is one.
    fn shop_folder(&self) -> Option<PathBuf> {
        let folder = folder_of(self.path.as_deref()?).join("library");
        folder.is_dir().then_some(folder)
    }

    /// Reads the libraries.
    pub(super) fn look_in_library(&mut self) {
        let mut files: Vec<PathBuf> = Vec::new();
        for folder in self.shop_folder().into_iter().chain([own_folder()]) {
            let found = std::fs::read_dir(folder).into_iter().flatten().flatten();
            let mut plans: Vec<PathBuf> = found
                .map(|entry| entry.path())
                .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
                .filter(|path| path.is_file())
                .take(FILES_MAX)
                .collect();
            plans.sort();
            files.extend(plans);
        }
        let mut list = Vec::new();
        for file in files {
            // What does not read is not offered; opened as a plan it says why.
            list.extend(offers(&file, "library:", "library", list.len()).unwrap_or_default());
        }
        self.offers.library = list;
    }

    /// Offers the joints of a plan.
    pub(super) fn offer(&mut self, file: &File) -> Result<(), String> {
        let list = offers(file, "joint", "other", 0)?;
        if list.is_empty() {
            return Err(format!("{} has no joint", file.display()));
        }
        self.offers.other = list;
        self.offers.number += 1;
        Ok(())
    }

    /// Takes a joint that is on offer; what is to be told of it comes back.
    pub(super) fn take(&mut self, what: &str) -> Result<String, EditError> {
        let (what, number) = what.split_once(' ').ok_or(EditError::Missing)?;
        let list = match what {
            "library" => &self.offers.library,
            _ => &self.offers.other,
        };
        let number: usize = number.parse().ok().ok_or(EditError::Missing)?;
        let offer = list.get(number).cloned().ok_or(EditError::Missing)?;
        let to = self.behind(&Path::default().key("joint"));
        let added = self
            .document
            .take_joint(&offer.document, &offer.joint, &to)?;
        let mut told = self.carry_picture(&offer, &added);
        let lacks = self.document.lacks(&added);
        if !lacks.is_empty() {
            told.push(format!("lacking here: {}", lacks.join(", ")));
        }
        if let Some(from) = self.document.words(&added, "document") {
            told.push(format!("its values are from {from}"));
        }
        self.at = added;
        let name = offer.file.display();
        Ok(match told.is_empty() {
            true => format!("taken from {name}"),
            false => format!("taken from {name}; {}", told.join("; ")),
        })
    }

    /// Copies the picture of a joint that was taken beside this plan.
    fn carry_picture(&mut self, offer: &Offer, added: &Path) -> Vec<String> {
        let Some(own) = self
            .document
            .picture(added)
            .filter(|own| is_beside(&own.file))
        else {
            return Vec::new();
        };
        let from = folder_of(&offer.file).join(&own.file);
        let carried = match self.path.as_deref() {
            None => Err("the plan has no file yet that it could lie beside".to_owned()),
            Some(plan) => carried(&from, folder_of(plan), &own.file),
        };
        match carried {
            Ok(name) => {
                if name != own.file {
                    let toml = crate::plan::edit::item::quoted(&name);
                    let _ = self.document.set(&added.key("picture"), "file", &toml, &[]);
                }
                Vec::new()
            }
            Err(why) => vec![format!("its picture did not come along: {why}")],
        }
    }

    /// Keeps the joint in hand in the library; says where.
    pub(super) fn keep_in_library(&mut self) -> Result<String, String> {
        let joint = self.joint().ok_or("take a joint in hand first")?;
        let text = self
            .document
            .alone(&joint)
            .map_err(|error| error.to_string())?;
        let folder = self.shop_folder().unwrap_or_else(own_folder);
        std::fs::create_dir_all(&folder)
            .map_err(|error| format!("{} cannot be made: {error}", folder.display()))?;
        let id = self.document.words(&joint, "id").unwrap_or_default();
        let stem = match super::picture::plain(&id) {
            stem if stem.is_empty() => "joint".to_owned(),
            stem => stem,
        };
        let mut text = text;
        let mut without = String::new();
        if let (Some(own), Some(plan)) = (self.document.picture(&joint), self.path.as_deref())
            && is_beside(&own.file)
        {
            match carried(&folder_of(plan).join(&own.file), &folder, &own.file) {
                Ok(name) if name != own.file => {
                    let mut alone = Document::new(&text);
                    let at = Path::default().key("joint").at(0).key("picture");
                    let toml = crate::plan::edit::item::quoted(&name);
                    if alone.set(&at, "file", &toml, &[]).is_ok() {
                        alone.text().clone_into(&mut text);
                    }
                }
                Ok(_) => {}
                Err(why) => without = format!("; its picture did not come along: {why}"),
            }
        }
        let name = keep(&folder, &stem, "toml", text.as_bytes())?;
        self.look_in_library();
        Ok(format!("kept as {}{without}", folder.join(name).display()))
    }
}

/// Copies a picture's file to another folder, under its own name where that is free; returns the name.
fn carried(from: &File, folder: &File, name: &str) -> Result<String, String> {
    let failed = |error: &dyn std::fmt::Display| format!("{}: {error}", from.display());
    let picture = crate::picture::Picture::read(from).map_err(|error| failed(&error))?;
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "png"));
    if picture.size() == picture.full() {
        let bytes = std::fs::read(from).map_err(|error| failed(&error))?;
        return keep(folder, stem, ending, &bytes);
    }
    // A large one is not carried round: but its points are told in its own pixels.
    Err(format!(
        "{} has more than {} pixels in a row: lay it under the joint anew",
        from.display(),
        crate::limits::PICTURE_KEPT_SIDE
    ))
}
