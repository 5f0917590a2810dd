//! Four short lines of text, and where they can be shown.
//!
//! Knows nothing of what they say.

use core::fmt;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

/// Characters of a line.
pub const COLUMNS: usize = 20;
/// Lines.
pub const ROWS: usize = 4;

/// A page of text: what is to be seen, all at once. Characters beyond a line's end are left out; so is what is not ASCII.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    cells: [[u8; COLUMNS]; ROWS],
}

impl Default for Page {
    fn default() -> Self {
        Self {
            cells: [[b' '; COLUMNS]; ROWS],
        }
    }
}

impl Page {
    /// A writer into one line, counted from 0; writing to a line that is not there writes nothing.
    pub fn line(&mut self, row: usize) -> Line<'_> {
        Line {
            cells: self
                .cells
                .get_mut(row)
                .map_or(&mut [], |cells| &mut cells[..]),
            at: 0,
        }
    }

    /// The lines, filled up with blanks.
    #[must_use]
    pub const fn rows(&self) -> &[[u8; COLUMNS]; ROWS] {
        &self.cells
    }
}

/// Writes into one line of a page.
#[derive(Debug)]
pub struct Line<'p> {
    cells: &'p mut [u8],
    at: usize,
}

impl Line<'_> {
    /// Writes text, as far as it fits.
    pub fn text(&mut self, text: &str) -> &mut Self {
        for byte in text.bytes().filter(u8::is_ascii) {
            if let Some(cell) = self.cells.get_mut(self.at) {
                *cell = byte;
                self.at = self.at.saturating_add(1);
            }
        }
        self
    }

    /// Writes a whole number.
    pub fn number(&mut self, value: u32) -> &mut Self {
        let mut digits = [0_u8; 10];
        let mut rest = value;
        let mut used = 0_usize;
        for digit in digits.iter_mut().rev() {
            *digit = b'0'.wrapping_add(u8::try_from(rest % 10).unwrap_or(0));
            rest /= 10;
            used = used.saturating_add(1);
            if rest == 0 {
                break;
            }
        }
        let from = digits.len().saturating_sub(used);
        let text = digits
            .get(from..)
            .and_then(|digits| core::str::from_utf8(digits).ok());
        self.text(text.unwrap_or(""))
    }

    /// Characters that still fit.
    #[must_use]
    pub const fn left(&self) -> usize {
        self.cells.len().saturating_sub(self.at)
    }

    /// Writes thousandths with one decimal, rounded half away from zero: 29,549 is `29.5`; from 1,000 on without decimals, as two
    /// such numbers must fit beside a third.
    pub fn thousandths(&mut self, value: i32) -> &mut Self {
        if value < 0 {
            self.text("-");
        }
        let size = value.unsigned_abs();
        if size >= 999_950 {
            return self.number(size.saturating_add(500) / 1_000);
        }
        let tenths = size.saturating_add(50) / 100;
        self.number(tenths / 10).text(".").number(tenths % 10)
    }
}

/// Something that shows a page.
///
/// Called between readings, so one call must be short: a display may take a page in pieces, a few characters a call.
pub trait Display {
    /// Shows the page, or goes on showing it; true once all of it is shown.
    fn show(&mut self, page: &Page) -> bool;
}

/// A character display of 4 × 20 (HD44780 and its kin) behind an I²C port expander (PCF8574), as they are sold together.
///
/// Commands and timing from the data sheet [HD44780U, "Instructions", "Initializing by instruction"].
pub struct CharacterDisplay<I, D> {
    bus: I,
    delay: D,
    address: u8,
    shown: Page,
    /// Where the controller's own cursor stands, counted in cells of the page; none when it must be set.
    cursor: Option<usize>,
}

impl<I, D> fmt::Debug for CharacterDisplay<I, D> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CharacterDisplay")
            .field("address", &self.address)
            .finish_non_exhaustive()
    }
}

// Lines of the expander: P0 register select, P2 enable, P3 backlight, P4 to P7 data. *Common wiring of such boards, no source.*
const REGISTER_SELECT: u8 = 0x01;
const ENABLE: u8 = 0x04;
const BACKLIGHT: u8 = 0x08;

/// Where the controller keeps the start of each line.
const LINE_STARTS: [u8; ROWS] = [0x00, 0x40, 0x14, 0x54];
/// Characters written a call: 4 × 4 bytes at 400 kHz are well below a millisecond.
const CELLS_A_CALL: usize = 4;

