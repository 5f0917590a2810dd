//! The display's bus: one step at every look, so nothing waits for a wire of 100 kHz.
//!
//! The chip holds the clock line while it waits for the next byte, so a late step makes a write longer and loses nothing [RM0090, "I2C master
//! mode"]. Knows nothing of what is written.
#![expect(unsafe_code, reason = "the fields of these registers take any bits")]

use evendraw_firmware::bus::Bus;
use stm32f4xx_hal::pac::I2C1;

/// Bytes of the longest write.
const LENGTH: usize = 8;
/// Looks without a step before the bus is said to hang: a second and more, where a byte takes 90 µs.
const PATIENCE: u32 = 200_000;

/// The bus is disturbed, hangs, or nobody answers.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Disturbed;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Idle,
    /// The start condition is being made.
    Starting,
    /// The address is going out.
    Addressing,
    /// So many bytes have been given.
    Sending(usize),
    /// The stop condition is being made.
    Stopping,
}

/// The bus.
#[derive(Debug)]
pub(crate) struct TwoWire {
    registers: I2C1,
    address: u8,
    bytes: heapless::Vec<u8, LENGTH>,
    state: State,
    looks: u32,
}

impl TwoWire {
    /// Over registers that are set for the bus's rate.
    pub(crate) const fn new(registers: I2C1) -> Self {
        Self {
            registers,
            address: 0,
            bytes: heapless::Vec::new(),
            state: State::Idle,
            looks: 0,
        }
    }

    fn give(&self, byte: u8) {
        // SAFETY: any byte may be sent.
        self.registers
            .dr()
            .write(|w| unsafe { w.bits(u16::from(byte)) });
    }

    fn stop(&self) {
        self.registers.cr1().modify(|_, w| w.stop().set_bit());
    }

    /// The state after this look.
    fn stepped(&self) -> Result<State, Disturbed> {
        let status = self.registers.sr1().read();
        if status.af().bit_is_set() || status.arlo().bit_is_set() {
            // SAFETY: the errors' bits are cleared by zero, the others cannot be written.
            self.registers.sr1().write(|w| unsafe { w.bits(0) });
            return Err(Disturbed);
        }
        Ok(match self.state {
            State::Starting if status.sb().bit_is_set() => {
                self.give(self.address << 1);
                State::Addressing
            }
            State::Addressing if status.addr().bit_is_set() => {
                // Reading it says that the address was seen.
                self.registers.sr2().read();
                State::Sending(0)
            }
            State::Sending(given) => match self.bytes.get(given) {
                Some(&byte) if status.tx_e().bit_is_set() => {
                    self.give(byte);
                    State::Sending(given.saturating_add(1))
                }
                None if status.btf().bit_is_set() => {
                    self.stop();
                    State::Stopping
                }
                _ => State::Sending(given),
            },
            State::Stopping if self.registers.cr1().read().stop().bit_is_clear() => State::Idle,
            state => state,
        })
    }
}

impl Bus for TwoWire {
    type Error = Disturbed;

    fn start_write(&mut self, address: u8, bytes: &[u8]) -> Result<(), Disturbed> {
        self.address = address;
        self.bytes.clear();
        self.bytes
            .extend_from_slice(bytes)
            .map_err(|_longer| Disturbed)?;
        self.registers.cr1().modify(|_, w| w.start().set_bit());
        (self.state, self.looks) = (State::Starting, 0);
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, Disturbed> {
        if self.state == State::Idle {
            return Ok(false);
        }
        let before = self.state;
        self.looks = self.looks.saturating_add(1);
        match self.stepped() {
            Ok(state) if self.looks < PATIENCE => {
                self.state = state;
                if state != before {
                    self.looks = 0;
                }
                Ok(state != State::Idle)
            }
            _ => {
                self.stop();
                self.state = State::Idle;
                Err(Disturbed)
            }
        }
    }
}
