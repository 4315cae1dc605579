//! The broken boards, one mistake each: the table.

use shaftbook_core::counters::Counters;
use shaftbook_core::serial::Lap;

use super::switches::{SOUND, Switches};
use super::{Mistake, Sabotage, outside, saying};
use crate::prove::Proof;

macro_rules! sabotages {
    ($($name:literal $mistake:ident $proof:ident $what:literal
        { $($switch:ident: $broken:path),* })*) => {
        /// All broken boards.
        pub const ALL: &[Sabotage] = &[$(
            Sabotage {
                name: $name,
                what: $what,
                mistake: Mistake::$mistake,
                tried_first: Proof::$proof,
                switches: &Switches { $($switch: $broken,)* ..SOUND },
            },
        )*];
    };
}

// Name, kind of mistake, the proof that is tried first, what is broken; in braces the
// functions that are replaced.
sabotages! {
    "crc-ignored" Trust NeverBackwards
        "a record is believed whatever its CRC"
        { check_crc: no }
    "session-twice" Arithmetic NeverBackwards
        "what was counted before the past was known is added twice"
        { lifetime: session_twice }
    "past-forgotten" Arithmetic NeverBackwards
        "a checkpoint holds this session only"
        { lifetime: session_only }
    "warning-ignored" Power LossBound
        "a power-fail warning is not answered"
        { answer_power_fail: no }
    "screen-in-one-go" Power LossBound
        "the whole picture goes to the display in one transaction"
        { tile_by_tile: no }
    "panel-never-yields" Power LossBound
        "the panel goes on drawing while a warning is answered"
        { panel_yields: no }
    "remainder-dropped" Arithmetic LossBound
        "running time is rounded at each pulse"
        { carry_remainder: no }
    "service-in-two-steps" Order WholeService
        "interval baseline and renewals are two entries"
        { service_in_one_entry: no }
    "needle-guessed" Signals NeedlesAddUp
        "a position that is not debounced counts for the last needle"
        { unattributed_when_unsure: no }
    "lap-compared-plainly" Arithmetic RollOver
        "laps are compared with >, not by RFC 1982"
        { lap_is_newer: plainly }
    "no-look-ahead" Trust OneBadPage
        "the first place where the lap changes is believed"
        { look_ahead: no }
    "no-parity" Redundancy OneBadPage
        "a snapshot has no parity member"
        { snapshot_parity: no }
    "one-copy" Redundancy OneBadPage
        "a journal entry has one copy"
        { journal_copies: one }
    "not-read-back" Trust OneBadPage
        "a record counts as stored when it was sent"
        { read_back: no }
    "never-retired" Wear OneBadPage
        "a page that fails is passed over, not retired"
        { retire: no }
    "any-slot" Trust OneBadPage
        "a record is believed in whatever slot it stands"
        { key_by_slot: no }
    "session-not-added" Reset GarbageBoots
        "what was counted before the past is known is not added"
        { add_session: no }
    "any-board" Trust GarbageBoots
        "records of any board are believed"
        { key_by_board: no }
    "half-the-ring" Wear EvenWear
        "only half of the slots are used"
        { slots_used: half }
    "no-authority" Authority NoFreeReset
        "a service needs no reply"
        { ask_authority: no }
    "any-purpose" Authority NoFreeReset
        "one reply authorises any purpose"
        { bind_purpose: no }
    "no-lock-out" Authority NoFreeReset
        "wrong replies can be tried without a wait"
        { lock_out: no }
    "crc-of-half" Trust OneBadPage
        "the CRC covers the first half of a record only"
        { crc_of_all: no }
    "old-laps-believed" Trust OneBadPage
        "a record of the lap before is believed where this lap's should be"
        { check_lap: no }
    "drafts-mixed" Trust OneBadPage
        "members of a snapshot that was cut pass for those of the next"
        { mark_drafts: no }
    "any-snapshot" Trust SaysWhatIsMissing
        "a checkpoint is added to whatever snapshot stands in the slot that it names"
        { check_binding: no }
    "entries-of-any-snapshot" Trust SaysWhatIsMissing
        "an entry of the journal is believed whatever snapshot it adds to"
        { check_binding_of_copies: no }
    "bound-to-the-first-member" Trust SaysWhatIsMissing
        "a checkpoint is bound to the first member of its snapshot only"
        { bind_all_counters: no }
    "ledger-of-any-snapshot" Trust SaysWhatIsMissing
        "the members of a snapshot after the first four are not checked against them"
        { check_rest: no }
    "bound-to-the-old-snapshot" Order NeverBackwards
        "the checkpoint that commits a snapshot is bound to the one before"
        { write_binding: no }
    "copies-in-one-slot" Redundancy OneBadPage
        "the second copy of a journal entry goes over the first"
        { copies_apart: no }
    "one-commit" Redundancy OneBadPage
        "one slot holds the only pointer to a new snapshot"
        { commit_twice: no }
    "commit-too-early" Order NeverBackwards
        "a snapshot is committed before all of it is written"
        { members_before_commit: no }
    "head-on-newest" Arithmetic SmallScope
        "after a boot the newest record is overwritten"
        { head_after_newest: no }
    "live-snapshot-unguarded" Order NeverBackwards
        "the live snapshot may be overwritten, and no room is kept before it"
        { guard_live_snapshot: no, keep_last_room: no }
    "last-room-used" Power NeverBackwards
        "checkpoints may use up the room for a new snapshot"
        { keep_last_room: no }
    "small-ring-of-halves" Power LossBound
        "on a small ring a snapshot that a warning and a cut end leaves no room for another"
        { room_for_second_try: no }
    "one-slot-too-many" Arithmetic RollOver
        "the ring is taken to have one slot more"
        { slots_used: one_more }
    "retired-forgotten" Reset OneBadPage
        "which slots are retired is known until the next boot only"
        { note_retired: no }
    "delta-wraps" Arithmetic RollOver
        "delta too large for its field is cut off"
        { cap_deltas: no }
    "stitches-in-32-bits" Arithmetic RollOver
        "a needle's stitches are added up in 32 bits"
        { lifetime: stitches_in_32_bits }
    "powered-in-32-bits" Arithmetic RollOver
        "powered ms are added up in 32 bits: 49.7 days"
        { lifetime: powered_in_32_bits }
    "whole-seconds" Arithmetic LossBound
        "times are rounded to seconds at each checkpoint"
        { lifetime: whole_seconds }
    "timer-of-32-bits" Arithmetic NeverBackwards
        "the timer's 32 bits of µs are not extended: 71.6 minutes"
        { poll: outside::poll_by_32_bits, input: outside::stamped_by_32_bits }
    "late-stamp-is-a-wrap" Race RollOver
        "a stamp older than the newest is taken for a wrap of the timer"
        { extend: outside::late_stamp_is_a_wrap }
    "warning-waits-its-turn" Power LossBound
        "a power-fail warning is answered after what is being written"
        { power_fail_first: no }
    "standstill-not-stored" Power LossBound
        "only sewing leads to checkpoints"
        { checkpoint_at_standstill: no }
    "end-of-warning-unseen" Power LossBound
        "the end of a power-fail warning is not seen"
        { input: outside::end_of_warning_unseen }
    "ram-kept" Reset NeverBackwards
        "after a power-up the board goes on with what its RAM held"
        { power_up: outside::ram_kept }
    "ram-kept-by-watchdog" Reset NeverBackwards
        "after a watchdog reset in mid-write the board goes on with what its RAM held"
        { watchdog: outside::ram_kept }
    "early-edges-dropped" Reset GarbageBoots
        "edges are thrown away until the memory was read"
        { input: outside::early_edges_dropped }
    "needle-one-further" Signals NeedlesAddUp
        "the needle's index is off by one"
        { input: outside::needle_one_further }
    "contacts-bounce" Signals NeedlesAddUp
        "contacts are not debounced"
        { debounce_contacts: no }
    "fast-pulses-counted" Signals NeedlesAddUp
        "pulses faster than the machine can turn are stitches"
        { reject_fast_pulses: no }
    "both-edges" Signals NeedlesAddUp
        "a trim counts when its contact opens too"
        { count_on_one_edge: no }
    "jumps-are-stitches" Signals NeedlesAddUp
        "a jump counts as a stitch"
        { jumps_apart: no }
    "missed-not-asked" Race NeedlesAddUp
        "nobody asks how many edges found the queue full"
        { take_missed: outside::missed_not_asked }
    "missed-read-then-cleared" Race NeedlesAddUp
        "an interrupt between reading and clearing the count of missed edges"
        { take_missed: outside::missed_read_then_cleared }
    "no-acknowledge-polling" Driver NeverBackwards
        "the driver does not ask whether the program cycle is over"
        { poll: outside::no_acknowledge_polling }
    "across-pages" Driver GarbageBoots
        "the driver sends across the end of a page"
        { poll: outside::across_pages }
    "errors-ignored" Driver NeverBackwards
        "the driver takes a refused write for a done one"
        { poll: outside::errors_ignored }
    "next-page" Driver OneBadPage
        "the driver writes one page too far"
        { poll: outside::next_page }
    "dated-when-written" Order WholeService
        "a renewal is dated to when it is written, not to when it was asked for"
        { dated_when_asked: no }
    "judged-before-stored" Authority NoFreeReset
        "a try is judged before it is stored"
        { store_before_judging: no }
    "wait-in-ram" Authority NoFreeReset
        "the wait after wrong replies is forgotten at a power-up"
        { wait_after_power_up: no }
    "any-service-count" Authority NoFreeReset
        "a reply for another service count is good"
        { bind_service_count: no }
    "same-challenge" Authority NoFreeReset
        "the challenge is the same until the next service"
        { fresh_challenges: no }
    "challenge-tried-again" Authority NoFreeReset
        "a challenge is good for any number of tries"
        { one_try_a_challenge: no }
    "challenge-never-ages" Authority NoFreeReset
        "a challenge is good for ever"
        { challenges_age: no }
    "time-after-edges" Race MainLoop
        "the main loop reads the time after it took the edges"
        { time_before_edges: no }
    "stamped-when-taken" Race MainLoop
        "an edge counts from when the main loop takes it, not from its interrupt"
        { stamped_by_interrupt: no }
    "levels-not-read-again" Race MainLoop
        "after lost edges nobody looks where the inputs stand"
        { levels_read_again: no }
    "loss-not-told" Race MainLoop
        "the main loop keeps to itself how many edges were lost"
        { missed_told: no, levels_read_again: no }
    "steps-in-a-row" Power MainLoop
        "the main loop does all that is due in a row, without a poll between"
        { one_step_a_poll: no }
    "press-lost" Signals MainLoop
        "a press that cannot be done at once is forgotten"
        { presses_wait: no }
    "lamp-late" Power MainLoop
        "lamp and buzzer stay on while a warning is answered"
        { lamp_off_at_once: no }
    "watchdog-unfed" Reset MainLoop
        "the watchdog is not fed"
        { watchdog_every_turn: no }
    "sleeps-too-long" Reset MainLoop
        "the main loop sleeps longer than its watchdog waits"
        { sleep_is_bounded: no }
    "level-does-not-wake" Signals NeedlesAddUp
        "the needle voltage is read when the loop happens to be awake"
        { level_wakes: no }
    "level-after-pulse" Signals NeedlesAddUp
        "a pulse counts for the needle that was read up to 10 ms before"
        { level_before_pulse: no }
    "view-in-no-list" Order MainLoop
        "the view is a task in none of the lists that are asked what is due"
        { view_is_a_task: no }
    "panel-not-told" Order MainLoop
        "the panel is not told what has happened on the board"
        { panel_told: no }
    "ring-of-a-power-of-two" Arithmetic NeverBackwards
        "a ring is taken to have a power of two of slots, the next above its own"
        { slots_used: power_of_two }
    "parity-not-looked-for" Redundancy Heals
        "a boot does not look whether the parity member is there"
        { parity_looked_for: no }
    "second-copy-not-looked-for" Redundancy Heals
        "a boot does not look for the second copy of a journal entry"
        { second_copy_looked_for: no }
    "not-written-anew" Redundancy Heals
        "what a boot had to make good is not written anew"
        { written_anew: no }
    "display-woken-once" Reset MainLoop
        "a display that lost its settings stays dark"
        { display_woken_anew: no }
    "run-ends-late" Signals WholeDays
        "a run ends with the last edge of its last pulse's bounce, not with the first"
        { run_ends_at_earliest: no }
    "contacts-before-shaft" Signals NeedlesAddUp
        "a trim settles a jump that closed after the last pulse before that pulse is counted"
        { shaft_before_contacts: no }
    "jump-as-of-look" Signals NeedlesAddUp
        "a pulse just before a jump is certain is a stitch or a jump by when somebody looks"
        { jump_as_of_pulse: no }
    "shaft-fault-untold" Signals NeedlesAddUp
        "nobody is told of a shaft signal whose pulses come too soon"
        { shaft_fault_told: no }
    "edge-without-room" Reset NeedlesAddUp
        "the edge for which the waiting room at boot has no place is dropped"
        { edge_without_room: no }
    "pulses-not-learned" Reset NeedlesAddUp
        "revolutions counted before the pulses of one are known stay as they are"
        { learn_pulses: no }
    "code-not-read-anew" Reset NeedlesAddUp
        "a needle that the settings at boot did not know stays unknown until the next change"
        { code_read_anew: no }
    "answers-used-up" Power LossBound
        "the answers to warnings without a pause are not refilled in calm"
        { refill_answers: no }
    "warning-cleared-by-bounce" Power LossBound
        "a second active edge of the warning's line clears the warning"
        { warning_stays: no }
    "pulse-before-warning" Power LossBound
        "the answer to a warning begins before a pulse that came just before is certain"
        { answer_waits_for_pulse: no }
    "checkpoint-goes-on" Power LossBound
        "on short pages the answer to a warning waits for all of a checkpoint begun before it"
        { checkpoint_gives_way: no }
    "growth-ignored" Trust NeverBackwards
        "a newer journal entry's growth is not added to its checkpoint's"
        { growth_of_entry: no }
    "breaks-ask-nothing" Arithmetic RollOver
        "thread breaks beyond their field ask for no new snapshot"
        { every_field_asks: no }
    "engineer-for-all" Authority NoFreeReset
        "a set needs the engineer only if every component in it is the engineer's"
        { engineer_for_any: no }
    "tries-forgotten" Authority NoFreeReset
        "tries after a service are off the record at the next power-up"
        { tries_after_service: no }
    "fault-lost-for-room" Order GarbageBoots
        "a fault counts as journalled though the journal had no room for it"
        { fault_waits_for_room: no }
    "refit-by-kind" Arithmetic RefitKeeps
        "a new fitting keeps the baseline of a component that is now measured otherwise"
        { refit_by_measure: no }
    "refit-forgets" Reset RefitKeeps
        "a new fitting begins every component anew"
        { refit_keeps: no }
    "newest-believed" Trust SaysWhatIsMissing
        "`inspect` does not look at the slots after the newest record"
        { look_beyond_newest: no }
    "blank-is-nothing" Trust SaysWhatIsMissing
        "`inspect` takes a blank slot for one that was never written"
        { blank_was_written: no }
    "unusable-not-told" Trust SaysWhatIsMissing
        "`inspect` keeps to itself newer records on a lost snapshot"
        { count_unusable: no }
    "image-is-whole" Trust SaysWhatIsMissing
        "`inspect` takes every image for the whole part"
        { end_may_be_cut: no }
    "put-back-unseen" Trust SaysWhatIsMissing
        "`inspect` does not see slots that are older than their lap"
        { see_put_back: no }
    "one-record-missing" Arithmetic SaysWhatIsMissing
        "`inspect` bounds what is missing by one record, however many there were"
        { bound_all: no }
    "gap-not-told" Redundancy SaysWhatIsMissing
        "`inspect` does not count journal entries that are lost among others"
        { tell_lost_entries: no }
    "run-gap-short" Arithmetic AsDocumented
        "a gap that is just the run gap is not running"
        { run_gap_counts: no }
    "shortest-is-glitch" Arithmetic AsDocumented
        "a pulse just as fast as the machine can turn is a glitch"
        { shortest_period_counts: no }
    "needle-after-pulse" Signals AsDocumented
        "a revolution counts for the needle that came after its pulse"
        { needle_before_change: no }
    "wait-after-right-reply" Authority AsDocumented
        "a right reply does not end the wait of the wrong ones before"
        { right_reply_ends_wait: no }
    "engineer-not-noted" Authority AsDocumented
        "the journal does not say that the engineer allowed a renewal, and the tries stay"
        { renewal_is_stated_authorised: no }
    "header-is-enough" Trust SmallScope
        "a slot whose header is that of the record to be written is taken to hold it"
        { always_programmed: no }
    "entry-overwritten" Order SmallScope
        "after a boot the first checkpoint goes over an entry that is the newest record"
        { newest_entry_stays: no }
    "member-left-out" Redundancy SmallScope
        "a snapshot is believed though one of its members is missing"
        { member_made_good: no }
    "entry-beside-snapshot" Order SmallScope
        "an entry is written while a snapshot is, and is in neither when that is committed"
        { entry_waits_for_snapshot: no }
    "retirement-noted-once" Redundancy SmallScope
        "the note of a retired slot has one copy"
        { retirement_twice: no }
    "retired-without-room" Order Heals
        "a retired slot for whose note there is no room is on no record"
        { retired_without_room: no }
    "failures-add-up" Arithmetic Heals
        "refusals of the part, hours apart, count as a row of them"
        { failures_end: no }
    "differing-adds-up" Arithmetic Heals
        "slots that differed, hours apart, count as a row of them: the next try waits"
        { differing_ends: no }
    "due-past-limit" Said SaysWhatIs
        "a component is due only when it is past its limit"
        { standing: saying::due_past_limit }
    "notice-past-limit" Said SaysWhatIs
        "a component is at notice only when it is past its notice limit"
        { standing: saying::notice_past_limit }
    "notice-of-next" Said SaysWhatIs
        "a component's notice limit is that of the next one"
        { component: saying::notice_of_next }
    "wear-since-ever" Said SaysWhatIs
        "wear counts from the beginning of the board's life, not from the renewal"
        { wear: saying::wear_ever }
    "days-since-ever" Said SaysWhatIs
        "calendar days count from the first of all, not from the renewal"
        { wear: saying::days_ever }
    "needle-by-all-stitches" Said SaysWhatIs
        "a needle wears by the stitches of all needles"
        { wear: saying::needle_by_all }
    "running-for-powered" Said SaysWhatIs
        "what wears by powered time wears by running time"
        { wear: saying::running_for_powered }
    "ms-for-s" Said SaysWhatIs
        "wear by time is said in ms, as if they were s"
        { in_limit_unit: saying::ms_for_s }
    "days-rounded-up" Said SaysWhatIs
        "a part of a day that is left is said to be a day"
        { whole_days: saying::days_rounded_up }
    "days-by-wrong-clock" Said SaysWhatIs
        "days are announced by a clock that is at fault"
        { no_days_by_a_wrong_clock: no }
    "leap-believed" Said SaysWhatIs
        "a clock that leaps is believed without a person"
        { leaps_are_doubted: no }
    "clock-read-late" Said SaysWhatIs
        "the clock is not read when the board is ready"
        { clock_is_read_when_ready: no }
    "most-worn-first" Said SaysWhatIs
        "the most worn component is the most pressing, though another is due"
        { worst_standing_first: no }
    "hints-unsorted" Said SaysWhatIs
        "a hint that is only possible comes before a strong one"
        { surest_first: no }
    "knife-before-cleaning" Said SaysWhatIs
        "the knife is blamed before the trimmer was cleaned"
        { cleaning_before_knife: no }
    "each-test-alone" Said SaysWhatIs
        "each test of a look has the whole error rate for itself"
        { tests_share_the_error: no }
    "named-needle-again" Said SaysWhatIs
        "a needle with a hint of its own counts among all needles too"
        { named_needles_left_out: no }
    "glitches-against-all" Said SaysWhatIs
        "a session's glitches are held against a life that they are part of"
        { glitches_against_before: no }
    "interval-since-ever" Said SaysWhatIs
        "the interval counts from the beginning of the board's life, not from the service"
        { interval_ms: saying::interval_ever }
    "interval-by-other-time" Said SaysWhatIs
        "the interval counts running time for powered time, and the other way round"
        { interval_ms: saying::interval_by_other_time }
    "service-past-limit" Said SaysWhatIs
        "a service is due only when its interval is past the limit"
        { service_due_at_limit: no }
    "hours-rounded-up" Said SaysWhatIs
        "the read-out code rounds hours up"
        { hours: saying::hours_rounded_up }
    "tag-of-low-bytes" Said SaysWhatIs
        "the tag is made of the identity with its lowest byte first"
        { tag: saying::tag_of_low_bytes }
    "notice-counts-due" Said SaysWhatIs
        "the read-out code counts what is due among what is at notice"
        { notice_without_due: no }
    "any-knife" Said SaysWhatIs
        "the read-out code tells the trims of the first thing that wears by them"
        { knife_is_the_fixed_one: no }
    "code-moves-on" Said SaysWhatIs
        "the read-out code changes while it is read aloud"
        { code_holds_still: no }
    "service-not-counted" Said SaysWhatIs
        "a service that is due does not count among what is due: no drop, no lamp"
        { service_counts_as_due: no }
    "neighbour-renewed" Said SaysWhatIs
        "the panel renews the component beside the one that was opened"
        { renews_what_was_opened: no }
    "stated-in-measured" Said SaysWhatIs
        "hours that were stated at fitting are shown as measured"
        { stated_apart: no }
    "home-since-ever" Said SaysWhatIs
        "the first screen shows the hours of the board's life as those since the service"
        { home_since_service: no }
    "lamp-lit-when-due" Said SaysWhatIs
        "the lamp does not say that something is due"
        { lamp_tells_due: no }
    "port-running-for-powered" Said SaysWhatIs
        "the port's line of powered time tells running time"
        { port_tells_what_it_names: no }
}

