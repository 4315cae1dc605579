//! What may be missing: newer records than those that the figures rest on, since when, and at
//! most how much they can have held.
//!
//! Slots are written strictly in turn. So a slot that holds the record of the lap before has not
//! been written since, and whatever was written after the newest record that is used lies between
//! that record and the first such slot. Each record there adds at most one checkpoint interval.
//! What follows from that and what cannot be told stands in `docs/FORMAT.md`, section 8.7.
//!
//! Invariants: nothing here changes a figure; a part that was neither damaged nor cut in the
//! middle of a record gives nothing, but for an image of whose part the size is not known, when
//! its last slot was written since the newest checkpoint.

use schemars::JsonSchema;
use serde::Serialize;
use shaftbook_core::codec::entry::StoredEntry;
use shaftbook_core::codec::frame::RecordKind;
use shaftbook_core::codec::snapshot::{
    COUNTER_MEMBERS, decode_counters, member_data, member_place,
};
use shaftbook_core::counters::Counters;
use shaftbook_core::settings::Settings;
use shaftbook_core::store::ring::Place;

use super::boards::BoardFound;
use super::image::{Image, SIZE_MAX_BYTES};
use super::reading::{Reading, newest, read_up_to};
use super::rules::ReadingRules;
use super::signs::{slot_beyond, stuck_lines};

/// Laps before they begin again at 0.
const LAPS: u32 = 1 << 21;
/// Numbers of entries before they begin again at 0.
const NUMBERS: u32 = 1 << 20;

/// What may be missing in the figures of an image.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Missing {
    /// The newest record in the figures.
    pub since: Since,
    /// Why records may be missing.
    pub because: Vec<Cause>,
    /// Records that may have been written since, at most; `None` when the bytes do not say.
    pub records_at_most: Option<u64>,
    /// What they can have held beyond the figures, at most; `None` when the bytes do not say.
    pub at_most: Option<AtMost>,
}

/// The newest record that is in the figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Since {
    /// Its slot.
    pub slot: u16,
    /// Its lap.
    pub lap: u32,
    /// Lifetime powered time by the figures, ms.
    pub powered_ms: u64,
    /// The newest day that the journal knows: 1 is 1 January 2020.
    pub journal_day: Option<u16>,
}

/// What the missing records can have held at most, beyond the figures, as long as the memory
/// part answered when they were written. There is no bound on glitches, missed edges and thread
/// breaks: no checkpoint falls due by them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct AtMost {
    /// Powered time, ms.
    pub powered_ms: u64,
    /// Running time, ms.
    pub running_ms: u64,
    /// Stitches, of all needles.
    pub stitches: u64,
    /// Jumps.
    pub jumps: u64,
    /// Trims.
    pub trims: u64,
    /// Power-ups.
    pub power_ups: u64,
    /// Journal entries.
    pub entries: u64,
}

/// Why records may be missing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[schemars(deny_unknown_fields)]
pub enum Cause {
    /// Slots that hold no record though a newer one may have been written there: damaged, or
    /// torn by a cut.
    Unreadable {
        /// The slots, in the order in which they are written.
        slots: Vec<u16>,
    },
    /// Blank slots where newer records may have been, in a ring that has been round: erased.
    Erased {
        /// The slots, in the order in which they are written.
        slots: Vec<u16>,
    },
    /// Slots that hold an older record than they should, and are not retired: skipped, or put
    /// back.
    PutBack {
        /// The slots.
        slots: Vec<u16>,
    },
    /// Blank slots, not retired, where a record should be, apart from the place at which newer
    /// ones would stand: whatever erased them, or put them back, may have done more.
    Holes {
        /// The slots.
        slots: Vec<u16>,
    },
    /// Records newer than the figures that cannot be used, as their snapshot is lost.
    Unusable {
        /// The slots, in the order in which they are written.
        slots: Vec<u16>,
    },
    /// The newest record is laps newer than those that the figures rest on.
    FarNewer {
        /// Its slot.
        slot: u16,
        /// Its lap.
        lap: u32,
    },
    /// Everything up to the last slot of the image may have been overwritten: if the part is
    /// larger than the image, newer records lie beyond it.
    CutShort {
        /// Slots that the largest part with such slots has beyond the image.
        slots_beyond: u16,
        /// A record names a slot beyond the image: it is cut short.
        is_certain: bool,
    },
    /// Half of the image are copies of the other half.
    Copies {
        /// The address lines that are stuck, 14 for A14.
        lines: Vec<u32>,
    },
    /// Journal entries that are missing before others that were read.
    EntriesLost {
        /// How many, at most.
        entries: u64,
    },
    /// The figures are the board's, and no reading of every slot explains them.
    NotExplained,
}

