//! A second reading of an image, independent of the firmware's recovery: every slot
//! is read, the newest record is chosen, and the rest is found from it as section 8 of
//! `docs/FORMAT.md` says. Only the record codecs are shared with the firmware.
//!
//! Not done here: judging whether the two readings agree (`report`).

use shaftbook_core::codec::checkpoint::{Checkpoint, Pointers};
use shaftbook_core::codec::entry::StoredEntry;
use shaftbook_core::codec::frame::{Header, RecordKind};
use shaftbook_core::codec::snapshot::{
    self, COUNTER_MEMBERS, MEMBER_BYTES, MEMBERS_MAX, member_data, member_place,
};
use shaftbook_core::counters::Counters;
use shaftbook_core::journal::{EntryNumber, Event};
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::Sound;
use shaftbook_core::store::ring::Place;

use super::apply::apply;
use super::boards::BoardFound;
use super::image::Image;

/// Slots from the base on in which a snapshot's members may lie.
const MEMBER_SLOTS: usize = 72;
/// Slots after a pointer in which an entry's copies may lie.
const COPY_REACH_SLOTS: u16 = 6;
/// Longest chain of entries that is followed.
const CHAIN_MAX: usize = 40;

/// A journal entry, with the slots in which its copies stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryFound {
    /// The entry, its measures whole (not delta).
    pub stored: StoredEntry,
    /// Slots of its copies, in the order written.
    pub copies: Vec<u16>,
}

/// A snapshot as it stands on the part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SnapshotFound {
    /// Where its first member should be.
    pub base: Place,
    /// Data members it should have; 0 if none was found.
    pub members: usize,
    /// Indices that cannot be read; the parity member's is `members`.
    pub missing: Vec<usize>,
    /// Slots that were read as its members.
    pub slots: Vec<u16>,
    /// Its counters, if they can be had even though the rest cannot.
    pub counters: Option<Counters>,
    /// It is whole, and the record that names it is bound to another.
    pub is_another: bool,
}

/// What the reading gave.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The newest record.
    pub newest: Place,
    /// The newest checkpoint.
    pub checkpoint: Place,
    /// The newest record whose counters are in `lifetime`; for jumps, glitches, missed edges
    /// and breaks, which an entry does not hold, it is `others_at`.
    pub counted_at: Place,
    /// See `counted_at`.
    pub others_at: Place,
    /// The newest record whose journal is in `ledger`.
    pub ledger_at: Place,
    /// The newest entry since the snapshot, by the record at `ledger_at`: a slot that the part
    /// may not have. `None`: there is none.
    pub entry_slot: Option<u16>,
    /// Number of the entry after the snapshot, before those since were applied.
    pub next_by_snapshot: EntryNumber,
    /// The lifetime counters.
    pub lifetime: Counters,
    /// The ledger, with the journal since the snapshot applied.
    pub ledger: Ledger,
    /// Retired slots by the snapshot and the journal since, ascending.
    pub retired: Vec<u16>,
    /// Those of them that only the journal names, ascending.
    pub retired_since: Vec<u16>,
    /// The snapshot that was used.
    pub snapshot: SnapshotFound,
    /// Newer snapshots that could not be used.
    pub lost: Vec<SnapshotFound>,
    /// Slots of a snapshot that no checkpoint names yet.
    pub unfinished: Vec<u16>,
    /// Entries since the snapshot, oldest first.
    pub entries: Vec<EntryFound>,
    /// Slot at which an older entry should be but is not.
    pub gap: Option<u16>,
}

/// Reads what `board` has on the part.
///
/// # Errors
/// Nothing can be recovered: the snapshots that were lost.
pub fn read(image: &Image, board: &BoardFound) -> Result<Reading, Vec<SnapshotFound>> {
    Reader::new(image, board).ok_or_else(Vec::new)?.read()
}

/// The same as if nothing after `newest` were on the part.
///
/// # Errors
/// As [`read`].
pub fn read_up_to(
    image: &Image,
    board: &BoardFound,
    newest: Place,
) -> Result<Reading, Vec<SnapshotFound>> {
    Reader { image, board, newest }.read()
}

/// Whether the place `a` was written after `b`.
#[must_use]
pub fn is_after(a: Place, b: Place) -> bool {
    if a.lap == b.lap { a.slot > b.slot } else { a.lap.is_after(b.lap) }
}

