//! The invented machine of the pictures, in four states.

use std::marker::PhantomData;

use shaftbook_care::hint::{Hints, look};
use shaftbook_care::machine::Machine;
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::identity::BoardId;
use shaftbook_core::journal::{EntryNumber, Event};
use shaftbook_core::ledger::{CarriedIn, Fitted, HistoryLine, IntervalBaseline, Ledger};
use shaftbook_core::settings::Settings;
use shaftbook_panel::state::{Build, MemoryHealth, State};

/// Needles on the head.
const NEEDLES: u8 = 12;
const HOUR_MS: u64 = 3_600_000;
/// 20 November 2026: day 1 is 1 January 2020.
const TODAY: u16 = 2_516;

/// A machine that a [`State`] can be borrowed from.
pub(super) struct Demo {
    ledger: Ledger,
    lifetime: Option<Counters>,
    session: Counters,
    faults: FaultSet,
    memory: MemoryHealth,
    hints: Hints,
    clock: Option<u16>,
}

impl Demo {
    /// Some years old, well kept.
    pub(super) fn steady() -> Self {
        let mut lifetime = Counters {
            powered_ms: 4_321 * HOUR_MS,
            running_ms: 2_874 * HOUR_MS,
            unattributed_stitches: 1_204,
            jumps: 1_882_310,
            trims: 402_118,
            power_ups: 811,
            glitches: 3_107,
            unattributed_breaks: 2,
            ..Counters::default()
        };
        let stitches = [31, 44, 12, 9, 27, 18, 15, 6, 22, 3, 11, 4];
        let breaks = [402, 566, 160, 121, 349, 236, 190, 80, 287, 41, 140, 50];
        for (n, (millions, breaks)) in stitches.into_iter().zip(breaks).enumerate() {
            lifetime.needle_stitches[n] = millions * 1_000_000 + 4_711 * (n as u64 + 1);
            lifetime.needle_breaks[n] = breaks;
        }
        let session = Counters {
            powered_ms: 5 * HOUR_MS,
            running_ms: 3 * HOUR_MS,
            power_ups: 1,
            ..Counters::default()
        };
        let mut demo = Self {
            ledger: Ledger::new(settings(), Key::new([0; KEY_BYTES])),
            lifetime: Some(lifetime),
            session,
            faults: FaultSet::default(),
            memory: MemoryHealth { retired_slots: 0, laps: 3_215 },
            hints: Hints::new(),
            clock: Some(TODAY),
        };
        demo.ledger.carried_in = CarriedIn { hours: 9_500, stitches: 0, trims: 0 };
        demo.ledger.services = 8;
        demo.ledger.interval = IntervalBaseline {
            powered_ms: lifetime.powered_ms - 412 * HOUR_MS,
            running_ms: lifetime.running_ms - 275 * HOUR_MS,
        };
        demo.fit_components(&lifetime);
        demo.remember();
        demo
    }

    /// The same machine some months later, with care left undone.
    pub(super) fn overdue() -> Self {
        let mut demo = Self::steady();
        let mut session = Counters { power_ups: 1, ..Counters::default() };
        for n in 0..usize::from(NEEDLES) {
            session.needle_stitches[n] = 9_000;
            session.needle_breaks[n] = 1;
        }
        session.needle_breaks[4] = 31;
        session.powered_ms = 8 * HOUR_MS;
        session.running_ms = 5 * HOUR_MS;
        let past = Counters { powered_ms: 100 * HOUR_MS, trims: 60_000, ..Counters::default() };
        demo.lifetime = demo.lifetime.map(|lifetime| lifetime.plus(&past).plus(&session));
        demo.session = session;
        demo.faults.raise(Fault::ShaftGlitches);
        demo.faults.raise(Fault::EdgesMissed);
        demo.hints = look(&demo.state().machine);
        demo
    }

    /// Figures that no machine reaches: every display has rolled over.
    pub(super) fn rolled_over() -> Self {
        let mut demo = Self::steady();
        if let Some(lifetime) = &mut demo.lifetime {
            lifetime.powered_ms = 1_000_042 * HOUR_MS;
            lifetime.needle_stitches[0] = 21_000_000_007;
        }
        demo
    }

