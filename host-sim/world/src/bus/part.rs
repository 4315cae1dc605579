//! One memory part: its address counter, its page latch, its program cycles.
//!
//! Rules and sources: `docs/FAULT_MODEL.md`, "How a sound part behaves".

use core::fmt;
use std::ops::Range;

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::medium::Geometry;
use shaftbook_drivers::memory::PartKind;

use super::cells::{Cells, Stuck};
use super::tear::{PAGE_BYTES_MAX, Tear};
use super::wear::Wear;

/// Bytes that cannot be the memory of a part of that shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WrongImage {
    /// Bytes given.
    pub found_bytes: usize,
    /// The shape asked for; itself wrong when its size is `found_bytes`.
    pub geometry: Geometry,
}

impl fmt::Display for WrongImage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Geometry { size_bytes, page_bytes } = self.geometry;
        write!(
            f,
            "{} bytes are not the memory of a part of {size_bytes} bytes in pages of {page_bytes}",
            self.found_bytes
        )
    }
}

impl core::error::Error for WrongImage {}

/// A program cycle under way. The bytes are in the latch.
#[derive(Clone, Copy, Debug)]
struct Cycle {
    /// First byte of the page that was addressed.
    page_start: usize,
    /// First byte of the page that is programmed: another one when misdirected.
    lands_at: usize,
    end_ns: u64,
}

/// A memory part.
#[derive(Clone, Debug)]
pub struct Part {
    kind: PartKind,
    size_bytes: usize,
    page_bytes: usize,
    cells: Cells,
    wear: Wear,
    is_write_protected: bool,
    /// Cycles until one lands on the wrong page, and the first byte of that page.
    misdirect: Option<(u32, usize)>,
    /// Where the next byte is read or written.
    counter: usize,
    /// Address bytes received in this write: 0 to 2, and their value so far.
    header_bytes: u8,
    header: usize,
    latch: Latch,
    cycle: Option<Cycle>,
}

/// The bytes of one write, at their places in the page.
#[derive(Clone, Copy, Debug)]
struct Latch {
    bytes: [u8; PAGE_BYTES_MAX],
    /// Place of the first byte in the page.
    first: usize,
    /// Bytes of the page that are to change.
    count: usize,
}

impl Latch {
    /// The places that change; the second range is empty unless the write wrapped.
    #[inline]
    fn places(&self, page_bytes: usize) -> [Range<usize>; 2] {
        let end = self.first + self.count;
        [self.first..end.min(page_bytes), 0..end.saturating_sub(page_bytes)]
    }

    /// Puts the latched bytes into `page`.
    #[inline]
    fn overlay(&self, page: &mut [u8]) {
        for place in self.places(page.len()) {
            page[place.clone()].copy_from_slice(&self.bytes[place]);
        }
    }
}

impl Part {
    /// An EEPROM that holds `image`, as found on a board or made by a test.
    ///
    /// # Errors
    /// [`WrongImage`] when the image is not as long as the part, or the shape is not
    /// one a part can have: pages a power of two, at most 256, a whole number of them.
    pub fn from_image(image: Vec<u8>, geometry: Geometry) -> Result<Self, WrongImage> {
        let size_bytes = geometry.size_bytes as usize;
        let page_bytes = usize::from(geometry.page_bytes);
        let is_possible = page_bytes.is_power_of_two()
            && (4..=PAGE_BYTES_MAX).contains(&page_bytes)
            && (page_bytes..=65_536).contains(&size_bytes)
            && size_bytes.is_multiple_of(page_bytes);
        if image.len() != size_bytes || !is_possible {
            return Err(WrongImage { found_bytes: image.len(), geometry });
        }
        Ok(Self {
            kind: PartKind::Eeprom,
            size_bytes,
            page_bytes,
            cells: Cells::new(image),
            wear: Wear::new(size_bytes, page_bytes),
            is_write_protected: false,
            misdirect: None,
            counter: 0,
            header_bytes: 0,
            header: 0,
            latch: Latch { bytes: [0; PAGE_BYTES_MAX], first: 0, count: 0 },
            cycle: None,
        })
    }

