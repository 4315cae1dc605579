//! Renewal and service: who may do what, and how tries at the engineer's reply are
//! limited.
//!
//! Invariants: a renewal or service is one journal entry, so it is wholly before
//! or wholly after; a try is stored before it is judged, so neither a power cut
//! nor a reset gives a free one; each challenge is good for one try.

use crate::authority::{self, ChallengeBasis, EightDigits, Key};
use crate::journal::ComponentSet;
use crate::rules::Rules;
use crate::time::Instant;

/// Tries without any wait.
pub const FREE_TRIES: u8 = 3;
/// Wait after the last free try, s; doubles with each further one.
pub const FIRST_WAIT_S: u64 = 30;
/// Longest wait, s: a day of powered time.
pub const LONGEST_WAIT_S: u64 = 86_400;
/// A challenge is good for this long, s.
pub const CHALLENGE_LIFE_S: u64 = 1_800;

/// Why a command was not accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// The past is not known (yet), or nothing can be stored: see the faults.
    NotReady,
    /// Another command is under way.
    Busy,
    /// The profile has no such component.
    NoSuchComponent,
    /// This needs the engineer's reply.
    NeedsAuthority,
    /// No challenge is open, or it is too old: ask for a new one.
    NoChallenge,
    /// Too many tries: wait this many seconds of powered time.
    Wait {
        /// Seconds left, rounded up.
        seconds: u32,
    },
    /// The settings cannot be counted with.
    BadSettings,
}

/// What a right reply allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Authorised {
    /// A service.
    Service,
    /// Renewal of components that only the engineer may renew.
    Renew(ComponentSet),
    /// A new fitting of a board that is already fitted.
    Refit,
}

/// A reply entered, waiting to be stored as tried, then judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Try {
    /// What it is for.
    pub purpose: Authorised,
    challenge: EightDigits,
    services: u16,
    reply: EightDigits,
}

impl Try {
    /// Whether the reply is right.
    #[must_use]
    pub fn is_right(&self, key: &Key) -> bool {
        authority::reply(key, self.services, self.challenge).same_in_constant_time(self.reply)
    }
}

/// The open challenge and the wait before the next try.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gate {
    open: Option<(EightDigits, u16, Instant)>,
    next_try: Instant,
}

impl Gate {
    /// A gate with no challenge open and no wait.
    #[must_use]
    pub const fn new() -> Self {
        Self { open: None, next_try: Instant::ZERO }
    }

    /// Starts the wait that `tries` unsuccessful tries ask for, from `now`: called
    /// after each try and after each power-up, so that a cut does not shorten it.
    pub fn start_wait<R: Rules>(&mut self, now: Instant, tries: u8) {
        if R::LOCK_OUT {
            self.next_try = now.plus_us(wait_s(tries) * 1_000_000);
        }
    }

    /// Opens a challenge; an older one is no longer good.
    pub fn challenge(&mut self, now: Instant, basis: &ChallengeBasis) -> EightDigits {
        let challenge = basis.challenge();
        self.open = Some((challenge, basis.services, now));
        challenge
    }

    /// Takes a reply to the open challenge. The challenge is used up.
    ///
    /// # Errors
    /// [`Refusal::Wait`] during a wait (the challenge stays open),
    /// [`Refusal::NoChallenge`] when there is none or it is too old.
    pub fn take(
        &mut self,
        now: Instant,
        purpose: Authorised,
        reply: EightDigits,
    ) -> Result<Try, Refusal> {
        if now < self.next_try {
            let us = self.next_try.since_us(now);
            return Err(Refusal::Wait { seconds: us.div_ceil(1_000_000) as u32 });
        }
        let (challenge, services, opened) = self.open.take().ok_or(Refusal::NoChallenge)?;
        if now.since_us(opened) > CHALLENGE_LIFE_S * 1_000_000 {
            return Err(Refusal::NoChallenge);
        }
        Ok(Try { purpose, challenge, services, reply })
    }
}

impl Default for Gate {
    fn default() -> Self {
        Self::new()
    }
}

/// The wait after `tries` unsuccessful tries, s.
#[must_use]
pub fn wait_s(tries: u8) -> u64 {
    match tries.checked_sub(FREE_TRIES) {
        None => 0,
        Some(over) => (FIRST_WAIT_S << over.min(20)).min(LONGEST_WAIT_S),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_grows_to_a_day_and_stays_there() {
        let waits: [u64; 8] = core::array::from_fn(|n| wait_s(n as u8));
        assert_eq!(waits, [0, 0, 0, 30, 60, 120, 240, 480]);
        assert_eq!(wait_s(u8::MAX), LONGEST_WAIT_S);
    }
}
