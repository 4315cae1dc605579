//! What the board logs, by `defmt` over semihosting.
//!
//! | level | what | in a release image |
//! |---|---|---|
//! | `info` | the boot | yes |
//! | `warn` | faults that are raised, and a stop before this boot | yes |
//! | `debug` | everything else that happens while the machine sews | no (`DEFMT_LOG`) |
//!
//! Invariant: while a sound board sews, a release image logs nothing.

// The transport: links itself in.
use defmt_semihosting as _;

use shaftbook_core::board::Effect;
use shaftbook_mainloop::stop::Stop;

/// The board starts.
pub fn boot(version: &str, last_stop: Option<Stop>) {
    defmt::info!("boot {=str}", version);
    if let Some(stop) = last_stop {
        defmt::warn!("stopped before: {}", stop);
    }
}

/// Something has happened.
pub fn happened(effect: &Effect) {
    match effect {
        Effect::Ready => defmt::info!("ready"),
        Effect::FaultRaised(fault) => defmt::warn!("fault {}", fault),
        other => defmt::debug!("{}", other),
    }
}