/// The newest record of `board`: section 8.1.
#[must_use]
pub fn newest(board: &BoardFound) -> Option<Place> {
    let places = (0..).zip(&board.headers);
    places
        .filter_map(|(slot, h)| h.map(|h| Place { lap: h.lap, slot }))
        .reduce(|newest, place| if is_after(place, newest) { place } else { newest })
}

struct Reader<'a> {
    image: &'a Image,
    board: &'a BoardFound,
    newest: Place,
}

/// The record that says which snapshot is live, and what is added to it.
struct Start {
    holder: Place,
    checkpoint: Place,
    /// Whether the delta of jumps, glitches, missed edges and breaks is the checkpoint's.
    has_others: bool,
    /// To the snapshot, and to the newest entry.
    pointers: Pointers,
    delta: Counters,
    unfinished: Vec<u16>,
}

impl<'a> Reader<'a> {
    fn new(image: &'a Image, board: &'a BoardFound) -> Option<Self> {
        Some(Self { image, board, newest: newest(board)? })
    }

    fn slots(&self) -> u16 {
        self.image.ring().slots()
    }

    /// The kind of the live record at `place`.
    fn live(&self, place: Place) -> Option<RecordKind> {
        let header: Option<Header> = self.board.headers.get(usize::from(place.slot)).copied()?;
        header.filter(|h| h.lap == place.lap).map(|h| h.kind)
    }

    /// All places from `from` back, at most once round the ring.
    fn back_from(&self, from: Place) -> impl Iterator<Item = Place> {
        let ring = self.image.ring();
        std::iter::successors(Some(from), move |place| Some(ring.before(*place)))
            .take(usize::from(ring.slots()))
    }

    fn read(&self) -> Result<Reading, Vec<SnapshotFound>> {
        let mut lost: Vec<SnapshotFound> = Vec::new();
        // The newest records whose counters are kept though their snapshot is lost.
        let mut kept_at: Option<(Place, Place)> = None;
        let mut start = self.newest_start();
        loop {
            let Some(found) = start else { return Err(lost) };
            let base = self.image.ring().last_written(found.pointers.base_slot(), found.holder);
            let (mut snapshot, stream) = self.snapshot(base, found.pointers.binding());
            let delta = found.delta;
            let others = if found.has_others { found.checkpoint } else { base };
            snapshot.counters = snapshot.counters.map(|base| base.plus(&delta));
            let binding = stream.as_ref().map(|stream| snapshot::binding::<Sound>(stream));
            let decoded = stream.and_then(|stream| {
                Some((snapshot::decode_counters(&stream)?, snapshot::decode(&stream)?))
            });
            let is_whole = decoded.is_some();
            let bound = decoded.filter(|_| binding == Some(found.pointers.binding()));
            if let Some((counters, (ledger, retired))) = bound {
                snapshot.counters = Some(counters.plus(&delta));
                let (entries, gap) = self.chain(&found, &counters);
                let (counted_at, others_at) = kept_at.unwrap_or((found.holder, others));
                // What a lost snapshot's counters said is kept.
                let kept = lost.iter().filter_map(|l: &SnapshotFound| l.counters);
                let lifetime = kept.fold(counters.plus(&delta), |most, c| most.most(&c));
                let mut reading = Reading {
                    newest: self.newest,
                    checkpoint: found.checkpoint,
                    counted_at,
                    others_at,
                    ledger_at: found.holder,
                    entry_slot: found.pointers.entry(),
                    next_by_snapshot: ledger.next_entry,
                    lifetime,
                    ledger,
                    retired: retired.iter().collect(),
                    retired_since: Vec::new(),
                    snapshot,
                    lost,
                    unfinished: found.unfinished,
                    entries,
                    gap,
                };
                reading.apply_entries();
                return Ok(reading);
            }
            if snapshot.counters.is_some() {
                kept_at.get_or_insert((found.holder, others));
            }
            snapshot.is_another = is_whole;
            // The record that names it may be what is wrong: an older one may be bound to it.
            let is_strange = is_whole && lost.is_empty();
            lost.push(snapshot);
            let (from, may_be) = if is_strange { (found.holder, binding) } else { (base, None) };
            let from = self.image.ring().before(from);
            start = self.older_start(from, found.pointers.base_slot(), may_be);
        }
    }

