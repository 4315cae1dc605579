//! A workload: what the world does to a machine and a person asks of its board, step by
//! step.
//!
//! A workload is written once and says nothing of cuts: it can be lived under any schedule of
//! them, by the proofs (`shaftbook_evidence::prove::schedule`) and by campaigns, whose scripts
//! hold one beside their faults.

use serde::{Deserialize, Serialize};
use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::Command;
use shaftbook_core::counters::Needle;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::Authorised;

use super::device::Device;
use super::{Bench, OPERATORS, fitting};

/// A step of a workload.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Step {
    /// Sews.
    Sew {
        /// Needle, 1 to 15.
        needle: u8,
        /// Stitches, at least 1.
        stitches: u32,
        /// Time of one, ms, 1 to 10,000.
        period_ms: u32,
    },
    /// Jumps: the needle bar is disengaged.
    Jump {
        /// Revolutions, at least 1.
        jumps: u32,
        /// Time of one, ms, 1 to 10,000.
        period_ms: u32,
    },
    /// Trims.
    Trim {
        /// Actuations, at least 1.
        times: u32,
    },
    /// A thread breaks.
    Break {
        /// Needle, 1 to 15.
        needle: u8,
    },
    /// The machine stands, powered.
    Stand {
        /// For so long, s, at least 1.
        seconds: u32,
    },
    /// The operator renews components.
    Renew {
        /// A bit each.
        components: u32,
    },
    /// A service with the engineer's right reply.
    Service,
    /// Somebody tries a wrong reply.
    WrongReply,
    /// A new fitting with the engineer's right reply.
    Refit,
}

/// The smallest piece of a step: after each it is seen whether the supply has gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Brings this needle over the plate.
    Select(u8),
    /// One stitch on it, in so many µs.
    Stitch(u8, u64),
    /// The needle bar is disengaged, or engaged again.
    Jump(bool),
    /// One revolution of a jump, in so many µs.
    JumpTurn(u64),
    /// One actuation of the trimmer.
    Trim,
    /// A thread break on this needle.
    Break(u8),
    /// One second passes.
    Stand,
    /// See [`Step::Renew`].
    Renew(u32),
    /// See [`Step::Service`].
    Service,
    /// See [`Step::WrongReply`].
    WrongReply,
    /// See [`Step::Refit`].
    Refit,
}

impl Step {
    /// How many pieces it has, at least 1.
    #[must_use]
    pub fn acts(&self) -> u32 {
        match *self {
            Self::Sew { stitches, .. } => stitches.saturating_add(1),
            Self::Jump { jumps, .. } => jumps.saturating_add(2),
            Self::Trim { times } => times.max(1),
            Self::Stand { seconds } => seconds.max(1),
            _ => 1,
        }
    }

    /// Piece `number` of it, 0 to `acts` − 1.
    #[must_use]
    pub fn act(&self, number: u32) -> Act {
        match *self {
            Self::Sew { needle, .. } if number == 0 => Act::Select(needle),
            Self::Sew { needle, period_ms, .. } => {
                Act::Stitch(needle, u64::from(period_ms) * 1_000)
            }
            Self::Jump { .. } if number == 0 => Act::Jump(true),
            Self::Jump { jumps, .. } if number > jumps => Act::Jump(false),
            Self::Jump { period_ms, .. } => Act::JumpTurn(u64::from(period_ms) * 1_000),
            Self::Trim { .. } => Act::Trim,
            Self::Break { needle } => Act::Break(needle),
            Self::Stand { .. } => Act::Stand,
            Self::Renew { components } => Act::Renew(components),
            Self::Service => Act::Service,
            Self::WrongReply => Act::WrongReply,
            Self::Refit => Act::Refit,
        }
    }

    /// The same with less to do; `None` when it is as short as can be.
    #[must_use]
    pub fn shorter(&self) -> Option<Self> {
        match *self {
            Self::Sew { needle, stitches, period_ms } if stitches > 1 => {
                Some(Self::Sew { needle, stitches: stitches / 2, period_ms })
            }
            Self::Jump { jumps, period_ms } if jumps > 1 => {
                Some(Self::Jump { jumps: jumps / 2, period_ms })
            }
            Self::Trim { times } if times > 1 => Some(Self::Trim { times: times / 2 }),
            Self::Stand { seconds } if seconds > 1 => Some(Self::Stand { seconds: seconds / 2 }),
            _ => None,
        }
    }
}

fn needle(number: u8) -> Option<Needle> {
    Needle::new(number.clamp(1, 15))
}

impl<D: Device> Bench<D> {
    /// Does all of `workload`.
    pub fn live(&mut self, workload: &[Step], watch: &mut impl FnMut(&Self)) {
        for step in workload {
            for number in 0..step.acts() {
                self.act(step.act(number), watch);
            }
        }
    }

    /// Does one piece of a workload.
    pub fn act(&mut self, act: Act, watch: &mut impl FnMut(&Self)) {
        match act {
            Act::Select(number) => {
                if let Some(needle) = needle(number) {
                    self.select(needle, watch);
                }
            }
            Act::Stitch(number, period_us) => self.revolution(needle(number), period_us, watch),
            Act::Jump(is_jump) => self.jump(is_jump, watch),
            Act::JumpTurn(period_us) => self.revolution(None, period_us, watch),
            Act::Trim => self.trim(watch),
            Act::Break(number) => {
                if let Some(needle) = needle(number) {
                    self.thread_break(needle, watch);
                }
            }
            Act::Stand => self.pass_to(self.now_us + 1_000_000, watch),
            Act::Renew(components) => {
                let components = ComponentSet(components & OPERATORS);
                self.ask_and_wait(Command::Renew { components, reply: None }, watch);
            }
            Act::Service => {
                if let Some(reply) = self.right_reply(Authorised::Service) {
                    self.ask_and_wait(Command::Service { reply: Some(reply) }, watch);
                }
            }
            Act::WrongReply => {
                if let Some(right) = self.right_reply(Authorised::Service) {
                    let wrong = EightDigits::new((right.get() + 1) % EightDigits::END);
                    let _ = self.request(Command::Service { reply: wrong });
                    self.pass_to(self.now_us + 10_000, watch);
                }
            }
            Act::Refit => {
                if let Some(reply) = self.right_reply(Authorised::Refit) {
                    let fit = Command::Fit { fitting: fitting(), reply: Some(reply) };
                    let _ = self.request(fit);
                    self.pass_to(self.now_us + 10_000, watch);
                }
            }
        }
    }
}
