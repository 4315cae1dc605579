//! The arithmetic behind what is said: binomial tails, straight lines, the field of the read-out
//! code, tags, days of a clock.

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_care::binomial::{limits, lower_tail, upper_tail};
use shaftbook_care::calendar::{ClockState, judge};
use shaftbook_care::line;
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::settings::{NeedleSource, SettingsError};
use shaftbook_readout::gf32;
use shaftbook_readout::spelling::word;
use shaftbook_readout::tag::{BoardTag, TagError, TagStart};

use super::drawn::{below, one_of};
use crate::reference::{book, days, read_out, tails};

fn close(what: &str, is: f64, expected: f64, by: f64) -> Result<(), String> {
    if (is - expected).abs() <= by * expected.abs() + 1e-280 {
        return Ok(());
    }
    Err(format!("{what} is {is:e}, not {expected:e}"))
}

/// Tails and limits, against sums of all terms.
pub(super) fn tails(rng: &mut Pcg32) -> Result<(), String> {
    let tries = one_of(rng, &[1, 2, 5, 16, 17, 40, 150, 400]);
    let seen = below(rng, tries + 1);
    let chance = one_of(rng, &[0.01, 0.2, 0.5, 0.9]) + 0.01 * below(rng, 10) as f64;
    let what = |kind: &str| format!("the chance of {seen} of {tries} at {chance} or {kind}");
    close(
        &what("more"),
        upper_tail(seen, tries, chance),
        tails::upper(seen, tries, chance),
        1e-10,
    )?;
    close(
        &what("less"),
        lower_tail(seen, tries, chance),
        tails::lower(seen, tries, chance),
        1e-10,
    )?;
    for (seen, chance, upper, lower) in [
        (0, chance, 1.0, tails::lower(0, tries, chance)),
        (tries + 1, chance, 0.0, 1.0),
        (seen, 0.0, f64::from(u8::from(seen == 0)), 1.0),
        (seen, -1.0, f64::from(u8::from(seen == 0)), 1.0),
        (seen, 1.0, 1.0, f64::from(u8::from(seen == tries))),
        (seen, 2.0, 1.0, f64::from(u8::from(seen == tries))),
        (tries + 1, 1.0, 0.0, 1.0),
        (seen, f64::NAN, 1.0, 1.0),
    ] {
        close(&what("more, at an end"), upper_tail(seen, tries, chance), upper, 1e-12)?;
        close(&what("less, at an end"), lower_tail(seen, tries, chance), lower, 1e-10)?;
    }
    if tries > 40 {
        return Ok(());
    }
    let (least, most) = limits(seen, tries, 0.95);
    let (low, high) = tails::limits(seen, tries, 0.025);
    close("a lower limit", least, low, 1e-9)?;
    close("an upper limit", most, high, 1e-9)
}

/// A tail of which not all terms are summed: never below the truth, and not far above it.
pub(super) fn long_tail() -> Result<(), String> {
    /// Of the normal distribution, 1,577.5 of 10,000 (its standard deviation) above the mean.
    const TRUTH: f64 = 0.437_327;
    let tail = upper_tail(200_001_578, 400_000_000, 0.5);
    if (TRUTH - 1e-5..TRUTH + 0.006).contains(&tail) {
        return Ok(());
    }
    Err(format!("the chance of a long tail is {tail}, not {TRUTH}"))
}

/// Straight lines, against the sums of the textbook.
pub(super) fn lines(rng: &mut Pcg32) -> Result<(), String> {
    let count = below(rng, 6);
    let x = |rng: &mut Pcg32| (3_000 + below(rng, 40)) as f64;
    let points: Vec<(f64, f64)> =
        (0..count).map(|_| (x(rng), 1e6 + below(rng, 100_000) as f64)).collect();
    let fit = line::fit(points.iter().copied());
    match (fit, days::line(&points)) {
        (None, None) => Ok(()),
        (Some(fit), Some((slope, intercept, error))) => {
            let scale = slope.abs().max(1.0);
            let near = |is: f64, expected: f64, by: f64| (is - expected).abs() <= by;
            let is_right = near(fit.slope, slope, 1e-7 * scale)
                && near(fit.intercept, intercept, 1e-4 * scale)
                && near(fit.slope_error, error, 1e-6 * error.max(1.0));
            if is_right { Ok(()) } else { Err(format!("the line {fit:?}, not {slope} {error}")) }
        }
        (is, expected) => Err(format!("a line {is:?}, not {expected:?}")),
    }
}

/// The field, symbol by symbol, and the words that symbols are said by.
pub(super) fn field() -> Result<(), String> {
    for a in 0..32_u8 {
        for b in 0..32_u8 {
            let product = read_out::times(a.into(), b.into()) as u8;
            if gf32::times(a, b) != product || gf32::times(a | 32, b | 64) != product {
                return Err(format!("{a} times {b} is {}, not {product}", gf32::times(a, b)));
            }
            let back = if b == 0 { None } else { Some(a) };
            if gf32::over(product, b) != back {
                return Err(format!("{product} over {b} is {:?}", gf32::over(product, b)));
            }
        }
        let symbol = read_out::LETTERS.chars().nth(usize::from(a)).unwrap_or(' ');
        let said = word(a);
        let digits =
            ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "niner"];
        let is_right = match digits.get(usize::from(a)) {
            Some(digit) => said == *digit,
            None => said.starts_with(symbol) && said.len() > 3,
        };
        if !is_right {
            return Err(format!("{symbol} is said `{said}`"));
        }
    }
    Ok(())
}

