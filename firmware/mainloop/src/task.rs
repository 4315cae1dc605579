//! What the main loop does beside counting, as a list: when several tasks are due, the first
//! one in the list is done. What a person waits for comes first.
//!
//! When a task is due, and what is done then, is written in `main_loop`, once for each task.

/// Other work, one piece of it between two polls of the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Task {
    /// A press of a button goes to the panel.
    Press,
    /// The panel's own time: a notice ends, the first screen comes back.
    PanelTime,
    /// What stands on the screen is looked at anew.
    View,
    /// The next line of a report at the service port.
    PortLine,
    /// The next step of the display.
    Display,
    /// The clock chip is read.
    Clock,
    /// The next step of the look for hints.
    Hints,
    /// The next piece of the hash of the firmware's own bytes.
    ImageHash,
}

impl Task {
    /// All of them, the most pressing first.
    pub const ALL: [Self; 8] = [
        Self::Press,
        Self::PanelTime,
        Self::View,
        Self::PortLine,
        Self::Display,
        Self::Clock,
        Self::Hints,
        Self::ImageHash,
    ];
}
