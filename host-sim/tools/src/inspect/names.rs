//! The codes that are on the part, in words of the trade.

use shaftbook_core::component::{ComponentKind, Measure};
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::Event;

/// A component's kind.
#[must_use]
pub fn kind(kind: ComponentKind) -> String {
    let name = match kind {
        ComponentKind::FIXED_KNIFE => "fixed knife",
        ComponentKind::MOVING_KNIFE => "moving knife",
        ComponentKind::HOOK_OIL => "hook lubrication",
        ComponentKind::PLATE_CLEANING => "cleaning under the plate",
        ComponentKind::TENSION_CLEANING => "tension base cleaning",
        ComponentKind::BOBBIN_CASE => "bobbin case",
        ComponentKind::BELT => "belt",
        ComponentKind::TRIMMER_CLEANING => "trimmer cleaning",
        ComponentKind(number @ 1..=16) => return format!("needle {number}"),
        ComponentKind(number) => return format!("component kind {number}"),
    };
    name.to_owned()
}

/// A measure, with the unit of its limits.
#[must_use]
pub fn measure(measure: Measure) -> String {
    let name = match measure {
        Measure::Powered => "powered, s",
        Measure::Running => "running, s",
        Measure::Stitches => "stitches",
        Measure::Trims => "trims",
        Measure::PowerUps => "power-ups",
        Measure::Days => "days",
        Measure::NeedleStitches(needle) => {
            return format!("stitches of needle {}", needle.number());
        }
    };
    name.to_owned()
}

/// A fault.
#[must_use]
pub fn fault(fault: Fault) -> &'static str {
    match fault {
        Fault::MemoryNoAnswer => "the memory part does not answer",
        Fault::BusStuck => "the bus cannot be used",
        Fault::MemoryShape => "the part has a shape that cannot be used, or is not whole",
        Fault::NotFitted => "the part is blank: never fitted",
        Fault::ForeignMemory => "the part belongs to another board",
        Fault::MemoryUnreadable => "no record of this board can be read",
        Fault::MemoryWornOut => "too few good slots are left: worn out",
        Fault::SnapshotLost => "a snapshot could not be read whole: an older one is used",
        Fault::JournalGap => "a journal entry could not be read: older ones are missing",
        Fault::EdgesMissed => "edges were missed",
        Fault::ShaftGlitches => "shaft pulses are rejected as glitches",
        Fault::FirmwareStopped => "the firmware was stopped and reset",
        Fault::ClockNoAnswer => "the clock does not answer, has stopped or gives no date",
        Fault::ClockWrong => "the clock's date is before a known day, or leaps",
    }
}

/// An event, with its subject.
#[must_use]
pub fn event(event: Event, subject: u16) -> String {
    match event {
        Event::Renewed if subject == 1 => "renewed, authorised".to_owned(),
        Event::Renewed => "renewed".to_owned(),
        Event::Served => "service".to_owned(),
        Event::SlotRetired => format!("memory slot {subject} retired"),
        Event::ReplyTried => "reply to the challenge tried".to_owned(),
        Event::DueByDay => format!("component {} came due by the calendar", subject + 1),
        Event::FaultSeen => match Fault::from_number(subject) {
            Some(seen) => format!("fault {subject} seen: {}", fault(seen)),
            None => format!("fault {subject} seen"),
        },
    }
}
