//! What is written for people and other programs: sheets, pictures, tables, the schema.
//!
//! Nothing that lasts is written over. What stands at a name is looked at first: only what this program wrote as an output, and can
//! write again, is ever replaced, and then the new file is safe before the old one goes. Knows nothing of what an output says.
//!
//! # Why an output replaces only an output
//!
//! *Context:* `-o` onto a plan or a journal destroyed it. *Choice:* what stands at the name is told by its bytes, so
//! that second names and links deceive nobody; a journal, a plan, a curve, a folder and whatever this program did not
//! write are never written over, an earlier output only with `--force` (at the desk, whose names are its own, by the
//! same key). *Alternative:* replacing one's own sheet unasked; a sheet that was signed in the meantime is no copy of
//! the next.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use evendraw_core::journal::{Found, Scan};

use crate::disk::{self, Disk, Kind, System};
use crate::job::status::telling::CSV_HEADER;
use crate::store::points_of;

/// What may be replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// Nothing.
    Nothing,
    /// An earlier output of this program.
    Ours,
}

impl Over {
    /// [`Over::Ours`] where it was asked for.
    #[must_use]
    pub const fn ours_if(asked: bool) -> Self {
        if asked { Self::Ours } else { Self::Nothing }
    }
}

/// What stands at the name of an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum There {
    /// Nothing, or an empty file.
    Nothing,
    /// A terminal, a pipe, a device: written into as it is.
    Device,
    /// An output of this program.
    Ours,
    /// A journal, or what is left of one.
    Journal,
    /// A plan.
    Plan,
    /// A curve: a trace file, or a table of samples.
    Curve,
    /// A folder.
    Folder,
    /// Something else.
    Other,
}

impl There {
    const fn words(self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::Device => "a device",
            Self::Ours => "an earlier output of this program",
            Self::Journal => "a journal",
            Self::Plan => "a plan",
            Self::Curve => "a curve",
            Self::Folder => "a folder",
            Self::Other => "a file that this program did not write",
        }
    }
}

/// Why an output was not written.
#[derive(Debug)]
#[non_exhaustive]
pub enum OutputError {
    /// Something is there that is not replaced.
    Taken {
        /// The name.
        path: PathBuf,
        /// What it is.
        there: There,
    },
    /// The curves of a journal are kept in this folder, and nothing else.
    Curves {
        /// The folder.
        path: PathBuf,
    },
    /// The system refused.
    Io {
        /// The name.
        path: PathBuf,
        /// Its reason.
        source: io::Error,
    },
}

impl fmt::Display for OutputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Taken {
                path,
                there: There::Ours,
            } => write!(
                f,
                "cannot write {}: an earlier output of this program is there; --force replaces it, any other name is free",
                path.display()
            ),
            Self::Taken { path, there } => write!(
                f,
                "cannot write {}: {} is there, and is never written over; give another name",
                path.display(),
                there.words()
            ),
            Self::Curves { path } => write!(
                f,
                "cannot write into {}: the curves of a journal are kept there; give another folder",
                path.display()
            ),
            Self::Io { path, source } => write!(f, "cannot write {}: {source}", path.display()),
        }
    }
}

impl std::error::Error for OutputError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io { source, .. } => Some(source),
            Self::Taken { .. } | Self::Curves { .. } => None,
        }
    }
}

/// Bytes of a file that are looked at to tell what it is.
const LOOKED_AT: u64 = 64 * 1024;

/// How every output of this program begins. A page and a picture say it in their head; tables and texts by their first line.
const BEGINNINGS: [&str; 4] = [
    CSV_HEADER,
    "{\"record\":\"",
    "{\n  \"$schema\": \"https://json-schema.org/draft/2020-12/schema\",\n  \"title\": \"Evendraw plan\"",
    "# rehearsal on the virtual bench, seed ",
];

/// How the title of every sheet in plain text begins; at most two bands stand before it.
const TITLES: [&str; 2] = ["Build sheet: ", "Rehearsal sheet: "];

/// What the head of every page of ours says.
pub const PAGE_BY: &str = "<meta name=\"generator\" content=\"Evendraw\">";

/// What stands at a name.
///
/// # Errors
/// The system's.
pub fn look(path: &Path) -> io::Result<There> {
    match System.kind(path)? {
        Kind::Nothing => Ok(There::Nothing),
        Kind::Folder => Ok(There::Folder),
        Kind::Device => Ok(There::Device),
        Kind::File => {
            use io::Read as _;
            let mut bytes = Vec::new();
            std::fs::File::open(path)?
                .take(LOOKED_AT)
                .read_to_end(&mut bytes)?;
            Ok(what_is(path, &bytes))
        }
    }
}

