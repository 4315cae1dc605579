//! What the system tests share.
//!
//! - [`bench`](mod@bench): a board on the real driver and the modelled bus, with the truth
//!   beside it
//! - [`circles`]: circles of modules
//! - [`graph`]: the workspace's dependency graph and the rules on it
//! - [`sources`]: the tracked text files of the repository
//! - `images`: what the tests of the board images share (feature `images`)

pub mod bench;
pub mod circles;
pub mod graph;
#[cfg(feature = "images")]
pub mod images;
pub mod sources;
