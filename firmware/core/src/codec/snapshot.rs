//! A snapshot: all counters and the whole ledger, as one byte stream cut into
//! *members* of 55 bytes, one a slot, and a parity member that is their XOR. The
//! loss of any one member is made good.
//!
//! ```text
//! member   byte 3: bits 0–4 index (data 0 … count−1, parity = count),
//!                  bits 5–7 mark, its low bits
//!          byte 4: bits 0–4 count of data members, bits 5–7 mark, its high bits
//!          bytes 5–59: 55 bytes of the stream, the last padded with zeros
//! ```
//!
//! The mark is the low six bits of the counters' power-ups: after a power cut in the
//! middle of a snapshot, its members are overwritten in the same lap, and one that
//! was not must not pass for a member of the new one.
//!
//! The stream is in `docs/FORMAT.md`, in the order of [`pass`]. The counters come
//! first, within the first four members, so that they are known first.

use super::fields::Fields;
use super::frame::Record;
use super::measures::{self, Run};
use crate::authority::Key;
use crate::component::{COMPONENTS_MAX, Component, Kind, Measure, Role};
use crate::counters::{Counters, NEEDLES_MAX, field};
use crate::identity::BoardId;
use crate::journal::{EntryNumber, Event};
use crate::ledger::{Fitted, HISTORY_MAX, HistoryLine, Ledger};
use crate::retired::{RETIRED_MAX, Retired};
use crate::settings::{NeedleSource, ServiceMeasure, Settings};

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

const COUNTERS_END: usize = 180;
const _: () = assert!(COUNTERS_END <= MEMBER_BYTES * COUNTER_MEMBERS);
const PLACE_BITS: u32 = 5;
/// Marks that drafts can be told apart by.
pub const MARKS: u8 = 1 << (2 * (8 - PLACE_BITS));

/// The counters in a stream.
const COUNTERS: [Run; 8] = [
    Run::new(field::POWERED_MS, 2, 48),
    Run::new(field::UNATTRIBUTED_STITCHES, 1 + NEEDLES_MAX, 40),
    Run::new(field::JUMPS, 1, 40),
    Run::new(field::TRIMS, 1, 40),
    Run::new(field::UNATTRIBUTED_BREAKS, 1, 32),
    Run::new(field::NEEDLE_BREAKS, NEEDLES_MAX, 24),
    Run::new(field::POWER_UPS, 1, 32),
    Run::new(field::GLITCHES, 2, 32),
];

/// Which member of which snapshot a record is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MemberPlace {
    /// Its index; the parity's is `count`.
    pub index: u8,
    /// How many data members there are.
    pub count: u8,
    /// Tells drafts of different power-ups apart, 0 to 63.
    pub mark: u8,
}

/// Writes a member into an otherwise zero record. `stream` is the whole room of the
/// stream, zeros after its end.
pub fn write_member(record: &mut Record, stream: &[u8], place: MemberPlace) {
    let [_, _, _, index_byte, count_byte, data @ ..] = record;
    *index_byte = place.index | place.mark << PLACE_BITS;
    *count_byte = place.count | place.mark >> (8 - PLACE_BITS) << PLACE_BITS;
    let (first, end) =
        if place.index < place.count { (place.index, place.index + 1) } else { (0, place.count) };
    for index in first..end {
        add_member(data, stream, index);
    }
}

/// Adds (XOR) member `index` of the stream to `sum`.
pub fn add_member(sum: &mut [u8], stream: &[u8], index: u8) {
    let from = stream.iter().skip(usize::from(index) * MEMBER_BYTES).take(MEMBER_BYTES);
    for (to, from) in sum.iter_mut().zip(from) {
        *to ^= *from;
    }
}

/// Which member a record is; `None` when it cannot be right.
#[must_use]
pub fn member_place(record: &Record) -> Option<MemberPlace> {
    let [_, _, _, a, b, ..] = *record;
    let low = (1 << PLACE_BITS) - 1;
    let (index, count) = (a & low, b & low);
    let mark = a >> PLACE_BITS | b >> PLACE_BITS << (8 - PLACE_BITS);
    let possible = count >= COUNTER_MEMBERS as u8 && count <= MEMBERS_MAX as u8 && index <= count;
    possible.then_some(MemberPlace { index, count, mark })
}

/// The part of the stream that a member holds.
#[must_use]
pub fn member_data(record: &Record) -> &[u8; MEMBER_BYTES] {
    let [_, _, _, _, _, data @ ..] = record;
    data.first_chunk().unwrap_or(&[0; MEMBER_BYTES])
}

