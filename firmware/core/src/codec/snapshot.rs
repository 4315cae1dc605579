//! A snapshot: all counters and the whole ledger, as one byte stream cut into
//! *members* of 55 bytes, one a slot, and a parity member that is their XOR. The
//! loss of any one member is made good.
//!
//! The fields of a member have their places in [`mod@member`], those of the stream in
//! [`place`], of a component in [`mod@component`], and of a journal line in [`mod@line`].
//!
//! The mark is the low six bits of the counters' power-ups: after a power cut in the
//! middle of a snapshot, its members are overwritten in the same lap, and one that
//! was not must not pass for a member of the new one.
//!
//! The stream is in the order of [`pass`]. The counters come first, within the first four
//! members, so that they are known first. With them stands a check over all that follows, so
//! that what checkpoints and entries carry of the first four, the [`binding`], binds them to
//! the whole.

use super::fields::{Bits, Fields, bytes, width};
use super::frame::{self, Record};
use super::measures::{self, Run};
use crate::authority::Key;
use crate::component::{COMPONENTS_MAX, Component, ComponentKind, Measure, Role};
use crate::counters::{Counters, NEEDLES_MAX, field};
use crate::identity::BoardId;
use crate::journal::{EntryNumber, Event};
use crate::ledger::{Fitted, HISTORY_MAX, HistoryLine, Ledger};
use crate::retired::{RETIRED_MAX, Retired};
use crate::rules::{Rules, Sound};
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
pub const FORMAT_VERSION: u8 = 2;
/// Bytes of the stream that a [`binding`] is over: those of the first members.
pub const BOUND_BYTES: usize = MEMBER_BYTES * COUNTER_MEMBERS;

/// Where the fields of a member stand in its record.
pub mod member {
    use crate::codec::fields::Bits;

    /// Index: 0 to `count` − 1 for data members, `count` for the parity member.
    pub const INDEX: Bits = 24..29;
    /// Mark, its low bits.
    pub const MARK_LOW: Bits = 29..32;
    /// Count of data members.
    pub const COUNT: Bits = 32..37;
    /// Mark, its high bits.
    pub const MARK_HIGH: Bits = 37..40;
    /// A piece of the stream; the last is padded with zeros.
    pub const DATA: Bits = 40..480;
}

/// Where the fields of the stream stand; after [`COMPONENTS`](place::COMPONENTS) come lists,
/// each of them a count of 8 bits and so many items.
pub mod place {
    use crate::codec::fields::{Bits, bytes};

