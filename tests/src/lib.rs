//! System tests live in the `[[test]]` targets of this package.

pub mod bench;
