//! What the system tests share.
//!
//! - [`bench`](mod@bench): a board on the real driver and the modelled bus, with the truth beside it
//! - [`graph`]: the workspace's dependency graph and the rules on it
//! - [`sources`]: the tracked text files of the repository
//! - [`any_image`]: a board that boots from arbitrary bytes

pub mod any_image;
pub mod bench;
pub mod graph;
pub mod sources;
