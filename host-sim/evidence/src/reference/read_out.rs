//! The read-out code and the board's tag (`docs/FORMAT.md`, section 11).

use sha2::{Digest, Sha256};

/// Letters of the symbols, by their values (11.1).
pub const LETTERS: &str = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// The mask (11.2).
const MASK: &str = "6VRX4NE0A0166HVN96C9R5AFTKQSF8";
/// Symbols of a code.
pub const SYMBOLS: usize = 30;
/// Symbols without the parity.
const DATA: usize = 24;
/// The field's polynomial.
const PRIMITIVE: u32 = 0x25;

/// Width of each field, bits, in their order (11.3).
const WIDTHS: [u32; 15] = [2, 20, 17, 10, 1, 1, 1, 15, 8, 6, 6, 15, 3, 3, 6];

/// What a code says, field by field.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// The version.
    pub version: u64,
    /// The first four symbols of the tag, as bits.
    pub tag: u64,
    /// Powered time, h.
    pub powered: u64,
    /// Time since the last service, h.
    pub interval: u64,
    /// What the interval counts.
    pub measure: u64,
    /// The service is due.
    pub service: u64,
    /// A past was stated.
    pub stated: u64,
    /// Stitches, in steps.
    pub stitches: u64,
    /// Trims with the fixed knife, in steps.
    pub knife: u64,
    /// The most pressing component.
    pub kind: u64,
    /// Its wear, in steps.
    pub wear: u64,
    /// Faults, the first at the highest bit.
    pub faults: u64,
    /// Components that are due.
    pub due: u64,
    /// Components at notice.
    pub notice: u64,
    /// Services done.
    pub services: u64,
    /// The strongest hint.
    pub hint: u64,
}