    /// Version of the format.
    pub const VERSION: Bits = bytes(0, 1);
    /// Board identity, its low half.
    pub const BOARD_LOW: Bits = bytes(1, 4);
    /// Board identity, its high half.
    pub const BOARD_HIGH: Bits = bytes(5, 4);
    /// Powered and running time, ms, 6 bytes each.
    pub const TIMES_MS: Bits = bytes(9, 2 * 6);
    /// Stitches: the unattributed, then those of needle 1 to 16, 5 bytes each.
    pub const STITCHES: Bits = bytes(21, 17 * 5);
    /// Jumps.
    pub const JUMPS: Bits = bytes(106, 5);
    /// Trims.
    pub const TRIMS: Bits = bytes(111, 5);
    /// Unattributed thread breaks.
    pub const UNATTRIBUTED_BREAKS: Bits = bytes(116, 4);
    /// Thread breaks of needle 1 to 16, 3 bytes each.
    pub const NEEDLE_BREAKS: Bits = bytes(120, 16 * 3);
    /// Power-ups.
    pub const POWER_UPS: Bits = bytes(168, 4);
    /// Glitches and missed edges, 4 bytes each.
    pub const GLITCHES: Bits = bytes(172, 2 * 4);
    /// Check over the stream from byte [`BOUND_BYTES`](super::BOUND_BYTES) on.
    pub const REST_CHECK: Bits = bytes(180, 4);
    /// Pulses per revolution.
    pub const PULSES_PER_REVOLUTION: Bits = bytes(184, 1);
    /// Fastest shaft speed, revolutions/min.
    pub const TOP_SPEED_RPM: Bits = bytes(185, 2);
    /// Shaft debounce time, µs.
    pub const SHAFT_DEBOUNCE_US: Bits = bytes(187, 2);
    /// Contact debounce time, µs.
    pub const CONTACT_DEBOUNCE_US: Bits = bytes(189, 2);
    /// Run gap, ms.
    pub const RUN_GAP_MS: Bits = bytes(191, 2);
    /// Needles on the head.
    pub const NEEDLES: Bits = bytes(193, 1);
    /// Needle source: 0 not wired, 1 code lines, 2 voltage.
    pub const NEEDLE_SOURCE: Bits = bytes(194, 1);
    /// Needle debounce time, ms.
    pub const NEEDLE_DEBOUNCE_MS: Bits = bytes(195, 1);
    /// Needle guard band, mV.
    pub const NEEDLE_GUARD_MV: Bits = bytes(196, 2);
    /// Needle hysteresis, mV.
    pub const NEEDLE_HYSTERESIS_MV: Bits = bytes(198, 2);
    /// Checkpoint after running time, s.
    pub const CHECKPOINT_RUNNING_S: Bits = bytes(200, 1);
    /// Checkpoint after trims.
    pub const CHECKPOINT_TRIMS: Bits = bytes(201, 1);
    /// Checkpoint after powered time, s.
    pub const CHECKPOINT_POWERED_S: Bits = bytes(202, 2);
    /// Service measure: 1 running time, else powered time.
    pub const SERVICE_MEASURE: Bits = 1_632..1_636;
    /// The panel's language.
    pub const LANGUAGE: Bits = 1_636..1_640;
    /// Service interval, h.
    pub const SERVICE_INTERVAL_H: Bits = bytes(205, 2);
    /// First byte of the voltages of needle 1 to 16, mV, 2 bytes each.
    pub const NEEDLE_LEVELS_BYTE: u32 = 207;
    /// Carried-in hours.
    pub const CARRIED_IN_HOURS: Bits = bytes(239, 4);
    /// Carried-in stitches.
    pub const CARRIED_IN_STITCHES: Bits = bytes(243, 6);
    /// Carried-in trims.
    pub const CARRIED_IN_TRIMS: Bits = bytes(249, 4);
    /// First byte of the board's key, 32 bytes.
    pub const KEY_BYTE: u32 = 253;
    /// Interval baseline: powered time, ms.
    pub const INTERVAL_POWERED_MS: Bits = bytes(285, 6);
    /// Interval baseline: running time, ms.
    pub const INTERVAL_RUNNING_MS: Bits = bytes(291, 6);
    /// Services done.
    pub const SERVICES: Bits = bytes(297, 2);
    /// Replies tried since the last right one.
    pub const TRIES: Bits = bytes(299, 1);
    /// Number of the next journal entry.
    pub const NEXT_ENTRY: Bits = bytes(300, 3);
    /// Number of components.
    pub const COMPONENTS: Bits = bytes(303, 1);
}

/// Where the fields of a component stand, from its first byte.
pub mod component {
    use crate::codec::fields::{Bits, bytes};

    /// Kind.
    pub const KIND: Bits = bytes(0, 1);
    /// Measure.
    pub const MEASURE: Bits = bytes(1, 1);
    /// Bit 0: only the engineer may renew it; bit 1: a service renews it too.
    pub const FLAGS: Bits = bytes(2, 1);
    /// Notice limit.
    pub const NOTICE: Bits = bytes(3, 4);
    /// Due limit.
    pub const DUE: Bits = bytes(7, 4);
    /// Baseline.
    pub const BASELINE: Bits = bytes(11, 6);
}

/// Where the fields of a journal line stand, from its first byte.
pub mod line {
    use crate::codec::fields::{Bits, bytes};

    /// Number.
    pub const NUMBER: Bits = bytes(0, 3);
    /// Event.
    pub const EVENT: Bits = bytes(3, 1);
    /// Subject.
    pub const SUBJECT: Bits = bytes(4, 2);
    /// Lifetime powered time then, s.
    pub const POWERED_S: Bits = bytes(6, 4);
    /// Calendar day; 0: none was known.
    pub const DAY: Bits = bytes(10, 2);
}

const _: () = assert!(place::REST_CHECK.end as usize <= BOUND_BYTES * 8);
const BINDING_BITS: u32 = width(&super::checkpoint::place::BINDING);
const _: () = assert!(width(&member::DATA) as usize == MEMBER_BYTES * 8);
const INDEX_BITS: u32 = width(&member::INDEX);
/// Marks that drafts can be told apart by.
pub const MARKS: u8 = 1 << (width(&member::MARK_LOW) + width(&member::MARK_HIGH));

