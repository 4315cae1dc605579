//! A machine's life as the core counts it.

use std::ops::ControlFlow;

use shaftbook_core::counters::Counters;
use shaftbook_core::meter::Meter;
use shaftbook_core::rules::Sound;
use shaftbook_core::time::Instant;

use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::{Sewing, SewingEvent};

/// The heads that machines are drawn from.
pub const HEADS: [u8; 3] = [6, 10, 15];
/// Thread breaks of a sound machine in 100,000 stitches. Common practice, no source.
pub const SOUND_BREAKS: f64 = 10.0;

/// A machine of `needles` needles that works four hours a day: designs of many colours,
/// each needle with its own number of stitches.
///
/// # Panics
/// Never: the text is sound for 1 to 16 needles.
#[must_use]
pub fn scenario(needles: u8) -> Scenario {
    let block = |needle: u8, stitches: u32| {
        format!("{{ needle = {needle}, stitches = {stitches}, trims = {} }}", 1 + stitches / 900)
    };
    let all: Vec<_> = (1..=needles).map(|n| block(n, 300 + u32::from(n) * 137 % 900)).collect();
    let some: Vec<_> =
        (1..=needles).step_by(2).map(|n| block(n, 800 + u32::from(n) * 211 % 700)).collect();
    let text = format!(
        "name = \"Hints\"\nseed = 1\n[hours]\nworking_days = 1\n\
         shifts = [{{ start = \"08:00\", end = \"12:00\" }}]\n\
         [machine]\nneedles = {needles}\nframe_change_s = 40\nbreaks_per_100k = {SOUND_BREAKS:.1}\n\
         [[designs]]\nname = \"All\"\nblocks = [{}]\n\
         [[designs]]\nname = \"Odd\"\npieces = 3\nblocks = [{}]\n",
        all.join(", "),
        some.join(", ")
    );
    Scenario::parse("hints", &text).expect("sound for every head")
}

/// What the core counts in `days` of `scenario`.
#[must_use]
pub fn count(scenario: &Scenario, days: u32, seed: u64) -> Counters {
    let mut scenario = scenario.clone();
    scenario.hours.working_days = days;
    let settings = scenario.settings();
    let mut total = Counters::default();
    let mut meter = Meter::new(settings);
    let mut on_us = 0;
    let mut sewing = Sewing::new(&scenario, seed);
    sewing.drive(|timed| {
        let at = Instant::from_us(timed.at_us.saturating_sub(on_us));
        match timed.event {
            SewingEvent::PowerUp => (meter, on_us) = (Meter::new(settings), timed.at_us),
            SewingEvent::Input(input) => meter.input::<Sound>(at, input),
            SewingEvent::Cut => {
                meter.debounce::<Sound>(at);
                total = total.plus(&meter.session(at));
            }
        }
        ControlFlow::Continue(())
    });
    total
}
