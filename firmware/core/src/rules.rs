//! The rules on which the guarantees rest, each as one named switch.
//!
//! Purpose: a proof is only worth something if it fails when the thing it guards
//! is broken. Every rule below can be broken on its own, by a type that
//! implements [`Rules`] with one function changed; the simulator keeps such a type and
//! shows which proof catches what. Boards use [`Sound`]; every function gives a constant
//! or is one call, so that the sound build carries none of the others.
//!
//! Invariant: [`Sound`] changes nothing: every default here is the right one.

use crate::counters::Counters;
use crate::serial::Lap;

/// Declares the rules of a layer: a trait with one function for each rule, which says that the rule
/// is kept, and beside them the functions between the braces, for what is more than a switch.
#[macro_export]
macro_rules! rules {
    (
        $(#[doc = $about:literal])+
        trait $name:ident $(: $base:ident)? { $($more:tt)* }
        $($(#[doc = $doc:literal])+ $rule:ident)*
    ) => {
        $(#[doc = $about])+
        pub trait $name $(: $base)? {
            $(
                $(#[doc = $doc])+
                #[inline]
                #[must_use]
                fn $rule() -> bool {
                    true
                }
            )*

            $($more)*
        }
    };
}

rules! {
    /// The rules of counting and storing. Every default is the sound one.
    trait Rules {
        /// Copies of a journal entry, 1 or 2.
        #[inline]
        #[must_use]
        fn journal_copies() -> u8 {
            2
        }

        /// How many slots are used in turn, of a ring of `slots`.
        #[inline]
        #[must_use]
        fn slots_used(slots: u16) -> u16 {
            slots
        }

        /// Whether lap `a` comes after lap `b`.
        #[inline]
        #[must_use]
        fn lap_is_newer(a: Lap, b: Lap) -> bool {
            a.is_after(b)
        }

        /// What the board adds up when the past becomes known.
        #[inline]
        #[must_use]
        fn lifetime(past: &Counters, session: &Counters) -> Counters {
            past.plus(session)
        }
    }

    /// A record whose CRC does not fit is refused.
    check_crc
    /// A record's CRC covers all of it.
    crc_of_all
    /// A record's CRC covers the slot that it was written for.
    key_by_slot
    /// A record's CRC covers the board that wrote it.
    key_by_board
    /// A record counts only if its lap is the one that its place must have.
    check_lap
    /// Every record is read back and compared before it counts as stored.
    read_back
    /// A newer journal entry's growth counts beside the checkpoint's.
    growth_of_entry
    /// A slot that fails twice is retired.
    retire
    /// A retired slot is noted in the journal.
    note_retired
    /// A slot is programmed whatever it seems to hold already.
    always_programmed
    /// The copies of a journal entry are in slots of their own.
    copies_apart
    /// The note of a retired slot has two copies, as every entry.
    retirement_twice
    /// A retired slot for whose note there is no room asks for a snapshot, which names it.
    retired_without_room
    /// An entry waits until a snapshot under way is committed.
    entry_waits_for_snapshot
    /// A missing member of a snapshot is made good from its parity.
    member_made_good
    /// After a boot, an entry that is the newest record stays where it is.
    newest_entry_stays
    /// Failures of the part in a row end with one thing that it does as asked.
    failures_end
    /// Slots in a row that differ end with one that does not.
    differing_ends
    /// A snapshot carries a parity member.
    snapshot_parity
    /// All members of a snapshot are written before it is committed.
    members_before_commit
    /// A new snapshot is committed by two checkpoints.
    commit_twice
    /// A boot looks whether a snapshot's parity member is there, though all others are.
    parity_looked_for
    /// A boot looks for the second copy of an entry, though the first is there.
    second_copy_looked_for
    /// What a boot had to do without is written anew.
    written_anew
    /// A checkpoint or an entry counts at a boot only if it is bound to the snapshot that is there.
    check_binding
    /// An entry of the journal counts only if it is bound to the snapshot that it was found from.
    check_binding_of_copies
    /// The binding is over all members that hold counters.
    bind_all_counters
    /// The rest of a snapshot counts only if its check fits.
    check_rest
    /// A checkpoint is bound to the snapshot that it adds to.
    write_binding
    /// Members of a snapshot that was cut are told from those of the next.
    mark_drafts
    /// The slots after the newest record found are looked at before it is believed.
    look_ahead
    /// After a boot, writing goes on behind the newest record.
    head_after_newest
    /// The live snapshot is never overwritten before its successor is committed.
    guard_live_snapshot
    /// The last slots before the live snapshot are kept for a new one.
    keep_last_room
    /// On a small ring a snapshot that is cut in its middle leaves room for a whole one.
    room_for_second_try
    /// A service takes its interval baseline and its renewals in one entry.
    service_in_one_entry
    /// A renewal is dated to when it was asked for, not to when it is written.
    dated_when_asked
    /// A power-fail warning is answered with a checkpoint at once.
    answer_power_fail
    /// A checkpoint on short pages gives way to the answer between two of its pages.
    checkpoint_gives_way
    /// After a calm while warnings are answered at once again.
    refill_answers
    /// The answer to a warning waits until a pulse that came just before is certain.
    answer_waits_for_pulse
    /// A warning that is on stays on, whatever other edges of its line come.
    warning_stays
    /// The answer to a power-fail warning goes before everything else that is to be written.
    power_fail_first
    /// Time that passes at a standstill is stored too.
    checkpoint_at_standstill
    /// A run ends at the first edge of its last pulse's bounce.
    run_ends_at_earliest
    /// Running time is carried in µs between checkpoints, not rounded at each.
    carry_remainder
    /// The edge for which the waiting room has no place is counted.
    edge_without_room
    /// Revolutions that were counted with too few pulses are made fewer.
    learn_pulses
    /// What was counted before the past is known is added to it.
    add_session
    /// Contacts count once they are debounced.
    debounce_contacts
    /// Pulses that come faster than the machine can turn are glitches.
    reject_fast_pulses
    /// A shaft signal whose pulses come too soon is a fault.
    shaft_fault_told
    /// A contact counts when it closes, not when it opens too.
    count_on_one_edge
    /// The shaft is debounced before the contacts.
    shaft_before_contacts
    /// A revolution with the needle bar disengaged is a jump, not a stitch.
    jumps_apart
    /// Whether a revolution is a jump is decided as of its pulse, whenever somebody looks.
    jump_as_of_pulse
    /// An undebounced or unknown needle position is unattributed, not guessed.
    unattributed_when_unsure
    /// A set of components needs the engineer's reply if any of them is the engineer's.
    engineer_for_any
    /// A gap as long as the run gap still is running.
    run_gap_counts
    /// A pulse that comes just when the fastest machine could give it counts.
    shortest_period_counts
    /// A revolution that began before the needle changed belongs to the needle before.
    needle_before_change
    /// Settings that come later read the code lines anew.
    code_read_anew
    /// A right reply ends the wait of the wrong ones before it.
    right_reply_ends_wait
    /// A renewal by the engineer's reply is told from an operator's in the journal.
    renewal_is_stated_authorised
    /// A service needs the engineer's reply.
    ask_authority
    /// A reply is good only for the purpose that its challenge was asked for.
    bind_purpose
    /// A reply is good only for the service count that its challenge was asked at.
    bind_service_count
    /// Every challenge is another one.
    fresh_challenges
    /// A challenge is good for one try.
    one_try_a_challenge
    /// A challenge is good for a while only.
    challenges_age
    /// A try is stored before it is judged.
    store_before_judging
    /// Tries after a service are still on record when older entries were applied.
    tries_after_service
    /// Wrong replies make the next try wait.
    lock_out
    /// The wait starts anew at a power-up.
    wait_after_power_up
    /// The panel stands still while a power-fail warning is answered.
    panel_yields
    /// A fault for which the journal has no room yet waits for it.
    fault_waits_for_room
    /// A new fitting keeps the baseline of a component only if its measure is the same.
    refit_by_measure
    /// A new fitting keeps the baselines of what it still has.
    refit_keeps
    /// Every field of a checkpoint that gets full asks for a new snapshot.
    every_field_asks
    /// Delta that does not fit a checkpoint's field forces a new snapshot, and
    /// is capped until then.
    cap_deltas
}

/// The rules as boards use them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sound;

impl Rules for Sound {}