/// The counters in a stream.
const COUNTERS: [Run; 8] = [
    Run::new(field::POWERED_MS, 2, &place::TIMES_MS),
    Run::new(field::UNATTRIBUTED_STITCHES, 1 + NEEDLES_MAX, &place::STITCHES),
    Run::new(field::JUMPS, 1, &place::JUMPS),
    Run::new(field::TRIMS, 1, &place::TRIMS),
    Run::new(field::UNATTRIBUTED_BREAKS, 1, &place::UNATTRIBUTED_BREAKS),
    Run::new(field::NEEDLE_BREAKS, NEEDLES_MAX, &place::NEEDLE_BREAKS),
    Run::new(field::POWER_UPS, 1, &place::POWER_UPS),
    Run::new(field::GLITCHES, 2, &place::GLITCHES),
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
    *index_byte = place.index | place.mark << INDEX_BITS;
    *count_byte = place.count | place.mark >> (8 - INDEX_BITS) << INDEX_BITS;
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
    let low = (1 << INDEX_BITS) - 1;
    let (index, count) = (a & low, b & low);
    let mark = a >> INDEX_BITS | b >> INDEX_BITS << (8 - INDEX_BITS);
    let possible = count >= COUNTER_MEMBERS as u8 && count <= MEMBERS_MAX as u8 && index <= count;
    possible.then_some(MemberPlace { index, count, mark })
}

/// The part of the stream that a member holds.
#[must_use]
pub fn member_data(record: &Record) -> &[u8; MEMBER_BYTES] {
    let [_, _, _, _, _, data @ ..] = record;
    data.first_chunk().unwrap_or(&[0; MEMBER_BYTES])
}

/// The CRC over a piece of the stream.
fn check(bytes: &[u8]) -> u32 {
    frame::crc_of([bytes, &[], &[]])
}

