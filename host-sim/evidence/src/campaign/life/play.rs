//! Lives a life: on the bare core, with the signals of `world::sewing`, day by day, judged at
//! each cut.
//!
//! - `damage`: what of the part is damaged, and until when that may show
//! - `visit`: the engineer before work; `work`: what comes on a working day
//! - this file: power on, power off, and the whole life
//!
//! Invariant: the same life gives the same figures, on any machine.

mod damage;
mod visit;
mod work;

use shaftbook_core::board::Effect;
use shaftbook_core::counters::Counters;
use shaftbook_core::serial::Lap;
use shaftbook_tools::sew::slack::Slack;

use super::counts::{BeforeResets, Counts, Happened};
use super::days::{self, S_US};
use super::ledger::Book;
use crate::campaign::kind::FaultKind;
use crate::campaign::life_script::LifeScript;
use crate::campaign::run::Ran;
use crate::campaign::state::StateSet;
use crate::campaign::subject::Condition;
use crate::campaign::tally::Tally;
use damage::Damage;
use shaftbook_care::calendar::{self, ClockState};
use shaftbook_core::time::Instant;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::first_lap::begins_in;
use shaftbook_world::bench::parts;
use shaftbook_world::bench::session::{Session, SessionEnd};
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bus::{Answers, Bus, Tear, Timing};
use shaftbook_world::fitting::BOARD;
use shaftbook_world::judge::Bounds;
use shaftbook_world::sewing::distort::DistortTally;
use shaftbook_world::sewing::truth::Truth;

/// So long after a fault of bus or part is over it may still have its effect, µs.
const RECOVERS_US: u64 = 4 * S_US;
/// The last reading after a life, µs.
const READING_US: u64 = 5 * S_US;
/// Time between two looks at a board while it starts, µs.
const START_STEP_US: u64 = 2_000;
/// A start takes at most so long, then the looks are rarer, µs.
const START_US: u64 = 400_000;
/// Time between two looks at a board that is ready, µs: its clock is read as often.
const LOOK_US: u64 = 3_600 * S_US;

/// The board's clock, as somebody set it.
#[derive(Clone, Copy, Debug, Default)]
struct Clock {
    by_days: i32,
    is_stopped: bool,
    /// The latest day that the board believed.
    latest: u64,
    /// The board's counts then.
    powered_ms: u64,
    /// The day that it was told in this power-up.
    told: u64,
}

/// A power-up, from its beginning.
#[derive(Clone, Copy, Debug, Default)]
struct PowerUp {
    on_us: u64,
    bytes_read: u64,
    /// Boards that were reset since the supply came.
    before_resets: BeforeResets,
    /// Its ledger has been looked at.
    is_known: bool,
}

/// A cut that somebody planned.
struct Planned {
    kind: FaultKind,
    tear: Tear,
    again: Option<(u64, Tear)>,
}

/// What a power-up was, for its judge: no signals when nobody sewed.
struct Shift {
    truth: Truth,
    tally: DistortTally,
    slack: Option<Slack>,
}

/// How the supply goes.
struct Off {
    at_us: u64,
    kind: FaultKind,
    tear: Tear,
    /// So long before it a warning came, ms, if that is long enough for an answer.
    warned_ms: Option<u32>,
}

/// A power-up in which nobody sews.
fn idle(on_us: u64, off_us: u64) -> Shift {
    let truth = Truth { powered_us: off_us - on_us, power_ups: 1, ..Truth::default() };
    Shift { truth, tally: DistortTally::default(), slack: None }
}

/// A life that is being lived.
struct Life<'a, R: UnderTest> {
    script: &'a LifeScript,
    session: Session<Core<R>>,
    counts: Counts,
    book: Book,
    tally: Tally,
    condition: Condition,
    disturbed_until_us: u64,
    damage: Damage,
    clock: Clock,
    up: PowerUp,
    planned: Option<Planned>,
    last_cut_us: u64,
    /// Something was said that needs a look.
    is_news: bool,
    cuts: u64,
    /// Visits of `script.date` that are over, as a place in it.
    visits_from: usize,
    /// What else of it is over.
    dates_from: usize,
    now_us: u64,
    /// Until when the engineer of this visit waits.
    patience_us: u64,
}

/// Lives `script` on a board that keeps the rules `R`.
#[must_use]
pub fn play<R: UnderTest>(script: &LifeScript) -> Ran {
    let mut life = match Life::<R>::begin(script) {
        Ok(life) => life,
        Err(seen) => return Ran { seen: Some(seen), ..Ran::default() },
    };
    let lived = life.live();
    let cycles = life.session.bus().part().wear().page_cycles().to_vec();
    life.tally.note_wear(&script.part, &vec![0; cycles.len()], &cycles);
    let day = days::working_day(life.now_us);
    Ran {
        seen: lived.err().map(|what| format!("{what} [day {day} of {}]", script.days())),
        day: Some(day),
        tally: life.tally,
    }
}

