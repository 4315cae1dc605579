//! The engineer's keys: one workshop key in a file, and from it a key for each board.
//!
//! - [`workshop`]: the secret, and how a board's key is derived from it
//! - [`mod@file`]: the key file: its form, its permissions, what is refused
//!
//! Invariants: no key is ever printed, logged or part of an error; `Debug` shows none; a
//! key file is made once, for its owner only, and never overwritten.
//!
//! What this protects against, and what not, is in `docs/SECURITY.md`.

pub mod file;
pub mod workshop;
