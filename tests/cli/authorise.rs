//! System tests of keys, fitting and authorisation. The engineer's side is the command alone;
//! the machine's side is the real core on a part that `shaftbook fit` made.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use shaftbook_core::authority::{EightDigits, Purpose};
use shaftbook_core::board::Fitting;
use shaftbook_core::exchange::{Outcome, Request};
use shaftbook_core::identity::BoardId;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::{Authorised, CHALLENGE_LIFE_S, Refusal};
use shaftbook_readout::tag::BoardTag;

use crate::fitted_machine::Machine;

/// Invented boards.
const BOARD: BoardId = BoardId(0x0A11_CE00_0000_0042);
const NEIGHBOUR: BoardId = BoardId(0x0A11_CE00_0000_0043);

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook")).args(args).output().expect("it starts")
}

/// Standard output of a command that is done.
fn done(args: &[&str]) -> String {
    let output = shaftbook(args);
    assert_eq!(output.status.code(), Some(0), "{args:?}: {output:?}");
    String::from_utf8(output.stdout).expect("text")
}

/// Exit 2, nothing on standard output, one line on standard error: this one's text.
fn refused(args: &[&str]) -> String {
    let output = shaftbook(args);
    assert_eq!(output.status.code(), Some(2), "{args:?}: {output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stderr).expect("text");
    assert_eq!(text.lines().count(), 1, "{text}");
    text.trim_end().to_owned()
}

/// An empty directory for one test, with a key file in it.
struct Workshop {
    folder: PathBuf,
}

impl Workshop {
    fn new(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("authorise").join(name);
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).expect("a directory");
        let workshop = Self { folder };
        done(&["key", "new", &workshop.file("workshop.key")]);
        workshop
    }

    fn file(&self, name: &str) -> String {
        self.folder.join(name).display().to_string()
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.folder).expect("a directory");
        let names = entries.map(|entry| entry.expect("an entry").file_name());
        let mut names: Vec<String> = names.map(|n| n.to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    /// Arguments of `fit` for `board`, into `out`.
    fn fit_args(&self, board: BoardId, out: &str) -> Vec<String> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("a workspace");
        let profile = root.join("host-sim/profiles/six-needle.toml").display().to_string();
        let id = format!("{:016X}", board.0);
        let key = self.file("workshop.key");
        ["fit", "--key", &key, "--profile", &profile, "--board-id", &id, "--out", &self.file(out)]
            .map(String::from)
            .to_vec()
    }

    fn fit(&self, board: BoardId, out: &str, more: &[&str]) -> String {
        let args = self.fit_args(board, out);
        let args: Vec<&str> = args.iter().map(String::as_str).chain(more.iter().copied()).collect();
        done(&args)
    }

    /// The engineer's reply, typed in as he hears it over the telephone.
    fn engineer(&self, board: BoardId, request: &Request, purpose: Purpose) -> EightDigits {
        let tag = BoardTag::of(board).to_string().to_lowercase().replace('-', " ");
        let digits = request.challenge.get();
        let (high, low) = (format!("{:04}", digits / 10_000), format!("{:04}", digits % 10_000));
        let purpose = match purpose {
            Purpose::Service => "service",
            Purpose::Renewal => "renewal",
            Purpose::Refit => "refit",
        };
        let (key, services) = (self.file("workshop.key"), request.services.to_string());
        let text = done(&[
            "authorise",
            "--key",
            &key,
            "--board",
            &tag,
            "--services",
            &services,
            "--for",
            purpose,
            &high,
            &low,
        ]);
        let line = text.lines().next().expect("a line");
        let (first, second) =
            line.strip_prefix("reply ").and_then(|line| line.split_once(' ')).expect("two groups");
        assert_eq!((first.len(), second.len()), (4, 4), "{line}");
        EightDigits::new(format!("{first}{second}").parse().expect("digits")).expect("eight")
    }
}

