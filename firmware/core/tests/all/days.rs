//! Calendar days: what a clock may do to a board (make care in days come due) and what it
//! may not (touch a count, or hide what is due).

use crate::support::{Bench, Plain, fitting};
use proptest::prelude::*;
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role, Standing};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::{ComponentSet, Event};
use shaftbook_core::ledger::HISTORY_MAX;
use shaftbook_core::medium::Geometry;
use shaftbook_core::time::Instant;

/// Place of the component in days.
const PLACE: usize = 4;

/// A fitted board with a component due every 30 days; `day` is known at the fitting.
fn fitted(day: Option<u16>) -> Bench {
    let mut fitting = fitting();
    let days = Component {
        kind: ComponentKind(40),
        measure: Measure::Days,
        renewed_by: Role::Operator,
        with_service: false,
        notice: 20,
        due: 30,
    };
    fitting.components.push(days).unwrap();
    let mut bench = Bench::power_up(Plain::new(Geometry::REFERENCE));
    bench.board.set_day(day);
    bench.board.request(bench.now, Command::Fit { fitting, reply: None }).unwrap();
    bench.settle();
    bench
}

fn wear(bench: &Bench, place: usize) -> u64 {
    let lifetime = bench.board.lifetime(bench.now).unwrap();
    bench.board.ledger().wear(place, &lifetime, bench.board.day()).unwrap()
}

fn standing(bench: &Bench) -> Standing {
    bench.board.ledger().components[PLACE].component.standing(wear(bench, PLACE))
}

fn renew(bench: &mut Bench) {
    let components = ComponentSet::only(PLACE);
    bench.board.request(bench.now, Command::Renew { components, reply: None }).unwrap();
    bench.settle();
}

#[test]
fn without_any_clock_days_are_not_counted() {
    let bench = fitted(None);
    assert_eq!((wear(&bench, PLACE), standing(&bench)), (0, Standing::Fine));
    assert_eq!(bench.board.day(), None);
}

#[test]
fn renewed_without_a_clock_is_due_as_soon_as_a_day_is_known() {
    let mut bench = fitted(None);
    renew(&mut bench);
    bench.board.clock(Some(12), None);
    assert_eq!((wear(&bench, PLACE), standing(&bench)), (30, Standing::Due));
    bench.board.clock(Some(9_000), None);
    assert_eq!(wear(&bench, PLACE), 9_000);
    bench.settle();
    renew(&mut bench);
    assert_eq!((wear(&bench, PLACE), standing(&bench)), (0, Standing::Fine));
    bench.board.clock(Some(9_012), None);
    assert_eq!(wear(&bench, PLACE), 12);
}

#[test]
fn what_came_due_is_still_due_when_the_clock_is_dead_at_the_next_power_up() {
    let mut bench = fitted(Some(2_000));
    bench.board.clock(Some(2_029), None);
    bench.settle();
    assert_eq!(standing(&bench), Standing::Notice);
    assert!(bench.board.ledger().history.is_empty(), "nothing to store yet");
    bench.board.clock(Some(2_030), None);
    bench.settle();
    assert_eq!(standing(&bench), Standing::Due);
    let line = bench.board.ledger().history.last().unwrap();
    assert_eq!((line.event, line.subject, line.day), (Event::DueByDay, 4, Some(2_030)));
    // Told again, it is not stored again.
    bench.board.clock(Some(2_031), None);
    bench.settle();
    assert_eq!(bench.board.ledger().history.len(), 1);
    let mut bench = bench.cut();
    bench.board.clock(None, Some(Fault::ClockNoAnswer));
    bench.settle();
    assert_eq!((standing(&bench), wear(&bench, PLACE)), (Standing::Due, 30));
    assert!(bench.effects.contains(&Effect::FaultRaised(Fault::ClockNoAnswer)));
    // Done, it is done, dead clock or not.
    renew(&mut bench);
    assert_eq!(standing(&bench), Standing::Fine);
    let mut bench = bench.cut();
    assert_eq!((standing(&bench), bench.board.day()), (Standing::Fine, Some(2_030)));
    bench.board.clock(Some(2_040), None);
    bench.settle();
    assert!(!bench.board.faults().contains(Fault::ClockNoAnswer));
    assert_eq!(wear(&bench, PLACE), 10);
}

