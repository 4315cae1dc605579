//! The wire: an embedded-hal I²C bus with one memory part on it, its clock, its faults
//! and its cuts. What is sent to the display is in `display_wire`.

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use rand_core::Rng;
use rand_pcg::Pcg32;

use super::cells::Stuck;
use super::clock::ClockSays;
use super::cut::ArmedCut;
use super::display::{DisplayFailure, DisplayModel};
use super::part::Part;
use super::tear::Tear;
use super::timing::Timing;

/// Why a transaction failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BusError {
    /// The address was not acknowledged.
    NotAcknowledged,
    /// A byte after the address was not acknowledged (by a display that dies).
    DataNotAcknowledged,
    /// A line is held low.
    Held,
    /// There is no supply any more: the board does not live to see this.
    Cut,
}

impl Error for BusError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::NotAcknowledged => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            Self::DataNotAcknowledged => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
            Self::Held => ErrorKind::Bus,
            Self::Cut => ErrorKind::Other,
        }
    }
}

/// Who answers at the part's address.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Answers {
    /// The part.
    #[default]
    Part,
    /// Nobody: the part is missing, dead or its wire is off.
    Nobody,
    /// Nobody can: a line is held low.
    BusHeld,
    /// Some other device: acknowledges everything, keeps nothing, sends arbitrary
    /// bytes drawn from the seed.
    Stranger,
}

/// Something that happens to the bus or the part at a moment.
#[derive(Clone, Debug)]
pub enum BusEvent {
    /// Somebody else answers from now on.
    Answers(Answers),
    /// Another part is in the socket from now on.
    Exchange(Box<Part>),
    /// The write-protect pin changes.
    WriteProtect(bool),
    /// [`Bus::refuse_at_random`].
    RefuseAtRandom(f64),
    /// [`Part::flip_bits_in_page`].
    FlipBits {
        /// Page, modulo the number of pages.
        page: usize,
        /// Bits to flip.
        count: u32,
        /// Where from.
        seed: u64,
    },
    /// [`Part::stick_page`].
    StickPage(usize, Stuck),
    /// [`DisplayModel::fail_after`], if there is a display.
    DisplayFails(u64, DisplayFailure),
}

/// What went over the bus since it was made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct BusTally {
    /// Transactions begun.
    pub transactions: u64,
    /// Transactions whose address was not acknowledged.
    pub refused: u64,
    /// Bytes of every kind, addresses included.
    pub bytes: u64,
    /// Data bytes the controller received.
    pub bytes_read: u64,
    /// Data and memory-address bytes the controller sent.
    pub bytes_written: u64,
    /// Program cycles begun (EEPROM).
    pub cycles: u64,
    /// Bytes those cycles alter, without the rest of their pages.
    pub bytes_programmed: u64,
    /// Time the bus was in use, ns.
    pub bus_ns: u64,
}

/// An I²C bus with one memory part, and a display if one is fitted. Cloning it forks
/// the world at this moment.
#[derive(Clone, Debug)]
pub struct Bus {
    part: Part,
    device_address: u8,
    pub(super) display: Option<Box<DisplayModel>>,
    pub(super) timing: Timing,
    pub(super) now_ns: u64,
    pub(super) tally: BusTally,
    pub(super) answers: Answers,
    /// Who answered before the display held the bus.
    pub(super) held_from: Option<Answers>,
    /// Of 2^32 transactions, how many are refused.
    refused_of_all: u64,
    pub(super) cut: ArmedCut,
    /// What is still to happen, latest first.
    events: Vec<(u64, BusEvent)>,
    next_event_ns: u64,
    rng: Pcg32,
    /// The cycles begun since recording was asked for.
    recorded: Option<Vec<RecordedCycle>>,
    /// What a clock on the bus says.
    pub(super) clock_says: ClockSays,
}

/// A program cycle as [`Bus::record_cycles`] keeps it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordedCycle {
    /// Bytes on the bus since it was made, when the cycle began.
    pub at_byte: u64,
    /// Number of the page that is programmed.
    pub page: usize,
    /// What the whole page holds when the cycle ends uncut.
    pub after: Vec<u8>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Direction {
    Write,
    Read,
}