/// The board whose snapshot this is, if this is a first data member.
#[must_use]
pub fn board_of(record: &Record) -> Option<BoardId> {
    let first = member_place(record)?.index == 0;
    let [version, id @ ..] = member_data(record);
    (first && *version == FORMAT_VERSION).then_some(())?;
    id.first_chunk().map(|id| BoardId(u64::from_le_bytes(*id)))
}

/// Passes the whole stream; its length in bytes when everything could be right. When
/// writing, the stream must be zeros. When reading fails, `ledger` and `retired` are
/// of no use until they have been read again.
pub fn pass(
    fields: &mut Fields<'_>,
    id: BoardId,
    counters: &mut Counters,
    ledger: &mut Ledger,
    retired: &mut Retired,
) -> Option<usize> {
    pass_counters(fields, id, counters)?;
    pass_settings(fields, &mut ledger.settings)?;
    fields.word(&mut ledger.carried_in.hours);
    fields.long(&mut ledger.carried_in.stitches);
    fields.word(&mut ledger.carried_in.trims);
    let mut key = *ledger.key.bytes();
    for byte in &mut key {
        fields.byte(byte);
    }
    ledger.key = Key::new(key);
    fields.long(&mut ledger.interval.powered_ms);
    fields.long(&mut ledger.interval.running_ms);
    fields.half(&mut ledger.services);
    fields.byte(&mut ledger.tries);
    pass_number(fields, &mut ledger.next_entry);
    let count = pass_count(fields, ledger.components.len(), COMPONENTS_MAX)?;
    ledger.components.resize(count, NO_COMPONENT).ok()?;
    for fitted in &mut ledger.components {
        pass_fitted(fields, fitted)?;
    }
    pass_retired(fields, retired)?;
    let count = pass_count(fields, ledger.history.len(), HISTORY_MAX)?;
    ledger.history.resize(count, NO_LINE).ok()?;
    for line in &mut ledger.history {
        pass_number(fields, &mut line.number);
        let mut event = line.event as u8;
        fields.byte(&mut event);
        line.event = Event::from_code(event)?;
        fields.half(&mut line.subject);
        fields.word(&mut line.powered_s);
        let mut day = line.day.unwrap_or(0);
        fields.half(&mut day);
        line.day = Some(day).filter(|d| *d != 0);
    }
    fields.is_complete().then_some(fields.position() / 8)
}

/// Passes the start of a stream: the counters. `None` when it is of another version
/// or incomplete.
pub fn pass_counters(fields: &mut Fields<'_>, id: BoardId, counters: &mut Counters) -> Option<()> {
    let mut version = FORMAT_VERSION;
    fields.byte(&mut version);
    // Every member's CRC covers the identity; what is read here says nothing new.
    fields.narrow(id.0 as u32, 32);
    fields.narrow((id.0 >> 32) as u32, 32);
    measures::pass(fields, counters, &COUNTERS, false);
    (version == FORMAT_VERSION && fields.is_complete()).then_some(())
}

const NO_COMPONENT: Fitted = Fitted {
    component: Component {
        kind: Kind(0),
        measure: Measure::Powered,
        renewed_by: Role::Operator,
        with_service: false,
        notice: 0,
        due: 0,
    },
    baseline: 0,
};

const NO_LINE: HistoryLine = HistoryLine {
    number: EntryNumber::new(0),
    event: Event::Renewed,
    subject: 0,
    powered_s: 0,
    day: None,
};

fn pass_count(fields: &mut Fields<'_>, count: usize, most: usize) -> Option<usize> {
    Some(fields.narrow(count as u32, 8) as usize).filter(|count| *count <= most)
}

fn pass_number(fields: &mut Fields<'_>, number: &mut EntryNumber) {
    *number = EntryNumber::new(fields.narrow(number.get(), 24));
}

fn pass_settings(fields: &mut Fields<'_>, settings: &mut Settings) -> Option<()> {
    fields.byte(&mut settings.pulses_per_revolution);
    fields.half(&mut settings.top_speed_rpm);
    fields.half(&mut settings.shaft_debounce_us);
    fields.half(&mut settings.contact_debounce_us);
    fields.half(&mut settings.run_gap_ms);
    fields.byte(&mut settings.needles);
    settings.needle_source = match fields.narrow(settings.needle_source as u32, 8) {
        0 => NeedleSource::NotWired,
        1 => NeedleSource::Code,
        2 => NeedleSource::Level,
        _ => return None,
    };
    fields.byte(&mut settings.needle_debounce_ms);
    fields.half(&mut settings.needle_guard_mv);
    fields.half(&mut settings.needle_hysteresis_mv);
    fields.byte(&mut settings.checkpoint_running_s);
    fields.byte(&mut settings.checkpoint_trims);
    fields.half(&mut settings.checkpoint_powered_s);
    settings.service_measure = match fields.narrow(settings.service_measure as u32, 4) {
        1 => ServiceMeasure::Running,
        _ => ServiceMeasure::Powered,
    };
    settings.language = fields.narrow(u32::from(settings.language), 4) as u8;
    fields.half(&mut settings.service_interval_h);
    for level_mv in &mut settings.needle_level_mv {
        fields.half(level_mv);
    }
    settings.check().ok()
}