    /// An EEPROM as it comes from the maker: 0xFF everywhere.
    ///
    /// # Errors
    /// [`WrongImage`] for a shape that no part can have.
    pub fn blank(geometry: Geometry) -> Result<Self, WrongImage> {
        Self::from_image(vec![0xFF; geometry.size_bytes as usize], geometry)
    }

    /// The same part, with `bytes` from `address` on (modulo the size) since before it came
    /// here.
    #[must_use]
    pub fn holding(self, address: usize, bytes: &[u8]) -> Self {
        let mut held = self.cells.held().to_vec();
        for (offset, byte) in bytes.iter().enumerate() {
            held[(address + offset) % self.size_bytes] = *byte;
        }
        Self { cells: Cells::new(held), ..self }
    }

    /// The same part as an FRAM: bytes are kept as they arrive, never busy.
    #[must_use]
    pub fn as_fram(mut self) -> Self {
        self.kind = PartKind::Fram;
        self
    }

    /// EEPROM or FRAM.
    #[must_use]
    pub fn kind(&self) -> PartKind {
        self.kind
    }

    /// Size and page.
    #[must_use]
    pub fn geometry(&self) -> Geometry {
        Geometry { size_bytes: self.size_bytes as u32, page_bytes: self.page_bytes as u16 }
    }

    /// What the cells hold: what reads return. A cycle under way is not in it yet.
    #[must_use]
    pub fn cells(&self) -> &[u8] {
        self.cells.held()
    }

    /// What a sound part would hold after the same bus traffic.
    #[must_use]
    pub fn truth(&self) -> &[u8] {
        self.cells.truth()
    }

    /// Numbers of the pages that do not hold what a sound part would.
    #[must_use]
    pub fn damaged_pages(&self) -> Vec<usize> {
        let pages = self.cells().chunks(self.page_bytes).zip(self.truth().chunks(self.page_bytes));
        pages.enumerate().filter(|(_, (held, truth))| held != truth).map(|(page, _)| page).collect()
    }

    /// Program cycles so far. FRAM: writes, counted in the same way.
    #[must_use]
    pub fn wear(&self) -> &Wear {
        &self.wear
    }

    /// Makes page `page` (modulo the number of pages) take no program any more.
    pub fn stick_page(&mut self, page: usize, how: Stuck) {
        let start = self.page_start(page);
        self.cells.stick(start..start + self.page_bytes, how);
    }

    /// Sets the level of the write-protect pin.
    pub fn set_write_protected(&mut self, is_protected: bool) {
        self.is_write_protected = is_protected;
    }

    /// After `cycles` sound ones, one cycle lands on page `page` (modulo the number
    /// of pages) instead of the page that was addressed. EEPROM only.
    pub fn misdirect(&mut self, cycles: u32, page: usize) {
        self.misdirect = Some((cycles, self.page_start(page)));
    }

    /// Flips the bits of `mask` in the byte at `address` (modulo the size).
    pub fn flip_bits(&mut self, address: usize, mask: u8) {
        let address = address % self.size_bytes;
        self.cells.split()[address] ^= mask;
    }

    /// Flips `count` bits of page `page` (modulo the number of pages), drawn from
    /// `seed`; a bit that is drawn twice is flipped back.
    pub fn flip_bits_in_page(&mut self, page: usize, count: u32, seed: u64) {
        let start = self.page_start(page);
        let mut rng = Pcg32::new(seed, 0xF11B);
        for _ in 0..count {
            let draw = rng.next_u32() as usize;
            self.flip_bits(start + draw / 8 % self.page_bytes, 1 << (draw % 8));
        }
    }

    /// Replaces the bytes from `address` on (modulo the size) by `bytes`, as a fault:
    /// what a sound part would hold stays.
    pub fn damage(&mut self, address: usize, bytes: &[u8]) {
        for (offset, byte) in bytes.iter().enumerate() {
            let address = (address + offset) % self.size_bytes;
            self.cells.split()[address] = *byte;
        }
    }

