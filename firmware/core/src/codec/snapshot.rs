//! A snapshot: all counters and the whole ledger, as one byte stream cut into
//! *members* of 55 bytes, one a slot, and a parity member that is their XOR. The
//! loss of any one member is made good.
//!
//! ```text
//! member   byte 3: index (data 0 … count−1, parity = count)
//!          byte 4: count of data members
//!          bytes 5–59: 55 bytes of the stream, the last padded with zeros
//! ```
//!
//! The stream is in `docs/FORMAT.md`, in the order of [`encode`]. The counters come
//! first, within the first four members, so that they are known first.

use super::bytes::{ByteReader, ByteWriter};
use super::frame::Record;
use crate::authority::{KEY_BYTES, Key};
use crate::component::{COMPONENTS_MAX, Component, Kind, Measure, Role};
use crate::counters::Counters;
use crate::identity::BoardId;
use crate::journal::{EntryNumber, Event};
use crate::ledger::{CarriedIn, Fitted, HISTORY_MAX, HistoryLine, IntervalBaseline, Ledger};
use crate::settings::{NeedleSource, ServiceMeasure, Settings};
use crate::store::retired::{RETIRED_MAX, Retired};

/// Bytes of the stream in one member.
pub const MEMBER_BYTES: usize = 55;
/// Most data members.
pub const MEMBERS_MAX: usize = 23;
/// Members that hold the counters.
pub const COUNTER_MEMBERS: usize = 4;
/// Room for a whole stream.
pub const STREAM_MAX: usize = MEMBER_BYTES * MEMBERS_MAX;
/// The format's version, the first byte of the stream.
pub const FORMAT_VERSION: u8 = 1;

const MEMBER_AT: usize = 5;
const COUNTERS_END: usize = 180;
const _: () = assert!(COUNTERS_END <= MEMBER_BYTES * COUNTER_MEMBERS);

/// Writes member `index` of `count` into an otherwise zero record.
#[must_use]
pub fn member(stream: &[u8], index: usize, count: usize) -> Record {
    let mut record: Record = [0; 64];
    let [_, _, _, index_byte, count_byte, data @ ..] = &mut record;
    (*index_byte, *count_byte) = (index as u8, count as u8);
    if index < count {
        for (to, from) in
            data.iter_mut().zip(stream.iter().skip(index * MEMBER_BYTES).take(MEMBER_BYTES))
        {
            *to = *from;
        }
    } else {
        for chunk in stream.chunks(MEMBER_BYTES) {
            for (to, from) in data.iter_mut().zip(chunk) {
                *to ^= *from;
            }
        }
    }
    record
}

/// Index, count of data members and the bytes of a member; `None` when they cannot
/// be right.
#[must_use]
pub fn member_parts(record: &Record) -> Option<(usize, usize, &[u8; MEMBER_BYTES])> {
    let (index, count) = (usize::from(record[3]), usize::from(record[4]));
    let data = record.get(MEMBER_AT..MEMBER_AT + MEMBER_BYTES)?.first_chunk()?;
    ((COUNTER_MEMBERS..=MEMBERS_MAX).contains(&count) && index <= count)
        .then_some((index, count, data))
}

/// The board whose snapshot this is, if this is a first data member.
#[must_use]
pub fn board_of(record: &Record) -> Option<BoardId> {
    let (index, _, data) = member_parts(record)?;
    let mut reader = ByteReader::new(data);
    (index == 0 && reader.take(1) == u64::from(FORMAT_VERSION)).then(|| BoardId(reader.take(8)))
}

