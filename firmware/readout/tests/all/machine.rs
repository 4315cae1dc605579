//! Which figures of a machine go into its read-out code.

use core::marker::PhantomData;

use shaftbook_care::hint::look;
use shaftbook_care::machine::Machine;
use shaftbook_core::authority::Key;
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::{Fitted, IntervalBaseline, Ledger};
use shaftbook_core::settings::{ServiceMeasure, Settings};
use shaftbook_readout::code::Code;
use shaftbook_readout::decode::decode;
use shaftbook_readout::heard::Heard;
use shaftbook_readout::state::{Pressing, ReadOut, Sign};
use shaftbook_readout::steps::Steps;
use shaftbook_readout::tag::BoardTag;

const H: u64 = 3_600_000;
const ID: BoardId = BoardId(0x5AFE_B00C_0000_0001);

fn component(
    kind: ComponentKind,
    measure: Measure,
    notice: u32,
    due: u32,
    baseline: u64,
) -> Fitted {
    let renewed_by = Role::Operator;
    let component = Component { kind, measure, renewed_by, with_service: false, notice, due };
    Fitted { component, baseline }
}

fn ledger(components: &[Fitted]) -> Ledger {
    let settings = Settings {
        service_measure: ServiceMeasure::Running,
        service_interval_h: 400,
        ..Settings::default()
    };
    let mut ledger = Ledger::new(settings, Key::new([7; 32]));
    ledger.components.extend(components.iter().copied());
    ledger.interval = IntervalBaseline { powered_ms: 1_000 * H, running_ms: 500 * H };
    ledger.services = 3;
    ledger
}

fn lifetime() -> Counters {
    let mut lifetime = Counters {
        powered_ms: 2_345 * H + H - 1,
        running_ms: 899 * H,
        unattributed_stitches: 149_999,
        trims: 123_456,
        ..Counters::default()
    };
    lifetime.needle_stitches[2] = 41_000_000;
    lifetime
}

fn machine(ledger: &Ledger) -> Machine<'_> {
    let session = Counters::default();
    let faults = FaultSet::default();
    Machine {
        id: ID,
        lifetime: Some(lifetime()),
        session,
        ledger,
        faults,
        day: None,
        hints: &[],
        rules: PhantomData,
    }
}

#[test]
fn each_figure_is_the_machine_s_own() {
    let needle = Needle::new(3).expect("a needle");
    let mut ledger = ledger(&[
        component(ComponentKind::HOOK_OIL, Measure::Running, 100, u32::MAX, 0),
        component(
            ComponentKind::needle(needle),
            Measure::NeedleStitches(needle),
            10,
            1_000_000,
            39_950_000,
        ),
        component(ComponentKind::FIXED_KNIFE, Measure::Trims, 200_000, 300_000, 3_456),
        component(ComponentKind::BELT, Measure::Powered, 3_600, u32::MAX, 0),
    ]);
    ledger.carried_in.trims = 1;
    let mut machine = machine(&ledger);
    machine.faults.raise(Fault::MemoryNoAnswer);
    machine.faults.raise(Fault::FirmwareStopped);
    let hints = look(&machine);
    assert!(!hints.is_empty());
    let machine = machine.with_hints(&hints);
    let said = ReadOut::of(&machine).expect("its past is known");
    let expected = ReadOut {
        tag: BoardTag::of(ID).start(),
        powered_h: Steps::of(2_345),
        interval_h: Steps::of(399),
        service_measure: ServiceMeasure::Running,
        is_service_due: false,
        has_stated_past: true,
        stitches: Steps::of(41_149_999),
        knife_trims: Some(Steps::of(120_000)),
        pressing: Some(Pressing { kind: Some(ComponentKind(3)), wear: Steps::of(105) }),
        faults: machine.faults,
        due: Steps::of(1),
        notice: Steps::of(2),
        services: Steps::of(3),
        sign: hints.first().map(|h| Sign { finding: h.finding, certainty: h.certainty }),
    };
    assert_eq!(said, expected);
    let code = Code::of(&machine).expect("its past is known");
    let heard = Heard::parse(&code.to_string()).expect("thirty symbols");
    assert_eq!(decode(&heard).expect("all heard").read_out, expected);
}

#[test]
fn the_service_is_due_from_its_limit_on() {
    let ledger = ledger(&[]);
    let mut machine = machine(&ledger);
    for (running_ms, is_due) in [(900 * H - 1, false), (900 * H, true)] {
        machine.lifetime = Some(Counters { running_ms, ..lifetime() });
        let said = ReadOut::of(&machine).expect("its past is known");
        assert_eq!((said.is_service_due, said.pressing, said.knife_trims), (is_due, None, None));
    }
}

#[test]
fn there_is_no_code_before_the_past_is_known() {
    let ledger = ledger(&[]);
    let unknown = Machine { lifetime: None, ..machine(&ledger) };
    assert_eq!(Code::of(&unknown), None);
}

/// The largest figures the board can hold, and kinds and limits that no profile should.
#[test]
fn every_machine_s_code_is_understood() {
    let odd = [
        component(ComponentKind(200), Measure::Trims, 0, 0, 0),
        component(ComponentKind(0), Measure::Days, 0, 0, 0),
        component(ComponentKind(20), Measure::PowerUps, 0, u32::MAX, 0),
    ];
    for components in [&odd[..], &odd[1..], &odd[2..], &[odd[0]; 32]] {
        let mut ledger = ledger(components);
        ledger.services = u16::MAX;
        ledger.settings.service_interval_h = 0;
        let mut machine = machine(&ledger);
        let most = Counters {
            powered_ms: u64::MAX,
            running_ms: u64::MAX,
            needle_stitches: [u64::MAX; 16],
            trims: u64::MAX,
            power_ups: u32::MAX,
            ..Counters::default()
        };
        for lifetime in [Counters::default(), most] {
            machine.lifetime = Some(lifetime);
            let said = ReadOut::of(&machine).expect("its past is known");
            assert_eq!(said.pressing.map(|pressing| pressing.kind), Some(None));
            assert_eq!(ReadOut::from_symbols(&said.to_symbols()), Ok(said));
        }
    }
}