impl<'a, R: UnderTest> Life<'a, R> {
    fn begin(script: &'a LifeScript) -> Result<Self, String> {
        script.check().map_err(|(key, what)| format!("{key}: {what}"))?;
        let wired = script.part.wired().ok_or("the part")?;
        let part = begins_in::<R>(parts::blank(wired), BOARD, Lap::new(script.lap));
        let bus = Bus::new(part, Timing::FAST_MODE, script.seed);
        let first = &script.fitting[0];
        let fitting = first.board(first.scenario(script).settings());
        let (session, fitted) =
            Session::<Core<R>>::fitted(bus, BOARD, fitting.clone(), Some(script.first_day))
                .map_err(|refusal| format!("the fitting is refused: {refusal:?}"))?;
        Ok(Self {
            script,
            counts: Counts::new(fitted, Bounds::chosen(&fitting.settings)),
            book: Book::new(&fitting, script.first_day.into()),
            session,
            tally: Tally::default(),
            condition: Condition::default(),
            disturbed_until_us: 0,
            damage: Damage::default(),
            clock: Clock { latest: script.first_day.into(), ..Clock::default() },
            up: PowerUp::default(),
            planned: None,
            last_cut_us: 0,
            is_news: false,
            cuts: 0,
            visits_from: 0,
            dates_from: 0,
            now_us: 0,
            patience_us: 0,
        })
    }

    fn live(&mut self) -> Result<(), String> {
        let mut first_day = 0;
        for (number, fitting) in self.script.fitting.iter().enumerate() {
            let base_us = days::midnight_us(first_day);
            let scenario = fitting.scenario(self.script);
            if number > 0 {
                let wanted = fitting.board(scenario.settings());
                self.refit(base_us, &wanted, fitting.cut_after_bytes)?;
            }
            self.work(number, &scenario, base_us)?;
            first_day += fitting.days;
        }
        // What is durable at the end.
        let on_us = self.last_cut_us + S_US;
        self.power_up(on_us);
        self.start(on_us, on_us + READING_US)?;
        let off_us = on_us + READING_US;
        self.run_until(off_us)?;
        let off = Off { at_us: off_us, kind: FaultKind::Cut, tear: Tear::Old, warned_ms: None };
        self.switch_off(&off, &idle(on_us, off_us))?;
        self.wears_evenly()
    }

    fn power_up(&mut self, on_us: u64) {
        self.session.power_up(on_us);
        self.started(on_us, &BeforeResets::default());
    }

    /// A board has just been reset.
    fn started(&mut self, at_us: u64, before_resets: &BeforeResets) {
        self.now_us = at_us;
        // Whatever was wrong with bus and part ends with the power-up.
        self.disturbed_until_us = 0;
        let bus = self.session.bus_mut();
        bus.set_answers(Answers::Part);
        bus.part_mut().set_write_protected(false);
        bus.refuse_at_random(0.0);
        let bytes_read = bus.tally().bytes_read;
        self.session.rest_screen();
        self.counts.power_up();
        self.clock.told = 0;
        self.up =
            PowerUp { on_us: at_us, bytes_read, before_resets: *before_resets, is_known: false };
        let cycles = self.session.bus().part().wear().page_cycles();
        self.damage.started(cycles);
    }

    /// The watchdog resets the board at `at_us`; the bus stays held for `held_ms`.
    fn reset(&mut self, at_us: u64, held_ms: u32) -> Result<(), String> {
        let off = Off { at_us, kind: FaultKind::Reset, tear: Tear::New, warned_ms: None };
        let ended = self.end(&off)?;
        let lasted_us = at_us - self.up.on_us;
        let judged = self.counts.reset(&ended, lasted_us, self.condition);
        self.ended(&off);
        let mut before_resets = self.up.before_resets;
        before_resets.add(&ended);
        self.started(at_us, &before_resets);
        if held_ms > 0 {
            self.answers(Answers::BusHeld, held_ms);
        }
        judged.map_err(|what| format!("{what} [reset]"))
    }

    /// Lets time pass, with what the board then says.
    fn run_until(&mut self, at_us: u64) -> Result<(), String> {
        let named = self.counts.named();
        let (counts, news) = (&mut self.counts, &mut self.is_news);
        self.session.run_until(at_us, |effect| hear(counts, news, effect));
        self.now_us = self.now_us.max(at_us);
        if self.session.bus().is_cut() {
            // What a board names whose supply is gone.
            self.counts.name(named);
        }
        self.sleeps()?;
        self.news()
    }

