//! Serial NOR flash with the usual JEDEC commands, over any SPI device.
//!
//! Programming and erasing are *started*, and the chip works on its own: the loop goes on taking readings and asks now and then
//! whether it is done. The blocking [`embedded_storage::nor_flash::NorFlash`] is there too, for whoever can wait.
//! Knows nothing of what is stored.

use core::fmt;

use embedded_hal::spi::{Operation, SpiDevice};
use embedded_storage::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
    check_erase, check_read, check_write,
};

/// Bytes that one erase command clears.
pub const SECTOR: u32 = 4096;
/// Bytes of a page: one program command may not leave it.
pub const PAGE: u32 = 256;

/// Flash whose slow work goes on while the program goes on.
///
/// Bits are erased to one; programming clears bits. A started operation must be over ([`Flash::is_busy`] says no) before the
/// next call of any kind.
pub trait Flash {
    /// What can go wrong.
    type Error: fmt::Debug;

    /// Size in bytes, a multiple of [`SECTOR`].
    fn size(&self) -> u32;

    /// Fills `bytes` from `at` on.
    ///
    /// # Errors
    ///
    /// The bus, or a range outside the chip.
    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Self::Error>;

    /// Starts programming `bytes` at `at`; the range must lie in one page.
    ///
    /// # Errors
    ///
    /// The bus, or a range outside the chip or across pages.
    fn start_program(&mut self, at: u32, bytes: &[u8]) -> Result<(), Self::Error>;

    /// Starts erasing the sector that begins at `at`.
    ///
    /// # Errors
    ///
    /// The bus, or an address that no sector begins at.
    fn start_erase(&mut self, at: u32) -> Result<(), Self::Error>;

    /// Whether the last started operation still runs.
    ///
    /// # Errors
    ///
    /// The bus.
    fn is_busy(&mut self) -> Result<bool, Self::Error>;
}

// The commands that serial NOR chips share [W25Q32JV data sheet, table "Instruction Set"].
const WRITE_ENABLE: u8 = 0x06;
const WRITE_STATUS: u8 = 0x01;
const READ_STATUS: u8 = 0x05;
const READ: u8 = 0x03;
const PROGRAM: u8 = 0x02;
const ERASE_SECTOR: u8 = 0x20;
const READ_IDENTITY: u8 = 0x9f;
const RELEASE_POWER_DOWN: u8 = 0xab;
const STATUS_BUSY: u8 = 0x01;

/// Reads of the status while a blocking call waits; at 10 µs a read this is far beyond a chip's longest erase.
const PATIENCE: u32 = 2_000_000;

/// What can go wrong with the chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
#[non_exhaustive]
pub enum NorError {
    /// The bus failed.
    Bus,
    /// No chip answered; the three bytes it gave for its identity.
    NoChip([u8; 3]),
    /// The chip's size, as its identity states it, is not between 64 KiB and 16 MiB.
    Size(u8),
    /// A range that leaves the chip, or a program that leaves its page, or an erase that begins inside a sector.
    Range,
    /// The chip did not finish in time.
    Busy,
}

impl fmt::Display for NorError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus => write!(f, "the bus to the flash failed"),
            Self::NoChip([a, b, c]) => {
                write!(f, "no flash answered: identity {a:02x} {b:02x} {c:02x}")
            }
            Self::Size(power) => {
                write!(f, "flash of 2^{power} bytes; 2^16 to 2^24 can be addressed")
            }
            Self::Range => write!(f, "a range outside the flash or across its pages"),
            Self::Busy => write!(f, "the flash did not finish in time"),
        }
    }
}

impl core::error::Error for NorError {}

impl NorFlashError for NorError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Range => NorFlashErrorKind::OutOfBounds,
            _ => NorFlashErrorKind::Other,
        }
    }
}

/// A serial NOR chip.
#[derive(Debug)]
pub struct SpiNor<S> {
    spi: S,
    size: u32,
    identity: [u8; 3],
}

