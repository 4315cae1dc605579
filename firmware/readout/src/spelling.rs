//! The words by which letters and digits are said over the phone.
//!
//! Source of the words for letters: ICAO Annex 10 Vol. II and ITU Radio Regulations
//! Appendix 14, from memory. Digits are said as in English; "niner" sets nine apart from
//! five, by the same source, from memory.

/// The word for `symbol`, of which only the low 5 bits count.
#[must_use]
pub const fn word(symbol: u8) -> &'static str {
    match symbol & 31 {
        0 => "zero",
        1 => "one",
        2 => "two",
        3 => "three",
        4 => "four",
        5 => "five",
        6 => "six",
        7 => "seven",
        8 => "eight",
        9 => "niner",
        10 => "Alfa",
        11 => "Bravo",
        12 => "Charlie",
        13 => "Delta",
        14 => "Echo",
        15 => "Foxtrot",
        16 => "Golf",
        17 => "Hotel",
        18 => "Juliett",
        19 => "Kilo",
        20 => "Mike",
        21 => "November",
        22 => "Papa",
        23 => "Quebec",
        24 => "Romeo",
        25 => "Sierra",
        26 => "Tango",
        27 => "Victor",
        28 => "Whiskey",
        29 => "X-ray",
        30 => "Yankee",
        _ => "Zulu",
    }
}

#[cfg(test)]
mod tests {
    use super::word;
    use crate::alphabet::letter;

    #[test]
    fn each_letter_begins_its_word() {
        for symbol in 10..32 {
            assert!(word(symbol).starts_with(letter(symbol)), "{}", word(symbol));
        }
    }

    #[test]
    fn no_word_is_said_for_two_symbols() {
        for a in 0..32 {
            assert!((0..a).all(|b| word(b) != word(a)), "{}", word(a));
        }
    }
}
