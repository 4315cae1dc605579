//! The whole firmware that ships, from boot on: a part with a drawn past a little below its limits,
//! a machine that reaches them, and people who look, renew, ask for a service and confirm a date.

use rand_core::SeedableRng;
use rand_pcg::Pcg32;
use shaftbook_core::authority::{EightDigits, Key};
use shaftbook_core::board::Command;
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::ledger::{CarriedIn, Fitted, Ledger};
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_panel::button::{Button, Press};
use shaftbook_panel::screen::{Notice, Screen, Top};
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::parts;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::written::written;
use shaftbook_world::bench::{Bench, KEY, Meant};
use shaftbook_world::bus::{Bus, ClockSays, Tear, Timing};

use super::drawn::{below, history, interval, one_of};
use super::known::Known;
use super::watched::Watched;
use super::{codes, desk, outside};
use crate::reference::engineer::{self, Allows, Bound};

/// A look for hints comes at least this often, µs; and some for its steps.
const LOOKED_US: u64 = 11_000_000;
/// The day that the part knows of, if it does.
const KNOWN_DAY: u16 = 3_000;

/// From a drawn part to the next power-up and a look at it.
pub(super) fn boots<R: UnderTest>(seed: u64) -> Result<(), String> {
    let rng = &mut Pcg32::seed_from_u64(seed);
    let mut it = Watched::<R>::powered(rng, seed);
    it.journal_is_kept()?;
    it.walk()?;
    it.code_holds_still()?;
    outside::port(&mut it)?;
    for _ in 0..2 {
        it.works()?;
        it.bench.pass_to(it.bench.now_us + LOOKED_US, &mut |_| {});
        outside::lamp(&mut it)?;
        it.walk()?;
    }
    it.renews(rng)?;
    it.serves()?;
    it.again(rng)?;
    it.confirms()?;
    it.walk()?;
    outside::port(&mut it)?;
    outside::lamp(&mut it)?;
    outside::display(&mut it)?;
    it.bench.device.conduct()
}

/// A profile with a part of each measure, a little below one of its limits.
fn ledger(rng: &mut Pcg32, lifetime: &Counters, day: Option<u16>) -> Ledger {
    let drawn = super::drawn::settings(rng);
    let settings = Settings {
        needle_source: NeedleSource::Code,
        needles: 15,
        checkpoint_trims: 3,
        pulses_per_revolution: 1,
        ..drawn
    };
    let mut ledger = Ledger::new(settings, Key::new(KEY));
    ledger.carried_in =
        one_of(rng, &[CarriedIn::default(), CarriedIn { hours: 7_000, stitches: 5, trims: 6 }]);
    ledger.services = one_of(rng, &[0, 3, 62]);
    interval(rng, &mut ledger, lifetime);
    // On one in four nothing is due for long.
    let is_calm = below(rng, 4) == 0;
    if is_calm {
        ledger.interval.powered_ms = lifetime.powered_ms;
        ledger.interval.running_ms = lifetime.running_ms;
    } else if rng_is_even(rng) {
        // Soon due, if it counts powered time.
        let limit_ms = u64::from(settings.service_interval_h) * 3_600_000;
        let soon_ms = limit_ms - 3_000 - below(rng, 40_000);
        ledger.interval.powered_ms = lifetime.powered_ms.saturating_sub(soon_ms);
    }
    let third = Needle::new(3).expect("needle 3");
    for (kind, measure, role, with_service) in [
        (3, Measure::NeedleStitches(third), Role::Operator, true),
        (32, Measure::Trims, Role::Engineer, true),
        (39, Measure::Trims, Role::Operator, false),
        (34, Measure::PowerUps, Role::Operator, false),
        (38, Measure::Running, Role::Engineer, true),
        (35, Measure::Powered, Role::Operator, false),
        (37, Measure::Stitches, Role::Operator, true),
        (36, Measure::Days, Role::Operator, false),
        (40, Measure::Powered, Role::Operator, true),
    ] {
        let due = one_of(rng, &[5, 100, 20_000]);
        let notice = due - 1 - below(rng, due / 2);
        let limit = if rng_is_even(rng) { due } else { notice };
        let unit = if matches!(measure, Measure::Powered | Measure::Running) { 1_000 } else { 1 };
        // A few units are counted in the first minute.
        let short = below(rng, if unit == 1 { 3 } else { 30 }).min(limit);
        let value = measure.value(lifetime, day);
        let baseline = value.saturating_sub((limit - short) * unit);
        let (baseline, notice, due) =
            if is_calm { (value, 900_000, 1_000_000) } else { (baseline, notice, due) };
        let (notice, due) = (notice as u32, due as u32);
        let kind = ComponentKind(kind);
        let component = Component { kind, measure, renewed_by: role, with_service, notice, due };
        let _ = ledger.components.push(Fitted { component, baseline });
    }
    history(rng, &mut ledger, lifetime, day);
    ledger
}

