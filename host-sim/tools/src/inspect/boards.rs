//! Whose bytes these are: which boards have records on the part.

use std::collections::BTreeSet;

use shaftbook_core::codec::frame::{self, Header};
use shaftbook_core::codec::snapshot::{
    FORMAT_VERSION, MemberPlace, board_of, member_data, member_place,
};
use shaftbook_core::identity::BoardId;
use shaftbook_core::rules::Sound;

use super::image::Image;

/// Slots back from a parity member in which its snapshot's members may lie.
const MEMBER_SLOTS: u16 = 72;
/// Records in the lowest slots by which the last writer is told.
const FIRST_RECORDS: usize = 8;

/// A board that has records on the part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardFound {
    /// The board.
    pub id: BoardId,
    /// The header of its record in each slot; `None` where it has none.
    pub headers: Vec<Option<Header>>,
}

impl BoardFound {
    /// What `id` has on the part.
    #[must_use]
    pub fn read(image: &Image, id: BoardId) -> Self {
        let slots = 0..image.ring().slots();
        let headers = slots.map(|s| frame::open::<Sound>(&image.record(s), id, s)).collect();
        Self { id, headers }
    }

    /// How many records it has.
    #[must_use]
    pub fn records(&self) -> usize {
        self.headers.iter().flatten().count()
    }
}

/// All boards that have a record on the part and can be named: the one that wrote
/// last comes first.
///
/// An identity is taken from whatever looks like a snapshot's first member, even if
/// damaged, or from the XOR of its other members where the first is lost. It is believed
/// if any record fits it. A board begins at slot 0 when it is
/// fitted, so the last writer is the one with most of the first records.
#[must_use]
pub fn boards_on(image: &Image) -> Vec<BoardFound> {
    let slots = 0..image.ring().slots();
    let named: BTreeSet<u64> = slots
        .flat_map(|slot| {
            let first = member_hint(image, slot).and_then(|_| board_of(&image.record(slot)));
            [first, lost_first_member(image, slot)]
        })
        .flatten()
        .map(|id| id.0)
        .collect();
    let mut found: Vec<BoardFound> = named
        .into_iter()
        .map(|id| BoardFound::read(image, BoardId(id)))
        .filter(|board| board.records() > 0)
        .collect();
    let firsts: Vec<usize> = (0..usize::from(image.ring().slots()))
        .filter_map(|slot| found.iter().position(|board| board.headers[slot].is_some()))
        .take(FIRST_RECORDS)
        .collect();
    let ids: Vec<BoardId> = found.iter().map(|board| board.id).collect();
    found.sort_by_key(|board| {
        let place = ids.iter().position(|id| *id == board.id);
        let count = firsts.iter().filter(|first| Some(**first) == place).count();
        let lowest = board.headers.iter().position(Option::is_some);
        (std::cmp::Reverse(count), lowest)
    });
    found
}

/// Which member of whosever snapshot this looks like.
fn member_hint(image: &Image, slot: u16) -> Option<MemberPlace> {
    let record = image.record(slot);
    Header::decode(&record).filter(|h| h.kind == frame::RecordKind::Snapshot)?;
    member_place(&record)
}

/// The identity by the XOR of the members before what looks like a parity member in
/// `slot`, if all but the first are there.
fn lost_first_member(image: &Image, slot: u16) -> Option<BoardId> {
    let parity = member_hint(image, slot)?;
    if parity.index != parity.count {
        return None;
    }
    let slots = image.ring().slots();
    let mut sum = *member_data(&image.record(slot));
    let mut wanted = MemberPlace { index: parity.count - 1, ..parity };
    for back in 1..MEMBER_SLOTS.min(slots) {
        if wanted.index == 0 {
            break;
        }
        let at = (slot + slots - back) % slots;
        if member_hint(image, at) == Some(wanted) {
            sum.iter_mut().zip(member_data(&image.record(at))).for_each(|(s, b)| *s ^= b);
            wanted.index -= 1;
        }
    }
    let [version, id @ ..] = &sum;
    let id = id.first_chunk().map(|id| BoardId(u64::from_le_bytes(*id)));
    id.filter(|_| wanted.index == 0 && *version == FORMAT_VERSION)
}
