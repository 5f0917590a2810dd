//! The calls under the gate.
#![expect(
    unsafe_code,
    reason = "the missing function and the vectors are for the linker"
)]

use core::hint::black_box;

use cortex_m as _;
use cortex_m_rt::entry;
use evendraw_core::journal::{DecodeError, Frame, decode_entry};
use evendraw_core::procedure::Procedure;
use evendraw_core::record::Entry;
use evendraw_core::sample::{Counts, Sensed, Sensing};
use evendraw_core::session::{Input, Outcome, Session};
use evendraw_core::unit::Instant;

unsafe extern "C" {
    fn a_panic_is_reachable() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: never linked.
    unsafe { a_panic_is_reachable() }
}

/// A vector of the table behind the core's own.
#[repr(C)]
pub(crate) union Vector {
    reserved: u32,
}

#[unsafe(no_mangle)]
#[unsafe(link_section = ".vector_table.interrupts")]
static __INTERRUPTS: [Vector; 1] = [Vector { reserved: 0 }];

type Worked = Session<&'static Procedure>;

#[inline(never)]
fn applied(session: &mut Worked, at: Instant, input: Input<'_>) -> usize {
    let mut outcome = Outcome::default();
    session.apply_into(at, input, &mut outcome);
    outcome.entries().len()
}

#[entry]
fn main() -> ! {
    // The functions' addresses are all the linker needs to keep them with everything they can call.
    black_box(applied as fn(&mut Worked, Instant, Input<'_>) -> usize);
    black_box(Worked::next as fn(&Worked) -> evendraw_core::session::Next);
    black_box(Worked::deadline as fn(&Worked) -> Option<Instant>);
    black_box(Worked::live as fn(&Worked) -> evendraw_core::tracker::Live);
    black_box(Sensing::take as fn(&mut Sensing, Counts) -> Sensed);
    black_box(decode_entry as fn(&Frame<'_>) -> Result<Option<Entry>, DecodeError>);
    loop {}
}
