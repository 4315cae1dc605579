//! In what the two readings of an image differ, in sentences.

use std::fmt::Debug;

use shaftbook_core::counters::Counters;
use shaftbook_core::ledger::Ledger;

use super::reading::Reading;
use super::recovered::ImageRecovered;

/// In what the firmware's recovery and the reading of every slot differ.
pub(super) fn differences(recovered: &ImageRecovered, reading: Option<&Reading>) -> Vec<String> {
    let mut found = Vec::new();
    let mut compare = |what: &str, board: &dyn Debug, every_slot: &dyn Debug| {
        let (board, every_slot) = (format!("{board:?}"), format!("{every_slot:?}"));
        if board != every_slot {
            found
                .push(format!("{what}: the firmware gives {board}, every slot gives {every_slot}"));
        }
    };
    match (&recovered.lifetime, &recovered.ledger, reading) {
        (Some(lifetime), Some(ledger), Some(reading)) => {
            compare_counters(lifetime, &reading.lifetime, &mut compare);
            compare_ledgers(ledger, &reading.ledger, &mut compare);
            compare("retired slots", &recovered.retired, &reading.retired);
        }
        (Some(_), _, None) => compare("lifetime counters", &"some", &"none"),
        (None, _, Some(_)) => compare("lifetime counters", &"none", &"some"),
        _ => {}
    }
    for told in &recovered.withdrawn {
        if !recovered.lifetime.is_some_and(|lifetime| told.at_most(&lifetime)) {
            found.push(format!(
                "the firmware first told {} stitches and {} ms powered, then gave them up",
                told.stitches(),
                told.powered_ms
            ));
        }
    }
    if !recovered.ended {
        found.push("the firmware's recovery does not end on this image".to_owned());
    }
    found
}

type Compare<'a> = &'a mut dyn FnMut(&str, &dyn Debug, &dyn Debug);

fn compare_counters(a: &Counters, b: &Counters, compare: Compare<'_>) {
    compare("stitches", &a.stitches(), &b.stitches());
    compare("needle stitches", &a.needle_stitches, &b.needle_stitches);
    compare("unattributed stitches", &a.unattributed_stitches, &b.unattributed_stitches);
    compare("jumps", &a.jumps, &b.jumps);
    compare("trims", &a.trims, &b.trims);
    compare("needle breaks", &a.needle_breaks, &b.needle_breaks);
    compare("unattributed breaks", &a.unattributed_breaks, &b.unattributed_breaks);
    compare("powered ms", &a.powered_ms, &b.powered_ms);
    compare("running ms", &a.running_ms, &b.running_ms);
    compare("power-ups", &a.power_ups, &b.power_ups);
    compare("glitches", &a.glitches, &b.glitches);
    compare("missed edges", &a.missed_edges, &b.missed_edges);
}

fn compare_ledgers(a: &Ledger, b: &Ledger, compare: Compare<'_>) {
    compare("settings", &a.settings, &b.settings);
    compare("carried-in", &a.carried_in, &b.carried_in);
    compare("the key is the same", &true, &(a.key == b.key));
    compare("components", &a.components, &b.components);
    compare("interval baseline", &a.interval, &b.interval);
    compare("services", &a.services, &b.services);
    compare("replies tried", &a.tries, &b.tries);
    compare("next entry", &a.next_entry.get(), &b.next_entry.get());
    compare("journal", &a.history, &b.history);
}
