//! Read-out codes from end to end: what is said is what is understood, or nothing is.

use proptest::prelude::*;
use proptest::sample::{select, subsequence};
use sha2::{Digest, Sha256};
use shaftbook_care::hint::{Certainty, Finding};
use shaftbook_core::component::ComponentKind;
use shaftbook_core::counters::Needle;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::identity::BoardId;
use shaftbook_core::settings::ServiceMeasure;
use shaftbook_readout::alphabet::{LETTERS, letter};
use shaftbook_readout::code::{Code, MASK, MASK_LABEL, SYMBOLS};
use shaftbook_readout::decode::{KEPT, Refused, decode, decode_keeping};
use shaftbook_readout::heard::Heard;
use shaftbook_readout::reed_solomon::{correct, parity};
use shaftbook_readout::state::{DATA, Pressing, ReadOut, Sign, StateError};
use shaftbook_readout::steps::Steps;
use shaftbook_readout::tag::{BoardTag, TagStart};

const FORMAT: &str = include_str!("../../../../docs/FORMAT.md");

fn steps<const MOST: u32, const UNIT: u32>() -> impl Strategy<Value = Steps<MOST, UNIT>> {
    prop_oneof![Just(0), Just(MOST), 0..=MOST]
        .prop_map(|steps| Steps::from_steps(steps).expect("at most MOST"))
}

fn faults() -> impl Strategy<Value = FaultSet> {
    subsequence(Fault::ALL.to_vec(), 0..=Fault::ALL.len()).prop_map(|faults| {
        let mut set = FaultSet::default();
        for fault in faults {
            set.raise(fault);
        }
        set
    })
}

fn sign() -> impl Strategy<Value = Sign> {
    let needles = (1..=16_u8).prop_map(|n| Finding::NeedleBreaks(Needle::new(n).expect("1 to 16")));
    let others = select(vec![
        Finding::BreaksEverywhere,
        Finding::TrimmerDirty,
        Finding::KnifeWorn,
        Finding::NoNeedleChange,
        Finding::ShaftGlitches,
    ]);
    let certainty = select(vec![Certainty::Possible, Certainty::Strong]);
    (prop_oneof![needles, others], certainty)
        .prop_map(|(finding, certainty)| Sign { finding, certainty })
}

/// The most pressing component, and how many are due and at notice with it.
fn care() -> impl Strategy<Value = (Option<Pressing>, u32, u32)> {
    let kind = prop::option::of(prop_oneof![1..=16_u8, 32..=63_u8].prop_map(ComponentKind));
    let some = (kind, 0..=63_u32, 1..=7_u32, 0..=7_u32).prop_map(|(kind, wear, due, notice)| {
        let wear_steps = Steps::from_steps(wear).expect("at most 63");
        (Some(Pressing { kind, wear: wear_steps }), if wear < 25 { 0 } else { due }, notice)
    });
    prop_oneof![1 => Just((None, 0, 0)), 9 => some]
}

prop_compose! {
    fn read_out()(
        tag: u32,
        figures in (steps(), steps(), steps(), prop::option::of(steps()), steps()),
        marks: [bool; 3],
        (pressing, due, notice) in care(),
        faults in faults(),
        sign in prop::option::of(sign()),
    ) -> ReadOut {
        let (powered_h, interval_h, stitches, knife_trims, services) = figures;
        let [is_running, is_service_due, has_stated_past] = marks;
        ReadOut {
            tag: TagStart::from_bits(tag),
            powered_h,
            interval_h,
            service_measure: if is_running { ServiceMeasure::Running } else { ServiceMeasure::Powered },
            is_service_due,
            has_stated_past,
            stitches,
            knife_trims,
            pressing,
            faults,
            due: Steps::from_steps(due).expect("at most 7"),
            notice: Steps::from_steps(notice).expect("at most 7"),
            services,
            sign,
        }
    }
}

