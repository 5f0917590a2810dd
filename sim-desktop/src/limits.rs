//! How much a file from outside may hold: every count and every length in one table, each with its reason.
//!
//! What a procedure may hold is the core's own table, `evendraw_core::limits`. Whatever goes beyond a limit is told where it
//! stands, with what is allowed; it is never cut short in silence. Knows nothing of what the files mean.

use std::fs::File;
use std::io::{self, BufRead, Read};
use std::path::Path;

/// Bytes of a plan file: 250 joints at 4 KiB each, twenty times the demo build.
pub const PLAN_BYTES_MAX: usize = 1024 * 1024;
/// Bytes of a table typed back: 20,000 rows, more than the fasteners of a build at every stage.
pub const TABLE_BYTES_MAX: usize = 4 * 1024 * 1024;
/// Joints of a build: a record carries the joint's number in a byte.
pub const JOINTS_MAX: usize = 250;
/// Tools of a build: more than a tool room lends to one job.
pub const TOOLS_MAX: usize = 250;
/// Tools of a shop's register.
pub const REGISTER_TOOLS_MAX: usize = 2_000;
/// Calibrations of one tool: one a month for eight years.
pub const CALIBRATIONS_MAX: usize = 100;
/// Parts that a build says more of than their name: one for each joint.
pub const PARTS_MAX: usize = 250;
/// Tasks of a build: as many as joints.
pub const TASKS_MAX: usize = 250;
/// Layers that one task stacks: a clutch has thirty plates.
pub const LAYERS_MAX: usize = 64;
/// Most of a part that is counted; what is measured is written as a text.
pub const QUANTITY_MAX: u32 = 10_000;
/// Highest revision of a plan.
pub const REVISION_MAX: u32 = 9_999;
/// Bytes of a reminder: a line and a half of writing.
pub const REMINDER_BYTES_MAX: usize = 200;
/// Bytes of what is said of a task or a part: where it was ordered, what was answered, why it came apart.
pub const SAID_BYTES_MAX: usize = 200;
/// Entries of any list or table in a plan: fasteners, names, targets, keys. The largest that means something, the steps of a procedure, has as many.
pub const ENTRIES_MAX: usize = 1_024;
/// Stages written in one joint, over all answers: sixteen under each of four answers, four times over.
pub const STAGES_WRITTEN_MAX: usize = 256;
/// Blocks of stages in one joint: one for each stage of a procedure.
pub const BLOCKS_MAX: usize = evendraw_core::limits::STAGES_MAX;
/// Combinations of answers of one joint: each is compiled when the plan is read.
pub const COMBINATIONS_MAX: usize = 64;
/// Questions that values depend on, in one joint: two answers each make as many combinations as there may be.
pub const VARIANTS_MAX: usize = 6;
/// Procedures of a build, each joint under each of its answers: each takes up to 100 kB while the plan is open.
pub const PROCEDURES_MAX: usize = 1_000;
/// Bytes of the joints of a build, each written out once under each of its answers: what they take while the plan is open, three times over.
pub const WRITTEN_OUT_BYTES_MAX: usize = 4 * 1024 * 1024;
/// Names in one list: joints that come before, parts, joints covered.
pub const NAMES_MAX: usize = 250;
/// Tools that one stage may name.
pub const STAGE_TOOLS_MAX: usize = 16;
/// Bytes of an id: it stands in commands, in records and in names of files.
pub const ID_BYTES_MAX: usize = 64;
/// Bytes of a key in a plan: the longest that is read has 14, an answer is a few words.
pub const KEY_BYTES_MAX: usize = 128;
/// Bytes of a text in a plan: half a page of a remark.
pub const TEXT_BYTES_MAX: usize = 2_000;
/// Errors, and questions, that are shown of one plan: nobody mends more before reading it again.
pub const DIAGNOSTICS_SHOWN: usize = 50;
/// Errors that are kept until the first of the file are known.
pub const DIAGNOSTICS_KEPT: usize = 4 * DIAGNOSTICS_SHOWN;
/// Characters of what is said of one error, and again of what is allowed instead.
pub const WORDS_SHOWN: usize = 800;
/// Bytes of a line of the file that are shown; a longer one is cut around the place.
pub const LINE_SHOWN: usize = 160;
/// Letters compared while nearest words are looked for, over a whole plan: a tenth of a second.
pub const NEAREST_LETTERS_MAX: usize = 2_000_000;

/// Builds that the list of recent ones holds: a season of a small shop.
pub const RECENT_MAX: usize = 20;
/// Bytes of that list: the longest paths, three times over.
pub const RECENT_BYTES_MAX: u64 = 256 * 1024;
/// Bytes of a picture that is laid under a joint: a photograph of the pixels below, hardly packed.
pub const PICTURE_BYTES_MAX: u64 = 32 * 1024 * 1024;
/// Pixels of its longer side: no camera of the shop has more.
pub const PICTURE_SIDE_MAX: u32 = 16_384;
/// Pixels of it: they are unpacked once, in at most [`PICTURE_MEMORY_MAX`].
pub const PICTURE_PIXELS_MAX: u64 = 32_000_000;
/// Bytes that unpacking a picture may take.
pub const PICTURE_MEMORY_MAX: u64 = 256 * 1024 * 1024;
/// Pixels of the longer side of what is kept: sharp enough to click a bolt head on it.
pub const PICTURE_KEPT_SIDE: u32 = 1_024;
/// Bytes of a kept picture that stays as lines; a larger one is packed as a photograph.
pub const PICTURE_KEPT_BYTES: usize = 300 * 1024;

