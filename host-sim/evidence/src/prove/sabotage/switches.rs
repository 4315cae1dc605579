//! One board for all mistakes: every function that can be broken is looked up in a table.
//!
//! Purpose: if each mistake had a type of its own, core, store and proofs would be compiled
//! anew for each. [`Sabotaged`] is compiled once. Which functions it has is set for a thread
//! before each run of a proof, and a run stays on its thread.

use std::cell::Cell;

use shaftbook_care::rules::CareRules;
use shaftbook_core::board::{Board, Polled};
use shaftbook_core::component::{Component, Measure, Standing};
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::serial::Lap;
use shaftbook_core::time::Instant;
use shaftbook_drivers::capture::EdgeConsumer;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::rules::LoopRules;
use shaftbook_panel::rules::PanelRules;
use shaftbook_readout::rules::ReadRules;
use shaftbook_readout::tag::BoardTag;
use shaftbook_tools::inspect::rules::ReadingRules;

use shaftbook_world::bench::under_test::{ExtendedTimer, UnderTest, sound};
use shaftbook_world::bus::Bus;

/// A board that does what the [`Switches`] of its thread say.
#[derive(Clone, Debug)]
pub struct Sabotaged;

thread_local! {
    static NOW: Cell<&'static Switches> = const { Cell::new(&SOUND) };
}

/// From now on [`Sabotaged`] does what `switches` say, on this thread.
pub fn set(switches: &'static Switches) {
    NOW.set(switches);
}

macro_rules! switches {
    (
        rules { $($rule:ident($($a:ident: $at:ty),*) -> $out:ty;)* }
        care { $($care_rule:ident($($c:ident: $ct:ty),*) -> $care_out:ty;)* }
        readout { $($read_rule:ident($($d:ident: $dt:ty),*) -> $read_out:ty;)* }
        panel { $($panel_rule:ident() -> bool;)* }
        main_loop { $($loop_rule:ident() -> bool;)* }
        reading { $($reading_rule:ident() -> bool;)* }
        outside { $($outside:ident($($b:ident: $bt:ty),*) $(-> $bout:ty)?, $sound:path;)* }
    ) => {
        /// Every function that can be broken: of `Rules`, of `CareRules`, of `ReadRules`, of
        /// `PanelRules`, of `LoopRules`, of `ReadingRules`, then of [`UnderTest`].
        #[allow(missing_docs)] // They are documented there.
        #[derive(Clone, Copy, Debug)]
        pub struct Switches {
            $(pub $rule: fn($($at),*) -> $out,)*
            $(pub $care_rule: fn($($ct),*) -> $care_out,)*
            $(pub $read_rule: fn($($dt),*) -> $read_out,)*
            $(pub $panel_rule: fn() -> bool,)*
            $(pub $loop_rule: fn() -> bool,)*
            $(pub $reading_rule: fn() -> bool,)*
            $(pub $outside: fn($($bt),*) $(-> $bout)?,)*
        }

        /// Nothing is broken.
        pub const SOUND: Switches = Switches {
            $($rule: <Sound as Rules>::$rule,)*
            $($care_rule: <Sound as CareRules>::$care_rule,)*
            $($read_rule: <Sound as ReadRules>::$read_rule,)*
            $($panel_rule: <Sound as PanelRules>::$panel_rule,)*
            $($loop_rule: <Sound as LoopRules>::$loop_rule,)*
            $($reading_rule: <Sound as ReadingRules>::$reading_rule,)*
            $($outside: $sound,)*
        };

        impl Rules for Sabotaged {
            $(fn $rule($($a: $at),*) -> $out {
                (NOW.get().$rule)($($a),*)
            })*
        }

        impl CareRules for Sabotaged {
            $(fn $care_rule($($c: $ct),*) -> $care_out {
                (NOW.get().$care_rule)($($c),*)
            })*
        }

        impl ReadRules for Sabotaged {
            $(fn $read_rule($($d: $dt),*) -> $read_out {
                (NOW.get().$read_rule)($($d),*)
            })*
        }

        impl PanelRules for Sabotaged {
            $(fn $panel_rule() -> bool {
                (NOW.get().$panel_rule)()
            })*
        }

        impl LoopRules for Sabotaged {
            $(fn $loop_rule() -> bool {
                (NOW.get().$loop_rule)()
            })*
        }

        impl ReadingRules for Sabotaged {
            $(fn $reading_rule() -> bool {
                (NOW.get().$reading_rule)()
            })*
        }

        impl UnderTest for Sabotaged {
            $(fn $outside($($b: $bt),*) $(-> $bout)? {
                (NOW.get().$outside)($($b),*)
            })*
        }
    };
}