/// The code's text with some symbols changed and some not heard.
fn misheard(code: &Code, wrong: &[usize], unheard: &[usize], by: u8) -> String {
    let mut text = code.ascii();
    for place in wrong {
        text[*place] = LETTERS[usize::from(code.symbols()[*place] ^ by)];
    }
    for place in unheard {
        text[*place] = b'?';
    }
    String::from_utf8(text.to_vec()).expect("ASCII")
}

fn heard(text: &str) -> Heard {
    Heard::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn what_is_said_is_understood(said in read_out()) {
        prop_assert_eq!(ReadOut::from_symbols(&said.to_symbols()), Ok(said));
        let code = Code::saying(&said);
        let shown = code.to_string();
        let groups: Vec<_> = shown.split(' ').map(str::len).collect();
        prop_assert_eq!(groups, [5; 6]);
        for text in [shown.clone(), shown.to_lowercase(), shown.replace(' ', "-")] {
            let decoded = decode(&heard(&text)).expect("nothing is wrong");
            prop_assert_eq!(decoded.read_out, said);
            prop_assert_eq!(decoded.code, code);
            prop_assert!(decoded.mended.is_empty());
        }
    }

    #[test]
    fn what_was_mended_is_told(
        said in read_out(),
        places in subsequence((0..SYMBOLS).collect::<Vec<_>>(), 3).prop_shuffle(),
        by in 1..32_u8,
    ) {
        let code = Code::saying(&said);
        for (wrong, unheard) in [(&places[..2], &places[..0]), (&places[..1], &places[1..])] {
            let decoded = decode(&heard(&misheard(&code, wrong, unheard, by))).expect("enough");
            prop_assert_eq!(decoded.read_out, said);
            prop_assert_eq!(decoded.code, code);
            let mut told: Vec<_> = decoded.mended.iter().map(|m| m.place).collect();
            for mended in &decoded.mended {
                prop_assert_eq!(mended.meant, code.symbols()[mended.place]);
                let is_heard = wrong.contains(&mended.place);
                prop_assert_eq!(mended.heard, is_heard.then_some(mended.meant ^ by));
            }
            let mut all = [wrong, unheard].concat();
            all.sort_unstable();
            told.sort_unstable();
            prop_assert_eq!(told, all);
        }
        let refused = decode(&heard(&misheard(&code, &places, &[], by)));
        prop_assert_eq!(refused, Err(Refused::Wrong(0)));
    }

    /// Two symbols said in the wrong order are two wrong symbols.
    #[test]
    fn any_two_symbols_may_be_swapped(said in read_out(), a in 0..SYMBOLS, b in 0..SYMBOLS) {
        let code = Code::saying(&said);
        let mut text = code.ascii();
        text.swap(a, b);
        let decoded = decode(&heard(core::str::from_utf8(&text).expect("ASCII")));
        prop_assert_eq!(decoded.expect("two wrong").read_out, said);
    }

    #[test]
    fn any_symbols_are_understood_or_refused_and_never_half(
        symbols in prop::collection::vec(any::<u8>(), DATA),
    ) {
        let symbols: [u8; DATA] = symbols.try_into().expect("twenty-four");
        if let Ok(said) = ReadOut::from_symbols(&symbols) {
            prop_assert_eq!(said.to_symbols(), symbols.map(|symbol| symbol & 31));
        }
    }

    #[test]
    fn any_text_is_decoded_or_refused_in_one_line(text in any_text()) {
        match Heard::parse(&text) {
            Ok(heard) => match decode(&heard) {
                Ok(decoded) => prop_assert!(decoded.mended.len() <= 4),
                Err(refused) => prop_assert_eq!(refused.to_string().lines().count(), 1),
            },
            Err(error) => prop_assert_eq!(error.to_string().lines().count(), 1, "{}", error),
        }
    }
}

/// Any text at all, and text that nearly is a code.
fn any_text() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<String>(),
        "[0-9A-Za-z?\\- ]{0,48}",
        "([0-9A-HJKMNP-TV-Z?]{5} ?){6}",
        "([0-9A-HJKMNP-TV-Z]{4,6} ){6}",
        "\\PC{0,200}",
    ]
}