#[test]
fn a_service_over_the_telephone_is_done_and_durable() {
    let workshop = Workshop::new("service");
    let text = workshop.fit(BOARD, "part.bin", &[]);
    let tag = BoardTag::of(BOARD).to_string();
    assert!(text.contains(&format!("board tag       {tag}\n")), "{text}");
    let mut machine = Machine::power_up(&workshop.file("part.bin"), BOARD);
    let request = machine.ask(Authorised::Service);
    let reply = workshop.engineer(BOARD, &request, Purpose::Service);
    assert_eq!(machine.enter(reply), Outcome::Done);
    let machine = machine.cut();
    assert_eq!(machine.services(), 1);
    assert_eq!(machine.board().ledger().tries, 0);
}

#[test]
fn a_renewal_is_done_and_its_reply_makes_no_service() {
    let workshop = Workshop::new("renewal");
    workshop.fit(BOARD, "part.bin", &[]);
    let mut machine = Machine::power_up(&workshop.file("part.bin"), BOARD);
    machine.trim();
    assert_eq!(machine.knife_wear(), Some(1));
    let knife = Authorised::Renew(ComponentSet::only(machine.knife()));
    // The reply is the engineer's for a renewal; the challenge was asked for a service.
    let request = machine.ask(Authorised::Service);
    let reply = workshop.engineer(BOARD, &request, Purpose::Renewal);
    assert_eq!(machine.enter(reply), Outcome::Wrong);
    assert_eq!((machine.services(), machine.knife_wear()), (0, Some(1)));
    let request = machine.ask(knife);
    let reply = workshop.engineer(BOARD, &request, Purpose::Renewal);
    assert_eq!(machine.enter(reply), Outcome::Done);
    let machine = machine.cut();
    assert_eq!((machine.services(), machine.knife_wear()), (0, Some(0)));
}

#[test]
fn used_stale_foreign_and_mistyped_replies_are_refused() {
    let workshop = Workshop::new("refused");
    workshop.fit(BOARD, "part.bin", &[]);
    let mut machine = Machine::power_up(&workshop.file("part.bin"), BOARD);

    let request = machine.ask(Authorised::Service);
    let used = workshop.engineer(BOARD, &request, Purpose::Service);
    assert_eq!(machine.enter(used), Outcome::Done);
    machine.ask(Authorised::Service);
    assert_eq!(machine.enter(used), Outcome::Wrong);

    let request = machine.ask(Authorised::Service);
    let foreign = workshop.engineer(NEIGHBOUR, &request, Purpose::Service);
    assert_eq!(machine.enter(foreign), Outcome::Wrong);

    let request = machine.ask(Authorised::Service);
    let right = workshop.engineer(BOARD, &request, Purpose::Service);
    let last_digit = right.get() % 10;
    let mistyped = right.get() - last_digit + (last_digit + 1) % 10;
    assert_eq!(machine.enter(EightDigits::new(mistyped).expect("digits")), Outcome::Wrong);

    // Three wrong ones: now even the right one has to wait, also after a cut.
    let mut machine = machine.cut();
    let request = machine.ask(Authorised::Service);
    let right = workshop.engineer(BOARD, &request, Purpose::Service);
    let now = machine.now();
    let early = machine.exchange.reply(machine.bench.device.board_mut(), now, right);
    assert!(matches!(early, Err(Refusal::Wait { seconds: 20..=30 })), "{early:?}");

    machine.pass_s(CHALLENGE_LIFE_S + 1);
    let now = machine.now();
    let stale = machine.exchange.reply(machine.bench.device.board_mut(), now, right);
    assert_eq!(stale, Err(Refusal::NoChallenge));
    assert_eq!(machine.services(), 1);

    let request = machine.ask(Authorised::Service);
    let right = workshop.engineer(BOARD, &request, Purpose::Service);
    assert_eq!(machine.enter(right), Outcome::Done);
    assert_eq!(machine.services(), 2);
}

