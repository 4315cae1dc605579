//! What is done at a panic or a hard fault: a record of it is kept over the reset.
//!
//! Only a number is kept, so that no text and no formatting is linked for it: the line of a
//! panic, or the program counter of a hard fault.

use core::panic::PanicInfo;

use cortex_m_rt::{ExceptionFrame, exception};
use shaftbook_mainloop::stop::{Stop, StopKind};

use crate::watchdog;

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    let place = info.location().map_or(0, core::panic::Location::line);
    watchdog::stop(Stop { kind: StopKind::Panic, place })
}

#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    watchdog::stop(Stop { kind: StopKind::HardFault, place: frame.pc() })
}
