//! Where the firmware's log goes in tests on the desktop: nowhere.
#![expect(unsafe_code, reason = "the logger's trait is unsafe to implement")]

#[defmt::global_logger]
struct SilentLog;

// SAFETY: nothing is written, so nothing can be written out of turn.
unsafe impl defmt::Logger for SilentLog {
    fn acquire() {}
    unsafe fn flush() {}
    unsafe fn release() {}
    unsafe fn write(_: &[u8]) {}
}

defmt::timestamp!("");
