//! Random lives of a board on the real driver and the modelled bus: sewing, renewals, services
//! with right, wrong and stale replies, warnings, cuts at any moment with any tear, cuts in the
//! recovery, bad pages, a bus that is dead or refuses for a while. An independent witness says
//! what must hold.
//!
//! The witness knows what was fed in and what was reported as durable, and nothing of how it is
//! stored.

use proptest::prelude::*;
use proptest_state_machine::{ReferenceStateMachine, StateMachineTest};
use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::component::Measure;
use shaftbook_core::counters::Counters;
use shaftbook_core::input::Level;
use shaftbook_core::journal::{ComponentSet, Event};
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_world::bus::{Answers, Part, Stuck, Tear};
use system_tests::bench::{Bench, fitting};

/// What a cut falls into.
#[derive(Clone, Copy, Debug)]
enum Doing {
    Nothing,
    Sewing,
    Trimming,
    Renewing,
    Serving,
    Warned,
}

/// The reply given with a command.
#[derive(Clone, Copy, Debug)]
enum Reply {
    Right,
    Wrong,
    /// Right for a challenge that has been replaced since.
    Stale,
}

#[derive(Clone, Copy, Debug)]
enum Damage {
    Flip(u32, u64),
    Garbage(u8),
    StuckOld,
    Stuck(u8),
}

#[derive(Clone, Debug)]
enum Step {
    Sew {
        needle: u8,
        stitches: u64,
        period_us: u64,
    },
    Trim(u8),
    Break,
    Wait {
        ms: u64,
    },
    Renew(u32),
    RenewEngineers(Reply),
    Serve(Reply),
    ServeWithout,
    WarnAndSurvive,
    /// Cut after `us`, and then as often again as there are `again`, each that long
    /// after its power-up.
    Cut {
        doing: Doing,
        us: u64,
        tear: u64,
        pessimistic: bool,
        again: Vec<u64>,
    },
    /// Damage to the page this many slots behind the head.
    Damage {
        behind: u16,
        how: Damage,
    },
    /// The bus is dead while sewing.
    Dead {
        held: bool,
        stitches: u64,
    },
    Refusing {
        per_cent: u8,
        stitches: u64,
    },
}

/// What decides which steps are legal: one damage between two boots.
#[derive(Clone, Debug)]
struct Script {
    size_bytes: u32,
    page_bytes: u16,
    idle_min: u16,
    seed: u64,
    is_damaged: bool,
    stuck: u8,
}

impl ReferenceStateMachine for Script {
    type State = Self;
    type Transition = Step;

    fn init_state() -> BoxedStrategy<Self> {
        let shape = prop_oneof![
            4 => Just((8_192, 64)),
            2 => Just((32_768, 64)),
            1 => Just((8_192, 128)),
            1 => Just((8_192, 16)),
            1 => Just((16_384, 256)),
            1 => Just((65_536, 64)),
        ];
        (shape, 0..600_u16, any::<u64>())
            .prop_map(|((size_bytes, page_bytes), idle_min, seed)| Self {
                size_bytes,
                page_bytes,
                idle_min,
                seed,
                is_damaged: false,
                stuck: 0,
            })
            .no_shrink()
            .boxed()
    }

