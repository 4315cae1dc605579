//! Reed–Solomon words over GF(32): parity, and correction that knows when to stop.
//!
//! A word of `N` symbols, the first the highest power, is a multiple of the generator
//! polynomial ∏ (x − 2ʲ), j = 0 … `P` − 1: first root 0, generator 2, as the Python
//! package `reedsolo` builds it with `prim=0x25, generator=2, fcr=0, c_exp=5`. The last
//! `P` symbols are the parity. Words shorter than 31 are shortened: the missing first
//! symbols are 0. Any two words differ in at least `P` + 1 symbols.
//!
//! Invariants: a corrected word is a word (its syndromes are computed again), and it
//! differs from what was heard in at most `wrong` symbols that were heard, with
//! 2 · `wrong` + `unheard` ≤ `P` − `keep`. What does not fit is refused. `keep` symbols
//! of redundancy always stay for detection.
//!
//! Panics: none. Work: about `P` · `N` products.

use crate::gf32::{ORDER, over, power, times};

/// Room for a polynomial of degree `P`.
const ROOM: usize = 8;
/// A polynomial, the constant term first.
type Polynomial = [u8; ROOM];

/// Why a word was not corrected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Uncorrectable {
    /// More symbols were not heard than can be filled in.
    Unheard,
    /// More symbols are wrong than may be corrected.
    Wrong,
}

/// The `P` parity symbols of `message`: what follows it in its word.
#[must_use]
pub fn parity<const P: usize>(message: &[u8]) -> [u8; P] {
    const { assert!(P >= 1 && P < ROOM, "1 to 7 parity symbols") };
    let generator = generator::<P>();
    // The rest of message · xᴾ divided by the generator, a symbol at a time.
    let mut rest = [0; P];
    for symbol in message {
        let factor = (symbol & 31) ^ rest[0];
        rest.rotate_left(1);
        rest[P - 1] = 0;
        for (term, of_generator) in rest.iter_mut().zip(generator.iter().take(P).rev()) {
            *term ^= times(factor, *of_generator);
        }
    }
    rest
}

/// ∏ (x − 2ʲ), j = 0 … `P` − 1.
fn generator<const P: usize>() -> Polynomial {
    let mut product = [0; ROOM];
    product[0] = 1;
    for j in 0..P {
        let root = power(j);
        for n in (0..ROOM).rev() {
            let below = if n == 0 { 0 } else { product[n - 1] };
            product[n] = below ^ times(product[n], root);
        }
    }
    product
}

/// The value of `word` at each root; all 0 for a word that belongs to the code.
#[must_use]
pub fn syndromes<const P: usize>(word: &[u8]) -> [u8; P] {
    core::array::from_fn(|j| {
        word.iter().fold(0, |value, symbol| times(value, power(j)) ^ (symbol & 31))
    })
}

/// The word that was meant by what was heard; `None` is a symbol not heard.
///
/// # Errors
/// [`Uncorrectable`] when there is no word near enough: see the invariants.
pub fn correct<const N: usize, const P: usize>(
    heard: &[Option<u8>; N],
    keep: usize,
) -> Result<[u8; N], Uncorrectable> {
    const { assert!(P >= 1 && P < ROOM && P < N && N <= ORDER, "a word of this code") };
    let mut word = heard.map(|symbol| symbol.unwrap_or(0) & 31);
    let unheard = heard.iter().filter(|symbol| symbol.is_none()).count();
    if unheard + keep > P {
        return Err(Uncorrectable::Unheard);
    }
    let syndromes = syndromes::<P>(&word);
    let mut locator = [0; ROOM];
    locator[0] = 1;
    for (place, _) in heard.iter().enumerate().filter(|(_, symbol)| symbol.is_none()) {
        add_root(&mut locator, power(N - 1 - place));
    }
    let errata = find_locator(&syndromes, &mut locator, unheard);
    let wrong = errata.saturating_sub(unheard);
    if 2 * wrong + unheard + keep > P {
        return Err(Uncorrectable::Wrong);
    }
    let evaluator = evaluator(&syndromes, locator);
    let mut found = 0;
    for (place, symbol) in word.iter_mut().enumerate() {
        let inverse = power(ORDER - (N - 1 - place));
        if value(locator, inverse) == 0 {
            // Forney's formula; with first root 0 the locator of the place is a factor.
            let size = times(power(N - 1 - place), value(evaluator, inverse));
            let size = over(size, slope(locator, inverse)).ok_or(Uncorrectable::Wrong)?;
            *symbol ^= size;
            found += 1;
        }
    }
    if found != errata || self::syndromes::<P>(&word).iter().any(|s| *s != 0) {
        return Err(Uncorrectable::Wrong);
    }
    Ok(word)
}

/// `polynomial` · (1 − `locator` x).
fn add_root(polynomial: &mut Polynomial, locator: u8) {
    for n in (1..ROOM).rev() {
        polynomial[n] ^= times(polynomial[n - 1], locator);
    }
}

/// Berlekamp and Massey's search for the shortest locator of all places that are wrong,
/// begun with that of the `unheard` ones; how many places it has.
fn find_locator<const P: usize>(
    syndromes: &[u8; P],
    locator: &mut Polynomial,
    unheard: usize,
) -> usize {
    let (mut before, mut length) = (*locator, unheard);
    for step in unheard..P {
        let discrepancy = syndromes[..=step]
            .iter()
            .rev()
            .zip(locator.iter())
            .fold(0, |sum, (syndrome, term)| sum ^ times(*syndrome, *term));
        before.rotate_right(1);
        before[0] = 0;
        if discrepancy == 0 {
            continue;
        }
        let mut next = *locator;
        for (term, old) in next.iter_mut().zip(&before) {
            *term ^= times(discrepancy, *old);
        }
        if 2 * length <= step + unheard {
            length = step + 1 + unheard - length;
            before = locator.map(|term| over(term, discrepancy).unwrap_or(0));
        }
        *locator = next;
    }
    length
}

/// Syndromes · locator, without the powers from xᴾ on.
fn evaluator<const P: usize>(syndromes: &[u8; P], locator: Polynomial) -> Polynomial {
    let mut product = [0; ROOM];
    for (n, term) in product.iter_mut().take(P).enumerate() {
        *term = syndromes[..=n]
            .iter()
            .rev()
            .zip(&locator)
            .fold(0, |sum, (syndrome, factor)| sum ^ times(*syndrome, *factor));
    }
    product
}

fn value(polynomial: Polynomial, x: u8) -> u8 {
    polynomial.iter().rev().fold(0, |value, term| times(value, x) ^ term)
}

/// The value of the derivative: in characteristic 2 the even powers fall away.
fn slope(polynomial: Polynomial, x: u8) -> u8 {
    let square = times(x, x);
    polynomial.chunks_exact(2).rev().fold(0, |value, pair| times(value, square) ^ pair[1])
}