impl Bus {
    /// `part` at 0x50 on a sound bus at time 0. `seed` decides cycle times, random
    /// refusals and a stranger's bytes.
    #[must_use]
    pub fn new(part: Part, timing: Timing, seed: u64) -> Self {
        Self {
            part,
            device_address: 0x50,
            display: None,
            timing,
            now_ns: 0,
            tally: BusTally::default(),
            answers: Answers::Part,
            held_from: None,
            refused_of_all: 0,
            cut: ArmedCut::NONE,
            events: Vec::new(),
            next_event_ns: u64::MAX,
            rng: Pcg32::new(seed, 0xB05),
            recorded: None,
            clock_says: ClockSays::Nothing,
        }
    }

    /// From now on every program cycle takes as long as one may.
    pub fn slowest_cycles(&mut self) {
        self.timing.program_min_ns = self.timing.program_max_ns;
    }

    /// The same bus with its part at 7-bit address `device_address`.
    #[must_use]
    pub fn at_address(mut self, device_address: u8) -> Self {
        self.device_address = device_address;
        self
    }

    /// Simulated time, ns.
    #[must_use]
    #[inline]
    pub fn now_ns(&self) -> u64 {
        self.now_ns
    }

    /// Counts of what went over the bus.
    #[must_use]
    #[inline]
    pub fn tally(&self) -> BusTally {
        self.tally
    }

    /// The part, as of the last transaction or [`Bus::advance_to`].
    #[must_use]
    #[inline]
    pub fn part(&self) -> &Part {
        &self.part
    }

    /// The part, to give it faults.
    #[inline]
    pub fn part_mut(&mut self) -> &mut Part {
        &mut self.part
    }

    /// Lets time pass without bus traffic, up to `now_ns` or an armed cut; does
    /// nothing when that is over.
    #[inline]
    pub fn advance_to(&mut self, now_ns: u64) {
        if self.cut.is_done {
            return;
        }
        let end_ns = now_ns.min(self.cut.at_ns).max(self.now_ns);
        if end_ns >= self.next_event_ns {
            self.now_ns = end_ns;
            self.apply_events();
        }
        self.now_ns = end_ns;
        self.part.settle(end_ns);
        self.cut_if_due();
    }

    /// From now on keeps each program cycle that begins, for
    /// [`Bus::take_recorded_cycles`]: a cut anywhere then leaves the bytes before it, the
    /// cycles that ended by then, and one page torn if a cycle was under way.
    pub fn record_cycles(&mut self) {
        self.recorded.get_or_insert_default();
    }

    /// The cycles begun since recording began or they were last taken, in turn.
    pub fn take_recorded_cycles(&mut self) -> Vec<RecordedCycle> {
        self.recorded.as_mut().map(std::mem::take).unwrap_or_default()
    }

    // Faults of the line.

    /// Sets who answers at the part's address.
    pub fn set_answers(&mut self, answers: Answers) {
        self.held_from = None;
        self.answers = answers;
    }

    /// Each transaction is refused with this probability, 0 to 1, whatever answers.
    pub fn refuse_at_random(&mut self, probability: f64) {
        #[allow(clippy::cast_sign_loss)] // Clamped.
        {
            self.refused_of_all = (probability.clamp(0.0, 1.0) * 4_294_967_296.0) as u64;
        }
    }

    /// Puts another part into the socket; a cycle under way in the old one is lost.
    pub fn exchange(&mut self, part: Part) {
        self.part = part;
    }

    /// Lets `event` happen at `at_ns`: before the first transaction that begins at or
    /// after that time, or in [`Bus::advance_to`].
    pub fn schedule(&mut self, at_ns: u64, event: BusEvent) {
        let place = self.events.partition_point(|(other_ns, _)| *other_ns > at_ns);
        self.events.insert(place, (at_ns, event));
        self.next_event_ns = self.events.last().map_or(u64::MAX, |(at_ns, _)| *at_ns);
    }

    #[cold]
    fn apply_events(&mut self) {
        while let Some((at_ns, event)) = self.events.pop_if(|(at_ns, _)| *at_ns <= self.now_ns) {
            self.part.settle(at_ns);
            match event {
                BusEvent::Answers(answers) => self.set_answers(answers),
                BusEvent::Exchange(part) => self.part = *part,
                BusEvent::WriteProtect(is_protected) => self.part.set_write_protected(is_protected),
                BusEvent::RefuseAtRandom(probability) => self.refuse_at_random(probability),
                BusEvent::FlipBits { page, count, seed } => {
                    self.part.flip_bits_in_page(page, count, seed);
                }
                BusEvent::StickPage(page, how) => self.part.stick_page(page, how),
                BusEvent::DisplayFails(bytes, how) => {
                    if let Some(display) = &mut self.display {
                        display.fail_after(bytes, how);
                    }
                }
            }
        }
        self.next_event_ns = self.events.last().map_or(u64::MAX, |(at_ns, _)| *at_ns);
    }

