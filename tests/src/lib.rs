//! What the system tests share.
//!
//! - [`bench`](mod@bench): a board on the real driver and the modelled bus, with the truth beside it
//! - [`chip`]: a simulated chip for the boards' main loop
//! - [`graph`]: the workspace's dependency graph and the rules on it
//! - [`sources`]: the tracked text files of the repository
//! - [`any_image`]: a board that boots from arbitrary bytes
//! - `images`: what the tests of the board images share (feature `images`)

pub mod any_image;
pub mod bench;
pub mod chip;
pub mod graph;
#[cfg(feature = "images")]
pub mod images;
pub mod sources;
