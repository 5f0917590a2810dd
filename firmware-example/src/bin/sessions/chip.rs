//! The chip under the sessions: a bare Cortex-M4F board with a debugger attached.
#![expect(unsafe_code, reason = "vectors are a linker section")]

use cortex_m as _;
use cortex_m_rt::entry;
use defmt_semihosting as _;
use semihosting::println;

use super::{SESSIONS, digest};

/// A vector of the table behind the core's own.
#[repr(C)]
pub(crate) union Vector {
    handler: unsafe extern "C" fn(),
}

unsafe extern "C" {
    fn DefaultHandler();
}

// No peripheral interrupt is enabled.
#[unsafe(no_mangle)]
#[unsafe(link_section = ".vector_table.interrupts")]
static __INTERRUPTS: [Vector; 32] = [const {
    Vector {
        handler: DefaultHandler,
    }
}; 32];

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    println!("{info}");
    semihosting::process::exit(101)
}

#[entry]
fn main() -> ! {
    for seed in 0..SESSIONS {
        let (sum, records, readings) = digest(seed);
        println!("{seed} {sum:08x} {records} {readings}");
    }
    semihosting::process::exit(0)
}