fn rng_is_even(rng: &mut Pcg32) -> bool {
    below(rng, 2) == 0
}

fn says(rng: &mut Pcg32, day: Option<u16>) -> ClockSays {
    let later = day.unwrap_or(2_400);
    one_of(
        rng,
        &[
            ClockSays::Nothing,
            ClockSays::NotSet,
            ClockSays::NoDate,
            ClockSays::Day(later),
            ClockSays::Day(later + 1),
            ClockSays::Day(later + 400),
            ClockSays::Day(later + 401),
            ClockSays::Day(later - 1),
            ClockSays::Day(2_192),
            ClockSays::Day(2_193),
        ],
    )
}

impl<R: UnderTest> Watched<R> {
    fn powered(rng: &mut Pcg32, seed: u64) -> Self {
        let mut before = Counters {
            powered_ms: one_of(rng, &[40_000_000, 360_000_000, 471_859_100_000])
                + below(rng, 3_600_000),
            power_ups: 300,
            trims: one_of(rng, &[30_000, 1_016_000 + 32_767]),
            jumps: 12,
            unattributed_stitches: 77,
            unattributed_breaks: 2,
            glitches: 5,
            missed_edges: 3,
            ..Counters::default()
        };
        before.running_ms = before.powered_ms / 2;
        for n in 0..15 {
            before.needle_stitches[n] = 60_000 + n as u64;
            before.needle_breaks[n] = below(rng, 4) as u32;
        }
        if rng_is_even(rng) {
            before.needle_breaks[below(rng, 15) as usize] = 25;
        }
        let day = one_of(rng, &[None, Some(KNOWN_DAY)]);
        let ledger = ledger(rng, &before, day);
        let id = BoardId(below(rng, u64::MAX));
        let image = written::<R>(id, &before, &ledger);
        let part = parts::holding(WiredPart::REFERENCE, image);
        let mut bus = Bus::new(part, Timing::FAST_MODE, seed);
        let known = border_day(&ledger, &before);
        let says = says(rng, known);
        bus.set_clock(says);
        let mut bench: Bench<Firmware<R>> = Bench::on(bus, id);
        bench.rest(&mut |_| {});
        bench.found(Some(&before));
        let mut it = Self { bench, says, day: known, fault: None, ledger, before, spikes: 0 };
        it.clock_was_read();
        it.bench.pass_to(it.bench.now_us + LOOKED_US, &mut |_| {});
        it
    }

    /// The entries that were written are still there, with their numbers, and newer ones follow.
    fn journal_is_kept(&self) -> Result<(), String> {
        let board = self.bench.board().ledger();
        let new = board.next_entry.get().wrapping_sub(self.ledger.next_entry.get()) & 0xF_FFFF;
        let old = board.history.len().saturating_sub(new as usize);
        let written = &self.ledger.history;
        let kept = &written[written.len().saturating_sub(old)..];
        if new > 4 || board.history[..old] != *kept {
            return Err(format!("the journal is {:?}, not {written:?}", board.history));
        }
        Ok(())
    }

    /// Round all screens, and into some of them.
    fn walk(&mut self) -> Result<(), String> {
        self.press(Press::Long(Button::Back))?;
        for top in Top::ALL {
            if self.screen() != Screen::Top(top) {
                return Err(format!("the panel is at {:?}, not {top:?}", self.screen()));
            }
            if matches!(top, Top::Care | Top::Counters | Top::Journal) {
                self.press(Press::Short(Button::Act))?;
                self.press(Press::Short(Button::Next))?;
                if top == Top::Care {
                    self.press(Press::Short(Button::Act))?;
                    self.press(Press::Short(Button::Next))?;
                    self.press(Press::Short(Button::Back))?;
                    self.press(Press::Short(Button::Back))?;
                }
                self.press(Press::Short(Button::Back))?;
            }
            self.press(Press::Short(Button::Next))?;
        }
        Ok(())
    }

