//! A path through the states: which records, where the supply goes, what that leaves. It is
//! printed in words, and as one number that a case's id holds.
//!
//! Invariant: what a number stands for does not depend on the bounds of the search, so that a
//! path found at one bound is replayed at any.

use std::fmt;

use shaftbook_world::bus::Tear;

/// A record that is asked of the store while nothing else is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Record {
    /// The counters.
    Checkpoint,
    /// A journal entry: a service with a renewal.
    Entry,
    /// Everything anew.
    Snapshot,
    /// A checkpoint for a slot that from now on keeps what it holds: it is retired, and noted.
    Retirement,
    /// A snapshot, of which the third member's slot keeps what it holds: the note of that
    /// comes up while the snapshot is being written.
    SnapshotRetiring,
}

impl Record {
    /// All of them, the one of digit 1 first.
    pub const ALL: [Self; 5] =
        [Self::Checkpoint, Self::Entry, Self::Snapshot, Self::Retirement, Self::SnapshotRetiring];

    const fn digit(self) -> u64 {
        self as u64 + 1
    }

    fn of_digit(digit: u64) -> Option<Self> {
        Self::ALL.into_iter().find(|record| record.digit() == digit)
    }
}

impl fmt::Display for Record {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Checkpoint => "checkpoint",
            Self::Entry => "entry",
            Self::Snapshot => "snapshot",
            Self::Retirement => "retirement",
            Self::SnapshotRetiring => "snapshot with a retirement",
        })
    }
}

/// Where the supply goes, and what that leaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// At rest: every record is stored.
    AtRest,
    /// At rest; while there is no supply, this slot loses what it held (all FF).
    SlotLost(u8),
    /// At rest; this slot then holds the newest record too (a write that went astray).
    SlotAstray(u8),
    /// In the program cycle of this number, from 1 on, since the records of this power-up
    /// ended that are not the last of them; the page is torn by this tear of `tears`.
    InCycle(u8, u8),
}

/// One power-up: the records after its own first ones, and how it ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Leg {
    /// What is stored after the store has come to rest.
    pub records: Vec<Record>,
    /// How it ends.
    pub cut: Cut,
}

/// Tears in all: [`tear`] of 0 to this.
pub const TEARS: u8 = 8 + 63;
/// Most program cycles from the last rest to the next.
pub const CYCLES_MAX: u8 = 29;
/// Radix of a tear or a slot.
const PLACES: u64 = 72;
/// Radix of a kind of cut or a cycle.
const CUTS: u64 = CYCLES_MAX as u64 + 4;
/// Radix of a record.
const RECORDS: u64 = 6;

/// The tear of a number below [`TEARS`]: the finite share of the fault model's tears that is
/// taken. Every prefix; of the mixes every second byte, the other ones, and each second
/// group of four bytes; two pages of garbage.
#[must_use]
pub const fn tear(number: u8) -> Tear {
    match number {
        0 => Tear::Old,
        1 => Tear::New,
        2 => Tear::Erased,
        3 => Tear::Garbage(1),
        4 => Tear::Mix(0x5555_5555_5555_5555),
        5 => Tear::Mix(0xAAAA_AAAA_AAAA_AAAA),
        6 => Tear::Mix(0xF0F0_F0F0_F0F0_F0F0),
        7 => Tear::Garbage(2),
        _ => Tear::Prefix(number as u16 - 7),
    }
}

/// The numbers of all tears.
pub const EVERY: [u8; TEARS as usize] = {
    let mut all = [0; TEARS as usize];
    let mut number = 0;
    while number < TEARS {
        all[number as usize] = number;
        number += 1;
    }
    all
};
/// The same without the prefixes that end within a field: those up to the header, the
/// pointers, the shared measures, the last field and the CRC's first half are left.
pub const AT_BORDERS: [u8; 12] = [0, 1, 2, 3, 4, 5, 7 + 1, 7 + 3, 7 + 6, 7 + 49, 7 + 60, 7 + 62];
/// Old, new, garbage, the new header before the old rest, all new but the CRC.
pub const FEW: [u8; 5] = [0, 1, 3, 7 + 3, 7 + 60];
/// Old, new, all new but the CRC.
pub const FEWEST: [u8; 3] = [0, 1, 7 + 60];
/// Old, all new but the CRC. (New is what is left of a cut later on, before the next cycle.)
pub const ENDS: [u8; 2] = [0, 7 + 60];
/// All new but the CRC. (Old is what is left of a cut at rest, or after the cycle before.)
pub const LAST: [u8; 1] = [7 + 60];

