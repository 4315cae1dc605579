//! Gives the build a name: a checksum over the sources of firmware and simulator, so that the
//! results of two builds are never mixed.

use std::path::{Path, PathBuf};
use std::{env, fs};

/// CRC-64/XZ, of the catalogue of parametrised CRC algorithms.
const CRC: crc::Crc<u64> = crc::Crc::<u64>::new(&crc::CRC_64_XZ);

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for path in entries.filter_map(Result::ok).map(|entry| entry.path()) {
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

fn main() {
    let root = PathBuf::from(env::var("CARGO_MANIFEST_DIR").expect("cargo sets it")).join("../..");
    let mut digest = CRC.digest();
    for folder in ["core", "care", "readout", "panel", "drivers", "mainloop"]
        .map(|layer| root.join("firmware").join(layer).join("src"))
        .into_iter()
        .chain(
            ["world", "tools", "evidence"]
                .map(|package| root.join("host-sim").join(package).join("src")),
        )
    {
        println!("cargo::rerun-if-changed={}", folder.display());
        let mut files = Vec::new();
        sources(&folder, &mut files);
        files.sort();
        for file in files {
            let name = file.strip_prefix(&root).unwrap_or(&file).display().to_string();
            digest.update(name.replace('\\', "/").as_bytes());
            digest.update(&fs::read(&file).unwrap_or_default());
        }
    }
    println!("cargo::rustc-env=SHAFTBOOK_SOURCES={:016x}", digest.finalize());
}
