//! The key file: a few lines of text that hold a workshop key.
//!
//! ```text
//! shaftbook workshop key, version 1
//! # Keep this file secret. …
//! key 64 hexadecimal digits
//! check 8 hexadecimal digits
//! ```
//!
//! The check is the CRC-32 (ISO-HDLC) of the 32 bytes of the key: it tells a damaged file from
//! a whole one and protects against nothing else. Lines that begin with `#` and empty lines are
//! comments.
//!
//! Invariants: a key file is made for its owner only (mode 0600), in one piece, and never over
//! another file; and no other command writes over a key file ([`is_key_file`]). A key file that
//! its group or others may open is refused; the file whose mode is checked is the very one that
//! is then read. Errors are one line and never quote the file.
//!
//! Where the system has no such modes (not Unix), they are not checked.

use std::fmt::Write as _;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::Path;

use crc::{CRC_32_ISO_HDLC, Crc};
use zeroize::Zeroizing;

use super::workshop::{WORKSHOP_KEY_BYTES, WorkshopKey};
use shaftbook_world::input_error::InputError;

const HEADER: &str = "shaftbook workshop key, version ";
const VERSION: &str = "1";
const COMMENT: &str = "# Keep this file secret: whoever has it can authorise services on every board \
                       that was\n# fitted with it. Keep a copy where it is safe: without it these \
                       boards cannot be serviced.\n";
/// Permission bits of group and others.
#[cfg(unix)]
const OTHERS: u32 = 0o077;
/// No key file is longer.
const LONGEST_BYTES: u64 = 4_096;
const CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Writes `key` into the new file `path`, readable by its owner only.
///
/// # Errors
/// There is such a file already, or it cannot be written: then there is none.
pub fn create(path: &Path, key: &WorkshopKey) -> Result<(), InputError> {
    let error = |error: &io::Error| match error.kind() {
        io::ErrorKind::AlreadyExists => {
            wrong(path, "there is such a file already, and key files are never overwritten")
        }
        _ => wrong(path, error),
    };
    let mut file = owners_only().open(path).map_err(|e| error(&e))?;
    let written = file.write_all(encode(key).as_bytes()).and_then(|()| file.sync_all());
    written.map_err(|e| {
        // Half a key file is of no use to anybody.
        let _ = fs::remove_file(path);
        error(&e)
    })
}

/// Reads the key file `path`.
///
/// # Errors
/// It is missing, not a file, open to others than its owner, or damaged.
pub fn load(path: &Path) -> Result<WorkshopKey, InputError> {
    let is_file = fs::metadata(path).map_err(|e| wrong(path, &e))?.is_file();
    if !is_file {
        return Err(wrong(path, "not a file"));
    }
    let file = File::open(path).map_err(|e| wrong(path, &e))?;
    check_mode(path, &file)?;
    let mut text = Zeroizing::new(String::with_capacity(LONGEST_BYTES as usize + 1));
    let read = file.take(LONGEST_BYTES + 1).read_to_string(&mut text);
    match read {
        Ok(length) if length as u64 <= LONGEST_BYTES => {}
        Err(e) if e.kind() != io::ErrorKind::InvalidData => return Err(wrong(path, &e)),
        _ => return Err(wrong(path, "not a key file of shaftbook")),
    }
    decode(&text).map_err(|what| wrong(path, what))
}

/// Whether the file `path` begins as a key file does: then no command writes over it.
///
/// A file that cannot be read is none.
#[must_use]
pub fn is_key_file(path: &Path) -> bool {
    let mut begin = [0; HEADER.len()];
    // Only a plain file: a pipe would be waited for.
    fs::metadata(path).is_ok_and(|about| about.is_file())
        && File::open(path).and_then(|mut file| file.read_exact(&mut begin)).is_ok()
        && begin == *HEADER.as_bytes()
}

fn wrong(path: &Path, what: &(impl ToString + ?Sized)) -> InputError {
    InputError::new(path.display().to_string(), what.to_string())
}

/// How a file is made that only its owner may read.
#[must_use]
pub fn owners_only() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options
}

#[cfg(unix)]
fn check_mode(path: &Path, file: &File) -> Result<(), InputError> {
    use std::os::unix::fs::PermissionsExt;
    let mode = file.metadata().map_err(|e| wrong(path, &e))?.permissions().mode();
    if mode & OTHERS == 0 {
        return Ok(());
    }
    let name = path.display();
    Err(wrong(path, &format!("others than its owner may open it; do: chmod 600 {name}")))
}

