//! The journal's own log on NOR flash against the queue of the sequential-storage crate: the same frames, the same chip.
//!
//! `cargo bench -p evendraw-firmware --bench storage`. The chip is memory that counts and keeps its own clock; the times are
//! typical ones of a 32 Mbit serial NOR at 8 MHz (0.4 ms a page, 45 ms a sector, 1 µs a byte, 5 µs a command), *from memory*.

use std::convert::Infallible;
use std::mem::{size_of, size_of_val};

use embassy_futures::block_on;
use embedded_storage_async::nor_flash::{ErrorType, MultiwriteNorFlash, NorFlash, ReadNorFlash};
use evendraw_core::journal::{FIRST_SEED, OVERHEAD, encode_entry};
use evendraw_core::limits::RECORD_MAX;
use evendraw_core::record::{Added, Attempt, Entry};
use evendraw_core::unit::{Angle, Instant, Torque};
use evendraw_core::verdict::{Reasons, Verdict};
use evendraw_firmware::log::{FRAME_MAX, Log, Progress, Region};
use evendraw_firmware::nor::{Flash, PAGE, SECTOR};
use sequential_storage::cache::Cache;
use sequential_storage::queue::{QueueConfig, QueueStorage};

const SECTORS: u32 = 256;
const RECORDS: u32 = 10_000;

const COMMAND_US: u64 = 5;
const BYTE_US: u64 = 1;
const PROGRAM_US: u64 = 400;
const ERASE_US: u64 = 45_000;

/// A chip in memory that was used before, so that every sector must be erased.
struct Chip {
    bytes: Vec<u8>,
    reads: u64,
    read_bytes: u64,
    programs: u64,
    programmed_bytes: u64,
    erases: u64,
    clock_us: u64,
    busy_until_us: u64,
}

impl Chip {
    fn used() -> Self {
        Self {
            bytes: vec![0; place(SECTORS * SECTOR)],
            reads: 0,
            read_bytes: 0,
            programs: 0,
            programmed_bytes: 0,
            erases: 0,
            clock_us: 0,
            busy_until_us: 0,
        }
    }

    fn fill(&mut self, at: u32, bytes: &mut [u8]) {
        bytes.copy_from_slice(&self.bytes[place(at)..place(at) + bytes.len()]);
        self.reads += 1;
        self.read_bytes += bytes.len() as u64;
        self.clock_us += COMMAND_US + BYTE_US * bytes.len() as u64;
    }

    fn program(&mut self, at: u32, bytes: &[u8]) {
        for (place, byte) in self.bytes[place(at)..].iter_mut().zip(bytes) {
            *place &= byte;
        }
        self.programs += 1;
        self.programmed_bytes += bytes.len() as u64;
        self.clock_us += COMMAND_US + BYTE_US * bytes.len() as u64;
        self.busy_until_us = self.clock_us + PROGRAM_US;
    }

    fn wipe(&mut self, at: u32) {
        self.bytes[place(at)..place(at + SECTOR)].fill(0xff);
        self.erases += 1;
        self.clock_us += COMMAND_US;
        self.busy_until_us = self.clock_us + ERASE_US;
    }

    /// What a driver that waits does.
    fn wait(&mut self) {
        self.clock_us = self.clock_us.max(self.busy_until_us);
    }
}

fn place(at: u32) -> usize {
    usize::try_from(at).expect("a megabyte")
}

impl Flash for Chip {
    type Error = Infallible;

    fn size(&self) -> u32 {
        SECTORS * SECTOR
    }

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Infallible> {
        self.fill(at, bytes);
        Ok(())
    }

    fn start_program(&mut self, at: u32, bytes: &[u8]) -> Result<(), Infallible> {
        self.program(at, bytes);
        Ok(())
    }

    fn start_erase(&mut self, at: u32) -> Result<(), Infallible> {
        self.wipe(at);
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, Infallible> {
        self.clock_us += COMMAND_US + 2 * BYTE_US;
        Ok(self.clock_us < self.busy_until_us)
    }
}

/// The same chip behind a driver that waits.
struct Blocking<'c>(&'c mut Chip);

impl ErrorType for Blocking<'_> {
    type Error = Infallible;
}

impl ReadNorFlash for Blocking<'_> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Infallible> {
        self.0.fill(offset, bytes);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.bytes.len()
    }
}

impl NorFlash for Blocking<'_> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR as usize;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Infallible> {
        for at in (from..to).step_by(Self::ERASE_SIZE) {
            self.0.wipe(at);
            self.0.wait();
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Infallible> {
        let (mut at, mut left) = (offset, bytes);
        while !left.is_empty() {
            let room = place(PAGE - at % PAGE).min(left.len());
            let (now, later) = left.split_at(room);
            self.0.program(at, now);
            self.0.wait();
            at += u32::try_from(room).expect("a page");
            left = later;
        }
        Ok(())
    }
}

impl MultiwriteNorFlash for Blocking<'_> {}