    /// The code that was opened to be read aloud stays, while time and stitches go on.
    fn code_holds_still(&mut self) -> Result<(), String> {
        self.go_to(Top::ReadOut)?;
        let opened = self.known()?;
        self.bench.press(Press::Short(Button::Act));
        let text = |it: &Self| desk::text_of(&it.bench.device.view(it.bench.now()).body);
        let code = text(self).ok_or("no code is shown")?;
        let said = |known: &Known| codes::says(&code, &known.said(known.signs().first()));
        // A limit may be reached just then.
        if said(&opened).is_err() {
            said(&self.known()?)?;
        }
        self.works()?;
        self.bench.pass_to(self.bench.now_us + 35_000_000, &mut |_| {});
        let later = text(self).ok_or("the code is gone")?;
        if later != code {
            return Err(format!("the code {code} has become {later} while it was read aloud"));
        }
        self.press(Press::Long(Button::Back))
    }

    fn go_to(&mut self, wanted: Top) -> Result<(), String> {
        self.press(Press::Long(Button::Back))?;
        for _ in Top::ALL.iter().take_while(|top| **top != wanted) {
            self.press(Press::Short(Button::Next))?;
        }
        Ok(())
    }

    /// Two stitches with needle 3 and a trim; a break now and then.
    fn works(&mut self) -> Result<(), String> {
        let needle = Needle::new(3).ok_or("needle 3")?;
        self.bench.sew(needle, 2, 300_000, &mut |_| {});
        self.bench.trim(&mut |_| {});
        self.bench.thread_break(needle, &mut |_| {});
        // A spike, which is no pulse: it ends before it is certain.
        let at_us = self.bench.now_us + 1_000;
        for (at_us, level) in [(at_us, Level::Active), (at_us + 20, Level::Inactive)] {
            self.bench.feed(Instant::from_us(at_us), Input::Shaft(level), Meant::Nothing);
        }
        self.spikes += 1;
        self.bench.pass_to(at_us + 2_500_000, &mut |_| {});
        self.look()
    }

    /// An operator renews a part at the panel: that one begins anew, and no other.
    fn renews(&mut self, rng: &mut Pcg32) -> Result<(), String> {
        let operators: Vec<usize> = (0..self.ledger.components.len())
            .filter(|p| self.ledger.components[*p].component.renewed_by == Role::Operator)
            .collect();
        let place = one_of(rng, &operators);
        let (from, number) = (self.truth(), self.bench.board().ledger().next_entry);
        outside::watch(&mut self.bench)?;
        let renew = Command::Renew { components: ComponentSet::only(place), reply: None };
        self.bench.request(renew).map_err(|refusal| format!("a renewal: {refusal:?}"))?;
        self.bench.pass_to(self.bench.now_us + 1_000_000, &mut |_| {});
        self.done(&from, ComponentSet::only(place))?;
        outside::said_entry(&mut self.bench, number)?;
        self.look()
    }

    /// What was asked for was done to `renewed`, and to nothing else.
    fn done(&mut self, from: &Counters, renewed: ComponentSet) -> Result<(), String> {
        let told = self.screen();
        if !matches!(told, Screen::Told { notice: Notice::Done, .. }) {
            return Err(format!("a renewal that is done is told as {told:?}"));
        }
        let now = self.truth();
        let board = self.bench.board().ledger();
        let fitted = self.ledger.components.iter_mut().zip(&board.components).enumerate();
        for (_, (fitted, is)) in fitted.filter(|(place, _)| renewed.contains(*place)) {
            let measure = fitted.component.measure;
            let (least, most) = (measure.value(from, self.day), measure.value(&now, self.day));
            if is.baseline < least || is.baseline > most {
                return Err(format!("{fitted:?} was renewed at {}, not {least}", is.baseline));
            }
            fitted.baseline = is.baseline;
        }
        Ok(())
    }