/// A board's tag, as it is shown, written down and misheard.
pub(super) fn tag(rng: &mut Pcg32) -> Result<(), String> {
    let any = rng.next_u64();
    let id = one_of(rng, &[0, u64::MAX, any, any]);
    let (tag, expected) = (BoardTag::of(BoardId(id)), read_out::tag(id));
    let start = tag.start();
    if tag.to_string() != expected || start.to_string() != expected[..4] {
        return Err(format!("the tag of {id:016X} is {tag}, {start}, not {expected}"));
    }
    let bits = read_out::tag_bits(&expected);
    if u64::from(start.bits()) != bits || TagStart::from_bits(bits as u32 | 1 << 20) != start {
        return Err(format!("the tag {tag} begins with {:05x}", start.bits()));
    }
    let confused = expected.replace('0', "o").replace('1', "L").replace('-', "  ");
    for text in [&expected, &confused, &expected.to_lowercase()] {
        if BoardTag::parse(text) != Ok(tag) {
            return Err(format!("`{text}` is read as {:?}", BoardTag::parse(text)));
        }
    }
    let mut symbols: Vec<char> = expected.replace('-', "").chars().collect();
    let place = below(rng, 8) as usize;
    let shorter: String = symbols.iter().skip(1).collect();
    let longer: String = symbols.iter().chain(&['0']).collect();
    symbols[place] = if symbols[place] == '7' { '8' } else { '7' };
    let wrong: String = symbols.iter().collect();
    symbols[place] = '*';
    let strange: String = [&symbols[..4], &['-'], &symbols[4..]].concat().iter().collect();
    let named = |text: &str| BoardTag::parse(text).err();
    let stranger = match named(&strange) {
        Some(TagError::Stranger(it)) => Some((it.place, it.in_group)),
        _ => None,
    };
    if named(&wrong) != Some(TagError::Check)
        || named(&shorter) != Some(TagError::Count(7))
        || named(&longer) != Some(TagError::Count(9))
        || stranger != Some((place + 1, (place / 4 + 1, place % 4 + 1)))
    {
        return Err(format!("a tag {expected} that is misheard is not told: {wrong}, {strange}"));
    }
    Ok(())
}

/// What is believed of a clock, at the borders.
pub(super) fn clock(rng: &mut Pcg32) -> Result<(), String> {
    let known = one_of(rng, &[None, Some(2_500_u16), Some(3_000), Some(65_200)]);
    let border = one_of(
        rng,
        &[2_193, 16_802, known.unwrap_or(5), known.unwrap_or(5).saturating_add(400), 65_534],
    );
    let reading = border.saturating_add(one_of(rng, &[0, 1])) - one_of(rng, &[0, 1]);
    let reading = one_of(rng, &[Some(reading), Some(reading), Some(reading), Some(0), None]);
    let (day, is_believed) = book::believed(known, reading.filter(|day| *day != 0));
    let judged = judge(known, reading);
    let fault = match reading {
        _ if is_believed => None,
        None | Some(0) => Some(Fault::ClockNoAnswer),
        Some(_) => Some(Fault::ClockWrong),
    };
    let is_backwards = match (known, reading) {
        (Some(known), Some(day)) => day < known,
        (None, Some(day)) => day < 2_193,
        _ => false,
    };
    let names =
        fault != Some(Fault::ClockWrong) || is_backwards == (judged.state == ClockState::Backwards);
    if judged.day != day || judged.state.fault() != fault || !names {
        return Err(format!("a clock says {reading:?} after {known:?}: {judged:?}"));
    }
    Ok(())
}

/// Two needles' voltages are apart if one's held band does not reach the other's.
pub(super) fn levels(rng: &mut Pcg32) -> Result<(), String> {
    let mut settings = super::drawn::settings(rng);
    settings.needle_source = NeedleSource::Level;
    (settings.needle_guard_mv, settings.needle_hysteresis_mv) =
        (below(rng, 60) as u16, below(rng, 60) as u16);
    let needed = 2 * settings.needle_guard_mv + settings.needle_hysteresis_mv;
    let first = below(rng, settings.needles.into()) as usize;
    let second = below(rng, settings.needles.into()) as usize;
    let apart = (needed + below(rng, 4) as u16).saturating_sub(1);
    settings.needle_level_mv[second] = settings.needle_level_mv[first] + apart;
    let is_near = |n: usize| {
        let level = settings.needle_level_mv[n];
        (0..n).any(|m| level.abs_diff(settings.needle_level_mv[m]) <= needed)
    };
    let are_near = (0..usize::from(settings.needles)).any(is_near);
    let expected = if are_near { Err(SettingsError::NeedleLevels) } else { Ok(()) };
    if settings.check() != expected {
        return Err(format!("levels {:?} are {:?}", settings.needle_level_mv, settings.check()));
    }
    Ok(())
}
