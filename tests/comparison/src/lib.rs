//! Stores of counters, side by side: the same sewing, the same part, the same cuts.
//!
//! - [`workload`]: what is sewn
//! - [`blob`]: the counters as 128 bytes
//! - [`lent`], [`hosted`]: the adapters of `comparison-stores` on the simulated part
//! - [`littlefs`]: `littlefs2`, which has to own and borrow its part
//! - [`ours`]: Shaftbook's own store
//! - [`run`]: a store through the workload
//! - [`judge`]: the same, cut at every bus byte
//! - [`figures`], [`table`]: what is shown of it

pub mod blob;
pub mod figures;
pub mod hosted;
pub mod judge;
pub mod lent;
pub mod littlefs;
pub mod ours;
pub mod run;
pub mod table;
pub mod workload;
