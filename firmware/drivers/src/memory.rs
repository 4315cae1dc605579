//! Memory parts on the I²C bus, as the core's [`Medium`].
//!
//! - [`WiredPart`]: kind, bus address and shape of a part;
//! - [`Memory`]: the driver of whichever kind it is;
//! - [`Eeprom`]: 24-series, two address bytes, pages and a program time;
//! - [`Fram`]: the same commands, no pages, no program time.
//!
//! Each driver is a bus and a [`WiredPart`], nothing else: make one for a call or keep it,
//! it costs the same. `&mut bus` is a bus too, so one bus serves several parts.
//!
//! Rule of this module: every operation is one bus transaction, and no answer of the
//! part is believed further than the bus goes. An acknowledged write may have
//! programmed nothing (write-protect), and some bus drivers report a short write to
//! an absent part as done: the store reads back.

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
