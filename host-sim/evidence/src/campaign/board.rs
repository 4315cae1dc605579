//! Our whole board as a subject of campaigns: the bare core or the whole firmware, on the
//! bench.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::serial::Lap;

use super::script::Start;
use super::state::StateSet;
use super::subject::{Condition, CutAgain, PoweredUp, Subject};
use shaftbook_drivers::memory::WiredPart;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::parts;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::workload::Act;
use shaftbook_world::bench::{Bench, CommandFigures, any_needle, fitting};
use shaftbook_world::bus::{Bus, Tear};

/// Time of a stitch while the ring is aged, µs: a checkpoint every five stitches.
const AGEING_PERIOD_US: u64 = 1_999_000;
/// Stitches to a checkpoint at that pace.
const AGEING_STITCHES: u64 = 5;

/// What differs between two sets of figures, in words.
fn difference(before: &CommandFigures, now: &CommandFigures) -> String {
    let mut words = Vec::new();
    if before.services != now.services {
        words.push(format!("services {} to {}", before.services, now.services));
    }
    if before.interval != now.interval {
        let (was, is) = (before.interval, now.interval);
        let powered = format!("{} to {} ms powered", was.powered_ms, is.powered_ms);
        words.push(format!(
            "interval baseline {powered}, {} to {} ms running",
            was.running_ms, is.running_ms
        ));
    }
    if before.baselines.len() != now.baselines.len() {
        let (was, is) = (before.baselines.len(), now.baselines.len());
        words.push(format!("components {was} to {is}"));
    }
    for (place, (was, is)) in before.baselines.iter().zip(&now.baselines).enumerate() {
        if was != is {
            words.push(format!("baseline of component {place} {was} to {is}"));
        }
    }
    words.join(", ")
}

/// Ages a fitted board: sews until so many checkpoints are stored, with a renewal now and
/// then.
fn sew_until_aged<R: UnderTest>(bench: &mut Bench<Core<R>>, start: &Start) {
    let mut rng = Pcg32::seed_from_u64(start.seed);
    for number in 0..start.checkpoints {
        bench.sew(any_needle(&mut rng), AGEING_STITCHES, AGEING_PERIOD_US, &mut |_| {});
        if number % 41 == 7 {
            let components = ComponentSet(1 << (rng.next_u32() % 15));
            let _ = bench.ask(Command::Renew { components, reply: None });
            bench.rest(&mut |_| {});
        }
        // What was seen of it is of no use any more.
        bench.effects.clear();
    }
}

/// What is named, but for what a watchdog's reset rightly is.
fn faults_of_the_part(faults: FaultSet, condition: Condition) -> Vec<Fault> {
    faults
        .iter()
        .filter(|fault| !(condition.is_reset && *fault == Fault::FirmwareStopped))
        .collect()
}

/// What a delayed command has just done may be dated a little later than it was asked for.
trait NoteLate {
    /// Takes the figures as they are now, if the command that waited when they were `before`
    /// has been done since, something may have delayed it, and they can be those of it.
    fn note_if_late(&mut self, before: Option<CommandFigures>);
}

impl<D: Device> NoteLate for Bench<D> {
    fn note_if_late(&mut self, before: Option<CommandFigures>) {
        let (Some(before), None, true) = (&before, &self.pending, self.may_be_late) else {
            return;
        };
        let ledger = self.board().ledger();
        let now = CommandFigures::of(ledger);
        if self.figures.came_late(before, &now, &self.truth(), ledger) {
            self.figures = now;
        }
    }
}

