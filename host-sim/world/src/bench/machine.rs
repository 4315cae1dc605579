//! What the machine does, as signals to the board and as truth beside them.
//!
//! Invariant: the truth counts each signal at the moment at which it is fed in.

use shaftbook_core::counters::Needle;
use shaftbook_core::input::{Input, Level};

use super::device::Device;
use super::{Bench, Meant};

impl<D: Device> Bench<D> {
    /// Sews `stitches` on `needle`, one in `period_us`.
    pub fn sew(
        &mut self,
        needle: Needle,
        stitches: u64,
        period_us: u64,
        watch: &mut impl FnMut(&Self),
    ) {
        self.select(needle, watch);
        for _ in 0..stitches {
            self.revolution(Some(needle), period_us, watch);
        }
    }

    /// Brings `needle` over the plate and waits until its position is debounced.
    pub fn select(&mut self, needle: Needle, watch: &mut impl FnMut(&Self)) {
        let code = Input::NeedleCode(needle.number() - 1);
        self.feed(self.now(), code, Meant::Nothing);
        self.pass_to(self.now_us + 50_000, watch);
    }

    /// Tells a board that was just powered the levels that its inputs have, as a main
    /// loop does first of all: those of `before`, the same machine's last power-up.
    pub fn tell_levels(&mut self, before: &Self) {
        self.levels = before.levels;
        if let (Some(needle), _) = self.levels {
            self.feed(self.now(), Input::NeedleCode(needle.number() - 1), Meant::Nothing);
        }
        if self.levels.1 {
            self.feed(self.now(), Input::Jump(Level::Active), Meant::Nothing);
        }
    }

    /// One revolution of the shaft in `period_us`: a stitch on `needle`, which is the one
    /// over the plate, or without one a jump.
    pub fn revolution(
        &mut self,
        needle: Option<Needle>,
        period_us: u64,
        watch: &mut impl FnMut(&Self),
    ) {
        let at_us = self.now_us;
        self.pulse(needle);
        self.pass_to(at_us + period_us / 2, watch);
        self.feed(self.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
        self.pass_to(at_us + period_us, watch);
    }

    /// The needle bar is disengaged, or engaged again.
    pub fn jump(&mut self, is_jump: bool, watch: &mut impl FnMut(&Self)) {
        self.feed(self.now(), Input::Jump(Level::from_bool(is_jump)), Meant::Nothing);
        self.pass_to(self.now_us + 50_000, watch);
    }

    /// The beginning of one stitch on `needle`, without one of a jump, now; no poll.
    fn pulse(&mut self, needle: Option<Needle>) {
        let meant = needle.map_or(Meant::Jump, Meant::Stitch);
        self.feed(self.now(), Input::Shaft(Level::Active), meant);
    }

    /// One stitch on `needle`, which is selected already, while the main loop is busy
    /// elsewhere: there is no poll before it is over.
    pub fn stitch_unpolled(&mut self, needle: Needle) {
        self.pulse(Some(needle));
        self.now_us += 10_000;
        self.feed(self.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
    }

    /// Actuates the trimmer once.
    pub fn trim(&mut self, watch: &mut impl FnMut(&Self)) {
        self.feed(self.now(), Input::Trim(Level::Active), Meant::Trim);
        self.pass_to(self.now_us + 100_000, watch);
        self.feed(self.now(), Input::Trim(Level::Inactive), Meant::Nothing);
        self.pass_to(self.now_us + 100_000, watch);
    }

    /// One thread break on `needle`.
    pub fn thread_break(&mut self, needle: Needle, watch: &mut impl FnMut(&Self)) {
        self.select(needle, watch);
        self.feed(self.now(), Input::ThreadBreak(Level::Active), Meant::Break(needle));
        self.pass_to(self.now_us + 50_000, watch);
        self.feed(self.now(), Input::ThreadBreak(Level::Inactive), Meant::Nothing);
        self.pass_to(self.now_us + 50_000, watch);
    }

    /// The power-fail warning.
    pub fn warn(&mut self) {
        self.feed(self.now(), Input::PowerFail(Level::Active), Meant::Nothing);
    }
}
