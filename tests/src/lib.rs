//! What the system tests share.
//!
//! - [`graph`]: the workspace's dependency graph and the rules on it
//! - [`sources`]: the tracked text files of the repository
//! - [`any_image`]: a board that boots from arbitrary bytes

pub mod any_image;
pub mod graph;
pub mod sources;
