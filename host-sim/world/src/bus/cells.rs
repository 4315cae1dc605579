//! The bytes at rest: what the cells hold, and beside it what they should hold.
//!
//! Invariant: without a fault the two are equal. Then no second copy is kept at all, so that a
//! sound part costs nothing extra.

use std::collections::BTreeMap;
use std::ops::Range;

/// How a page fails to take what is programmed. Programs are still acknowledged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stuck {
    /// It keeps what it held.
    KeepsOld,
    /// Each of its bytes reads as this value.
    Reads(u8),
}

/// Memory of a part, with faults overlaid on an uncorrupted truth.
#[derive(Clone, Debug)]
pub(super) struct Cells {
    held: Vec<u8>,
    /// What a sound part would hold; `None` while that is the same.
    truth: Option<Vec<u8>>,
    /// Pages that take no program, by address of their first byte.
    stuck: BTreeMap<usize, Stuck>,
}

impl Cells {
    pub(super) fn new(held: Vec<u8>) -> Self {
        Self { held, truth: None, stuck: BTreeMap::new() }
    }

    #[inline]
    pub(super) fn held(&self) -> &[u8] {
        &self.held
    }

    #[inline]
    pub(super) fn truth(&self) -> &[u8] {
        self.truth.as_deref().unwrap_or(&self.held)
    }

    #[inline]
    pub(super) fn has_stuck_pages(&self) -> bool {
        !self.stuck.is_empty()
    }

    #[inline]
    pub(super) fn is_stuck(&self, page_start: usize) -> bool {
        self.has_stuck_pages() && self.stuck.contains_key(&page_start)
    }

    /// From now on the page that starts at `page` (its byte range) takes no program.
    pub(super) fn stick(&mut self, page: Range<usize>, how: Stuck) {
        self.stuck.insert(page.start, how);
        if let Stuck::Reads(value) = how {
            self.split()[page].fill(value);
        }
    }

    /// The held bytes, after which a change to them is a fault: truth stays.
    pub(super) fn split(&mut self) -> &mut [u8] {
        if self.truth.is_none() {
            self.truth = Some(self.held.clone());
        }
        &mut self.held
    }

    /// Changes truth at `true_place` and the cells at `held_place` by `change`; the
    /// cells not at all when `None`.
    #[inline]
    pub(super) fn program(
        &mut self,
        true_place: Range<usize>,
        held_place: Option<Range<usize>>,
        change: impl Fn(&mut [u8]),
    ) {
        if held_place.as_ref() != Some(&true_place) {
            self.split();
        }
        if let Some(truth) = &mut self.truth {
            change(&mut truth[true_place]);
        }
        if let Some(place) = held_place {
            change(&mut self.held[place]);
        }
    }
}