    /// Back after two years in store: the board does not believe the date.
    pub(super) fn long_stored() -> Self {
        let mut demo = Self::steady();
        demo.faults.raise(Fault::ClockWrong);
        demo.clock = Some(TODAY + 731);
        demo
    }

    /// The memory does not answer: the past is not known.
    pub(super) fn without_memory() -> Self {
        let mut demo = Self::steady();
        demo.ledger.clear();
        demo.lifetime = None;
        demo.faults.raise(Fault::MemoryNoAnswer);
        demo
    }

    /// The place of the component of `kind`; 0 if there is none.
    pub(super) fn place_of(&self, kind: ComponentKind) -> u8 {
        let place = self.ledger.components.iter().position(|f| f.component.kind == kind);
        place.unwrap_or(0) as u8
    }

    pub(super) fn state(&self) -> State<'_> {
        State {
            machine: Machine {
                id: BoardId(0x5EED_2026_0000_0012),
                lifetime: self.lifetime,
                session: self.session,
                ledger: &self.ledger,
                faults: self.faults,
                day: Some(TODAY),
                hints: &self.hints,
                rules: PhantomData,
            },
            memory: self.memory,
            build: Build {
                version: concat!(env!("CARGO_PKG_VERSION"), "+1a2b3c4d5e"),
                hash: Some(0x5eed_cafe),
            },
            clock: self.clock,
        }
    }

    fn fit_components(&mut self, lifetime: &Counters) {
        let mut fit = |kind, measure: Measure, by, due: u32, permille: u64| {
            let component = Component {
                kind,
                measure,
                renewed_by: by,
                with_service: by == Role::Engineer,
                notice: due / 10 * 9,
                due,
            };
            let worn = u64::from(due) * measure.per_limit_unit() * permille / 1_000;
            let now = measure.value(lifetime, Some(TODAY));
            let fitted = Fitted { component, baseline: now.saturating_sub(worn) };
            // 20 of at most 32.
            let _ = self.ledger.components.push(fitted);
        };
        let wear = [310, 620, 155, 90, 480, 260, 710, 60, 340, 20, 130, 45];
        for (number, worn) in (1..=NEEDLES).zip(wear) {
            if let Some(needle) = Needle::new(number) {
                let measure = Measure::NeedleStitches(needle);
                fit(ComponentKind::needle(needle), measure, Role::Operator, 4_000_000, worn);
            }
        }
        fit(ComponentKind::FIXED_KNIFE, Measure::Trims, Role::Engineer, 500_000, 804);
        fit(ComponentKind::MOVING_KNIFE, Measure::Trims, Role::Engineer, 1_000_000, 402);
        fit(ComponentKind::HOOK_OIL, Measure::Running, Role::Operator, 8 * 3_600, 931);
        fit(ComponentKind::PLATE_CLEANING, Measure::Days, Role::Operator, 30, 600);
        fit(ComponentKind::TENSION_CLEANING, Measure::Days, Role::Operator, 14, 571);
        fit(ComponentKind::BOBBIN_CASE, Measure::Running, Role::Operator, 400 * 3_600, 350);
        fit(ComponentKind::BELT, Measure::Running, Role::Engineer, 2_000 * 3_600, 702);
        fit(ComponentKind::TRIMMER_CLEANING, Measure::Trims, Role::Operator, 20_000, 240);
    }

    fn remember(&mut self) {
        let lines = [
            (Event::Served, 0, 3_909, 190),
            (Event::Renewed, 0, 3_980, 160),
            (Event::FaultSeen, 11, 4_020, 131),
            (Event::Renewed, 0, 4_102, 95),
            (Event::Renewed, 0, 4_190, 58),
            (Event::ReplyTried, 0, 4_205, 50),
            (Event::Renewed, 0, 4_301, 9),
            (Event::Renewed, 0, 4_316, 2),
        ];
        for (number, (event, subject, powered_h, days_ago)) in (212..).zip(lines) {
            let line = HistoryLine {
                number: EntryNumber::new(number),
                event,
                subject,
                powered_s: powered_h * 3_600,
                day: Some(TODAY - days_ago),
            };
            // 8 of at most 16.
            let _ = self.ledger.history.push(line);
        }
    }
}

fn settings() -> Settings {
    Settings { needles: NEEDLES, ..Settings::default() }
}
