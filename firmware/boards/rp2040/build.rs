//! Puts `memory.x` where the linker looks for it.
//!
//! The link scripts themselves (`-Tlink.x`, `-Tdefmt.x`) are named in `.cargo/config.toml` of
//! the boards' workspace and nowhere else, because linking fails if they are given twice.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo gives OUT_DIR"));
    fs::write(out.join("memory.x"), include_bytes!("memory.x")).expect("OUT_DIR is writable");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed=memory.x");
    println!("cargo:rerun-if-changed=build.rs");
}
