//! What differs between the bare core and the whole firmware for whoever lives a life with one:
//! what only the one can be asked or shows.

use shaftbook_care::calendar;
use shaftbook_core::time::Instant;
use shaftbook_panel::button::{Button, Press};
use shaftbook_panel::screen::Top;
use shaftbook_panel::view::Body;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::under_test::UnderTest;

/// What a person sees of a board.
#[derive(Clone, Debug, Default)]
pub(in crate::prove) struct Shown {
    /// What the service port says to `state`.
    pub(super) port: String,
    /// Whether the lamp was lit, each 50 ms.
    pub(super) lamp: Vec<bool>,
    /// The figure of the first screen, and the per mille of its bar.
    pub(super) hours: String,
    /// How many are due, as in the title of every screen; and whether a fault is shown.
    pub(super) title: (u8, bool),
    /// The rows of the first counters.
    pub(super) counters: Vec<String>,
    /// The read-out code's thirty symbols.
    pub(super) code: String,
}

/// See the file.
pub(in crate::prove) trait Door: Device {
    /// The board is told of lost edges; whether it could be.
    fn missed(bench: &mut Bench<Self>, edges: u32) -> bool;
    /// The clock was read; whether there is one.
    fn clock(bench: &mut Bench<Self>, day: Option<u16>) -> bool;
    /// A person confirms a day; whether it was taken, if there is a clock.
    fn confirm(bench: &mut Bench<Self>, day: u16) -> Option<bool>;
    /// All that can be seen, which takes some time; `None` without a panel.
    fn shown(bench: &mut Bench<Self>) -> Option<Shown>;
}

impl<R: UnderTest> Door for Core<R> {
    fn missed(bench: &mut Bench<Self>, edges: u32) -> bool {
        bench.device.board_mut().missed_edges(edges);
        true
    }

    fn clock(bench: &mut Bench<Self>, day: Option<u16>) -> bool {
        calendar::tell(bench.device.board_mut(), day);
        true
    }

    fn confirm(bench: &mut Bench<Self>, day: u16) -> Option<bool> {
        Some(calendar::confirm(bench.device.board_mut(), Some(day)))
    }

    fn shown(_: &mut Bench<Self>) -> Option<Shown> {
        None
    }
}

impl<R: UnderTest> Door for Firmware<R> {
    fn missed(_: &mut Bench<Self>, _: u32) -> bool {
        false
    }

    fn clock(_: &mut Bench<Self>, _: Option<u16>) -> bool {
        false
    }

    fn confirm(_: &mut Bench<Self>, _: u16) -> Option<bool> {
        None
    }

    fn shown(bench: &mut Bench<Self>) -> Option<Shown> {
        let mut shown = Shown::default();
        bench.press(Press::Long(Button::Back));
        pass(bench, 2_000_000);
        for _ in 0..80 {
            shown.lamp.push(bench.device.pins.lamp);
            pass(bench, 50_000);
        }
        let view = bench.device.view(bench.now());
        if let Body::Home { figure, .. } = view.body {
            shown.hours = figure.as_str().into();
        }
        shown.title = (view.due, view.faulty);
        let steps_to = |top| Top::ALL.iter().position(|it| *it == top).unwrap_or(0);
        for _ in 0..steps_to(Top::Counters) {
            bench.press(Press::Short(Button::Next));
        }
        if let Body::Rows(rows) = bench.device.view(bench.now()).body {
            shown.counters = rows.iter().map(|row| format!("{} {}", row.left, row.right)).collect();
        }
        for _ in steps_to(Top::Counters)..steps_to(Top::ReadOut) {
            bench.press(Press::Short(Button::Next));
        }
        bench.press(Press::Short(Button::Act));
        if let Body::Code(rows) = bench.device.view(bench.now()).body {
            let symbols = rows.iter().flat_map(|row| row.chars().collect::<Vec<_>>());
            shown.code = symbols.filter(|symbol| !symbol.is_whitespace()).collect();
        }
        bench.device.pins.said.clear();
        bench.device.pins.typed.extend(b"state\n");
        pass(bench, 300_000);
        shown.port = std::mem::take(&mut bench.device.pins.said);
        Some(shown)
    }
}

fn pass<R: UnderTest>(bench: &mut Bench<Firmware<R>>, us: u64) {
    let until = Instant::from_us(bench.now_us + us);
    bench.pass_to(until.as_us(), &mut |_| {});
}