/// What was found between a record and the last place at which a newer one can stand.
#[derive(Debug, Default)]
struct Found {
    records: u64,
    unreadable: Vec<u16>,
    erased: Vec<u16>,
    unusable: Vec<u16>,
    /// Those of `erased` that stand after the newest record.
    erased_beyond: Vec<u16>,
    /// Times the end of the image was passed.
    ends: u64,
}

struct Search<'a> {
    image: &'a Image,
    board: &'a BoardFound,
    strangers: &'a [BoardFound],
    reading: Reading,
    /// The newest record of all.
    newest: Place,
    is_first_lap: bool,
    /// Address lines that are stuck, and the most slots in a row that are copies by them.
    stuck: Vec<u32>,
    copied_slots: usize,
    /// Slots that a part may have beyond the image.
    beyond: u16,
    beyond_is_certain: bool,
}

/// What may be missing in the figures `given`, the board's or, where it has none, the reading's.
/// `strangers` are the other boards on the part, `reading` is the reading of every slot, and
/// `is_whole` says that the part is known to be as large as the image. `None`: nothing.
#[must_use]
pub fn missing<R: ReadingRules>(
    image: &Image,
    (board, strangers): (&BoardFound, &[BoardFound]),
    reading: Option<&Reading>,
    given: &Counters,
    is_whole: bool,
) -> Option<Missing> {
    let all = newest(board)?;
    let explains = |reading: &Reading| reading.lifetime == *given;
    let used = reading.filter(|r| explains(r)).cloned().or_else(|| {
        let mut places: Vec<Place> = places_of(board).collect();
        places.sort_by_key(|place| distance(image, *place, all));
        places.iter().find_map(|at| read_up_to(image, board, *at).ok().filter(|r| explains(r)))
    });
    let Some(used) = used else {
        return Some(not_explained(all, given));
    };
    let slots_max = SIZE_MAX_BYTES as u32 / image.ring().address(1);
    let beyond = if is_whole { 0 } else { slots_max as u16 - image.ring().slots() };
    let stuck = stuck_lines(image);
    Search {
        image,
        board,
        strangers,
        reading: used,
        newest: all,
        is_first_lap: is_first_lap(image, board, all),
        copied_slots: stuck.iter().map(|line| (1 << line) / image.ring().address(1) as usize).sum(),
        stuck,
        beyond,
        beyond_is_certain: slot_beyond(image, board).is_some(),
    }
    .missing::<R>()
}

fn not_explained(newest: Place, given: &Counters) -> Missing {
    Missing {
        since: Since {
            slot: newest.slot,
            lap: newest.lap.get(),
            powered_ms: given.powered_ms,
            journal_day: None,
        },
        because: vec![Cause::NotExplained],
        records_at_most: None,
        at_most: None,
    }
}

/// Records written after the place `from`, up to the place `to`, modulo the laps.
fn distance(image: &Image, from: Place, to: Place) -> u64 {
    let laps = u64::from(to.lap.get().wrapping_sub(from.lap.get()) & (LAPS - 1));
    (laps * u64::from(image.ring().slots()) + u64::from(to.slot))
        .saturating_sub(u64::from(from.slot))
}

