//! What the machine tells the board: one [`Input`] a change, with its time stamp.
//!
//! Levels are *logical*: the driver has already undone an inverting opto-coupler,
//! so [`Level::Active`] means "the sensor sees the flag", "the trimmer is
//! driven", "a break is reported", "supply is failing".

/// The logical level of a digital signal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Level {
    /// At rest.
    #[default]
    Inactive,
    /// Asserted.
    Active,
}

impl Level {
    /// `true` is [`Level::Active`].
    #[must_use]
    pub const fn from_bool(active: bool) -> Self {
        if active { Self::Active } else { Self::Inactive }
    }

    /// Whether the signal is asserted.
    #[must_use]
    pub const fn is_active(self) -> bool {
        matches!(self, Self::Active)
    }
}

/// One change of one input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Input {
    /// An edge of the main-shaft sensor.
    Shaft(Level),
    /// An edge of the thread trimmer's drive.
    Trim(Level),
    /// An edge of the machine's thread-break signal (optional).
    ThreadBreak(Level),
    /// An edge of the jump signal: needle bar disengaged (optional).
    Jump(Level),
    /// The needle code lines as they now read, bit 0 = line 0 (4 lines).
    NeedleCode(u8),
    /// A reading of the needle-position voltage, in mV at the machine's tap.
    NeedleLevel(u16),
    /// An edge of the power-fail warning.
    PowerFail(Level),
}
