//! The rules of the main loop, each a named switch, as `shaftbook_core::rules` has them for the
//! core.
//!
//! A proof is only worth something if it fails when the thing that it guards is broken. These
//! switches are how the loop that ships is broken for that.
//!
//! Invariant: [`Sound`] changes nothing. Every default here is the right one, and a constant,
//! so that the sound loop carries nothing of the broken ones.

use shaftbook_core::rules::Sound;
use shaftbook_panel::rules::PanelRules;

shaftbook_core::rules! {
    /// The rules of the main loop. Every default is the sound one.
    trait LoopRules: PanelRules {}

    /// The time is read before the edges are taken: all edges up to it are then in the
    /// queue.
    time_before_edges
    /// An edge counts from the moment at which its interrupt stamped it.
    stamped_by_interrupt
    /// The board is told how many edges were lost.
    missed_told
    /// After edges were lost, the levels of the inputs are read again.
    levels_read_again
    /// There is a poll of the board between any two pieces of other work.
    one_step_a_poll
    /// A picture goes to the display tile by tile, each a step of its own.
    tile_by_tile
    /// A press waits until there is time for it.
    presses_wait
    /// Lamp and buzzer are off from the first turn after a warning on.
    lamp_off_at_once
    /// The watchdog is fed in every turn.
    watchdog_every_turn
    /// No sleep is longer than the watchdog allows.
    sleep_is_bounded
    /// The loop wakes up to read the needle-position voltage.
    level_wakes
    /// The needle-position voltage is read before a pulse of the shaft counts.
    level_before_pulse
    /// The view is one of the tasks that the loop looks at.
    view_is_a_task
    /// The panel is told what has happened on the board.
    panel_told
    /// The lamp tells what is due, not only what is faulty.
    lamp_tells_due
    /// A line of the port tells the figure that it names.
    port_tells_what_it_names
    /// The clock is read as soon as the board is ready.
    clock_is_read_when_ready
    /// The display is woken anew now and then, in case it lost its settings.
    display_woken_anew
}

impl LoopRules for Sound {}
