//! The exchange with the engineer, free of any screen or cable: ask for a challenge,
//! show it, enter the reply, learn what came of it.
//!
//! ```text
//!          begin              reply              effect
//!   idle --------> open(Request) ------> judged --------> Done, Wrong, Lost: idle again
//!                    ^  |                   | cut of the power
//!                    |__| Wait, Busy        v
//!                                    nothing is open: begin again
//! ```
//!
//! How it is used: [`Exchange::begin`]; show the board's tag, the purpose, the services
//! and the challenge of the [`Request`]; hand the digits entered to [`Exchange::reply`]
//! (or [`Exchange::refit`]); give every effect of the board to [`Exchange::effect`] until
//! it says what came of it. If [`Board::reply_wait_s`] is not 0, say so before anybody
//! telephones.
//!
//! Invariants: it decides nothing; the board does. A refusal changes nothing. While a
//! reply is judged no second one is taken. After [`Outcome::Done`] the change is durable.
//!
//! Not done here: drawing, a line protocol, the tag (`shaftbook-readout`).

use crate::authority::{EightDigits, Purpose};
use crate::board::{Board, Command, Effect, Fitting};
use crate::fault::Fault;
use crate::journal::Event;
use crate::rules::Rules;
use crate::service::{Authorised, Refusal};
use crate::time::Instant;

/// What the person at the machine tells the engineer, beside the board's tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Request {
    /// What the reply is to allow.
    pub allows: Authorised,
    /// Services done until now.
    pub services: u16,
    /// The challenge.
    pub challenge: EightDigits,
}

impl Request {
    /// The purpose, as the engineer enters it.
    #[must_use]
    pub const fn purpose(&self) -> Purpose {
        self.allows.purpose()
    }
}

/// What came of a reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outcome {
    /// Nothing yet.
    Pending,
    /// It was right; what it allows is done and durable.
    Done,
    /// It was wrong, and is on record as tried; nothing was changed.
    Wrong,
    /// The memory part takes no more records: nothing was changed.
    Lost,
}

#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum State {
    Idle,
    Open(Request),
    /// A reply is with the board; whether it is on record as tried.
    Judged {
        allows: Authorised,
        tried: bool,
    },
}

/// One exchange at a time.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Exchange {
    state: State,
}

impl Exchange {
    /// No exchange under way.
    #[must_use]
    pub const fn new() -> Self {
        Self { state: State::Idle }
    }

    /// The request that waits for its reply.
    #[must_use]
    pub const fn open(&self) -> Option<&Request> {
        match &self.state {
            State::Open(request) => Some(request),
            State::Idle | State::Judged { .. } => None,
        }
    }

    /// Whether a reply is being judged.
    #[must_use]
    pub const fn is_judging(&self) -> bool {
        matches!(self.state, State::Judged { .. })
    }

    /// Asks the board for a challenge that allows `allows`. An older one is no longer good.
    ///
    /// # Errors
    /// [`Refusal::Busy`] while a reply is judged; else as [`Board::challenge`]. What was
    /// open stays open.
    pub fn begin<R: Rules>(
        &mut self,
        board: &mut Board<R>,
        now: Instant,
        allows: Authorised,
    ) -> Result<Request, Refusal> {
        if self.is_judging() {
            return Err(Refusal::Busy);
        }
        let challenge = board.challenge(now, allows)?;
        let request = Request { allows, services: board.ledger().services, challenge };
        self.state = State::Open(request);
        Ok(request)
    }

    /// Hands in the reply to the open request for a service or a renewal.
    ///
    /// # Errors
    /// [`Refusal::NoChallenge`] when nothing is open or it is too old (ask again),
    /// [`Refusal::OtherPurpose`] for a refit (see [`Exchange::refit`]);
    /// [`Refusal::Wait`], [`Refusal::Busy`]: the request stays open, hand it in later.
    pub fn reply<R: Rules>(
        &mut self,
        board: &mut Board<R>,
        now: Instant,
        reply: EightDigits,
    ) -> Result<(), Refusal> {
        let request = *self.open().ok_or(Refusal::NoChallenge)?;
        let reply = Some(reply);
        let command = match request.allows {
            Authorised::Service => Command::Service { reply },
            Authorised::Renew(components) => Command::Renew { components, reply },
            Authorised::Refit => return Err(Refusal::OtherPurpose),
        };
        self.hand_in(board, now, request.allows, command)
    }

    /// Hands in the reply to the open request for a new fitting.
    ///
    /// # Errors
    /// As [`Exchange::reply`], and [`Refusal::BadSettings`].
    pub fn refit<R: Rules>(
        &mut self,
        board: &mut Board<R>,
        now: Instant,
        fitting: Fitting,
        reply: EightDigits,
    ) -> Result<(), Refusal> {
        let request = *self.open().ok_or(Refusal::NoChallenge)?;
        if request.allows != Authorised::Refit {
            return Err(Refusal::OtherPurpose);
        }
        let command = Command::Fit { fitting, reply: Some(reply) };
        self.hand_in(board, now, Authorised::Refit, command)
    }

    fn hand_in<R: Rules>(
        &mut self,
        board: &mut Board<R>,
        now: Instant,
        allows: Authorised,
        command: Command,
    ) -> Result<(), Refusal> {
        let answer = board.request(now, command);
        match answer {
            Ok(()) => self.state = State::Judged { allows, tried: false },
            Err(Refusal::NoChallenge) => self.state = State::Idle,
            Err(_) => {}
        }
        answer
    }

    /// Forgets an open request. A reply that is being judged goes on being judged.
    pub fn cancel(&mut self) {
        if !self.is_judging() {
            self.state = State::Idle;
        }
    }

    /// Takes note of an effect of the board; what came of the reply.
    pub fn effect(&mut self, effect: &Effect) -> Outcome {
        let State::Judged { allows, tried } = &mut self.state else { return Outcome::Pending };
        let outcome = match (effect, allows) {
            (Effect::EntryDurable { event: Event::ReplyTried, .. }, _) => {
                *tried = true;
                Outcome::Pending
            }
            (Effect::ReplyRefused, _) => Outcome::Wrong,
            (Effect::FaultRaised(Fault::MemoryWornOut), _) => Outcome::Lost,
            (Effect::EntryDurable { event: Event::Served, .. }, Authorised::Service)
            | (Effect::EntryDurable { event: Event::Renewed, .. }, Authorised::Renew(_))
            | (Effect::LedgerDurable(_), Authorised::Refit)
                if *tried =>
            {
                Outcome::Done
            }
            _ => Outcome::Pending,
        };
        if outcome != Outcome::Pending {
            self.state = State::Idle;
        }
        outcome
    }
}

impl Default for Exchange {
    fn default() -> Self {
        Self::new()
    }
}