    fn transitions(state: &Self) -> BoxedStrategy<Step> {
        let sew = (1..=15_u8, 1..200_u64, 30_000..150_000_u64)
            .prop_map(|(needle, stitches, period_us)| Step::Sew { needle, stitches, period_us });
        let reply = || prop_oneof![3 => Just(Reply::Right), 2 => Just(Reply::Wrong), 1 => Just(Reply::Stale)];
        let doing = prop_oneof![
            Just(Doing::Nothing),
            Just(Doing::Sewing),
            Just(Doing::Trimming),
            Just(Doing::Renewing),
            Just(Doing::Serving),
            Just(Doing::Warned),
        ];
        let us = prop_oneof![0..40_000_u64, 0..300_000_u64, 0..13_000_000_u64];
        let again = prop::collection::vec(0..250_000_u64, 0..4);
        let cut = (doing, us, any::<u64>(), any::<bool>(), again).prop_map(
            |(doing, us, tear, pessimistic, again)| Step::Cut {
                doing,
                us,
                tear,
                pessimistic,
                again,
            },
        );
        let how = prop_oneof![
            (1..9_u32, any::<u64>()).prop_map(|(bits, seed)| Damage::Flip(bits, seed)),
            any::<u8>().prop_map(Damage::Garbage),
            Just(Damage::StuckOld),
            any::<u8>().prop_map(Damage::Stuck),
        ];
        let damage = (0..150_u16, how).prop_map(|(behind, how)| Step::Damage { behind, how });
        let dead =
            (any::<bool>(), 1..400_u64).prop_map(|(held, stitches)| Step::Dead { held, stitches });
        let refusing = (1..40_u8, 1..400_u64)
            .prop_map(|(per_cent, stitches)| Step::Refusing { per_cent, stitches });
        // Where none is legal, the precondition drops it.
        let damages = if state.is_damaged || state.stuck >= 4 { 1 } else { 3 };
        prop_oneof![
            6 => sew,
            1 => (1..70_u8).prop_map(Step::Trim),
            1 => Just(Step::Break),
            2 => (1..70_000_u64).prop_map(|ms| Step::Wait { ms }),
            3 => (1..4_u32).prop_map(|n| Step::Renew([1, 8, 9][n as usize - 1])),
            1 => reply().prop_map(Step::RenewEngineers),
            2 => reply().prop_map(Step::Serve),
            1 => Just(Step::ServeWithout),
            2 => Just(Step::WarnAndSurvive),
            8 => cut,
            damages => damage,
            1 => dead,
            1 => refusing,
        ]
        .no_shrink()
        .boxed()
    }

    fn apply(mut state: Self, step: &Step) -> Self {
        match step {
            Step::Cut { .. } => state.is_damaged = false,
            Step::Damage { how, .. } => {
                state.is_damaged = true;
                state.stuck += u8::from(!matches!(how, Damage::Flip(..)));
            }
            _ => {}
        }
        state
    }

    fn preconditions(state: &Self, step: &Step) -> bool {
        !matches!(step, Step::Damage { .. }) || (!state.is_damaged && state.stuck < 4)
    }
}

/// A command taken by the board and not yet reported durable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Asked {
    event: Event,
    renewed: ComponentSet,
    at: Counters,
    is_right: bool,
}

/// A board and what is known of it from outside.
struct Witness {
    bench: Bench,
    /// What it said of the past at its last power-up.
    past: Counters,
    /// Counters reported durable, newest last.
    durable: Vec<Counters>,
    baselines: Vec<u64>,
    services: u16,
    tries: u8,
    asked: Option<Asked>,
    retired: Vec<u16>,
    seen: usize,
    /// Something has been wrong with the part since power-up.
    is_hurt: bool,
    /// A page has ever been damaged.
    was_hurt: bool,
}

impl Witness {
    fn board_baselines(&self) -> Vec<u64> {
        self.bench.board.ledger().components.iter().map(|c| c.baseline).collect()
    }

    fn lifetime(&self) -> Counters {
        self.bench.board.lifetime(self.bench.now()).expect("known")
    }

    /// Takes note of what the board has reported.
    fn note(&mut self) {
        for effect in &self.bench.effects[self.seen..] {
            match effect {
                Effect::CheckpointDurable(counters) | Effect::LedgerDurable(counters) => {
                    self.durable.push(*counters);
                }
                Effect::EntryDurable { event: Event::Served, .. } => {
                    let asked = self.asked.take().expect("a service that was asked for");
                    assert!(asked.event == Event::Served && asked.is_right, "served: {asked:?}");
                    self.services += 1;
                    self.tries = 0;
                    self.baselines =
                        self.bench.board.ledger().components.iter().map(|c| c.baseline).collect();
                }
                Effect::EntryDurable { event: Event::Renewed, .. } => {
                    let asked = self.asked.take().expect("a renewal that was asked for");
                    assert!(asked.event == Event::Renewed && asked.is_right, "renewed: {asked:?}");
                    if asked.renewed.contains(1) {
                        self.tries = 0;
                    }
                    self.baselines =
                        self.bench.board.ledger().components.iter().map(|c| c.baseline).collect();
                }
                Effect::EntryDurable { event: Event::ReplyTried, .. } => self.tries += 1,
                Effect::ReplyRefused => {
                    let asked = self.asked.take().expect("a reply");
                    assert!(!asked.is_right, "a right reply was refused");
                }
                _ => {}
            }
        }
        self.seen = self.bench.effects.len();
    }

