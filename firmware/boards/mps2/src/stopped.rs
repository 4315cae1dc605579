//! Records a panic or a hard fault, then resets the machine.
//!
//! Invariants: nothing here can panic or wait. The record is four words in memory that start-up
//! does not clear and that keeps its content over a system reset.

use core::cell::UnsafeCell;
use core::mem::MaybeUninit;
use core::panic::PanicInfo;

use cortex_m::peripheral::SCB;
use cortex_m_rt::{ExceptionFrame, exception};
use shaftbook_mainloop::stop::{STOP_WORDS, Stop, StopKind};

/// The record's words.
struct Kept(UnsafeCell<MaybeUninit<[u32; STOP_WORDS]>>);

// SAFETY: written only by a handler that never returns, and read and cleared only in
// `taken`, which main calls once before anything else runs. There is one core.
unsafe impl Sync for Kept {}

// SAFETY: `.uninit` is memory that cortex-m-rt reserves and neither clears nor paints.
#[unsafe(link_section = ".uninit.stop")]
static KEPT: Kept = Kept(UnsafeCell::new(MaybeUninit::uninit()));

impl Kept {
    fn words(&self) -> *mut u32 {
        self.0.get().cast()
    }

    fn write(&self, words: [u32; STOP_WORDS]) {
        for (n, word) in words.into_iter().enumerate() {
            // SAFETY: within the array; see `Sync` for who else looks at it.
            unsafe { self.words().add(n).write_volatile(word) }
        }
    }

    fn read(&self) -> [u32; STOP_WORDS] {
        // SAFETY: within the array; any content of RAM is a valid `u32`.
        core::array::from_fn(|n| unsafe { self.words().add(n).read_volatile() })
    }
}

/// How the firmware stopped before this reset, if it did. Forgets it.
pub fn taken() -> Option<Stop> {
    let stop = Stop::from_words(KEPT.read());
    KEPT.write([0; STOP_WORDS]);
    stop
}

fn stopped(kind: StopKind, place: u32) -> ! {
    cortex_m::interrupt::disable();
    KEPT.write(Stop { kind, place }.to_words());
    SCB::sys_reset()
}

#[panic_handler]
fn panicked(info: &PanicInfo<'_>) -> ! {
    stopped(StopKind::Panic, info.location().map_or(0, core::panic::Location::line))
}

#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    stopped(StopKind::HardFault, frame.pc())
}