/// Writes the stream; returns its length, or `None` if it does not fit (it always
/// does: the largest ledger is a test).
pub fn encode(
    stream: &mut [u8],
    id: BoardId,
    counters: &Counters,
    ledger: &Ledger,
    retired: &Retired,
) -> Option<usize> {
    let mut w = ByteWriter::new(stream);
    w.put(u64::from(FORMAT_VERSION), 1);
    w.put(id.0, 8);
    encode_counters(&mut w, counters);
    encode_settings(&mut w, &ledger.settings);
    w.put(u64::from(ledger.carried_in.hours), 4);
    w.put(ledger.carried_in.stitches, 6);
    w.put(u64::from(ledger.carried_in.trims), 4);
    for byte in ledger.key.bytes() {
        w.put(u64::from(*byte), 1);
    }
    w.put(ledger.interval.powered_ms, 6);
    w.put(ledger.interval.running_ms, 6);
    w.put(u64::from(ledger.services), 2);
    w.put(u64::from(ledger.tries), 1);
    w.put(u64::from(ledger.next_entry.get()), 3);
    w.put(ledger.components.len() as u64, 1);
    for fitted in &ledger.components {
        encode_fitted(&mut w, fitted);
    }
    w.put(retired.len() as u64, 1);
    for slot in retired.iter() {
        w.put(u64::from(slot), 2);
    }
    w.put(ledger.history.len() as u64, 1);
    for line in &ledger.history {
        w.put(u64::from(line.number.get()), 3);
        w.put(line.event as u64, 1);
        w.put(u64::from(line.subject), 2);
        w.put(u64::from(line.powered_s), 4);
        w.put(u64::from(line.day.unwrap_or(0)), 2);
    }
    w.finish()
}

/// The counters, from at least the first four members of a stream.
#[must_use]
pub fn decode_counters(stream: &[u8]) -> Option<Counters> {
    let mut r = ByteReader::new(stream);
    if r.take(1) != u64::from(FORMAT_VERSION) {
        return None;
    }
    r.take(8);
    let counters = take_counters(&mut r);
    r.is_complete().then_some(counters)
}

/// The ledger and the retired slots, from a whole stream; `None` when a field
/// cannot be right.
#[must_use]
pub fn decode(stream: &[u8]) -> Option<(Ledger, Retired)> {
    let mut r = ByteReader::new(stream);
    if r.take(1) != u64::from(FORMAT_VERSION) {
        return None;
    }
    r.take(8);
    take_counters(&mut r);
    let settings = take_settings(&mut r)?;
    let carried_in =
        CarriedIn { hours: r.take(4) as u32, stitches: r.take(6), trims: r.take(4) as u32 };
    let key = Key::new(core::array::from_fn::<u8, KEY_BYTES, _>(|_| r.take(1) as u8));
    let mut ledger = Ledger::new(settings, key);
    ledger.carried_in = carried_in;
    ledger.interval = IntervalBaseline { powered_ms: r.take(6), running_ms: r.take(6) };
    ledger.services = r.take(2) as u16;
    ledger.tries = r.take(1) as u8;
    ledger.next_entry = EntryNumber::new(r.take(3) as u32);
    for _ in 0..bounded(r.take(1), COMPONENTS_MAX)? {
        ledger.components.push(take_fitted(&mut r)?).ok()?;
    }
    let mut retired = Retired::default();
    for _ in 0..bounded(r.take(1), RETIRED_MAX)? {
        retired.insert(r.take(2) as u16);
    }
    for _ in 0..bounded(r.take(1), HISTORY_MAX)? {
        let number = EntryNumber::new(r.take(3) as u32);
        let event = Event::from_code(r.take(1) as u8)?;
        let subject = r.take(2) as u16;
        let powered_s = r.take(4) as u32;
        let day = Some(r.take(2) as u16).filter(|d| *d != 0);
        ledger.history.push(HistoryLine { number, event, subject, powered_s, day }).ok()?;
    }
    r.is_complete().then_some((ledger, retired))
}

fn bounded(count: u64, most: usize) -> Option<usize> {
    usize::try_from(count).ok().filter(|c| *c <= most)
}