fn pass_fitted(fields: &mut Fields<'_>, fitted: &mut Fitted) -> Option<()> {
    let component = &mut fitted.component;
    fields.byte(&mut component.kind.0);
    let mut measure = component.measure.code();
    fields.byte(&mut measure);
    component.measure = Measure::from_code(measure)?;
    let mut flags =
        u8::from(component.renewed_by == Role::Engineer) | u8::from(component.with_service) << 1;
    fields.byte(&mut flags);
    component.renewed_by = if flags & 1 == 1 { Role::Engineer } else { Role::Operator };
    component.with_service = flags & 2 == 2;
    fields.word(&mut component.notice);
    fields.word(&mut component.due);
    fields.long(&mut fitted.baseline);
    Some(())
}

fn pass_retired(fields: &mut Fields<'_>, retired: &mut Retired) -> Option<()> {
    let count = pass_count(fields, retired.len(), RETIRED_MAX)?;
    let writing = fields.is_writing();
    if !writing {
        *retired = Retired::default();
    }
    let mut slot = 0;
    for _ in 0..count {
        if writing {
            slot = retired.first_from(slot);
        }
        fields.half(&mut slot);
        if !writing {
            retired.insert(slot);
        }
        slot = slot.wrapping_add(1);
    }
    Some(())
}

/// Writes the stream; returns its length, or `None` if it does not fit (it always
/// does: the largest ledger is a test). For tools; the store passes in place.
pub fn encode(
    stream: &mut [u8],
    id: BoardId,
    counters: &Counters,
    ledger: &Ledger,
    retired: &Retired,
) -> Option<usize> {
    stream.fill(0);
    let (mut counters, mut ledger, mut retired) = (*counters, ledger.clone(), retired.clone());
    pass(&mut Fields::writer(stream, 0), id, &mut counters, &mut ledger, &mut retired)
}

/// Member `index` of `count` (the parity's index is `count`) of a stream, in an
/// otherwise zero record. For tools.
#[must_use]
pub fn member(stream: &[u8], index: usize, count: usize) -> Record {
    let mut record: Record = [0; 64];
    let power_ups = decode_counters(stream).unwrap_or_default().power_ups;
    let mark = power_ups as u8 & (MARKS - 1);
    let place = MemberPlace { index: index as u8, count: count as u8, mark };
    write_member(&mut record, stream, place);
    record
}

/// The counters, from at least the first four members of a stream. For tools.
#[must_use]
pub fn decode_counters(stream: &[u8]) -> Option<Counters> {
    let (mut room, mut counters) = ([0; STREAM_MAX], Counters::default());
    let mut fields = Fields::reader(copied(&mut room, stream), 0);
    pass_counters(&mut fields, BoardId(0), &mut counters)?;
    Some(counters)
}

/// The ledger and the retired slots, from a whole stream; `None` when a field
/// cannot be right. For tools.
#[must_use]
pub fn decode(stream: &[u8]) -> Option<(Ledger, Retired)> {
    let mut room = [0; STREAM_MAX];
    let mut fields = Fields::reader(copied(&mut room, stream), 0);
    let mut ledger = Ledger::new(Settings::default(), Key::new([0; crate::authority::KEY_BYTES]));
    let (mut counters, mut retired) = (Counters::default(), Retired::default());
    pass(&mut fields, BoardId(0), &mut counters, &mut ledger, &mut retired)?;
    Some((ledger, retired))
}

fn copied<'a>(room: &'a mut [u8; STREAM_MAX], stream: &[u8]) -> &'a mut [u8] {
    room.iter_mut().zip(stream).for_each(|(to, from)| *to = *from);
    let length = stream.len().min(STREAM_MAX);
    room.get_mut(..length).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::authority::KEY_BYTES;
    use crate::codec::frame::RECORD_BYTES;
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
        let member = |index: usize| {
            let mut record = [0; RECORD_BYTES];
            let place = MemberPlace { index: index as u8, count: count as u8, mark: 0x2D };
            write_member(&mut record, &stream, place);
            assert_eq!(member_place(&record), Some(place));
            record
        };
        let parity = member(count);
        for lost in 0..count {
            let mut made_good = parity;
            for index in (0..count).filter(|index| *index != lost) {
                let other = member(index);
                made_good.iter_mut().zip(other).skip(5).for_each(|(a, b)| *a ^= b);
            }
            let whole = member(lost);
            assert_eq!(made_good[5..60], whole[5..60], "member {lost}");
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