    /// What holds while the board runs and rests.
    fn check_running(&mut self) {
        self.note();
        let session = self.bench.board.session(self.bench.now());
        assert_eq!(session, self.bench.true_session(), "what is counted is what was fed");
        if let Some(lifetime) = self.bench.board.lifetime(self.bench.now()) {
            assert_eq!(lifetime, self.past.plus(&session));
            if let Some(durable) = self.durable.last() {
                assert!(durable.at_most(&lifetime), "durable above the truth");
            }
        }
    }

    fn ask(&mut self, event: Event, renewed: ComponentSet, reply: Option<Reply>) {
        // Let the board come to rest first, and any wait be over.
        self.bench.advance_us(300_000);
        self.note();
        if !self.bench.board.is_ready() || self.asked.is_some() || self.bench.is_cut() {
            return;
        }
        let allows = match event {
            Event::Renewed => Authorised::Renew(renewed),
            _ => Authorised::Service,
        };
        let digits = reply.map(|reply| {
            let right = self.bench.right_reply(allows);
            match reply {
                Reply::Right => right,
                Reply::Wrong => EightDigits::new(right.get() ^ 1).expect("eight digits"),
                Reply::Stale => {
                    self.bench.advance_us(1_000);
                    let newer = self.bench.right_reply(allows);
                    if newer == right {
                        EightDigits::new(right.get() ^ 1).expect("eight digits")
                    } else {
                        right
                    }
                }
            }
        });
        let command = match event {
            Event::Served => Command::Service { reply: digits },
            _ => Command::Renew { components: renewed, reply: digits },
        };
        let at = self.lifetime();
        match self.bench.board.request(self.bench.now(), command) {
            Ok(()) => {
                let needs_reply =
                    event == Event::Served || renewed.contains(1) || renewed.contains(2);
                assert!(!needs_reply || reply.is_some(), "accepted without the engineer");
                let is_right = !needs_reply || matches!(reply, Some(Reply::Right));
                let renewed = if event == Event::Served { ComponentSet(0b1100) } else { renewed };
                self.asked = Some(Asked { event, renewed, at, is_right });
            }
            Err(Refusal::Wait { .. }) => {
                assert!(self.tries >= 3, "waits after {} tries", self.tries);
            }
            Err(Refusal::NeedsAuthority) => assert!(reply.is_none()),
            Err(Refusal::Busy) => assert!(self.is_hurt, "busy at rest"),
            Err(refusal) => panic!("{refusal:?}"),
        }
    }

    /// The supply goes, and comes back for `up_us` each time before it stays.
    fn cut(&mut self, tear: u64, again: &[u64]) {
        self.note();
        let page_bytes = self.bench.wired.geometry().page_bytes;
        let mut before = self.past.plus(&self.bench.true_session());
        let knew_past = self.bench.board.past().is_some();
        self.bench.reboot(Tear::draw(tear, page_bytes));
        for (n, up_us) in again.iter().enumerate() {
            self.bench.bus.cut_at_ns(self.bench.up_ns() + up_us * 1_000);
            self.bench.advance_us(*up_us + 1_000);
            self.note_short_life();
            // Each power-up may count, and its powered time with it.
            before = before.plus(&self.bench.true_session());
            self.bench.reboot(Tear::draw(tear ^ (n as u64 + 1), page_bytes));
        }
        self.bench.advance_us(3_000_000);
        self.check_recovered(&before, knew_past && again.is_empty());
    }

    /// A power-up that was cut again: what it knew of the past, it may rely on.
    fn note_short_life(&mut self) {
        let Some(past) = self.bench.board.past().copied() else { return };
        self.check_floor(&past);
        self.durable = vec![past];
        self.is_hurt = false;
        for effect in &self.bench.effects {
            if let Effect::CheckpointDurable(counters) | Effect::LedgerDurable(counters) = effect {
                self.durable.push(*counters);
            }
        }
    }

