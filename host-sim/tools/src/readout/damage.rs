//! The ways in which a code read aloud comes out wrong, and what must come of each.
//!
//! Two codes differ in at least seven symbols. With `u` symbols unheard, the others still
//! differ in 7 − `u`, and at most (4 − `u`) / 2 wrong ones are corrected. What is promised for
//! each damage follows from that.

use std::fmt;

use shaftbook_readout::alphabet::LETTERS;
use shaftbook_readout::code::{Code, GROUP, SYMBOLS};

use shaftbook_world::sewing::random::Random;

/// A way to mishear a code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mishearing {
    /// Symbols taken for others, and symbols not heard at all.
    Misheard {
        /// Not heard, given as `?`.
        unheard: usize,
        /// Heard wrong.
        wrong: usize,
    },
    /// Two neighbours in the wrong order.
    NeighboursSwapped,
    /// Any two in the wrong order.
    TwoSwapped,
    /// Two pairs, each in the wrong order.
    TwoPairsSwapped,
    /// Two groups in the wrong order.
    GroupsSwapped,
    /// A group said twice, in place of another.
    GroupRepeated,
    /// Begun in the middle: the symbols turned round.
    Turned,
    /// A symbol left out: 29 are heard.
    Dropped,
    /// A symbol said twice: 31 are heard.
    Doubled,
    /// A symbol left out, and another said twice: 30 again.
    DroppedAndDoubled,
    /// A symbol left out, and one too many elsewhere: 30 again.
    DroppedAndAdded,
    /// Thirty symbols that are no code at all.
    Noise,
}

/// What must come of a damage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Promise {
    /// It is always decoded rightly.
    Right,
    /// It is never taken for another code.
    NeverWrong,
    /// It is taken for another code in at most 1 of 1,000 cases.
    Rarely,
}

impl Mishearing {
    /// Every damage that is counted, in the order of the table.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let wrong = (1..=8).map(|wrong| Self::Misheard { unheard: 0, wrong });
        let unheard =
            (1..=4).flat_map(|unheard| (0..=6).map(move |wrong| Self::Misheard { unheard, wrong }));
        let rest = [
            Self::Misheard { unheard: 5, wrong: 0 },
            Self::NeighboursSwapped,
            Self::TwoSwapped,
            Self::TwoPairsSwapped,
            Self::GroupsSwapped,
            Self::GroupRepeated,
            Self::Turned,
            Self::Dropped,
            Self::Doubled,
            Self::DroppedAndDoubled,
            Self::DroppedAndAdded,
            Self::Noise,
        ];
        wrong.chain(unheard).chain(rest).collect()
    }

    /// What must come of it.
    #[must_use]
    pub fn promise(self) -> Promise {
        match self {
            Self::Misheard { unheard, wrong } if 2 * wrong + unheard <= 4 => Promise::Right,
            Self::Misheard { unheard, wrong } => {
                let corrected = 4_usize.saturating_sub(unheard) / 2;
                if unheard > 4 || wrong + corrected + unheard < 7 {
                    Promise::NeverWrong
                } else {
                    Promise::Rarely
                }
            }
            Self::NeighboursSwapped | Self::TwoSwapped => Promise::Right,
            Self::TwoPairsSwapped | Self::Dropped | Self::Doubled => Promise::NeverWrong,
            Self::GroupsSwapped
            | Self::GroupRepeated
            | Self::Turned
            | Self::DroppedAndDoubled
            | Self::DroppedAndAdded
            | Self::Noise => Promise::Rarely,
        }
    }

    /// What is heard of `code`, as text without groups; `None` when the draw changes
    /// nothing, and is to be drawn again.
    pub fn of(self, code: &Code, random: &mut Random) -> Option<String> {
        let mut heard = code.ascii().to_vec();
        match self {
            Self::Misheard { unheard, wrong } => mishear(&mut heard, unheard, wrong, random),
            Self::NeighboursSwapped => {
                let place = below(random, SYMBOLS - 1);
                heard.swap(place, place + 1);
            }
            Self::TwoSwapped => {
                let [a, b] = places(random);
                heard.swap(a, b);
            }
            Self::TwoPairsSwapped => {
                let [a, b, c, d] = places(random);
                if heard[a] == heard[b] || heard[c] == heard[d] {
                    return None;
                }
                heard.swap(a, b);
                heard.swap(c, d);
            }
            Self::GroupsSwapped | Self::GroupRepeated => {
                let (one, other) = (below(random, 6) * GROUP, below(random, 6) * GROUP);
                for n in 0..GROUP {
                    if self == Self::GroupsSwapped {
                        heard.swap(one + n, other + n);
                    } else {
                        heard[one + n] = heard[other + n];
                    }
                }
            }
            Self::Turned => heard.rotate_left(1 + below(random, SYMBOLS - 1)),
            Self::Dropped => {
                heard.remove(below(random, SYMBOLS));
            }
            Self::Doubled => double(&mut heard, random),
            Self::DroppedAndDoubled => {
                heard.remove(below(random, SYMBOLS));
                double(&mut heard, random);
            }
            Self::DroppedAndAdded => {
                heard.remove(below(random, SYMBOLS));
                let added = LETTERS[below(random, 32)];
                heard.insert(below(random, SYMBOLS), added);
            }
            Self::Noise => heard.fill_with(|| LETTERS[below(random, 32)]),
        }
        (heard != code.ascii()).then(|| heard.into_iter().map(char::from).collect())
    }
}

