//! The machine's interrupt table. Only the receivers of the two UARTs are in it.
//!
//! The interrupt numbers are those of Application Note AN385, table of interrupt assignments,
//! as QEMU wires its machine.

use cortex_m::interrupt::InterruptNumber;
use cortex_m::peripheral::NVIC;

use crate::received::{on_port, on_script};

/// Interrupts of this target (Armv6-M has 32).
const TABLE_LEN: usize = 32;

/// An interrupt that is used.
#[derive(Clone, Copy, Debug)]
#[repr(u16)]
enum Interrupt {
    PortReceived = 0,
    ScriptReceived = 2,
}

// SAFETY: the numbers are constant, distinct and within the table.
unsafe impl InterruptNumber for Interrupt {
    fn number(self) -> u16 {
        self as u16
    }
}

extern "C" fn unused() {}

const TABLE: [extern "C" fn(); TABLE_LEN] = {
    let mut table = [unused as extern "C" fn(); TABLE_LEN];
    table[Interrupt::PortReceived as usize] = on_port;
    table[Interrupt::ScriptReceived as usize] = on_script;
    table
};

// SAFETY: cortex-m-rt's link script places this section behind the exceptions' vectors,
// where the processor looks for it; the name is the one it asks for.
#[unsafe(link_section = ".vector_table.interrupts")]
#[unsafe(no_mangle)]
#[used]
static __INTERRUPTS: [extern "C" fn(); TABLE_LEN] = TABLE;

/// Lets the interrupts in.
pub fn let_in() {
    for interrupt in [Interrupt::PortReceived, Interrupt::ScriptReceived] {
        // SAFETY: nothing relies on them being masked; shared state is behind
        // `critical-section`.
        unsafe { NVIC::unmask(interrupt) }
    }
}