#[test]
fn the_mask_is_made_of_its_label() {
    let digest = Sha256::digest(MASK_LABEL.as_bytes());
    let bit = |n: usize| digest[n / 8] >> (7 - n % 8) & 1;
    for (n, symbol) in MASK.iter().enumerate() {
        let made = (0..5).fold(0, |bits, k| bits << 1 | bit(5 * n + k));
        assert_eq!(*symbol, made, "symbol {n}");
    }
}

#[test]
fn thirty_equal_symbols_are_no_code() {
    for letter in "0123456789ABCDEFGHJKMNPQRSTVWXYZ".chars() {
        let text = String::from(letter).repeat(SYMBOLS);
        assert_eq!(decode(&heard(&text)), Err(Refused::Wrong(0)), "{text}");
    }
}

/// Without the mask some would be: a Reed–Solomon word that is turned is another, but
/// for what the missing 31st symbol would be.
#[test]
fn a_turned_code_is_no_code() {
    let mut turned_words_accepted = 0;
    for n in 0..200_u32 {
        let said = ReadOut::from_symbols(&young(n)).expect("it can be");
        let code = Code::saying(&said);
        for by in 1..SYMBOLS {
            let mut text = code.ascii();
            text.rotate_left(by);
            let heard = heard(core::str::from_utf8(&text).expect("ASCII"));
            assert!(decode(&heard).is_err(), "{code} turned by {by}");
            let mut word: [_; SYMBOLS] =
                core::array::from_fn(|n| Some(code.symbols()[n] ^ MASK[n]));
            word.rotate_left(by);
            turned_words_accepted += u32::from(correct::<30, 6>(&word, KEPT).is_ok());
        }
    }
    assert!(turned_words_accepted > 0, "the mask is of no use");
}

/// Symbols of a code with each `value` in the `width` bits from `at`, and no fixed knife.
fn symbols(fields: &[(usize, usize, u32)]) -> [u8; DATA] {
    let mut symbols = [0; DATA];
    for (at, width, value) in [&[(0, 2, 1), (67, 8, 255)], fields].concat() {
        for n in 0..width {
            let (symbol, bit) = ((at + n) / 5, 16 >> ((at + n) % 5));
            symbols[symbol] &= !bit;
            if value >> (width - 1 - n) & 1 == 1 {
                symbols[symbol] |= bit;
            }
        }
    }
    symbols
}

/// A board that has not done much: many symbols are 0.
fn young(hours: u32) -> [u8; DATA] {
    symbols(&[(22, 17, hours), (39, 10, hours.min(1_023))])
}

fn refused(fields: &[(usize, usize, u32)]) -> Option<StateError> {
    ReadOut::from_symbols(&symbols(fields)).err()
}

#[test]
fn what_has_no_meaning_is_refused() {
    for version in [0, 2, 3] {
        assert_eq!(refused(&[(0, 2, version)]), Some(StateError::Version(version as u8)));
    }
    for kind in 18..32 {
        assert_eq!(refused(&[(75, 6, kind)]), Some(StateError::Kind(kind as u8)));
    }
    for hint in (22..=32).chain(54..64) {
        assert_eq!(refused(&[(114, 6, hint)]), Some(StateError::Hint(hint as u8)));
    }
    for number in 1..=15_u8 {
        let field = [(86 + usize::from(number), 1, 1)];
        match Fault::from_number(u16::from(number)) {
            Some(fault) => {
                let said = ReadOut::from_symbols(&symbols(&field)).expect("it has a name");
                assert_eq!(said.faults.iter().collect::<Vec<_>>(), [fault]);
            }
            None => assert_eq!(refused(&field), Some(StateError::Fault(number))),
        }
    }
}