/// What a checkpoint or an entry says of the snapshot that it adds to, of the first
/// [`BOUND_BYTES`] of its stream: the low bits of their CRC.
#[must_use]
pub fn binding<R: Rules>(stream: &[u8]) -> u16 {
    let bound = if R::bind_all_counters() { BOUND_BYTES } else { MEMBER_BYTES };
    check(stream.get(..bound).unwrap_or_default()) as u16 & ((1 << BINDING_BITS) - 1)
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
pub fn pass<R: Rules>(
    fields: &mut Fields<'_>,
    id: BoardId,
    counters: &mut Counters,
    ledger: &mut Ledger,
    retired: &mut Retired,
) -> Option<usize> {
    pass_counters(fields, id, counters)?;
    // The check comes last, when all that it is over has been passed.
    fields.go_on_at(place::REST_CHECK.end);
    pass_settings(fields, &mut ledger.settings)?;
    fields.word(&mut ledger.carried_in.hours, place::CARRIED_IN_HOURS);
    fields.long(&mut ledger.carried_in.stitches, place::CARRIED_IN_STITCHES);
    fields.word(&mut ledger.carried_in.trims, place::CARRIED_IN_TRIMS);
    let mut key = *ledger.key.bytes();
    for (n, byte) in (0..).zip(&mut key) {
        fields.byte(byte, bytes(place::KEY_BYTE + n, 1));
    }
    ledger.key = Key::new(key);
    fields.long(&mut ledger.interval.powered_ms, place::INTERVAL_POWERED_MS);
    fields.long(&mut ledger.interval.running_ms, place::INTERVAL_RUNNING_MS);
    fields.half(&mut ledger.services, place::SERVICES);
    fields.byte(&mut ledger.tries, place::TRIES);
    pass_number(fields, &mut ledger.next_entry, place::NEXT_ENTRY);
    fields.check(place::COMPONENTS.start);
    let count = pass_count(fields, ledger.components.len(), COMPONENTS_MAX)?;
    ledger.components.resize(count, NO_COMPONENT).ok()?;
    for fitted in &mut ledger.components {
        fields.begin_item();
        pass_fitted(fields, fitted)?;
    }
    pass_retired(fields, retired)?;
    let count = pass_count(fields, ledger.history.len(), HISTORY_MAX)?;
    ledger.history.resize(count, NO_LINE).ok()?;
    for line in &mut ledger.history {
        fields.begin_item();
        pass_number(fields, &mut line.number, line::NUMBER);
        let mut event = line.event as u8;
        fields.byte(&mut event, line::EVENT);
        line.event = Event::from_code(event)?;
        fields.half(&mut line.subject, line::SUBJECT);
        fields.word(&mut line.powered_s, line::POWERED_S);
        let mut day = line.day.unwrap_or(0);
        fields.half(&mut day, line::DAY);
        line.day = Some(day).filter(|d| *d != 0);
    }
    let length = fields.position() / 8;
    let check = check(fields.bytes().get(BOUND_BYTES..length)?);
    fields.go_on_at(place::REST_CHECK.start);
    (fields.narrow(check, place::REST_CHECK) == check || !R::check_rest()).then_some(length)
}

/// Passes the start of a stream: the counters. `None` when it is of another version
/// or incomplete.
pub fn pass_counters(fields: &mut Fields<'_>, id: BoardId, counters: &mut Counters) -> Option<()> {
    let mut version = FORMAT_VERSION;
    fields.byte(&mut version, place::VERSION);
    // Every member's CRC covers the identity; what is read here says nothing new.
    fields.narrow(id.0 as u32, place::BOARD_LOW);
    fields.narrow((id.0 >> 32) as u32, place::BOARD_HIGH);
    measures::pass(fields, counters, &COUNTERS, false);
    (version == FORMAT_VERSION && fields.is_complete()).then_some(())
}

const NO_COMPONENT: Fitted = Fitted {
    component: Component {
        kind: ComponentKind(0),
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
    Some(fields.next(count as u64, 8) as usize).filter(|count| *count <= most)
}

fn pass_number(fields: &mut Fields<'_>, number: &mut EntryNumber, place: Bits) {
    *number = EntryNumber::new(fields.narrow(number.get(), place));
}

fn pass_settings(fields: &mut Fields<'_>, settings: &mut Settings) -> Option<()> {
    fields.byte(&mut settings.pulses_per_revolution, place::PULSES_PER_REVOLUTION);
    fields.half(&mut settings.top_speed_rpm, place::TOP_SPEED_RPM);
    fields.half(&mut settings.shaft_debounce_us, place::SHAFT_DEBOUNCE_US);
    fields.half(&mut settings.contact_debounce_us, place::CONTACT_DEBOUNCE_US);
    fields.half(&mut settings.run_gap_ms, place::RUN_GAP_MS);
    fields.byte(&mut settings.needles, place::NEEDLES);
    settings.needle_source =
        match fields.narrow(settings.needle_source as u32, place::NEEDLE_SOURCE) {
            0 => NeedleSource::NotWired,
            1 => NeedleSource::Code,
            2 => NeedleSource::Level,
            _ => return None,
        };
    fields.byte(&mut settings.needle_debounce_ms, place::NEEDLE_DEBOUNCE_MS);
    fields.half(&mut settings.needle_guard_mv, place::NEEDLE_GUARD_MV);
    fields.half(&mut settings.needle_hysteresis_mv, place::NEEDLE_HYSTERESIS_MV);
    fields.byte(&mut settings.checkpoint_running_s, place::CHECKPOINT_RUNNING_S);
    fields.byte(&mut settings.checkpoint_trims, place::CHECKPOINT_TRIMS);
    fields.half(&mut settings.checkpoint_powered_s, place::CHECKPOINT_POWERED_S);
    settings.service_measure =
        match fields.narrow(settings.service_measure as u32, place::SERVICE_MEASURE) {
            1 => ServiceMeasure::Running,
            _ => ServiceMeasure::Powered,
        };
    settings.language = fields.narrow(u32::from(settings.language), place::LANGUAGE) as u8;
    fields.half(&mut settings.service_interval_h, place::SERVICE_INTERVAL_H);
    for (n, level_mv) in (0..).zip(&mut settings.needle_level_mv) {
        fields.half(level_mv, bytes(place::NEEDLE_LEVELS_BYTE + 2 * n, 2));
    }
    settings.check().ok()
}

fn pass_fitted(fields: &mut Fields<'_>, fitted: &mut Fitted) -> Option<()> {
    let component = &mut fitted.component;
    fields.byte(&mut component.kind.0, component::KIND);
    let mut measure = component.measure.code();
    fields.byte(&mut measure, component::MEASURE);
    component.measure = Measure::from_code(measure)?;
    let mut flags =
        u8::from(component.renewed_by == Role::Engineer) | u8::from(component.with_service) << 1;
    fields.byte(&mut flags, component::FLAGS);
    component.renewed_by = if flags & 1 == 1 { Role::Engineer } else { Role::Operator };
    component.with_service = flags & 2 == 2;
    fields.word(&mut component.notice, component::NOTICE);
    fields.word(&mut component.due, component::DUE);
    fields.long(&mut fitted.baseline, component::BASELINE);
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
        slot = fields.next(u64::from(slot), 16) as u16;
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
    let mut fields = Fields::writer(stream, 0);
    pass::<Sound>(&mut fields, id, &mut counters, &mut ledger, &mut retired)
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
    let mut counters = Counters::default();
    pass_counters(&mut Fields::reader(stream, 0), BoardId(0), &mut counters)?;
    Some(counters)
}

/// The ledger and the retired slots, from a whole stream; `None` when a field
/// cannot be right. For tools.
#[must_use]
pub fn decode(stream: &[u8]) -> Option<(Ledger, Retired)> {
    let mut fields = Fields::reader(stream, 0);
    let mut ledger = Ledger::new(Settings::default(), Key::new([0; crate::authority::KEY_BYTES]));
    let (mut counters, mut retired) = (Counters::default(), Retired::default());
    pass::<Sound>(&mut fields, BoardId(0), &mut counters, &mut ledger, &mut retired)?;
    Some((ledger, retired))
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
                kind: ComponentKind(place as u8),
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
