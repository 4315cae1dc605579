//! The ledger of a life, held against what was asked for: settings, components, baselines and
//! services are wholly as before a command or wholly as after it, and after it when the board had
//! the time to do it.
//!
//! A baseline is where its measure stood when the command was taken. That is the board's own
//! count then: how it relates to the truth is judged elsewhere (`counts`).

use shaftbook_core::board::Fitting;
use shaftbook_core::component::{Component, Measure, Role, Standing};
use shaftbook_core::counters::Counters;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::ledger::{Fitted, IntervalBaseline, Ledger};
use shaftbook_core::settings::Settings;
use shaftbook_world::judge::no_baseline_ahead;

/// What a person asked for.
#[derive(Clone, Debug)]
pub enum Asked {
    /// Renewals, dated to the moment at which they were asked for.
    Renew(ComponentSet),
    /// Renewals by the engineer, dated to when the reply was judged.
    RenewByReply(ComponentSet),
    /// A service.
    Service,
    /// The first fitting.
    Fit(Box<Fitting>),
    /// A new fitting.
    Refit(Box<Fitting>),
}

#[derive(Clone, Debug)]
struct Pending {
    asked: Asked,
    /// The board's counts when it was asked.
    at: Counters,
    /// Days that the board may have known then: 0, or between these.
    days: (u64, u64),
    /// It may be dated later than it was asked for.
    may_be_late: bool,
    /// There was time to do it, and nothing in the way.
    is_due: bool,
}

/// The ledger as it must be.
#[derive(Clone, Debug)]
pub struct Book {
    settings: Settings,
    components: Vec<Fitted>,
    services: u16,
    interval: IntervalBaseline,
    pending: Option<Pending>,
    /// Places that were due by the calendar, for all to see after a power-up.
    due_by_day: ComponentSet,
}

impl Book {
    /// The book of a board that was just fitted for the first time, on `day`.
    #[must_use]
    pub fn new(fitting: &Fitting, day: u64) -> Self {
        let mut book = Self {
            settings: fitting.settings,
            components: Vec::new(),
            services: 0,
            interval: IntervalBaseline::default(),
            pending: None,
            due_by_day: ComponentSet::default(),
        };
        let asked = Asked::Fit(Box::new(fitting.clone()));
        book.asked(asked, Counters::default(), (day, day), false);
        book.is_due();
        book
    }

    /// Services done.
    #[must_use]
    pub const fn services(&self) -> u16 {
        self.services
    }

    /// The settings that the board has.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Whether the board has the components of `fitting`.
    #[must_use]
    pub fn has(&self, fitting: &Fitting) -> bool {
        self.components.iter().map(|fitted| &fitted.component).eq(&fitting.components)
    }

    /// Whether a command is under way.
    #[must_use]
    pub const fn is_pending(&self) -> bool {
        self.pending.is_some()
    }

    /// Of `components` those that there are and that `role` alone may renew.
    #[must_use]
    pub fn of_role(&self, components: u32, role: Role) -> ComponentSet {
        let places = self.components.iter().enumerate();
        let of_role = places.filter(|(_, fitted)| fitted.component.renewed_by == role);
        let all = of_role.fold(ComponentSet(0), |set, (n, _)| set.with(ComponentSet::only(n)));
        ComponentSet(all.0 & components)
    }

    /// A command was taken by the board when its counts were `at`; the days that it may have
    /// known are 0 or `days`.
    pub fn asked(&mut self, asked: Asked, at: Counters, days: (u64, u64), may_be_late: bool) {
        self.pending = Some(Pending { asked, at, days, may_be_late, is_due: false });
    }

    /// Bus or part are away: what is under way may be done, and dated, later.
    pub fn delayed(&mut self) {
        if let Some(pending) = &mut self.pending {
            (pending.may_be_late, pending.is_due) = (true, false);
        }
    }

    /// There was time for what is under way.
    pub fn is_due(&mut self) {
        if let Some(pending) = &mut self.pending {
            pending.is_due = !pending.may_be_late;
        }
    }

    /// The board's RAM is lost: what is not on the part now never will be.
    ///
    /// # Errors
    /// As [`Book::look`].
    pub fn after_cut(&mut self, ledger: &Ledger, latest: &Counters) -> Result<(), String> {
        let told = self.hold(ledger, latest, true);
        self.pending = None;
        told
    }

    /// Looks at the board's ledger, when its counts are `latest`.
    ///
    /// # Errors
    /// What does not hold.
    pub fn look(&mut self, ledger: &Ledger, latest: &Counters) -> Result<(), String> {
        // A board has a new fitting in its RAM before that is durable.
        let is_refit = |pending: &Pending| matches!(pending.asked, Asked::Refit(_));
        let is_certain = self.pending.as_ref().is_none_or(|p| p.is_due || !is_refit(p));
        self.hold(ledger, latest, is_certain)
    }

    /// Holds `ledger` against the book. What was asked for goes into the book when it is done,
    /// if that `is_certain` to stay so.
    fn hold(&mut self, ledger: &Ledger, latest: &Counters, is_certain: bool) -> Result<(), String> {
        no_baseline_ahead(ledger, latest)?;
        let before = self.differs(ledger);
        if let Some(pending) = &self.pending {
            match self.after(pending, ledger, latest) {
                Ok(()) => {
                    if is_certain {
                        self.adopt(ledger);
                    }
                    return Ok(());
                }
                Err(after) if pending.is_due => {
                    return Err(format!("what was asked for is not done: {after}"));
                }
                Err(after) => {
                    return before.map_or(Ok(()), |before| {
                        Err(format!("neither before nor after: {before}; {after}"))
                    });
                }
            }
        }
        before.map_or(Ok(()), |what| Err(format!("the ledger has changed: {what}")))
    }

