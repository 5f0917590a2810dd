//! A table of interrupts for a board whose chip's crate brings none, and that is polled: no peripheral interrupt is enabled.
#![expect(unsafe_code, reason = "vectors are a linker section")]

/// A vector of the table behind the core's own.
#[repr(C)]
pub(crate) union Vector {
    handler: unsafe extern "C" fn(),
}

unsafe extern "C" {
    fn DefaultHandler();
}

#[unsafe(no_mangle)]
#[unsafe(link_section = ".vector_table.interrupts")]
static __INTERRUPTS: [Vector; 1] = [Vector {
    handler: DefaultHandler,
}];
