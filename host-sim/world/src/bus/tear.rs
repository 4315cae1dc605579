//! What a cut leaves of a page whose program cycle had begun.

use core::fmt;
use core::str::FromStr;

use rand_core::Rng;
use rand_pcg::Pcg32;

/// Longest page a tear can describe, bytes.
pub(super) const PAGE_BYTES_MAX: usize = 256;

/// The outcome of a cut program cycle, for the whole page.
///
/// Written short and read back (`old`, `new`, `p17`, `m2f…`, `ff`, `g9c…`) so that a
/// failing case can be named on a command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tear {
    /// What the page held before.
    Old,
    /// What it holds after a whole cycle.
    New,
    /// New up to this byte of the page, old from it on.
    Prefix(u16),
    /// Byte `i` of the page is new where bit `i` modulo 128 is set, else old: of a longer page
    /// each half alike. (A record ends at byte 64, so of what is read nothing is left out.)
    Mix(u128),
    /// 0xFF everywhere.
    Erased,
    /// Arbitrary bytes, drawn from this seed.
    Garbage(u64),
}

impl Tear {
    /// Turns the page from what it held into what the cut leaves. `new` is as long as
    /// `page`, at most 256 bytes.
    pub fn apply(self, page: &mut [u8], new: &[u8]) {
        match self {
            Self::Old => {}
            Self::New => page.copy_from_slice(new),
            Self::Prefix(count) => {
                let count = usize::from(count).min(page.len());
                page[..count].copy_from_slice(&new[..count]);
            }
            Self::Mix(mask) => {
                for (bit, (byte, new)) in page.iter_mut().zip(new).enumerate() {
                    if mask >> (bit % 128) & 1 == 1 {
                        *byte = *new;
                    }
                }
            }
            Self::Erased => page.fill(0xFF),
            Self::Garbage(seed) => Pcg32::new(seed, 0x6A5B).fill_bytes(page),
        }
    }

    /// Any outcome, by `seed`, each kind as likely as the others.
    #[must_use]
    pub fn draw(seed: u64, page_bytes: u16) -> Self {
        let mut rng = Pcg32::new(seed, 0x7EA2);
        match rng.next_u32() % 6 {
            0 => Self::Old,
            1 => Self::New,
            2 => Self::Prefix((rng.next_u32() % (u32::from(page_bytes) + 1)) as u16),
            3 => Self::Mix(u128::from(rng.next_u64()) << 64 | u128::from(rng.next_u64())),
            4 => Self::Erased,
            _ => Self::Garbage(rng.next_u64()),
        }
    }

    /// Every outcome of a page of `page_bytes`: old, new, erased, each prefix, and
    /// `draws` each of mixes and garbage, by `seed`.
    pub fn every(page_bytes: u16, draws: u32, seed: u64) -> impl Iterator<Item = Self> {
        let mut rng = Pcg32::new(seed, 0xE7E5);
        let prefixes = (1..page_bytes).map(Self::Prefix);
        let random = (0..draws).flat_map(move |_| {
            let mask = u128::from(rng.next_u64()) << 64 | u128::from(rng.next_u64());
            [Self::Mix(mask), Self::Garbage(rng.next_u64())]
        });
        [Self::Old, Self::New, Self::Erased].into_iter().chain(prefixes).chain(random)
    }
}

impl fmt::Display for Tear {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Old => f.write_str("old"),
            Self::New => f.write_str("new"),
            Self::Prefix(count) => write!(f, "p{count}"),
            Self::Mix(mask) => write!(f, "m{mask:x}"),
            Self::Erased => f.write_str("ff"),
            Self::Garbage(seed) => write!(f, "g{seed:x}"),
        }
    }
}

/// A text that names no [`Tear`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BadTear;

impl fmt::Display for BadTear {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a tear is old, new, ff, p<bytes>, m<hex mask> or g<hex seed>")
    }
}

impl core::error::Error for BadTear {}

impl FromStr for Tear {
    type Err = BadTear;

