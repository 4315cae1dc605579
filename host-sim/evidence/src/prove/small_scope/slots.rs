//! The part of the small scope: 64 slots, of which most are those of the start, and what a store
//! reads and programs of them.
//!
//! [`Slots`] is the part without a bus: it answers at once, and each record is one program
//! cycle. [`OnBus`] is the same part behind the board's own driver on the simulated bus.
//! That a cut of the supply at any byte of that bus leaves nothing that the search does not
//! try is a test (`tests.rs`).

use std::rc::Rc;

use shaftbook_core::codec::frame::RECORD_BYTES;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_drivers::memory::{Memory, PartKind, WiredPart};
use shaftbook_world::bus::{Bus, Part, Stuck, Timing};

use super::key::of_slot;

/// Slots of the smallest ring.
pub const SLOTS: usize = 64;
/// The part with that ring.
pub const GEOMETRY: Geometry = Geometry { size_bytes: 8_192, page_bytes: 128 };
const PAGE_BYTES: usize = GEOMETRY.page_bytes as usize;

/// The bytes of a slot that hold its record; the other half of the page says nothing.
pub type Slot = [u8; RECORD_BYTES];

/// What all slots hold: those of a start, but for some.
#[derive(Clone, Debug)]
pub struct Image {
    start: Rc<[Slot]>,
    /// 0: as at the start; else one more than its place in `own`.
    place: [u8; SLOTS],
    own: Vec<Slot>,
    /// The keys of the slots that do not hold what they held at the start, added up.
    key: u128,
}

impl Image {
    /// All as at the start.
    #[must_use]
    pub fn new(start: Rc<[Slot]>) -> Self {
        Self { start, place: [0; SLOTS], own: Vec::new(), key: 0 }
    }

    /// Nothing was ever written.
    #[must_use]
    pub fn blank() -> Self {
        Self::new(Rc::from([[0xFF; RECORD_BYTES]; SLOTS]))
    }

    /// The same slots as those of a start of their own.
    #[must_use]
    pub fn as_start(&self) -> Self {
        Self::new((0..SLOTS).map(|slot| *self.slot(slot)).collect())
    }

    /// What `slot` (modulo the slots) holds.
    #[must_use]
    pub fn slot(&self, slot: usize) -> &Slot {
        let slot = slot % SLOTS;
        match usize::from(self.place[slot]) {
            0 => &self.start[slot],
            place => &self.own[place - 1],
        }
    }

    /// Lets `slot` (modulo the slots) hold `bytes`.
    pub fn set(&mut self, slot: usize, bytes: Slot) {
        let slot = slot % SLOTS;
        self.key = self.key_with(slot, &bytes);
        match usize::from(self.place[slot]) {
            0 => {
                self.own.push(bytes);
                self.place[slot] = self.own.len() as u8;
            }
            place => self.own[place - 1] = bytes,
        }
    }

    /// The same for images of one start if all their slots hold the same.
    #[must_use]
    pub fn key(&self) -> u128 {
        self.key
    }

    /// Its key if `slot` (modulo the slots) held `bytes`.
    #[must_use]
    pub fn key_with(&self, slot: usize, bytes: &Slot) -> u128 {
        let slot = slot % SLOTS;
        let share = |bytes: &Slot| {
            if *bytes == self.start[slot] { 0 } else { of_slot(slot, bytes) }
        };
        self.key.wrapping_sub(share(self.slot(slot))).wrapping_add(share(bytes))
    }

    /// The memory of a part that holds them.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let mut bytes = vec![0xFF; GEOMETRY.size_bytes as usize];
        for (slot, page) in bytes.chunks_exact_mut(PAGE_BYTES).enumerate() {
            page[..RECORD_BYTES].copy_from_slice(self.slot(slot));
        }
        bytes
    }
}

/// A program cycle that began.
#[derive(Clone, Copy, Debug)]
pub struct Begun {
    /// Its slot.
    pub slot: u16,
    /// What that held.
    pub before: Slot,
    /// What it holds if the cycle is not cut.
    pub after: Slot,
}

/// What a store in the small scope works on.
pub trait Wire: Medium + Clone {
    /// `image`, with slots that take no program any more.
    fn holding(image: Image, stuck: &[u16]) -> Self;

    /// What the slots hold, a cycle under way taken as ended.
    fn image(&self) -> &Image;

