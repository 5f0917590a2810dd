//! What runs on the board.

use cortex_m as _;
use cortex_m_rt::entry;
use defmt_semihosting as _;
use embedded_storage::nor_flash::NorFlash;
use evendraw_firmware::nor::{Flash, SpiNor};

use crate::board::{FlashBus, Port};

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}

#[entry]
fn main() -> ! {
    let mut nor = SpiNor::new(FlashBus::new());
    match &mut nor {
        Ok(chip) => {
            defmt::info!("flash {=[u8]:x} {=u32}", chip.identity(), Flash::size(chip));
            let _ = NorFlash::erase(chip, 0, 4096);
            let _ = NorFlash::write(chip, 250, b"hello over a page");
            let mut b = [0; 17];
            let _ = Flash::read(chip, 250, &mut b);
            defmt::info!("{=[u8]:a}", b);
        }
        Err(e) => defmt::error!("{}", e),
    }
    let _ = embedded_io::Write::write_all(&mut Port::link(), b"link");
    let _ = embedded_io::Write::write_all(&mut Port::feed(), b"feed");
    semihosting::process::exit(0)
}
