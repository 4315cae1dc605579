//! Proof 14: everything that can happen to a store in a small scope, without drawing.
//!
//! From each [`starts::Start`] on the smallest ring, 64 slots, every path of power-ups is gone,
//! up to a number of cuts and of records: every sequence of records, a cut in every program
//! cycle (a cut at any other bus byte leaves what a cut in the cycle before or after it may
//! leave: a test tries every one), every tear of the level's list, and the same again in each
//! recovery. Parts that hold the same bytes, and of which the same is known, are one state. Each
//! state is powered up and must pass the checks of [`world`].
//!
//! The seed changes nothing. The states of one start are searched on one core, breadth first:
//! by cuts, then by records. So the first path that fails is a shortest one from its start.
//!
//! - [`path`]: a path in words and as a number
//! - [`scope`]: how far the searches go
//! - [`starts`]: where the searches begin
//! - [`slots`]: the part, with and without a bus
//! - [`world`]: one power-up, and what may never be
//! - `key`: what tells states apart
//! - this file: the search, and the replay of a path

mod key;
pub mod path;
pub mod scope;
pub mod slots;
pub mod starts;
#[cfg(test)]
mod tests;
pub mod world;

use std::collections::HashSet;
use std::rc::Rc;

use shaftbook_core::codec::frame::RECORD_BYTES;
use shaftbook_core::rules::Rules;

use self::key::key;
use self::path::{CYCLES_MAX, Cut, Leg, Record};
use self::scope::{Scope, scopes};
use self::slots::{Image, SLOTS, Slot, Wire};
use self::starts::Start;
use self::world::{Cycle, Known, World};
use super::{CaseId, FailedCase, Run};

/// A part without supply.
#[derive(Clone, Debug)]
struct State {
    image: Image,
    known: Rc<Known>,
    path: Vec<Leg>,
}

impl State {
    /// Equal for equal states.
    fn key(&self) -> u128 {
        key_of(self.image.key(), key(&*self.known))
    }

    /// Records of its path.
    fn records(&self) -> usize {
        self.path.iter().map(|leg| leg.records.len()).sum()
    }
}

/// The key of a state, of those of its image and of what is known.
fn key_of(image: u128, known: u128) -> u128 {
    image.wrapping_add(known.rotate_left(1))
}

/// What one search brought.
#[derive(Debug, Default)]
struct Searched {
    /// The states met, each with the records of the path on which it was met.
    seen: HashSet<(u128, u8)>,
    /// Cuts tried.
    transitions: u64,
    /// It was told to stop.
    is_stopped: bool,
    /// The path that failed, and how.
    failure: Option<(Vec<Leg>, String)>,
}

/// Proof 14.
pub fn small_scope<R: Rules + Clone>(run: &mut Run) {
    let Some(start) = Start::ALL.get(run.number as usize).copied() else { return };
    let root = match start.state::<R>() {
        Ok((image, known)) => State { image, known: Rc::new(known), path: Vec::new() },
        Err(what) => return run.case(|| Err(what)),
    };
    if let Some(number) = run.only {
        run.cases = number;
        if let Some(path) = path::of_number(number) {
            run.cases += 1;
            if let Err(what) = replay::<R>(root, &path) {
                failed(run, start, &path, &what);
            }
        }
        return;
    }
    let (mut checked, mut transitions) = (HashSet::new(), 0);
    for scope in scopes(run.quick) {
        let searched = search::<R>(&root, scope, true, &mut |state| {
            if !checked.insert(state) {
                return Checked::Before;
            }
            run.cases += 1;
            if run.is_over() { Checked::NoMore } else { Checked::Now }
        });
        transitions += searched.transitions;
        if let Some((path, what)) = searched.failure {
            return failed(run, start, &path, &what);
        }
    }
    run.figure("states from one start", checked.len() as f64);
    run.figure("cuts from one start", transitions as f64);
}

/// What is to be done with a state that was met for the first time in a search.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Checked {
    /// Check it.
    Now,
    /// It was checked in another search.
    Before,
    /// The search is over.
    NoMore,
}