#[test]
fn what_cannot_be_is_refused() {
    const KIND: usize = 75;
    const WEAR: usize = 81;
    const DUE: usize = 102;
    const NOTICE: usize = 105;
    let cannot_be = Some(StateError::Contradiction);
    assert_eq!(refused(&[]), None);
    for field in [(WEAR, 6, 1), (DUE, 3, 1), (NOTICE, 3, 1)] {
        assert_eq!(refused(&[field]), cannot_be, "{field:?} without a component");
    }
    for kind in [1, 17, 32] {
        let component = (KIND, 6, kind);
        assert_eq!(refused(&[component, (WEAR, 6, 24)]), None);
        assert_eq!(refused(&[component, (WEAR, 6, 25)]), cannot_be, "100 %, and nothing is due");
        assert_eq!(refused(&[component, (WEAR, 6, 24), (DUE, 3, 1)]), cannot_be);
        assert_eq!(refused(&[component, (WEAR, 6, 25), (DUE, 3, 1)]), None);
    }
}

/// The bound on what is kept for detection is needed: with nothing kept, three wrong
/// symbols are corrected, and four are taken for another code.
#[test]
fn a_decoder_that_corrects_three_accepts_what_was_never_said() {
    let said = ReadOut::from_symbols(&young(1_234)).expect("it can be");
    let code = Code::saying(&said);
    let (mut sound, mut greedy) = (0, 0);
    for case in 0..2_000_usize {
        let mut text = code.ascii();
        for n in 0..4 {
            // Four places, each changed by something else in each case.
            let place = (case + 7 * n) % SYMBOLS;
            let by = 1 + (case / SYMBOLS * (2 * n + 1) + n) % 31;
            text[place] = LETTERS[usize::from(code.symbols()[place]) ^ by];
        }
        let heard = heard(core::str::from_utf8(&text).expect("ASCII"));
        sound += u32::from(decode(&heard).is_ok());
        greedy += u32::from(decode_keeping(&heard, 0).is_ok());
    }
    assert_eq!(sound, 0, "four wrong symbols are never accepted");
    assert!(greedy > 0, "a decoder that corrects three never accepts four wrong");
}

/// The worked example of `docs/FORMAT.md`, section 11.
#[test]
fn the_worked_example_is_what_the_board_shows() {
    let needle = Finding::NeedleBreaks(Needle::new(3).expect("a needle"));
    let mut faults = FaultSet::default();
    faults.raise(Fault::ShaftGlitches);
    let said = ReadOut {
        tag: BoardTag::of(BoardId(0x5AFE_B00C_0000_0001)).start(),
        powered_h: Steps::of(2_345),
        interval_h: Steps::of(399),
        service_measure: ServiceMeasure::Running,
        is_service_due: false,
        has_stated_past: true,
        stitches: Steps::of(41_149_999),
        knife_trims: Some(Steps::of(120_000)),
        pressing: Some(Pressing { kind: Some(ComponentKind(3)), wear: Steps::of(105) }),
        faults,
        due: Steps::of(1),
        notice: Steps::of(2),
        services: Steps::of(3),
        sign: Some(Sign { finding: needle, certainty: Certainty::Strong }),
    };
    let code = Code::saying(&said).to_string();
    let letters = |symbols: &[u8]| symbols.iter().map(|s| letter(*s)).collect::<String>();
    let data = letters(&said.to_symbols());
    let parity = letters(&parity::<6>(&said.to_symbols()));
    for shown in [code, data, parity] {
        assert!(FORMAT.contains(&format!("`{shown}`")), "{shown} is not in docs/FORMAT.md");
    }
}

#[test]
fn a_refusal_says_what_is_wrong_and_what_to_do() {
    for (refused, says) in [
        (Refused::Unheard(5), "5 symbols were not heard, at most 4 can be filled in"),
        (Refused::Wrong(0), "three or more symbols are wrong"),
        (Refused::Wrong(2), "2 not heard and two or more wrong"),
        (Refused::Wrong(4), "4 not heard and one or more wrong"),
        (
            Refused::State(StateError::Fault(15)),
            "it names fault 15, which this program does not know",
        ),
        (Refused::State(StateError::Kind(50)), "it names component 50"),
        (Refused::State(StateError::Hint(60)), "it names hint 60"),
    ] {
        let text = refused.to_string();
        assert!(text.starts_with(says) && text.contains("ask for it once more"), "{text}");
    }
}
