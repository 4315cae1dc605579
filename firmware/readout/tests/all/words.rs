//! Reed–Solomon words against an independent library, and how much is corrected at most.

use proptest::prelude::*;
use proptest::sample::subsequence;
use shaftbook_readout::alphabet::{Written, letter, read};
use shaftbook_readout::reed_solomon::{Uncorrectable, correct, parity, syndromes};

/// Made by `tests/data/readout/read_out.py` with the Python package `reedsolo`; its
/// first word is the published one, `123456789ABCDEFGHJKMN` with parity `X7BG`.
const VECTORS: &str = include_str!("../../../../tests/data/readout/vectors.txt");

fn symbols(text: &str) -> Vec<Option<u8>> {
    let symbol = |c| match read(c) {
        Written::Symbol(symbol) => Some(symbol),
        Written::Unheard => None,
        other => panic!("{c}: {other:?}"),
    };
    text.chars().map(symbol).collect()
}

fn word(text: &str) -> Vec<u8> {
    symbols(text).into_iter().map(|symbol| symbol.expect("all heard")).collect()
}

fn text(word: &[u8]) -> String {
    word.iter().map(|symbol| letter(*symbol)).collect()
}

#[test]
fn four_parity_symbols_are_the_published_ones() {
    assert_eq!(text(&parity::<4>(&word("123456789ABCDEFGHJKMN"))), "X7BG");
    assert!(VECTORS.lines().any(|line| line == "four 123456789ABCDEFGHJKMNX7BG"));
}

#[test]
fn words_are_made_and_corrected_as_by_reedsolo() {
    let (mut corrected, mut refused) = (0, 0);
    for line in VECTORS.lines().filter(|line| line.starts_with("six ")) {
        let parts: Vec<_> = line.split(' ').collect();
        let [_, whole, heard, meant] = parts[..] else { panic!("{line}") };
        let whole = word(whole);
        assert_eq!(parity::<6>(&whole[..24]), whole[24..], "{line}");
        let heard: [Option<u8>; 30] = symbols(heard).try_into().expect("thirty");
        if let Ok(found) = correct::<30, 6>(&heard, 2) {
            assert_eq!(text(&found), meant, "{line}");
            corrected += 1;
        } else {
            assert_eq!(meant, "-", "{line}");
            refused += 1;
        }
    }
    assert!(corrected > 100 && refused > 100, "{corrected} corrected, {refused} refused");
}

fn whole(message: &[u8]) -> [u8; 30] {
    let parity = parity::<6>(message);
    let mut word = [0; 30];
    word[..24].copy_from_slice(message);
    word[24..].copy_from_slice(&parity);
    word
}

/// A message, and places to spoil with what is added there (never 0).
fn spoilt(least: usize, most: usize) -> impl Strategy<Value = (Vec<u8>, Vec<usize>, Vec<u8>)> {
    (
        prop::collection::vec(0..32_u8, 24),
        subsequence((0..30).collect::<Vec<_>>(), least..=most).prop_shuffle(),
        prop::collection::vec(1..32_u8, most),
    )
}

/// The word with the first `unheard` places not heard and the others wrong.
fn heard(word: &[u8; 30], places: &[usize], by: &[u8], unheard: usize) -> [Option<u8>; 30] {
    let mut heard = word.map(Some);
    for (n, (place, by)) in places.iter().zip(by).enumerate() {
        heard[*place] = if n < unheard { None } else { Some(word[*place] ^ by) };
    }
    heard
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn up_to_two_wrong_are_corrected((message, places, by) in spoilt(0, 2)) {
        let word = whole(&message);
        prop_assert_eq!(syndromes::<6>(&word), [0; 6]);
        prop_assert_eq!(correct::<30, 6>(&heard(&word, &places, &by, 0), 2), Ok(word));
        prop_assert_eq!(correct::<30, 6>(&word.map(Some), 2), Ok(word));
    }

    #[test]
    fn up_to_four_unheard_are_filled_in((message, places, by) in spoilt(0, 4)) {
        let word = whole(&message);
        prop_assert_eq!(correct::<30, 6>(&heard(&word, &places, &by, 4), 2), Ok(word));
    }

    #[test]
    fn one_or_two_unheard_and_one_wrong_are_mended((message, places, by) in spoilt(0, 3)) {
        let word = whole(&message);
        let unheard = places.len().saturating_sub(1);
        prop_assert_eq!(correct::<30, 6>(&heard(&word, &places, &by, unheard), 2), Ok(word));
    }

    /// Two words differ in seven symbols: what is further than the bound from its own
    /// word and not yet near another is refused, always.
    #[test]
    fn three_or_four_wrong_are_always_refused((message, places, by) in spoilt(3, 4)) {
        let word = whole(&message);
        let found = correct::<30, 6>(&heard(&word, &places, &by, 0), 2);
        prop_assert_eq!(found, Err(Uncorrectable::Wrong));
    }

    #[test]
    fn four_unheard_and_one_or_two_wrong_are_always_refused((message, places, by) in spoilt(5, 6)) {
        let word = whole(&message);
        let found = correct::<30, 6>(&heard(&word, &places, &by, 4), 2);
        prop_assert_eq!(found, Err(Uncorrectable::Wrong));
        let found = correct::<30, 6>(&heard(&word, &places, &by, places.len()), 2);
        prop_assert_eq!(found, Err(Uncorrectable::Unheard));
    }

    /// Whatever comes in: a word of the code within the bound, or a refusal.
    #[test]
    fn what_is_accepted_is_a_word_within_the_bound(
        heard in prop::collection::vec(prop::option::weighted(0.95, any::<u8>()), 30),
        keep in 0..8_usize,
    ) {
        let heard: [Option<u8>; 30] = heard.try_into().expect("thirty");
        if let Ok(word) = correct::<30, 6>(&heard, keep) {
            prop_assert_eq!(syndromes::<6>(&word), [0; 6]);
            let wrong = heard.iter().zip(&word).filter(|(h, w)| h.is_some_and(|h| h & 31 != **w));
            let unheard = heard.iter().filter(|h| h.is_none()).count();
            prop_assert!(2 * wrong.count() + unheard + keep <= 6);
        }
    }
}
