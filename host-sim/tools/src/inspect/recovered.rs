//! What the board's own recovery makes of an image: the real core, run on it.
//!
//! It is not run on the bench, because a file has no supply, no person and no truth, and may be
//! of a shape that no simulated part has.

use std::marker::PhantomData;

use shaftbook_care::hint::look;
use shaftbook_care::machine::Machine;
use shaftbook_core::board::{Board, Effect};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::Sound;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_readout::code::Code;

use super::image::{Image, ImagePart};

/// Polls after which a recovery counts as endless: several readings of every slot.
const POLLS_MAX: u32 = 50_000;

/// What the board recovered, before it wrote anything.
#[derive(Clone, Debug, PartialEq)]
pub struct ImageRecovered {
    /// The lifetime counters last stored; `None` if there are none.
    pub lifetime: Option<Counters>,
    /// Counters it told on the way and gave up again.
    pub withdrawn: Vec<Counters>,
    /// Everything durable that is not a counter; `None` without counters.
    pub ledger: Option<Ledger>,
    /// Retired slots, ascending.
    pub retired: Vec<u16>,
    /// Faults it showed, in order.
    pub faults: Vec<Fault>,
    /// Whether every slot had to be read.
    pub scanned: bool,
    /// Whether it came to an end.
    pub ended: bool,
}

impl ImageRecovered {
    /// Runs the recovery of board `id` on `image`, up to the moment at which it is
    /// ready or says that there is nothing.
    #[must_use]
    pub fn run(image: &Image, id: BoardId) -> Self {
        let mut part = ImagePart::new(image);
        let mut board = Board::<Sound>::new(id, Settings::default());
        let mut now = Instant::ZERO;
        let (mut told, mut faults, mut ended) = (Vec::new(), Vec::new(), false);
        for _ in 0..POLLS_MAX {
            let polled = board.poll(now, &mut part);
            now = if polled.deadline == Instant::NEVER { now } else { polled.deadline.max(now) };
            match polled.effect {
                Some(Effect::LifetimeKnown(counters)) => told.push(counters),
                Some(Effect::FaultRaised(fault)) => {
                    faults.push(fault);
                    ended |= is_final(fault);
                }
                Some(Effect::Ready) => ended = true,
                _ => {}
            }
            if ended {
                break;
            }
        }
        // What came with the last step: the faults are told before anything is written.
        let is_ready = board.is_ready();
        faults.extend(board.faults().iter().filter(|f| !faults.contains(f)).collect::<Vec<_>>());
        let lifetime = is_ready.then(|| board.past().copied()).flatten();
        if lifetime.is_some() {
            told.pop();
        }
        Self {
            lifetime,
            withdrawn: told,
            ledger: is_ready.then(|| board.ledger().clone()),
            retired: board.store().retired().iter().collect(),
            faults,
            scanned: board.store().scanned(),
            ended,
        }
    }

    /// The read-out code that the panel of board `id` would show, right after a start
    /// with this part and no clock; `None` without counters.
    #[must_use]
    pub fn read_out_code(&self, id: BoardId) -> Option<Code> {
        let mut faults = FaultSet::default();
        for fault in &self.faults {
            faults.raise(*fault);
        }
        let (lifetime, session) = (self.lifetime, Counters::default());
        let ledger = self.ledger.as_ref()?;
        let machine: Machine = Machine {
            id,
            lifetime,
            session,
            ledger,
            faults,
            day: None,
            hints: &[],
            rules: PhantomData,
        };
        Code::of(&machine.with_hints(&look(&machine)))
    }
}

/// Whether the recovery is over with this fault.
fn is_final(fault: Fault) -> bool {
    matches!(
        fault,
        Fault::NotFitted | Fault::ForeignMemory | Fault::MemoryUnreadable | Fault::MemoryShape
    )
}