fn places_of(board: &BoardFound) -> impl Iterator<Item = Place> {
    (0..).zip(&board.headers).filter_map(|(slot, h)| h.map(|h| Place { lap: h.lap, slot }))
}

/// Whether the slots after `newest` have never been written by `board`: it is in the lap in
/// which it was fitted, the first, or a later one on a part whose fitting was cut.
fn is_first_lap(image: &Image, board: &BoardFound, newest: Place) -> bool {
    if places_of(board).any(|place| place.slot > newest.slot) {
        return false;
    }
    if newest.lap.get() == 1 {
        return true;
    }
    // The first member of a fitting's snapshot: it has not run.
    let record = image.record(0);
    let is_first = board.headers.first().copied().flatten().is_some_and(|h| h.lap == newest.lap)
        && member_place(&record).is_some_and(|member| member.index == 0);
    let mut stream = [0; COUNTER_MEMBERS * shaftbook_core::codec::snapshot::MEMBER_BYTES];
    stream.iter_mut().zip(member_data(&record)).for_each(|(to, from)| *to = *from);
    is_first && decode_counters(&stream).is_some_and(|counters| counters.running_ms == 0)
}

impl Search<'_> {
    fn slots(&self) -> u16 {
        self.image.ring().slots()
    }

    fn after(&self, place: Place) -> Place {
        if place.slot + 1 < self.slots() {
            Place { slot: place.slot + 1, ..place }
        } else {
            Place { slot: 0, lap: place.lap.plus(1) }
        }
    }

    fn is_retired(&self, slot: u16) -> bool {
        self.reading.retired.contains(&slot)
    }

    /// Whether laps lie between `place` and the newest record.
    fn is_laps_older(&self, place: Place) -> bool {
        distance(self.image, place, self.newest) >= u64::from(self.slots())
    }

    fn missing<R: ReadingRules>(&self) -> Option<Missing> {
        let reading = &self.reading;
        let counted = self.since::<R>(reading.counted_at);
        let others = self.since::<R>(reading.others_at);
        let ledger = self.since::<R>(reading.ledger_at);
        let put_back: Vec<u16> =
            if R::see_put_back() { self.put_back_anywhere() } else { Vec::new() };
        let gap = if R::tell_lost_entries() { self.lost_entries() } else { 0 };
        let widest = [&ledger, &others, &counted].into_iter().max_by_key(|found| found.records)?;
        let mut because = causes(widest);
        if widest.ends > 0 && self.beyond > 0 {
            because.push(Cause::CutShort {
                slots_beyond: self.beyond,
                is_certain: self.beyond_is_certain,
            });
        }
        if !put_back.is_empty() {
            because.push(Cause::PutBack { slots: put_back.clone() });
        }
        let holes =
            if R::blank_was_written() { self.holes(&widest.erased_beyond) } else { Vec::new() };
        if !holes.is_empty() {
            because.push(Cause::Holes { slots: holes.clone() });
        }
        if self.is_laps_older(reading.ledger_at) {
            let Place { slot, lap } = self.newest;
            because.push(Cause::FarNewer { slot, lap: lap.get() });
        }
        if gap > 0 {
            because.push(Cause::EntriesLost { entries: gap });
        }
        if because.is_empty() {
            return None;
        }
        if !self.stuck.is_empty() {
            because.push(Cause::Copies { lines: self.stuck.clone() });
        }
        let is_bounded = put_back.is_empty() && holes.is_empty();
        let count =
            |found: &Found| if R::bound_all() { found.records } else { found.records.min(1) };
        let bound = self.at_most(count(&counted), count(&others), count(&ledger), gap);
        Some(Missing {
            since: Since {
                slot: reading.ledger_at.slot,
                lap: reading.ledger_at.lap.get(),
                powered_ms: reading.lifetime.powered_ms,
                journal_day: reading.ledger.history.iter().filter_map(|line| line.day).max(),
            },
            because,
            records_at_most: is_bounded.then_some(widest.records),
            at_most: is_bounded.then_some(bound),
        })
    }

    /// What may have been written after `anchor`.
    fn since<R: ReadingRules>(&self, anchor: Place) -> Found {
        let mut found = Found::default();
        let between = distance(self.image, anchor, self.newest);
        if self.is_laps_older(anchor) {
            // Laps of which nothing is left.
            (found.records, found.ends) = (between, between / u64::from(self.slots()) + 1);
        } else {
            let mut place = anchor;
            for _ in 0..between {
                found.ends += u64::from(place.slot + 1 == self.slots());
                place = self.after(place);
                self.look_between::<R>(place, &mut found);
            }
        }
        let before = found.erased.len();
        if R::look_beyond_newest() {
            self.look_beyond::<R>(&mut found);
        }
        found.erased_beyond = found.erased[before..].to_vec();
        if !R::end_may_be_cut() {
            found.ends = 0;
        }
        found.records += found.ends * u64::from(self.beyond);
        found
    }

    /// A place after the record that is used and not after the newest.
    fn look_between<R: ReadingRules>(&self, place: Place, found: &mut Found) {
        let header = self.board.headers[usize::from(place.slot)];
        match header.filter(|h| h.lap == place.lap).map(|h| h.kind) {
            Some(RecordKind::Snapshot) => {}
            Some(kind) => {
                if R::count_unusable() && !(kind == RecordKind::Entry && self.is_used(place)) {
                    found.unusable.push(place.slot);
                    found.records += 1;
                }
            }
            None if self.is_retired(place.slot) => {}
            None => self.unread::<R>(place.slot, found),
        }
    }

    /// From the newest record on to the first slot that has not been written since.
    fn look_beyond<R: ReadingRules>(&self, found: &mut Found) {
        let mut place = self.newest;
        let mut blank = 0;
        for _ in 1..self.slots() {
            if place.slot + 1 == self.slots() {
                found.ends += 1;
            }
            place = self.after(place);
            if self.is_retired(place.slot) {
                continue;
            }
            let before = self.board.headers[usize::from(place.slot)];
            let has_stayed = match before {
                Some(header) => header.lap == place.lap.previous(),
                None => self.is_foreign(place.slot),
            };
            let is_blank = before.is_none() && self.is_blank(place.slot);
            blank = if is_blank { blank + 1 } else { 0 };
            // A blank copy of another slot says nothing of the slot itself.
            let is_unwritten = self.is_first_lap && blank > self.copied_slots;
            if has_stayed || is_blank && (is_unwritten || !R::blank_was_written()) {
                return;
            }
            self.unread::<R>(place.slot, found);
        }
    }

    fn unread<R: ReadingRules>(&self, slot: u16, found: &mut Found) {
        if self.board.headers[usize::from(slot)].is_some() {
            // Told by `put_back_anywhere`.
            found.records += u64::from(R::see_put_back());
            return;
        }
        let is_blank = self.is_blank(slot);
        let list = if is_blank { &mut found.erased } else { &mut found.unreadable };
        list.push(slot);
        found.records += 1;
    }

    fn is_blank(&self, slot: u16) -> bool {
        self.image.record(slot).iter().all(|byte| *byte == 0xFF)
    }

    /// Whether a slot holds a whole record of another board that was there before.
    fn is_foreign(&self, slot: u16) -> bool {
        self.strangers.iter().any(|other| other.headers[usize::from(slot)].is_some())
    }

    /// Whether the entry at `place` is a copy of one that is used.
    fn is_used(&self, place: Place) -> bool {
        let Some(stored) = StoredEntry::decode(&self.image.record(place.slot)) else {
            return false;
        };
        self.reading.entries.iter().any(|used| {
            used.stored.entry.number == stored.entry.number
                && used.stored.pointers().snapshot == stored.pointers().snapshot
        })
    }

    /// Slots with an older record than they should have, and which are not retired.
    fn put_back_anywhere(&self) -> Vec<u16> {
        let ring = self.image.ring();
        places_of(self.board)
            .filter(|place| ring.last_written(place.slot, self.newest).lap != place.lap)
            .map(|place| place.slot)
            .filter(|slot| !self.is_retired(*slot))
            .collect()
    }

    /// Blank slots where a record should be, but for those `told`.
    fn holes(&self, told: &[u16]) -> Vec<u16> {
        let end = if self.is_first_lap { self.newest.slot } else { self.slots() };
        (0..end)
            .filter(|slot| self.is_blank(*slot) && !self.is_retired(*slot))
            .filter(|slot| !told.contains(slot))
            .collect()
    }

    /// How many entries are missing in the journal before the newest that is used, at most.
    fn lost_entries(&self) -> u64 {
        let reading = &self.reading;
        // An entry beyond the image counts as none there, without a gap.
        if let Some(oldest) = reading.entries.first() {
            let (number, first) = (oldest.stored.entry.number, reading.next_by_snapshot);
            return u64::from(number.get().wrapping_sub(first.get()) & (NUMBERS - 1));
        }
        let is_beyond = reading.entry_slot.is_some_and(|slot| slot >= self.slots());
        if reading.gap.is_none() && !is_beyond {
            return 0;
        }
        // Not one can be reached: as many as there are slots that cannot be read, or hold one.
        let mut place = reading.snapshot.base;
        let (mut unread, mut crossed) = (0, 0);
        for _ in 0..self.slots() {
            if place == reading.ledger_at {
                break;
            }
            crossed += u64::from(place.slot + 1 == self.slots());
            place = self.after(place);
            let header = self.board.headers[usize::from(place.slot)];
            unread +=
                u64::from(header.is_none_or(|h| h.lap != place.lap || h.kind == RecordKind::Entry));
        }
        (unread + crossed * u64::from(self.beyond)).max(1)
    }

    fn at_most(&self, counted: u64, others: u64, ledger: u64, gap: u64) -> AtMost {
        let one = per_record(&self.reading.ledger.settings);
        AtMost {
            powered_ms: counted * one.powered_ms,
            running_ms: counted * one.running_ms,
            stitches: counted * one.stitches,
            jumps: others * one.jumps,
            trims: counted * one.trims,
            power_ups: counted * one.power_ups,
            entries: ledger + gap,
        }
    }
}

