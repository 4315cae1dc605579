//! Hands the linker this board's memory map.

use std::path::PathBuf;
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let out = PathBuf::from(env::var_os("OUT_DIR").ok_or(io::ErrorKind::NotFound)?);
    for name in ["memory.x", "device.x"] {
        fs::copy(name, out.join(name))?;
        println!("cargo:rerun-if-changed={name}");
    }
    println!("cargo:rustc-link-search={}", out.display());
    Ok(())
}
