//! How much flash and RAM a firmware takes, read from its ELF file, against the budget.
//!
//! The stack is measured where a firmware runs, by the emulated tests, which leave it in a file beside the firmware.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Flash that a whole adapter may take.
pub const FLASH_BUDGET: u32 = 80 * 1024;
/// Flash that it may take with all of a bought part's hardware layer, real sensors' drivers and a log over the debug probe.
pub const FLASH_BUDGET_OF_A_PART: u32 = 92 * 1024;
/// Flash that it may take on the smallest core, whose instructions are shorter and more: a tenth more than on a Cortex-M4.
pub const FLASH_BUDGET_OF_THE_SMALLEST: u32 = 88 * 1024;
/// RAM that a whole adapter may take, its stack included.
pub const RAM_BUDGET: u32 = 16 * 1024;

/// What a firmware occupies before it runs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Size {
    /// Code, constants and the initial values of variables, in bytes.
    pub flash: u32,
    /// Variables, in bytes; the stack comes on top.
    pub ram: u32,
}

/// Adds up the sections of a 32-bit little-endian ELF file.
///
/// # Errors
///
/// What is wrong with the file, and where in it.
pub fn of_elf(bytes: &[u8]) -> Result<Size, String> {
    if bytes.get(..6) != Some(b"\x7fELF\x01\x01") {
        return Err("not a 32-bit little-endian ELF file".into());
    }
    let table = word(bytes, 0x20)?;
    let entry = half(bytes, 0x2e)?;
    let count = half(bytes, 0x30)?;
    let mut size = Size::default();
    for index in 0..count {
        let at = table + index * entry;
        let (kind, flags, length) = (
            word(bytes, at + 4)?,
            word(bytes, at + 8)?,
            word(bytes, at + 20)?,
        );
        // [System V ABI, chapter 4, "Sections"] SHF_WRITE 1, SHF_ALLOC 2; SHT_NOBITS 8.
        let (writable, loaded, stored) = (flags & 1 != 0, flags & 2 != 0, kind != 8);
        let length = u32::try_from(length).map_err(|problem| problem.to_string())?;
        if loaded && stored {
            size.flash += length;
        }
        if loaded && writable {
            size.ram += length;
        }
    }
    Ok(size)
}

fn word(bytes: &[u8], at: usize) -> Result<usize, String> {
    let found = bytes
        .get(at..at + 4)
        .and_then(|four| <[u8; 4]>::try_from(four).ok());
    let four = found.ok_or_else(|| format!("the file ends before byte {at}"))?;
    usize::try_from(u32::from_le_bytes(four)).map_err(|problem| problem.to_string())
}

fn half(bytes: &[u8], at: usize) -> Result<usize, String> {
    let found = bytes
        .get(at..at + 2)
        .and_then(|two| <[u8; 2]>::try_from(two).ok());
    found
        .map(|two| usize::from(u16::from_le_bytes(two)))
        .ok_or_else(|| format!("the file ends before byte {at}"))
}

/// A table of every firmware in the folders.
///
/// # Errors
///
/// No firmware in one of them, a file that cannot be read, or an adapter (its name begins with `adapter`) over its budget.
pub fn report(folders: &[PathBuf]) -> Result<String, String> {
    let mut text = format!(
        "{:<30} {:>8} {:>8} {:>8}",
        "firmware", "flash", "RAM", "stack"
    );
    let mut over = Vec::new();
    for folder in folders {
        let rows = sizes(folder)?;
        if !rows.iter().any(|(name, ..)| name.starts_with("adapter")) {
            return Err(format!("no adapter firmware in {}", folder.display()));
        }
        let target = folder.components().rev().nth(1);
        let target = target.map_or_else(String::new, |part| {
            let part = part.as_os_str().to_string_lossy();
            part.split('-').next().unwrap_or_default().to_owned()
        });
        for (name, size, stack) in rows {
            let told = stack.map_or_else(|| "-".to_owned(), |stack| stack.to_string());
            let all = size.ram.saturating_add(stack.unwrap_or(0));
            // Writing to a string cannot fail.
            let _ = write!(
                text,
                "\n{:<30} {:>8} {:>8} {told:>8}",
                format!("{name} {target}"),
                size.flash,
                size.ram
            );
            if name.starts_with("adapter") {
                let budget = flash_budget(&name);
                let _ = write!(text, "   of {budget} and {RAM_BUDGET} in all");
                if size.flash > budget || all > RAM_BUDGET {
                    over.push(name);
                }
            }
        }
    }
    text.push_str(
        "\nA stack is that of the last run on the emulated board; - where none was measured.",
    );
    if over.is_empty() {
        Ok(text)
    } else {
        Err(format!("{text}\nover the budget: {}", over.join(", ")))
    }
}

/// Name, size and measured stack of every firmware in the folder, by name.
fn sizes(folder: &Path) -> Result<Vec<(String, Size, Option<u32>)>, String> {
    let told = |path: &Path, problem: std::io::Error| format!("{}: {problem}", path.display());
    let entries = std::fs::read_dir(folder).map_err(|problem| told(folder, problem))?;
    let mut rows = Vec::new();
    for path in entries.flatten().map(|entry| entry.path()) {
        if path.extension().is_none() && path.is_file() {
            let bytes = std::fs::read(&path).map_err(|problem| told(&path, problem))?;
            if bytes.starts_with(b"\x7fELF") {
                let name = path
                    .file_name()
                    .map(|name| name.to_string_lossy().into_owned())
                    .unwrap_or_default();
                let stack = std::fs::read_to_string(path.with_extension("stack")).ok();
                let stack = stack.and_then(|text| text.trim().parse().ok());
                rows.push((name, of_elf(&bytes)?, stack));
            }
        }
    }
    rows.sort_by(|one, other| one.0.cmp(&other.0));
    Ok(rows)
}

fn flash_budget(adapter: &str) -> u32 {
    if adapter.contains("stm32") {
        FLASH_BUDGET_OF_A_PART
    } else if adapter.contains("microbit") {
        FLASH_BUDGET_OF_THE_SMALLEST
    } else {
        FLASH_BUDGET
    }
}

#[cfg(test)]
mod tests {
    use super::{Size, of_elf};

    /// A header and two section headers: code of 0x100 bytes, zeroed variables of 0x40.
    fn small() -> Vec<u8> {
        let mut bytes = vec![0; 52 + 80];
        bytes[..6].copy_from_slice(b"\x7fELF\x01\x01");
        bytes[0x20] = 52;
        bytes[0x2e] = 40;
        bytes[0x30] = 2;
        bytes[52 + 4] = 1;
        bytes[52 + 8] = 2;
        bytes[52 + 21] = 1;
        bytes[92 + 4] = 8;
        bytes[92 + 8] = 3;
        bytes[92 + 20] = 0x40;
        bytes
    }

    #[test]
    fn sections_are_added_up_by_where_they_live() {
        assert_eq!(
            of_elf(&small()),
            Ok(Size {
                flash: 0x100,
                ram: 0x40
            })
        );
    }

    #[test]
    fn a_file_cut_short_is_an_error() {
        for length in 0..small().len() - 20 {
            assert!(of_elf(&small()[..length]).is_err(), "{length} bytes");
        }
    }
}