    fn page_start(&self, page: usize) -> usize {
        page % (self.size_bytes / self.page_bytes) * self.page_bytes
    }

    /// The bytes of the page that starts at `page_start`.
    #[inline]
    fn page_at(&self, page_start: usize) -> Range<usize> {
        page_start..page_start + self.page_bytes
    }

    /// Ends the program cycle if its time is over.
    #[inline]
    pub(super) fn settle(&mut self, now_ns: u64) {
        if let Some(cycle) = self.cycle
            && cycle.end_ns <= now_ns
        {
            self.cycle = None;
            let lands =
                (!self.cells.is_stuck(cycle.lands_at)).then(|| self.page_at(cycle.lands_at));
            let latch = &self.latch;
            self.cells.program(self.page_at(cycle.page_start), lands, |page| latch.overlay(page));
            self.latch.count = 0;
        }
    }

    /// The page whose cycle is under way at `now_ns`: the one that is programmed, not
    /// the one that was addressed.
    #[inline]
    pub(super) fn page_under_way(&self, now_ns: u64) -> Option<usize> {
        let cycle = self.cycle.filter(|cycle| cycle.end_ns > now_ns)?;
        Some(cycle.lands_at / self.page_bytes)
    }

    /// The page of the cycle under way, and what it holds when that ends uncut.
    pub(super) fn cycle_outcome(&self) -> Option<(usize, Vec<u8>)> {
        let cycle = self.cycle?;
        let mut page = self.cells.held()[self.page_at(cycle.lands_at)].to_vec();
        self.latch.overlay(&mut page);
        Some((cycle.lands_at / self.page_bytes, page))
    }

    /// The part was addressed. Whether it acknowledges.
    #[inline]
    pub(super) fn select(&mut self, now_ns: u64) -> bool {
        self.settle(now_ns);
        self.header_bytes = 0;
        if self.cycle.is_some() {
            return false;
        }
        // A start in the middle of a write abandons it: cycles begin at Stop only.
        self.latch.count = 0;
        true
    }

    /// Takes bytes of a write: first the address, then data.
    #[inline]
    pub(super) fn accept(&mut self, mut bytes: &[u8]) {
        while self.header_bytes < 2 {
            let [byte, rest @ ..] = bytes else { return };
            self.header = self.header << 8 & 0xFF00 | usize::from(*byte);
            self.header_bytes += 1;
            bytes = rest;
            if self.header_bytes == 2 {
                self.counter = self.header % self.size_bytes;
            }
        }
        if bytes.is_empty() {
            return;
        }
        match self.kind {
            PartKind::Eeprom => self.latch(bytes),
            PartKind::Fram => self.keep(bytes),
        }
    }

    /// Collects data for the program cycle, wrapping within the page.
    #[inline]
    fn latch(&mut self, bytes: &[u8]) {
        let mask = self.page_bytes - 1;
        let page_start = self.counter & !mask;
        let place = self.counter & mask;
        if self.latch.count == 0 {
            self.latch.first = place;
        }
        if place + bytes.len() <= self.page_bytes {
            self.latch.bytes[place..place + bytes.len()].copy_from_slice(bytes);
        } else {
            for (offset, byte) in bytes.iter().enumerate() {
                self.latch.bytes[(place + offset) & mask] = *byte;
            }
        }
        self.counter = page_start | ((place + bytes.len()) & mask);
        self.latch.count = (self.latch.count + bytes.len()).min(self.page_bytes);
    }

    /// FRAM: each byte is kept at once; the address rolls over at the end of the part.
    fn keep(&mut self, bytes: &[u8]) {
        for byte in bytes {
            let place = self.counter..self.counter + 1;
            let page_start = self.counter & !(self.page_bytes - 1);
            let takes = !self.is_write_protected && !self.cells.is_stuck(page_start);
            self.cells.program(place.clone(), takes.then(|| place.clone()), |cell| cell[0] = *byte);
            if self.latch.count == 0 || self.counter == page_start {
                self.wear.add_cycle(page_start / self.page_bytes);
            }
            if self.latch.count == 0 || self.counter.is_multiple_of(4) {
                self.wear.add_groups(place);
            }
            self.latch.count = 1;
            self.counter = (self.counter + 1) % self.size_bytes;
        }
    }

