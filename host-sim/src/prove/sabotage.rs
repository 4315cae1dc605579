//! Boards that are broken on purpose, one rule each, to show that every proof fails
//! when the thing that it guards is broken.
//!
//! They live in the host simulator only: boards use `Sound`, and nothing that a
//! board links depends on this crate (a test reads the dependency graph).
//!
//! Two rules have no broken board here, as no proof needs them: the guard of the live
//! snapshot (a part with enough good slots never comes near it) and the capping of
//! growth (a part that could not be written for hours; a test beside the codec fails
//! when growth wraps).

use shaftbook_core::counters::Counters;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::store::serial::Lap;

use super::{Outcome, Plan, Proof};

/// A broken board and the proof that has to catch it.
#[derive(Clone, Copy, Debug)]
pub struct Sabotage {
    /// Its name.
    pub name: &'static str,
    /// What is broken.
    pub what: &'static str,
    /// The proof that must fail.
    pub caught_by: Proof,
    run: fn(Proof, &Plan) -> Outcome,
}

impl Sabotage {
    /// Runs the proof that must catch it.
    #[must_use]
    pub fn run(&self, plan: &Plan) -> Outcome {
        (self.run)(self.caught_by, plan)
    }
}

macro_rules! sabotages {
    ($($name:literal, $what:literal, $proof:ident, $type:ident { $($body:tt)* })*) => {
        $(
            #[derive(Clone)]
            struct $type;
            impl Rules for $type { $($body)* }
        )*

        /// All broken boards.
        pub const ALL: &[Sabotage] = &[$(
            Sabotage {
                name: $name,
                what: $what,
                caught_by: Proof::$proof,
                run: |proof, plan| proof.run::<$type>(plan, &|_, _| {}),
            },
        )*];
    };
}

sabotages! {
    "crc-ignored", "a record is believed whatever its CRC", NeverBackwards, CrcIgnored {
        const CHECK_CRC: bool = false;
    }
    "session-twice", "what was counted before the past was known is added twice", NeverBackwards,
    SessionTwice {
        fn lifetime(past: &Counters, session: &Counters) -> Counters {
            past.plus(session).plus(session)
        }
    }
    "past-forgotten", "a checkpoint holds this session only", NeverBackwards, PastForgotten {
        fn lifetime(_: &Counters, session: &Counters) -> Counters {
            *session
        }
    }
    "warning-ignored", "a power-fail warning is not answered", LossBound, WarningIgnored {
        const ANSWER_POWER_FAIL: bool = false;
    }
    "screen-in-one-go", "the whole picture goes to the display in one transaction", LossBound,
    ScreenInOneGo {
        const SCREEN_IN_TILES: bool = false;
    }
    "panel-never-yields", "the panel goes on drawing while a warning is answered", LossBound,
    PanelNeverYields {
        const PANEL_YIELDS: bool = false;
    }
    "remainder-dropped", "running time is rounded at each pulse", LossBound, RemainderDropped {
        const CARRY_REMAINDER: bool = false;
    }
    "service-in-two-steps", "interval baseline and renewals are two entries", WholeService,
    ServiceInTwoSteps {
        const SERVICE_IN_ONE_ENTRY: bool = false;
    }
    "needle-guessed", "an unsettled position counts for the last needle", NeedlesAddUp,
    NeedleGuessed {
        const UNATTRIBUTED_WHEN_UNSURE: bool = false;
    }
    "lap-compared-plainly", "laps are compared with >, not by RFC 1982", RollOver,
    LapComparedPlainly {
        fn lap_is_newer(a: Lap, b: Lap) -> bool {
            a.get() > b.get()
        }
    }
    "no-look-ahead", "the first place where the lap changes is believed", OneBadPage, NoLookAhead {
        const LOOK_AHEAD: bool = false;
    }
    "no-parity", "a snapshot has no parity member", OneBadPage, NoParity {
        const SNAPSHOT_PARITY: bool = false;
    }
    "one-copy", "a journal entry has one copy", OneBadPage, OneCopy {
        const JOURNAL_COPIES: u8 = 1;
    }
    "not-read-back", "a record counts as stored when it was sent", OneBadPage, NotReadBack {
        const READ_BACK: bool = false;
    }
    "never-retired", "a page that fails is passed over, not retired", OneBadPage, NeverRetired {
        const RETIRE: bool = false;
    }
    "any-slot", "a record is believed in whatever slot it stands", OneBadPage, AnySlot {
        const KEY_BY_SLOT: bool = false;
    }
    "session-not-added", "what was counted before the past is known is not added", GarbageBoots,
    SessionNotAdded {
        const ADD_SESSION: bool = false;
    }
    "any-board", "records of any board are believed", GarbageBoots, AnyBoard {
        const KEY_BY_BOARD: bool = false;
    }
    "half-the-ring", "only half of the slots are used", EvenWear, HalfTheRing {
        const LEVEL_WEAR: bool = false;
    }
    "no-authority", "a service needs no reply", NoFreeReset, NoAuthority {
        const ASK_AUTHORITY: bool = false;
    }
    "any-purpose", "one reply authorises any purpose", NoFreeReset, AnyPurpose {
        const BIND_PURPOSE: bool = false;
    }
    "no-lock-out", "wrong replies can be tried without a wait", NoFreeReset, NoLockOut {
        const LOCK_OUT: bool = false;
    }
}

/// The sound board through the same door, for comparison.
#[must_use]
pub fn sound(proof: Proof, plan: &Plan) -> Outcome {
    proof.run::<Sound>(plan, &|_, _| {})
}
