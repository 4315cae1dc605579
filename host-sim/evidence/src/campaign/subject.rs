//! What a campaign tries: our whole board, or a store that somebody brought.
//!
//! Contract: the truth is what was fed in, counted by the code around the subject and not by
//! what is tried; a power-up starts from the bytes of the part alone.

use shaftbook_core::counters::Counters;
use shaftbook_core::fault::FaultSet;

use super::script::Start;
use super::state::StateSet;
use shaftbook_world::bench::workload::Act;
use shaftbook_world::bus::{Bus, Tear};

/// A cut again: bus bytes of the recovery before it, and what it leaves.
pub type CutAgain = (u64, Tear);

/// What a power-up after a cut gave.
#[derive(Clone, Debug, Default)]
pub struct PoweredUp {
    /// The lifetime counters as found; `None` if nothing was.
    pub past: Option<Counters>,
    /// What a recovery that was cut in its turn truly added to the life.
    pub between: Counters,
    /// The most that such a recovery said to be durable.
    pub acknowledged: Counters,
    /// From power-up until the past was known and writing could begin, µs.
    pub ready_us: Option<u64>,
    /// Bytes read from the part by then.
    pub bytes_read: u64,
    /// States of the recovery that was cut, just before that.
    pub nested: Option<StateSet>,
    /// What is wrong with it beside the counters: a service half done, a fault named on
    /// a sound part, a board that does not come to rest.
    pub broken: Option<String>,
}

/// What the judge knows of the part at a cut.
#[derive(Clone, Copy, Debug, Default)]
pub struct Condition {
    /// A fault of bus or part was on, or had not been over for long.
    pub is_disturbed: bool,
    /// The part has been damaged for good.
    pub is_damaged: bool,
    /// So much of it that nothing may be stored any more.
    pub is_worn: bool,
    /// The board is reset; the supply stays.
    pub is_reset: bool,
}

impl Condition {
    /// Whether nothing was wrong with the part or the bus.
    #[must_use]
    pub const fn is_sound(self) -> bool {
        !self.is_disturbed && !self.is_damaged && !self.is_worn
    }
}

/// A subject of a campaign.
pub trait Subject: Sized {
    /// Its name, as reports show it.
    const NAME: &'static str;

    /// A subject that has come to a point of its life, kept so that many can go on from
    /// there, on any thread.
    type Aged: Send + Sync + 'static;

    /// Brings a subject to where `start` says.
    fn age(start: &Start) -> Self::Aged;

    /// One that goes on from there.
    fn resume(aged: &Self::Aged) -> Self;

    /// Does one piece of a step, with all the work that falls due. `watch` sees the world
    /// after each bus transaction.
    fn act(&mut self, act: Act, watch: &mut dyn FnMut(&Self));

    /// The power-fail warning; time passes to `until_us` with the work that falls due.
    fn warn(&mut self, until_us: u64, watch: &mut dyn FnMut(&Self));

    /// Puts a display on the bus that is redrawn without pause; nothing for a subject
    /// that has none.
    fn fit_display(&mut self, seed: u64);

    /// Bus or part are away from now on for a while, or the part is worn: until the next
    /// power-up a command may be done later than it was asked for.
    fn disturbed(&mut self);

    /// The bus.
    fn bus(&self) -> &Bus;

    /// The bus, to give it faults and cuts.
    fn bus_mut(&mut self) -> &mut Bus;

    /// Time since power-up, µs.
    fn now_us(&self) -> u64;

    /// Page that is written next; 0 for a store that does not say.
    fn next_page(&self) -> usize;

    /// What it is in the middle of.
    fn states(&self) -> StateSet;

    /// What it was in the middle of when the supply went, if what it was in before that
    /// transaction is `last`.
    fn states_at_cut(&self, last: StateSet) -> StateSet {
        last
    }

    /// What truly happened until now or, after a cut, until the cut, over the whole life.
    fn truth(&self) -> Counters;

    /// The most that was said to be durable.
    fn acknowledged(&self) -> Counters;

    /// The faults that it names.
    fn named(&self) -> FaultSet;

    /// Cuts the supply, if it has not gone yet, and powers up again on the same part,
    /// once more if that is cut too. From here on the truth is what was rightly found.
    fn power_cycle(
        &mut self,
        tear: Tear,
        again: Option<CutAgain>,
        condition: Condition,
    ) -> PoweredUp;
}