    /// From the newest record back to the newest checkpoint.
    fn newest_start(&self) -> Option<Start> {
        let mut tip: Option<(StoredEntry, Place)> = None;
        let mut unfinished = Vec::new();
        for place in self.back_from(self.newest) {
            match self.live(place) {
                Some(RecordKind::Snapshot) if tip.is_none() => unfinished.push(place.slot),
                Some(RecordKind::Entry) => {
                    let stored = StoredEntry::decode(&self.image.record(place.slot));
                    tip = match (tip, stored) {
                        (None, Some(stored)) if stored.base_slot < self.slots() => {
                            Some((stored, place))
                        }
                        (Some((tip, _)), Some(stored))
                            if tip.entry.number == stored.entry.number
                                && tip.pointers().snapshot == stored.pointers().snapshot =>
                        {
                            Some((tip, place))
                        }
                        (tip, _) => tip,
                    };
                }
                Some(RecordKind::Checkpoint) => {
                    let checkpoint = Checkpoint::decode(&self.image.record(place.slot));
                    if checkpoint.base_slot < self.slots() {
                        return Some(Self::start(place, checkpoint, tip.as_ref(), unfinished));
                    }
                }
                Some(RecordKind::Snapshot) | None => {}
            }
        }
        None
    }

    fn start(
        place: Place,
        checkpoint: Checkpoint,
        tip: Option<&(StoredEntry, Place)>,
        mut unfinished: Vec<u16>,
    ) -> Start {
        unfinished.reverse();
        let Some((stored, tip_place)) = tip else {
            return Start {
                holder: place,
                checkpoint: place,
                has_others: true,
                pointers: checkpoint.pointers(),
                delta: checkpoint.delta,
                unfinished,
            };
        };
        let same_base = stored.pointers().snapshot == checkpoint.pointers().snapshot;
        if !same_base {
            // Its commit was lost: the members stand, the checkpoint does not.
            unfinished.clear();
        }
        Start {
            holder: *tip_place,
            checkpoint: place,
            has_others: same_base,
            pointers: Pointers { entry_slot: tip_place.slot, ..stored.pointers() },
            delta: if same_base {
                checkpoint.delta.most(&stored.entry.at)
            } else {
                stored.entry.at
            },
            unfinished,
        }
    }

    /// From `from` back to a checkpoint that names another snapshot than that at `lost_base`, or
    /// that one with the binding that it `may_be` of.
    fn older_start(&self, from: Place, lost_base: u16, may_be: Option<u16>) -> Option<Start> {
        self.back_from(from).find_map(|place| {
            let is_checkpoint = self.live(place) == Some(RecordKind::Checkpoint);
            let checkpoint =
                is_checkpoint.then(|| Checkpoint::decode(&self.image.record(place.slot)))?;
            let other = checkpoint.base_slot != lost_base || Some(checkpoint.binding) == may_be;
            let other = other && checkpoint.base_slot < self.slots();
            other.then(|| Self::start(place, checkpoint, None, Vec::new()))
        })
    }

