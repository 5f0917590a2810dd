//! Gives each board's firmware its memory map. Does nothing for the host.

use std::path::PathBuf;
use std::{env, fs};

/// A firmware, where its code and its variables live. The sizes are what an adapter may take, so that a firmware over it does
/// not link; only the harness for tests, which is not an adapter, may be larger.
const BOARDS: [(&str, &str, &str); 4] = [
    (
        "gate",
        "ORIGIN = 0x00000000, LENGTH = 256K",
        "ORIGIN = 0x20000000, LENGTH = 64K",
    ),
    (
        "adapter_ast1030",
        "ORIGIN = 0x00000000, LENGTH = 80K",
        "ORIGIN = 0x00080000, LENGTH = 16K",
    ),
    (
        "adapter_stm32f405",
        "ORIGIN = 0x08000000, LENGTH = 88K",
        "ORIGIN = 0x20000000, LENGTH = 32K",
    ),
    (
        "sessions",
        "ORIGIN = 0x00000000, LENGTH = 256K",
        "ORIGIN = 0x20000000, LENGTH = 64K",
    ),
];

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    if env::var("CARGO_CFG_TARGET_OS").as_deref() != Ok("none") {
        return;
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo names the folder to write to"));
    for (name, flash, ram) in BOARDS {
        let folder = out.join(name);
        fs::create_dir_all(&folder).expect("a folder for the memory map");
        let map = format!("MEMORY {{\n  FLASH : {flash}\n  RAM : {ram}\n}}\n");
        fs::write(folder.join("memory.x"), map).expect("the memory map is written");
        println!("cargo::rustc-link-arg-bin={name}=-L{}", folder.display());
        for script in ["link.x", "defmt.x"] {
            println!("cargo::rustc-link-arg-bin={name}=-T{script}");
        }
        println!("cargo::rustc-link-arg-bin={name}=--nmagic");
        // Functions of the same instructions are kept once.
        println!("cargo::rustc-link-arg-bin={name}=--icf=all");
    }
}