fn encode_counters(w: &mut ByteWriter<'_>, counters: &Counters) {
    w.put(counters.powered_ms, 6);
    w.put(counters.running_ms, 6);
    w.put(counters.unattributed_stitches, 5);
    for stitches in counters.needle_stitches {
        w.put(stitches, 5);
    }
    w.put(counters.jumps, 5);
    w.put(counters.trims, 5);
    w.put(u64::from(counters.unattributed_breaks), 4);
    for breaks in counters.needle_breaks {
        w.put(u64::from(breaks), 3);
    }
    w.put(u64::from(counters.power_ups), 4);
    w.put(u64::from(counters.glitches), 4);
    w.put(u64::from(counters.missed_edges), 4);
}

fn take_counters(r: &mut ByteReader<'_>) -> Counters {
    Counters {
        powered_ms: r.take(6),
        running_ms: r.take(6),
        unattributed_stitches: r.take(5),
        needle_stitches: core::array::from_fn(|_| r.take(5)),
        jumps: r.take(5),
        trims: r.take(5),
        unattributed_breaks: r.take(4) as u32,
        needle_breaks: core::array::from_fn(|_| r.take(3) as u32),
        power_ups: r.take(4) as u32,
        glitches: r.take(4) as u32,
        missed_edges: r.take(4) as u32,
    }
}

fn encode_settings(w: &mut ByteWriter<'_>, settings: &Settings) {
    let source = match settings.needle_source {
        NeedleSource::NotWired => 0,
        NeedleSource::Code => 1,
        NeedleSource::Level => 2,
    };
    w.put(u64::from(settings.pulses_per_revolution), 1);
    w.put(u64::from(settings.top_speed_rpm), 2);
    w.put(u64::from(settings.shaft_settling_us), 2);
    w.put(u64::from(settings.contact_settling_us), 2);
    w.put(u64::from(settings.run_gap_ms), 2);
    w.put(u64::from(settings.needles), 1);
    w.put(source, 1);
    w.put(u64::from(settings.needle_settling_ms), 1);
    w.put(u64::from(settings.needle_guard_mv), 2);
    w.put(u64::from(settings.needle_hysteresis_mv), 2);
    w.put(u64::from(settings.checkpoint_running_s), 1);
    w.put(u64::from(settings.checkpoint_trims), 1);
    w.put(u64::from(settings.checkpoint_powered_s), 2);
    w.put(u64::from(settings.service_measure == ServiceMeasure::Running), 1);
    w.put(u64::from(settings.service_interval_h), 2);
    for level_mv in settings.needle_level_mv {
        w.put(u64::from(level_mv), 2);
    }
}

fn take_settings(r: &mut ByteReader<'_>) -> Option<Settings> {
    let settings = Settings {
        pulses_per_revolution: r.take(1) as u8,
        top_speed_rpm: r.take(2) as u16,
        shaft_settling_us: r.take(2) as u16,
        contact_settling_us: r.take(2) as u16,
        run_gap_ms: r.take(2) as u16,
        needles: r.take(1) as u8,
        needle_source: match r.take(1) {
            0 => NeedleSource::NotWired,
            1 => NeedleSource::Code,
            2 => NeedleSource::Level,
            _ => return None,
        },
        needle_settling_ms: r.take(1) as u8,
        needle_guard_mv: r.take(2) as u16,
        needle_hysteresis_mv: r.take(2) as u16,
        checkpoint_running_s: r.take(1) as u8,
        checkpoint_trims: r.take(1) as u8,
        checkpoint_powered_s: r.take(2) as u16,
        service_measure: if r.take(1) == 1 {
            ServiceMeasure::Running
        } else {
            ServiceMeasure::Powered
        },
        service_interval_h: r.take(2) as u16,
        needle_level_mv: core::array::from_fn(|_| r.take(2) as u16),
    };
    settings.check().ok().map(|()| settings)
}

fn encode_fitted(w: &mut ByteWriter<'_>, fitted: &Fitted) {
    let component = &fitted.component;
    let flags =
        u64::from(component.renewed_by == Role::Engineer) | u64::from(component.with_service) << 1;
    w.put(u64::from(component.kind.0), 1);
    w.put(u64::from(component.measure.code()), 1);
    w.put(flags, 1);
    w.put(u64::from(component.notice), 4);
    w.put(u64::from(component.due), 4);
    w.put(fitted.baseline, 6);
}