    /// A board lets time pass.
    fn sleeps(&self) -> Result<(), String> {
        if self.session.never_sleeps() {
            return Err("the board asks to be woken at once, for ever".into());
        }
        Ok(())
    }

    /// Looks at what was said.
    fn news(&mut self) -> Result<(), String> {
        if !std::mem::take(&mut self.is_news) {
            return Ok(());
        }
        self.counts.judge_found(self.condition, &mut self.tally)?;
        if self.up.is_known { self.look() } else { Ok(()) }
    }

    /// Looks at the ledger of a board that is ready.
    fn look(&mut self) -> Result<(), String> {
        if self.condition.is_worn || self.session.bus().is_cut() {
            return Ok(());
        }
        let Some((board, latest)) = self.session.board().zip(self.session.lifetime(self.now_us))
        else {
            return Ok(());
        };
        self.book.look(board.ledger(), &latest)
    }

    /// One look at a board that starts, at `at_us`; when the next is due.
    fn look_at_start(&mut self, at_us: u64) -> Result<u64, String> {
        self.run_until(at_us)?;
        if !self.session.board().is_some_and(shaftbook_core::board::Board::is_ready) {
            let is_long = at_us > self.up.on_us + START_US;
            return Ok(at_us + if is_long { S_US } else { START_STEP_US });
        }
        if self.up.is_known {
            self.look()?;
        } else {
            self.known(at_us)?;
        }
        self.read_clock(at_us);
        Ok(at_us + LOOK_US)
    }

    /// A board is ready for the first time in its power-up.
    fn known(&mut self, at_us: u64) -> Result<(), String> {
        self.up.is_known = true;
        let bytes = self.session.bus().tally().bytes_read - self.up.bytes_read;
        self.tally.note_boot(at_us - self.up.on_us, bytes);
        self.remembers()?;
        let Some((board, latest)) = self.session.board().zip(self.session.lifetime(at_us)) else {
            return Ok(());
        };
        if self.condition.is_worn {
            return Ok(());
        }
        self.book.after_cut(board.ledger(), &latest)?;
        self.book.still_due(board.ledger(), &latest)?;
        self.counts.bounded(Bounds::chosen(self.book.settings()));
        Ok(())
    }

    /// The board looks at its clock.
    fn read_clock(&mut self, at_us: u64) {
        let right = i64::from(days::calendar_day(self.script, at_us));
        let reading = (right + i64::from(self.clock.by_days)).clamp(1, i64::from(u16::MAX));
        let reading =
            (!self.clock.is_stopped).then_some(u16::try_from(reading).unwrap_or(u16::MAX));
        let (counts, news) = (&mut self.counts, &mut self.is_news);
        let told = self.session.at_board(
            at_us,
            |board, now| {
                let judged = calendar::tell(board, reading)?;
                let is_waiting = board.activity(now).entry_waiting;
                Some((judged, board.lifetime(now)?, is_waiting, board.ledger().clone()))
            },
            |effect| hear(counts, news, effect),
        );
        let Some(Some((judged, lifetime, is_waiting, ledger))) = told else { return };
        if judged.state == ClockState::Trusted
            && let Some(day) = reading
        {
            self.clock.told = day.into();
            if u64::from(day) >= self.clock.latest {
                (self.clock.latest, self.clock.powered_ms) = (day.into(), lifetime.powered_ms);
            }
        }
        if !is_waiting {
            self.book.note_due_by_day(&ledger, &lifetime);
        }
    }

    /// The days between which the board's own is, when its counts are `lifetime`.
    fn days(&self, lifetime: &Counters) -> (u64, u64) {
        let passed_ms = lifetime.powered_ms.saturating_sub(self.clock.powered_ms);
        (self.clock.told, self.clock.latest + passed_ms / 86_400_000 + 1)
    }

    /// Waits until a board in whose power-up nobody sews is ready, at most to `end_us`.
    fn start(&mut self, on_us: u64, end_us: u64) -> Result<u64, String> {
        let mut at_us = on_us + START_STEP_US;
        while !self.up.is_known && at_us < end_us && !self.session.bus().is_cut() {
            let next_us = self.look_at_start(at_us)?;
            if !self.up.is_known {
                at_us = next_us;
            }
        }
        Ok(at_us)
    }

    fn is_disturbed(&self, at_us: u64) -> bool {
        at_us < self.disturbed_until_us
    }

