//! Cuts of the supply, resets by the watchdog, and the board that starts after them.
//!
//! Invariant: a recovery starts from the bytes of the part alone.

use shaftbook_core::counters::Counters;
use shaftbook_drivers::memory::WiredPart;

use super::Bench;
use super::device::Device;
use crate::bus::{Bus, Tear};

impl<D: Device> Bench<D> {
    /// The part as it is if the power is cut now, written into `image`.
    pub fn cut_image(&self, tear: Tear, image: &mut Vec<u8>) {
        self.bus.cut_image_into(tear, image);
    }

    /// Cuts the power and powers up again on the same part. What was lost is taken
    /// out of the truth: from here on the truth is what the board rightly knows.
    pub fn cut_and_power_up(&mut self, tear: Tear) -> bool {
        let next = self.powered_again(tear);
        self.go_on_with(next)
    }

    /// The watchdog resets the board in mid-write, whatever it did; the supply was there
    /// all the time. What was lost is taken out of the truth.
    pub fn watchdog_in_mid_write(&mut self, watch: &mut impl FnMut(&Self)) -> bool {
        self.warn();
        for _ in 0..100 {
            self.poll_once(watch);
            if self.bus.page_under_way().is_some() {
                break;
            }
        }
        let next = self.started_again(self.bus.clone(), self.device.watchdog());
        self.go_on_with(next)
    }

    fn go_on_with(&mut self, mut next: Self) -> bool {
        let rested = next.rest(&mut |_| {});
        let past = next.board().past().copied();
        next.found(past.as_ref());
        *self = next;
        rested
    }

    /// The next power-up on the same part, which has not been polled yet; the power is
    /// cut first, unless it has been.
    #[must_use]
    pub fn powered_again(&self, tear: Tear) -> Self {
        let mut bus = self.bus.clone();
        bus.power_cycle(tear);
        self.started_again(bus, self.device.powered_again())
    }

    /// The same after the watchdog has reset the board: a program cycle that has begun
    /// ends well.
    #[must_use]
    pub fn reset(&self) -> Self {
        let mut bus = self.bus.clone();
        bus.power_cycle(Tear::New);
        self.started_again(bus, self.device.watchdog())
    }

    pub(super) fn started_again(&self, bus: Bus, device: D) -> Self {
        let mut next = Self::started(bus, device);
        next.figures = self.figures.clone();
        next.acknowledged = self.acknowledged;
        next
    }

    /// The truth goes on from what the board found.
    pub fn found(&mut self, past: Option<&Counters>) {
        self.truth_before = past.copied().unwrap_or_default();
    }

    /// Whether anything was ever said to be durable.
    #[must_use]
    pub fn has_begun(&self) -> bool {
        self.acknowledged != Counters::default()
    }

    /// The bus's time since the board's reset, µs: it stands still from a cut on.
    #[must_use]
    pub fn bus_us(&self) -> u64 {
        (self.bus.now_ns() - self.origin_ns).div_ceil(1_000)
    }
}

/// What a recovery from bytes alone found.
#[derive(Clone, Debug)]
pub struct Recovered<D: Device> {
    /// The bench after it.
    pub bench: Bench<D>,
    /// Whether it came to rest.
    pub rested: bool,
    /// What the recoveries that were cut in their turn truly added to the life: they were
    /// powered for a while.
    pub between: Counters,
}

impl<D: Device> Recovered<D> {
    /// Boots a new board on `image`, which is that of a reference part.
    ///
    /// # Panics
    /// When `image` is not as long as the reference part.
    #[must_use]
    pub fn from_image(image: Vec<u8>, seed: u64) -> Self {
        Self::from_image_of(WiredPart::REFERENCE, image, seed)
    }

    /// Boots a new board on `image`, which is that of a part like `wired`.
    ///
    /// # Panics
    /// When `image` is not as long as the part.
    #[must_use]
    pub fn from_image_of(wired: WiredPart, image: Vec<u8>, seed: u64) -> Self {
        let mut bench = Bench::on_image(wired, image, seed);
        let rested = bench.rest(&mut |_| {});
        Self { bench, rested, between: Counters::default() }
    }

    /// Boots a new board on `image`, which is that of a part like `wired`, cuts it after so
    /// many bus bytes with the page as the tear leaves it, boots the next on what is left,
    /// and so on for each of `cuts`; the last board is not cut.
    ///
    /// # Panics
    /// When `image` is not as long as the part.
    #[must_use]
    pub fn from_image_cut_again(
        wired: WiredPart,
        mut image: Vec<u8>,
        seed: u64,
        cuts: &[(u64, Tear)],
    ) -> Self {
        let mut between = Counters::default();
        for (depth, (bytes, tear)) in (0..).zip(cuts) {
            let mut cut: Bench<D> = Bench::on_image(wired, image.clone(), seed ^ depth);
            cut.bus.cut_after_bytes(*bytes);
            cut.rest(&mut |_| {});
            cut.cut_image(*tear, &mut image);
            between = between.plus(&cut.truth());
        }
        Self { between, ..Self::from_image_of(wired, image, seed ^ cuts.len() as u64) }
    }

    /// The lifetime counters as recovered.
    #[must_use]
    pub fn past(&self) -> Option<Counters> {
        self.bench.board().past().copied()
    }
}
