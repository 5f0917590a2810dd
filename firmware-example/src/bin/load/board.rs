//! The board: a clock of microseconds, an interrupt for every conversion and one for every byte on the wires.
//!
//! Registers as the emulator models them [QEMU 7.2, hw/arm/mps2.c, hw/timer/cmsdk-apb-timer.c]. Knows nothing of the adapter.
#![expect(
    unsafe_code,
    reason = "registers and vectors are memory at fixed addresses"
)]

use core::cell::RefCell;
use core::ptr;
use core::sync::atomic::{AtomicU16, AtomicU32, Ordering};

use cortex_m::interrupt::{InterruptNumber, Mutex, free};
use cortex_m::peripheral::NVIC;
use evendraw_firmware::queue::{Incoming, Stamped};
use heapless::spsc::{Consumer, Producer};

use crate::work::Hand;

const CONVERSIONS: usize = 0x4000_0000;
const BYTES: usize = 0x4000_1000;
const CONTROL: usize = 0x00;
const VALUE: usize = 0x04;
const RELOAD: usize = 0x08;
const STATUS: usize = 0x0c;
const RUNS_AND_INTERRUPTS: u32 = 0b1001;
/// Ticks of a timer in a microsecond.
const TICKS: u32 = 25;

/// Between two conversions: 1,000 a second.
pub(crate) const CONVERSION: u32 = 1_000;
/// Ticks of a byte at 115,200 bit/s: 86.8 µs.
const BYTE: u32 = 2_170;
/// What both sensors' buses take: seven bytes at 2 and 4 MHz and what a driver does for each.
const SENSED: u32 = 50;

#[derive(Clone, Copy)]
enum Interrupt {
    Conversion = 8,
    Byte = 9,
}

// SAFETY: these are the numbers of the two timers' interrupts.
unsafe impl InterruptNumber for Interrupt {
    fn number(self) -> u16 {
        match self {
            Self::Conversion => 8,
            Self::Byte => 9,
        }
    }
}

/// A vector of the table behind the core's own.
#[repr(C)]
union Vector {
    handler: unsafe extern "C" fn(),
}

unsafe extern "C" {
    fn DefaultHandler();
}

const NONE: Vector = Vector {
    handler: DefaultHandler,
};

#[unsafe(no_mangle)]
#[unsafe(link_section = ".vector_table.interrupts")]
static __INTERRUPTS: [Vector; 10] = [
    NONE,
    NONE,
    NONE,
    NONE,
    NONE,
    NONE,
    NONE,
    NONE,
    Vector {
        handler: conversion,
    },
    Vector { handler: byte },
];

fn get(register: usize) -> u32 {
    // SAFETY: only the timers' registers are asked for.
    unsafe { ptr::read_volatile(register as *const u32) }
}

fn set(register: usize, value: u32) {
    // SAFETY: only the timers' registers are set, by this module alone.
    unsafe { ptr::write_volatile(register as *mut u32, value) }
}

/// Conversions so far.
static CONVERTED: AtomicU32 = AtomicU32::new(0);

/// The clock, which goes round as a 32-bit timer does.
pub(crate) fn micros() -> u32 {
    loop {
        let before = CONVERTED.load(Ordering::Relaxed);
        let left = get(CONVERSIONS + VALUE);
        // One that is over and whose interrupt has not come yet counts already.
        let over = get(CONVERSIONS + STATUS) & 1;
        if over == 1 && left < CONVERSION * TICKS / 2 {
            continue;
        }
        if CONVERTED.load(Ordering::Relaxed) == before {
            let passed = (CONVERSION * TICKS).saturating_sub(left) / TICKS;
            return before
                .wrapping_add(over)
                .wrapping_mul(CONVERSION)
                .wrapping_add(passed);
        }
    }
}

/// Lets so much time pass: a part that the processor waits for.
pub(crate) fn pass(span: u32) {
    let from = micros();
    while micros().wrapping_sub(from) < span {}
}

/// What the interrupt of a conversion has for its own.
pub(crate) struct Sensors {
    pub(crate) hand: Hand,
    pub(crate) incoming: Incoming<'static, Stamped>,
}

/// What the interrupt of a byte has for its own: both ways of the wires, the far end's queues.
pub(crate) struct Wires {
    pub(crate) incoming: Incoming<'static, u8>,
    pub(crate) from_host: Consumer<'static, u8>,
    pub(crate) to_host: Producer<'static, u8>,
}

static SENSORS: Mutex<RefCell<Option<Sensors>>> = Mutex::new(RefCell::new(None));
static WIRES: Mutex<RefCell<Option<Wires>>> = Mutex::new(RefCell::new(None));

/// A byte that the adapter gave to be sent; above a byte's range: none.
static SENDING: AtomicU16 = AtomicU16::new(FREE);
const FREE: u16 = 0x100;

/// Whether the port would take a byte.
pub(crate) fn is_free() -> bool {
    SENDING.load(Ordering::Relaxed) == FREE
}

