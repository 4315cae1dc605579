//! Working days: the signals of the machine from power-up to cut, and what is dated to the days.

use std::ops::ControlFlow;

use shaftbook_core::board::Command;
use shaftbook_core::component::Role;
use shaftbook_core::input::{Input, Level};
use shaftbook_tools::sew::slack::Slack;

use super::super::days::{self, S_US, when_us};
use super::super::ledger::Asked;
use super::{Life, Off, Planned, RECOVERS_US, START_STEP_US, Shift, hear, idle};
use crate::campaign::deed::Deed;
use crate::campaign::kind::FaultKind;
use crate::campaign::life_script::{Ask, Dated, What};
use shaftbook_world::bench::parts;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bus::{Answers, BusEvent, DisplayFailure, Stuck, Tear};
use shaftbook_world::judge::{PROMISED_PROGRAM_US, long_hold_up_ms};
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::distort::DistortTally;
use shaftbook_world::sewing::truth::Truth;
use shaftbook_world::sewing::{Sewing, SewingEvent, Timed};

/// How long the supply is off after a cut in the middle of work, µs.
const OFF_FOR_US: u64 = 60 * S_US;
/// From a cut to the power-up that is cut again, µs.
const AGAIN_AFTER_US: u64 = S_US / 10;
/// A board that was reset has surely found its past after so long, µs.
const STARTED_US: u64 = 3 * S_US;
/// Most pulses of a revolution with which a board is reset while it counts.
const RESET_PULSES_MAX: u8 = 2;
/// Time between two looks at a board while a slot of its part fails, µs.
const DAMAGE_LOOK_US: u64 = 60 * S_US;
/// A display is redrawn without pause for so long, µs.
const SCREEN_US: u64 = 3 * S_US;
/// That power-up lasts at most so long, µs.
const AGAIN_FOR_US: u64 = S_US / 2;

/// The working days of one fitting.
struct Days {
    sewing: Sewing,
    slack: Slack,
    /// Midnight of the first of them, µs.
    base_us: u64,
    /// When something other than a signal is next, µs.
    next_us: u64,
    next_look_us: u64,
    /// When the watchdog resets the board, µs, and how long the bus stays held, ms.
    reset: Option<(u64, u32)>,
    /// When the display is left alone, µs.
    screen_until_us: Option<u64>,
    /// What the machine last said of the needle, and of the jump contact.
    needle: Option<Input>,
    is_jump: bool,
    is_on: bool,
    /// Hold-up after the warning of this power-up, ms, and when it came.
    warned_us: Option<u64>,
    /// Truth and tally at the power-up.
    truth: Truth,
    tally: DistortTally,
}

