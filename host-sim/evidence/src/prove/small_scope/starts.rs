//! Where the searches begin: the places of the ring's life at which something changes.
//!
//! A life is lived up to there by the board under test itself, uncut but where that is the
//! point, with the same checks as in the search.

use shaftbook_core::codec::checkpoint::Pointers;
use shaftbook_core::codec::frame::{Header, RecordKind};
use shaftbook_core::rules::Rules;
use shaftbook_core::serial::Lap;
use shaftbook_world::bench::BOARD;
use shaftbook_world::bench::first_lap::unfinished_fitting;

use super::path::Record;
use super::slots::{Image, SLOTS, Wire};
use super::world::{Known, World};

/// Slots from the head to the live snapshot at which a new one is due, on this ring.
const DUE_SLOTS: u16 = 32;
/// The same at which only a new snapshot is written any more.
const LAST_SLOTS: u16 = 16;
/// Entries after which a new snapshot is due.
const ENTRIES: u32 = 12;
/// Power-ups that flap on in the last room: more than a ring has slots.
const FLAPS: u16 = 80;
/// The last lap before laps begin again at 0.
const LAST_LAP: u32 = (1 << 21) - 1;
/// Records after which a place should have been reached.
const RECORDS_MAX: u32 = 400;

/// A place to begin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    /// A part that holds nothing: the first fitting.
    Blank,
    /// Just fitted, in the first lap.
    FirstLap,
    /// Two slots before the end of a lap, all slots written before.
    LapEnd,
    /// The same, and the next lap is 0.
    LapWrap,
    /// The next record makes a new snapshot due.
    SnapshotDue,
    /// The supply flapped until only the last slots before the live snapshot are left.
    LastRoom,
    /// The next entry makes a new snapshot due.
    JournalFull,
    /// One slot is retired, a little ahead.
    Retired,
}

impl Start {
    /// All of them, in the order of the runs.
    pub const ALL: [Self; 8] = [
        Self::Blank,
        Self::FirstLap,
        Self::LapEnd,
        Self::LapWrap,
        Self::SnapshotDue,
        Self::LastRoom,
        Self::JournalFull,
        Self::Retired,
    ];

    /// What the part holds there, and what is known of it.
    ///
    /// # Errors
    /// What the board under test did on its way there that may never be.
    pub fn state<R: Rules + Clone>(self) -> Result<(Image, Known), String> {
        if self == Self::Blank {
            return Ok((Image::blank(), Known::nothing()));
        }
        let world = self.lived::<R>();
        match &world.violation {
            None => Ok((world.part.image().as_start(), world.known())),
            Some(what) => Err(format!("on the way to {self:?}: {what}")),
        }
    }

    fn lived<R: Rules + Clone>(self) -> World<R> {
        let mut image = Image::blank();
        if self == Self::LapWrap {
            image.set(0, unfinished_fitting::<R>(BOARD, Lap::new(LAST_LAP)));
        }
        let mut world: World<R> = World::powered(image, Known::nothing());
        world.work();
        let first = world.store().head().lap;
        match self {
            Self::Blank | Self::FirstLap => {}
            Self::LapEnd => {
                until(&mut world, |world| at_end(world) && world.store().head().lap != first);
            }
            Self::LapWrap => until(&mut world, at_end),
            Self::SnapshotDue => second_lap(&mut world, first),
            Self::LastRoom => {
                second_lap(&mut world, first);
                flap(&mut world, DUE_SLOTS - LAST_SLOTS);
                // A supply that flaps on must not use up the ring.
                let mut further = world.clone();
                flap(&mut further, FLAPS);
                world.violation = further.violation;
            }
            Self::JournalFull => {
                second_lap(&mut world, first);
                world.record(Record::Snapshot);
                (1..ENTRIES).for_each(|_| world.record(Record::Entry));
            }
            Self::Retired => {
                second_lap(&mut world, first);
                world.record(Record::Snapshot);
                world.record(Record::Retirement);
                world.record(Record::Checkpoint);
            }
        }
        world
    }
}

fn at_end<R: Rules>(world: &World<R>) -> bool {
    usize::from(world.store().head().slot) == SLOTS - 2
}

/// Checkpoints until a place is reached.
fn until<R: Rules>(world: &mut World<R>, is_there: impl Fn(&World<R>) -> bool) {
    for _ in 0..RECORDS_MAX {
        if world.violation.is_some() || is_there(world) {
            return;
        }
        world.record(Record::Checkpoint);
    }
    world.violation.get_or_insert_with(|| "the place is not reached".into());
}

/// Until the next record but one makes a snapshot due, not in the first lap any more.
fn second_lap<R: Rules>(world: &mut World<R>, first: Lap) {
    until(world, |world| {
        world.store().head().lap != first && slots_to_snapshot(world) == Some(DUE_SLOTS + 2)
    });
}

/// Power-ups that are each cut when their first record is stored.
fn flap<R: Rules>(world: &mut World<R>, times: u16) {
    for _ in 0..times {
        if world.violation.is_some() {
            return;
        }
        *world = World::powered(world.part.image().clone(), world.known());
        world.work_to_first_record();
    }
}

/// Slots from the head to the live snapshot, if the newest record is a checkpoint.
fn slots_to_snapshot<R: Rules>(world: &World<R>) -> Option<u16> {
    let head = world.store().head().slot;
    let newest = (usize::from(head) + SLOTS - 1) % SLOTS;
    let record = world.part.image().slot(newest);
    let is_checkpoint = Header::decode(record)?.kind == RecordKind::Checkpoint;
    let base = Pointers::of(record).base_slot();
    is_checkpoint.then(|| (base + SLOTS as u16 - head) % SLOTS as u16)
}
