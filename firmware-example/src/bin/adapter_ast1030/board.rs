//! The board.
#![expect(unsafe_code, reason = "registers")]
use cortex_m as _;
use cortex_m_rt::entry;
use defmt_semihosting as _;

/// A vector.
#[repr(C)]
pub(crate) union Vector {
    handler: unsafe extern "C" fn(),
    reserved: usize,
}

unsafe extern "C" {
    fn DefaultHandler();
}

#[unsafe(no_mangle)]
#[unsafe(link_section = ".vector_table.interrupts")]
static __INTERRUPTS: [Vector; 64] = [const {
    Vector {
        handler: DefaultHandler,
    }
}; 64];

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}

#[entry]
fn main() -> ! {
    defmt::info!("hello {=u8}", 7);
    semihosting::process::exit(0)
}
