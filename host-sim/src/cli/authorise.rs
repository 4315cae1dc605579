//! `shaftbook authorise`: the engineer's reply to a board's challenge.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::ValueEnum;
use serde::Serialize;
use shaftbook_core::authority::{self, EightDigits, Purpose};
use shaftbook_core::service::CHALLENGE_LIFE_S;
use shaftbook_readout::tag::BoardTag;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, print};
use shaftbook_tools::keys::file;

/// Answer a board's challenge, so that the person at the machine may do what only the
/// engineer allows.
///
/// The board shows its tag, the services done until now and a challenge of eight digits.
/// The reply is good once, for that challenge, that board, that number of services and
/// that purpose. Read it to the person at the machine.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook authorise --key workshop.key --board Y25G-1PQS --services 3 1234 5678
  shaftbook authorise --key workshop.key --board y25g1pqs --services 3 --for renewal 12345678

Ask what was done before you allow it: a reply cannot be taken back. What this protects
against, and what not, is in docs/SECURITY.md.")]
pub struct Args {
    /// Workshop's key file
    #[arg(long, value_name = "FILE")]
    key: PathBuf,
    /// Board's tag, eight letters and digits
    #[arg(long, value_name = "TAG")]
    board: String,
    /// Services done until now, as the board shows beside the challenge
    #[arg(long, value_name = "N")]
    services: u16,
    /// What is to be allowed
    #[arg(long = "for", value_name = "PURPOSE", value_enum, default_value_t)]
    purpose: For,
    /// Challenge, eight digits; spaces and dashes do not matter
    #[arg(required = true, value_name = "CHALLENGE")]
    challenge: Vec<String>,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// What is to be allowed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum, Serialize)]
#[serde(rename_all = "lowercase")]
enum For {
    /// A service
    #[default]
    Service,
    /// Renewal of the component that was named on the telephone
    Renewal,
    /// A new fitting of a board that is already fitted
    Refit,
}

impl For {
    const fn purpose(self) -> Purpose {
        match self {
            Self::Service => Purpose::Service,
            Self::Renewal => Purpose::Renewal,
            Self::Refit => Purpose::Refit,
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::Service => "one service",
            Self::Renewal => "the renewal that the challenge was asked for",
            Self::Refit => "one new fitting",
        }
    }
}

/// The eight digits that `words` write together.
fn challenge(words: &[String]) -> Result<EightDigits, Failure> {
    let is_gap = |c: &char| c.is_whitespace() || matches!(c, '-' | '‐' | '‑' | '–' | '—');
    let digits: String =
        words.iter().flat_map(|word| word.chars()).filter(|c| !is_gap(c)).collect();
    let are_digits = digits.len() == 8 && digits.bytes().all(|b| b.is_ascii_digit());
    digits
        .parse()
        .ok()
        .filter(|_| are_digits)
        .and_then(EightDigits::new)
        .ok_or_else(|| Failure("the challenge has eight digits, such as 1234 5678".into()))
}

#[derive(Debug, Serialize)]
struct Report {
    reply: String,
    board: String,
    services: u16,
    purpose: For,
    challenge: String,
    life_s: u64,
}

impl Report {
    fn text(&self) -> String {
        let mut text = format!("reply {}\n", self.reply);
        let _ = writeln!(
            text,
            "good for {}: board {}, {} services done, challenge {}; one try, within {} min",
            self.purpose.name(),
            self.board,
            self.services,
            self.challenge,
            self.life_s / 60
        );
        text
    }
}

/// Two groups of four digits.
fn in_groups(digits: EightDigits) -> String {
    format!("{:04} {:04}", digits.get() / 10_000, digits.get() % 10_000)
}

/// Does it.
///
/// # Errors
/// A challenge or tag that is none, or a key file that cannot be used.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let challenge = challenge(&args.challenge)?;
    let board = BoardTag::parse(&args.board).map_err(|e| Failure(format!("--board: {e}")))?;
    let key = file::load(&args.key)?.board_key(board);
    let reply = authority::reply(&key, args.purpose.purpose(), args.services, challenge);
    let report = Report {
        reply: in_groups(reply),
        board: board.to_string(),
        services: args.services,
        purpose: args.purpose,
        challenge: in_groups(challenge),
        life_s: CHALLENGE_LIFE_S,
    };
    print(args.format, &report.text(), &report)?;
    Ok(Verdict::Held)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(words: &[&str]) -> Option<u32> {
        let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
        challenge(&words).ok().map(EightDigits::get)
    }

    #[test]
    fn a_challenge_is_eight_digits_however_they_are_grouped() {
        for words in
            [&["00012345"][..], &["0001", "2345"], &["00-01-23-45"], &[" 0001\u{2013}2345 "]]
        {
            assert_eq!(of(words), Some(12_345), "{words:?}");
        }
        for words in [
            &["1234567"][..],
            &["123456789"],
            &["1234567O"],
            &["1234567٣"],
            &["+1234567"],
            &[""],
            &["1234", "56789"],
            &["0x123456"],
        ] {
            assert_eq!(of(words), None, "{words:?}");
        }
    }

    #[test]
    fn digits_are_written_in_two_groups_with_their_zeros() {
        assert_eq!(in_groups(EightDigits::new(42).unwrap()), "0000 0042");
        assert_eq!(in_groups(EightDigits::new(99_999_999).unwrap()), "9999 9999");
    }
}