/// Searches level by level: a level has one cut more than the one before. With `once`, states
/// that are equal are one. `meet` is told the key of each state that is met.
fn search<R: Rules + Clone>(
    root: &State,
    scope: &Scope,
    once: bool,
    meet: &mut impl FnMut(u128) -> Checked,
) -> Searched {
    let mut searched = Searched::default();
    let mut level = Vec::new();
    if searched.is_new(root.key(), 0, once) {
        searched.meet::<R>(root.clone(), meet, &mut level);
    }
    for (depth, tears) in scope.tears.iter().enumerate() {
        let is_last = depth + 1 == scope.tears.len();
        let decays = scope.decays && depth == 0;
        let mut next = Vec::new();
        for records in 0..=scope.records {
            for state in &level {
                let Some(more) = records.checked_sub(state.records()) else { continue };
                expand::<R>(state, more, tears, decays, &mut |outcome| {
                    if searched.is_over() {
                        return;
                    }
                    searched.transitions += 1;
                    match outcome {
                        Ok((key, child)) => {
                            if searched.is_new(key, records, once) {
                                searched.meet::<R>(child(), meet, &mut next);
                            }
                        }
                        Err(failed) => searched.failure = Some(failed),
                    }
                    if is_last {
                        next.clear();
                    }
                });
                if searched.is_over() {
                    return searched;
                }
            }
        }
        level = next;
    }
    searched
}

impl Searched {
    fn is_over(&self) -> bool {
        self.failure.is_some() || self.is_stopped
    }

    /// Whether a state is one that has to be looked at.
    fn is_new(&mut self, key: u128, records: usize, once: bool) -> bool {
        self.seen.insert((key, records as u8)) || !once
    }

    /// Checks a state that is new.
    fn meet<R: Rules + Clone>(
        &mut self,
        state: State,
        meet: &mut impl FnMut(u128) -> Checked,
        level: &mut Vec<State>,
    ) {
        match meet(state.key()) {
            Checked::NoMore => self.is_stopped = true,
            Checked::Now => {
                if let Some(what) = power_up::<R>(&state).violation {
                    self.failure = Some((state.path, what));
                    return;
                }
            }
            Checked::Before => {}
        }
        level.push(state);
    }
}

/// Powers a state up and lets it come to rest.
fn power_up<R: Rules + Clone>(state: &State) -> World<R> {
    let mut world = World::powered(state.image.clone(), (*state.known).clone());
    world.work();
    world
}

/// All states to which `state` leads with `more` records and one cut, each by its key.
fn expand<R: Rules + Clone>(
    state: &State,
    more: usize,
    tears: &[u8],
    decays: bool,
    found: &mut impl FnMut(Result<(u128, &dyn Fn() -> State), (Vec<Leg>, String)>),
) {
    let mut sequences: Vec<(Vec<Record>, World<R>)> = vec![(Vec::new(), power_up(state))];
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
        let path = |cut| with(&state.path, Leg { records: records.clone(), cut });
        for (number, Rewound { image, cycle }) in rewound(world) {
            let known = Rc::new(cycle.known.clone());
            let known_key = key(&*known);
            for tear in tears {
                let torn = torn(cycle, *tear);
                let slot = usize::from(cycle.begun.slot);
                let child = || {
                    let mut image = image.clone();
                    image.set(slot, torn);
                    let path = path(Cut::InCycle(number, *tear));
                    State { image, known: Rc::clone(&known), path }
                };
                found(Ok((key_of(image.key_with(slot, &torn), known_key), &child)));
            }
        }
        let mut at_rest = |cut| {
            let (image, known) = left_at_rest(world, cut);
            let known = Rc::new(known);
            let key = key_of(image.key(), key(&*known));
            let child =
                || State { image: image.clone(), known: Rc::clone(&known), path: path(cut) };
            found(Ok((key, &child)));
        };
        at_rest(Cut::AtRest);
        if decays {
            (0..SLOTS as u8).for_each(|slot| at_rest(Cut::SlotLost(slot)));
            (0..SLOTS as u8).for_each(|slot| at_rest(Cut::SlotAstray(slot)));
        }
    }
}