switches! {
    rules {
        check_crc() -> bool;
        crc_of_all() -> bool;
        key_by_slot() -> bool;
        key_by_board() -> bool;
        check_lap() -> bool;
        read_back() -> bool;
        retire() -> bool;
        note_retired() -> bool;
        copies_apart() -> bool;
        snapshot_parity() -> bool;
        members_before_commit() -> bool;
        commit_twice() -> bool;
        parity_looked_for() -> bool;
        second_copy_looked_for() -> bool;
        written_anew() -> bool;
        mark_drafts() -> bool;
        check_binding() -> bool;
        check_binding_of_copies() -> bool;
        bind_all_counters() -> bool;
        check_rest() -> bool;
        write_binding() -> bool;
        look_ahead() -> bool;
        head_after_newest() -> bool;
        guard_live_snapshot() -> bool;
        keep_last_room() -> bool;
        room_for_second_try() -> bool;
        service_in_one_entry() -> bool;
        dated_when_asked() -> bool;
        answer_power_fail() -> bool;
        power_fail_first() -> bool;
        checkpoint_gives_way() -> bool;
        checkpoint_at_standstill() -> bool;
        carry_remainder() -> bool;
        add_session() -> bool;
        debounce_contacts() -> bool;
        reject_fast_pulses() -> bool;
        count_on_one_edge() -> bool;
        jumps_apart() -> bool;
        jump_as_of_pulse() -> bool;
        unattributed_when_unsure() -> bool;
        run_gap_counts() -> bool;
        shortest_period_counts() -> bool;
        needle_before_change() -> bool;
        code_read_anew() -> bool;
        right_reply_ends_wait() -> bool;
        renewal_is_stated_authorised() -> bool;
        ask_authority() -> bool;
        bind_purpose() -> bool;
        bind_service_count() -> bool;
        fresh_challenges() -> bool;
        one_try_a_challenge() -> bool;
        challenges_age() -> bool;
        store_before_judging() -> bool;
        lock_out() -> bool;
        wait_after_power_up() -> bool;
        panel_yields() -> bool;
        cap_deltas() -> bool;
        engineer_for_any() -> bool;
        tries_after_service() -> bool;
        refill_answers() -> bool;
        warning_stays() -> bool;
        answer_waits_for_pulse() -> bool;
        edge_without_room() -> bool;
        learn_pulses() -> bool;
        shaft_before_contacts() -> bool;
        run_ends_at_earliest() -> bool;
        shaft_fault_told() -> bool;
        growth_of_entry() -> bool;
        fault_waits_for_room() -> bool;
        refit_by_measure() -> bool;
        refit_keeps() -> bool;
        every_field_asks() -> bool;
        always_programmed() -> bool;
        retirement_twice() -> bool;
        retired_without_room() -> bool;
        entry_waits_for_snapshot() -> bool;
        member_made_good() -> bool;
        newest_entry_stays() -> bool;
        failures_end() -> bool;
        differing_ends() -> bool;
        journal_copies() -> u8;
        slots_used(slots: u16) -> u16;
        lap_is_newer(a: Lap, b: Lap) -> bool;
        lifetime(past: &Counters, session: &Counters) -> Counters;
    }
    care {
        worst_standing_first() -> bool;
        leaps_are_doubted() -> bool;
        no_days_by_a_wrong_clock() -> bool;
        surest_first() -> bool;
        cleaning_before_knife() -> bool;
        tests_share_the_error() -> bool;
        named_needles_left_out() -> bool;
        glitches_against_before() -> bool;
        component(ledger: &Ledger, place: usize) -> Option<Component>;
        wear(ledger: &Ledger, place: usize, lifetime: &Counters, day: Option<u16>) -> Option<u64>;
        standing(component: &Component, wear: u64) -> Standing;
        in_limit_unit(measure: Measure, wear: u64) -> u64;
        whole_days(days: f64) -> f64;
    }
    readout {
        notice_without_due() -> bool;
        knife_is_the_fixed_one() -> bool;
        service_due_at_limit() -> bool;
        tag(id: BoardId) -> BoardTag;
        interval_ms(ledger: &Ledger, lifetime: &Counters) -> u64;
        hours(ms: u64) -> u64;
    }
    panel {
        service_counts_as_due() -> bool;
        renews_what_was_opened() -> bool;
        stated_apart() -> bool;
        code_holds_still() -> bool;
        home_since_service() -> bool;
    }
    main_loop {
        lamp_tells_due() -> bool;
        port_tells_what_it_names() -> bool;
        clock_is_read_when_ready() -> bool;
        time_before_edges() -> bool;
        stamped_by_interrupt() -> bool;
        missed_told() -> bool;
        levels_read_again() -> bool;
        one_step_a_poll() -> bool;
        tile_by_tile() -> bool;
        presses_wait() -> bool;
        lamp_off_at_once() -> bool;
        watchdog_every_turn() -> bool;
        sleep_is_bounded() -> bool;
        level_wakes() -> bool;
        level_before_pulse() -> bool;
        view_is_a_task() -> bool;
        panel_told() -> bool;
        display_woken_anew() -> bool;
    }
    reading {
        look_beyond_newest() -> bool;
        blank_was_written() -> bool;
        count_unusable() -> bool;
        end_may_be_cut() -> bool;
        see_put_back() -> bool;
        bound_all() -> bool;
        tell_lost_entries() -> bool;
    }
    outside {
        poll(board: &mut Board<Sabotaged>, now: Instant, bus: &mut Bus, part: WiredPart) -> Polled,
            sound::poll::<Sabotaged>;
        input(board: &mut Board<Sabotaged>, at: Instant, input: Input),
            sound::input::<Sabotaged>;
        power_up(id: BoardId, before: &Board<Sabotaged>) -> Board<Sabotaged>,
            sound::power_up::<Sabotaged>;
        watchdog(id: BoardId, before: &Board<Sabotaged>) -> Board<Sabotaged>,
            sound::power_up::<Sabotaged>;
        extend(clock: &mut ExtendedTimer, bits: u32, tick: u32) -> Instant,
            sound::extend;
        take_missed(
            board: &mut Board<Sabotaged>,
            edges: &mut EdgeConsumer<'_>,
            interrupt: &mut dyn FnMut()
        ),
            sound::take_missed::<Sabotaged>;
    }
}