impl<I: I2c, D: DelayNs> CharacterDisplay<I, D> {
    /// Starts the display in its four-wire mode and clears it.
    ///
    /// # Errors
    ///
    /// The bus: no expander answers at this address.
    pub fn new(bus: I, delay: D, address: u8) -> Result<Self, I::Error> {
        let mut display = Self {
            bus,
            delay,
            address,
            shown: Page::default(),
            cursor: None,
        };
        display.delay.delay_ms(50);
        for (nibble, micros) in [(0x30, 4_500), (0x30, 150), (0x30, 150), (0x20, 150)] {
            display.nibble(nibble, 0)?;
            display.delay.delay_us(micros);
        }
        // Two-line mode, display off and cleared, writing to the right, display on without cursor.
        for command in [0x28, 0x08, 0x01, 0x06, 0x0c] {
            display.byte(command, 0)?;
            display.delay.delay_us(2_000);
        }
        Ok(display)
    }

    fn nibble(&mut self, high: u8, mode: u8) -> Result<(), I::Error> {
        let lines = (high & 0xf0) | mode | BACKLIGHT;
        self.bus.write(self.address, &[lines | ENABLE, lines])
    }

    fn byte(&mut self, byte: u8, mode: u8) -> Result<(), I::Error> {
        self.nibble(byte, mode)?;
        self.nibble(byte << 4, mode)
    }

    fn cell(&mut self, at: usize, byte: u8) -> Result<(), I::Error> {
        let (row, column) = (at / COLUMNS, at % COLUMNS);
        if self.cursor != Some(at) || column == 0 {
            let start = LINE_STARTS.get(row).copied().unwrap_or(0);
            let column = u8::try_from(column).unwrap_or(0);
            self.byte(0x80 | start.wrapping_add(column), 0)?;
        }
        self.byte(byte, REGISTER_SELECT)?;
        self.cursor = Some(at.saturating_add(1));
        Ok(())
    }
}

impl<I: I2c, D: DelayNs> Display for CharacterDisplay<I, D> {
    fn show(&mut self, page: &Page) -> bool {
        let mut left = CELLS_A_CALL;
        for at in 0..ROWS * COLUMNS {
            let cell = |page: &Page| page.cells.as_flattened().get(at).copied().unwrap_or(b' ');
            let wanted = cell(page);
            if cell(&self.shown) == wanted {
                continue;
            }
            if left == 0 {
                return false;
            }
            left = left.saturating_sub(1);
            if self.cell(at, wanted).is_err() {
                // Tried again at the next call.
                self.cursor = None;
                return false;
            }
            if let Some(shown) = self.shown.cells.as_flattened_mut().get_mut(at) {
                *shown = wanted;
            }
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::delay::NoopDelay;
    use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

    use super::{CharacterDisplay, Display, Page};

    fn row(page: &Page, row: usize) -> String {
        page.rows()[row]
            .iter()
            .map(|&byte| char::from(byte))
            .collect()
    }

    #[test]
    fn a_line_takes_what_fits() {
        let mut page = Page::default();
        page.line(0).text("next ").number(7).text(" of ").number(10);
        page.line(1)
            .thousandths(29_549)
            .text(" N.m ")
            .thousandths(-1_250);
        page.line(2).text("123456789012345678901234567890");
        page.line(9).text("nowhere");
        assert_eq!(row(&page, 0), "next 7 of 10        ");
        assert_eq!(row(&page, 1), "29.5 N.m -1.3       ");
        assert_eq!(row(&page, 2), "12345678901234567890");
        assert_eq!(page.line(3).thousandths(-1_152_500).left(), 15);
        assert_eq!(row(&page, 3), "-1153               ");
        page.line(3).number(u32::MAX).number(0);
        assert_eq!(row(&page, 3), "42949672950         ");
    }

    fn byte(byte: u8, select: u8) -> Vec<Transaction> {
        [byte & 0xf0, byte << 4]
            .map(|high| Transaction::write(0x27, vec![high | 0x0c | select, high | 0x08 | select]))
            .to_vec()
    }

    #[test]
    fn only_what_changed_is_written_and_only_a_little_a_call() {
        let mut steps = Vec::new();
        for high in [0x30, 0x30, 0x30, 0x20] {
            steps.push(Transaction::write(0x27, vec![high | 0x0c, high | 0x08]));
        }
        for command in [0x28, 0x08, 0x01, 0x06, 0x0c] {
            steps.extend(byte(command, 0));
        }
        // "abcde" on the second line: four characters in the first call, one in the next.
        steps.extend(byte(0x80 | 0x40, 0));
        for character in *b"abcde" {
            steps.extend(byte(character, 1));
        }
        let mut bus = Mock::new(&steps);
        let mut display = CharacterDisplay::new(bus.clone(), NoopDelay, 0x27).unwrap();
        let mut page = Page::default();
        page.line(1).text("abcde");
        assert!(!display.show(&page));
        assert!(display.show(&page));
        assert!(display.show(&page));
        bus.done();
    }
}
