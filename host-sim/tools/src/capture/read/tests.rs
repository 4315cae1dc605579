//! Captures written by hand, one thing at a time.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::settings::Settings;

use super::{CaptureReader, Seen};
use crate::capture::signals::Names;
use shaftbook_world::input_error::InputError;
use shaftbook_world::sewing::{SewingEvent, Timed};

const HEADER: &str = "$timescale 1 us $end\n$scope module m $end\n\
    $var wire 1 ! shaft $end\n$var wire 1 \" trim $end\n$var wire 1 # n0 $end\n\
    $var wire 1 $ n1 $end\n$var real 1 % volts $end\n$var wire 8 & wide $end\n\
    $upscope $end\n$scope module other $end\n$var wire 1 ' trim $end\n$upscope $end\n\
    $enddefinitions $end\n";

fn names() -> Names {
    Names { shaft: "shaft".into(), ..Names::default() }
}

fn read(text: &str, names: &Names) -> Result<(Vec<Timed>, Seen), InputError> {
    let mut capture = CaptureReader::open("c.vcd", text.as_bytes(), names, &Settings::default())?;
    let events = capture.by_ref().collect::<Result<Vec<_>, _>>()?;
    Ok((events, capture.seen()))
}

fn body(text: &str, names: &Names) -> (Vec<Timed>, Seen) {
    read(&format!("{HEADER}{text}"), names).unwrap()
}

fn shaft(at_us: u64, active: bool) -> Timed {
    Timed::input(at_us, Input::Shaft(Level::from_bool(active)))
}

#[test]
fn changes_on_the_line_of_the_time_stamp_and_a_bare_last_one() {
    let (events, seen) = body("#5 0!\n#10 1!\n#20 0!\n#9000", &names());
    assert_eq!(events, [Timed::new(5, SewingEvent::PowerUp), shaft(10, true), shaft(20, false)]);
    assert_eq!(seen, Seen { unknown_values: 0, begin_us: 5, end_us: 9_000 });
}

#[test]
fn unknown_values_make_no_edge_and_are_counted() {
    let (events, seen) = body("#0 0!\n#10 x!\n#20 0!\n#30 z!\n#40 1!\n#50 x!\n#60 1!\n", &names());
    assert_eq!(events, [Timed::new(0, SewingEvent::PowerUp), shaft(40, true)]);
    assert_eq!(seen.unknown_values, 3);
}

#[test]
fn the_first_level_is_not_an_edge() {
    let (events, _) = body("$dumpvars 1! $end\n#0\n#10 0!\n#20 1!\n", &names());
    assert_eq!(events, [Timed::new(0, SewingEvent::PowerUp), shaft(10, false), shaft(20, true)]);
}

#[test]
fn an_active_low_line_is_turned_round() {
    let names = Names { active_low: vec!["shaft".into()], ..names() };
    let (events, _) = body("#0 1!\n#10 0!\n#20 1!\n", &names);
    assert_eq!(events, [Timed::new(0, SewingEvent::PowerUp), shaft(10, true), shaft(20, false)]);
}

#[test]
fn code_lines_of_one_time_are_one_change() {
    let names = Names { needle: vec!["n0".into(), "n1".into()], ..names() };
    let (events, _) = body("#0 0# 0$\n#10 1# 1$\n#20 0#\n", &names);
    let code = |at_us, code| Timed::input(at_us, Input::NeedleCode(code));
    assert_eq!(events, [Timed::new(0, SewingEvent::PowerUp), code(0, 0), code(10, 3), code(20, 2)]);
}

#[test]
fn a_code_with_an_unknown_line_is_not_given() {
    let names = Names { needle: vec!["n0".into(), "n1".into()], ..names() };
    let (events, _) = body("#0 0#\n#10 1#\n#20 1$\n", &names);
    assert_eq!(
        events,
        [Timed::new(0, SewingEvent::PowerUp), Timed::input(20, Input::NeedleCode(3))]
    );
}

#[test]
fn a_voltage_may_be_in_volts() {
    let names = Names { needle_level: Some("volts".into()), level_in_volts: true, ..names() };
    let (events, _) = body("#0 r1.2344 %\n#5 r-3 %\n", &names);
    let level = |at_us, mv| Timed::input(at_us, Input::NeedleLevel(mv));
    assert_eq!(events, [Timed::new(0, SewingEvent::PowerUp), level(0, 1_234), level(5, 0)]);
}