#[test]
fn a_refit_changes_the_key_keeps_the_life_and_ends_the_old_key() {
    let (old, new) = (Workshop::new("refit_old"), Workshop::new("refit_new"));
    old.fit(BOARD, "part.bin", &[]);
    let mut machine = Machine::power_up(&old.file("part.bin"), BOARD);
    machine.trim();
    let ledger = machine.board().ledger();
    let key =
        shaftbook_tools::keys::file::load(Path::new(&new.file("workshop.key"))).expect("a key");
    let fitting = Fitting {
        settings: ledger.settings,
        components: ledger.components.iter().map(|fitted| fitted.component).collect(),
        carried_in: ledger.carried_in,
        key: key.board_key(BoardTag::of(BOARD)),
    };
    let request = machine.ask(Authorised::Refit);
    let reply = old.engineer(BOARD, &request, Purpose::Refit);
    let now = machine.now();
    machine.exchange.refit(machine.bench.device.board_mut(), now, fitting, reply).expect("a try");
    assert_eq!(machine.judged(), Outcome::Done);
    let mut machine = machine.cut();
    assert_eq!(machine.knife_wear(), Some(1));
    for (workshop, outcome) in [(&old, Outcome::Wrong), (&new, Outcome::Done)] {
        let request = machine.ask(Authorised::Service);
        let reply = workshop.engineer(BOARD, &request, Purpose::Service);
        assert_eq!(machine.enter(reply), outcome);
    }
    assert_eq!(machine.services(), 1);
}

#[test]
fn what_was_fitted_is_on_the_part_and_inspect_shows_it() {
    let workshop = Workshop::new("inspect");
    let settings = workshop.file("board.toml");
    fs::write(&settings, "pulses_per_revolution = 4\nservice_measure = \"running\"\n")
        .expect("settings");
    let more = [
        "--settings",
        &settings,
        "--stated-hours",
        "4200",
        "--stated-stitches",
        "380000000",
        "--stated-trims",
        "91000",
        "--clock",
        "--date",
        "2026-11-25",
        "--format",
        "json",
    ];
    let fitted: Value = serde_json::from_str(&workshop.fit(BOARD, "part.bin", &more)).expect("it");
    assert_eq!(fitted["tag"], BoardTag::of(BOARD).to_string());
    // 1 January 2020 is day 1: six years and two leap days, then 328 days.
    assert_eq!(fitted["day"], 6 * 365 + 2 + 328 + 1);
    let report = done(&["inspect", &workshop.file("part.bin"), "--format", "json"]);
    let report: Value = serde_json::from_str(&report).expect("JSON");
    assert_eq!(report["fault"], Value::Null);
    assert_eq!(report["differences"], Value::Array(vec![]));
    assert_eq!(report["carried_in_stated"]["hours"], 4_200);
    assert_eq!(report["carried_in_stated"]["stitches"], 380_000_000);
    assert_eq!(report["carried_in_stated"]["trims"], 91_000);
    assert_eq!(report["lifetime"]["stitches"], 0);
    assert_eq!(report["interval"]["measure"], "running");
    assert_eq!(report["wiring"]["pulses_per_revolution"], 4);
    assert_eq!(report["wiring"]["needles"], 6);
    let components = report["components"].as_array().expect("components").len();
    assert_eq!(fitted["components"], components);
}