    /// Sends bytes from the address counter on, rolling over at the end of the part.
    #[inline]
    pub(super) fn supply(&mut self, bytes: &mut [u8]) {
        let held = self.cells.held();
        let end = self.counter + bytes.len();
        if end <= self.size_bytes {
            bytes.copy_from_slice(&held[self.counter..end]);
        } else {
            for (offset, byte) in bytes.iter_mut().enumerate() {
                *byte = held[(self.counter + offset) % self.size_bytes];
            }
        }
        self.counter = if end < self.size_bytes { end } else { end % self.size_bytes };
    }

    /// A stop. Begins a program cycle until `end_ns` when there is something to
    /// program; how many bytes it programs, 0 when it did not begin.
    #[inline]
    pub(super) fn stop(&mut self, end_ns: u64) -> usize {
        if self.latch.count == 0 || self.kind == PartKind::Fram || self.cycle.is_some() {
            return 0;
        }
        let page_start = self.counter & !(self.page_bytes - 1);
        if self.is_write_protected {
            let latch = &self.latch;
            self.cells.program(self.page_at(page_start), None, |page| latch.overlay(page));
            self.latch.count = 0;
            return 0;
        }
        let lands_at = match &mut self.misdirect {
            None => page_start,
            Some((0, wrong_page)) => {
                let lands_at = *wrong_page;
                self.misdirect = None;
                lands_at
            }
            Some((cycles, _)) => {
                *cycles -= 1;
                page_start
            }
        };
        self.wear.add_cycle(lands_at / self.page_bytes);
        // A wrapped write may come round to the group it began in: that counts once.
        let [to_end, wrapped] = self.latch.places(self.page_bytes);
        let wrapped_end = wrapped.end.min(to_end.start & !3);
        self.wear.add_groups(lands_at + to_end.start..lands_at + to_end.end);
        self.wear.add_groups(lands_at..lands_at + wrapped_end);
        self.cycle = Some(Cycle { page_start, lands_at, end_ns });
        self.latch.count
    }

    /// Cuts the supply at `now_ns` and gives it back: a cycle under way leaves what
    /// `tear` says, in truth too. Wear and faults stay.
    pub(super) fn power_cycle(&mut self, now_ns: u64, tear: Tear) {
        self.settle(now_ns);
        if let Some(cycle) = self.cycle.take() {
            let lands =
                (!self.cells.is_stuck(cycle.lands_at)).then(|| self.page_at(cycle.lands_at));
            let latch = &self.latch;
            self.cells.program(self.page_at(cycle.page_start), lands, |page| {
                tear_page(page, latch, tear);
            });
        }
        self.latch.count = 0;
        self.counter = 0;
    }

    /// Puts what the cells hold after a cut at `now_ns` into `image`.
    pub(super) fn image_after_cut(&self, now_ns: u64, tear: Tear, image: &mut Vec<u8>) {
        image.clear();
        image.extend_from_slice(self.cells.held());
        if let Some(cycle) = self.cycle
            && !self.cells.is_stuck(cycle.lands_at)
        {
            let tear = if cycle.end_ns <= now_ns { Tear::New } else { tear };
            tear_page(&mut image[self.page_at(cycle.lands_at)], &self.latch, tear);
        }
    }
}

/// Leaves of `page`, while `latch` was being programmed into it, what `tear` says.
fn tear_page(page: &mut [u8], latch: &Latch, tear: Tear) {
    let mut new = [0; PAGE_BYTES_MAX];
    let new = &mut new[..page.len()];
    new.copy_from_slice(page);
    latch.overlay(new);
    tear.apply(page, new);
}
