//! Takes edges from the interrupt to the main loop.
//!
//! Purpose: an interrupt stamps an edge and leaves at once; the main loop takes the edges in
//! order. A full queue drops the newest edge and counts it, so a loss is always visible.
//!
//! Invariants: edges come out in the order they went in; each edge pushed is either popped or
//! counted as missed, never both and never neither.
//!
//! Not done here: debouncing, wrapping of the time stamps (`shaftbook_core::time`).

use core::cell::Cell;

use critical_section::Mutex;
use heapless::spsc;
use shaftbook_core::input::Input;

/// One edge: the reading of the µs timer and what changed.
type Edge<E> = (u32, E);

/// A queue of up to `N` − 1 edges, with a count of those that found it full.
///
/// `N` is at least 2. At 2,000 revolutions a minute and 64 pulses a revolution there
/// are 4,267 edges of both polarities a second: 64 places last 14 ms.
///
/// `E` says what changed: an [`Input`] of the machine, or a button.
pub struct Capture<const N: usize, E = Input> {
    queue: spsc::Queue<Edge<E>, N>,
    missed: Mutex<Cell<u32>>,
}

impl<const N: usize, E: Copy> Capture<N, E> {
    /// An empty queue, nothing missed.
    #[must_use]
    pub const fn new() -> Self {
        Self { queue: spsc::Queue::new(), missed: Mutex::new(Cell::new(0)) }
    }

    /// The interrupt's end and the main loop's end.
    pub fn split(&mut self) -> (EdgeProducer<'_, E>, EdgeConsumer<'_, E>) {
        let (producer, consumer) = self.queue.split();
        (
            EdgeProducer { queue: producer, missed: &self.missed },
            EdgeConsumer { queue: consumer, missed: &self.missed },
        )
    }
}

impl<const N: usize, E: Copy> Default for Capture<N, E> {
    fn default() -> Self {
        Self::new()
    }
}

/// The interrupt's end of a [`Capture`].
pub struct EdgeProducer<'a, E = Input> {
    queue: spsc::Producer<'a, Edge<E>>,
    missed: &'a Mutex<Cell<u32>>,
}

impl<E: Copy> EdgeProducer<'_, E> {
    /// Notes `change` at timer reading `tick_us` (32-bit µs, wrapping).
    ///
    /// Never waits. Work: a few dozen instructions; a critical section of a few
    /// more only when the queue is full.
    #[inline]
    pub fn push(&mut self, tick_us: u32, change: E) {
        if self.queue.enqueue((tick_us, change)).is_err() {
            critical_section::with(|cs| {
                let missed = self.missed.borrow(cs);
                missed.set(missed.get().saturating_add(1));
            });
        }
    }
}

/// The main loop's end of a [`Capture`].
pub struct EdgeConsumer<'a, E = Input> {
    queue: spsc::Consumer<'a, Edge<E>>,
    missed: &'a Mutex<Cell<u32>>,
}

impl<E: Copy> EdgeConsumer<'_, E> {
    /// The oldest edge not yet taken: timer reading in µs and what changed.
    #[inline]
    pub fn pop(&mut self) -> Option<(u32, E)> {
        self.queue.dequeue()
    }

    /// Whether no edge waits. Ask it with interrupts masked before going to sleep.
    #[must_use]
    #[inline]
    pub fn is_empty(&self) -> bool {
        !self.queue.ready()
    }

    /// Edges lost since the last call; hand them to `Board::missed_edges`.
    /// Stays at `u32::MAX` instead of wrapping.
    #[inline]
    pub fn take_missed(&mut self) -> u32 {
        critical_section::with(|cs| self.missed.borrow(cs).replace(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shaftbook_core::input::Level;

    const RISE: Input = Input::Shaft(Level::Active);
    const FALL: Input = Input::Shaft(Level::Inactive);

    #[test]
    fn edges_come_out_in_order_with_their_stamps() {
        let mut capture = Capture::<4>::new();
        let (mut isr, mut main) = capture.split();
        isr.push(u32::MAX, RISE);
        isr.push(3, FALL);
        assert!(!main.is_empty());
        assert_eq!(main.pop(), Some((u32::MAX, RISE)));
        assert_eq!(main.pop(), Some((3, FALL)));
        assert_eq!(main.pop(), None);
        assert!(main.is_empty());
        assert_eq!(main.take_missed(), 0);
    }

    #[test]
    fn a_full_queue_counts_each_lost_edge_once_and_keeps_the_older_ones() {
        let mut capture = Capture::<4>::new();
        let (mut isr, mut main) = capture.split();
        for tick_us in 0..10 {
            isr.push(tick_us, RISE);
        }
        assert_eq!(main.take_missed(), 7, "10 pushed, 3 places");
        assert_eq!(main.take_missed(), 0, "taken once");
        for tick_us in 0..3 {
            assert_eq!(main.pop(), Some((tick_us, RISE)));
        }
        assert_eq!(main.pop(), None);
    }

    #[test]
    fn every_edge_is_popped_or_missed() {
        let mut capture = Capture::<8>::new();
        let (mut isr, mut main) = capture.split();
        let (mut popped, mut missed) = (0, 0);
        for burst in 0..100_u32 {
            // Bursts of 0 to 12 edges against 0 to 9 taken: full, empty and between.
            for tick_us in 0..burst % 13 {
                isr.push(tick_us, FALL);
            }
            for _ in 0..burst % 10 {
                popped += u32::from(main.pop().is_some());
            }
            missed += main.take_missed();
        }
        while main.pop().is_some() {
            popped += 1;
        }
        let pushed: u32 = (0..100).map(|burst| burst % 13).sum();
        assert!(missed > 0);
        assert_eq!(popped + missed, pushed);
    }
}