    /// The snapshot at `base`, and its stream if that is whole; its counters only if they are of
    /// this `binding`.
    fn snapshot(&self, base: Place, binding: u16) -> (SnapshotFound, Option<Vec<u8>>) {
        let ring = self.image.ring();
        let mut members: [Option<[u8; MEMBER_BYTES]>; MEMBERS_MAX + 1] = [None; MEMBERS_MAX + 1];
        let (mut first, mut slots) = (None, Vec::new());
        let places = std::iter::successors(Some(base), |place| {
            let wraps = place.slot + 1 >= ring.slots();
            (*place != self.newest).then(|| Place {
                slot: if wraps { 0 } else { place.slot + 1 },
                lap: if wraps { place.lap.plus(1) } else { place.lap },
            })
        });
        for place in places.take(MEMBER_SLOTS) {
            let record = self.image.record(place.slot);
            match self.live(place) {
                Some(RecordKind::Snapshot) => {}
                // Its commit: all members lie before it.
                Some(RecordKind::Checkpoint)
                    if Checkpoint::decode(&record).base_slot == base.slot =>
                {
                    break;
                }
                _ => continue,
            }
            let Some(member) = member_place(&record) else { continue };
            let (count, mark) = *first.get_or_insert((member.count, member.mark));
            if (member.count, member.mark) != (count, mark) {
                // Left over from a snapshot that was cut.
                continue;
            }
            slots.push(place.slot);
            members[usize::from(member.index)] = Some(*member_data(&record));
            if member.index == count {
                // The parity is the last.
                break;
            }
        }
        let count = first.map_or(0, |(count, _)| usize::from(count));
        // The firmware tells the counters before it makes a member good.
        let firsts: Option<Vec<_>> = members[..COUNTER_MEMBERS].iter().copied().collect();
        let firsts = firsts.filter(|m| snapshot::binding::<Sound>(m.as_flattened()) == binding);
        let counters = firsts.and_then(|m| snapshot::decode_counters(m.as_flattened()));
        let missing: Vec<usize> = (0..=count).filter(|i| members[*i].is_none()).collect();
        let found = SnapshotFound {
            base,
            members: count,
            missing: if count == 0 { Vec::new() } else { missing.clone() },
            slots,
            counters,
            is_another: false,
        };
        if count == 0 {
            return (found, None);
        }
        if let ([one], true) = (missing.as_slice(), *missing.first().unwrap_or(&count) < count) {
            let mut sum = [0; MEMBER_BYTES];
            for data in members[..=count].iter().flatten() {
                sum.iter_mut().zip(data).for_each(|(s, d)| *s ^= d);
            }
            members[*one] = Some(sum);
        }
        let all: Option<Vec<_>> = members[..count].iter().copied().collect();
        (found, all.map(|m| m.as_flattened().to_vec()))
    }

    /// The entries since the snapshot, oldest first, and where one is missing.
    fn chain(&self, start: &Start, base: &Counters) -> (Vec<EntryFound>, Option<u16>) {
        let mut entries: Vec<EntryFound> = Vec::new();
        let mut next = start.pointers.entry().filter(|slot| *slot < self.slots());
        let mut gap = None;
        while let Some(slot) = next {
            let wanted = entries.last().map(|newer| newer.stored.entry.number.previous());
            let copies: Vec<(u16, StoredEntry)> = (0..=COPY_REACH_SLOTS)
                .map(|reach| (slot + reach) % self.slots())
                .filter(|at| self.is_since(start.pointers.base_slot(), *at))
                .filter_map(|at| Some((at, self.live_entry(at)?)))
                .filter(|(_, s)| s.pointers().snapshot == start.pointers.snapshot)
                .filter(|(_, s)| wanted.is_none_or(|n| n == s.entry.number))
                .collect();
            let Some((_, first)) = copies.first().copied().filter(|_| entries.len() < CHAIN_MAX)
            else {
                gap = Some(slot);
                break;
            };
            let same = copies.iter().filter(|(_, s)| s.entry == first.entry);
            let copies = same.map(|(at, _)| *at).collect();
            next = first.previous_slot.filter(|s| *s < self.slots());
            let mut stored = first;
            stored.entry.at = base.plus(&first.entry.at);
            entries.push(EntryFound { stored, copies });
        }
        entries.reverse();
        (entries, gap)
    }

    /// Whether `slot` was written after the slot `base`, up to the newest record.
    fn is_since(&self, base: u16, slot: u16) -> bool {
        let ring = self.image.ring();
        ring.distance(base, slot) <= ring.distance(base, self.newest.slot)
    }

    fn live_entry(&self, slot: u16) -> Option<StoredEntry> {
        let place = self.image.ring().last_written(slot, self.newest);
        let is_entry = self.live(place) == Some(RecordKind::Entry);
        is_entry.then(|| StoredEntry::decode(&self.image.record(slot)))?
    }
}

impl Reading {
    fn apply_entries(&mut self) {
        for found in &self.entries {
            apply(&mut self.ledger, &found.stored.entry);
            if found.stored.entry.event == Event::SlotRetired {
                let slot = found.stored.entry.subject;
                if !self.retired.contains(&slot) {
                    self.retired_since.push(slot);
                }
            }
        }
        self.retired_since.sort_unstable();
        self.retired_since.dedup();
        self.retired.extend(&self.retired_since);
        self.retired.sort_unstable();
    }
}
