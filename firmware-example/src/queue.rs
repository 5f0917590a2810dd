//! What interrupts bring, until a turn takes it: readings stamped by a timer, and bytes of the link.
//!
//! An interrupt has one end of each queue, the loop the other; neither waits for the other. What finds no room is counted, never dropped
//! in silence. Knows nothing of any chip.

use core::sync::atomic::{AtomicU32, Ordering};

use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use evendraw_core::sample::Counts;
use evendraw_core::unit::Instant;
use heapless::spsc::{Consumer, Producer};

use crate::readings::Readings;

/// What an interrupt could not hand on, since the start. Written by the interrupt alone, so a load and a store are enough: the smallest
/// cores have nothing more.
#[derive(Debug, Default)]
pub struct Tally {
    lost: AtomicU32,
    damaged: AtomicU32,
}

impl Tally {
    /// Nothing lost yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            lost: AtomicU32::new(0),
            damaged: AtomicU32::new(0),
        }
    }

    /// Items that found no room, in the queue or in the part they came from.
    #[must_use]
    pub fn lost(&self) -> u32 {
        self.lost.load(Ordering::Relaxed)
    }

    /// Items that came damaged and were left out.
    #[must_use]
    pub fn damaged(&self) -> u32 {
        self.damaged.load(Ordering::Relaxed)
    }
}

fn one_more(count: &AtomicU32) {
    let more = count.load(Ordering::Relaxed).saturating_add(1);
    count.store(more, Ordering::Relaxed);
}

/// The interrupt's end of a queue.
pub struct Incoming<'q, T> {
    queue: Producer<'q, T>,
    tally: &'q Tally,
}

impl<'q, T> Incoming<'q, T> {
    /// Into this queue, with the count of what is lost.
    pub const fn new(queue: Producer<'q, T>, tally: &'q Tally) -> Self {
        Self { queue, tally }
    }

    /// Something came. Without room it is lost, and counted.
    pub fn came(&mut self, item: T) {
        if self.queue.enqueue(item).is_err() {
            self.lost();
        }
    }

    /// The part itself had no room for one: it came while the one before was not taken out.
    pub fn lost(&mut self) {
        one_more(&self.tally.lost);
    }

    /// One came damaged, and is left out.
    pub fn damaged(&mut self) {
        one_more(&self.tally.damaged);
    }
}

/// A reading as an interrupt takes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamped {
    /// The timer's count when the converter said that it is ready, in µs.
    pub at: u32,
    /// Count of the load cell.
    pub bridge: i32,
    /// Count of the gyro.
    pub rate: i16,
}

/// A 32-bit timer of microseconds, longer by the times it went round. Never goes back.
#[derive(Debug, Default)]
struct Clock {
    micros: u64,
    last: u32,
}

impl Clock {
    /// A count of the timer, asked for at least twice in the 71 minutes of a round.
    fn at(&mut self, count: u32) -> Instant {
        let passed = count.wrapping_sub(self.last).cast_signed();
        if let Ok(passed) = u32::try_from(passed) {
            self.micros = self.micros.saturating_add(u64::from(passed));
            self.last = count;
        }
        Instant::from_micros(self.micros)
    }
}

/// The readings of a queue, and the timer that stamps them.
pub struct Queued<'q, T> {
    queue: Consumer<'q, Stamped>,
    timer: T,
    clock: Clock,
}

impl<'q, T: FnMut() -> u32> Queued<'q, T> {
    /// Out of this queue; `timer` gives the count that its readings are stamped with.
    pub fn new(queue: Consumer<'q, Stamped>, timer: T) -> Self {
        Self {
            queue,
            timer,
            clock: Clock::default(),
        }
    }
}

impl<T: FnMut() -> u32> Readings for Queued<'_, T> {
    fn next(&mut self) -> Option<Counts> {
        let Stamped { at, bridge, rate } = self.queue.dequeue()?;
        let at = self.clock.at(at);
        Some(Counts { at, bridge, rate })
    }

    /// No later than a reading that waits, or it would come out of its time. The timer is read first: what is stamped before that has its
    /// interrupt before the look into the queue.
    fn now(&mut self) -> Instant {
        let now = (self.timer)();
        let waiting = self.queue.peek().map(|waiting| waiting.at);
        self.clock.at(waiting.unwrap_or(now))
    }
}

/// What sends a byte over the link.
pub trait Sends {
    /// Whether a byte would be taken without waiting.
    fn is_free(&mut self) -> bool;

    /// Takes a byte; only asked while it is free.
    fn send(&mut self, byte: u8);
}