fn causes(found: &Found) -> Vec<Cause> {
    let mut because = Vec::new();
    let mut add = |slots: &Vec<u16>, cause: fn(Vec<u16>) -> Cause| {
        if !slots.is_empty() {
            because.push(cause(slots.clone()));
        }
    };
    add(&found.unreadable, |slots| Cause::Unreadable { slots });
    add(&found.erased, |slots| Cause::Erased { slots });
    add(&found.unusable, |slots| Cause::Unusable { slots });
    because
}

/// What one record can add to the one before it: a checkpoint interval by each measure.
#[must_use]
pub fn per_record(settings: &Settings) -> AtMost {
    let running_ms = u64::from(settings.checkpoint_running_s) * 1_000;
    let powered_ms = u64::from(settings.checkpoint_powered_s) * 1_000;
    // The fastest that is not rejected, and slow turns which are no running time.
    let turn_us =
        u64::from(settings.shortest_period_us()) * u64::from(settings.pulses_per_revolution);
    let slow = powered_ms / u64::from(settings.run_gap_ms).max(1);
    let turns = running_ms * 1_000 / turn_us.max(1) + slow + 2;
    AtMost {
        powered_ms,
        running_ms,
        stitches: turns,
        jumps: turns,
        trims: u64::from(settings.checkpoint_trims),
        power_ups: 1,
        entries: 1,
    }
}