    /// The cycle that the last transaction began, if it began one.
    fn take_begun(&mut self) -> Option<Begun>;

    /// From now on `slot` keeps what it holds.
    fn stick(&mut self, slot: u16);

    /// Its time, µs; it stands still where there is none.
    fn now_us(&self) -> u64 {
        0
    }

    /// Lets time pass.
    fn advance_to_us(&mut self, _now_us: u64) {}
}

/// The part without a bus.
#[derive(Clone, Debug)]
pub struct Slots {
    image: Image,
    stuck: Vec<u16>,
    begun: Option<Begun>,
}

impl Wire for Slots {
    fn holding(image: Image, stuck: &[u16]) -> Self {
        Self { image, stuck: stuck.to_vec(), begun: None }
    }

    fn image(&self) -> &Image {
        &self.image
    }

    fn take_begun(&mut self) -> Option<Begun> {
        self.begun.take()
    }

    fn stick(&mut self, slot: u16) {
        self.stuck.push(slot);
    }
}

impl Medium for Slots {
    fn geometry(&self) -> Geometry {
        GEOMETRY
    }

    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        let (slot, from) = (address as usize / PAGE_BYTES, address as usize % PAGE_BYTES);
        let held = self.image.slot(slot).get(from..from + bytes.len());
        bytes.copy_from_slice(held.ok_or(MediumError::OutOfRange)?);
        Ok(())
    }

    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        let slot = address as usize / PAGE_BYTES;
        let before = *self.image.slot(slot);
        let mut after = before;
        let from = address as usize % PAGE_BYTES;
        let place = after.get_mut(from..from + bytes.len()).ok_or(MediumError::OutOfRange)?;
        place.copy_from_slice(bytes);
        if self.stuck.contains(&(slot as u16)) {
            after = before;
        }
        self.image.set(slot, after);
        self.begun = Some(Begun { slot: slot as u16, before, after });
        Ok(bytes.len())
    }

    fn is_ready(&mut self) -> Result<bool, MediumError> {
        Ok(true)
    }
}

/// The part on the simulated bus, behind the board's own driver.
#[derive(Clone, Debug)]
pub struct OnBus {
    /// The bus, which can be cut.
    pub bus: Bus,
    image: Image,
    stuck: Vec<u16>,
    begun: Option<Begun>,
}

impl OnBus {
    fn memory(&mut self) -> Memory<&mut Bus> {
        let wired =
            WiredPart::new(PartKind::Eeprom, 0x50, GEOMETRY).unwrap_or(WiredPart::REFERENCE);
        Memory::new(&mut self.bus, wired)
    }
}

impl Wire for OnBus {
    fn holding(image: Image, stuck: &[u16]) -> Self {
        let mut part = Part::from_image(image.bytes(), GEOMETRY).expect("a supported part");
        for slot in stuck {
            part.stick_page(usize::from(*slot), Stuck::KeepsOld);
        }
        let mut bus = Bus::new(part, Timing::FAST_MODE, 1);
        bus.record_cycles();
        Self { bus, image, stuck: stuck.to_vec(), begun: None }
    }

    fn image(&self) -> &Image {
        &self.image
    }

    fn take_begun(&mut self) -> Option<Begun> {
        self.begun.take()
    }

    fn stick(&mut self, slot: u16) {
        self.bus.part_mut().stick_page(usize::from(slot), Stuck::KeepsOld);
        self.stuck.push(slot);
    }

    fn now_us(&self) -> u64 {
        self.bus.now_ns().div_ceil(1_000)
    }

    fn advance_to_us(&mut self, now_us: u64) {
        self.bus.advance_to(now_us * 1_000);
    }
}

impl Medium for OnBus {
    fn geometry(&self) -> Geometry {
        GEOMETRY
    }

    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        self.memory().read(address, bytes)
    }

    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        let done = self.memory().begin_program(address, bytes);
        for cycle in self.bus.take_recorded_cycles() {
            let Some(after) = cycle.after.first_chunk::<RECORD_BYTES>() else { continue };
            let before = *self.image.slot(cycle.page);
            let slot = cycle.page as u16;
            let after = if self.stuck.contains(&slot) { before } else { *after };
            self.image.set(cycle.page, after);
            self.begun = Some(Begun { slot, before, after });
        }
        done
    }

    fn is_ready(&mut self) -> Result<bool, MediumError> {
        self.memory().is_ready()
    }
}
