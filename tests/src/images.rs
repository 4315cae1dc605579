//! What the tests of the board images share, behind feature `images`.
//!
//! - [`tools`]: programs and images that must be there
//! - [`script`]: a scenario as records for the QEMU image, with the truth beside each
//! - [`qemu`]: the image on QEMU, from power-up to the kill
//! - [`probe`]: QEMU's monitor and debug stub
//! - [`rp2040`]: the image for the RP2040 on its emulator
//! - [`part`]: what the memory part holds, and what it must hold

pub mod part;
pub mod probe;
pub mod qemu;
pub mod rp2040;
pub mod script;
pub mod tools;