fn no() -> bool {
    false
}

fn one() -> u8 {
    1
}

fn half(slots: u16) -> u16 {
    slots / 2
}

fn one_more(slots: u16) -> u16 {
    slots + 1
}

fn power_of_two(slots: u16) -> u16 {
    slots.next_power_of_two()
}

fn plainly(a: Lap, b: Lap) -> bool {
    a.get() > b.get()
}

fn session_twice(past: &Counters, session: &Counters) -> Counters {
    past.plus(session).plus(session)
}

fn session_only(_: &Counters, session: &Counters) -> Counters {
    *session
}

fn stitches_in_32_bits(past: &Counters, session: &Counters) -> Counters {
    let mut sum = past.plus(session);
    for stitches in &mut sum.needle_stitches {
        *stitches &= u64::from(u32::MAX);
    }
    sum
}

fn powered_in_32_bits(past: &Counters, session: &Counters) -> Counters {
    let mut sum = past.plus(session);
    sum.powered_ms &= u64::from(u32::MAX);
    sum
}

fn whole_seconds(past: &Counters, session: &Counters) -> Counters {
    let mut sum = past.plus(session);
    sum.powered_ms -= sum.powered_ms % 1_000;
    sum.running_ms -= sum.running_ms % 1_000;
    sum
}
