//! Tests of the board images on emulated chips, behind feature `images`. They need the built
//! images and the emulators: see `.ci/steps.sh`.

mod qemu;
mod rp2040;