fn below(random: &mut Random, below: usize) -> usize {
    random.below(below as u32) as usize
}

/// `N` different places.
fn places<const N: usize>(random: &mut Random) -> [usize; N] {
    let mut all: [usize; SYMBOLS] = std::array::from_fn(|n| n);
    for n in 0..N {
        all.swap(n, n + below(random, SYMBOLS - n));
    }
    std::array::from_fn(|n| all[n])
}

fn mishear(heard: &mut [u8], unheard: usize, wrong: usize, random: &mut Random) {
    let places: [usize; SYMBOLS] = places(random);
    for (n, place) in places.iter().take(unheard + wrong).enumerate() {
        let symbol = &mut heard[*place];
        if n < unheard {
            *symbol = b'?';
        } else {
            let was = LETTERS.iter().position(|l| l == symbol).unwrap_or(0);
            *symbol = LETTERS[was ^ (1 + below(random, 31))];
        }
    }
}

fn double(heard: &mut Vec<u8>, random: &mut Random) {
    let place = below(random, heard.len());
    heard.insert(place, heard[place]);
}

impl fmt::Display for Mishearing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self {
            Self::Misheard { unheard: 0, wrong } => return write!(f, "{wrong} wrong"),
            Self::Misheard { unheard, wrong: 0 } => return write!(f, "{unheard} unheard"),
            Self::Misheard { unheard, wrong } => {
                return write!(f, "{unheard} unheard, {wrong} wrong");
            }
            Self::NeighboursSwapped => "two neighbours swapped",
            Self::TwoSwapped => "any two swapped",
            Self::TwoPairsSwapped => "two pairs swapped",
            Self::GroupsSwapped => "two groups swapped",
            Self::GroupRepeated => "a group in another's place",
            Self::Turned => "begun in the middle",
            Self::Dropped => "one dropped (29)",
            Self::Doubled => "one doubled (31)",
            Self::DroppedAndDoubled => "one dropped, one doubled",
            Self::DroppedAndAdded => "one dropped, one added",
            Self::Noise => "thirty random symbols",
        };
        f.write_str(text)
    }
}

impl fmt::Display for Promise {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Right => "always right",
            Self::NeverWrong => "never wrong",
            Self::Rarely => "1 in 1,000",
        })
    }
}
