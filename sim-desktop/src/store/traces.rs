//! The kept samples of each attempt, beside the journal: one small file each, in the form that `judge` reads.
//!
//! Losing one loses evidence, never truth: its digest stands in the attempt's record.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{fs, io};

use evendraw_core::trace::{self, Point};
use evendraw_core::unit::{Angle, Torque};

use super::error::StoreError;
use super::journal::rescued_from;
use crate::disk::{self, System};

/// The folder of a journal's traces.
#[derive(Clone, Debug)]
pub struct Traces {
    folder: PathBuf,
    /// Of a rescued journal: where the curves of the journal lie that it continues.
    before: Option<PathBuf>,
}

impl Traces {
    /// Those of the journal at this path: the folder `<journal>.traces`.
    #[must_use]
    pub fn beside(journal: &Path) -> Self {
        Self {
            folder: disk::with_behind(journal, ".traces"),
            before: rescued_from(journal).map(|path| disk::with_behind(&path, ".traces")),
        }
    }

    /// Those in a folder.
    #[must_use]
    pub fn in_folder(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            before: None,
        }
    }

    /// Keeps the points of an attempt, named by joint number and record number; `title` becomes a comment. A curve that is there
    /// already, of another journal that had this name, stays.
    ///
    /// # Errors
    /// [`StoreError::Io`].
    pub fn keep(
        &self,
        joint: u8,
        seq: u32,
        title: &str,
        points: &[Point],
    ) -> Result<(), StoreError> {
        // Not with the folders above it: where they are gone, the journal is elsewhere.
        match fs::create_dir(&self.folder) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            other => other.map_err(StoreError::io(&self.folder, "create"))?,
        }
        let text = csv(title, points);
        for number in 1_u32.. {
            let path = file(&self.folder, joint, seq, number);
            match disk::create_loosely(&System, &path, text.as_bytes()) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                    if fs::read(&path).is_ok_and(|kept| kept == text.as_bytes()) {
                        return Ok(());
                    }
                }
                other => return other.map_err(StoreError::io(&path, "write")),
            }
        }
        Ok(())
    }

    /// The points of an attempt, if its file is there and reads.
    #[must_use]
    pub fn load(&self, joint: u8, seq: u32) -> Option<Vec<Point>> {
        self.folders()
            .find_map(|folder| points_of(&fs::read_to_string(file(folder, joint, seq, 1)).ok()?))
    }

    /// The points of an attempt that the digest in its record proves.
    #[must_use]
    pub fn proved(&self, joint: u8, seq: u32, digest: u32) -> Option<Vec<Point>> {
        self.folders()
            .flat_map(|folder| {
                (1_u32..).map_while(move |number| {
                    fs::read_to_string(file(folder, joint, seq, number)).ok()
                })
            })
            .filter_map(|text| points_of(&text))
            .find(|points| trace::digest(points.iter().copied()) == digest)
    }

    fn folders(&self) -> impl Iterator<Item = &Path> {
        std::iter::once(self.folder.as_path()).chain(self.before.as_deref())
    }
}

fn file(folder: &Path, joint: u8, seq: u32, number: u32) -> PathBuf {
    let more = if number > 1 {
        format!("-{number}")
    } else {
        String::new()
    };
    folder.join(format!("{joint}-{seq}{more}.csv"))
}

fn csv(title: &str, points: &[Point]) -> String {
    let mut text = String::new();
    let _ = writeln!(
        text,
        "# {}\ntime_s,torque_Nm,angle_deg",
        title.replace(['\n', '\r'], " ")
    );
    for point in points {
        let _ = writeln!(
            text,
            "{},{},{}",
            thousandths(i64::from(point.millis)),
            thousandths(i64::from(point.torque.millinewton_meters())),
            thousandths(i64::from(point.rotation.millidegrees()))
        );
    }
    text
}

/// The points in the text of a kept trace; none when a line does not read exactly.
#[must_use]
pub fn points_of(text: &str) -> Option<Vec<Point>> {
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    if lines.next()? != "time_s,torque_Nm,angle_deg" {
        return None;
    }
    lines
        .map(|line| {
            let mut cells = line.split(',').map(from_thousandths);
            let point = Point {
                millis: u32::try_from(cells.next()??).ok()?,
                torque: Torque::from_millinewton_meters(i32::try_from(cells.next()??).ok()?),
                rotation: Angle::from_millidegrees(i32::try_from(cells.next()??).ok()?),
            };
            if cells.next().is_some() {
                None
            } else {
                Some(point)
            }
        })
        .collect()
}

/// Thousandths as a decimal number, exactly.
fn thousandths(value: i64) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let value = value.unsigned_abs();
    format!("{sign}{}.{:03}", value / 1000, value % 1000)
}

fn from_thousandths(text: &str) -> Option<i64> {
    let (sign, digits) = match text.strip_prefix('-') {
        Some(digits) => (-1, digits),
        None => (1, text),
    };
    let (whole, part) = digits.split_once('.')?;
    if part.len() != 3
        || whole.is_empty()
        || !digits
            .bytes()
            .all(|byte| byte.is_ascii_digit() || byte == b'.')
    {
        return None;
    }
    let whole: i64 = whole.parse().ok()?;
    let part: i64 = part.parse().ok()?;
    whole
        .checked_mul(1000)?
        .checked_add(part)?
        .checked_mul(sign)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_beyond_every_measure_is_no_number_and_no_panic() {
        assert_eq!(from_thousandths("-12.005"), Some(-12_005));
        for text in [
            "9223372036854775807.000",
            "9223372036854775.808",
            "-9999999999999999.999",
        ] {
            assert_eq!(from_thousandths(text), None, "{text}");
        }
    }

    #[test]
    fn kept_points_read_back_exactly() {
        let point = |millis, torque, rotation| Point {
            millis,
            torque: Torque::from_millinewton_meters(torque),
            rotation: Angle::from_millidegrees(rotation),
        };
        let points = vec![
            point(0, -5, 0),
            point(7, 40_001, -90_500),
            point(61_234, 0, 12),
        ];
        let text = csv("head, fastener 3", &points);
        assert_eq!(points_of(&text), Some(points));
        assert_eq!(points_of(&text.replace("40.001", "40.01")), None);
    }
}