/// A program cycle, and the image when it began.
struct Rewound<'a> {
    image: Image,
    cycle: &'a Cycle,
}

/// The cycles of a power-up, the first first, each with its number.
fn rewound<R: Rules + Clone>(world: &World<R>) -> Vec<(u8, Rewound<'_>)> {
    let mut image = world.part.image().clone();
    let cycles = (1_u8..).zip(&world.cycles).collect::<Vec<_>>().into_iter().rev();
    let mut all: Vec<_> = cycles
        .map(|(number, cycle)| {
            image.set(cycle.begun.slot.into(), cycle.begun.before);
            (number, Rewound { image: image.clone(), cycle })
        })
        .collect();
    all.reverse();
    all.truncate(CYCLES_MAX.into());
    all
}

/// What the slot of `cycle` holds when it was cut.
fn torn(cycle: &Cycle, tear: u8) -> Slot {
    let mut torn = cycle.begun.before;
    if !cycle.known.stuck.contains(&cycle.begun.slot) {
        path::tear(tear).apply(&mut torn, &cycle.begun.after);
    }
    torn
}

/// What a cut at rest leaves; nothing else is one.
fn left_at_rest<R: Rules + Clone>(world: &World<R>, cut: Cut) -> (Image, Known) {
    let mut image = world.part.image().clone();
    match cut {
        Cut::AtRest | Cut::InCycle(..) => return (image, world.known()),
        Cut::SlotLost(slot) => image.set(slot.into(), [0xFF; RECORD_BYTES]),
        Cut::SlotAstray(slot) => {
            let newest = usize::from(world.store().head().slot) + SLOTS - 1;
            let newest = *image.slot(newest);
            image.set(slot.into(), newest);
        }
    }
    // The slot that went bad may be that of the newest record.
    let known = Known { is_hurt: true, acknowledged: world.earlier, ..world.known() };
    (image, known)
}

/// What `leg` leaves, at whose end `world` is, having come from `state`; `None` if it has no
/// such cycle.
fn child<R: Rules + Clone>(state: &State, world: &World<R>, leg: Leg) -> Option<State> {
    let (image, known) = match leg.cut {
        Cut::InCycle(number, tear) => {
            let found = rewound(world).into_iter().find(|(it, _)| *it == number);
            let (_, Rewound { mut image, cycle }) = found?;
            image.set(cycle.begun.slot.into(), torn(cycle, tear));
            (image, cycle.known.clone())
        }
        at_rest => left_at_rest(world, at_rest),
    };
    Some(State { image, known: Rc::new(known), path: with(&state.path, leg) })
}

/// Goes one path, and powers up at its end.
fn replay<R: Rules + Clone>(root: State, path: &[Leg]) -> Result<(), String> {
    let mut state = root;
    for leg in path {
        let mut world = power_up::<R>(&state);
        for record in &leg.records {
            if world.violation.is_none() {
                world.record(*record);
            }
        }
        if let Some(what) = world.violation {
            return Err(what);
        }
        state = child(&state, &world, leg.clone()).ok_or("there is no such cut")?;
    }
    power_up::<R>(&state).violation.map_or(Ok(()), Err)
}

fn failed(run: &mut Run, start: Start, path: &[Leg], what: &str) {
    let legs: Vec<String> = path.iter().map(ToString::to_string).collect();
    let legs = if legs.is_empty() { String::new() } else { legs.join("; ") + "; " };
    let case = path::number_of(path).unwrap_or(u64::MAX);
    let seen = format!("from {start:?}: {legs}power-up: {what}");
    run.failure = Some(FailedCase { id: CaseId { case, ..run.id }, seen });
    run.first_failed.fetch_min(run.number, std::sync::atomic::Ordering::Relaxed);
}

fn with(path: &[Leg], leg: Leg) -> Vec<Leg> {
    let mut path = path.to_vec();
    path.push(leg);
    path
}
