//! What a read-out code says, and its 120 bits.
//!
//! Bit 0 is the highest bit of the first symbol, bit 119 the lowest of the 24th; a field has
//! its highest bit first. There is no bit to spare.
//!
//! ```text
//!   bits     field             meaning
//!   0–1      version           1
//!   2–21     tag               first four symbols of the board's tag
//!  22–38     powered           lifetime powered time, h; 131,071: or more
//!  39–48     interval          since the last service, h; 1,023: or more
//!  49        measure           what the interval counts: 0 powered, 1 running time
//!  50        service due       1: the interval has reached its limit
//!  51        stated            1: hours, stitches or trims were stated at fitting; they
//!                              are in none of these figures
//!  52–66     stitches          lifetime stitches / 150,000; 32,767: or more
//!  67–74     knife             trims since the fixed knife was renewed / 4,000; 254: or
//!                              more; 255: the profile has no fixed knife worn by trims
//!  75–80     kind              the most pressing component: 0 none, 1–16 needle, 32–63
//!                              as in the profile, 17 of another kind
//!  81–86     wear              its wear in steps of 4 % of its due limit; 63: or more
//!  87–101    faults            bit 87: fault 1 … bit 101: fault 15
//! 102–104    due               components that are due; 7: or more
//! 105–107    notice            components at notice and not yet due; 7: or more
//! 108–113    services          services done; 63: or more
//! 114–119    hint              the strongest: 0 none; 1–16 this needle breaks more
//!                              thread, 17 breaks on all needles, 18 trimmer dirty, 19
//!                              knife worn, 20 no needle change, 21 shaft glitches;
//!                              32 more: strong, else possible
//! ```
//!
//! All figures are rounded down. All are measured, none is stated.
//!
//! Invariants: what is read is what was written. These are refused: another version, a value
//! without a meaning, a fault without a name, and what cannot be: wear, or components that are
//! due or at notice, where there is no component; wear of 100 % or more when nothing is due, or
//! less when something is. Refusing them makes it a little likelier to notice a code that was
//! corrected into the wrong one.

use shaftbook_care::hint::{Certainty, Finding};
use shaftbook_care::item::{items, most_pressing};
use shaftbook_care::machine::Machine;
use shaftbook_core::component::{ComponentKind, Measure, Standing};
use shaftbook_core::counters::Needle;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::ledger::{CarriedIn, Ledger};
use shaftbook_core::settings::ServiceMeasure;

use crate::rules::ReadRules;
use crate::steps::Steps;
use crate::tag::TagStart;

/// Data symbols of a code.
pub const DATA: usize = 24;
/// The version of the layout.
pub const VERSION: u8 = 1;

/// Lifetime powered time, h: 14.9 years without a break.
pub type PoweredH = Steps<131_071, 1>;
/// Time since the last service, h.
pub type IntervalH = Steps<1_023, 1>;
/// Lifetime stitches: 4.9 thousand million, 20 years of 2,000 h at 2,000 a minute.
pub type Stitches = Steps<32_767, 150_000>;
/// Trims since the fixed knife was renewed.
pub type KnifeTrims = Steps<254, 4_000>;
/// Wear, % of the due limit.
pub type WearPercent = Steps<63, 4>;
/// Components due, or at notice.
pub type Number = Steps<7, 1>;
/// Services done.
pub type Services = Steps<63, 1>;

/// The most pressing component.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Pressing {
    /// What it is; `None` for a kind that the code has no number for.
    pub kind: Option<ComponentKind>,
    /// Its wear, % of its due limit.
    pub wear: WearPercent,
}

/// The strongest hint.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Sign {
    /// What it points at.
    pub finding: Finding,
    /// How sure.
    pub certainty: Certainty,
}

/// What a read-out code says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ReadOut {
    /// The first symbols of the board's tag.
    pub tag: TagStart,
    /// Lifetime powered time, h.
    pub powered_h: PoweredH,
    /// Time since the last service by the service measure, h.
    pub interval_h: IntervalH,
    /// What the service interval counts.
    pub service_measure: ServiceMeasure,
    /// Whether the service interval has reached its limit.
    pub is_service_due: bool,
    /// Whether a past was stated at fitting.
    pub has_stated_past: bool,
    /// Lifetime stitches.
    pub stitches: Stitches,
    /// Trims since the fixed knife was renewed; `None` without such a component.
    pub knife_trims: Option<KnifeTrims>,
    /// The most pressing component; `None` without components.
    pub pressing: Option<Pressing>,
    /// Faults present.
    pub faults: FaultSet,
    /// Components that are due.
    pub due: Number,
    /// Components that are at notice and not yet due.
    pub notice: Number,
    /// Services done.
    pub services: Services,
    /// The strongest hint; `None`: no sign.
    pub sign: Option<Sign>,
}

/// Why 24 symbols say nothing that this program understands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum StateError {
    /// A layout of another version.
    Version(u8),
    /// A fault that has no name here.
    Fault(u8),
    /// A kind of component without a meaning.
    Kind(u8),
    /// A hint without a meaning.
    Hint(u8),
    /// What cannot be: see the module.
    Contradiction,
}