    fn adopt(&mut self, ledger: &Ledger) {
        let renewed = match self.pending.take().map(|pending| pending.asked) {
            Some(Asked::Renew(set) | Asked::RenewByReply(set)) => set,
            Some(Asked::Service) => ledger.renewed_by_service(),
            _ => ComponentSet(u32::MAX),
        };
        self.due_by_day = ComponentSet(self.due_by_day.0 & !renewed.0);
        self.settings = ledger.settings;
        self.components = ledger.components.iter().copied().collect();
        (self.services, self.interval) = (ledger.services, ledger.interval);
    }

    /// How `ledger` differs from the book.
    fn differs(&self, ledger: &Ledger) -> Option<String> {
        if ledger.settings != self.settings {
            return Some("the settings are others".into());
        }
        if (ledger.services, ledger.interval) != (self.services, self.interval) {
            return Some(format!(
                "{} services since {:?}, not {} since {:?}",
                ledger.services, ledger.interval, self.services, self.interval
            ));
        }
        if ledger.components.len() != self.components.len() {
            return Some(format!("{} components", ledger.components.len()));
        }
        let pairs = ledger.components.iter().zip(&self.components);
        pairs.enumerate().find(|(_, (is, was))| is != was).map(|(place, (is, was))| {
            format!("component {place}: {:?} from {}", is.component.kind, is.baseline)
                + &format!(", not {:?} from {}", was.component.kind, was.baseline)
        })
    }

    /// Whether `ledger` is the book after `pending`.
    fn after(&self, pending: &Pending, ledger: &Ledger, latest: &Counters) -> Result<(), String> {
        let is_begun = matches!(pending.asked, Asked::Service | Asked::Fit(_));
        let served = matches!(pending.asked, Asked::Service);
        if ledger.services != self.services + u16::from(served) {
            return Err(format!("{} services", ledger.services));
        }
        let (at, now) = (&pending.at, latest);
        let interval = ledger.interval;
        let is_interval = if is_begun {
            (at.powered_ms..=now.powered_ms).contains(&interval.powered_ms)
                && (at.running_ms..=now.running_ms).contains(&interval.running_ms)
        } else {
            interval == self.interval
        };
        if !is_interval {
            return Err(format!("the interval begins at {interval:?}"));
        }
        let settings = match &pending.asked {
            Asked::Fit(fitting) | Asked::Refit(fitting) => &fitting.settings,
            _ => &self.settings,
        };
        if ledger.settings != *settings {
            return Err("the settings are others".into());
        }
        let wanted = self.wanted(&pending.asked);
        if ledger.components.len() != wanted.len() {
            return Err(format!("{} components, not {}", ledger.components.len(), wanted.len()));
        }
        let is_exact = matches!(pending.asked, Asked::Renew(_)) && !pending.may_be_late;
        for (place, (is, (component, kept))) in ledger.components.iter().zip(wanted).enumerate() {
            let is_right = is.component == component
                && match kept {
                    Some(baseline) => is.baseline == baseline,
                    None if component.measure == Measure::Days => {
                        let (least, most) = pending.days;
                        is.baseline == 0 && least == 0 || (least..=most).contains(&is.baseline)
                    }
                    None => {
                        let least = component.measure.value(at, None);
                        let most = component.measure.value(if is_exact { at } else { now }, None);
                        (least..=most).contains(&is.baseline)
                    }
                };
            if !is_right {
                let (kind, baseline) = (is.component.kind, is.baseline);
                return Err(format!("component {place}, {kind:?}, counts from {baseline}"));
            }
        }
        Ok(())
    }

    /// The components after `asked`, each with its baseline if it keeps one.
    fn wanted(&self, asked: &Asked) -> Vec<(Component, Option<u64>)> {
        let all = self.components.iter();
        match asked {
            Asked::Renew(set) | Asked::RenewByReply(set) => all
                .enumerate()
                .map(|(n, old)| (old.component, (!set.contains(n)).then_some(old.baseline)))
                .collect(),
            Asked::Service => all
                .map(|old| (old.component, (!old.component.with_service).then_some(old.baseline)))
                .collect(),
            Asked::Fit(fitting) | Asked::Refit(fitting) => fitting
                .components
                .iter()
                .map(|new| {
                    let same = |old: &&Fitted| {
                        (old.component.kind, old.component.measure) == (new.kind, new.measure)
                    };
                    (*new, self.components.iter().find(same).map(|old| old.baseline))
                })
                .collect(),
        }
    }

    /// Notes which components are due by the calendar, from what is stored alone.
    pub fn note_due_by_day(&mut self, ledger: &Ledger, lifetime: &Counters) {
        self.due_by_day = due_by_day(ledger, lifetime);
    }

    /// After a power-up, without a clock, what was due by the calendar is still due.
    ///
    /// # Errors
    /// Which is not.
    pub fn still_due(&self, ledger: &Ledger, lifetime: &Counters) -> Result<(), String> {
        let due = due_by_day(ledger, lifetime);
        if due.0 & self.due_by_day.0 == self.due_by_day.0 {
            return Ok(());
        }
        Err(format!("due by the calendar no more: places {:b}", self.due_by_day.0 & !due.0))
    }
}

fn due_by_day(ledger: &Ledger, lifetime: &Counters) -> ComponentSet {
    let day = ledger.day_reached(lifetime);
    let is_due = |(place, fitted): &(usize, &Fitted)| {
        let wear = ledger.wear(*place, lifetime, day).unwrap_or(0);
        fitted.component.measure == Measure::Days
            && fitted.component.standing(wear) == Standing::Due
    };
    let due = ledger.components.iter().enumerate().filter(is_due);
    due.fold(ComponentSet(0), |set, (place, _)| set.with(ComponentSet::only(place)))
}
