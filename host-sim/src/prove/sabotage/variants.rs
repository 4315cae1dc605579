//! The broken boards, one mistake each: the table.
//!
//! A line is: name, kind of mistake, the proof that is tried first, the type, what is
//! broken; then in braces what is changed of the core's `Rules` and, after `outside`, of
//! what stands between the core and the wires ([`UnderTest`]).

use shaftbook_core::counters::Counters;
use shaftbook_core::rules::Rules;
use shaftbook_core::store::serial::Lap;

use super::{Mistake, Sabotage};
use crate::prove::Proof;
use crate::prove::under_test::UnderTest;

macro_rules! sabotages {
    ($($name:literal $mistake:ident $proof:ident $type:ident $what:literal
        { $($rules:tt)* } $(outside { $($outside:tt)* })?)*) => {
        $(
            #[derive(Clone)]
            struct $type;
            impl Rules for $type { $($rules)* }
            impl UnderTest for $type { $($($outside)*)? }
        )*

        /// All broken boards.
        pub const ALL: &[Sabotage] = &[$(
            Sabotage {
                name: $name,
                what: $what,
                mistake: Mistake::$mistake,
                tried_first: Proof::$proof,
                run: |proof, plan, progress| {
                    proof.run::<$type>(plan, &|done, of| progress(done, of))
                },
            },
        )*];
    };
}

sabotages! {
    "crc-ignored" Trust NeverBackwards CrcIgnored
    "a record is believed whatever its CRC" {
        const CHECK_CRC: bool = false;
    }
    "session-twice" Arithmetic NeverBackwards SessionTwice
    "what was counted before the past was known is added twice" {
        fn lifetime(past: &Counters, session: &Counters) -> Counters {
            past.plus(session).plus(session)
        }
    }
    "past-forgotten" Arithmetic NeverBackwards PastForgotten
    "a checkpoint holds this session only" {
        fn lifetime(_: &Counters, session: &Counters) -> Counters {
            *session
        }
    }
    "warning-ignored" Power LossBound WarningIgnored
    "a power-fail warning is not answered" {
        const ANSWER_POWER_FAIL: bool = false;
    }
    "screen-in-one-go" Power LossBound ScreenInOneGo
    "the whole picture goes to the display in one transaction" {
        const SCREEN_IN_TILES: bool = false;
    }
    "panel-never-yields" Power LossBound PanelNeverYields
    "the panel goes on drawing while a warning is answered" {
        const PANEL_YIELDS: bool = false;
    }
    "remainder-dropped" Arithmetic LossBound RemainderDropped
    "running time is rounded at each pulse" {
        const CARRY_REMAINDER: bool = false;
    }
    "service-in-two-steps" Order WholeService ServiceInTwoSteps
    "interval baseline and renewals are two entries" {
        const SERVICE_IN_ONE_ENTRY: bool = false;
    }
    "needle-guessed" Signals NeedlesAddUp NeedleGuessed
    "an unsettled position counts for the last needle" {
        const UNATTRIBUTED_WHEN_UNSURE: bool = false;
    }
    "lap-compared-plainly" Arithmetic RollOver LapComparedPlainly
    "laps are compared with >, not by RFC 1982" {
        fn lap_is_newer(a: Lap, b: Lap) -> bool {
            a.get() > b.get()
        }
    }
    "no-look-ahead" Trust OneBadPage NoLookAhead
    "the first place where the lap changes is believed" {
        const LOOK_AHEAD: bool = false;
    }
    "no-parity" Redundancy OneBadPage NoParity
    "a snapshot has no parity member" {
        const SNAPSHOT_PARITY: bool = false;
    }
    "one-copy" Redundancy OneBadPage OneCopy
    "a journal entry has one copy" {
        const JOURNAL_COPIES: u8 = 1;
    }
    "not-read-back" Trust OneBadPage NotReadBack
    "a record counts as stored when it was sent" {
        const READ_BACK: bool = false;
    }
    "never-retired" Wear OneBadPage NeverRetired
    "a page that fails is passed over, not retired" {
        const RETIRE: bool = false;
    }
    "any-slot" Trust OneBadPage AnySlot
    "a record is believed in whatever slot it stands" {
        const KEY_BY_SLOT: bool = false;
    }
    "session-not-added" Reset GarbageBoots SessionNotAdded
    "what was counted before the past is known is not added" {
        const ADD_SESSION: bool = false;
    }
    "any-board" Trust GarbageBoots AnyBoard
    "records of any board are believed" {
        const KEY_BY_BOARD: bool = false;
    }
    "half-the-ring" Wear EvenWear HalfTheRing
    "only half of the slots are used" {
        const LEVEL_WEAR: bool = false;
    }
    "no-authority" Authority NoFreeReset NoAuthority
    "a service needs no reply" {
        const ASK_AUTHORITY: bool = false;
    }
    "any-purpose" Authority NoFreeReset AnyPurpose
    "one reply authorises any purpose" {
        const BIND_PURPOSE: bool = false;
    }
    "no-lock-out" Authority NoFreeReset NoLockOut
    "wrong replies can be tried without a wait" {
        const LOCK_OUT: bool = false;
    }
}