impl<S: SpiDevice> SpiNor<S> {
    /// Finds the chip, takes its size from its identity and lifts its write protection.
    ///
    /// # Errors
    ///
    /// [`NorError::NoChip`] if nothing answers, [`NorError::Size`] if its size cannot be addressed, [`NorError::Bus`].
    pub fn new(mut spi: S) -> Result<Self, NorError> {
        spi.write(&[RELEASE_POWER_DOWN]).map_err(bus)?;
        let mut identity = [0; 3];
        spi.transaction(&mut [
            Operation::Write(&[READ_IDENTITY]),
            Operation::Read(&mut identity),
        ])
        .map_err(bus)?;
        let [maker, _, power] = identity;
        if maker == 0x00 || maker == 0xff {
            return Err(NorError::NoChip(identity));
        }
        if !(16..=24).contains(&power) {
            return Err(NorError::Size(power));
        }
        let mut chip = Self {
            spi,
            size: 1 << power,
            identity,
        };
        // Chips may power up with every block protected.
        chip.wait()?;
        chip.spi.write(&[WRITE_ENABLE]).map_err(bus)?;
        chip.spi.write(&[WRITE_STATUS, 0]).map_err(bus)?;
        chip.wait()?;
        Ok(chip)
    }

    /// Maker, kind and size as the chip states them.
    #[must_use]
    pub const fn identity(&self) -> [u8; 3] {
        self.identity
    }

    fn status(&mut self) -> Result<u8, NorError> {
        let mut status = [0];
        self.spi
            .transaction(&mut [
                Operation::Write(&[READ_STATUS]),
                Operation::Read(&mut status),
            ])
            .map_err(bus)?;
        Ok(status[0])
    }

    fn wait(&mut self) -> Result<(), NorError> {
        for _ in 0..PATIENCE {
            if self.status()? & STATUS_BUSY == 0 {
                return Ok(());
            }
        }
        Err(NorError::Busy)
    }

    fn inside(&self, at: u32, length: usize) -> Result<(), NorError> {
        let end = u32::try_from(length)
            .ok()
            .and_then(|length| at.checked_add(length));
        match end {
            Some(end) if end <= self.size => Ok(()),
            _ => Err(NorError::Range),
        }
    }
}

/// A command with its 24-bit address.
const fn addressed(command: u8, at: u32) -> [u8; 4] {
    let [_, high, middle, low] = at.to_be_bytes();
    [command, high, middle, low]
}

fn bus<E>(_: E) -> NorError {
    NorError::Bus
}

fn range(_: NorFlashErrorKind) -> NorError {
    NorError::Range
}

impl<S: SpiDevice> Flash for SpiNor<S> {
    type Error = NorError;

    fn size(&self) -> u32 {
        self.size
    }

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), NorError> {
        self.inside(at, bytes.len())?;
        self.spi
            .transaction(&mut [
                Operation::Write(&addressed(READ, at)),
                Operation::Read(bytes),
            ])
            .map_err(bus)
    }

    fn start_program(&mut self, at: u32, bytes: &[u8]) -> Result<(), NorError> {
        self.inside(at, bytes.len())?;
        let room = PAGE - at % PAGE;
        if u32::try_from(bytes.len()).map_or(true, |length| length > room) {
            return Err(NorError::Range);
        }
        self.spi.write(&[WRITE_ENABLE]).map_err(bus)?;
        self.spi
            .transaction(&mut [
                Operation::Write(&addressed(PROGRAM, at)),
                Operation::Write(bytes),
            ])
            .map_err(bus)
    }

    fn start_erase(&mut self, at: u32) -> Result<(), NorError> {
        if !at.is_multiple_of(SECTOR) || at >= self.size {
            return Err(NorError::Range);
        }
        self.spi.write(&[WRITE_ENABLE]).map_err(bus)?;
        self.spi.write(&addressed(ERASE_SECTOR, at)).map_err(bus)
    }

    fn is_busy(&mut self) -> Result<bool, NorError> {
        Ok(self.status()? & STATUS_BUSY != 0)
    }
}

impl<S> ErrorType for SpiNor<S> {
    type Error = NorError;
}

impl<S: SpiDevice> ReadNorFlash for SpiNor<S> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorError> {
        check_read(self, offset, bytes.len()).map_err(range)?;
        Flash::read(self, offset, bytes)
    }

    fn capacity(&self) -> usize {
        usize::try_from(self.size).unwrap_or(usize::MAX)
    }
}

