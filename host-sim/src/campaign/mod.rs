//! Campaigns: many scenarios × seeds × fault mixes, and the evidence that they leave.
//!
//! - [`store`]: what is asked of a store that somebody brings

pub mod store;
