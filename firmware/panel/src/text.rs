//! All words on the screens: one table for each language, each in a file of its own.
//!
//! A new language is one file with a [`Words`], and its name in [`Language`]. Characters are
//! those of ISO/IEC 8859-1, which the fonts have.
//!
//! Invariant: a line of text fits its place on the screen ([`COLUMNS`], or what the comment of
//! its field says). The `tests` beside this file check every line of every language.

mod english;
mod german;

use shaftbook_care::hint::Finding;
use shaftbook_core::component::ComponentKind;
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::Event;

/// Columns of a full line.
pub const COLUMNS: usize = 21;
/// Columns of a foot line, beside the mark of the button that it speaks of.
pub const FOOT_COLUMNS: usize = 19;
/// Columns of a name in a list, beside a figure of [`FIGURE_COLUMNS`].
pub const NAME_COLUMNS: usize = 14;
/// Columns of a figure in a list.
pub const FIGURE_COLUMNS: usize = 6;

/// A language of the panel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Language {
    /// English.
    #[default]
    English,
    /// German.
    German,
}

impl Language {
    /// All languages, in the order of their numbers.
    pub const ALL: [Self; 2] = [Self::English, Self::German];

    /// The language with number `code` in the board's settings; English for a number
    /// that this version does not know.
    #[must_use]
    pub fn from_code(code: u8) -> Self {
        Self::ALL.get(usize::from(code)).copied().unwrap_or_default()
    }

    /// Its two letters (ISO 639-1).
    #[must_use]
    pub const fn letters(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
        }
    }

    /// The one after it, round to the first.
    #[must_use]
    pub const fn next(self) -> Self {
        match self {
            Self::English => Self::German,
            Self::German => Self::English,
        }
    }

    /// Its words.
    #[must_use]
    pub const fn words(self) -> &'static Words {
        match self {
            Self::English => &english::WORDS,
            Self::German => &german::WORDS,
        }
    }
}

