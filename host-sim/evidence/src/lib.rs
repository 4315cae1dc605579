//! What Shaftbook is proved with: proofs, broken boards, campaigns and their reports.
#![forbid(unsafe_code)]

pub mod campaign;
pub mod junit;
pub mod prove;
pub mod reference;
