//! What is damaged on an image, by the reading of every slot.

use shaftbook_core::counters::NEEDLES_MAX;
use shaftbook_world::figures::CounterFigures;

use super::reading::{Reading, SnapshotFound};
use super::report::{Damage, SnapshotLine};
use super::slots::SlotState;

/// The damage, of the slots' `states` and what was read of them, or the snapshots that could not be.
pub(super) fn damage(
    states: &[SlotState],
    reading: Result<&Reading, &Vec<SnapshotFound>>,
) -> Damage {
    let slots = |wanted: &dyn Fn(SlotState) -> bool| -> Vec<u16> {
        (0..).zip(states).filter(|(_, s)| wanted(**s)).map(|(slot, _)| slot).collect()
    };
    let damaged = slots(&|s| s == SlotState::Damaged);
    let mut damage = Damage {
        foreign_slots: slots(&|s| s == SlotState::Foreign),
        left_slots: slots(&|s| matches!(s, SlotState::Left(_))),
        ..Damage::default()
    };
    let line = |s: &SnapshotFound, counters: bool| SnapshotLine {
        base_slot: s.base.slot,
        members: s.members,
        missing: s.missing.clone(),
        is_another: s.is_another,
        counters: s
            .counters
            .as_ref()
            .filter(|_| counters)
            .map(|counters| CounterFigures::of(counters, NEEDLES_MAX as u8)),
    };
    match reading {
        Ok(reading) => {
            let (base, newest) = (reading.snapshot.base.slot, reading.newest.slot);
            let is_needed = |slot: u16| {
                if base <= newest {
                    (base..=newest).contains(&slot)
                } else {
                    slot >= base || slot <= newest
                }
            };
            (damage.needed_slots, damage.other_slots) =
                damaged.into_iter().partition(|slot| is_needed(*slot));
            if !reading.snapshot.missing.is_empty() {
                damage.snapshot = Some(line(&reading.snapshot, false));
            }
            damage.lost_snapshots = reading.lost.iter().map(|s| line(s, true)).collect();
            damage.unfinished_snapshot.clone_from(&reading.unfinished);
            let single = reading.entries.iter().filter(|e| e.copies.len() < 2);
            damage.single_copies = single.map(|e| e.stored.entry.number.get()).collect();
            damage.journal_gap = reading.gap;
        }
        Err(lost) => {
            damage.other_slots = damaged;
            damage.lost_snapshots = lost.iter().map(|s| line(s, true)).collect();
        }
    }
    damage
}