    // Cuts.

    /// Cuts the supply after `count` more whole bytes on the bus, before anything
    /// else happens, a stop included. 0: at the next address byte, before it.
    pub fn cut_after_bytes(&mut self, count: u64) {
        self.cut.at_byte = self.tally.bytes.saturating_add(count);
    }

    /// Cuts the supply at `at_ns` (now, if that is over), between transactions or
    /// within one. What ends at that time has happened.
    pub fn cut_at_ns(&mut self, at_ns: u64) {
        self.cut.at_ns = at_ns.max(self.now_ns);
    }

    /// The pessimistic option: a write that is cut before its stop, with at least one
    /// data byte received, tears its page as if its cycle had begun.
    pub fn set_tears_before_stop(&mut self, tears: bool) {
        self.cut.tears_before_stop = tears;
    }

    /// Whether an armed cut has come. Nothing answers and no time passes any more.
    #[must_use]
    #[inline]
    pub fn is_cut(&self) -> bool {
        self.cut.is_done
    }

    /// The page a cut at this moment would tear (or has torn), if any; without one,
    /// every [`Tear`] leaves the same bytes.
    #[must_use]
    pub fn page_under_way(&self) -> Option<usize> {
        self.part.page_under_way(self.now_ns)
    }

    /// What the part holds if the supply goes now, or went at the armed cut: all that
    /// a recovery may know. Work: one copy of the part.
    #[must_use]
    pub fn cut_image(&self, tear: Tear) -> Vec<u8> {
        let mut image = Vec::with_capacity(self.part.cells().len());
        self.cut_image_into(tear, &mut image);
        image
    }

    /// [`Bus::cut_image`] into a buffer that is used again.
    pub fn cut_image_into(&self, tear: Tear, image: &mut Vec<u8>) {
        self.part.image_after_cut(self.now_ns, tear, image);
    }

    /// Cuts the supply now, unless an armed cut has come already, and gives it back at
    /// the same simulated time. A cycle under way leaves what `tear` says. Wear,
    /// tally and faults stay; an armed cut is disarmed. A display forgets all.
    pub fn power_cycle(&mut self, tear: Tear) {
        self.part.power_cycle(self.now_ns, tear);
        if let Some(display) = &mut self.display {
            display.power_cycle();
            self.answers = self.held_from.take().unwrap_or(self.answers);
        }
        self.cut = ArmedCut { tears_before_stop: self.cut.tears_before_stop, ..ArmedCut::NONE };
    }

    /// The supply goes at this moment, in the middle of whatever is on the bus.
    #[cold]
    fn cut_now(&mut self) {
        self.cut.is_done = true;
        if self.cut.tears_before_stop {
            self.begin_cycle(u64::MAX);
        }
    }

    #[inline]
    fn cut_if_due(&mut self) {
        if self.now_ns >= self.cut.at_ns && !self.cut.is_done {
            // No write is open: a stop, if only after a refusal, was sent or under way.
            self.now_ns = self.cut.at_ns;
            self.cut.is_done = true;
        }
    }

    // The wire.

    /// Clocks `count` bytes; how many passed before the supply went, if it did.
    #[inline]
    pub(super) fn clock(&mut self, count: usize) -> Result<(), usize> {
        let end_ns = self.now_ns + count as u64 * self.timing.byte_ns;
        if !self.cut.spares(self.tally.bytes, count as u64, end_ns) {
            return Err(self.clock_to_cut(count));
        }
        self.now_ns = end_ns;
        self.tally.bytes += count as u64;
        Ok(())
    }

    /// The bytes of `count` that pass before the armed cut.
    #[cold]
    fn clock_to_cut(&mut self, count: usize) -> usize {
        let by_count = self.cut.at_byte.saturating_sub(self.tally.bytes);
        let by_time = self.cut.at_ns.saturating_sub(self.now_ns) / self.timing.byte_ns.max(1);
        let passed = by_count.min(by_time).min(count as u64);
        self.tally.bytes += passed;
        self.now_ns += passed * self.timing.byte_ns;
        if by_time < by_count {
            // In the middle of a byte or of a start: time stops there.
            self.now_ns = self.cut.at_ns;
        }
        passed as usize
    }