impl Said {
    /// All fields with their names, in their order.
    #[must_use]
    pub fn named(&self) -> [(&'static str, u64); 16] {
        [
            ("version", self.version),
            ("tag", self.tag),
            ("powered", self.powered),
            ("interval", self.interval),
            ("measure", self.measure),
            ("service", self.service),
            ("stated", self.stated),
            ("stitches", self.stitches),
            ("knife", self.knife),
            ("kind", self.kind),
            ("wear", self.wear),
            ("faults", self.faults),
            ("due", self.due),
            ("notice", self.notice),
            ("services", self.services),
            ("hint", self.hint),
        ]
    }

    fn of(mut bits: u128) -> Self {
        // From the last field to the first.
        let mut take = |width: u32| {
            let value = bits & ((1 << width) - 1);
            bits >>= width;
            value as u64
        };
        let hint = take(6);
        let mut fields = WIDTHS.iter().rev().map(|width| take(*width)).collect::<Vec<_>>();
        let mut next = || fields.pop().unwrap_or(0);
        Self {
            version: next(),
            tag: next(),
            powered: next(),
            interval: next(),
            measure: next(),
            service: next(),
            stated: next(),
            stitches: next(),
            knife: next(),
            kind: next(),
            wear: next(),
            faults: next(),
            due: next(),
            notice: next(),
            services: next(),
            hint,
        }
    }

    fn bits(&self) -> u128 {
        let widths = WIDTHS.iter().chain(&[6]);
        self.named().iter().zip(widths).fold(0, |bits, ((_, value), width)| {
            bits << width | u128::from(*value) & ((1 << width) - 1)
        })
    }
}

/// The product of two symbols: shift and reduce.
#[must_use]
pub fn times(a: u32, b: u32) -> u32 {
    let mut product = (0..5).fold(0, |sum, n| sum ^ ((a << n) * (b >> n & 1)));
    for n in (5..10).rev() {
        if product >> n & 1 == 1 {
            product ^= PRIMITIVE << (n - 5);
        }
    }
    product
}

/// 2, so many times.
fn power(n: u32) -> u32 {
    (0..n).fold(1, |product, _| times(product, 2))
}

fn value(letter: char) -> Option<u32> {
    LETTERS.find(letter).map(|value| value as u32)
}

fn letter(value: u32) -> char {
    LETTERS.chars().nth(value as usize & 31).unwrap_or('?')
}

/// Whether the symbols are a Reed–Solomon word: 0 at each of the six roots.
fn is_word(symbols: &[u32]) -> bool {
    (0..6)
        .map(power)
        .all(|root| symbols.iter().fold(0, |value, symbol| times(value, root) ^ symbol) == 0)
}

/// What thirty letters and digits say that were heard rightly.
///
/// # Errors
/// Why they are no code, in a sentence.
pub fn decoded(text: &str) -> Result<Said, String> {
    let heard: Vec<char> = text.chars().filter(|c| !c.is_whitespace()).collect();
    let symbols: Vec<u32> = heard
        .iter()
        .zip(MASK.chars())
        .filter_map(|(symbol, mask)| Some(value(*symbol)? ^ value(mask)?))
        .collect();
    if heard.len() != SYMBOLS || symbols.len() != SYMBOLS {
        return Err(format!("`{text}` is not thirty symbols"));
    }
    if !is_word(&symbols) {
        return Err(format!("the parity of `{text}` does not fit"));
    }
    let bits = symbols[..DATA].iter().fold(0_u128, |bits, s| bits << 5 | u128::from(*s));
    Ok(Said::of(bits))
}

/// The thirty letters and digits that say this, whatever it is.
#[must_use]
pub fn encoded(said: &Said) -> String {
    let bits = said.bits();
    let mut word: Vec<u32> =
        (0..DATA).map(|n| (bits >> (5 * (DATA - 1 - n))) as u32 & 31).collect();
    // The generator, the highest power first, and the rest of a long division by it.
    let generator = (0..6).map(power).fold(vec![1], |product, root| {
        let mut next = product.clone();
        next.push(0);
        for (n, term) in product.iter().enumerate() {
            next[n + 1] ^= times(*term, root);
        }
        next
    });
    let mut rest = word.clone();
    rest.resize(SYMBOLS, 0);
    for n in 0..DATA {
        let factor = rest[n];
        for (m, term) in generator.iter().enumerate() {
            rest[n + m] ^= times(factor, *term);
        }
    }
    word.extend(&rest[DATA..]);
    word.iter().zip(MASK.chars()).map(|(s, mask)| letter(s ^ value(mask).unwrap_or(0))).collect()
}

/// The tag of the board with this identity, as it is shown (11.5).
#[must_use]
pub fn tag(id: u64) -> String {
    let hash = Sha256::digest(id.to_be_bytes());
    let word = hash.iter().take(8).fold(0_u64, |word, byte| word << 8 | u64::from(*byte));
    let symbols: Vec<u32> = (0..7).map(|n| (word >> (59 - 5 * n)) as u32 & 31).collect();
    let sum = (1..).zip(&symbols).fold(1, |sum, (n, symbol)| sum ^ times(power(n), *symbol));
    let text: String = symbols.iter().chain(&[sum]).map(|symbol| letter(*symbol)).collect();
    format!("{}-{}", &text[..4], &text[4..])
}

/// The first four symbols of a tag, as the bits of a code.
#[must_use]
pub fn tag_bits(tag: &str) -> u64 {
    tag.chars().take(4).filter_map(value).fold(0, |bits, symbol| bits << 5 | u64::from(symbol))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of 11.6.
    #[test]
    fn the_worked_example_is_read_and_written() {
        let code = "97SFW HWJJZ 94215 MZPCD SDDCF DDWJM";
        let said = decoded(code).expect("a code");
        assert_eq!(tag(0x5AFE_B00C_0000_0001), "ZG6B-3245");
        assert_eq!((said.tag, said.version), (tag_bits("ZG6B-3245"), 1));
        assert_eq!((said.powered, said.interval, said.measure, said.service), (2_345, 399, 1, 0));
        assert_eq!((said.stated, said.stitches, said.knife), (1, 274, 30));
        assert_eq!((said.kind, said.wear, said.due, said.notice), (3, 26, 1, 2));
        assert_eq!((said.faults, said.services, said.hint), (1 << 4, 3, 35));
        assert_eq!(encoded(&said), code.replace(' ', ""));
    }

    #[test]
    fn one_other_symbol_is_no_word() {
        assert!(decoded("97SFW HWJJZ 94215 MZPCD SDDCF DDWJN").is_err());
    }
}
