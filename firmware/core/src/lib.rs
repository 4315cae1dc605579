//! # Shaftbook core
//!
//! Counts what wears an embroidery machine and keeps the counts through any power
//! cut. No hardware, no clock, no allocation: edges and time come in as arguments,
//! the memory part is a small trait, effects and the next deadline come out.
//!
//! The layers, each using only those before it:
//!
//! 1. [`time`], [`serial`], [`input`], [`counters`], [`settings`], [`identity`], [`fault`],
//!    [`retired`]: words
//! 2. [`signal`], [`needle`], [`meter`]: from edges to the session's counters
//! 3. [`component`], [`journal`], [`ledger`], [`authority`], [`service`]: wear,
//!    renewal and who may do it
//! 4. [`medium`], [`codec`], then [`store`]: durable, wear-levelled, proof against cuts
//! 5. [`board`]: the state machine that a main loop drives
//! 6. [`exchange`]: asking the engineer and entering the reply, for a panel or a cable;
//!    [`turn`]: when the main loop has time for the panel
//!
//! No two modules need each other (`tests/system/circles.rs`).
//!
//! [`mod@rules`] names the rules on which the guarantees rest, so that a simulator can
//! break them one by one and see its proofs fail.
//!
//! Panics: none, whatever comes in. `docs/DESIGN.md` says why things are so,
//! `docs/FORMAT.md` describes every byte on the part.

#![no_std]
#![forbid(unsafe_code)]

pub mod authority;
pub mod board;
pub mod codec;
pub mod component;
pub mod counters;
pub mod exchange;
pub mod fault;
pub mod identity;
pub mod input;
pub mod journal;
pub mod ledger;
pub mod medium;
pub mod meter;
pub mod needle;
pub mod retired;
pub mod rules;
pub mod serial;
pub mod service;
pub mod settings;
pub mod signal;
pub mod store;
pub mod time;
pub mod turn;