/// Width of each field, bits, in order.
mod width {
    pub const VERSION: u32 = 2;
    pub const TAG: u32 = 20;
    pub const POWERED: u32 = 17;
    pub const INTERVAL: u32 = 10;
    pub const MARK: u32 = 1;
    pub const STITCHES: u32 = 15;
    pub const KNIFE: u32 = 8;
    pub const KIND: u32 = 6;
    pub const WEAR: u32 = 6;
    pub const FAULTS: u32 = 15;
    pub const NUMBER: u32 = 3;
    pub const SERVICES: u32 = 6;
    pub const HINT: u32 = 6;
}

const NO_KNIFE: u32 = 255;
const ANOTHER_KIND: u32 = 17;
const STRONG: u32 = 32;
/// 100 % of wear.
const WORN: u32 = 25;

/// Whether a service is due `interval_ms` after the last one.
#[must_use]
pub fn service_is_due<R: ReadRules>(ledger: &Ledger, interval_ms: u64) -> bool {
    let limit_ms = u64::from(ledger.settings.service_interval_h) * 3_600_000;
    interval_ms >= limit_ms + u64::from(!R::service_due_at_limit())
}

impl ReadOut {
    /// What is to be said of `machine`; `None` until its past is known.
    #[must_use]
    pub fn of<R: ReadRules>(machine: &Machine<'_, R>) -> Option<Self> {
        let lifetime = machine.lifetime.as_ref()?;
        let ledger = machine.ledger;
        let interval_ms = R::interval_ms(ledger, lifetime);
        let standing = |wanted| items(machine).filter(|item| item.standing == wanted).count();
        let also_due = if R::notice_without_due() { 0 } else { standing(Standing::Due) };
        let knife = items(machine).find(|item| {
            let component = &item.component;
            let is_fixed = component.kind == ComponentKind::FIXED_KNIFE;
            (is_fixed || !R::knife_is_the_fixed_one()) && component.measure == Measure::Trims
        });
        Some(Self {
            tag: R::tag(machine.id).start(),
            powered_h: Steps::of(R::hours(lifetime.powered_ms)),
            interval_h: Steps::of(R::hours(interval_ms)),
            service_measure: ledger.settings.service_measure,
            is_service_due: service_is_due::<R>(ledger, interval_ms),
            has_stated_past: ledger.carried_in != CarriedIn::default(),
            stitches: Steps::of(lifetime.stitches()),
            knife_trims: knife.map(|item| Steps::of(item.wear)),
            pressing: most_pressing(machine).map(|item| {
                let percent = u64::from(item.permille() / 10);
                // A limit of 0 is due without wear.
                let percent = match item.standing {
                    Standing::Due => percent.max(100),
                    Standing::Notice | Standing::Fine => percent.min(99),
                };
                let has_number = matches!(item.component.kind.0, 1..=16 | 32..=63);
                let kind = has_number.then_some(item.component.kind);
                Pressing { kind, wear: Steps::of(percent) }
            }),
            faults: machine.faults,
            due: Steps::of(standing(Standing::Due) as u64),
            notice: Steps::of((standing(Standing::Notice) + also_due) as u64),
            services: Steps::of(u64::from(ledger.services)),
            sign: machine
                .hints
                .first()
                .map(|hint| Sign { finding: hint.finding, certainty: hint.certainty }),
        })
    }

    /// Its 24 symbols.
    #[must_use]
    pub fn to_symbols(&self) -> [u8; DATA] {
        let mut bits = Writer(0);
        bits.put(width::VERSION, u32::from(VERSION));
        bits.put(width::TAG, self.tag.bits());
        bits.put(width::POWERED, self.powered_h.steps());
        bits.put(width::INTERVAL, self.interval_h.steps());
        bits.put(width::MARK, u32::from(self.service_measure == ServiceMeasure::Running));
        bits.put(width::MARK, u32::from(self.is_service_due));
        bits.put(width::MARK, u32::from(self.has_stated_past));
        bits.put(width::STITCHES, self.stitches.steps());
        bits.put(width::KNIFE, self.knife_trims.map_or(NO_KNIFE, Steps::steps));
        bits.put(width::KIND, self.pressing.map_or(0, kind_number));
        bits.put(width::WEAR, self.pressing.map_or(0, |pressing| pressing.wear.steps()));
        for number in 1..=width::FAULTS as u16 {
            let fault = Fault::from_number(number);
            bits.put(1, u32::from(fault.is_some_and(|fault| self.faults.contains(fault))));
        }
        bits.put(width::NUMBER, self.due.steps());
        bits.put(width::NUMBER, self.notice.steps());
        bits.put(width::SERVICES, self.services.steps());
        bits.put(width::HINT, self.sign.map_or(0, hint_number));
        core::array::from_fn(|n| (bits.0 >> (5 * (DATA - 1 - n))) as u8 & 31)
    }