/// Writes an output, whole or not at all.
///
/// # Errors
/// [`OutputError`]; then what was there is as it was.
pub fn write(path: &Path, text: &str, over: Over) -> Result<(), OutputError> {
    let failed = |source| OutputError::Io {
        path: path.to_owned(),
        source,
    };
    let there = look(path).map_err(failed)?;
    match (there, over) {
        (There::Device, _) => std::fs::write(path, text).map_err(failed),
        (There::Nothing, _) if System.kind(path).map_err(failed)? == Kind::Nothing => {
            disk::create(&System, path, text.as_bytes()).map_err(|source| {
                if source.kind() == io::ErrorKind::AlreadyExists {
                    OutputError::Taken {
                        path: path.to_owned(),
                        there: There::Other,
                    }
                } else {
                    failed(source)
                }
            })
        }
        (There::Nothing, _) | (There::Ours, Over::Ours) => {
            // A link stays a link: what it leads to is replaced.
            let whole = path.canonicalize().map_err(failed)?;
            disk::replace(&System, &whole, text.as_bytes()).map_err(failed)
        }
        _ => Err(OutputError::Taken {
            path: path.to_owned(),
            there,
        }),
    }
}

/// Whether [`write`] would refuse for what stands at the name, to be known before hours of work.
///
/// # Errors
/// [`OutputError`].
pub fn may_write(path: &Path, over: Over) -> Result<(), OutputError> {
    let there = look(path).map_err(|source| OutputError::Io {
        path: path.to_owned(),
        source,
    })?;
    match (there, over) {
        (There::Nothing | There::Device, _) | (There::Ours, Over::Ours) => Ok(()),
        _ => Err(OutputError::Taken {
            path: path.to_owned(),
            there,
        }),
    }
}

/// A folder for outputs, made where it is missing.
///
/// # Errors
/// [`OutputError::Curves`] for the folder where a journal keeps its curves; [`OutputError::Io`].
pub fn folder(path: &Path) -> Result<(), OutputError> {
    let whole = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let is_curves = [path, whole.as_path()].into_iter().any(|path| {
        path.extension().is_some_and(|end| end == "traces") && path.with_extension("").is_file()
    });
    if is_curves {
        return Err(OutputError::Curves {
            path: path.to_owned(),
        });
    }
    System
        .create_folder(path)
        .map_err(|source| OutputError::Io {
            path: path.to_owned(),
            source,
        })
}

fn what_is(path: &Path, bytes: &[u8]) -> There {
    if bytes.is_empty() {
        return There::Nothing;
    }
    // One frame that proves itself is enough: the sum of four bytes does not come about by itself.
    if Scan::new(bytes).any(|found| matches!(found, Found::Frame { .. })) {
        return There::Journal;
    }
    let text = String::from_utf8_lossy(bytes);
    let head = text.get(..text.floor_char_boundary(2_000)).unwrap_or(&text);
    let is_page = head.starts_with("<!DOCTYPE html>") && head.contains(PAGE_BY);
    let is_picture = head.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\"")
        && ["<style>.ground{", "<title>Order of work</title>"]
            .iter()
            .any(|ours| head.contains(ours));
    let is_sheet = head
        .lines()
        .take(3)
        .any(|line| TITLES.iter().any(|title| line.starts_with(title)));
    if is_page || is_picture || is_sheet || BEGINNINGS.iter().any(|begins| text.starts_with(begins))
    {
        return There::Ours;
    }
    if points_of(&text).is_some() || text.lines().any(|line| line.starts_with("time_s,")) {
        return There::Curve;
    }
    let is_named = path.extension().is_some_and(|end| end == "toml");
    if is_named || text.lines().any(|line| line.trim() == "[[joint]]") {
        return There::Plan;
    }
    There::Other
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_at_a_name_is_told_by_its_bytes() {
        let told = |name: &str, bytes: &[u8]| what_is(Path::new(name), bytes);
        assert_eq!(told("a.html", b""), There::Nothing);
        assert_eq!(
            told("a.html", b"<!DOCTYPE html><html>my own page"),
            There::Other
        );
        let page = format!("<!DOCTYPE html><html><head>{PAGE_BY}</head>");
        assert_eq!(told("a.html", page.as_bytes()), There::Ours);
        assert_eq!(told("pump.html", crate::plan::DEMO.as_bytes()), There::Plan);
        let curve = b"# mine\ntime_s,torque_Nm,angle_deg\n0.000,0.000,0.000\n";
        assert_eq!(told("a.csv", curve), There::Curve);
        // A journal whose beginning is damaged is still one.
        let mut room = [0; 64];
        let frame = evendraw_core::journal::Frame {
            kind: 200,
            version: 1,
            sequence: 7,
            payload: b"kept",
        };
        let frame = evendraw_core::journal::encode(&frame, 0x0403_0201, &mut room).unwrap();
        let journal = [&[9, 9, 1, 2, 3, 4], frame].concat();
        assert_eq!(told("a.html", &journal), There::Journal);
    }
}
