//! Faults by name. A fault is something the board shows; none of them stops it
//! counting.

use crate::medium::MediumError;

/// What is wrong with the board, its memory or its wiring.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Fault {
    /// The memory part does not answer.
    MemoryNoAnswer = 1,
    /// The bus cannot be used (held low, or a driver error).
    BusStuck = 2,
    /// The memory part has a size or page length that the store cannot use.
    MemoryShape = 3,
    /// The memory part is blank: the board has not been fitted.
    NotFitted = 4,
    /// The memory part belongs to another board.
    ForeignMemory = 5,
    /// The memory part holds no record of this board that can be read.
    MemoryUnreadable = 6,
    /// Too few good slots are left: nothing is stored any more.
    MemoryWornOut = 7,
    /// A snapshot could not be read whole; an older one was used.
    SnapshotLost = 8,
    /// A journal entry could not be read; older ones are missing.
    JournalGap = 9,
    /// Edges were lost because the capture queue was full.
    EdgesMissed = 10,
    /// Many shaft pulses are long enough to count but come sooner than the machine can turn,
    /// and are rejected as glitches: see [`crate::meter::Meter::is_shaft_faulty`].
    ShaftGlitches = 11,
    /// The firmware stopped by a panic or a hard fault and was reset.
    FirmwareStopped = 12,
    /// The clock does not answer, has stopped, or gives no date. Days stand still.
    ClockNoAnswer = 13,
    /// The clock's date is before a day that is known, or leaps. Days stand still.
    ClockWrong = 14,
}

impl Fault {
    /// All faults, in order of their numbers.
    pub const ALL: [Self; 14] = [
        Self::MemoryNoAnswer,
        Self::BusStuck,
        Self::MemoryShape,
        Self::NotFitted,
        Self::ForeignMemory,
        Self::MemoryUnreadable,
        Self::MemoryWornOut,
        Self::SnapshotLost,
        Self::JournalGap,
        Self::EdgesMissed,
        Self::ShaftGlitches,
        Self::FirmwareStopped,
        Self::ClockNoAnswer,
        Self::ClockWrong,
    ];

    /// Its number, as journal entries carry it.
    #[must_use]
    pub const fn number(self) -> u16 {
        self as u16
    }

    /// The fault with this number.
    #[must_use]
    pub fn from_number(number: u16) -> Option<Self> {
        Self::ALL.into_iter().find(|fault| fault.number() == number)
    }
}

impl From<MediumError> for Fault {
    fn from(error: MediumError) -> Self {
        match error {
            MediumError::NoAnswer => Self::MemoryNoAnswer,
            MediumError::Bus => Self::BusStuck,
            MediumError::OutOfRange => Self::MemoryShape,
        }
    }
}

/// The faults that are present now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FaultSet(u16);

impl FaultSet {
    /// Adds `fault`; whether it is new.
    pub fn raise(&mut self, fault: Fault) -> bool {
        let new = !self.contains(fault);
        self.0 |= 1 << fault.number();
        new
    }

    /// Removes `fault`; whether it was there.
    pub fn clear(&mut self, fault: Fault) -> bool {
        let was = self.contains(fault);
        self.0 &= !(1 << fault.number());
        was
    }

    /// Whether `fault` is present.
    #[must_use]
    pub const fn contains(self, fault: Fault) -> bool {
        self.0 >> fault.number() & 1 == 1
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The faults present, in order of their numbers.
    pub fn iter(self) -> impl Iterator<Item = Fault> {
        Fault::ALL.into_iter().filter(move |fault| self.contains(*fault))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_its_own_number_and_its_own_bit() {
        let mut set = FaultSet::default();
        for (n, fault) in Fault::ALL.into_iter().enumerate() {
            assert_eq!(usize::from(fault.number()), n + 1);
            assert_eq!(Fault::from_number(fault.number()), Some(fault));
            assert!(set.raise(fault) && !set.raise(fault));
            assert_eq!(set.iter().count(), n + 1);
        }
        for fault in Fault::ALL {
            assert!(set.clear(fault) && !set.contains(fault));
        }
        assert!(set.is_empty());
        assert_eq!(Fault::from_number(Fault::ALL.len() as u16 + 1), None);
    }
}