    fn from_str(text: &str) -> Result<Self, BadTear> {
        match text {
            "old" => return Ok(Self::Old),
            "new" => return Ok(Self::New),
            "ff" => return Ok(Self::Erased),
            _ => {}
        }
        let tear = if let Some(count) = text.strip_prefix('p') {
            count.parse().map(Self::Prefix)
        } else if let Some(mask) = text.strip_prefix('m') {
            u128::from_str_radix(mask, 16).map(Self::Mix)
        } else if let Some(seed) = text.strip_prefix('g') {
            u64::from_str_radix(seed, 16).map(Self::Garbage)
        } else {
            return Err(BadTear);
        };
        tear.map_err(|_| BadTear)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OLD: [u8; 8] = [10, 11, 12, 13, 14, 15, 16, 17];
    const NEW: [u8; 8] = [20, 21, 22, 23, 24, 25, 26, 27];

    fn torn(tear: Tear) -> [u8; 8] {
        let mut page = OLD;
        tear.apply(&mut page, &NEW);
        page
    }

    #[test]
    fn each_outcome_is_what_its_name_says() {
        assert_eq!(torn(Tear::Old), OLD);
        assert_eq!(torn(Tear::New), NEW);
        assert_eq!(torn(Tear::Prefix(0)), OLD);
        assert_eq!(torn(Tear::Prefix(3)), [20, 21, 22, 13, 14, 15, 16, 17]);
        assert_eq!(torn(Tear::Prefix(200)), NEW);
        assert_eq!(torn(Tear::Mix(0b1000_0101)), [20, 11, 22, 13, 14, 15, 16, 27]);
        assert_eq!(torn(Tear::Erased), [0xFF; 8]);
        assert_eq!(torn(Tear::Garbage(1)), torn(Tear::Garbage(1)));
        assert_ne!(torn(Tear::Garbage(1)), torn(Tear::Garbage(2)));
    }

    /// The generator's algorithm must not change under us: ids of failing cases name
    /// its output.
    #[test]
    fn garbage_is_the_same_bytes_in_every_version() {
        assert_eq!(torn(Tear::Garbage(0x5EED)), [241, 35, 35, 74, 103, 66, 35, 254]);
    }

    #[test]
    fn every_tear_is_read_back_from_its_short_name() {
        for tear in Tear::every(256, 5, 42).chain((0..50).map(|seed| Tear::draw(seed, 64))) {
            assert_eq!(tear.to_string().parse(), Ok(tear));
        }
        for bad in ["", "p", "p70000", "mxyz", "g", "older", "x1"] {
            assert_eq!(bad.parse::<Tear>(), Err(BadTear), "{bad}");
        }
    }

    #[test]
    fn pages_of_256_bytes_are_torn_at_each_byte_and_mixed_in_both_halves() {
        let torn = |tear: Tear| {
            let mut page = [0; 256];
            tear.apply(&mut page, &[1; 256]);
            page
        };
        let prefixes = Tear::every(256, 0, 1).filter(|tear| matches!(tear, Tear::Prefix(_)));
        assert!(prefixes.map(|tear| torn(tear).iter().sum::<u8>()).eq(1..=255));
        assert_eq!(torn(Tear::Prefix(256)), [1; 256]);
        let mixed = torn(Tear::Mix(1 << 127 | 2));
        let places: Vec<usize> = (0..256).filter(|at| mixed[*at] == 1).collect();
        assert_eq!(places, [1, 127, 129, 255]);
        assert!((0..9_000).any(|seed| Tear::draw(seed, 256) == Tear::Prefix(256)));
    }

    #[test]
    fn draws_reach_every_kind() {
        let mut seen = [false; 6];
        for seed in 0..100 {
            seen[match Tear::draw(seed, 64) {
                Tear::Old => 0,
                Tear::New => 1,
                Tear::Prefix(_) => 2,
                Tear::Mix(_) => 3,
                Tear::Erased => 4,
                Tear::Garbage(_) => 5,
            }] = true;
        }
        assert_eq!(seen, [true; 6]);
    }
}