#[cfg(not(unix))]
fn check_mode(_: &Path, _: &File) -> Result<(), InputError> {
    Ok(())
}

fn encode(key: &WorkshopKey) -> Zeroizing<String> {
    // Room for all of it, so that no half of it is left behind by growing.
    let mut text = Zeroizing::new(String::with_capacity(1_024));
    text.push_str(HEADER);
    text.push_str(VERSION);
    text.push('\n');
    text.push_str(COMMENT);
    text.push_str("key ");
    for byte in key.bytes() {
        let _ = write!(text, "{byte:02x}");
    }
    let _ = writeln!(text, "\ncheck {:08x}", CHECK.checksum(key.bytes()));
    text
}

fn decode(text: &str) -> Result<WorkshopKey, &'static str> {
    const DAMAGED: &str = "the key file is damaged; take the copy of it";
    let mut lines =
        text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#'));
    let version = lines.next().and_then(|line| line.strip_prefix(HEADER));
    match version {
        Some(VERSION) => {}
        Some(_) => return Err("a key file of a version that is not known here"),
        None => return Err("not a key file of shaftbook"),
    }
    let mut field = |name: &str, digits: usize| {
        let value = lines.next().and_then(|line| line.strip_prefix(name)).map(str::trim);
        value.filter(|v| v.len() == digits && v.bytes().all(|b| b.is_ascii_hexdigit()))
    };
    let key = field("key ", 2 * WORKSHOP_KEY_BYTES).ok_or(DAMAGED)?;
    let check = field("check ", 8).ok_or(DAMAGED)?;
    let mut bytes = Zeroizing::new([0; WORKSHOP_KEY_BYTES]);
    for (n, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&key[2 * n..2 * n + 2], 16).map_err(|_| DAMAGED)?;
    }
    let fits = u32::from_str_radix(check, 16) == Ok(CHECK.checksum(bytes.as_slice()));
    if !fits || lines.next().is_some() {
        return Err(DAMAGED);
    }
    Ok(WorkshopKey::new(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key() -> WorkshopKey {
        WorkshopKey::new(Zeroizing::new(std::array::from_fn(|n| 7 * n as u8 + 1)))
    }

    /// `RevEng` catalogue: check value of CRC-32/ISO-HDLC.
    #[test]
    fn the_check_is_crc_32_iso_hdlc() {
        assert_eq!(CHECK.checksum(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn a_key_comes_back_whatever_the_comments_and_line_ends() {
        let text = encode(&key());
        assert_eq!(decode(&text).unwrap().bytes(), key().bytes());
        let windows = text.replace('\n', "\r\n\r\n# mine\r\n");
        assert_eq!(decode(&windows).unwrap().bytes(), key().bytes());
        let body_in_capitals: String = text
            .lines()
            .map(|line| match line.split_once(' ') {
                Some((name @ ("key" | "check"), hex)) => {
                    format!("{name} {}\n", hex.to_uppercase())
                }
                _ => format!("{line}\n"),
            })
            .collect();
        assert_eq!(decode(&body_in_capitals).unwrap().bytes(), key().bytes());
    }

    #[test]
    fn one_changed_character_or_a_lost_end_is_noticed() {
        let text = encode(&key());
        let body = text.find("\nkey ").unwrap() + 1;
        for at in (0..=HEADER.len()).chain(body..text.len() - 1) {
            let mut changed = text.as_bytes().to_vec();
            changed[at] = if changed[at] == b'3' { b'4' } else { b'3' };
            let changed = String::from_utf8(changed).unwrap();
            assert!(decode(&changed).is_err(), "at {at}");
        }
        for end in 0..text.len() - 1 {
            assert!(decode(&text[..end]).is_err(), "cut at {end}");
        }
        assert!(decode(&format!("{}key 00\n", *text)).is_err());
    }

    #[test]
    fn an_error_never_quotes_the_file() {
        let text = encode(&key());
        let hex = text.lines().find_map(|line| line.strip_prefix("key ")).unwrap();
        let damaged = text.replacen(&hex[..2], "zz", 1);
        let error = decode(&damaged).unwrap_err();
        assert!(!error.contains(&hex[2..10]), "{error}");
    }
}
