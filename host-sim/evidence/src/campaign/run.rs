//! One run: plays a script on a subject, and judges it after each cut.
//!
//! Whatever the faults are, no figure may be above what truly happened, and none below what was
//! said to be durable. A board must come to rest. Services and baselines must be wholly as
//! before a command or wholly as after it.
//!
//! If bus and part were not disturbed, a cut may cost no more than one checkpoint, and nothing
//! if a warning came long enough before it; and no fault may be named. A damaged page may cost
//! the checkpoint in it as well. A worn part need not store anything any more.

use shaftbook_core::counters::Counters;

use super::deed::Deed;
use super::kind::FaultKind;
use super::script::{Script, ScriptFault};
use super::state::StateSet;
use super::subject::{Condition, CutAgain, Subject};
use super::tally::{Cut, Tally};
use shaftbook_world::bus::{Answers, BusEvent, Stuck, Tear};
use shaftbook_world::judge::{Bounds, Delta, PROMISED_PROGRAM_US, is_durable, long_hold_up_ms};

/// So long after a fault of bus or part is over it may still have its effect, µs: the
/// store pauses half a second between tries, and writes what had waited.
const RECOVERS_US: u64 = 4_000_000;

/// What a run found.
#[derive(Clone, Debug, Default)]
pub struct Ran {
    /// Figures of it.
    pub tally: Tally,
    /// What did not hold, if anything.
    pub seen: Option<String>,
    /// The day on which a life ended.
    pub day: Option<u32>,
}

/// Plays `script` on `subject`, which is where the script's start says.
pub fn run<S: Subject>(subject: S, script: &Script) -> Ran {
    let wear: Vec<u32> = subject.bus().part().wear().page_cycles().to_vec();
    let mut player = Player {
        subject,
        tally: Tally::default(),
        armed: None,
        condition: Condition::default(),
        disturbed_until_ns: 0,
        last: StateSet::default(),
    };
    let seen = player.play(script).err();
    let after = player.subject.bus().part().wear().page_cycles();
    player.tally.note_wear(&script.start.part, &wear, after);
    Ran { tally: player.tally, seen, day: None }
}

/// A cut that is to come.
struct Armed {
    kind: FaultKind,
    tear: Tear,
    again: Option<CutAgain>,
    held_ms: u32,
}

struct Player<S> {
    subject: S,
    tally: Tally,
    armed: Option<Armed>,
    condition: Condition,
    disturbed_until_ns: u64,
    last: StateSet,
}

/// A tear as a script writes it; one that cannot be read leaves the old page.
fn tear(text: &str) -> Tear {
    text.parse().unwrap_or(Tear::Old)
}

impl<S: Subject> Player<S> {
    fn play(&mut self, script: &Script) -> Result<(), String> {
        let mut faults = script.faults.iter().peekable();
        for (number, step) in script.steps.iter().enumerate() {
            let acts = step.acts();
            for act in 0..acts {
                while let Some(fault) = faults.next_if(|f| is_due(f, number, act, acts)) {
                    self.inject(&fault.deed)?;
                }
                let (last, armed) = (&mut self.last, self.armed.is_some());
                self.subject.act(step.act(act), &mut |subject: &S| {
                    if armed && !subject.bus().is_cut() {
                        *last = subject.states();
                    }
                });
                self.after_cut()?;
            }
        }
        if self.armed.is_none() {
            self.last = self.subject.states();
            self.armed =
                Some(Armed { kind: FaultKind::Cut, tear: Tear::Old, again: None, held_ms: 0 });
        }
        self.cut()
    }

    /// Lets a cut that has come take its course.
    fn after_cut(&mut self) -> Result<(), String> {
        if self.subject.bus().is_cut() { self.cut() } else { Ok(()) }
    }

    fn arm(&mut self, armed: Armed, after_bytes: u64) -> Result<(), String> {
        if self.armed.is_some() {
            // The one before it comes now.
            self.cut()?;
        }
        self.last = self.subject.states();
        self.subject.bus_mut().cut_after_bytes(after_bytes);
        self.armed = Some(armed);
        Ok(())
    }

