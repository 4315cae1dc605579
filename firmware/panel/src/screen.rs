//! The screens and their order.

use shaftbook_core::authority::EightDigits;
use shaftbook_core::service::Authorised;
use shaftbook_core::time::Instant;
use shaftbook_readout::code::Code;

/// A screen that Next leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Top {
    /// Interval and lifetime hours, and what is due next.
    Home,
    /// Needles: wear, and breaks.
    Needles,
    /// Care of each component.
    Care,
    /// First-look hints.
    Hints,
    /// All counters.
    Counters,
    /// The service interval.
    Service,
    /// The read-out code.
    ReadOut,
    /// Faults present.
    Faults,
    /// The journal.
    Journal,
    /// The board itself.
    About,
}

impl Top {
    /// In the order in which Next shows them.
    pub const ALL: [Self; 10] = [
        Self::Home,
        Self::Needles,
        Self::Care,
        Self::Hints,
        Self::Counters,
        Self::Service,
        Self::ReadOut,
        Self::Faults,
        Self::Journal,
        Self::About,
    ];

    /// The screen `steps` after this one, round and round.
    #[must_use]
    pub fn after(self, steps: usize) -> Self {
        let place = Self::ALL.iter().position(|top| *top == self).unwrap_or(0);
        Self::ALL.get((place + steps) % Self::ALL.len()).copied().unwrap_or(Self::Home)
    }

    /// The screen before this one.
    #[must_use]
    pub fn before(self) -> Self {
        self.after(Self::ALL.len() - 1)
    }
}

/// The reply while it is typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Typed {
    /// The digits, 0 to 9.
    pub digits: [u8; 8],
    /// The one that is typed, 0 to 7.
    pub at: u8,
}

impl Typed {
    /// The reply.
    #[must_use]
    pub fn reply(&self) -> Option<EightDigits> {
        let value = self.digits.iter().fold(0_u32, |sum, digit| sum * 10 + u32::from(*digit % 10));
        EightDigits::new(value)
    }
}

/// What came of something that was asked of the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notice {
    /// It is being stored.
    Working,
    /// It is durable.
    Done,
    /// The reply was wrong.
    WrongReply,
    /// Too many tries: wait this long, s.
    Wait(u32),
    /// Something else is under way.
    Busy,
    /// The board can store nothing now.
    NotReady,
    /// The challenge is no longer good.
    AskAnew,
}

/// Where the panel is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Screen {
    /// One of the screens in the row.
    Top(Top),
    /// A line of a list is chosen.
    List {
        /// The list.
        top: Top,
        /// The chosen line; in the care list, the place in the profile of the component
        /// that is chosen: the order changes while it is looked at.
        line: u8,
    },
    /// One component: page 0 what to do, 1 its figures, 2 its caution.
    Component {
        /// Its place in the profile.
        place: u8,
        /// The line it was opened from.
        line: u8,
        /// The page.
        page: u8,
    },
    /// Asks whether a component was really renewed.
    Confirm {
        /// Its place in the profile.
        place: u8,
        /// The line it was opened from.
        line: u8,
    },
    /// One journal entry, by its line in the list.
    Entry {
        /// The line.
        line: u8,
    },
    /// One fault, by its line in the list.
    Fault {
        /// The line.
        line: u8,
    },
    /// One hint, by its line in the list; page 0 what to do, 1 why.
    Hint {
        /// The line.
        line: u8,
        /// The page.
        page: u8,
    },
    /// The read-out code as it was when the screen was opened; text, or QR.
    Code {
        /// The code.
        code: Code,
        /// As QR code.
        qr: bool,
    },
    /// The challenge to read to the engineer; the digits come from the board.
    Challenge {
        /// What for.
        wish: Authorised,
        /// Its digits.
        challenge: Option<EightDigits>,
    },
    /// The reply is typed.
    Reply {
        /// What for.
        wish: Authorised,
        /// The challenge it answers.
        challenge: EightDigits,
        /// What is typed so far.
        typed: Typed,
    },
    /// What came of it.
    Told {
        /// The notice.
        notice: Notice,
        /// Since when.
        since: Instant,
    },
}