/// Ready, with something else to store at that moment (a firmware that stops before every
/// reset, say): what is stored then and right after carries the known day all the same.
#[test]
fn a_fault_at_every_power_up_does_not_wash_the_known_day_out_of_the_journal() {
    let mut bench = fitted(Some(2_000));
    bench.board.clock(Some(2_030), None);
    bench.settle();
    assert_eq!(standing(&bench), Standing::Due);
    for boot in 0..=HISTORY_MAX {
        let (board, part) = (Bench::unpowered(), bench.part);
        bench = Bench { board, part, now: Instant::ZERO, effects: vec![] };
        bench.board.raise(Fault::FirmwareStopped);
        bench.settle();
        let line = bench.board.ledger().history.last().unwrap();
        assert_eq!((line.event, line.day), (Event::FaultSeen, Some(2_030)), "boot {boot}");
        assert_eq!((standing(&bench), bench.board.day()), (Standing::Due, Some(2_030)));
    }
}

#[test]
fn a_renewal_while_the_first_entry_of_a_boot_is_stored_knows_the_day() {
    let mut bench = fitted(Some(2_000));
    bench.board.clock(Some(2_030), None);
    bench.settle();
    let (board, part) = (Bench::unpowered(), bench.part);
    let mut bench = Bench { board, part, now: Instant::ZERO, effects: vec![] };
    bench.board.raise(Fault::FirmwareStopped);
    let components = ComponentSet::only(PLACE);
    // As soon as the board takes it.
    while bench.board.request(bench.now, Command::Renew { components, reply: None }).is_err() {
        let polled = bench.board.poll(bench.now, &mut bench.part);
        bench.now = bench.now.max(polled.deadline);
    }
    bench.settle();
    assert_eq!((wear(&bench, PLACE), standing(&bench)), (0, Standing::Fine));
    assert_eq!(bench.board.ledger().components[PLACE].baseline, 2_030);
}

#[test]
fn only_the_clock_faults_are_raised_and_cleared_by_the_clock() {
    let mut bench = fitted(Some(100));
    bench.board.raise(Fault::FirmwareStopped);
    bench.board.clock(None, Some(Fault::ClockNoAnswer));
    assert!(bench.board.faults().contains(Fault::ClockNoAnswer));
    bench.settle();
    bench.board.clock(None, Some(Fault::MemoryWornOut));
    bench.settle();
    assert!(!bench.board.faults().contains(Fault::MemoryWornOut));
    assert!(!bench.board.faults().contains(Fault::ClockNoAnswer));
    assert!(bench.board.faults().contains(Fault::ClockWrong));
    bench.board.clock(Some(101), None);
    bench.settle();
    let faults: Vec<_> = bench.board.faults().iter().collect();
    assert_eq!(faults, [Fault::FirmwareStopped]);
    assert!(bench.effects.contains(&Effect::FaultCleared(Fault::ClockWrong)));
}

#[test]
fn days_go_on_by_whole_days_of_powered_time() {
    let bench = fitted(Some(500));
    let ledger = bench.board.ledger();
    let at = |powered_ms| ledger.day_reached(&Counters { powered_ms, ..Counters::default() });
    // Known from the baseline of the fitting alone: that has no powered time beside it.
    assert_eq!((at(0), at(u64::MAX)), (Some(500), Some(500)));
    let mut bench = bench;
    bench.board.clock(Some(530), None);
    bench.settle();
    let powered_ms = u64::from(bench.board.ledger().history[0].powered_s) * 1_000;
    let at = |more_ms| {
        let powered_ms = powered_ms + more_ms;
        bench.board.ledger().day_reached(&Counters { powered_ms, ..Counters::default() })
    };
    assert_eq!((at(0), at(86_399_999), at(86_400_000)), (Some(530), Some(530), Some(531)));
    assert_eq!(at(u64::MAX / 2), Some(50_240), "2^32 s on: it saturates, no more");
}

