//! Recorded signals: IEEE 1364 value change dumps (VCD), read for replay and written
//! from a simulation.
//!
//! - [`header`]: timescale and variables of a capture;
//! - [`signals`]: which variable of a capture is which input;
//! - [`scale`]: ticks to µs, and whether they are fine enough;
//! - [`read`]: a capture as the events a board sees;
//! - [`mod@write`]: events as a capture.
//!
//! Rules: an edge is a change from one known level to the other; `x` and `z` are not
//! levels: they make no edge and are counted. The first known level of the shaft,
//! trim and break lines is how the capture found them, not an edge.

pub mod header;
pub mod read;
mod read_error;
pub mod scale;
pub mod signals;
pub mod write;
