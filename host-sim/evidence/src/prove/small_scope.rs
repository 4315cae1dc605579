//! Proof 14: everything that can happen to a store in a small scope, without drawing.
//!
//! From each [`starts::Start`] on the smallest ring, 64 slots, every path of power-ups is gone,
//! up to a number of cuts and of records: every sequence of records, a cut in every program
//! cycle (a cut at any other bus byte leaves what a cut in the cycle before or after it may
//! leave), every tear of the level's list, and the same again in each recovery. Parts that hold
//! the same bytes, and of which the same is known, are one state. Each state is powered up and
//! must pass the checks of [`world`].
//!
//! The seed changes nothing. The states of one start are searched on one core, breadth first:
//! by cuts, then by records. So the first path that fails is a shortest one from its start.
//!
//! - [`path`]: a path in words and as a number
//! - [`starts`]: where the searches begin
//! - [`world`]: one power-up, and what may never be
//! - this file: the search, its bounds, and the replay of a path

pub mod path;
pub mod starts;
pub mod world;

use std::collections::HashSet;
use std::hash::{DefaultHasher, Hash, Hasher};

use shaftbook_core::rules::Rules;

use self::path::{AT_BORDERS, CYCLES_MAX, Cut, EVERY, FEW, FEWEST, Leg, Record};
use self::starts::Start;
use self::world::{Cycle, Known, SLOTS, Slot, World};
use super::{CaseId, FailedCase, Run};

/// How far the search goes.
#[derive(Clone, Copy, Debug)]
pub struct Scope {
    /// Records in a path, beside those that a power-up makes by itself.
    pub records: usize,
    /// The tears of each cut of a path: as many lists as a path has cuts.
    pub tears: &'static [&'static [u8]],
    /// Whether after the first power-up each slot is lost or overwritten too.
    pub decays: bool,
}

impl Scope {
    /// One cut, and one of its recovery.
    pub const QUICK: &'static [Self] =
        &[Self { records: 1, tears: &[&AT_BORDERS, &FEWEST], decays: true }];
    /// Two searches: every tear of the first cut, and one cut of its recovery; then three
    /// nested cuts of the recoveries, with fewer tears. A state of both counts in both.
    pub const FULL: &'static [Self] = &[
        Self { records: 1, tears: &[&EVERY, &FEW], decays: true },
        Self { records: 1, tears: &[&AT_BORDERS, &FEWEST, &FEWEST, &FEWEST], decays: false },
    ];
}

/// The image of a state: the slots in which it is not that of its start.
type Changed = Vec<(u8, Slot)>;

/// A part without supply.
#[derive(Clone, Debug)]
struct State {
    changed: Changed,
    known: Known,
    path: Vec<Leg>,
}

impl State {
    fn key(&self) -> u128 {
        let half = |salt: u64| {
            let mut hasher = DefaultHasher::new();
            (salt, &self.changed, &self.known).hash(&mut hasher);
            hasher.finish()
        };
        u128::from(half(1)) << 64 | u128::from(half(2))
    }

    fn records(&self) -> usize {
        self.path.iter().map(|leg| leg.records.len()).sum()
    }
}

/// The search from one start.
struct Search<'a> {
    start: Start,
    slots: &'a [Slot],
}

/// Proof 14.
pub fn small_scope<R: Rules + Clone>(run: &mut Run) {
    let Some(start) = Start::ALL.get(run.number as usize).copied() else { return };
    let scopes = if run.quick { Scope::QUICK } else { Scope::FULL };
    let (slots, known) = match start.state::<R>() {
        Ok(state) => state,
        Err(what) => return run.case(|| Err(what)),
    };
    let search = Search { start, slots: &slots };
    let root = State { changed: Vec::new(), known, path: Vec::new() };
    if let Some(number) = run.only {
        run.cases = number;
        if let Some(path) = path::of_number(number) {
            run.cases += 1;
            if let Err(what) = search.replay::<R>(root, &path) {
                search.failed(run, &path, &what);
            }
        }
        return;
    }
    for scope in scopes {
        if !run.is_over() {
            search.all::<R>(run, root.clone(), scope);
        }
    }
}

