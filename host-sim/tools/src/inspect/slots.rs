//! What each slot holds, and the map of it.

use shaftbook_core::codec::frame::{Header, RecordKind};
use shaftbook_core::store::ring::Place;

use super::boards::BoardFound;
use super::image::Image;

/// What a slot holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlotState {
    /// Nothing: all ones.
    Blank,
    /// A record of this board, of the newest lap or the one before, as it should be.
    Live(Header),
    /// A record of this board, left from an earlier lap.
    Left(Header),
    /// A record of another board.
    Foreign,
    /// Bytes whose CRC fits no board known.
    Damaged,
}

impl SlotState {
    /// What is in every slot, for `board` with its `newest` record.
    #[must_use]
    pub fn all(
        image: &Image,
        board: Option<&BoardFound>,
        others: &[BoardFound],
        newest: Option<Place>,
    ) -> Vec<Self> {
        (0..image.ring().slots())
            .map(|slot| {
                let at = usize::from(slot);
                let live_lap = newest.map(|newest| image.ring().last_written(slot, newest).lap);
                match board.and_then(|b| b.headers[at]) {
                    Some(header) if live_lap == Some(header.lap) => Self::Live(header),
                    Some(header) => Self::Left(header),
                    None if image.record(slot).iter().all(|b| *b == 0xFF) => Self::Blank,
                    None if others.iter().any(|b| b.headers[at].is_some()) => Self::Foreign,
                    None => Self::Damaged,
                }
            })
            .collect()
    }

    /// The lap of a record of this board.
    #[must_use]
    pub fn lap(self) -> Option<u32> {
        match self {
            Self::Live(header) | Self::Left(header) => Some(header.lap.get()),
            _ => None,
        }
    }

    /// One character for a map: by kind in the live lap `newest_lap`, by kind in small
    /// letters in the lap before.
    #[must_use]
    pub fn letter(self, newest_lap: u32) -> char {
        match self {
            Self::Blank => '.',
            Self::Live(header) => {
                let letter = match header.kind {
                    RecordKind::Checkpoint => 'C',
                    RecordKind::Entry => 'J',
                    RecordKind::Snapshot => 'S',
                };
                if header.lap.get() == newest_lap { letter } else { letter.to_ascii_lowercase() }
            }
            Self::Left(_) => 'o',
            Self::Foreign => 'f',
            Self::Damaged => '!',
        }
    }
}