    /// A service, with the reply that the reference gives to the challenge on the screen.
    fn serves(&mut self) -> Result<(), String> {
        let from = self.truth();
        let challenge = self.bench.challenge(Authorised::Service);
        let challenge = challenge.map_err(|refusal| format!("a challenge: {refusal:?}"))?.get();
        self.look()?;
        // Made at one ms between then and now.
        let ms = from.powered_ms..=self.truth().powered_ms;
        let (services, tries) = (self.ledger.services, self.bench.board().ledger().tries);
        let (board, stitches) = (self.bench.board().id().0, from.stitches());
        let allows = Allows::Service;
        let asked = Bound { board, allows, places: 0, services, tries, powered_ms: 0, stitches };
        let of = |powered_ms| Bound { powered_ms, ..asked }.challenge();
        if !ms.into_iter().any(|powered_ms| of(powered_ms) == challenge) {
            return Err(format!("the challenge {challenge} is not that of {asked:?}"));
        }
        let reply = engineer::reply(&KEY, allows, services, challenge);
        let reply = EightDigits::new(reply).ok_or("a reply of more than eight digits")?;
        self.bench
            .request(Command::Service { reply: Some(reply) })
            .map_err(|refusal| format!("a service: {refusal:?}"))?;
        self.bench.pass_to(self.bench.now_us + 1_000_000, &mut |_| {});
        let board = self.bench.board().ledger();
        let (interval, now) = (board.interval, self.truth());
        let is_now = (from.powered_ms..=now.powered_ms).contains(&interval.powered_ms)
            && interval.running_ms == now.running_ms;
        if !is_now || board.services != self.ledger.services + 1 {
            return Err(format!("a service: {} of {interval:?}", board.services));
        }
        self.ledger.interval = interval;
        self.ledger.services += 1;
        let with_service = (0..self.ledger.components.len())
            .filter(|place| self.ledger.components[*place].component.with_service);
        let set = with_service
            .fold(ComponentSet::default(), |set, place| set.with(ComponentSet::only(place)));
        self.done(&from, set)?;
        self.look()
    }

    /// The supply goes with a warning and comes back; meanwhile somebody saw to the clock.
    fn again(&mut self, rng: &mut Pcg32) -> Result<(), String> {
        let warned_ms = self.truth().powered_ms;
        self.bench.warn();
        self.bench.pass_to(self.bench.now_us + 60_000, &mut |_| {});
        let truth = self.truth();
        let mut next = self.bench.powered_again(Tear::New);
        self.says = says(rng, self.day);
        next.bus.set_clock(self.says);
        next.rest(&mut |_| {});
        let past = next.board().past().copied().ok_or("the past is lost")?;
        let is_kept = (warned_ms..=truth.powered_ms).contains(&past.powered_ms);
        if (Counters { powered_ms: truth.powered_ms, ..past }) != truth || !is_kept {
            return Err(format!("after a warning {past:?} is left of {truth:?}"));
        }
        self.ledger.history = next.board().ledger().history.clone();
        self.day = border_day(next.board().ledger(), &past);
        next.found(Some(&past));
        (self.bench, self.before, self.spikes) = (next, past, 0);
        self.clock_was_read();
        self.bench.pass_to(self.bench.now_us + LOOKED_US, &mut |_| {});
        self.walk()
    }

    /// A person confirms the date of a clock that leapt.
    fn confirms(&mut self) -> Result<(), String> {
        let ClockSays::Day(day) = self.says else { return Ok(()) };
        if self.fault != Some(Fault::ClockWrong) {
            return Ok(());
        }
        self.go_to(Top::Faults)?;
        self.press(Press::Short(Button::Act))?;
        self.press(Press::Short(Button::Act))?;
        self.bench.press(Press::Long(Button::Act));
        if self.day.is_none_or(|known| day >= known) {
            (self.day, self.fault) = (Some(day), None);
        }
        self.bench.pass_to(self.bench.now_us + 1_000_000, &mut |_| {});
        self.look()
    }
}

/// The day that is known from what is stored alone.
fn border_day(ledger: &Ledger, lifetime: &Counters) -> Option<u16> {
    let (book, counts) = super::known::border_of(ledger, lifetime);
    book.day(&counts)
}
