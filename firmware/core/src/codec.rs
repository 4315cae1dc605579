//! The records on the part: one file a format, each with the places of its fields by name
//! and one walk that encodes and decodes. `docs/FORMAT.md` describes every byte.
//!
//! - [`fields`]: little-endian bit fields, one walk for both directions
//! - [`frame`]: what all records share: kind, lap, CRC
//! - [`measures`]: the block of counters that checkpoints and entries share
//! - [`checkpoint`]: the lifetime counters, relative to a snapshot
//! - [`entry`]: one journal entry
//! - [`snapshot`]: everything whole, as a byte stream over several slots
//!
//! Invariants: decoding never panics; what was encoded decodes to the same value;
//! a value that a field cannot hold is capped, never wrapped.

pub mod checkpoint;
pub mod entry;
pub mod fields;
pub mod frame;
pub mod measures;
pub mod snapshot;
