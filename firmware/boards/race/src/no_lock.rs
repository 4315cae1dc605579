//! SABOTAGED copy of `shaftbook_drivers::capture`: the count of missed edges is read and then
//! cleared, and nothing keeps an interrupt from coming in between.
//!
//! No board image contains it: nothing can depend on this package
//! (`tests/system/dependencies.rs`).

use core::sync::atomic::{AtomicU32, Ordering};

use heapless::spsc;
use shaftbook_core::input::Input;

type Edge = (u32, Input);

/// See `shaftbook_drivers::capture::Capture`.
pub struct Capture<const N: usize> {
    queue: spsc::Queue<Edge, N>,
    missed: AtomicU32,
}

impl<const N: usize> Capture<N> {
    /// An empty queue, nothing missed.
    pub const fn new() -> Self {
        Self { queue: spsc::Queue::new(), missed: AtomicU32::new(0) }
    }

    /// The interrupt's end and the main loop's end.
    pub fn split(&mut self) -> (EdgeProducer<'_>, EdgeConsumer<'_>) {
        let (producer, consumer) = self.queue.split();
        (
            EdgeProducer { queue: producer, missed: &self.missed },
            EdgeConsumer { queue: consumer, missed: &self.missed },
        )
    }
}

/// The interrupt's end.
pub struct EdgeProducer<'a> {
    queue: spsc::Producer<'a, Edge>,
    missed: &'a AtomicU32,
}

impl EdgeProducer<'_> {
    /// Notes `change` at `tick_us`.
    pub fn push(&mut self, tick_us: u32, change: Input) {
        if self.queue.enqueue((tick_us, change)).is_err() {
            let missed = self.missed.load(Ordering::Relaxed);
            self.missed.store(missed.saturating_add(1), Ordering::Relaxed);
        }
    }
}

/// The main loop's end.
pub struct EdgeConsumer<'a> {
    queue: spsc::Consumer<'a, Edge>,
    missed: &'a AtomicU32,
}

impl EdgeConsumer<'_> {
    /// The oldest edge not yet taken.
    pub fn pop(&mut self) -> Option<Edge> {
        self.queue.dequeue()
    }

    /// Whether no edge waits.
    pub fn is_empty(&self) -> bool {
        !self.queue.ready()
    }

    /// Edges lost since the last call: the sabotage.
    pub fn take_missed(&mut self) -> u32 {
        let missed = self.missed.load(Ordering::Relaxed);
        self.missed.store(0, Ordering::Relaxed);
        missed
    }
}
