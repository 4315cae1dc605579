//! The probe that weighs `littlefs2`, with the file system and the part that it borrows in the
//! main function.

#![no_std]
#![no_main]

use core::hint::black_box;

use comparison_stores::littlefs::{Allocation, Blocks, Filesystem, mount, read, write};
use comparison_stores::{Failure, Value};
use comparison_thumb::Unknown;
use littlefs2_sys as _;

comparison_thumb::state!((Allocation<Blocks<Unknown>>, Filesystem<'static, Blocks<Unknown>>));

#[inline(never)]
fn probe_open<'a>(
    allocation: &'a mut Allocation<Blocks<Unknown>>,
    blocks: &'a mut Blocks<Unknown>,
) -> Result<Filesystem<'a, Blocks<Unknown>>, Failure> {
    mount(allocation, blocks)
}

#[inline(never)]
fn probe_read(system: &Filesystem<'_, Blocks<Unknown>>) -> Result<Option<Value>, Failure> {
    read(system)
}

#[inline(never)]
fn probe_store(system: &Filesystem<'_, Blocks<Unknown>>, value: &Value) -> Result<(), Failure> {
    write(system, value)
}

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    black_box(STATE_BYTES.load(core::sync::atomic::Ordering::Relaxed));
    let mut allocation = Filesystem::allocate();
    let mut blocks = Blocks(black_box(Unknown));
    let system = probe_open(&mut allocation, &mut blocks);
    loop {
        if let Ok(system) = &system {
            let _ = black_box(probe_read(system));
            let value = black_box([0; comparison_stores::VALUE_BYTES]);
            let _ = black_box(probe_store(system, &value));
        }
    }
}
