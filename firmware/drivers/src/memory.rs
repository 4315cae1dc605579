//! Memory parts on the I²C bus, as the core's [`Medium`].
//!
//! - [`WiredPart`]: kind, bus address and shape of a part;
//! - [`Memory`]: the driver of whichever kind it is;
//! - [`Eeprom`]: 24-series, two address bytes, pages and a program time;
//! - [`Fram`]: the same commands, no pages, no program time.
//!
//! A driver is a bus and a [`WiredPart`], nothing else, so making one for each call costs no
//! more than keeping one. `&mut bus` is a bus too, so one bus serves several parts.
//!
//! Every operation is one bus transaction, and what the bus reports is not taken as proof of
//! what the part did: an acknowledged write may have programmed nothing (write-protect), and
//! some bus drivers report a short write to an absent part as done. So the store reads back
//! what it has written.

mod any;
mod eeprom;
mod fram;
mod transfer;
mod wired_part;

pub use any::Memory;
pub use eeprom::Eeprom;
pub use fram::Fram;
pub use wired_part::{PartKind, WiredPart};

#[cfg(doc)]
use shaftbook_core::medium::Medium;
