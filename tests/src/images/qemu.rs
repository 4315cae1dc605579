//! The image on QEMU's machine `mps2-an385`, from power-up to the kill.
//!
//! Invariants: only the process that was started is killed; what the board said before it
//! died is read to the end; a board that says nothing for [`PATIENCE`] is a failure that
//! names itself, so that no test hangs.

use std::fs::File;
use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::Duration;

/// The program.
pub const QEMU: &str = "qemu-system-arm";
/// What installs it.
pub const REMEDY: &str = "apt-get install qemu-system-arm";
/// Longest silence of a board that is waited for. A safety net, not a measure.
const PATIENCE: Duration = Duration::from_secs(60);
/// The image has started; has taken a record; got bytes that are no record.
const STARTED: u8 = 0x05;
const TAKEN: u8 = 0x06;
const NO_RECORD: u8 = 0x15;

enum Heard {
    Port(UnixStream),
    Script(UnixStream),
    Started,
    Taken(usize),
    NoRecord,
    Line(String),
    /// A line of the two is silent for good.
    Gone,
}

/// A board under power.
pub struct Board {
    child: Child,
    folder: PathBuf,
    port: UnixStream,
    script: UnixStream,
    heard: Receiver<Heard>,
    /// Records taken so far.
    pub taken: usize,
    starts: u32,
    lines: Vec<String>,
    gone: u8,
}

/// What a board left when it was killed.
pub struct Ended {
    /// Records that it had taken.
    pub taken: usize,
    /// What it had said at its port, line by line.
    pub lines: Vec<String>,
    /// What it had logged, as `defmt` frames.
    pub log: PathBuf,
}

impl Board {
    /// Powers `image` up on `part`, a file of 32,768 bytes. `folder` is for what the two
    /// talk over; `extra`: further arguments of QEMU.
    ///
    /// # Panics
    /// When QEMU does not start.
    #[must_use]
    pub fn power_up(image: &Path, part: &Path, folder: &Path, extra: &[String]) -> Self {
        let (say, heard) = channel();
        for (name, wrap) in [
            ("port", Heard::Port as fn(UnixStream) -> Heard),
            ("script", Heard::Script as fn(UnixStream) -> Heard),
        ] {
            let path = folder.join(name);
            // Left over from the power-up before.
            let _ = std::fs::remove_file(&path);
            let listener = UnixListener::bind(&path).expect("a socket in the folder");
            let say = say.clone();
            thread::spawn(move || {
                if let Ok((stream, _)) = listener.accept() {
                    let _ = say.send(wrap(stream));
                }
            });
        }
        let log = File::create(folder.join("log")).expect("a file in the folder");
        let path = |name: &str| folder.join(name).display().to_string();
        let mut child = Command::new(QEMU)
            .args(["-machine", "mps2-an385", "-display", "none", "-monitor", "none"])
            .args(["-semihosting-config", "enable=on,target=native"])
            .args(["-chardev", &format!("socket,id=port,path={}", path("port"))])
            .args(["-chardev", &format!("socket,id=script,path={}", path("script"))])
            .args(["-serial", "chardev:port", "-serial", "chardev:script"])
            .arg("-drive")
            .arg(format!("if=none,id=e,format=raw,file={},cache=writethrough", part.display()))
            .args(["-device", "at24c-eeprom,bus=i2c,address=0x50,rom-size=32768,drive=e"])
            .arg("-kernel")
            .arg(image)
            .args(extra)
            .stdin(Stdio::null())
            .stdout(log)
            .spawn()
            .expect("QEMU starts");
        let (mut port, mut script) = (None, None);
        while port.is_none() || script.is_none() {
            match heard.recv_timeout(PATIENCE) {
                Ok(Heard::Port(stream)) => port = Some(stream),
                Ok(Heard::Script(stream)) => script = Some(stream),
                _ => {
                    let _ = child.kill();
                    panic!("QEMU did not start: {:?}", child.wait());
                }
            }
        }
        let (port, script) = (port.expect("connected"), script.expect("connected"));
        listen(&script, say.clone(), hear_script);
        listen(&port, say, Lines::default().into_listener());
        let folder = folder.to_path_buf();
        Self { child, folder, port, script, heard, taken: 0, starts: 0, lines: Vec::new(), gone: 0 }
    }

