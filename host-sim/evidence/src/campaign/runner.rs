//! Plays scripts on a subject, behind one interface for all of them: a board with sound rules,
//! a board that is broken on purpose, or a store that somebody brought.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::marker::PhantomData;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, PoisonError};

use super::life;
use super::run::{Ran, run};
use super::script::{Script, Start};
use super::subject::Subject;
use crate::prove::sabotage::Sabotage;
use crate::prove::sabotage::switches::Sabotaged;
use shaftbook_core::rules::Sound;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::under_test::UnderTest;

thread_local! {
    static PLAYING: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread plays a script now: a panic is then what was looked for.
#[must_use]
pub fn is_playing() -> bool {
    PLAYING.get()
}

/// Plays scripts on a subject.
pub trait Runner: Send + Sync {
    /// The subject's name, as reports show it.
    fn subject(&self) -> String;

    /// Plays `script`. A subject that panics has failed.
    fn play(&self, script: &Script) -> Ran;
}

/// The runner of subjects `S`. Boards that were aged once are kept, to start from.
pub struct On<S: Subject> {
    aged: Mutex<BTreeMap<Start, Arc<S::Aged>>>,
    subject: PhantomData<fn() -> S>,
}

impl<S: Subject> On<S> {
    /// A runner that has aged no board yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { aged: Mutex::new(BTreeMap::new()), subject: PhantomData }
    }

    fn aged(&self, start: &Start) -> Arc<S::Aged> {
        let kept = |map: &BTreeMap<Start, Arc<S::Aged>>| map.get(start).cloned();
        if let Some(aged) = kept(&self.aged.lock().unwrap_or_else(PoisonError::into_inner)) {
            return aged;
        }
        // Without the lock: two that need the same one both make it, equal.
        let aged = Arc::new(S::age(start));
        let mut map = self.aged.lock().unwrap_or_else(PoisonError::into_inner);
        map.entry(*start).or_insert(aged).clone()
    }
}

impl<S: Subject> Default for On<S> {
    fn default() -> Self {
        Self::new()
    }
}

impl<S: Subject> Runner for On<S> {
    fn subject(&self) -> String {
        S::NAME.to_owned()
    }

    fn play(&self, script: &Script) -> Ran {
        if script.life.is_some() {
            let seen = Some(format!("{} has no lives", S::NAME));
            return Ran { seen, ..Ran::default() };
        }
        guarded(|| run(S::resume(&self.aged(&script.start)), script))
    }
}

/// What `play` gives; a panic in it is a failure.
fn guarded(play: impl FnOnce() -> Ran) -> Ran {
    PLAYING.set(true);
    let played = catch_unwind(AssertUnwindSafe(play));
    PLAYING.set(false);
    played.unwrap_or_else(|panic| {
        let said = panic
            .downcast_ref::<String>()
            .map(String::as_str)
            .or_else(|| panic.downcast_ref::<&str>().copied())
            .unwrap_or("without a word");
        Ran { seen: Some(format!("panicked: {said}")), ..Ran::default() }
    })
}

/// The runner of our board: on the bare core or the whole firmware, as a script says.
pub struct Ours<R: UnderTest> {
    core: On<Bench<Core<R>>>,
    firmware: On<Bench<Firmware<R>>>,
}

impl<R: UnderTest> Ours<R> {
    /// A runner that has aged no board yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { core: On::new(), firmware: On::new() }
    }
}

impl<R: UnderTest> Default for Ours<R> {
    fn default() -> Self {
        Self::new()
    }
}

impl<R: UnderTest> Runner for Ours<R> {
    fn subject(&self) -> String {
        self.core.subject()
    }

    fn play(&self, script: &Script) -> Ran {
        match &script.life {
            Some(life) => guarded(|| life::play::play::<R>(life)),
            None if script.firmware => self.firmware.play(script),
            None => self.core.play(script),
        }
    }
}

/// The runner of a board that is broken on purpose.
pub struct Broken {
    sabotage: &'static Sabotage,
    on: Ours<Sabotaged>,
}

impl Runner for Broken {
    fn subject(&self) -> String {
        self.sabotage.name.to_owned()
    }

    fn play(&self, script: &Script) -> Ran {
        self.sabotage.take_effect();
        self.on.play(script)
    }
}

/// The runner of our board; of a broken one, if one is named.
#[must_use]
pub fn of(broken: Option<&'static Sabotage>) -> Box<dyn Runner> {
    match broken {
        None => Box::new(Ours::<Sound>::new()),
        Some(sabotage) => Box::new(Broken { sabotage, on: Ours::new() }),
    }
}

/// The runner of the subject called `name`: our board or a broken one.
///
/// # Errors
/// There is none of that name.
pub fn named(name: &str) -> Result<Box<dyn Runner>, String> {
    if name == Bench::<Core<Sound>>::NAME {
        return Ok(of(None));
    }
    name.parse().map(|sabotage| of(Some(sabotage)))
}
