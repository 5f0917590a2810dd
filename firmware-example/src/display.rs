//! Four short lines of text, and where they can be shown.
//!
//! Knows nothing of what they say.

use core::fmt;

use embedded_hal::delay::DelayNs;

use crate::bus::Bus;

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
/// Called between readings, so every call is short: a display takes a page and writes it in pieces.
pub trait Display {
    /// Takes the page that is to be seen from now on. Never waits.
    fn show(&mut self, page: &Page);

    /// Goes on writing it, a short thing; called in every turn of the loop. Nothing to do for a display that shows a page at once.
    fn advance(&mut self) {}
}

/// A character display of 4 × 20 (HD44780 and its kin) behind an I²C port expander (PCF8574), as they are sold together.
///
/// The expander is a part for 100 kHz [SCPS068, "Electrical characteristics", `f_scl`], so a character takes half a millisecond on the
/// wires: it is started and asked after. Commands and timing of the display from its data sheet [HD44780U, "Instructions",
/// "Initializing by instruction"]: a command takes 37 µs, and a byte on the wires 90.
pub struct CharacterDisplay<B> {
    bus: B,
    address: u8,
    wanted: Page,
    shown: Page,
    /// The cell that is looked at next; behind the last one all is shown.
    next: usize,
    /// The cell that is being written.
    writing: Option<usize>,
    /// Where the controller's own cursor stands, counted in cells of the page; none when it must be set.
    cursor: Option<usize>,
}

impl<B> fmt::Debug for CharacterDisplay<B> {
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
const CELLS: usize = ROWS * COLUMNS;

/// A byte for the display as the expander puts it on its lines: each half with the enable line up, then down.
const fn on_the_lines(byte: u8, mode: u8) -> [u8; 4] {
    let lines = mode | BACKLIGHT;
    let (high, low) = ((byte & 0xf0) | lines, (byte << 4) | lines);
    [high | ENABLE, high, low | ENABLE, low]
}

fn cell(page: &Page, at: usize) -> u8 {
    page.cells.as_flattened().get(at).copied().unwrap_or(b' ')
}

impl<B: Bus> CharacterDisplay<B> {
    /// Starts the display in its four-wire mode and clears it. Waits, before the loop runs.
    ///
    /// # Errors
    ///
    /// The bus: no expander answers at this address.
    pub fn new(bus: B, delay: &mut impl DelayNs, address: u8) -> Result<Self, B::Error> {
        let mut display = Self {
            bus,
            address,
            wanted: Page::default(),
            shown: Page::default(),
            next: CELLS,
            writing: None,
            cursor: None,
        };
        delay.delay_ms(50);
        for (nibble, micros) in [(0x30, 4_500), (0x30, 150), (0x30, 150), (0x20, 150)] {
            display.wait_for(&[nibble | BACKLIGHT | ENABLE, nibble | BACKLIGHT])?;
            delay.delay_us(micros);
        }
        // Two-line mode, display off and cleared, writing to the right, display on without cursor.
        for command in [0x28, 0x08, 0x01, 0x06, 0x0c] {
            display.wait_for(&on_the_lines(command, 0))?;
            delay.delay_us(2_000);
        }
        Ok(display)
    }

    fn wait_for(&mut self, bytes: &[u8]) -> Result<(), B::Error> {
        self.bus.start_write(self.address, bytes)?;
        while self.bus.is_busy()? {}
        Ok(())
    }

    /// Starts writing one cell, the cursor first where it is not there already.
    fn start(&mut self, at: usize) -> Result<(), B::Error> {
        let character = on_the_lines(cell(&self.wanted, at), REGISTER_SELECT);
        let (row, column) = (at / COLUMNS, at % COLUMNS);
        if self.cursor == Some(at) && column > 0 {
            return self.bus.start_write(self.address, &character);
        }
        let start = LINE_STARTS.get(row).copied().unwrap_or(0);
        let column = u8::try_from(column).unwrap_or(0);
        let command = on_the_lines(0x80 | start.wrapping_add(column), 0);
        self.bus
            .start_write(self.address, [command, character].as_flattened())
    }