    /// A damaged page may cost the record in it, so the one before it then counts.
    fn check_floor(&self, past: &Counters) {
        let forgiven = usize::from(self.is_hurt);
        let floor = self.durable.len().checked_sub(1 + forgiven).map(|n| &self.durable[n]);
        if let Some(floor) = floor {
            assert!(floor.at_most(past), "below what was durable: {past:?} < {floor:?}");
        }
    }

    fn check_recovered(&mut self, before: &Counters, is_bounded: bool) {
        let board = &self.bench.board;
        let Some(past) = board.past().copied() else {
            panic!("nothing recovered: {:?}", board.faults());
        };
        assert!(past.at_most(before), "above the truth: {past:?} > {before:?}");
        self.check_floor(&past);
        if is_bounded && !self.is_hurt {
            let lost = before.since(&past);
            assert!(lost.running_ms <= 10_000, "lost {} ms of running", lost.running_ms);
            assert!(lost.trims <= 64, "lost {} trims", lost.trims);
        }
        self.check_ledger(before);
        if !self.was_hurt {
            assert!(board.faults().is_empty(), "a sound part: {:?}", board.faults());
        }
        let forgotten: Vec<u16> = self
            .retired
            .iter()
            .copied()
            .filter(|s| !board.store().retired().contains(*s))
            .collect();
        assert!(forgotten.is_empty(), "retired slots forgotten: {forgotten:?}");
        self.past = past;
        self.seen = 0;
        self.durable = vec![past];
        self.is_hurt = false;
        self.baselines = self.board_baselines();
        self.services = self.bench.board.ledger().services;
        self.tries = self.bench.board.ledger().tries;
        self.asked = None;
        self.check_running();
    }

    /// Services and baselines: wholly before or wholly after what was asked for last.
    fn check_ledger(&self, before: &Counters) {
        let ledger = self.bench.board.ledger();
        let pending = self.asked.filter(|asked| asked.is_right);
        let served = u16::from(pending.is_some_and(|asked| asked.event == Event::Served));
        let now = self.board_baselines();
        let is_before = now == self.baselines && ledger.services == self.services;
        let is_after = pending.is_some_and(|asked| {
            ledger.services == self.services + served
                && ledger.components.iter().enumerate().all(|(place, fitted)| {
                    if asked.renewed.contains(place) {
                        let value = |c: &Counters| fitted.component.measure.value(c, None);
                        (value(&asked.at)..=value(before)).contains(&fitted.baseline)
                    } else {
                        fitted.baseline == self.baselines[place]
                    }
                })
        });
        assert!(
            is_before || is_after,
            "half done: {now:?}, services {}; durable {:?}, {}; asked {:?}",
            ledger.services,
            self.baselines,
            self.services,
            self.asked
        );
        // After: a right reply has cleared them.
        let least = if is_after { 0 } else { self.tries };
        assert!(ledger.tries >= least, "{} tries, {least} were durable", ledger.tries);
        assert_eq!(ledger.components[0].component.measure.code(), 16);
        assert_eq!(ledger.components[1].component.measure, Measure::Trims);
    }

    fn do_while_cut_comes(&mut self, doing: Doing) {
        match doing {
            Doing::Nothing => {}
            Doing::Sewing => self.bench.sew(150, 66_667),
            Doing::Trimming => (0..70).for_each(|_| self.bench.trim()),
            Doing::Renewing => self.ask(Event::Renewed, ComponentSet(0b1001), None),
            Doing::Serving => self.ask(Event::Served, ComponentSet::default(), Some(Reply::Right)),
            Doing::Warned => {
                self.bench.sew(3, 40_000);
                self.bench.warn(Level::Active);
            }
        }
    }
}

struct StoreTest;

impl StateMachineTest for StoreTest {
    type SystemUnderTest = Witness;
    type Reference = Script;