/// A link whose bytes come through a queue.
pub struct Line<'q, S> {
    queue: Consumer<'q, u8>,
    out: S,
}

impl<'q, S> Line<'q, S> {
    /// Receives from this queue and sends through `out`.
    pub const fn new(queue: Consumer<'q, u8>, out: S) -> Self {
        Self { queue, out }
    }
}

impl<S> ErrorType for Line<'_, S> {
    type Error = core::convert::Infallible;
}

impl<S> ReadReady for Line<'_, S> {
    fn read_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(self.queue.ready())
    }
}

impl<S> Read for Line<'_, S> {
    /// Waits for the first byte, as the trait asks; the loop only reads what is ready, and what came damaged is not in the queue.
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Self::Error> {
        let mut count = 0;
        for place in bytes {
            *place = loop {
                if let Some(byte) = self.queue.dequeue() {
                    break byte;
                }
                if count > 0 {
                    return Ok(count);
                }
            };
            count += 1;
        }
        Ok(count)
    }
}

impl<S: Sends> WriteReady for Line<'_, S> {
    fn write_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(self.out.is_free())
    }
}

impl<S: Sends> Write for Line<'_, S> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        let Some(&first) = bytes.first() else {
            return Ok(0);
        };
        while !self.out.is_free() {}
        self.out.send(first);
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use embedded_io::{Read, ReadReady};
    use evendraw_core::unit::Instant;
    use heapless::spsc::Queue;

    use super::{Incoming, Line, Queued, Stamped, Tally};
    use crate::readings::Readings;

    #[test]
    fn a_damaged_byte_is_counted_and_the_next_good_one_is_read() {
        let (mut queue, tally) = (Queue::<u8, 4>::new(), Tally::new());
        let (to, from) = queue.split();
        let mut incoming = Incoming::new(to, &tally);
        let mut line = Line::new(from, ());
        incoming.damaged();
        assert_eq!(
            line.read_ready(),
            Ok(false),
            "nothing that a read would wait for"
        );
        incoming.came(7);
        let mut bytes = [0; 3];
        assert_eq!(line.read(&mut bytes), Ok(1));
        assert_eq!((bytes[0], tally.damaged(), tally.lost()), (7, 1, 0));
    }

    #[test]
    fn what_finds_no_room_is_counted_and_what_came_before_it_stays() {
        let (mut queue, tally) = (Queue::<u8, 4>::new(), Tally::new());
        let (to, from) = queue.split();
        let mut incoming = Incoming::new(to, &tally);
        for byte in 1..=5 {
            incoming.came(byte);
        }
        incoming.lost();
        let mut line = Line::new(from, ());
        let mut bytes = [0; 8];
        // A queue of this kind holds one less than its size.
        assert_eq!(line.read(&mut bytes), Ok(3));
        assert_eq!((&bytes[..3], tally.lost()), (&[1, 2, 3][..], 3));
    }

    fn reading(at: u32) -> Stamped {
        Stamped {
            at,
            bridge: 5,
            rate: -5,
        }
    }

    #[test]
    fn time_goes_on_over_a_round_of_the_timer_and_never_beyond_a_reading_that_waits() {
        let (mut queue, tally) = (Queue::<Stamped, 8>::new(), Tally::new());
        let (to, from) = queue.split();
        let mut incoming = Incoming::new(to, &tally);
        let timer = Cell::new(0_u32);
        let mut readings = Queued::new(from, || timer.get());
        timer.set(2_000_000_000);
        assert_eq!(readings.now(), Instant::from_micros(2_000_000_000));
        timer.set(4_000_000_000);
        assert_eq!(readings.now(), Instant::from_micros(4_000_000_000));
        incoming.came(reading(u32::MAX - 4));
        incoming.came(reading(995));
        timer.set(1_200);
        let first = Instant::from_micros(u64::from(u32::MAX - 4));
        assert_eq!(readings.now(), first, "a reading waits");
        assert_eq!(readings.next().map(|counts| counts.at), Some(first));
        let second = Instant::from_micros(u64::from(u32::MAX) + 996);
        assert_eq!(readings.now(), second);
        let counts = readings.next().expect("the second");
        assert_eq!((counts.at, counts.bridge, counts.rate), (second, 5, -5));
        assert_eq!(readings.next(), None);
        assert_eq!(
            readings.now(),
            Instant::from_micros(u64::from(u32::MAX) + 1_201)
        );
        // A count that is older than what was told does not turn time back.
        timer.set(1_100);
        assert_eq!(
            readings.now(),
            Instant::from_micros(u64::from(u32::MAX) + 1_201)
        );
    }
}
