//! A part that holds any past, made from the format alone: for lives that would take too long to
//! live.

use shaftbook_core::codec::checkpoint::Checkpoint;
use shaftbook_core::codec::frame::{self, Header, RECORD_BYTES, RecordKind};
use shaftbook_core::codec::snapshot::{self, MEMBER_BYTES, MemberPlace, STREAM_MAX};
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::medium::Geometry;
use shaftbook_core::retired::Retired;
use shaftbook_core::rules::Rules;
use shaftbook_core::serial::Lap;
use shaftbook_core::store::ring::Ring;

/// The bytes of a reference part of the board `id`, with a snapshot of `counters` and `ledger` and
/// two checkpoints on it.
///
/// # Panics
/// When a figure does not fit its field.
#[must_use]
pub fn written<R: Rules>(id: BoardId, counters: &Counters, ledger: &Ledger) -> Vec<u8> {
    let geometry = Geometry::REFERENCE;
    let ring = Ring::new(geometry).expect("the reference part is supported");
    let mut image = vec![0xFF; geometry.size_bytes as usize];
    let mut stream = [0; STREAM_MAX];
    let retired = Retired::default();
    let length = snapshot::encode(&mut stream, id, counters, ledger, &retired).expect("it fits");
    let count = length.div_ceil(MEMBER_BYTES);
    let mut put = |slot: u16, kind, mut record| {
        frame::seal::<R>(&mut record, Header { kind, lap: Lap::new(9) }, id, slot);
        let at = ring.address(slot) as usize;
        image[at..at + record.len()].copy_from_slice(&record);
    };
    for index in 0..=count {
        let mut record = [0; RECORD_BYTES];
        let place = MemberPlace { index: index as u8, count: count as u8, mark: 5 };
        snapshot::write_member(&mut record, &stream, place);
        put(index as u16, RecordKind::Snapshot, record);
    }
    let binding = snapshot::binding::<R>(&stream);
    let checkpoint =
        Checkpoint { base_slot: 0, binding, entry_slot: None, delta: Counters::default() };
    for slot in [count as u16 + 1, count as u16 + 2] {
        put(slot, RecordKind::Checkpoint, checkpoint.encode::<R>());
    }
    image
}