    fn inject(&mut self, deed: &Deed) -> Result<(), String> {
        let kind = deed.kind();
        self.tally.kinds.add(kind);
        match deed {
            Deed::Cut { after_bytes, tear: left } => {
                let armed = Armed { kind, tear: tear(left), again: None, held_ms: 0 };
                return self.arm(armed, *after_bytes);
            }
            Deed::NestedCut { after_bytes, tear: left, again } => {
                let again = Some((again.after_bytes, tear(&again.tear)));
                let armed = Armed { kind, tear: tear(left), again, held_ms: 0 };
                return self.arm(armed, *after_bytes);
            }
            Deed::Reset { after_bytes, held_ms } => {
                // A cycle that has begun ends well, one that has not does not start.
                let armed = Armed { kind, tear: Tear::New, again: None, held_ms: *held_ms };
                return self.arm(armed, *after_bytes);
            }
            Deed::WarnedCut { hold_up_ms, tear: left } => {
                return self.warned_cut(*hold_up_ms, tear(left));
            }
            _ => {}
        }
        let states = self.subject.states();
        self.tally.hit(kind, states);
        let bus = self.subject.bus_mut();
        let pages = bus.part().wear().page_cycles().len();
        match *deed {
            Deed::Refused { per_mille, for_ms } => {
                bus.refuse_at_random(f64::from(per_mille.min(900)) / 1_000.0);
                self.until(for_ms, BusEvent::RefuseAtRandom(0.0));
            }
            Deed::BusHeld { for_ms } => self.answers(Answers::BusHeld, for_ms),
            Deed::Silent { for_ms } => self.answers(Answers::Nobody, for_ms),
            Deed::Stranger { for_ms } => self.answers(Answers::Stranger, for_ms),
            Deed::WriteProtect { for_ms } => {
                bus.part_mut().set_write_protected(true);
                self.until(for_ms, BusEvent::WriteProtect(false));
            }
            Deed::FlippedBits { page_ahead, bits, seed } => {
                let page = self.page(page_ahead);
                self.subject.bus_mut().part_mut().flip_bits_in_page(page, bits, seed);
            }
            Deed::StuckPage { page_ahead, reads } => {
                let page = self.page(page_ahead);
                let how = reads.map_or(Stuck::KeepsOld, Stuck::Reads);
                self.subject.bus_mut().part_mut().stick_page(page, how);
            }
            Deed::MisdirectedWrite { cycles, page_ahead } => {
                let page = self.page(page_ahead);
                self.subject.bus_mut().part_mut().misdirect(cycles, page);
            }
            Deed::WornPart { pages: count } => {
                for ahead in 0..count.min(pages as u32) {
                    let page = self.page(ahead);
                    self.subject.bus_mut().part_mut().stick_page(page, Stuck::KeepsOld);
                }
                self.subject.disturbed();
            }
            Deed::Display { seed, .. } => self.subject.fit_display(seed),
            Deed::Cut { .. }
            | Deed::NestedCut { .. }
            | Deed::Reset { .. }
            | Deed::WarnedCut { .. } => {}
        }
        self.condition.is_damaged |= kind.damages();
        self.condition.is_worn |= kind == FaultKind::WornPart;
        Ok(())
    }

    fn page(&self, ahead: u32) -> usize {
        self.subject.next_page() + ahead as usize
    }

    fn answers(&mut self, who: Answers, for_ms: u32) {
        self.subject.bus_mut().set_answers(who);
        self.until(for_ms, BusEvent::Answers(Answers::Part));
    }

    fn until(&mut self, for_ms: u32, over: BusEvent) {
        let bus = self.subject.bus_mut();
        let end_ns = bus.now_ns() + u64::from(for_ms) * 1_000_000;
        bus.schedule(end_ns, over);
        self.disturbed_until_ns = self.disturbed_until_ns.max(end_ns + RECOVERS_US * 1_000);
        self.subject.disturbed();
    }

    fn warned_cut(&mut self, hold_up_ms: u32, left: Tear) -> Result<(), String> {
        if self.armed.is_some() {
            self.cut()?;
        }
        let warned_us = self.subject.now_us();
        let until_us = warned_us + u64::from(hold_up_ms) * 1_000;
        self.last = self.subject.states();
        let last = &mut self.last;
        self.subject.warn(until_us, &mut |subject: &S| *last = subject.states());
        // A step of the panel may end a little later.
        let held_ms = (self.subject.now_us() - warned_us).div_ceil(1_000) as u32;
        self.armed = Some(Armed { kind: FaultKind::WarnedCut, tear: left, again: None, held_ms });
        self.cut()
    }