    fn step(&mut self) -> Result<(), B::Error> {
        if let Some(at) = self.writing {
            if self.bus.is_busy()? {
                return Ok(());
            }
            self.writing = None;
            self.cursor = Some(at.saturating_add(1));
        }
        while self.next < CELLS {
            let at = self.next;
            self.next = at.saturating_add(1);
            let wanted = cell(&self.wanted, at);
            if let Some(shown) = self.shown.cells.as_flattened_mut().get_mut(at)
                && *shown != wanted
            {
                *shown = wanted;
                self.writing = Some(at);
                return self.start(at);
            }
        }
        Ok(())
    }
}

impl<B: Bus> Display for CharacterDisplay<B> {
    fn show(&mut self, page: &Page) {
        self.wanted = page.clone();
        self.next = 0;
    }

    fn advance(&mut self) {
        if self.step().is_err()
            && let Some(at) = self.writing.take()
            && let Some(shown) = self.shown.cells.as_flattened_mut().get_mut(at)
        {
            // Nobody knows what stands there: it is written again with the next page.
            *shown = 0;
            self.cursor = None;
            self.next = CELLS;
        }
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::delay::NoopDelay;
    use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

    use super::{CharacterDisplay, Display, Page};
    use crate::bus::{Bus, Waiting};

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

    fn byte(byte: u8, select: u8) -> Vec<u8> {
        [byte & 0xf0, byte << 4]
            .iter()
            .flat_map(|half| [half | 0x0c | select, half | 0x08 | select])
            .collect()
    }

    fn starting() -> Vec<Vec<u8>> {
        let mut steps: Vec<Vec<u8>> = [0x30, 0x30, 0x30, 0x20]
            .map(|high| vec![high | 0x0c, high | 0x08])
            .to_vec();
        steps.extend([0x28, 0x08, 0x01, 0x06, 0x0c].map(|command| byte(command, 0)));
        steps
    }

    #[test]
    fn only_what_changed_is_written_and_a_character_a_call() {
        let mut steps = starting();
        // "abc" on the second line: the cursor is set once, and each character is a write of its own.
        steps.push([byte(0x80 | 0x40, 0), byte(b'a', 1)].concat());
        steps.extend([byte(b'b', 1), byte(b'c', 1)]);
        // Then the second letter alone changes: the cursor is set again.
        steps.push([byte(0x80 | 0x41, 0), byte(b'x', 1)].concat());
        let steps: Vec<Transaction> = steps
            .into_iter()
            .map(|bytes| Transaction::write(0x27, bytes))
            .collect();
        let mut bus = Mock::new(&steps);
        let waiting = Waiting(bus.clone());
        let mut display = CharacterDisplay::new(waiting, &mut NoopDelay, 0x27).unwrap();
        let mut page = Page::default();
        page.line(1).text("abc");
        display.show(&page);
        for _ in 0..6 {
            display.advance();
        }
        page.line(1).text("axc");
        display.show(&page);
        display.advance();
        display.advance();
        bus.done();
    }

    /// A bus that is busy for three looks at every write, and fails when it is told to.
    #[derive(Default)]
    struct Slow {
        written: Vec<Vec<u8>>,
        busy: u8,
        fails: bool,
    }

    impl Bus for &mut Slow {
        type Error = ();

        fn start_write(&mut self, _: u8, bytes: &[u8]) -> Result<(), ()> {
            assert_eq!(self.busy, 0, "a write was started into another");
            self.busy = 3;
            self.written.push(bytes.to_vec());
            Ok(())
        }

        fn is_busy(&mut self) -> Result<bool, ()> {
            self.busy = self.busy.saturating_sub(1);
            if self.fails {
                Err(())
            } else {
                Ok(self.busy > 0)
            }
        }
    }

    #[test]
    fn a_busy_bus_is_asked_after_and_a_character_that_failed_is_written_with_the_next_page() {
        let mut slow = Slow::default();
        let mut display = CharacterDisplay::new(&mut slow, &mut NoopDelay, 0x27).unwrap();
        display.bus.written.clear();
        let mut page = Page::default();
        page.line(0).text("ab");
        display.show(&page);
        display.advance();
        assert_eq!(display.bus.written.len(), 1, "the first is under way");
        display.advance();
        display.advance();
        assert_eq!(display.bus.written.len(), 1, "and still is");
        display.bus.fails = true;
        display.advance();
        display.bus.fails = false;
        display.bus.busy = 0;
        for _ in 0..10 {
            display.advance();
        }
        assert_eq!(display.bus.written.len(), 1, "nothing before the next page");
        display.show(&page);
        for _ in 0..10 {
            display.advance();
        }
        let last: Vec<Vec<u8>> = display.bus.written[1..].to_vec();
        assert_eq!(
            last,
            [[byte(0x80, 0), byte(b'a', 1)].concat(), byte(b'b', 1)]
        );
    }
}