#[test]
fn the_recorded_supply_makes_power_ups_and_cuts() {
    let names = Names { power: Some("n0".into()), ..names() };
    let (events, _) = body("#0 0! 0#\n#5 1!\n#6 0!\n#10 1#\n#20 1!\n#30 0# 0!\n", &names);
    assert_eq!(
        events,
        [Timed::new(10, SewingEvent::PowerUp), shaft(20, true), Timed::new(30, SewingEvent::Cut)]
    );
}

fn error(text: &str, names: &Names) -> String {
    read(text, names).unwrap_err().to_string()
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let with = |text: &str| format!("{HEADER}{text}");
    assert_eq!(
        error(&with("#10 1!\n#9 0!\n"), &names()),
        "c.vcd:15: time goes back from #10 to #9"
    );
    assert_eq!(
        error(&with("#10 1!\nq!\n"), &names()),
        "c.vcd:15: not a value change dump here: unexpected character at start of command \
         (in the value changes)"
    );
    assert_eq!(
        error(&with("#10 1"), &names()),
        "c.vcd:14: the file ends in the middle of its value changes"
    );
    assert!(error(&HEADER[..100], &names()).contains("ends in the middle of its header"));
    assert!(error("", &names()).contains("ends in the middle of its header"));
    assert!(error("MZ\u{0}\u{1}", &names()).starts_with("c.vcd:1: not a value change dump here"));
    assert_eq!(
        error(&HEADER.replace("$timescale 1 us $end", ""), &names()),
        "c.vcd:13: the header has no $timescale"
    );
    assert!(
        error(&HEADER.replace("1 us", "10 ms"), &names())
            .contains("the timescale of 10 ms cannot resolve the shaft pulses")
    );
    assert_eq!(
        error(&format!("{}#0 0!\n#7 1! 0!\n", HEADER.replace("1 us", "1 ms")), &names()),
        "c.vcd:15: a signal changes twice at one time: the timescale of 1 ms is too coarse for it"
    );
}

#[test]
fn a_signal_that_is_not_there_is_said_with_those_that_are() {
    let names_of = |shaft: &str| Names { shaft: shaft.into(), ..Names::default() };
    assert_eq!(
        error(HEADER, &names_of("spindle")),
        "c.vcd: no signal \"spindle\"; there are: n0, n1, shaft, trim, volts, wide"
    );
    assert_eq!(
        error(HEADER, &names_of("trim")),
        "c.vcd: \"trim\" stands for several: m.trim, other.trim"
    );
    assert!(read(HEADER, &names_of("m.trim")).is_ok());
    assert!(error(HEADER, &names_of("volts")).contains("is not a digital one"));
    assert!(error(HEADER, &names_of("wide")).contains("is 8 bits wide"));
    let low = Names { active_low: vec!["trim".into()], ..names() };
    assert!(error(HEADER, &low).contains("is said to be active low, but is not used"));
}

#[test]
fn scopes_may_nest_deeply() {
    let deep = "$scope module a $end ".repeat(200_000);
    let text =
        format!("$timescale 1 us $end {deep} $var wire 1 ! shaft $end $enddefinitions $end\n");
    assert!(read(&text, &names()).is_ok());
    assert!(error("$upscope $end", &names()).contains("an $upscope without its $scope"));
    assert!(error("$timescale 1 us $end #5", &names()).contains("before $enddefinitions"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

    /// Whatever the bytes are, there is an end and no panic; time never goes back.
    #[test]
    fn any_bytes_are_read_or_refused(
        body in prop::collection::vec(any::<u8>(), 0..200),
        words in prop::collection::vec(
            prop::sample::select(vec![
                "#0", "#7", "#18446744073709551615", "1!", "0!", "x!", "b01 &", "r1e308 %", "1#", "$end",
                "$dumpvars", "$upscope $end", "$comment $end", "b !", "1", "bxz1010 !", "rnan %", "\n",
            ]),
            0..60,
        ),
    ) {
        let all = Names {
            needle: vec!["n0".into(), "n1".into()],
            needle_level: Some("volts".into()),
            trim: Some("m.trim".into()),
            ..names()
        };
        let mut texts = vec![HEADER.as_bytes().to_vec(), Vec::new()];
        texts[0].extend(words.join(" ").bytes());
        texts.push([HEADER.as_bytes(), &body].concat());
        texts.push(body);
        for text in texts {
            let Ok(capture) =
                CaptureReader::open("c.vcd", text.as_slice(), &all, &Settings::default())
            else {
                continue;
            };
            let mut last_us = 0;
            for timed in capture.map_while(Result::ok) {
                prop_assert!(timed.at_us >= last_us);
                last_us = timed.at_us;
            }
        }
    }
}