impl Search<'_> {
    /// Level by level: a level has one cut more than the one before.
    fn all<R: Rules + Clone>(&self, run: &mut Run, root: State, scope: &Scope) {
        let mut seen = HashSet::from([root.key()]);
        let mut transitions = 0_u64;
        run.cases += 1;
        if let Err(what) = self.check::<R>(&root) {
            return self.failed(run, &root.path, &what);
        }
        let mut level = vec![root];
        for (depth, tears) in scope.tears.iter().enumerate() {
            let is_last = depth + 1 == scope.tears.len();
            let mut next = Vec::new();
            for records in 0..=scope.records {
                for state in &level {
                    let Some(more) = records.checked_sub(state.records()) else { continue };
                    let decays = scope.decays && depth == 0;
                    let mut failure = None;
                    self.expand::<R>(state, more, tears, decays, &mut |outcome| {
                        if failure.is_some() {
                            return;
                        }
                        transitions += 1;
                        match outcome {
                            Ok(child) => {
                                if !seen.insert(child.key()) {
                                    return;
                                }
                                run.cases += 1;
                                if let Err(what) = self.check::<R>(&child) {
                                    failure = Some((child.path, what));
                                } else if !is_last {
                                    next.push(child);
                                }
                            }
                            Err(failed) => failure = Some(failed),
                        }
                    });
                    if let Some((path, what)) = failure {
                        return self.failed(run, &path, &what);
                    }
                    if run.is_over() {
                        return;
                    }
                }
            }
            level = next;
        }
        run.figure("states from one start", seen.len() as f64);
        run.figure("transitions from one start", transitions as f64);
    }

    /// Powers a state up and lets it come to rest.
    fn power_up<R: Rules + Clone>(&self, state: &State) -> World<R> {
        let mut slots = self.slots.to_vec();
        for (slot, bytes) in &state.changed {
            slots[usize::from(*slot)] = *bytes;
        }
        let mut world = World::powered(slots, state.known.clone());
        world.work();
        world
    }

    fn check<R: Rules + Clone>(&self, state: &State) -> Result<(), String> {
        self.power_up::<R>(state).violation.map_or(Ok(()), Err)
    }

    /// All states to which `state` leads with `more` records and one cut.
    fn expand<R: Rules + Clone>(
        &self,
        state: &State,
        more: usize,
        tears: &[u8],
        decays: bool,
        found: &mut impl FnMut(Result<State, (Vec<Leg>, String)>),
    ) {
        let world = self.power_up::<R>(state);
        let mut sequences: Vec<(Vec<Record>, World<R>)> = vec![(Vec::new(), world)];
        for _ in 0..more {
            let mut longer = Vec::new();
            for (records, world) in sequences {
                for record in Record::ALL {
                    let (mut records, mut world) = (records.clone(), world.clone());
                    records.push(record);
                    world.record(record);
                    if let Some(what) = world.violation {
                        let leg = Leg { records, cut: Cut::AtRest };
                        return found(Err((with(&state.path, leg), what)));
                    }
                    longer.push((records, world));
                }
            }
            sequences = longer;
        }
        for (records, world) in &sequences {
            let mut go = |cut| {
                let leg = Leg { records: records.clone(), cut };
                if let Some(child) = self.child(state, world, leg) {
                    found(Ok(child));
                }
            };
            for cycle in 1..=world.cycles.len().min(usize::from(CYCLES_MAX)) {
                for tear in tears {
                    go(Cut::InCycle(cycle as u8, *tear));
                }
            }
            go(Cut::AtRest);
            if decays {
                (0..SLOTS as u8).for_each(|slot| go(Cut::SlotLost(slot)));
                (0..SLOTS as u8).for_each(|slot| go(Cut::SlotAstray(slot)));
            }
        }
    }

    /// What `leg` leaves, at whose end `world` is, having come from `state`.
    fn child<R: Rules + Clone>(&self, state: &State, world: &World<R>, leg: Leg) -> Option<State> {
        let mut slots = world.slots.clone();
        let known = match leg.cut {
            Cut::AtRest => world.known(),
            Cut::SlotLost(slot) => {
                slots[usize::from(slot)] = [0xFF; world::RECORD_BYTES];
                hurt(world)
            }
            Cut::SlotAstray(slot) => {
                let newest = usize::from(world.store().head().slot) + SLOTS - 1;
                slots[usize::from(slot)] = slots[newest % SLOTS];
                hurt(world)
            }
            Cut::InCycle(number, tear) => {
                let after = world.cycles.get(usize::from(number).checked_sub(1)?..)?;
                let cycle: &Cycle = after.first()?;
                // Back to when it began.
                for later in after.iter().rev() {
                    slots[usize::from(later.slot)] = later.before;
                }
                path::tear(tear).apply(&mut slots[usize::from(cycle.slot)], &cycle.after);
                if cycle.known.stuck.contains(&cycle.slot) {
                    slots[usize::from(cycle.slot)] = cycle.before;
                }
                cycle.known.clone()
            }
        };
        let pairs = slots.iter().zip(self.slots).enumerate();
        let changed = pairs.filter(|(_, (now, then))| now != then);
        let changed = changed.map(|(slot, (now, _))| (slot as u8, *now)).collect();
        Some(State { changed, known, path: with(&state.path, leg) })
    }

    /// Goes one path, and powers up at its end.
    fn replay<R: Rules + Clone>(&self, root: State, path: &[Leg]) -> Result<(), String> {
        let mut state = root;
        for leg in path {
            let mut world = self.power_up::<R>(&state);
            for record in &leg.records {
                if world.violation.is_none() {
                    world.record(*record);
                }
            }
            if let Some(what) = world.violation {
                return Err(what);
            }
            state = self.child(&state, &world, leg.clone()).ok_or("there is no such cut")?;
        }
        self.check::<R>(&state)
    }

    fn failed(&self, run: &mut Run, path: &[Leg], what: &str) {
        let legs: Vec<String> = path.iter().map(ToString::to_string).collect();
        let legs = if legs.is_empty() { String::new() } else { legs.join("; ") + "; " };
        let case = path::number_of(path).unwrap_or(u64::MAX);
        let seen = format!("from {:?}: {legs}power-up: {what}", self.start);
        run.failure = Some(FailedCase { id: CaseId { case, ..run.id }, seen });
        run.first_failed.fetch_min(run.number, std::sync::atomic::Ordering::Relaxed);
    }
}

/// What is known when a slot goes bad at rest: its record may be the newest.
fn hurt<R: Rules + Clone>(world: &World<R>) -> Known {
    Known { is_hurt: true, acknowledged: world.earlier, ..world.known() }
}

fn with(path: &[Leg], leg: Leg) -> Vec<Leg> {
    let mut path = path.to_vec();
    path.push(leg);
    path
}
