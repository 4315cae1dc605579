//! A store that somebody brought, as a subject of campaigns. A plain counter beside the store
//! counts what happens, and has the counts stored no later than our own board would store a
//! checkpoint.
//!
//! It is not on the shared bench, because what the bench holds (`Device` of
//! `host-sim/world/src/bench/device.rs`) is a board with our core in it. The bench feeds a
//! device edges of inputs, gives it one poll at a time, and reads past, faults and figures from
//! the core's `Board`. A store of counters has no core, no inputs and no polls: it takes
//! counts, and one call returns when they are durable. If it were made a device, it would need
//! our core around it, and then our own store would be the one that is tried. So time, truth
//! and power-ups are kept here. The simulated bus and part, the scripts and the judge are the
//! same as for our board.
//!
//! A store of counters has no services and no panel either: such steps of a script only let
//! time pass.

use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::FaultSet;
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::Settings;

use super::script::Start;
use super::state::{MetState, StateSet};
use super::store::{CounterStore, Pages};
use super::subject::{Condition, CutAgain, PoweredUp, Subject};
use shaftbook_world::bench::workload::Act;
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

/// Longest pulse gap that counts as running, µs: the board's default.
const RUN_GAP_US: u64 = 2_000_000;
/// Time of a stitch while the part is aged, µs.
const AGEING_PERIOD_US: u64 = 1_999_000;
/// A checkpoint is due so long before its interval ends, ms: a stitch may take as long.
const EARLY_MS: u64 = 2_500;
/// Tries to power up on a bus that is held, 1 ms apart: it is held for 0.2 s at most.
const HELD_TRIES: u32 = 400;
/// Stitches to a checkpoint at that pace.
const AGEING_STITCHES: u64 = 5;

/// A counter that keeps its counts in a brought store.
#[derive(Debug)]
pub struct Bare<S> {
    bus: Bus,
    store: Option<S>,
    origin_ns: u64,
    now_us: u64,
    before: Counters,
    session: Counters,
    running_us: u64,
    last_pulse_us: Option<u64>,
    acknowledged: Counters,
    /// What was last stored or tried to, for when the next is due.
    last: Counters,
    is_due: bool,
    doing: StateSet,
}

/// A part that was stored to for a while. What a store has in RAM is its own, and gone.
#[derive(Clone, Debug)]
pub struct Aged {
    bus: Bus,
    acknowledged: Counters,
}

impl<S: CounterStore> Bare<S> {
    fn on(mut bus: Bus) -> (Self, Result<Option<Counters>, String>) {
        let origin_ns = bus.now_ns();
        let (store, found) = match S::power_up(&mut Pages::new(&mut bus)) {
            Ok((store, found)) => (Some(store), Ok(found)),
            Err(error) => (None, Err(error.to_string())),
        };
        let before = found.as_ref().ok().copied().flatten().unwrap_or_default();
        let now_us = (bus.now_ns() - origin_ns).div_ceil(1_000);
        let it = Self {
            bus,
            store,
            origin_ns,
            now_us,
            before,
            session: Counters { power_ups: 1, ..Counters::default() },
            running_us: 0,
            last_pulse_us: None,
            acknowledged: Counters::default(),
            last: before,
            is_due: true,
            doing: StateSet::default(),
        };
        (it, found)
    }

    fn truth_at(&self, at_us: u64) -> Counters {
        let session = Counters {
            powered_ms: at_us / 1_000,
            running_ms: self.running_us / 1_000,
            ..self.session
        };
        self.before.plus(&session)
    }

    /// Lets time pass, with the checkpoint that falls due.
    fn pass(&mut self, us: u64, watch: &mut dyn FnMut(&Self)) {
        self.now_us += us;
        self.bus.advance_to(self.origin_ns + self.now_us * 1_000);
        watch(self);
        let now = self.truth_at(self.now_us);
        let delta = now.since(&self.last);
        let settings = Settings::default();
        // Early by the longest step of time and the writing, so that the bound holds.
        let ms = |seconds: u16| u64::from(seconds) * 1_000 - EARLY_MS;
        self.is_due |= delta.running_ms >= ms(settings.checkpoint_running_s.into())
            || delta.trims >= u64::from(settings.checkpoint_trims)
            || delta.powered_ms >= ms(settings.checkpoint_powered_s);
        if self.is_due {
            self.save(&now);
            watch(self);
        }
    }

    fn save(&mut self, now: &Counters) {
        let Some(store) = &mut self.store else { return };
        if self.bus.is_cut() {
            return;
        }
        self.doing.add_if(true, MetState::Checkpoint);
        let saved = store.store(&mut Pages::new(&mut self.bus), now);
        let bus_us = (self.bus.now_ns() - self.origin_ns).div_ceil(1_000);
        self.now_us = self.now_us.max(bus_us);
        if saved.is_ok() {
            self.acknowledged = self.acknowledged.most(now);
            self.last = *now;
            self.is_due = false;
        }
        if !self.bus.is_cut() {
            self.doing = StateSet::default();
        }
    }