impl<R: UnderTest> Life<'_, R> {
    /// Lives the days of fitting `number`, whose machine is `scenario`, from `base_us` on.
    pub(super) fn work(
        &mut self,
        number: usize,
        scenario: &Scenario,
        base_us: u64,
    ) -> Result<(), String> {
        let seed = self.script.seed.wrapping_add((number as u64) << 32);
        let mut days = Days {
            sewing: Sewing::new(scenario, seed),
            slack: Slack::of(scenario),
            base_us,
            next_us: 0,
            next_look_us: u64::MAX,
            reset: None,
            screen_until_us: None,
            needle: None,
            is_jump: false,
            is_on: false,
            warned_us: None,
            truth: Truth::default(),
            tally: DistortTally::default(),
        };
        while let Some(timed) = self.signals(&mut days)? {
            let at_us = base_us + timed.at_us;
            // What is dated comes before the next signal; a cut is planned when that is in.
            let mut cuts = Vec::new();
            while days.next_us <= at_us {
                self.dated(&mut days, at_us, &mut cuts)?;
            }
            match timed.event {
                SewingEvent::Input(input) => self.input(&mut days, at_us, input)?,
                SewingEvent::PowerUp => self.begin_work(&mut days, at_us)?,
                SewingEvent::Cut => self.end_work(&mut days, at_us)?,
            }
            for deed in cuts {
                match deed {
                    Deed::Reset { after_bytes, held_ms } => {
                        self.plan_reset(&mut days, after_bytes, held_ms);
                    }
                    _ => self.plan_cut(&mut days, &deed),
                }
            }
        }
        Ok(())
    }

    /// Signals up to the next that has to wait for something else, which is given.
    fn signals(&mut self, days: &mut Days) -> Result<Option<Timed>, String> {
        loop {
            let mut boundary = None;
            let (base_us, next_us) = (days.base_us, days.next_us);
            let (session, counts, news) = (&mut self.session, &mut self.counts, &mut self.is_news);
            let Days { sewing, needle, is_jump, .. } = &mut *days;
            sewing.drive(|timed| {
                let at_us = base_us + timed.at_us;
                match timed.event {
                    SewingEvent::Input(input)
                        if at_us < next_us && !matches!(input, Input::PowerFail(_)) =>
                    {
                        note_level(needle, is_jump, input);
                        session.input(at_us, input, |effect| hear(counts, news, effect));
                        if *news { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
                    }
                    _ => {
                        boundary = Some(timed);
                        ControlFlow::Break(())
                    }
                }
            });
            if !self.is_news || boundary.is_some() {
                return Ok(boundary);
            }
            self.now_us = self.now_us.max(self.session.bus_us());
            self.news()?;
        }
    }

    fn input(&mut self, days: &mut Days, at_us: u64, input: Input) -> Result<(), String> {
        if input == Input::PowerFail(Level::Active) {
            days.warned_us = Some(at_us);
        }
        note_level(&mut days.needle, &mut days.is_jump, input);
        let (counts, news) = (&mut self.counts, &mut self.is_news);
        self.session.input(at_us, input, |effect| hear(counts, news, effect));
        self.now_us = at_us;
        self.news()
    }

    fn begin_work(&mut self, days: &mut Days, at_us: u64) -> Result<(), String> {
        let script = self.script;
        let today = days::working_day(at_us);
        while let Some(dated) = script.date.get(self.visits_from).filter(|d| d.day <= today) {
            self.visits_from += 1;
            if let What::Ask(ask) = &dated.what
                && ask.is_visit()
            {
                self.asks_before_work(ask, at_us)?;
            }
        }
        self.power_up(at_us);
        days.is_on = true;
        days.warned_us = None;
        (days.needle, days.is_jump) = (None, false);
        days.next_look_us = at_us + START_STEP_US;
        (days.truth, days.tally) = (days.sewing.truth(), days.sewing.tally());
        self.agenda(days);
        Ok(())
    }

    fn end_work(&mut self, days: &mut Days, at_us: u64) -> Result<(), String> {
        days.is_on = false;
        days.next_look_us = u64::MAX;
        (days.reset, days.screen_until_us) = (None, None);
        self.agenda(days);
        let planned = self.planned.take();
        let warned_ms = days.warned_us.map(|us| ((at_us - us) / 1_000) as u32);
        let (kind, tear, again) = if let Some(Planned { kind, tear, again }) = planned {
            (kind, tear, again)
        } else {
            let seed = self.script.seed ^ self.cuts;
            let tear = Tear::draw(seed, self.script.part.page_bytes);
            let is_warned = days.warned_us.is_some();
            (if is_warned { FaultKind::WarnedCut } else { FaultKind::Cut }, tear, None)
        };
        // A board that was just reset finds its past first.
        let known_us = self.up.on_us + STARTED_US;
        let is_early = self.up.before_resets.resets > 0;
        let warned_ms = warned_ms.filter(|_| !is_early || days.warned_us > Some(known_us));
        let shift = Shift {
            truth: truth_since(&days.sewing.truth(), &days.truth),
            tally: tally_since(&days.sewing.tally(), &days.tally),
            slack: Some(days.slack),
        };
        let long_ms = long_hold_up_ms(self.script.part.page_bytes, PROMISED_PROGRAM_US);
        let warned_ms = warned_ms.filter(|ms| *ms >= long_ms);
        self.switch_off(&Off { at_us, kind, tear, warned_ms }, &shift)?;
        let Some((bytes, tear)) = again else { return Ok(()) };
        // The supply comes again for a moment.
        let on_us = at_us + AGAIN_AFTER_US;
        self.power_up(on_us);
        self.session.bus_mut().cut_after_bytes(bytes);
        self.run_until(on_us + AGAIN_FOR_US)?;
        let is_cut = self.session.bus().is_cut();
        let off_us = if is_cut { self.session.bus_us() } else { on_us + AGAIN_FOR_US };
        self.switch_off(&Off { at_us: off_us, kind, tear, warned_ms: None }, &idle(on_us, off_us))
    }

    /// When something other than a signal is next.
    fn agenda(&self, days: &mut Days) {
        let dated_us = self.script.date.get(self.dates_from).map_or(u64::MAX, when_us);
        let reset_us = days.reset.map_or(u64::MAX, |(at_us, _)| at_us);
        let screen_us = days.screen_until_us.unwrap_or(u64::MAX);
        days.next_us = dated_us.min(days.next_look_us).min(reset_us).min(screen_us);
    }

    /// Does the next thing that is not a signal, which is due by `at_us`.
    fn dated(&mut self, days: &mut Days, at_us: u64, cuts: &mut Vec<Deed>) -> Result<(), String> {
        let script = self.script;
        if let Some((reset_us, held_ms)) = days.reset.take_if(|(at, _)| *at <= days.next_us) {
            self.reset(reset_us, held_ms)?;
            self.tell_levels(days, reset_us);
            days.screen_until_us = None;
            days.next_look_us = reset_us + START_STEP_US;
        } else if let Some(end_us) = days.screen_until_us.take_if(|at| *at <= days.next_us) {
            self.run_until(end_us)?;
            self.session.rest_screen();
        } else if days.next_look_us <= days.next_us {
            days.next_look_us = self.look_at_start(days.next_look_us)?;
            if self.up.is_known {
                self.remembers()?;
                if self.damage.is_new() {
                    days.next_look_us = days.next_look_us.min(self.now_us + DAMAGE_LOOK_US);
                }
            }
        } else if let Some(dated) = script.date.get(self.dates_from) {
            self.dates_from += 1;
            // While it is off, the part is damaged all the same; nothing else happens.
            let when_us = when_us(dated).min(at_us);
            self.come(days, dated, when_us, cuts)?;
        }
        self.agenda(days);
        Ok(())
    }

    fn come(
        &mut self,
        days: &mut Days,
        dated: &Dated,
        at_us: u64,
        cuts: &mut Vec<Deed>,
    ) -> Result<(), String> {
        match &dated.what {
            What::Ask(Ask::Clock { by_days }) => {
                (self.clock.by_days, self.clock.is_stopped) = (*by_days, false);
            }
            What::Ask(Ask::ClockStops) => self.clock.is_stopped = true,
            What::Ask(Ask::Renew { components }) if days.is_on => {
                self.renew(at_us, *components)?;
            }
            What::Ask(_) => {}
            What::Fault(Deed::Display { seed, fails_after_bytes, holds_bus }) => {
                if days.is_on {
                    let fails = fails_after_bytes.map(|bytes| (bytes, *holds_bus));
                    self.fit_screen(at_us, *seed, fails)?;
                    days.screen_until_us = Some(at_us + SCREEN_US);
                }
            }
            What::Fault(deed) if deed.kind().ends_power_up() => {
                if days.is_on && self.planned.is_none() {
                    cuts.push(deed.clone());
                }
            }
            What::Fault(deed) => {
                self.fault(deed, at_us, days.is_on)?;
                if days.is_on && self.damage.is_new() {
                    days.next_look_us = days.next_look_us.min(at_us + DAMAGE_LOOK_US);
                }
            }
        }
        Ok(())
    }

    /// The operator renews what he may, if the board has the time.
    fn renew(&mut self, at_us: u64, components: u32) -> Result<(), String> {
        let components = self.book.of_role(components, Role::Operator);
        if components.0 == 0 || !self.up.is_known || self.book.is_pending() {
            return Ok(());
        }
        let taken = self.at_board(at_us, |board, now| {
            let at = board.lifetime(now)?;
            board.request(now, Command::Renew { components, reply: None }).ok().map(|()| at)
        })?;
        if let Some(Some(at)) = taken {
            let days = self.days(&at);
            let may_be_late = self.is_disturbed(at_us);
            self.book.asked(Asked::Renew(components), at, days, may_be_late);
        }
        Ok(())
    }

    /// A fault of bus or part.
    fn fault(&mut self, deed: &Deed, at_us: u64, is_on: bool) -> Result<(), String> {
        let kind = deed.kind();
        if !kind.damages() && !is_on {
            return Ok(());
        }
        if is_on {
            self.run_until(at_us)?;
        }
        self.tally.kinds.add(kind);
        if is_on {
            let states = self.states_at(at_us);
            self.tally.hit(kind, states);
        }
        match *deed {
            Deed::Refused { per_mille, for_ms } => {
                let share = f64::from(per_mille.min(900)) / 1_000.0;
                self.session.bus_mut().refuse_at_random(share);
                self.until(for_ms, BusEvent::RefuseAtRandom(0.0));
            }
            Deed::BusHeld { for_ms } => self.answers(Answers::BusHeld, for_ms),
            Deed::Silent { for_ms } => self.answers(Answers::Nobody, for_ms),
            Deed::Stranger { for_ms } => self.answers(Answers::Stranger, for_ms),
            Deed::WriteProtect { for_ms } => {
                self.session.bus_mut().part_mut().set_write_protected(true);
                self.until(for_ms, BusEvent::WriteProtect(false));
            }
            Deed::FlippedBits { page_ahead, bits, seed } => {
                let (page, _) = self.page(page_ahead);
                self.session.bus_mut().part_mut().flip_bits_in_page(page, bits, seed);
                self.damage.at_rest();
            }
            Deed::StuckPage { page_ahead, reads } => {
                let (page, slot) = self.page(page_ahead);
                let how = reads.map_or(Stuck::KeepsOld, Stuck::Reads);
                self.session.bus_mut().part_mut().stick_page(page, how);
                self.damage.stuck(page, slot);
            }
            Deed::WornPart { pages } => {
                for ahead in 0..pages {
                    let (page, slot) = self.page(ahead);
                    self.session.bus_mut().part_mut().stick_page(page, Stuck::KeepsOld);
                    self.damage.stuck(page, slot);
                }
            }
            Deed::MisdirectedWrite { cycles, page_ahead } => {
                let (page, _) = self.page(page_ahead);
                self.session.bus_mut().part_mut().misdirect(cycles, page);
                self.damage.at_rest();
            }
            _ => {}
        }
        self.condition.is_damaged = self.damage.is_open();
        Ok(())
    }

    /// A page so many slots from the one that is written next, and its slot.
    fn page(&self, ahead: u32) -> (usize, u16) {
        let geometry = self.session.bus().part().geometry();
        let slots = self.script.part.wired().map_or(1, |wired| parts::ring(wired).slots());
        let next = self.session.board().map_or(0, |board| board.store().head().slot);
        let slot = ((u32::from(next) + ahead) % u32::from(slots)) as u16;
        (usize::from(slot) * parts::pages_of_a_slot(geometry), slot)
    }

    /// A display comes to the bus, is redrawn without pause, and may fail: how, and after how many
    /// bytes. One that holds the bus does so until the board's next reset.
    fn fit_screen(
        &mut self,
        at_us: u64,
        seed: u64,
        fails: Option<(u64, bool)>,
    ) -> Result<(), String> {
        self.run_until(at_us)?;
        self.tally.kinds.add(FaultKind::Display);
        let states = self.states_at(at_us);
        self.tally.hit(FaultKind::Display, states);
        let how = |holds| if holds { DisplayFailure::HoldsBus } else { DisplayFailure::Dies };
        let (counts, news) = (&mut self.counts, &mut self.is_news);
        let fails = fails.map(|(bytes, holds_bus)| (bytes, how(holds_bus)));
        self.session.fit_screen(at_us, seed, fails, |effect| hear(counts, news, effect));
        if let Some((_, DisplayFailure::HoldsBus)) = fails {
            self.disturbed_until_us = u64::MAX;
            self.condition.is_disturbed = true;
            self.book.delayed();
        }
        Ok(())
    }

    /// A board that was reset reads the levels of the machine.
    fn tell_levels(&mut self, days: &Days, at_us: u64) {
        let jump = days.is_jump.then_some(Input::Jump(Level::Active));
        for input in days.needle.into_iter().chain(jump) {
            let (counts, news) = (&mut self.counts, &mut self.is_news);
            self.session.input(at_us, input, |effect| hear(counts, news, effect));
        }
    }

    /// Plans a reset: when it is, is found by looking ahead at what the board will write. A sensor
    /// with many pulses gives more edges while a board starts than it can keep.
    fn plan_reset(&self, days: &mut Days, after_bytes: u64, held_ms: u32) {
        if days.reset.is_some() || self.book.settings().pulses_per_revolution > RESET_PULSES_MAX {
            return;
        }
        if let Some(at_us) = self.when_written(days, after_bytes) {
            days.reset = Some((days.base_us + at_us, held_ms));
            self.agenda(days);
        }
    }

    pub(super) fn answers(&mut self, who: Answers, for_ms: u32) {
        self.session.bus_mut().set_answers(who);
        self.until(for_ms, BusEvent::Answers(Answers::Part));
    }

    fn until(&mut self, for_ms: u32, over: BusEvent) {
        let bus = self.session.bus_mut();
        let end_ns = bus.now_ns() + u64::from(for_ms) * 1_000_000;
        bus.schedule(end_ns, over);
        let end_us = self.session.bus_us() + u64::from(for_ms) * 1_000;
        self.disturbed_until_us = self.disturbed_until_us.max(end_us + RECOVERS_US);
        self.condition.is_disturbed = true;
        self.book.delayed();
    }

    /// Plans a cut: when it is, is found by looking ahead at what the board will write.
    fn plan_cut(&mut self, days: &mut Days, deed: &Deed) {
        let tear = |text: &str| text.parse().unwrap_or(Tear::Old);
        let (bytes, hold_up_ms, left, again) = match deed {
            Deed::Cut { after_bytes, tear: left } => (Some(*after_bytes), None, left, None),
            Deed::NestedCut { after_bytes, tear: left, again } => {
                let again = Some((again.after_bytes, tear(&again.tear)));
                (Some(*after_bytes), None, left, again)
            }
            Deed::WarnedCut { hold_up_ms, tear: left } => (None, Some(*hold_up_ms), left, None),
            _ => return,
        };
        let at_us = match bytes {
            Some(bytes) => self.when_written(days, bytes),
            None => Some(days.sewing.earliest_off_us()),
        };
        let Some(at_us) = at_us else { return };
        if days.sewing.switch_off_at(at_us, hold_up_ms, OFF_FOR_US) {
            self.planned = Some(Planned { kind: deed.kind(), tear: tear(left), again });
        }
    }

    /// When so many more bytes will have passed on the bus from the next signal on, µs of the
    /// machine's time; `None` if the supply goes before.
    fn when_written(&self, days: &Days, bytes: u64) -> Option<u64> {
        let (mut session, mut sewing) = (self.session.clone(), days.sewing.clone());
        let from_us = sewing.earliest_off_us();
        let base_us = days.base_us;
        let mut is_armed = false;
        let mut found = None;
        sewing.drive(|timed| {
            let SewingEvent::Input(input) = timed.event else { return ControlFlow::Break(()) };
            if matches!(input, Input::PowerFail(_)) {
                return ControlFlow::Break(());
            }
            if !is_armed && timed.at_us >= from_us {
                session.run_until(base_us + from_us, |_| {});
                session.bus_mut().cut_after_bytes(bytes);
                is_armed = true;
            }
            session.input(base_us + timed.at_us, input, |_| {});
            if session.bus().is_cut() {
                found = Some(session.bus_us().saturating_sub(base_us).max(from_us));
                return ControlFlow::Break(());
            }
            ControlFlow::Continue(())
        });
        found
    }
}