    /// Of the slots that were surely retired, all still are.
    fn remembers(&mut self) -> Result<(), String> {
        let Some(board) = self.session.board().filter(|board| board.is_ready()) else {
            return Ok(());
        };
        if !self.damage.look(board.store().retired())? || self.condition.is_disturbed {
            return Ok(());
        }
        // If the supply went at this moment, the next board would know it too.
        let mut next = self.session.clone();
        next.cut(self.now_us, Tear::Old, |_| {});
        next.power_up(self.now_us + S_US);
        next.run_until(self.now_us + S_US + READING_US, |_| {});
        match next.board() {
            Some(board) => self.damage.look(board.store().retired()).map(|_| ()),
            None => Ok(()),
        }
    }

    /// A board loses its memory, by a reset or with the supply: what it found is judged.
    fn end(&mut self, off: &Off) -> Result<SessionEnd, String> {
        let Off { at_us, kind, tear, .. } = *off;
        self.now_us = at_us;
        self.cuts += 1;
        self.tally.kinds.add(kind);
        let states = self.states_at(at_us);
        self.tally.hit(kind, states);
        if let Some(board) = self.session.board().filter(|_| !self.condition.is_disturbed) {
            let cycles = self.session.bus().part().wear().page_cycles();
            self.damage.passes_over(board.store().retired(), cycles)?;
        }
        let (counts, news) = (&mut self.counts, &mut self.is_news);
        let named = counts.named();
        let heard = |effect| hear(counts, news, effect);
        let ended = match kind {
            FaultKind::Reset => self.session.reset(at_us, heard),
            _ => self.session.cut(at_us, tear, heard),
        };
        self.counts.name(named);
        self.is_news = false;
        self.sleeps()?;
        self.counts.judge_found(self.condition, &mut self.tally)?;
        self.condition.is_disturbed |= self.is_disturbed(at_us);
        self.condition.is_damaged = self.damage.is_open();
        if self.condition.is_disturbed {
            self.book.delayed();
        }
        Ok(ended)
    }

    /// The same, when it has been judged.
    fn ended(&mut self, off: &Off) {
        self.tally.named = self.tally.named.with(self.counts.named());
        // What the next power-up finds is judged by how this one ended.
        self.condition.is_disturbed = self.is_disturbed(off.at_us);
        let lasted_us = off.at_us - self.up.on_us;
        self.damage.power_up_is_over(self.up.is_known, lasted_us);
    }

    /// The supply goes at `at_us`; what the power-up counted is judged.
    fn switch_off(&mut self, off: &Off, shift: &Shift) -> Result<(), String> {
        let Off { at_us, kind, tear, warned_ms } = *off;
        let ended = self.end(off)?;
        let settings = *self.book.settings();
        let happened = Happened {
            truth: shift.truth,
            tally: shift.tally,
            slack: shift.slack,
            run_gap_us: u64::from(settings.run_gap_ms) * 1_000,
            pulses_per_revolution: settings.pulses_per_revolution,
            ended: &ended,
            before_resets: self.up.before_resets,
            lasted_us: at_us - self.up.on_us,
            warned_ms,
        };
        let judged = self.counts.cut(&happened, self.condition);
        self.tally.stitches += shift.truth.needle_stitches.iter().sum::<u64>() + shift.truth.jumps;
        self.ended(off);
        self.last_cut_us = at_us;
        judged.map_err(|what| format!("{what} [{} ({tear})]", kind.name()))
    }

    /// What the board is in the middle of at `at_us`.
    fn states_at(&self, at_us: u64) -> StateSet {
        let mut ahead = self.session.clone();
        ahead.run_until(at_us, |_| {});
        let now: Instant = ahead.board_time(at_us);
        ahead.board().map_or_else(StateSet::default, |board| StateSet::of(board, now, ahead.bus()))
    }

    /// All slots that were not damaged were written alike.
    fn wears_evenly(&self) -> Result<(), String> {
        let cycles = self.session.bus().part().wear().page_cycles();
        let stuck = self.damage.pages();
        let sound = || cycles.iter().enumerate().filter(|(page, _)| !stuck.contains(page));
        let (count, sum) = sound().fold((0, 0), |(n, sum), (_, c)| (n + 1, sum + u64::from(*c)));
        let hottest = sound().map(|(_, c)| u64::from(*c)).max().unwrap_or(0);
        let mean = sum / u64::max(count, 1);
        if hottest > mean + mean / 8 + 60 {
            return Err(format!("uneven wear: {hottest} cycles of one page, {mean} on average"));
        }
        Ok(())
    }
}

/// What a board says, and whether it needs a look.
fn hear(counts: &mut Counts, is_news: &mut bool, effect: Effect) {
    counts.effect(effect);
    *is_news |= matches!(
        effect,
        Effect::LifetimeKnown(_) | Effect::EntryDurable { .. } | Effect::LedgerDurable(_)
    );
}
