//! QEMU's monitor and debug stub: RAM is read and registers are set from outside, so that
//! the image needs no hook for tests.
//!
//! Registers are numbered as the GDB remote protocol does for Arm M-profile: 0 to 12, 13
//! stack pointer, 14 link register, 15 program counter.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;

use object::{Object, ObjectSymbol};

/// Arguments of QEMU for [`memory`] and [`jump`]: sockets in `folder`.
#[must_use]
pub fn arguments(folder: &Path) -> Vec<String> {
    let socket = |name| format!("unix:{},server=on,wait=off", folder.join(name).display());
    vec!["-qmp".into(), socket("monitor"), "-gdb".into(), socket("debug")]
}

/// Addresses of an image's symbols, mangled names as they are.
///
/// # Panics
/// When the file is no ELF.
#[must_use]
pub fn symbols(image: &Path) -> BTreeMap<String, u32> {
    let bytes = std::fs::read(image).expect("the image can be read");
    let file = object::File::parse(&*bytes).expect("the image is an ELF");
    let named = |symbol: object::Symbol<'_, '_>| {
        Some((String::from(symbol.name().ok()?), symbol.address() as u32))
    };
    file.symbols().filter_map(named).collect()
}

/// RAM from `address`, `size` bytes, by the monitor at `folder/monitor`.
///
/// # Panics
/// When the monitor does not answer as it should.
#[must_use]
pub fn memory(folder: &Path, address: u32, size: u32) -> Vec<u8> {
    let stream = UnixStream::connect(folder.join("monitor")).expect("the monitor listens");
    let mut reader = BufReader::new(stream.try_clone().expect("a socket can be shared"));
    let to = folder.join("memory");
    let save = serde_json::json!({
        "execute": "pmemsave",
        "arguments": { "val": address, "size": size, "filename": to.display().to_string() },
    });
    let mut line = String::new();
    reader.read_line(&mut line).expect("the monitor greets");
    for command in [serde_json::json!({ "execute": "qmp_capabilities" }), save] {
        writeln!(&stream, "{command}").expect("the monitor takes a command");
        line.clear();
        // Events may come in between.
        while !line.contains("\"return\"") {
            assert!(!line.contains("\"error\""), "{command}: {line}");
            line.clear();
            assert!(reader.read_line(&mut line).is_ok_and(|n| n > 0), "the monitor is gone");
        }
    }
    std::fs::read(to).expect("the monitor has written it")
}

/// Writes `code` to RAM at `address`, sets registers of the processor, and lets it go on, by
/// the debug stub at `folder/debug`.
///
/// # Panics
/// When the stub does not answer as it should.
pub fn jump(folder: &Path, address: u32, code: &[u8], registers: &[(u8, u32)]) {
    let mut stub = Stub(UnixStream::connect(folder.join("debug")).expect("the stub listens"));
    // Registers can be set one by one only after their description was asked for.
    stub.ask("qXfer:features:read:target.xml:0,ffb");
    let bytes = code.iter().fold(String::new(), |text, byte| text + &format!("{byte:02x}"));
    assert_eq!(stub.ask(&format!("M{address:x},{:x}:{bytes}", code.len())), "OK", "memory");
    for (number, value) in registers {
        let value = value.swap_bytes();
        assert_eq!(stub.ask(&format!("P{number:x}={value:08x}")), "OK", "register {number}");
    }
    assert_eq!(stub.ask("D"), "OK", "let go");
}

struct Stub(UnixStream);

impl Stub {
    fn ask(&mut self, packet: &str) -> String {
        let sum = packet.bytes().fold(0_u8, u8::wrapping_add);
        write!(self.0, "${packet}#{sum:02x}").expect("the stub takes a packet");
        loop {
            let answer = self.packet();
            // That it has stopped, as soon as somebody is there, is no answer.
            if !answer.starts_with('T') {
                return answer;
            }
        }
    }

    fn packet(&mut self) -> String {
        while self.byte() != b'$' {}
        let mut packet = Vec::new();
        loop {
            match self.byte() {
                b'#' => break,
                byte => packet.push(byte),
            }
        }
        // The sum is not looked at: this is a socket.
        self.byte();
        self.byte();
        self.0.write_all(b"+").expect("the stub hears");
        String::from_utf8_lossy(&packet).into_owned()
    }

    fn byte(&mut self) -> u8 {
        let mut byte = [0];
        self.0.read_exact(&mut byte).expect("the stub answers");
        byte[0]
    }
}

/// The deepest use of a painted stack, bytes: `ram` from address `base` on, painted from
/// `end` up to `start` when the image started.
#[must_use]
pub fn deepest(ram: &[u8], base: u32, end: u32, start: u32) -> u32 {
    const PAINT: [u8; 4] = 0xCCCC_CCCC_u32.to_le_bytes();
    let stack = &ram[(end - base) as usize..(start - base) as usize];
    let untouched = stack.chunks_exact(4).take_while(|word| **word == PAINT).count();
    stack.len() as u32 - 4 * untouched as u32
}