    /// The supply goes, if it has not, comes again, and what the subject then says is
    /// judged.
    fn cut(&mut self) -> Result<(), String> {
        let Some(armed) = self.armed.take() else { return Ok(()) };
        let Armed { kind, tear, again, held_ms } = armed;
        self.tally.kinds.add(kind);
        self.tally.hit(kind, self.subject.states_at_cut(self.last));
        let was_disturbed = self.subject.bus().now_ns() < self.disturbed_until_ns;
        // After a power-up nothing waits to be stored any more.
        self.disturbed_until_ns = 0;
        let truth = self.subject.truth();
        let acknowledged = self.subject.acknowledged();
        self.tally.named = self.tally.named.with(self.subject.named());
        let is_held = kind == FaultKind::Reset && held_ms > 0;
        self.end_disturbances(is_held, held_ms);
        self.condition.is_disturbed = was_disturbed || is_held;
        self.condition.is_reset = kind == FaultKind::Reset;
        let up = self.subject.power_cycle(tear, again, self.condition);
        if self.condition.is_worn {
            // It stays so: there are many pages to try before one takes a record.
            self.subject.disturbed();
        }
        if let Some(states) = up.nested {
            self.tally.hit(kind, states);
        }
        self.tally.named = self.tally.named.with(self.subject.named());
        let truth = truth.plus(&up.between);
        let acknowledged = acknowledged.most(&up.acknowledged);
        let lost = up.past.map(|past| truth.since(&past)).unwrap_or_default();
        let long_ms =
            long_hold_up_ms(self.subject.bus().part().geometry().page_bytes, PROMISED_PROGRAM_US);
        let warned_ms = (kind == FaultKind::WarnedCut && held_ms >= long_ms).then_some(held_ms);
        self.condition.is_disturbed = was_disturbed;
        let is_sound = !self.condition.is_disturbed && !self.condition.is_damaged;
        self.tally.note_cut(&Cut {
            is_warned: warned_ms.is_some(),
            is_sound,
            lost,
            ready_us: up.ready_us,
            bytes_read: up.bytes_read,
        });
        let judged = judge(&acknowledged, up.past, &truth, self.condition, warned_ms);
        judged.and(up.broken.map_or(Ok(()), Err)).map_err(|what| {
            let again = again
                .map_or_else(String::new, |(n, t)| format!(", cut again after {n} bytes ({t})"));
            format!("{what} [{} ({tear}){again}]", kind.name())
        })
    }

    /// Whatever was wrong with bus and part ends with the power-up, or soon after it.
    fn end_disturbances(&mut self, is_held: bool, held_ms: u32) {
        let bus = self.subject.bus_mut();
        bus.set_answers(Answers::Part);
        bus.part_mut().set_write_protected(false);
        bus.refuse_at_random(0.0);
        if is_held {
            self.answers(Answers::BusHeld, held_ms);
        }
    }
}

fn is_due(fault: &ScriptFault, step: usize, act: u32, acts: u32) -> bool {
    let (at_step, at_act) = (fault.step as usize, fault.act.min(acts - 1));
    (at_step, at_act) <= (step, act)
}

fn judge(
    acknowledged: &Counters,
    past: Option<Counters>,
    truth: &Counters,
    condition: Condition,
    warned_ms: Option<u32>,
) -> Result<(), String> {
    let Some(past) = past else {
        if *acknowledged == Counters::default() {
            return Ok(()); // nothing was ever promised
        }
        return Err("the past is lost".into());
    };
    if !past.at_most(truth) {
        return Err(format!("above the truth: by {:?}", Delta(&past.since(truth))));
    }
    let lost = truth.since(&past);
    let below = acknowledged.since(&past);
    let bounds = Bounds::PROMISED;
    if !acknowledged.at_most(&past) {
        let is_one_checkpoint = bounds.hold(&below);
        if !condition.is_damaged || !is_one_checkpoint {
            return Err(format!("below what was durable: by {:?}", Delta(&below)));
        }
    }
    if condition.is_worn || condition.is_disturbed {
        return Ok(());
    }
    let bounds = if condition.is_damaged { bounds.doubled() } else { bounds };
    if !bounds.hold(&lost) {
        return Err(format!("over the bound: lost {:?}", Delta(&lost)));
    }
    if let Some(hold_up_ms) = warned_ms
        && !condition.is_damaged
    {
        // Powered time goes on until the cut.
        let powered_ms = truth.powered_ms.saturating_sub(u64::from(hold_up_ms));
        if !is_durable(&Counters { powered_ms, ..*truth }, &past) {
            return Err(format!("lost after a warning: {:?}", Delta(&lost)));
        }
    }
    Ok(())
}