    /// Feeds records. Returns when QEMU has room for them, not when they are taken.
    ///
    /// # Panics
    /// When QEMU is gone.
    pub fn feed(&mut self, records: &[u8]) {
        self.script.write_all(records).expect("QEMU takes the script");
    }

    /// Waits until `count` records are taken.
    ///
    /// # Panics
    /// When the board falls silent before.
    pub fn wait_taken(&mut self, count: usize) {
        while self.taken < count {
            assert!(self.hear(), "the board took {} records of {count}, then nothing", self.taken);
        }
    }

    /// Waits until the firmware has started for the `count`th time under this power. What
    /// is fed before would be lost in the reset.
    ///
    /// # Panics
    /// When it does not.
    pub fn wait_started(&mut self, count: u32) {
        while self.starts < count {
            assert!(self.hear(), "the firmware has started {} times of {count}", self.starts);
        }
    }

    /// Types `word` at the port and gives what is said until the line `last`, that included.
    ///
    /// # Panics
    /// When the line does not come.
    pub fn ask(&mut self, word: &str, last: &str) -> Vec<String> {
        let from = self.lines.len();
        self.say(word);
        while !self.lines[from..].iter().any(|line| line == last) {
            assert!(self.hear(), "asked \"{word}\": {:?}", &self.lines[from..]);
        }
        self.lines[from..].to_vec()
    }

    /// Types `word` at the port.
    ///
    /// # Panics
    /// When QEMU is gone.
    pub fn say(&mut self, word: &str) {
        self.port.write_all(format!("{word}\n").as_bytes()).expect("QEMU takes the word");
    }

    /// Kills QEMU at once (SIGKILL) and gives what the board had said.
    ///
    /// # Panics
    /// When the process cannot be killed, or the board took bytes for no record.
    #[must_use]
    pub fn kill(mut self) -> Ended {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it ends");
        while self.gone < 2 {
            assert!(self.hear(), "a socket of a dead process is open");
        }
        let log = self.folder.join("log");
        Ended { taken: self.taken, lines: std::mem::take(&mut self.lines), log }
    }

    /// Hears one thing; `false` for a long silence.
    fn hear(&mut self) -> bool {
        match self.heard.recv_timeout(PATIENCE) {
            Ok(Heard::Started) => self.starts += 1,
            Ok(Heard::Taken(count)) => self.taken += count,
            Ok(Heard::Line(line)) => self.lines.push(line),
            Ok(Heard::Gone) => self.gone += 1,
            Ok(Heard::NoRecord) => panic!("the board got bytes that are no record"),
            Ok(Heard::Port(_) | Heard::Script(_)) => {}
            Err(_) => return false,
        }
        // Gone for good without being asked to: nothing more will come.
        self.gone < 2 || self.child.try_wait().is_ok_and(|ended| ended.is_some())
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        // After a failed test; a process that is dead already is no error.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn listen(
    stream: &UnixStream,
    say: Sender<Heard>,
    mut take: impl FnMut(&[u8], &Sender<Heard>) + Send + 'static,
) {
    let mut stream = stream.try_clone().expect("a socket can be shared");
    thread::spawn(move || {
        let mut bytes = [0; 4_096];
        loop {
            match stream.read(&mut bytes) {
                Ok(count) if count > 0 => take(&bytes[..count], &say),
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                _ => break,
            }
        }
        let _ = say.send(Heard::Gone);
    });
}

fn hear_script(bytes: &[u8], say: &Sender<Heard>) {
    if bytes.contains(&STARTED) {
        let _ = say.send(Heard::Started);
    }
    let taken = bytes.iter().map(|byte| usize::from(*byte == TAKEN)).sum();
    let _ = say.send(Heard::Taken(taken));
    if bytes.contains(&NO_RECORD) {
        let _ = say.send(Heard::NoRecord);
    }
}

/// Bytes to lines; what is no whole line yet is kept.
#[derive(Default)]
struct Lines(Vec<u8>);

impl Lines {
    fn into_listener(mut self) -> impl FnMut(&[u8], &Sender<Heard>) + Send {
        move |bytes, say| {
            for byte in bytes {
                if *byte == b'\n' {
                    let line = String::from_utf8_lossy(&std::mem::take(&mut self.0)).into_owned();
                    let _ = say.send(Heard::Line(line));
                } else {
                    self.0.push(*byte);
                }
            }
        }
    }
}
