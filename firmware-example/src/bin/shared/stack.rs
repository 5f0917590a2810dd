//! How deep the stack ever went.
#![expect(unsafe_code, reason = "the stack's room is named by the linker")]

use core::ptr;

unsafe extern "C" {
    static __sheap: u32;
    static _stack_start: u32;
}

const PAINT: u32 = 0x5ca1_ab1e;

/// Fills what is free below this frame, so that [`stack_used`] can tell how deep the stack ever went.
#[inline(never)]
pub(crate) fn paint_stack() {
    let here = 0_u32;
    let mut at = (&raw const __sheap).cast_mut();
    // The frame of this function and a little more stays as it is.
    let end = (&raw const here).wrapping_sub(16).cast_mut();
    while at < end {
        // SAFETY: between the end of the variables and this frame lies nothing but free stack.
        unsafe { ptr::write_volatile(at, PAINT) }
        at = at.wrapping_add(1);
    }
}

/// Bytes of the stack that were ever used.
pub(crate) fn stack_used() -> u32 {
    let mut at = &raw const __sheap;
    let top = &raw const _stack_start;
    // SAFETY: reads between the end of the variables and the top of the stack.
    while at < top && unsafe { ptr::read_volatile(at) } == PAINT {
        at = at.wrapping_add(1);
    }
    u32::try_from(top.addr().wrapping_sub(at.addr())).unwrap_or(u32::MAX)
}