/// Keeps what a board reads as a level after a reset.
#[inline]
fn note_level(needle: &mut Option<Input>, is_jump: &mut bool, input: Input) {
    match input {
        Input::NeedleCode(_) | Input::NeedleLevel(_) => *needle = Some(input),
        Input::Jump(level) => *is_jump = level.is_active(),
        _ => {}
    }
}

fn truth_since(now: &Truth, before: &Truth) -> Truth {
    Truth {
        powered_us: now.powered_us - before.powered_us,
        running_us: now.running_us - before.running_us,
        needle_stitches: std::array::from_fn(|n| {
            now.needle_stitches[n] - before.needle_stitches[n]
        }),
        jumps: now.jumps - before.jumps,
        trims: now.trims - before.trims,
        needle_breaks: std::array::from_fn(|n| now.needle_breaks[n] - before.needle_breaks[n]),
        power_ups: 1,
        shaft_pulses: now.shaft_pulses - before.shaft_pulses,
    }
}

fn tally_since(now: &DistortTally, before: &DistortTally) -> DistortTally {
    DistortTally {
        bounce_edges: now.bounce_edges - before.bounce_edges,
        glitches: now.glitches - before.glitches,
        missed_pulses: now.missed_pulses - before.missed_pulses,
        extra_pulses: now.extra_pulses - before.extra_pulses,
        missed_trims: now.missed_trims - before.missed_trims,
        missed_breaks: now.missed_breaks - before.missed_breaks,
        missed_jump_changes: now.missed_jump_changes - before.missed_jump_changes,
        hidden_needle_changes: now.hidden_needle_changes - before.hidden_needle_changes,
    }
}