/// Bytes of a trace file: the samples below with 64 bytes a line.
pub const TRACE_BYTES_MAX: u64 = 256 * 1024 * 1024;
/// Samples of a trace: an hour at 1,000 a second, in 64 MB of memory.
pub const TRACE_SAMPLES_MAX: usize = 4_000_000;
/// Bytes of a line of a trace: three numbers of twenty digits, or a remark.
pub const TRACE_LINE_BYTES_MAX: usize = 1_024;

/// Records that one fetching of an adapter's journal takes: a flash of four million bytes holds no more of them.
pub const FETCHED_RECORDS_MAX: usize = 100_000;
/// Bytes of frames that one fetching takes: twice that flash. As records they take up to 64 MiB here.
pub const FETCHED_BYTES_MAX: usize = 8 * 1024 * 1024;
/// Bytes that one place of an adapter is taken to hold: four times the 16 KiB of our boards.
pub const PLACE_BYTES_MAX: usize = 64 * 1024;
/// Points of the curve drawn while an adapter is listened to: half an hour of a pull at 25 a second, twice over.
pub const LIVE_POINTS_MAX: usize = 90_000;
/// News of an adapter that wait until the desk looks; its live readings are dropped beyond that, as nothing depends on one.
pub const NEWS_WAITING_MAX: usize = 1_024;

/// A number with its thousands apart: `2,950`.
#[must_use]
pub fn counted(number: usize) -> String {
    let digits = number.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// The text of a plan file, without a byte order mark. No more of it is read than a plan may have.
///
/// # Errors
/// What the system says; `InvalidData` where it is no text, or longer than [`PLAN_BYTES_MAX`].
pub fn read_plan(path: &Path) -> io::Result<String> {
    read_text(path, "a plan", "a TOML file", PLAN_BYTES_MAX)
}

/// The text of a table of rows typed back, likewise.
///
/// # Errors
/// As [`read_plan`], with [`TABLE_BYTES_MAX`].
pub fn read_table(path: &Path) -> io::Result<String> {
    read_text(path, "a table", "rows of cells", TABLE_BYTES_MAX)
}

fn read_text(path: &Path, what: &str, like: &str, most: usize) -> io::Result<String> {
    let bad = |why: String| io::Error::new(io::ErrorKind::InvalidData, why);
    let mut bytes = Vec::new();
    let limit = u64::try_from(most).unwrap_or(u64::MAX);
    File::open(path)?
        .take(limit.saturating_add(1))
        .read_to_end(&mut bytes)?;
    if bytes.len() > most {
        return Err(bad(format!(
            "it is longer than {what} may be; allowed: {} bytes",
            counted(most)
        )));
    }
    let text = String::from_utf8(bytes).map_err(|error| {
        bad(format!(
            "it is not UTF-8 text at byte {}; {what} is {like}",
            error.utf8_error().valid_up_to()
        ))
    })?;
    // A byte order mark is how some editors say UTF-8.
    Ok(match text.strip_prefix('\u{feff}') {
        Some(rest) => rest.to_owned(),
        None => text,
    })
}

/// The next line into `line`, with its end. `false` at the end of the file, and `None` where the line is longer than `most`:
/// then its first `most` bytes are there.
///
/// # Errors
/// What the reader says.
pub fn read_line(
    file: &mut impl BufRead,
    most: usize,
    line: &mut Vec<u8>,
) -> io::Result<Option<bool>> {
    line.clear();
    let room = u64::try_from(most).unwrap_or(u64::MAX).saturating_add(1);
    let read = file.take(room).read_until(b'\n', line)?;
    if read > most && line.last() != Some(&b'\n') {
        line.truncate(most);
        return Ok(None);
    }
    Ok(Some(read > 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_stand_apart() {
        for (number, wanted) in [
            (0, "0"),
            (999, "999"),
            (2_950, "2,950"),
            (1_048_576, "1,048,576"),
        ] {
            assert_eq!(counted(number), wanted);
        }
    }

    #[test]
    fn a_line_without_end_is_read_so_far_and_no_further() {
        let mut endless = io::BufReader::new(io::repeat(b'x'));
        let mut line = Vec::new();
        assert_eq!(read_line(&mut endless, 100, &mut line).unwrap(), None);
        assert_eq!(line.len(), 100);
        let mut file = &b"ab\ncd"[..];
        assert_eq!(read_line(&mut file, 3, &mut line).unwrap(), Some(true));
        assert_eq!(line, b"ab\n");
        assert_eq!(read_line(&mut file, 3, &mut line).unwrap(), Some(true));
        assert_eq!(read_line(&mut file, 3, &mut line).unwrap(), Some(false));
    }

    #[cfg(unix)]
    #[test]
    fn a_device_without_end_is_no_plan() {
        let error = read_plan(Path::new("/dev/zero")).expect_err("no plan");
        assert!(
            error.to_string().contains("allowed: 1,048,576 bytes"),
            "{error}"
        );
    }
}
