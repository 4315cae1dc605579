//! A part on which a new board begins at a lap of one's choice, for what happens when laps
//! roll over.
//!
//! The board needs no hook for it, only something to find: the first member of a snapshot
//! whose fitting was cut, in the lap before. Nothing of that can be used, and so the board
//! is not fitted and begins in the lap after it.

use shaftbook_core::codec::frame::{self, Header, Record, RecordKind};
use shaftbook_core::codec::snapshot::{self, COUNTER_MEMBERS, STREAM_MAX};
use shaftbook_core::identity::BoardId;
use shaftbook_core::rules::Rules;
use shaftbook_core::serial::Lap;

use crate::bus::Part;

/// The lap in which a board begins on a part that holds nothing.
const ON_A_BLANK_PART: Lap = Lap::new(1);

/// What slot 0 holds when the first fitting of the board `id`, which obeys the rules `R`, was
/// cut in the lap before `lap`.
#[must_use]
pub fn unfinished_fitting<R: Rules>(id: BoardId, lap: Lap) -> Record {
    let mut member = snapshot::member(&[0; STREAM_MAX], 0, COUNTER_MEMBERS);
    let header = Header { kind: RecordKind::Snapshot, lap: lap.previous() };
    frame::seal::<R>(&mut member, header, id, 0);
    member
}

/// `part`, which is blank, so that the board `id`, which obeys the rules `R`, begins on it
/// in `lap`.
#[must_use]
pub fn begins_in<R: Rules>(part: Part, id: BoardId, lap: Lap) -> Part {
    if lap == ON_A_BLANK_PART {
        return part;
    }
    part.holding(0, &unfinished_fitting::<R>(id, lap))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::device::core::Core;
    use crate::bench::{BOARD, Bench};
    use crate::bus::{Bus, Timing};
    use shaftbook_core::fault::Fault;
    use shaftbook_core::medium::Geometry;
    use shaftbook_core::rules::Sound;

    #[test]
    fn a_board_begins_in_any_lap_and_is_not_fitted() {
        for lap in [0, 1, 2, 1_000, (1 << 21) - 1].map(Lap::new) {
            let blank = Part::blank(Geometry::REFERENCE).unwrap();
            let part = begins_in::<Sound>(blank, BOARD, lap);
            let mut bench: Bench<Core<Sound>> =
                Bench::on(Bus::new(part, Timing::FAST_MODE, 1), BOARD);
            assert!(bench.rest(&mut |_| {}));
            assert_eq!(bench.board().store().head().lap, lap);
            assert!(bench.board().faults().contains(Fault::NotFitted));
            assert!(bench.board().ledger().components.is_empty());
        }
    }
}
