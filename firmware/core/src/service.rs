//! Renewal and service: who may do what, and how tries at the engineer's reply are
//! limited.
//!
//! Invariants: a renewal or service is one journal entry, so it is wholly before
//! or wholly after; a try is stored before it is judged, so neither a power cut
//! nor a reset gives a free one; each challenge is good for one try, and only for
//! what it was asked for; challenges come slowly, so that a used one does not come again.
//!
//! What a reset does: the open challenge is gone, a new one has to be asked for; the
//! wait between tries starts anew.

use crate::authority::{self, ChallengeBasis, EightDigits, Key, Purpose};
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

/// Challenges that can be asked for without a pause.
pub const CHALLENGES_MAX: u8 = 8;
/// Pause for each further challenge, s. Without it, somebody with the used reply of a
/// renewal could ask for challenges until the one that it answers comes again.
pub const CHALLENGE_PAUSE_S: u64 = 10;

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
    /// The open challenge was asked for something else: ask for one for this.
    OtherPurpose,
    /// Too many tries or challenges: wait this many seconds of powered time.
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

impl Authorised {
    /// What the engineer is asked to allow.
    #[must_use]
    pub const fn purpose(self) -> Purpose {
        match self {
            Self::Service => Purpose::Service,
            Self::Renew(_) => Purpose::Renewal,
            Self::Refit => Purpose::Refit,
        }
    }

    /// The components that are to be renewed; none but for [`Authorised::Renew`].
    #[must_use]
    pub const fn components(self) -> ComponentSet {
        match self {
            Self::Renew(components) => components,
            Self::Service | Self::Refit => ComponentSet(0),
        }
    }
}

/// A reply entered, waiting to be stored as tried, then judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Try {
    /// What it allows, if it is right.
    pub allows: Authorised,
    challenge: EightDigits,
    services: u16,
    reply: EightDigits,
}

impl Try {
    /// Whether the reply is right.
    #[must_use]
    pub fn is_right<R: Rules>(&self, key: &Key) -> bool {
        let is_at = |purpose, services| {
            authority::reply(key, purpose, services, self.challenge)
                .same_in_constant_time(self.reply)
        };
        let is = |purpose| {
            is_at(purpose, self.services)
                || (!R::bind_service_count() && is_at(purpose, self.services.wrapping_add(1)))
        };
        if R::bind_purpose() {
            return is(self.allows.purpose());
        }
        [Purpose::Service, Purpose::Renewal, Purpose::Refit].into_iter().any(is)
    }
}

/// An open challenge, and what for.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Open {
    challenge: EightDigits,
    services: u16,
    allows: Authorised,
    at: Instant,
}

/// The open challenge and the wait before the next try.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gate {
    open: Option<Open>,
    next_try: Instant,
    challenges_left: u8,
    /// When there is one more challenge.
    next_challenge: Instant,
}

impl Gate {
    /// A gate with no challenge open and no wait.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            open: None,
            next_try: Instant::ZERO,
            challenges_left: CHALLENGES_MAX,
            next_challenge: Instant::ZERO,
        }
    }

    /// Starts the wait that `tries` unsuccessful tries ask for, from `now`: called
    /// after each try and after each power-up, so that a cut does not shorten it.
    pub fn start_wait<R: Rules>(&mut self, now: Instant, tries: u8) {
        if R::lock_out() {
            self.next_try = now.plus_us(wait_s(tries) * 1_000_000);
        }
    }

    /// Whether a challenge is open and young enough for a reply.
    #[must_use]
    pub fn is_open(&self, now: Instant) -> bool {
        self.open.is_some_and(|open| now.since_us(open.at) <= CHALLENGE_LIFE_S * 1_000_000)
    }

    /// How long until a reply is taken, s, rounded up; 0 for now.
    #[must_use]
    pub fn wait_s(&self, now: Instant) -> u32 {
        seconds_until(self.next_try, now)
    }

    /// Opens a challenge for `allows`; an older one is no longer good.
    ///
    /// # Errors
    /// [`Refusal::Wait`] when too many were asked for: the open one stays open.
    pub fn challenge(
        &mut self,
        now: Instant,
        allows: Authorised,
        basis: &ChallengeBasis,
    ) -> Result<EightDigits, Refusal> {
        while self.challenges_left < CHALLENGES_MAX && now >= self.next_challenge {
            self.challenges_left += 1;
            self.next_challenge = self.next_challenge.plus_us(CHALLENGE_PAUSE_S * 1_000_000);
        }
        if self.challenges_left == CHALLENGES_MAX {
            self.next_challenge = now.plus_us(CHALLENGE_PAUSE_S * 1_000_000);
        }
        let Some(left) = self.challenges_left.checked_sub(1) else {
            return Err(Refusal::Wait { seconds: seconds_until(self.next_challenge, now) });
        };
        self.challenges_left = left;
        let challenge = basis.challenge();
        self.open = Some(Open { challenge, services: basis.services, allows, at: now });
        Ok(challenge)
    }

    /// Takes a reply to the open challenge. The challenge is used up.
    ///
    /// # Errors
    /// [`Refusal::Wait`] during a wait and [`Refusal::OtherPurpose`] for a challenge that
    /// was not asked for `allows` (the challenge stays open in both),
    /// [`Refusal::NoChallenge`] when there is none or it is too old.
    pub fn take<R: Rules>(
        &mut self,
        now: Instant,
        allows: Authorised,
        reply: EightDigits,
    ) -> Result<Try, Refusal> {
        let seconds = self.wait_s(now);
        if seconds > 0 {
            return Err(Refusal::Wait { seconds });
        }
        let open = self.open.ok_or(Refusal::NoChallenge)?;
        if now.since_us(open.at) > CHALLENGE_LIFE_S * 1_000_000 && R::challenges_age() {
            self.open = None;
            return Err(Refusal::NoChallenge);
        }
        if R::bind_purpose() && open.allows != allows {
            return Err(Refusal::OtherPurpose);
        }
        if R::one_try_a_challenge() {
            self.open = None;
        }
        Ok(Try { allows, challenge: open.challenge, services: open.services, reply })
    }
}

/// Seconds from `now` until `then`, rounded up; 0 when it has passed.
fn seconds_until(then: Instant, now: Instant) -> u32 {
    if now >= then { 0 } else { then.since_us(now).div_ceil(1_000_000) as u32 }
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
