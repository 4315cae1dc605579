//! A part none of whose pages can be programmed any more, in the middle of a command. What the
//! board cannot store it gives up, and says so; it goes on counting, and it does not go on trying.

use shaftbook_core::board::Command;
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::Refusal;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{Bench, OPERATORS};
use shaftbook_world::bus::Stuck;

/// How long the board may take to find out that its part is worn out, µs: it retires one slot in
/// half a second, and 64 of them.
const FOUND_OUT_US: u64 = 60_000_000;

/// Every page keeps what it holds from now on, while a renewal is being stored.
pub(super) fn worn_out<D: Device>(mut bench: Bench<D>) -> Result<(), String> {
    let geometry = bench.bus.part().geometry();
    for page in 0..geometry.size_bytes as usize / usize::from(geometry.page_bytes) {
        bench.bus.part_mut().stick_page(page, Stuck::KeepsOld);
    }
    let renew = || Command::Renew { components: ComponentSet(OPERATORS), reply: None };
    let counted = bench.board().lifetime(bench.now()).ok_or("the past is not known")?;
    bench.request(renew()).map_err(|refusal| format!("the renewal is refused: {refusal:?}"))?;
    bench.pass_to(bench.now_us + FOUND_OUT_US, &mut |_| {});
    let faults = bench.board().faults();
    if !faults.contains(Fault::MemoryWornOut) {
        let (faults, retired) = (faults.iter(), bench.board().store().retired().iter().count());
        let faults: Vec<Fault> = faults.collect();
        return Err(format!("a part that keeps nothing: {faults:?}, {retired} slots retired"));
    }
    // Not Busy: what it was about to store will never be stored.
    match bench.request(renew()) {
        Err(Refusal::NotReady) => {}
        answer => return Err(format!("with a worn part a renewal is answered with {answer:?}")),
    }
    if !bench.rest(&mut |_| {}) {
        return Err("with a worn part it does not come to rest".into());
    }
    let now = bench.board().lifetime(bench.now()).ok_or("the past is known no more")?;
    let on = now.since(&counted).powered_ms;
    if on < FOUND_OUT_US / 1_000 { Err(format!("{on} ms were counted only")) } else { Ok(()) }
}