/// One thing that happens to the board.
#[derive(Clone, Debug)]
enum Step {
    Clock(Option<u16>, Option<Fault>),
    SetDay(Option<u16>),
    Sew(u8, u64),
    Cut,
}

fn step() -> impl Strategy<Value = Step> {
    let day = prop::option::of(prop_oneof![any::<u16>(), 0..40_u16]);
    let fault =
        prop_oneof![Just(None), Just(Some(Fault::ClockNoAnswer)), Just(Some(Fault::ClockWrong))];
    prop_oneof![
        4 => (day.clone(), fault).prop_map(|(day, fault)| Step::Clock(day, fault)),
        2 => day.prop_map(Step::SetDay),
        1 => (1..4_u8, 1..20_u64).prop_map(|(needle, count)| Step::Sew(needle, count)),
        1 => Just(Step::Cut),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// No sequence of readings changes a counter or lowers a wear. A twin board with the
    /// same life and no clock counts the same.
    #[test]
    fn no_clock_changes_a_count_or_lowers_a_wear(steps in prop::collection::vec(step(), 1..25)) {
        let (mut bench, mut twin) = (fitted(None), fitted(None));
        for step in steps {
            let before: Vec<u64> = (0..=PLACE).map(|place| wear(&bench, place)).collect();
            let was_cut = matches!(step, Step::Cut);
            match step {
                Step::Clock(day, fault) => bench.board.clock(day, fault),
                Step::SetDay(day) => bench.board.set_day(day),
                Step::Sew(needle, count) => {
                    for bench in [&mut bench, &mut twin] {
                        bench.sew(needle, count, 66_667);
                    }
                }
                Step::Cut => {
                    // Everything durable first: what a cut may cost is proved elsewhere.
                    for bench in [&mut bench, &mut twin] {
                        bench.board.input(bench.now, Input::PowerFail(Level::Active));
                        bench.settle();
                    }
                    (bench, twin) = (bench.cut(), twin.cut());
                }
            }
            bench.settle();
            let timeless = |counters: Counters| Counters { powered_ms: 0, ..counters };
            prop_assert_eq!(timeless(bench.lifetime()), timeless(twin.lifetime()));
            for (place, before) in before.iter().enumerate() {
                let is_days = place == PLACE;
                // A cut may cost days that were not worth storing, never a due state.
                if is_days && was_cut {
                    prop_assert_eq!(*before >= 30, standing(&bench) == Standing::Due);
                } else {
                    prop_assert!(wear(&bench, place) >= *before, "place {}", place);
                }
            }
        }
    }
}

/// A life of a board with three components in days.
struct Life {
    bench: Bench,
    /// Known to be due, on record.
    due: [bool; 3],
    /// Entries of coming due since the component was renewed.
    entries: [u32; 3],
    renewing: Option<usize>,
}

impl Life {
    const LIMITS: [u32; 3] = [1, 30, 400];

    fn new(day: Option<u16>) -> Self {
        let mut fitting = fitting();
        for due in Self::LIMITS {
            let component = Component {
                kind: ComponentKind(40),
                measure: Measure::Days,
                renewed_by: Role::Operator,
                with_service: false,
                notice: 1,
                due,
            };
            fitting.components.push(component).unwrap();
        }
        let mut bench = Bench::power_up(Plain::new(Geometry::REFERENCE));
        bench.board.set_day(day);
        bench.board.request(bench.now, Command::Fit { fitting, reply: None }).unwrap();
        bench.settle();
        bench.effects.clear();
        Self { bench, due: [false; 3], entries: [0; 3], renewing: None }
    }

    fn is_due(&self, n: usize) -> bool {
        let place = PLACE + n;
        self.bench.board.ledger().components[place].component.standing(wear(&self.bench, place))
            == Standing::Due
    }

    /// At most `polls` polls, and what they bring.
    fn work(&mut self, polls: u32) {
        for _ in 0..polls {
            let polled = self.bench.board.poll(self.bench.now, &mut self.bench.part);
            let Some(effect) = polled.effect else {
                if polled.deadline.since_us(self.bench.now) > 1_000_000 {
                    return;
                }
                self.bench.now = self.bench.now.max(polled.deadline);
                continue;
            };
            match effect {
                Effect::EntryDurable { event: Event::DueByDay, .. } => {
                    let line = *self.bench.board.ledger().history.last().unwrap();
                    assert!(line.day.is_some(), "{line:?}");
                    let n = usize::from(line.subject) - PLACE;
                    self.entries[n] += 1;
                    assert_eq!(self.entries[n], 1, "due twice: {line:?}");
                    // The entry's day is on record; one told since is not yet.
                    let lifetime = self.bench.board.lifetime(self.bench.now).unwrap();
                    let ledger = self.bench.board.ledger();
                    for (n, due) in self.due.iter_mut().enumerate() {
                        let wear = ledger.wear(PLACE + n, &lifetime, line.day).unwrap();
                        let component = ledger.components[PLACE + n].component;
                        *due |= component.standing(wear) == Standing::Due;
                    }
                }
                Effect::EntryDurable { event: Event::Renewed, .. } => {
                    let n = self.renewing.take().unwrap();
                    (self.due[n], self.entries[n]) = (false, 0);
                }
                _ => {}
            }
        }
    }

    /// The power goes at this very moment; a new board recovers.
    fn cut(&mut self, with_fault: bool) {
        let part = self.bench.part.clone();
        self.bench = Bench { board: Bench::unpowered(), part, now: Instant::ZERO, effects: vec![] };
        // What was asked for and not yet told may have become durable.
        let renewing = self.renewing.take();
        if with_fault {
            self.bench.board.raise(Fault::FirmwareStopped);
        }
        while !self.bench.board.is_ready() {
            self.work(1);
        }
        if let Some(n) = renewing {
            let last = self.bench.board.ledger().history.iter().rev();
            if last.take(2).any(|line| line.event == Event::Renewed) {
                (self.due[n], self.entries[n]) = (false, 0);
            }
        }
        self.work(20_000);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    /// What is on record as due stays due until it is done, whatever the clock says, at
    /// whatever poll the power goes; and it is put on record once, however many boots.
    #[test]
    fn what_is_on_record_as_due_is_due_until_done_and_once(
        first in prop::option::of(2_200..2_300_u16),
        steps in prop::collection::vec((0..8_u8, 2_200..3_000_u16, 0..30_u32), 1..80),
    ) {
        let mut life = Life::new(first);
        for (what, day, polls) in steps {
            match what {
                0 | 1 => life.bench.board.clock(Some(day), None),
                2 => life.bench.board.clock(None, Some(Fault::ClockNoAnswer)),
                3 => {
                    let n = usize::from(day) % 3;
                    let components = ComponentSet::only(PLACE + n);
                    let command = Command::Renew { components, reply: None };
                    if life.bench.board.request(life.bench.now, command).is_ok() {
                        prop_assert!(life.renewing.replace(n).is_none());
                    }
                    life.work(20_000);
                }
                4 | 5 => {
                    life.work(polls);
                    life.cut(what == 5);
                }
                6 => life.work(polls),
                _ => life.work(20_000),
            }
            for n in 0..3 {
                prop_assert!(!life.due[n] || life.is_due(n), "{n} is hidden");
            }
        }
    }
}