/// The number of `path`; `None` when it is too long for one.
#[must_use]
pub fn number_of(path: &[Leg]) -> Option<u64> {
    let mut number = 0_u64;
    let mut put = |radix: u64, digit: u64| {
        number = number.checked_mul(radix)?.checked_add(digit)?;
        Some(())
    };
    for leg in path.iter().rev() {
        let (cut, place) = match leg.cut {
            Cut::AtRest => (1, 0),
            Cut::SlotLost(slot) => (2, slot),
            Cut::SlotAstray(slot) => (3, slot),
            Cut::InCycle(cycle, tear) => (3 + cycle, tear),
        };
        put(CUTS, cut.into())?;
        put(PLACES, place.into())?;
        put(RECORDS, 0)?;
        for record in leg.records.iter().rev() {
            put(RECORDS, record.digit())?;
        }
    }
    Some(number)
}

/// The path of a number; `None` when it is none's.
#[must_use]
pub fn of_number(mut number: u64) -> Option<Vec<Leg>> {
    let mut path = Vec::new();
    let take = |number: &mut u64, radix: u64| {
        let digit = *number % radix;
        *number /= radix;
        digit
    };
    while number > 0 {
        let mut records = Vec::new();
        loop {
            match take(&mut number, RECORDS) {
                0 => break,
                digit => records.push(Record::of_digit(digit)?),
            }
        }
        let place = take(&mut number, PLACES) as u8;
        let cut = match take(&mut number, CUTS) as u8 {
            0 => return None,
            1 => Cut::AtRest,
            2 => Cut::SlotLost(place),
            3 => Cut::SlotAstray(place),
            cycle => Cut::InCycle(cycle - 3, place),
        };
        path.push(Leg { records, cut });
    }
    Some(path)
}

impl fmt::Display for Leg {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("power-up")?;
        for record in &self.records {
            write!(f, ", {record}")?;
        }
        match self.cut {
            Cut::AtRest => f.write_str(", cut at rest"),
            Cut::SlotLost(slot) => write!(f, ", cut at rest and slot {slot} lost"),
            Cut::SlotAstray(slot) => write!(f, ", cut at rest, slot {slot} as the newest"),
            Cut::InCycle(cycle, number) => write!(f, ", cut in cycle {cycle} ({})", tear(number)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_is_read_back_from_its_number() {
        let whole =
            Leg { records: Record::ALL[1..].to_vec(), cut: Cut::InCycle(CYCLES_MAX, TEARS - 1) };
        let bare = |cut| Leg { records: Vec::new(), cut };
        let path = vec![
            bare(Cut::SlotAstray(63)),
            bare(Cut::SlotLost(0)),
            Leg { records: vec![Record::Entry], cut: Cut::AtRest },
            bare(Cut::InCycle(1, 0)),
        ];
        for path in [vec![], vec![whole], path.clone(), vec![bare(Cut::AtRest); 4]] {
            let number = number_of(&path).expect("a number");
            assert_eq!(of_number(number), Some(path));
        }
        assert_eq!(number_of(&vec![bare(Cut::AtRest); 10]), None);
        assert_eq!(
            path.iter().map(ToString::to_string).collect::<Vec<_>>()[2..],
            ["power-up, entry, cut at rest", "power-up, cut in cycle 1 (old)"]
        );
    }

    #[test]
    fn every_prefix_is_among_the_tears_and_none_is_there_twice() {
        let tears: std::collections::HashSet<Tear> = EVERY.into_iter().map(tear).collect();
        assert_eq!(tears.len(), usize::from(TEARS));
        assert!((1..64).all(|bytes| tears.contains(&Tear::Prefix(bytes))));
        assert!(
            [&AT_BORDERS[..], &FEW, &FEWEST, &ENDS, &LAST]
                .concat()
                .iter()
                .all(|number| *number < TEARS)
        );
        assert_eq!(tear(7 + 60), Tear::Prefix(60));
    }
}
