//! What is on the display of the live panel, read back from the display model's memory.
//!
//! Invariant: what is shown is what arrived in the display's memory, nothing else.

use shaftbook_panel::frame::{FRAME_BYTES, Frame};
use shaftbook_world::bus::Bus;

/// What a person sees on the display of `bus`: dark when there is none, or it is off.
#[must_use]
pub fn seen(bus: &Bus) -> Frame {
    let lit = bus.display().filter(|display| display.is_on());
    lit.map_or_else(Frame::new, |display| {
        let bytes: &[u8; FRAME_BYTES] = display.ram();
        Frame::from_bytes(*bytes)
    })
}
