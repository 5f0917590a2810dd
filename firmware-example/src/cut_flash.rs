//! A flash chip in memory whose power can be cut after any byte, for tests.
//!
//! It keeps the rules of NOR: programming clears bits only, erasing sets them, and both leave a mess where power went.

use crate::nor::{Flash, PAGE, SECTOR};

/// Steps that an erase takes: power can go after each.
const ERASE_STEPS: u32 = 16;

/// Why a call failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum CutError {
    /// The power is off.
    Off,
    /// A range the chip does not allow.
    Range,
    /// A call while the chip was busy.
    Early,
}

/// The chip.
#[derive(Clone, Debug)]
pub(crate) struct CutFlash {
    bytes: Vec<u8>,
    /// Steps (a byte programmed, a sixteenth of a sector erased) until the power goes; none: never.
    left: Option<u32>,
    on: bool,
    /// Steps made so far.
    steps: u32,
    /// Times that `is_busy` says yes after a start.
    slowness: u32,
    busy: u32,
    /// Programs that are taken and never happen, as worn cells do.
    lost: u32,
    /// Erases by sector.
    erases: Vec<u32>,
    mess: u8,
    /// Time that passes with every question whether the chip is busy.
    clock: std::rc::Rc<std::cell::Cell<u32>>,
}

impl CutFlash {
    pub(crate) fn new(sectors: u32) -> Self {
        let size = usize::try_from(sectors * SECTOR).unwrap();
        Self {
            bytes: vec![0xff; size],
            left: None,
            on: true,
            steps: 0,
            slowness: 0,
            busy: 0,
            lost: 0,
            erases: vec![0; usize::try_from(sectors).unwrap()],
            mess: 0x5b,
            clock: std::rc::Rc::default(),
        }
    }

    /// Power for this many more steps.
    pub(crate) fn powered_for(mut self, steps: Option<u32>) -> Self {
        self.left = steps;
        self.on = true;
        self.busy = 0;
        self
    }

    pub(crate) fn steps(&self) -> u32 {
        self.steps
    }

    pub(crate) fn is_on(&self) -> bool {
        self.on
    }

    pub(crate) fn erases(&self) -> &[u32] {
        &self.erases
    }

    pub(crate) fn set_slowness(&mut self, polls: u32) {
        self.slowness = polls;
    }

    pub(crate) fn clock(&self) -> std::rc::Rc<std::cell::Cell<u32>> {
        std::rc::Rc::clone(&self.clock)
    }

    pub(crate) fn lose_programs(&mut self, count: u32) {
        self.lost = count;
    }

    pub(crate) fn bytes_mut(&mut self) -> &mut [u8] {
        &mut self.bytes
    }

    /// Whether there is power for one more step.
    fn step(&mut self) -> bool {
        if let Some(left) = &mut self.left {
            if *left == 0 {
                self.on = false;
                return false;
            }
            *left -= 1;
        }
        self.steps += 1;
        true
    }

    fn ready(&self) -> Result<(), CutError> {
        match (self.on, self.busy) {
            (false, _) => Err(CutError::Off),
            (true, 0) => Ok(()),
            _ => Err(CutError::Early),
        }
    }

    fn messy(&mut self) -> u8 {
        self.mess = self.mess.wrapping_mul(167).wrapping_add(13);
        self.mess
    }
}

impl Flash for CutFlash {
    type Error = CutError;

    fn size(&self) -> u32 {
        u32::try_from(self.bytes.len()).unwrap()
    }

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), CutError> {
        self.ready()?;
        let at = usize::try_from(at).unwrap();
        let found = self
            .bytes
            .get(at..at + bytes.len())
            .ok_or(CutError::Range)?;
        bytes.copy_from_slice(found);
        Ok(())
    }

    fn start_program(&mut self, at: u32, bytes: &[u8]) -> Result<(), CutError> {
        self.ready()?;
        let length = u32::try_from(bytes.len()).unwrap();
        if at % PAGE + length > PAGE || at + length > self.size() {
            return Err(CutError::Range);
        }
        self.busy = self.slowness;
        if self.lost > 0 {
            self.lost -= 1;
            return Ok(());
        }
        let from = usize::try_from(at).unwrap();
        for (offset, &byte) in bytes.iter().enumerate() {
            if !self.step() {
                // The byte under way got some of its bits.
                let some = byte | self.messy();
                self.bytes[from + offset] &= some;
                return Err(CutError::Off);
            }
            self.bytes[from + offset] &= byte;
        }
        Ok(())
    }

    fn start_erase(&mut self, at: u32) -> Result<(), CutError> {
        self.ready()?;
        if !at.is_multiple_of(SECTOR) || at >= self.size() {
            return Err(CutError::Range);
        }
        self.busy = self.slowness;
        let piece = usize::try_from(SECTOR / ERASE_STEPS).unwrap();
        let from = usize::try_from(at).unwrap();
        self.erases[from / usize::try_from(SECTOR).unwrap()] += 1;
        for number in 0..usize::try_from(ERASE_STEPS).unwrap() {
            let start = from + number * piece;
            if !self.step() {
                for byte in start..start + piece {
                    let some = self.messy();
                    self.bytes[byte] |= some;
                }
                return Err(CutError::Off);
            }
            self.bytes[start..start + piece].fill(0xff);
        }
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, CutError> {
        if !self.on {
            return Err(CutError::Off);
        }
        self.clock.set(self.clock.get() + 1);
        let busy = self.busy > 0;
        self.busy = self.busy.saturating_sub(1);
        Ok(busy)
    }
}
