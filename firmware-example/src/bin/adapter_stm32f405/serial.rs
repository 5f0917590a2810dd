//! The link's port: every byte is taken by an interrupt, so a long turn of the loop loses none.
//!
//! Registers from the chip's manual [RM0090, "USART status register"]. A byte is sent when the port has room, one a look: sending late loses
//! nothing. Knows nothing of frames.
#![expect(
    unsafe_code,
    reason = "an interrupt has the port's registers beside the driver"
)]

use core::cell::RefCell;

use cortex_m::interrupt::{Mutex, free};
use evendraw_firmware::queue::{Incoming, Sends};
use stm32f4xx_hal::interrupt;
use stm32f4xx_hal::pac::{self, NVIC, USART1};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::serial::{Serial, Tx};

/// Before all others: a byte must be out within the 87 µs that the next one takes.
const PRIORITY: u8 = 0x00;

/// What the interrupt takes for its own when it first comes.
static HANDED: Mutex<RefCell<Option<Incoming<'static, u8>>>> = Mutex::new(RefCell::new(None));

/// The sending half.
pub(crate) struct Out(Tx<USART1>);

/// Receives into `incoming` from here on; the half that sends stays with the caller.
pub(crate) fn started(
    serial: Serial<USART1>,
    incoming: Incoming<'static, u8>,
    interrupts: &mut NVIC,
) -> Out {
    let (out, mut receiver) = serial.split();
    free(|token| HANDED.borrow(token).replace(Some(incoming)));
    receiver.listen();
    // SAFETY: the interrupt's variables are set, and no critical section is waited for in it.
    unsafe {
        interrupts.set_priority(pac::Interrupt::USART1, PRIORITY);
        NVIC::unmask(pac::Interrupt::USART1);
    }
    Out(out)
}

impl Sends for Out {
    fn is_free(&mut self) -> bool {
        self.0.is_tx_empty()
    }

    fn send(&mut self, byte: u8) {
        // It is only asked while there is room.
        let _ = self.0.write(byte);
    }
}

#[interrupt]
fn USART1() {
    static mut OWN: Option<Incoming<'static, u8>> = None;
    if OWN.is_none() {
        *OWN = free(|token| HANDED.borrow(token).take());
    }
    // SAFETY: status and data of the receiver are read here alone.
    let port = unsafe { &*USART1::PTR };
    let status = port.sr().read();
    // Reading both clears every error, so none is met again.
    let [byte, _] = port.dr().read().dr().bits().to_le_bytes();
    let Some(incoming) = OWN else { return };
    if status.fe().bit_is_set() || status.nf().bit_is_set() || status.pe().bit_is_set() {
        // The link's sums find what is missing.
        incoming.damaged();
    } else if status.rxne().bit_is_set() {
        incoming.came(byte);
    }
    if status.ore().bit_is_set() {
        incoming.lost();
    }
}
