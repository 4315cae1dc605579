//! What the generator or a capture gives: time-stamped changes of the supply and of the inputs.

use shaftbook_core::input::Input;

/// One thing that happens to the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SewingEvent {
    /// The board gets power. Inputs are at rest until one says otherwise.
    PowerUp,
    /// An input changes.
    Input(Input),
    /// Power is gone: everything in RAM is lost.
    Cut,
}

/// A [`SewingEvent`] and when it happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timed {
    /// µs since midnight of the first day (or since a capture's beginning).
    pub at_us: u64,
    /// What happens.
    pub event: SewingEvent,
}

impl Timed {
    /// `event` at `at_us` µs.
    #[must_use]
    pub const fn new(at_us: u64, event: SewingEvent) -> Self {
        Self { at_us, event }
    }

    /// `input` at `at_us` µs.
    #[must_use]
    pub const fn input(at_us: u64, input: Input) -> Self {
        Self { at_us, event: SewingEvent::Input(input) }
    }
}