/// An attempt as a session records it.
fn entry(seq: u32) -> Entry {
    Entry {
        joint: 1,
        seq,
        boot: 1,
        at: Instant::from_micros(u64::from(seq) * 9_000_000),
        record: Attempt {
            step: u16::try_from(seq % 1_024).expect("a step"),
            fastener: 3,
            stage: 1,
            attempt: 1,
            pulls: 1,
            verdict: Verdict::Accepted,
            reasons: Reasons::NONE,
            peak: Torque::from_millinewton_meters(40_120),
            final_torque: Torque::from_millinewton_meters(39_980),
            angle: Some(Angle::from_millidegrees(91_250)),
            prevailing: Added::Nothing,
            restart: Some(Torque::from_millinewton_meters(22_400)),
            trace: 0x1234_5678 ^ seq,
            took_ms: 2_310,
        }
        .into(),
    }
}

/// What storing everything took.
struct Cost {
    longest_us: u64,
    opened_reads: u64,
    opened_us: u64,
    stored_us: u64,
    ram: usize,
    chip: Chip,
}

fn own_log() -> Cost {
    let mut chip = Chip::used();
    let region = Region {
        first: 0,
        sectors: SECTORS,
    };
    let mut room = [0; FRAME_MAX];
    let (mut log, _) = Log::open(&mut chip, region, &mut room).expect("cannot fail");
    let mut longest_us = 0;
    let began = chip.clock_us;
    for seq in 1..=RECORDS {
        log.push(&entry(seq)).expect("there is room");
        loop {
            let before = chip.clock_us;
            let progress = log.advance(&mut chip);
            longest_us = longest_us.max(chip.clock_us - before);
            match progress {
                // Read back and compared.
                Progress::Stored { .. } => break,
                Progress::Busy => {}
                other => panic!("{other:?}"),
            }
        }
    }
    let (reads, stored) = (chip.reads, chip.clock_us);
    let (again, recovery) = Log::open(&mut chip, region, &mut room).expect("cannot fail");
    assert_eq!((again.stored(), recovery.frames), (RECORDS, RECORDS));
    Cost {
        longest_us,
        opened_reads: chip.reads - reads,
        opened_us: chip.clock_us - stored,
        stored_us: stored - began,
        ram: size_of::<Log>(),
        chip,
    }
}

fn queue_of(
    chip: &mut Chip,
) -> QueueStorage<Blocking<'_>, impl sequential_storage::cache::CacheImpl<()>> {
    QueueStorage::new(
        Blocking(chip),
        QueueConfig::new(0..SECTORS * SECTOR),
        Cache::new_uncached(),
    )
}

fn crate_queue() -> Cost {
    let mut chip = Chip::used();
    // A chip that held something else is wiped as a whole: its sectors mean nothing to the queue.
    block_on(queue_of(&mut chip).erase_all()).expect("cannot fail");
    let began = chip.clock_us;
    let mut longest_us = 0;
    let mut seed = FIRST_SEED;
    let mut room = [0; RECORD_MAX + OVERHEAD];
    let mut queue = queue_of(&mut chip);
    let ram = size_of_val(&queue);
    for seq in 1..=RECORDS {
        let frame = encode_entry(&entry(seq), seq, seed, &mut room).expect("room");
        let before = queue.flash().0.clock_us;
        // It is not read back: the queue gives no address to read it at.
        block_on(queue.push(frame, false)).expect("there is room");
        longest_us = longest_us.max(queue.flash().0.clock_us - before);
        seed = u32::from_le_bytes(*frame.last_chunk().expect("a sum"));
    }
    drop(queue);
    let (reads, stored) = (chip.reads, chip.clock_us);
    let frames = block_on(async {
        let mut queue = queue_of(&mut chip);
        let mut each = queue.iter().await.expect("cannot fail");
        let mut frames = 0;
        while each.next(&mut room).await.expect("cannot fail").is_some() {
            frames += 1;
        }
        frames
    });
    assert_eq!(frames, RECORDS);
    Cost {
        longest_us,
        opened_reads: chip.reads - reads,
        opened_us: chip.clock_us - stored,
        stored_us: stored - began,
        ram,
        chip,
    }
}

fn main() {
    let (own, queue) = (own_log(), crate_queue());
    println!("{RECORDS} attempts on {SECTORS} sectors that were used before");
    println!("{:<46} {:>12} {:>12}", "", "own log", "queue");
    let row = |what: &str, of: fn(&Cost) -> u64| {
        println!("{what:<46} {:>12} {:>12}", of(&own), of(&queue))
    };
    row("bytes programmed a record", |cost| {
        cost.chip.programmed_bytes / u64::from(RECORDS)
    });
    row("program commands for 100 records", |cost| {
        100 * cost.chip.programs / u64::from(RECORDS)
    });
    row("sectors erased", |cost| cost.chip.erases);
    row("longest call, µs: readings wait that long", |cost| {
        cost.longest_us
    });
    row("storing all, ms of the chip's time", |cost| {
        cost.stored_us / 1_000
    });
    row("opening and going through all, reads", |cost| {
        cost.opened_reads
    });
    row("opening and going through all, ms", |cost| {
        cost.opened_us / 1_000
    });
    row("RAM, bytes on this machine", |cost| cost.ram as u64);
}