impl<D: Device + 'static> Subject for Bench<D> {
    const NAME: &'static str = "shaftbook";

    type Aged = Self;

    fn resume(aged: &Self) -> Self {
        aged.clone()
    }

    fn age(start: &Start) -> Self {
        // A script is checked where it is read: its part can be used.
        let wired = start.part.wired().unwrap_or(WiredPart::REFERENCE);
        let lap = Lap::new(start.lap);
        if !start.fitted {
            return Self::blank_on(wired, start.seed, lap);
        }
        Self::with_past_on(wired, start.seed, lap, |core| sew_until_aged(core, start))
    }

    fn act(&mut self, act: Act, mut watch: &mut dyn FnMut(&Self)) {
        let watch = &mut watch;
        if !self.has_begun() && self.board().ledger().components.is_empty() {
            // Somebody fits it, as soon as it says that it is not.
            let _ = self.request(Command::Fit { fitting: fitting(), reply: None });
            self.figures = CommandFigures::of(self.board().ledger());
        }
        let asks = matches!(act, Act::Renew(_) | Act::Service);
        let before = (asks || self.pending.is_some()).then(|| self.figures.clone());
        Self::act(self, act, watch);
        if self.figures.baselines.len() != self.board().ledger().components.len() {
            // It has just been fitted.
            self.figures = CommandFigures::of(self.board().ledger());
        }
        self.note_if_late(before);
    }

    fn warn(&mut self, until_us: u64, mut watch: &mut dyn FnMut(&Self)) {
        let before = self.pending.is_some().then(|| self.figures.clone());
        Self::warn(self);
        self.pass_to(until_us, &mut watch);
        self.note_if_late(before);
    }

    fn fit_display(&mut self, seed: u64) {
        Self::fit_screen(self, seed);
    }

    fn disturbed(&mut self) {
        self.may_be_late = true;
    }

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
        let slot = usize::from(self.board().store().head().slot);
        slot * parts::pages_of_a_slot(self.bus.part().geometry())
    }

    fn states(&self) -> StateSet {
        StateSet::of(self.board(), self.now(), &self.bus)
    }

    fn truth(&self) -> Counters {
        let at_us = if self.bus.is_cut() { self.bus_us() } else { self.now_us };
        self.truth_at(at_us)
    }

    fn acknowledged(&self) -> Counters {
        self.acknowledged
    }

    fn named(&self) -> FaultSet {
        self.board().faults()
    }

    fn power_cycle(
        &mut self,
        tear: Tear,
        again: Option<CutAgain>,
        condition: Condition,
    ) -> PoweredUp {
        let (before, pending) = (self.figures.clone(), self.pending.clone());
        let (had_begun, truth) = (self.has_begun(), Subject::truth(self));
        let mut up = PoweredUp::default();
        if let Some((after_bytes, second)) = again {
            let mut first = self.powered_again(tear);
            first.tell_levels(self);
            first.bus.cut_after_bytes(after_bytes);
            let mut last = first.states();
            first.rest(&mut |bench: &Self| {
                if !bench.bus.is_cut() {
                    last = bench.states();
                }
            });
            up.nested = Some(last);
            up.between = first.truth();
            up.acknowledged = first.acknowledged;
            let mut next = first.powered_again(second);
            next.tell_levels(&first);
            *self = next;
        } else {
            let mut next = if condition.is_reset { self.reset() } else { self.powered_again(tear) };
            next.tell_levels(self);
            *self = next;
        }
        let read_before = self.bus.tally().bytes_read;
        // No shaft turns before the needle's position is debounced: on a small part the board
        // is at rest sooner.
        let debounce_us = u64::from(fitting().settings.needle_debounce_ms) * 1_000;
        let turns_us = self.now_us + debounce_us + 1;
        let rested = self.rest(&mut |bench: &Self| {
            if up.ready_us.is_none() && bench.board().is_ready() {
                up.ready_us = Some(bench.now_us);
                up.bytes_read = bench.bus.tally().bytes_read - read_before;
            }
        });
        self.pass_to(turns_us.max(self.now_us), &mut |_| {});
        up.past = self.board().past().copied();
        self.found(up.past.as_ref());
        let now = CommandFigures::of(self.board().ledger());
        let ledger = self.board().ledger();
        let latest = truth.plus(&up.between);
        let is_after = |pending: &CommandFigures, now: &CommandFigures| {
            pending.are(now)
                || condition.is_disturbed && pending.came_late(&before, now, &latest, ledger)
        };
        up.broken = if !rested {
            Some("the board does not come to rest".into())
        } else if had_begun && now != before && !pending.is_some_and(|p| is_after(&p, &now)) {
            Some(format!("neither before nor after: {}", difference(&before, &now)))
        } else if had_begun
            && !condition.is_disturbed
            && !condition.is_damaged
            && let named = faults_of_the_part(self.board().faults(), condition)
            && !named.is_empty()
        {
            Some(format!("a fault on a sound part: {named:?}"))
        } else {
            None
        };
        self.figures = now;
        up
    }
}