    /// What 24 symbols say.
    ///
    /// # Errors
    /// [`StateError`], the first that applies.
    pub fn from_symbols(symbols: &[u8; DATA]) -> Result<Self, StateError> {
        let mut bits = Reader::of(symbols);
        let version = bits.take(width::VERSION) as u8;
        if version != VERSION {
            return Err(StateError::Version(version));
        }
        let tag = TagStart::from_bits(bits.take(width::TAG));
        let powered_h = steps(bits.take(width::POWERED))?;
        let interval_h = steps(bits.take(width::INTERVAL))?;
        let service_measure = match bits.take(width::MARK) {
            0 => ServiceMeasure::Powered,
            _ => ServiceMeasure::Running,
        };
        let is_service_due = bits.take(width::MARK) == 1;
        let has_stated_past = bits.take(width::MARK) == 1;
        let stitches = steps(bits.take(width::STITCHES))?;
        let knife_trims = Steps::from_steps(bits.take(width::KNIFE));
        let kind = bits.take(width::KIND);
        let wear = steps(bits.take(width::WEAR))?;
        let mut faults = FaultSet::default();
        for number in 1..=width::FAULTS as u16 {
            if bits.take(1) == 1 {
                faults.raise(Fault::from_number(number).ok_or(StateError::Fault(number as u8))?);
            }
        }
        let due: Number = steps(bits.take(width::NUMBER))?;
        let notice: Number = steps(bits.take(width::NUMBER))?;
        let services = steps(bits.take(width::SERVICES))?;
        let sign = sign(bits.take(width::HINT))?;
        let pressing = pressing(kind, wear)?;
        let may_be = match pressing {
            Some(pressing) => (pressing.wear.steps() >= WORN) == (due.steps() > 0),
            None => (wear.steps(), due.steps(), notice.steps()) == (0, 0, 0),
        };
        if !may_be {
            return Err(StateError::Contradiction);
        }
        Ok(Self {
            tag,
            powered_h,
            interval_h,
            service_measure,
            is_service_due,
            has_stated_past,
            stitches,
            knife_trims,
            pressing,
            faults,
            due,
            notice,
            services,
            sign,
        })
    }
}

/// Bits put one behind the other.
struct Writer(u128);

impl Writer {
    fn put(&mut self, width: u32, value: u32) {
        self.0 = self.0 << width | u128::from(value & ((1 << width) - 1));
    }
}

/// Bits taken from the front.
struct Reader {
    bits: u128,
    left: u32,
}

impl Reader {
    fn of(symbols: &[u8; DATA]) -> Self {
        let bits = symbols.iter().fold(0, |bits, s| bits << 5 | u128::from(s & 31));
        Self { bits, left: 5 * DATA as u32 }
    }

    fn take(&mut self, width: u32) -> u32 {
        self.left = self.left.saturating_sub(width);
        (self.bits >> self.left) as u32 & ((1 << width) - 1)
    }
}

/// Every value of these fields has a meaning; a wider one would be a contradiction.
fn steps<const MOST: u32, const UNIT: u32>(value: u32) -> Result<Steps<MOST, UNIT>, StateError> {
    Steps::from_steps(value).ok_or(StateError::Contradiction)
}

fn kind_number(pressing: Pressing) -> u32 {
    pressing.kind.map_or(ANOTHER_KIND, |kind| u32::from(kind.0))
}

fn pressing(kind: u32, wear: WearPercent) -> Result<Option<Pressing>, StateError> {
    Ok(match kind {
        0 => None,
        ANOTHER_KIND => Some(Pressing { kind: None, wear }),
        1..=16 | 32..=63 => Some(Pressing { kind: Some(ComponentKind(kind as u8)), wear }),
        _ => return Err(StateError::Kind(kind as u8)),
    })
}

fn hint_number(sign: Sign) -> u32 {
    let finding = match sign.finding {
        Finding::NeedleBreaks(needle) => u32::from(needle.number()),
        Finding::BreaksEverywhere => 17,
        Finding::TrimmerDirty => 18,
        Finding::KnifeWorn => 19,
        Finding::NoNeedleChange => 20,
        Finding::ShaftGlitches => 21,
    };
    match sign.certainty {
        Certainty::Possible => finding,
        Certainty::Strong => finding + STRONG,
    }
}

fn sign(number: u32) -> Result<Option<Sign>, StateError> {
    let certainty = if number < STRONG { Certainty::Possible } else { Certainty::Strong };
    let finding = match number % STRONG {
        0 if number == 0 => return Ok(None),
        17 => Finding::BreaksEverywhere,
        18 => Finding::TrimmerDirty,
        19 => Finding::KnifeWorn,
        20 => Finding::NoNeedleChange,
        21 => Finding::ShaftGlitches,
        needle => Needle::new(needle as u8)
            .map(Finding::NeedleBreaks)
            .ok_or(StateError::Hint(number as u8))?,
    };
    Ok(Some(Sign { finding, certainty }))
}