/// Gives the port a byte.
pub(crate) fn send(byte: u8) {
    SENDING.store(u16::from(byte), Ordering::Relaxed);
}

/// Interrupts of the wires so far.
static BYTE_TIMES: AtomicU32 = AtomicU32::new(0);

/// Interrupts of the wires that did not come in a time, because another was in their way for longer than a byte takes.
pub(crate) fn missed(from: (u32, u32)) -> u32 {
    let (micros, times) = byte_times();
    let due = micros.wrapping_sub(from.0).wrapping_mul(TICKS) / BYTE;
    due.saturating_sub(times.wrapping_sub(from.1))
}

/// The time, and the interrupts of the wires so far.
pub(crate) fn byte_times() -> (u32, u32) {
    (micros(), BYTE_TIMES.load(Ordering::Relaxed))
}

/// Conversions and bytes that came since the loop looked last, as a port and a pin without an interrupt would have them.
static UNSEEN: [AtomicU32; 2] = [AtomicU32::new(0), AtomicU32::new(0)];
/// How many of those a port and a pin that hold one would have lost.
static OVERRUN: [AtomicU32; 2] = [AtomicU32::new(0), AtomicU32::new(0)];

/// Bytes and conversions that a port and a pin would have lost that hold one until the loop looks.
pub(crate) fn lost_without_queues() -> [u32; 2] {
    OVERRUN
        .each_ref()
        .map(|count| count.load(Ordering::Relaxed))
}

/// The loop looked at port and pin. The most of each that had come since.
pub(crate) fn looked() -> [u32; 2] {
    free(|_| {
        UNSEEN.each_ref().map(|unseen| {
            let came = unseen.load(Ordering::Relaxed);
            unseen.store(0, Ordering::Relaxed);
            came
        })
    })
}

fn unseen(which: usize) {
    let (Some(unseen), Some(overrun)) = (UNSEEN.get(which), OVERRUN.get(which)) else {
        return;
    };
    let came = unseen.load(Ordering::Relaxed);
    unseen.store(came + 1, Ordering::Relaxed);
    if came > 0 {
        overrun.store(overrun.load(Ordering::Relaxed) + 1, Ordering::Relaxed);
    }
}

/// Starts both timers; the byte's interrupt comes before the conversion's, as on the board one can buy.
pub(crate) fn start(sensors: Sensors, wires: Wires, interrupts: &mut NVIC) {
    free(|token| {
        SENSORS.borrow(token).replace(Some(sensors));
        WIRES.borrow(token).replace(Some(wires));
    });
    set(BYTES + RELOAD, BYTE - 1);
    set(BYTES + VALUE, BYTE - 1);
    set(BYTES + CONTROL, RUNS_AND_INTERRUPTS);
    // SAFETY: what the interrupts use is set.
    unsafe {
        interrupts.set_priority(Interrupt::Byte, 0x00);
        interrupts.set_priority(Interrupt::Conversion, 0x40);
        NVIC::unmask(Interrupt::Byte);
    }
}

/// Starts the clock; conversions are only counted until [`start`].
pub(crate) fn start_clock() {
    set(CONVERSIONS + RELOAD, CONVERSION * TICKS - 1);
    set(CONVERSIONS + VALUE, CONVERSION * TICKS - 1);
    set(CONVERSIONS + CONTROL, RUNS_AND_INTERRUPTS);
    // SAFETY: its interrupt finds nothing to do before the sensors are there.
    unsafe { NVIC::unmask(Interrupt::Conversion) }
}

extern "C" fn conversion() {
    let number = CONVERTED.load(Ordering::Relaxed).wrapping_add(1);
    CONVERTED.store(number, Ordering::Relaxed);
    set(CONVERSIONS + STATUS, 1);
    // Taken out for as long as it is used: the byte's interrupt may come between.
    let Some(mut sensors) = free(|token| SENSORS.borrow(token).take()) else {
        return;
    };
    unseen(1);
    pass(SENSED);
    let (bridge, rate) = sensors.hand.counts();
    sensors.incoming.came(Stamped {
        at: number.wrapping_mul(CONVERSION),
        bridge,
        rate,
    });
    free(|token| SENSORS.borrow(token).replace(Some(sensors)));
}

extern "C" fn byte() {
    set(BYTES + STATUS, 1);
    BYTE_TIMES.store(
        BYTE_TIMES.load(Ordering::Relaxed).wrapping_add(1),
        Ordering::Relaxed,
    );
    free(|token| {
        let mut wires = WIRES.borrow(token).borrow_mut();
        let Some(wires) = &mut *wires else { return };
        if let Some(byte) = wires.from_host.dequeue() {
            unseen(0);
            wires.incoming.came(byte);
        }
        let sent = SENDING.load(Ordering::Relaxed);
        if let Ok(byte) = u8::try_from(sent) {
            SENDING.store(FREE, Ordering::Relaxed);
            // The far end looks often enough.
            let _ = wires.to_host.enqueue(byte);
        }
    });
}