    /// A start and the address byte.
    #[inline]
    fn start(&mut self, device_address: u8) -> Result<(), BusError> {
        self.now_ns += self.timing.start_ns;
        if self.clock(1).is_err() {
            self.cut_now();
            return Err(BusError::Cut);
        }
        let answers = device_address == self.device_address
            && match self.answers {
                Answers::Part => self.part.select(self.now_ns),
                Answers::Stranger => true,
                Answers::Nobody | Answers::BusHeld => false,
            }
            && !self.refuses();
        if answers {
            return Ok(());
        }
        self.tally.refused += 1;
        self.now_ns += self.timing.stop_ns;
        Err(BusError::NotAcknowledged)
    }

    #[inline]
    pub(super) fn refuses(&mut self) -> bool {
        self.refused_of_all != 0 && u64::from(self.rng.next_u32()) < self.refused_of_all
    }

    #[inline]
    fn send(&mut self, bytes: &[u8]) -> Result<(), BusError> {
        let clocked = self.clock(bytes.len());
        let passed = clocked.err().unwrap_or(bytes.len());
        self.tally.bytes_written += passed as u64;
        if self.answers == Answers::Part {
            self.part.accept(&bytes[..passed]);
        }
        if clocked.is_err() {
            self.cut_now();
            return Err(BusError::Cut);
        }
        Ok(())
    }

    #[inline]
    fn receive(&mut self, bytes: &mut [u8]) -> Result<(), BusError> {
        if self.clock(bytes.len()).is_err() {
            self.cut_now();
            return Err(BusError::Cut);
        }
        self.tally.bytes_read += bytes.len() as u64;
        match self.answers {
            Answers::Part => self.part.supply(bytes),
            _ => self.rng.fill_bytes(bytes),
        }
        Ok(())
    }

    #[inline]
    fn stop(&mut self) -> Result<(), BusError> {
        let end_ns = self.now_ns + self.timing.stop_ns;
        if end_ns > self.cut.at_ns {
            self.now_ns = self.cut.at_ns;
            self.cut_now();
            return Err(BusError::Cut);
        }
        self.now_ns = end_ns;
        if self.answers == Answers::Part {
            let program_ns = self.timing.program_ns(self.rng.next_u32());
            self.begin_cycle(end_ns + program_ns);
        }
        Ok(())
    }

    #[inline]
    fn begin_cycle(&mut self, end_ns: u64) {
        let programmed = self.part.stop(end_ns);
        self.tally.cycles += u64::from(programmed > 0);
        self.tally.bytes_programmed += programmed as u64;
        if let Some(recorded) = &mut self.recorded
            && let Some((page, after)) = self.part.cycle_outcome()
        {
            recorded.push(RecordedCycle { at_byte: self.tally.bytes, page, after });
        }
    }

    #[inline]
    pub(super) fn run(
        &mut self,
        device_address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let mut direction = None;
        for operation in operations {
            let wanted = match operation {
                Operation::Write(_) => Direction::Write,
                Operation::Read(_) => Direction::Read,
            };
            if direction != Some(wanted) {
                self.start(device_address)?;
                direction = Some(wanted);
            }
            match operation {
                Operation::Write(bytes) => self.send(bytes)?,
                Operation::Read(bytes) => self.receive(bytes)?,
            }
        }
        self.stop()
    }
}

impl ErrorType for Bus {
    type Error = BusError;
}

impl I2c for Bus {
    #[inline]
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        if self.cut.is_done {
            return Err(BusError::Cut);
        }
        if self.now_ns >= self.next_event_ns {
            self.apply_events();
        }
        if operations.is_empty() {
            return Ok(());
        }
        if self.answers == Answers::BusHeld {
            self.advance_to(self.now_ns + self.timing.held_ns);
            return Err(if self.cut.is_done { BusError::Cut } else { BusError::Held });
        }
        self.tally.transactions += 1;
        let begun_ns = self.now_ns;
        let outcome = if address == self.device_address {
            self.run(address, operations)
        } else {
            self.run_elsewhere(address, operations)
        };
        self.tally.bus_ns += self.now_ns - begun_ns;
        self.cut_if_due();
        outcome
    }
}