impl<S: SpiDevice> NorFlash for SpiNor<S> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorError> {
        check_erase(self, from, to).map_err(range)?;
        let mut at = from;
        while at < to {
            self.start_erase(at)?;
            self.wait()?;
            at += SECTOR;
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorError> {
        check_write(self, offset, bytes.len()).map_err(range)?;
        let (mut at, mut rest) = (offset, bytes);
        while !rest.is_empty() {
            let room = usize::try_from(PAGE - at % PAGE).unwrap_or(usize::MAX);
            let (now, later) = rest.split_at(room.min(rest.len()));
            self.start_program(at, now)?;
            self.wait()?;
            at = at.saturating_add(u32::try_from(now.len()).unwrap_or(u32::MAX));
            rest = later;
        }
        Ok(())
    }
}

impl<S: SpiDevice> MultiwriteNorFlash for SpiNor<S> {}

/// Blocking flash where [`Flash`] is asked for: a start does the whole work. For chips whose flash has no other way.
///
/// It serves flash that is written 1, 2 or 4 bytes at a time and may be written again where bits are still set
/// ([`MultiwriteNorFlash`]): the other bytes of a word are written as all ones, which leaves them as they are, and no word is
/// written more than twice between two erases. Flash written 8 bytes and more at a time keeps a check sum over them and does not
/// stand a second write: it does not compile.
///
/// ```compile_fail
/// use embedded_storage::nor_flash::{ErrorType, MultiwriteNorFlash, NorFlash, NorFlashErrorKind, ReadNorFlash};
/// use evendraw_firmware::nor::{Flash, Waiting};
///
/// struct Eight;
/// impl ErrorType for Eight {
///     type Error = NorFlashErrorKind;
/// }
/// impl ReadNorFlash for Eight {
///     const READ_SIZE: usize = 1;
///     fn read(&mut self, _: u32, _: &mut [u8]) -> Result<(), Self::Error> {
///         Ok(())
///     }
///     fn capacity(&self) -> usize {
///         0x2_0000
///     }
/// }
/// impl NorFlash for Eight {
///     const WRITE_SIZE: usize = 8; // 4 compiles
///     const ERASE_SIZE: usize = 2048;
///     fn erase(&mut self, _: u32, _: u32) -> Result<(), Self::Error> {
///         Ok(())
///     }
///     fn write(&mut self, _: u32, _: &[u8]) -> Result<(), Self::Error> {
///         Ok(())
///     }
/// }
/// impl MultiwriteNorFlash for Eight {}
/// Waiting(Eight).start_program(0, &[1]);
/// ```
#[derive(Debug)]
pub struct Waiting<F>(pub F);

/// Bytes of the longest word that is written at a time.
const WORD_MAX: u32 = 4;

impl<F: MultiwriteNorFlash> Waiting<F> {
    const WORD: u32 = {
        assert!(
            matches!(F::WRITE_SIZE, 1 | 2 | 4),
            "only flash that is written 1, 2 or 4 bytes at a time can be written again"
        );
        assert!(
            matches!(F::READ_SIZE, 1),
            "only flash that is read byte by byte"
        );
        assert!(
            F::ERASE_SIZE <= 4096 && 4096 % F::ERASE_SIZE == 0,
            "only flash whose erased blocks fill sectors of 4 KiB"
        );
        match F::WRITE_SIZE {
            1 => 1,
            2 => 2,
            _ => WORD_MAX,
        }
    };
}

impl<F: MultiwriteNorFlash> Flash for Waiting<F> {
    type Error = F::Error;

    fn size(&self) -> u32 {
        u32::try_from(self.0.capacity()).unwrap_or(u32::MAX)
    }

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), F::Error> {
        self.0.read(at, bytes)
    }

