//! The board that one can buy, as far as an emulator has it.

use std::io::Read;
use std::time::Duration;

use evendraw_tests::emulator::{Board, Setup, firmware};

/// The emulated STM32F405 has clocks, timers, pins and the port of the link, but nothing on its buses. The firmware gets through
/// all of that, looks for its flash, and says on the link that there is none.
#[test]
fn the_stm32f405_boots_and_says_what_it_misses() {
    let mut board = Board::start(&Setup {
        machine: "netduinoplus2",
        firmware: firmware("adapter_stm32f405"),
        ports: 1,
        ..Setup::default()
    });
    let mut port = board.ports.remove(0);
    port.set_read_timeout(Some(Duration::from_secs(20)))
        .expect("a timeout");
    let mut said = Vec::new();
    let mut byte = [0];
    while said.iter().filter(|&&byte| byte == 0).count() < 2 {
        port.read_exact(&mut byte)
            .expect("the board says something");
        said.push(byte[0]);
    }
    assert_eq!(said, b"\0no flash at SPI1\0");
}
