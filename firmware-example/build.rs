//! Gives each board's firmware its memory map. Does nothing for the host.

use std::path::PathBuf;
use std::{env, fs};

/// A firmware: where its code and its variables live, and whether its chip's crate names the interrupts.
///
/// The sizes are what an adapter may take, so that a firmware over it does not link; only the harnesses for tests, which are no
/// adapters, may be larger.
struct Board {
    name: &'static str,
    flash: &'static str,
    ram: &'static str,
    names_interrupts: bool,
}

const BOARDS: [Board; 6] = [
    Board {
        name: "gate",
        flash: "ORIGIN = 0x00000000, LENGTH = 256K",
        ram: "ORIGIN = 0x20000000, LENGTH = 64K",
        names_interrupts: false,
    },
    Board {
        name: "adapter_ast1030",
        flash: "ORIGIN = 0x00000000, LENGTH = 80K",
        ram: "ORIGIN = 0x00080000, LENGTH = 16K",
        names_interrupts: false,
    },
    Board {
        name: "adapter_microbit",
        // Of 256 KiB: journal and procedures begin behind it.
        flash: "ORIGIN = 0x00000000, LENGTH = 96K",
        ram: "ORIGIN = 0x20000000, LENGTH = 16K",
        names_interrupts: false,
    },
    Board {
        name: "adapter_stm32f405",
        flash: "ORIGIN = 0x08000000, LENGTH = 92K",
        ram: "ORIGIN = 0x20000000, LENGTH = 32K",
        names_interrupts: true,
    },
    Board {
        name: "load",
        flash: "ORIGIN = 0x00000000, LENGTH = 256K",
        // Its flash is there too.
        ram: "ORIGIN = 0x20000000, LENGTH = 256K",
        names_interrupts: false,
    },
    Board {
        name: "sessions",
        flash: "ORIGIN = 0x00000000, LENGTH = 256K",
        ram: "ORIGIN = 0x20000000, LENGTH = 64K",
        names_interrupts: false,
    },
];
/// What the smallest core's board has for the sessions.
const SMALLEST_RAM: &str = "ORIGIN = 0x20000000, LENGTH = 16K";

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    if env::var("CARGO_CFG_TARGET_OS").as_deref() != Ok("none") {
        return;
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo names the folder to write to"));
    let smallest = env::var("TARGET").is_ok_and(|target| target.starts_with("thumbv6m"));
    for board in BOARDS {
        let Board {
            name,
            flash,
            mut ram,
            names_interrupts,
        } = board;
        if smallest && name == "sessions" {
            ram = SMALLEST_RAM;
        }
        // A board whose feature is off is not built, and a word for its linker would be an error.
        let feature = name
            .strip_prefix("adapter_")
            .map(|board| format!("CARGO_FEATURE_{}", board.to_uppercase()));
        if feature.is_some_and(|feature| env::var_os(feature).is_none()) {
            continue;
        }
        let folder = out.join(name);
        fs::create_dir_all(&folder).expect("a folder for the memory map");
        let map = format!("MEMORY {{\n  FLASH : {flash}\n  RAM : {ram}\n}}\n");
        fs::write(folder.join("memory.x"), map).expect("the memory map is written");
        if !names_interrupts {
            let device = folder.join("device.x");
            fs::write(device, "").expect("the names of interrupts are written");
        }
        println!("cargo::rustc-link-arg-bin={name}=-L{}", folder.display());
        for script in ["link.x", "defmt.x"] {
            println!("cargo::rustc-link-arg-bin={name}=-T{script}");
        }
        println!("cargo::rustc-link-arg-bin={name}=--nmagic");
        // Functions of the same instructions are kept once.
        println!("cargo::rustc-link-arg-bin={name}=--icf=all");
    }
}