    fn start_program(&mut self, at: u32, bytes: &[u8]) -> Result<(), F::Error> {
        if Self::WORD == 1 {
            return self.0.write(at, bytes);
        }
        let (mut at, mut rest) = (at, bytes);
        while !rest.is_empty() {
            let skipped = at % Self::WORD;
            let room = to_usize(Self::WORD - skipped).min(rest.len());
            let (now, later) = rest.split_at(room);
            let mut word = [0xff; WORD_MAX as usize];
            for (place, byte) in word.iter_mut().skip(to_usize(skipped)).zip(now) {
                *place = *byte;
            }
            let word = word.get(..to_usize(Self::WORD)).unwrap_or(&word);
            self.0.write(at - skipped, word)?;
            at += Self::WORD - skipped;
            rest = later;
        }
        Ok(())
    }

    fn start_erase(&mut self, at: u32) -> Result<(), F::Error> {
        self.0.erase(at, at.saturating_add(SECTOR))
    }

    fn is_busy(&mut self) -> Result<bool, F::Error> {
        Ok(false)
    }
}

fn to_usize(value: u32) -> usize {
    usize::try_from(value).unwrap_or(usize::MAX)
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::spi::{Mock, Transaction};
    use embedded_storage::nor_flash::NorFlash;

    use super::{Flash, NorError, SpiNor};

    fn one(mut operations: Vec<Transaction<u8>>) -> Vec<Transaction<u8>> {
        let mut all = vec![Transaction::transaction_start()];
        all.append(&mut operations);
        all.push(Transaction::transaction_end());
        all
    }

    fn waking(identity: [u8; 3]) -> Vec<Transaction<u8>> {
        [
            one(vec![Transaction::write_vec(vec![0xab])]),
            one(vec![
                Transaction::write_vec(vec![0x9f]),
                Transaction::read_vec(identity.to_vec()),
            ]),
        ]
        .concat()
    }

    fn status(value: u8) -> Vec<Transaction<u8>> {
        one(vec![
            Transaction::write_vec(vec![0x05]),
            Transaction::read_vec(vec![value]),
        ])
    }

    fn started() -> Vec<Transaction<u8>> {
        [
            waking([0xef, 0x40, 0x16]),
            status(0),
            one(vec![Transaction::write_vec(vec![0x06])]),
            one(vec![Transaction::write_vec(vec![0x01, 0x00])]),
            status(1),
            status(0),
        ]
        .concat()
    }

    #[test]
    fn the_size_comes_from_the_chip_and_its_protection_is_lifted() {
        let mut spi = Mock::new(&started());
        let chip = SpiNor::new(spi.clone()).unwrap();
        assert_eq!(Flash::size(&chip), 4 * 1024 * 1024);
        spi.done();
    }

    #[test]
    fn an_empty_bus_is_no_chip() {
        for identity in [[0xff; 3], [0x00; 3]] {
            let mut spi = Mock::new(&waking(identity));
            assert_eq!(
                SpiNor::new(spi.clone()).err(),
                Some(NorError::NoChip(identity))
            );
            spi.done();
        }
    }

    #[test]
    fn programming_is_started_and_then_asked_after() {
        let steps = [
            started(),
            one(vec![Transaction::write_vec(vec![0x06])]),
            one(vec![
                Transaction::write_vec(vec![0x02, 0x01, 0x02, 0xfe]),
                Transaction::write_vec(vec![7, 8]),
            ]),
            status(1),
            status(0),
        ]
        .concat();
        let mut spi = Mock::new(&steps);
        let mut chip = SpiNor::new(spi.clone()).unwrap();
        chip.start_program(0x01_02fe, &[7, 8]).unwrap();
        assert_eq!(chip.is_busy(), Ok(true));
        assert_eq!(chip.is_busy(), Ok(false));
        // The third byte would wrap round to the start of the page.
        assert_eq!(
            chip.start_program(0x01_02fe, &[7, 8, 9]),
            Err(NorError::Range)
        );
        assert_eq!(chip.start_erase(0x10), Err(NorError::Range));
        assert_eq!(
            Flash::read(&mut chip, 4 * 1024 * 1024 - 1, &mut [0; 2]),
            Err(NorError::Range)
        );
        spi.done();
    }

    #[test]
    fn a_blocking_write_is_split_at_the_pages() {
        let steps = [
            started(),
            one(vec![Transaction::write_vec(vec![0x06])]),
            one(vec![
                Transaction::write_vec(vec![0x02, 0x00, 0x00, 0xff]),
                Transaction::write_vec(vec![1]),
            ]),
            status(0),
            one(vec![Transaction::write_vec(vec![0x06])]),
            one(vec![
                Transaction::write_vec(vec![0x02, 0x00, 0x01, 0x00]),
                Transaction::write_vec(vec![2, 3]),
            ]),
            status(0),
        ]
        .concat();
        let mut spi = Mock::new(&steps);
        let mut chip = SpiNor::new(spi.clone()).unwrap();
        NorFlash::write(&mut chip, 0xff, &[1, 2, 3]).unwrap();
        spi.done();
    }

    /// Flash written a word of four bytes at a time, with the rule of a common chip: two writes of a word between erases.
    struct Words {
        bytes: Vec<u8>,
        writes: Vec<u8>,
    }

    impl embedded_storage::nor_flash::ErrorType for Words {
        type Error = embedded_storage::nor_flash::NorFlashErrorKind;
    }

    impl embedded_storage::nor_flash::ReadNorFlash for Words {
        const READ_SIZE: usize = 1;

        fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
            let at = usize::try_from(at).unwrap();
            bytes.copy_from_slice(&self.bytes[at..at + bytes.len()]);
            Ok(())
        }

        fn capacity(&self) -> usize {
            self.bytes.len()
        }
    }

    impl NorFlash for Words {
        const WRITE_SIZE: usize = 4;
        const ERASE_SIZE: usize = 1024;

        fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
            let (from, to) = (usize::try_from(from).unwrap(), usize::try_from(to).unwrap());
            self.bytes[from..to].fill(0xff);
            self.writes[from / 4..to / 4].fill(0);
            Ok(())
        }

        fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Self::Error> {
            let at = usize::try_from(at).unwrap();
            assert!(at.is_multiple_of(4) && bytes.len().is_multiple_of(4));
            for (offset, &byte) in bytes.iter().enumerate() {
                self.bytes[at + offset] &= byte;
            }
            for writes in &mut self.writes[at / 4..(at + bytes.len()) / 4] {
                *writes += 1;
                assert!(*writes <= 2, "a word was written three times");
            }
            Ok(())
        }
    }

    impl embedded_storage::nor_flash::MultiwriteNorFlash for Words {}

    #[test]
    fn words_of_four_bytes_keep_a_journal_and_are_written_twice_at_most() {
        use crate::log::{Log, Progress, Region, Step};
        use evendraw_core::record::{Entry, Noted};

        let mut flash = super::Waiting(Words {
            bytes: vec![0; 5 * 4096],
            writes: vec![2; 5 * 1024],
        });
        let region = Region {
            first: 1,
            sectors: 4,
        };
        let mut room = [0; crate::log::FRAME_MAX];
        let (mut log, _) = Log::open(&mut flash, region, &mut room).unwrap();
        for number in 1..=600_u32 {
            let text = "x".repeat(usize::try_from(number % 17).unwrap());
            let entry = Entry {
                joint: 0,
                seq: number,
                boot: 1,
                at: evendraw_core::unit::Instant::BOOT,
                record: Noted {
                    fastener: None,
                    doubt: evendraw_core::record::Doubt::None,
                    text: evendraw_core::text::Text::cut(&text),
                }
                .into(),
            };
            log.push(&entry).unwrap();
            loop {
                match log.advance(&mut flash) {
                    Progress::Busy | Progress::Stored { .. } => {}
                    Progress::Idle => break,
                    Progress::Full => {
                        let stored = log.stored();
                        log.give_back(stored);
                    }
                    Progress::Failed => panic!("record {number}"),
                }
            }
        }
        let (log, found) = Log::open(&mut flash, region, &mut room).unwrap();
        assert_eq!(
            (log.stored(), found.dropped, found.quarantined),
            (600, 0, 0)
        );
        let mut walk = log.walk();
        let mut frames = 0;
        while let Step::Frame { .. } = walk.next(&mut flash, &mut room).unwrap() {
            frames += 1;
        }
        assert_eq!(frames, 600 - log.first() + 1, "what was not given back");
    }
}
