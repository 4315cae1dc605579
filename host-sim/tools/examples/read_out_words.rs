//! Random read-out codes for a comparison with another library. Each is a line of JSON: the
//! code, every field of what it says, the same code misheard at random, and what the decoder
//! makes of that.
//!
//! Usage: `read_out_words COUNT SEED | tests/data/readout/read_out.py compare`. It is an
//! example and not a sub-command, because only that comparison needs it.

use std::env;

use serde_json::{Value, json};
use shaftbook_care::hint::{Certainty, Finding};
use shaftbook_core::settings::ServiceMeasure;
use shaftbook_readout::code::Code;
use shaftbook_readout::decode::{Refused, decode};
use shaftbook_readout::heard::Heard;
use shaftbook_readout::state::{ReadOut, Sign};
use shaftbook_readout::steps::Steps;
use shaftbook_tools::readout::damage::Mishearing;
use shaftbook_tools::readout::draw::read_out;
use shaftbook_world::sewing::random::Random;

fn main() {
    let mut numbers = env::args().skip(1).map(|text| text.parse::<u64>());
    let (Some(Ok(count)), Some(Ok(seed)), None) = (numbers.next(), numbers.next(), numbers.next())
    else {
        eprintln!("usage: read_out_words COUNT SEED");
        std::process::exit(2);
    };
    let mut random = Random::new(seed, 0);
    let mut lines = 0;
    while lines < count {
        let said = read_out(&mut random);
        let code = Code::saying(&said);
        let (unheard, wrong) = (random.below(5) as usize, random.below(5) as usize);
        let misheard = Mishearing::Misheard { unheard, wrong }.of(&code, &mut random);
        let Some(heard) = misheard else { continue };
        let decoded = decode(&Heard::parse(&heard).expect("thirty symbols"));
        let line = json!({
            "code": code.to_string(),
            "says": says(&said),
            "heard": heard,
            "meant": decoded.as_ref().ok().map(|decoded| decoded.code.to_string()),
            "is_nonsense": matches!(decoded, Err(Refused::State(_))),
        });
        println!("{line}");
        lines += 1;
    }
}

/// Each field as the number that stands for it.
fn says(said: &ReadOut) -> Value {
    let kind = said.pressing.map_or(0, |p| p.kind.map_or(17, |kind| kind.0));
    let faults = said.faults.iter().fold(0, |bits, fault| bits | 1 << (15 - fault.number()));
    json!({
        "version": 1,
        "tag": said.tag.bits(),
        "powered": said.powered_h.steps(),
        "interval": said.interval_h.steps(),
        "measure": u8::from(said.service_measure == ServiceMeasure::Running),
        "service": u8::from(said.is_service_due),
        "stated": u8::from(said.has_stated_past),
        "stitches": said.stitches.steps(),
        "knife": said.knife_trims.map_or(255, Steps::steps),
        "kind": kind,
        "wear": said.pressing.map_or(0, |pressing| pressing.wear.steps()),
        "faults": faults,
        "due": said.due.steps(),
        "notice": said.notice.steps(),
        "services": said.services.steps(),
        "hint": said.sign.map_or(0, hint),
    })
}

fn hint(sign: Sign) -> u8 {
    let finding = match sign.finding {
        Finding::NeedleBreaks(needle) => needle.number(),
        Finding::BreaksEverywhere => 17,
        Finding::TrimmerDirty => 18,
        Finding::KnifeWorn => 19,
        Finding::NoNeedleChange => 20,
        Finding::ShaftGlitches => 21,
    };
    finding + if sign.certainty == Certainty::Strong { 32 } else { 0 }
}