    fn pulse(&mut self) {
        if let Some(last_us) = self.last_pulse_us
            && self.now_us - last_us <= RUN_GAP_US
        {
            self.running_us += self.now_us - last_us;
        }
        self.last_pulse_us = Some(self.now_us);
    }
}

impl<S: CounterStore> Subject for Bare<S> {
    const NAME: &'static str = S::NAME;

    type Aged = Aged;

    fn age(start: &Start) -> Aged {
        let part = Part::blank(Geometry::REFERENCE).expect("the reference part is supported");
        let (mut it, _) = Self::on(Bus::new(part, Timing::FAST_MODE, start.seed));
        for number in 0..start.checkpoints {
            for _ in 0..AGEING_STITCHES {
                it.act(Act::Stitch(1 + (number % 15) as u8, AGEING_PERIOD_US), &mut |_| {});
            }
            it.is_due = true;
        }
        it.bus.power_cycle(Tear::New);
        Aged { bus: it.bus, acknowledged: it.acknowledged }
    }

    fn resume(aged: &Aged) -> Self {
        let (mut it, _) = Self::on(aged.bus.clone());
        it.acknowledged = aged.acknowledged;
        it
    }

    fn act(&mut self, act: Act, watch: &mut dyn FnMut(&Self)) {
        match act {
            Act::Stitch(number, period_us) => {
                self.pulse();
                if let Some(needle) = Needle::new(number) {
                    self.session.needle_stitches[needle.index()] += 1;
                }
                self.pass(period_us, watch);
            }
            Act::JumpTurn(period_us) => {
                self.pulse();
                self.session.jumps += 1;
                self.pass(period_us, watch);
            }
            Act::Trim => {
                self.session.trims += 1;
                self.pass(200_000, watch);
            }
            Act::Break(number) => {
                if let Some(needle) = Needle::new(number) {
                    self.session.needle_breaks[needle.index()] += 1;
                }
                self.pass(150_000, watch);
            }
            Act::Stand => self.pass(1_000_000, watch),
            Act::Select(_) | Act::Jump(_) => self.pass(50_000, watch),
            Act::Renew(_) | Act::Service | Act::WrongReply | Act::Refit => {
                self.pass(20_000, watch);
            }
        }
    }

    fn warn(&mut self, until_us: u64, watch: &mut dyn FnMut(&Self)) {
        self.is_due = true;
        self.pass(0, watch);
        self.pass(until_us.saturating_sub(self.now_us), watch);
    }

    fn fit_display(&mut self, _: u64) {}

    fn disturbed(&mut self) {}

    fn bus(&self) -> &Bus {
        &self.bus
    }

    fn bus_mut(&mut self) -> &mut Bus {
        &mut self.bus
    }

    fn now_us(&self) -> u64 {
        self.now_us
    }

    fn next_page(&self) -> usize {
        0
    }

    fn states(&self) -> StateSet {
        let mut states = self.doing;
        states.add_if(self.bus.page_under_way().is_some(), MetState::ProgramCycle);
        states.add_if(self.doing == StateSet::default(), MetState::AtRest);
        states
    }

    fn states_at_cut(&self, _: StateSet) -> StateSet {
        self.states()
    }

    fn truth(&self) -> Counters {
        let cut_us = (self.bus.now_ns() - self.origin_ns).div_ceil(1_000);
        self.truth_at(if self.bus.is_cut() { cut_us } else { self.now_us })
    }

    fn acknowledged(&self) -> Counters {
        self.acknowledged
    }

    fn named(&self) -> FaultSet {
        FaultSet::default()
    }

    fn power_cycle(
        &mut self,
        tear: Tear,
        again: Option<CutAgain>,
        condition: Condition,
    ) -> PoweredUp {
        let mut bus = self.bus.clone();
        bus.power_cycle(tear);
        let mut up = PoweredUp::default();
        if let Some((after_bytes, second)) = again {
            bus.cut_after_bytes(after_bytes);
            let (first, _) = Self::on(bus);
            let mut states = StateSet::default();
            states.add_if(true, MetState::Recovering);
            up.nested = Some(states);
            up.between = first.session;
            bus = first.bus;
            bus.power_cycle(second);
        }
        let read_before = bus.tally().bytes_read;
        let (mut next, mut found) = Self::on(bus);
        // A bus that a reset left held is tried again, as a board would.
        for _ in 0..HELD_TRIES {
            if found.is_ok() || !condition.is_reset {
                break;
            }
            let later_ns = next.bus.now_ns() + 1_000_000;
            next.bus.advance_to(later_ns);
            (next, found) = Self::on(next.bus);
        }
        up.ready_us = Some(next.now_us);
        up.bytes_read = next.bus.tally().bytes_read - read_before;
        match found {
            Ok(past) => up.past = past,
            Err(error) => up.broken = Some(format!("it does not open: {error}")),
        }
        next.acknowledged = self.acknowledged;
        *self = next;
        up
    }
}