/// What is said of a kind of component.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CareWords {
    /// Its name, at most [`NAME_COLUMNS`].
    pub name: &'static str,
    /// What to do.
    pub todo: [&'static str; 2],
    /// The caution that belongs to it.
    pub caution: [&'static str; 3],
}

/// What is said of a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FaultWords {
    /// Its name.
    pub name: &'static str,
    /// What it means for the counts, and what to do.
    pub todo: [&'static str; 3],
}

/// What is said of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HintWords {
    /// Where to look, in one line; a needle's number may follow.
    pub name: &'static str,
    /// What to look at.
    pub todo: [&'static str; 2],
    /// What `seen` is, at most 10 columns.
    pub seen: &'static str,
    /// What `against` is, at most 10 columns.
    pub against: &'static str,
}

/// The words of one language. Lines of at most [`COLUMNS`] unless said otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Words {
    /// The language's own name.
    pub language: &'static str,
    /// Between groups of three digits.
    pub separator: char,
    /// Before decimals.
    pub decimal: char,

    /// Titles, at most 16 columns.
    pub home: &'static str,
    /// See [`Words::home`].
    pub counters: &'static str,
    /// See [`Words::home`].
    pub needles: &'static str,
    /// See [`Words::home`].
    pub care: &'static str,
    /// See [`Words::home`].
    pub hints: &'static str,
    /// See [`Words::home`].
    pub service: &'static str,
    /// See [`Words::home`].
    pub readout: &'static str,
    /// See [`Words::home`].
    pub journal: &'static str,
    /// See [`Words::home`].
    pub faults: &'static str,
    /// See [`Words::home`].
    pub about: &'static str,
    /// See [`Words::home`]: before something is renewed.
    pub confirm: &'static str,
    /// See [`Words::home`]: the challenge.
    pub ask_engineer: &'static str,
    /// See [`Words::home`]: entering the reply.
    pub reply: &'static str,
    /// See [`Words::home`]: what came of it.
    pub notice: &'static str,

    /// "of 500 h": at most 6 columns.
    pub of: &'static str,
    /// Unit of hours, at most 2 columns.
    pub h: &'static str,
    /// Before the lifetime hours, at most 9 columns.
    pub lifetime: &'static str,
    /// Nothing is due.
    pub nothing_due: &'static str,
    /// The board does not know its past yet, or never will.
    pub not_known: &'static str,
    /// Beside a component that is due, at most 4 columns.
    pub due: &'static str,
    /// Service is due, as the next thing to do; at most [`NAME_COLUMNS`].
    pub service_name: &'static str,

    /// Counters, at most 10 columns each.
    pub stitches: &'static str,
    /// See [`Words::stitches`].
    pub unattributed: &'static str,
    /// See [`Words::stitches`].
    pub jumps: &'static str,
    /// See [`Words::stitches`].
    pub trims: &'static str,
    /// See [`Words::stitches`].
    pub breaks: &'static str,
    /// See [`Words::stitches`].
    pub running: &'static str,
    /// See [`Words::stitches`].
    pub powered: &'static str,
    /// See [`Words::stitches`].
    pub power_ups: &'static str,
    /// See [`Words::stitches`].
    pub glitches: &'static str,
    /// See [`Words::stitches`].
    pub missed_edges: &'static str,
    /// Before figures that a person stated.
    pub stated: &'static str,

    /// A needle, before its number; at most 7 columns.
    pub needle: &'static str,
    /// After breaks per 100,000 stitches, at most 6 columns.
    pub per_100k: &'static str,
    /// Wear, at most 7 columns.
    pub wear: &'static str,
    /// The due limit, at most 7 columns.
    pub limit: &'static str,
    /// Before the days that are left, at most 7 columns.
    pub due_in: &'static str,
    /// What is left, at most 7 columns.
    pub left: &'static str,
    /// Units of limits, at most 9 columns: times, stitches, trims, power-ups, days.
    pub units: [&'static str; 5],
    /// Calendar days, at most 5 columns.
    pub days: &'static str,
    /// Less than a day, at most 6 columns.
    pub today: &'static str,
    /// Days of use, at most 8 columns.
    pub days_of_use: &'static str,
    /// No rate of use to go by yet.
    pub no_rate: &'static str,
    /// The profile has no components.
    pub no_components: &'static str,

    /// Foot lines, at most [`FOOT_COLUMNS`]: what Act does here.
    pub act_browse: &'static str,
    /// See [`Words::act_browse`]: in a list.
    pub act_open: &'static str,
    /// See [`Words::act_browse`]: at a component.
    pub hold_renew: &'static str,
    /// See [`Words::act_browse`]: at a component that is the engineer's.
    pub hold_ask: &'static str,
    /// See [`Words::act_browse`]: at the confirmation.
    pub hold_confirm: &'static str,
    /// See [`Words::act_browse`]: at the challenge.
    pub act_enter: &'static str,
    /// See [`Words::act_browse`]: at a digit.
    pub act_digit: &'static str,
    /// See [`Words::act_browse`]: at the last digit.
    pub hold_send: &'static str,
    /// See [`Words::act_browse`]: at the read-out code, that it may not change any more.
    pub act_hold_still: &'static str,
    /// See [`Words::act_browse`]: at a date that the board does not believe.
    pub hold_date: &'static str,
    /// See [`Words::act_browse`]: at the language.
    pub hold_language: &'static str,

    /// At the service screen, at most 12 columns.
    pub services_done: &'static str,
    /// See [`Words::services_done`].
    pub parts_renewed: &'static str,
    /// What the interval counts: powered time, or running time.
    pub counts_powered: &'static str,
    /// See [`Words::counts_powered`].
    pub counts_running: &'static str,
    /// At the challenge: the board's tag, at most 8 columns.
    pub board: &'static str,
    /// At the challenge: the service number, at most 8 columns.
    pub number: &'static str,
    /// At the challenge: its digits, at most 8 columns.
    pub code: &'static str,
    /// At the challenge: what it is for, at most [`COLUMNS`].
    pub for_service: &'static str,
    /// See [`Words::for_service`].
    pub for_renewal: &'static str,
    /// See [`Words::for_service`].
    pub for_fitting: &'static str,

    /// Notices after something was asked of the board.
    pub working: &'static str,
    /// See [`Words::working`].
    pub done: &'static str,
    /// See [`Words::working`].
    pub wrong_reply: &'static str,
    /// See [`Words::working`]: a time of up to 7 columns follows.
    pub wait: &'static str,
    /// See [`Words::working`].
    pub try_again: &'static str,
    /// See [`Words::working`].
    pub not_ready: &'static str,
    /// See [`Words::working`].
    pub ask_anew: &'static str,

    /// Before a date, at most 8 columns.
    pub date: &'static str,
    /// At an entry that the engineer authorised.
    pub authorised: &'static str,
    /// Nothing in the journal.
    pub no_entries: &'static str,
    /// Events of the journal, at most 12 columns, in the order of their numbers.
    pub events: [&'static str; 6],
    /// No faults.
    pub no_faults: &'static str,
    /// The faults, in the order of [`Fault::ALL`].
    pub fault: [FaultWords; Fault::ALL.len()],

    /// No hints.
    pub no_sign: [&'static str; 2],
    /// Hardly chance, at most 12 columns.
    pub strong: &'static str,
    /// Worth a look, at most 12 columns.
    pub possible: &'static str,
    /// Spans, at most 12 columns: since power-up, lifetime, since renewal.
    pub spans: [&'static str; 3],
    /// The findings: one needle; all needles; trimmer; knife; needle signal; shaft
    /// signal.
    pub hint: [HintWords; 6],

    /// What is measured, at most 8 columns.
    pub measured: &'static str,
    /// What is stated, at most 8 columns.
    pub stated_hours: &'static str,
    /// The full identity, at most 4 columns.
    pub identity: &'static str,
    /// Version, at most 9 columns.
    pub version: &'static str,
    /// Hash of the firmware's own bytes.
    pub hash: &'static str,
    /// Memory slots retired, at most 13 columns.
    pub retired: &'static str,
    /// Times round the memory, at most 13 columns.
    pub laps: &'static str,
    /// The language, at most 9 columns.
    pub language_label: &'static str,

    /// A needle.
    pub needle_care: CareWords,
    /// Kinds 32 to 39: see [`ComponentKind`].
    pub kind: [CareWords; 8],
    /// The profile's own; its number follows the name.
    pub own_care: CareWords,
}

impl Words {
    /// What is said of components of `kind`.
    #[must_use]
    pub fn care_words(&self, kind: ComponentKind) -> &CareWords {
        if kind.0 < 32 {
            return &self.needle_care;
        }
        self.kind.get(usize::from(kind.0 - 32)).unwrap_or(&self.own_care)
    }

    /// What is said of `fault`.
    #[must_use]
    pub fn fault_words(&self, fault: Fault) -> &FaultWords {
        let place = Fault::ALL.iter().position(|f| *f == fault).unwrap_or(0);
        // The array has as many places as there are faults.
        self.fault.get(place).unwrap_or(&self.fault[0])
    }

    /// What is said of `finding`.
    #[must_use]
    pub const fn hint_words(&self, finding: Finding) -> &HintWords {
        let [needle, all, trimmer, knife, needle_signal, shaft_signal] = &self.hint;
        match finding {
            Finding::NeedleBreaks(_) => needle,
            Finding::BreaksEverywhere => all,
            Finding::TrimmerDirty => trimmer,
            Finding::KnifeWorn => knife,
            Finding::NoNeedleChange => needle_signal,
            Finding::ShaftGlitches => shaft_signal,
        }
    }

    /// What an event is called.
    #[must_use]
    pub const fn event(&self, event: Event) -> &'static str {
        let [renewed, served, retired, tried, fault, due] = self.events;
        match event {
            Event::Renewed => renewed,
            Event::Served => served,
            Event::SlotRetired => retired,
            Event::ReplyTried => tried,
            Event::FaultSeen => fault,
            Event::DueByDay => due,
        }
    }
}

#[cfg(test)]
mod tests;