    fn init_test(script: &Script) -> Witness {
        let geometry = Geometry { size_bytes: script.size_bytes, page_bytes: script.page_bytes };
        let mut bench = Bench::fitted_on(geometry, fitting(), script.seed);
        for _ in 0..script.idle_min {
            bench.advance_us(60_000_000);
        }
        let baselines: Vec<u64> =
            bench.board.ledger().components.iter().map(|c| c.baseline).collect();
        Witness {
            bench,
            past: Counters::default(),
            durable: Vec::new(),
            baselines,
            services: 0,
            tries: 0,
            asked: None,
            retired: Vec::new(),
            seen: 0,
            is_hurt: false,
            was_hurt: false,
        }
    }

    fn apply(mut w: Witness, _: &Script, step: Step) -> Witness {
        match step {
            Step::Sew { needle, stitches, period_us } => {
                w.bench.select(needle);
                w.bench.sew(stitches, period_us);
            }
            Step::Trim(count) => (0..count).for_each(|_| w.bench.trim()),
            Step::Break => w.bench.thread_break(),
            Step::Wait { ms } => w.bench.advance_us(ms * 1_000),
            Step::Renew(set) => w.ask(Event::Renewed, ComponentSet(set), None),
            Step::RenewEngineers(reply) => w.ask(Event::Renewed, ComponentSet(0b10), Some(reply)),
            Step::Serve(reply) => w.ask(Event::Served, ComponentSet::default(), Some(reply)),
            Step::ServeWithout => w.ask(Event::Served, ComponentSet::default(), None),
            Step::WarnAndSurvive => {
                w.bench.warn(Level::Active);
                w.bench.advance_us(40_000);
                w.bench.warn(Level::Inactive);
            }
            Step::Cut { doing, us, tear, pessimistic, again } => {
                w.bench.bus.set_tears_before_stop(pessimistic);
                if matches!(doing, Doing::Renewing | Doing::Serving) {
                    w.do_while_cut_comes(doing);
                    w.bench.bus.cut_at_ns(w.bench.bus.now_ns() + us * 1_000);
                } else {
                    w.bench.bus.cut_at_ns(w.bench.bus.now_ns() + us * 1_000);
                    w.do_while_cut_comes(doing);
                }
                w.bench.advance_us(us + 1_000);
                w.cut(tear, &again);
                return w;
            }
            Step::Damage { behind, how } => {
                w.bench.advance_us(2_000_000);
                let store = w.bench.board.store();
                let geometry = w.bench.wired.geometry();
                let slot_bytes = usize::from(geometry.page_bytes.max(64));
                let slots = geometry.size_bytes as usize / slot_bytes;
                let slot =
                    (usize::from(store.head().slot) + slots - usize::from(behind) % slots) % slots;
                let page = slot * slot_bytes / usize::from(geometry.page_bytes);
                w.note();
                let part: &mut Part = w.bench.bus.part_mut();
                match how {
                    Damage::Flip(bits, seed) => part.flip_bits_in_page(page, bits, seed),
                    Damage::Garbage(byte) => part.damage(slot * slot_bytes, &[byte; 16]),
                    Damage::StuckOld => part.stick_page(page, Stuck::KeepsOld),
                    Damage::Stuck(byte) => part.stick_page(page, Stuck::Reads(byte)),
                }
                (w.is_hurt, w.was_hurt) = (true, true);
            }
            Step::Dead { held, stitches } => {
                w.bench.bus.set_answers(if held { Answers::BusHeld } else { Answers::Nobody });
                w.bench.sew(stitches, 66_667);
                w.bench.bus.set_answers(Answers::Part);
                w.bench.advance_us(1_000_000);
            }
            Step::Refusing { per_cent, stitches } => {
                w.bench.bus.refuse_at_random(f64::from(per_cent) / 100.0);
                w.bench.sew(stitches, 66_667);
                w.bench.bus.refuse_at_random(0.0);
                w.bench.advance_us(1_000_000);
            }
        }
        w.bench.advance_us(20_000);
        w.check_running();
        // A retired slot is to be remembered once its journal entry had time.
        let retired = w.bench.board.store().retired().iter().collect();
        w.bench.advance_us(300_000);
        w.retired = retired;
        w
    }

    fn teardown(mut w: Witness, _: Script) {
        w.bench.advance_us(1_000);
        w.cut(1, &[]);
    }
}

#[test]
fn lives_of_a_board() {
    crate::machine::check::<StoreTest>("lives_of_a_board", 0x5EED_0001, 400, 40);
}