/// `--force` is for an older image: not for the key, which nothing brings back.
#[test]
fn no_command_writes_over_a_key_or_what_a_fitting_is_made_from() {
    let workshop = Workshop::new("overwriting");
    let key = workshop.file("workshop.key");
    let before = fs::read_to_string(&key).expect("a key file");
    private(&workshop.file("other.key"), &before);
    for name in ["workshop.key", "other.key"] {
        let args = workshop.fit_args(BOARD, name);
        let args: Vec<&str> = args.iter().map(String::as_str).chain(["--force"]).collect();
        let line = refused(&args);
        assert!(line.contains(name), "{line}");
        assert_eq!(fs::read_to_string(workshop.file(name)).expect("the key file"), before);
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("a workspace");
    let scenario = root.join("host-sim/scenarios/six-needle-shop.toml").display().to_string();
    let line = refused(&["sew", &scenario, "--days", "1", "--image", &key]);
    assert!(line.contains("never overwritten"), "{line}");
    assert_eq!(fs::read_to_string(&key).expect("the key file"), before);
    // Nor over the profile, whatever the way to it.
    let profile = workshop.file("own.toml");
    let built_in = root.join("host-sim/profiles/six-needle.toml");
    fs::copy(&built_in, &profile).expect("a copy of the profile");
    let out = workshop.folder.join(".").join("own.toml").display().to_string();
    let line = refused(&[
        "fit",
        "--key",
        &key,
        "--profile",
        &profile,
        "--board-id",
        "1",
        "--force",
        "--out",
        &out,
    ]);
    assert!(line.contains("is read for this fitting"), "{line}");
    assert_eq!(fs::read(&profile).expect("the profile"), fs::read(built_in).expect("it"));
    assert_eq!(workshop.names(), ["other.key", "own.toml", "workshop.key"]);
}

#[test]
fn no_output_holds_a_key() {
    let workshop = Workshop::new("secrecy");
    let key = fs::read_to_string(workshop.file("workshop.key")).expect("a key file");
    let hex = key.lines().find_map(|line| line.strip_prefix("key ")).expect("the key");
    assert_eq!(hex.len(), 64);
    let mut seen = workshop.fit(BOARD, "part.bin", &[]);
    let image = fs::read(workshop.file("part.bin")).expect("an image");
    // The board's key stands in the snapshot's stream: some 32 bytes of it, in two members.
    let board_key: Vec<u8> = {
        let machine = Machine::power_up(&workshop.file("part.bin"), BOARD);
        machine.board().ledger().key.bytes().to_vec()
    };
    assert!(image.windows(8).any(|bytes| board_key.windows(8).any(|key| key == bytes)));
    let tag = BoardTag::of(BOARD).to_string();
    let file = workshop.file("workshop.key");
    for format in ["text", "json"] {
        seen += &done(&["inspect", &workshop.file("part.bin"), "--format", format]);
        seen += &workshop.fit(BOARD, "part.bin", &["--force", "--format", format]);
        seen += &done(&[
            "authorise",
            "--key",
            &file,
            "--board",
            &tag,
            "--services",
            "0",
            "--format",
            format,
            "1234 5678",
        ]);
    }
    fs::write(&file, key.replacen(hex, &hex[..62], 1)).expect("a damaged key");
    seen +=
        &refused(&["authorise", "--key", &file, "--board", &tag, "--services", "0", "12345678"]);
    let seen = seen.to_lowercase();
    let board_hex: Vec<String> = board_key.iter().map(|byte| format!("{byte:02x}")).collect();
    for secret in [hex, &board_hex.concat()] {
        for part in (0..secret.len() - 8).map(|at| &secret[at..at + 8]) {
            assert!(!seen.contains(part), "{part} of a key is in the output");
        }
    }
}

/// The example of docs/SECURITY.md, which another program computed too.
#[test]
fn the_documented_example_is_what_the_command_says() {
    let workshop = Workshop::new("example");
    let key = workshop.file("example.key");
    let bytes = (0..32).map(|n| format!("{n:02x}")).collect::<Vec<_>>().concat();
    // Python's zlib.crc32(bytes(range(32))).
    private(&key, &format!("shaftbook workshop key, version 1\nkey {bytes}\ncheck 91267e8a\n"));
    assert_eq!(BoardTag::of(BoardId(0xA_11CE)).to_string(), "Y25G-1PQS");
    for (purpose, right) in
        [("service", "2885 2404"), ("renewal", "3797 9393"), ("refit", "0920 9042")]
    {
        let text = done(&[
            "authorise",
            "--key",
            &key,
            "--board",
            "y25g 1pqs",
            "--services",
            "3",
            "--for",
            purpose,
            "1234-5678",
        ]);
        assert!(text.starts_with(&format!("reply {right}\n")), "{text}");
        let doc = include_str!("../../docs/SECURITY.md");
        assert!(doc.contains(&format!("| {right} |")), "{right}");
    }
}

#[test]
fn a_bad_challenge_or_tag_is_one_line() {
    let workshop = Workshop::new("bad_input");
    let (key, tag) = (workshop.file("workshop.key"), BoardTag::of(BOARD).to_string());
    for challenge in ["1234567", "123456789", "1234567a", "", "12,345678"] {
        let line =
            refused(&["authorise", "--key", &key, "--board", &tag, "--services", "0", challenge]);
        assert_eq!(line, "shaftbook: the challenge has eight digits, such as 1234 5678");
    }
    let mut wrong_tag = tag.clone();
    wrong_tag.replace_range(..1, if tag.starts_with('7') { "8" } else { "7" });
    for tag in [&tag[..7], &wrong_tag, "ABCD-EFGU"] {
        let line =
            refused(&["authorise", "--key", &key, "--board", tag, "--services", "0", "12345678"]);
        assert!(line.starts_with("shaftbook: --board: "), "{line}");
    }
    assert_eq!(workshop.names(), ["workshop.key"]);
}

#[test]
fn a_key_file_that_is_missing_damaged_or_no_file_is_one_line_and_nothing_is_written() {
    let workshop = Workshop::new("key_files");
    let (good, tag) = (workshop.file("workshop.key"), BoardTag::of(BOARD).to_string());
    let text = fs::read_to_string(&good).expect("a key file");
    let last = text.trim_end().len() - 1;
    let flipped = if text.as_bytes()[last] == b'0' { "1" } else { "0" };
    let damaged = format!("{}{flipped}\n", &text[..last]);
    let newer = text.replacen("version 1", "version 2", 1);
    for (content, says) in [
        (None, "No such file"),
        (Some(damaged.as_str()), "damaged"),
        (Some(&text[..text.len() / 2]), "damaged"),
        (Some(&newer), "version that is not known"),
        (Some(""), "not a key file"),
        (Some("\u{0}\u{1}"), "not a key file"),
    ] {
        fs::remove_file(&good).expect("it is there");
        if let Some(content) = content {
            private(&good, content);
        }
        let args = workshop.fit_args(BOARD, "part.bin");
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        for args in [
            &["authorise", "--key", &good, "--board", &tag, "--services", "0", "12345678"][..],
            &args,
        ] {
            let line = refused(args);
            assert!(line.contains("workshop.key: ") && line.contains(says), "{line}");
        }
        assert!(!workshop.folder.join("part.bin").exists());
        private(&good, &text);
    }
    let folder = workshop.folder.display().to_string();
    let line =
        refused(&["authorise", "--key", &folder, "--board", &tag, "--services", "0", "12345678"]);
    assert!(line.ends_with("not a file"), "{line}");
}

/// Writes a file that only its owner may read.
fn private(path: &str, content: &str) {
    let _ = fs::remove_file(path);
    fs::write(path, content).expect("a file");
    #[cfg(unix)]
    mode(path, 0o600);
}

#[cfg(unix)]
fn mode(path: &str, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("a mode");
}

#[cfg(unix)]
fn mode_of(path: &str) -> u32 {
    use std::os::unix::fs::PermissionsExt;
    fs::metadata(path).expect("a file").permissions().mode() & 0o777
}

#[cfg(unix)]
#[test]
fn a_key_file_that_others_may_open_is_refused_whatever_the_way_to_it() {
    let workshop = Workshop::new("modes");
    let (key, tag) = (workshop.file("workshop.key"), BoardTag::of(BOARD).to_string());
    let link = workshop.file("link.key");
    std::os::unix::fs::symlink(&key, &link).expect("a link");
    assert_eq!(mode_of(&key), 0o600);
    let args = |key| ["authorise", "--key", key, "--board", &tag, "--services", "0", "12345678"];
    let reply = done(&args(&key));
    assert_eq!(done(&args(&link)), reply, "a link to a good file is as good");
    for bits in [0o640, 0o620, 0o610, 0o604, 0o602, 0o601, 0o777] {
        mode(&key, bits);
        for path in [&key, &link] {
            let line = refused(&args(path));
            assert!(line.ends_with(&format!("do: chmod 600 {path}")), "{bits:o}: {line}");
        }
    }
    for bits in [0o600, 0o400] {
        mode(&key, bits);
        assert_eq!(done(&args(&key)), reply);
    }
}

#[cfg(unix)]
#[test]
fn files_with_keys_are_for_their_owner_only_and_none_is_overwritten() {
    let workshop = Workshop::new("written");
    let key = workshop.file("workshop.key");
    let before = fs::read(&key).expect("a key file");
    let line = refused(&["key", "new", &key]);
    assert!(line.contains("never overwritten"), "{line}");
    assert_eq!(fs::read(&key).expect("a key file"), before);
    let dangling = workshop.file("dangling.key");
    std::os::unix::fs::symlink(workshop.file("nowhere"), &dangling).expect("a link");
    refused(&["key", "new", &dangling]);
    refused(&["key", "new", &workshop.file("no/such/folder.key")]);

    workshop.fit(BOARD, "part.bin", &[]);
    let part = workshop.file("part.bin");
    assert_eq!(mode_of(&part), 0o600);
    let before = fs::read(&part).expect("an image");
    let args = workshop.fit_args(NEIGHBOUR, "part.bin");
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let line = refused(&args);
    assert!(line.ends_with("--force overwrites it"), "{line}");
    assert_eq!(fs::read(&part).expect("an image"), before);
    mode(&part, 0o644);
    workshop.fit(NEIGHBOUR, "part.bin", &["--force"]);
    assert_ne!(fs::read(&part).expect("an image"), before);
    assert_eq!(mode_of(&part), 0o600);
    assert_eq!(workshop.names(), ["dangling.key", "part.bin", "workshop.key"]);
}

#[test]
fn a_fitting_that_cannot_be_is_one_line() {
    let workshop = Workshop::new("bad_fitting");
    let settings = workshop.file("board.toml");
    for (content, more, says) in [
        ("needles = 7", &[][..], "7 needles, but the profile is for 6"),
        ("top_speed_rpm = 9", &[], "top_speed_rpm must be 60 to 4,000"),
        ("", &["--stated-stitches", "281474976710656"], "at most 281,474,976,710,655"),
        ("", &["--clock", "--date", "2025-12-31"], "--date: a day from 2026-01-01"),
        ("", &["--clock", "--date", "2066-01-01"], "--date: a day from 2026-01-01"),
        ("", &["--clock", "--date", "tomorrow"], "--date: a day from 2026-01-01"),
        ("", &["--board-id", "x"], "--board-id: 1 to 16 hexadecimal digits"),
    ] {
        fs::write(&settings, content).expect("settings");
        let mut args = workshop.fit_args(BOARD, "part.bin");
        if more.first() == Some(&"--board-id") {
            args.drain(5..7);
        }
        args.extend(["--settings", &settings].map(String::from));
        args.extend(more.iter().map(|arg| (*arg).to_owned()));
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let line = refused(&args);
        assert!(line.contains(says), "{line}");
        assert_eq!(workshop.names(), ["board.toml", "workshop.key"]);
    }
    workshop.fit(BOARD, "part.bin", &["--clock", "--date", "2065-12-31"]);
}