fn take_fitted(r: &mut ByteReader<'_>) -> Option<Fitted> {
    let kind = Kind(r.take(1) as u8);
    let measure = Measure::from_code(r.take(1) as u8)?;
    let flags = r.take(1);
    let component = Component {
        kind,
        measure,
        renewed_by: if flags & 1 == 1 { Role::Engineer } else { Role::Operator },
        with_service: flags & 2 == 2,
        notice: r.take(4) as u32,
        due: r.take(4) as u32,
    };
    Some(Fitted { component, baseline: r.take(6) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::counters::Needle;
    use proptest::prelude::*;

    fn largest() -> (Counters, Ledger, Retired) {
        let counters = Counters {
            powered_ms: (1 << 48) - 1,
            running_ms: 1 << 47,
            needle_stitches: core::array::from_fn(|n| (1 << 39) + n as u64),
            unattributed_stitches: 7,
            jumps: 1 << 38,
            trims: 1 << 37,
            needle_breaks: core::array::from_fn(|n| (1 << 23) + n as u32),
            unattributed_breaks: u32::MAX,
            power_ups: u32::MAX,
            glitches: 5,
            missed_edges: 6,
        };
        let mut ledger = Ledger::new(Settings::default(), Key::new([0xA5; KEY_BYTES]));
        for place in 0..COMPONENTS_MAX {
            let needle = Needle::new(place as u8 % 16 + 1).unwrap();
            let component = Component {
                kind: Kind(place as u8),
                measure: Measure::NeedleStitches(needle),
                renewed_by: if place % 2 == 0 { Role::Operator } else { Role::Engineer },
                with_service: place % 3 == 0,
                notice: u32::MAX - 1,
                due: u32::MAX,
            };
            ledger.components.push(Fitted { component, baseline: 1 << 47 | place as u64 }).unwrap();
        }
        for n in 0..HISTORY_MAX {
            let line = HistoryLine {
                number: EntryNumber::new(n as u32),
                event: Event::Served,
                subject: 1_023,
                powered_s: u32::MAX,
                day: Some(u16::MAX),
            };
            ledger.history.push(line).unwrap();
        }
        let mut retired = Retired::default();
        for slot in 0..RETIRED_MAX as u16 {
            assert!(retired.insert(slot * 3));
        }
        (counters, ledger, retired)
    }

    #[test]
    fn the_largest_ledger_fits_and_comes_back_even_without_any_one_member() {
        let (counters, ledger, retired) = largest();
        let mut stream = [0; STREAM_MAX];
        let length = encode(&mut stream, BoardId(9), &counters, &ledger, &retired).unwrap();
        let count = length.div_ceil(MEMBER_BYTES);
        assert!(count <= MEMBERS_MAX, "{count} members");
        assert_eq!(decode_counters(&stream[..MEMBER_BYTES * COUNTER_MEMBERS]), Some(counters));
        assert_eq!(decode(&stream[..length]), Some((ledger, retired)));
        let parity = member(&stream[..length], count, count);
        for lost in 0..count {
            let mut made_good = parity;
            for index in (0..count).filter(|index| *index != lost) {
                let other = member(&stream[..length], index, count);
                made_good.iter_mut().zip(other).skip(MEMBER_AT).for_each(|(a, b)| *a ^= b);
            }
            let whole = member(&stream[..length], lost, count);
            assert_eq!(made_good[MEMBER_AT..60], whole[MEMBER_AT..60], "member {lost}");
        }
    }

    proptest! {
        #[test]
        fn any_stream_decodes_without_a_panic(stream in prop::collection::vec(any::<u8>(), 0..1_300)) {
            let _ = decode(&stream);
            let _ = decode_counters(&stream);
        }
    }
}
