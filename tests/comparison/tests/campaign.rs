//! Campaigns on stores that somebody brings: a sound store holds, and wrong ones are found.

use std::path::Path;

use comparison::hosted::Hosted;
use comparison::lent::Lent;
use comparison_stores::ring::Ring;
use rayon::prelude::*;
use shaftbook_core::counters::Counters;
use shaftbook_evidence::campaign::bare::Bare;
use shaftbook_evidence::campaign::draw::draw;
use shaftbook_evidence::campaign::plan::CampaignPlan;
use shaftbook_evidence::campaign::runner::{On, Runner};
use shaftbook_evidence::campaign::store::{CounterStore, Pages, StoreError};
use shaftbook_evidence::campaign::tally::Tally;

/// The figures of a campaign, and what its first failing run shows.
fn campaign<S: CounterStore>(runs: u64) -> (Tally, Option<String>) {
    let file =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../host-sim/campaigns/cuts-only.toml");
    let plan = CampaignPlan::load(&file).expect("the campaign");
    let on = On::<Bare<S>>::new();
    let ran: Vec<_> = (0..runs).into_par_iter().map(|run| on.play(&draw(&plan, run).1)).collect();
    let mut tally = Tally::default();
    for ran in &ran {
        tally.fold(&ran.tally);
    }
    (tally, ran.into_iter().find_map(|ran| ran.seen))
}

#[test]
fn a_sound_ring_holds() {
    let (tally, seen) = campaign::<Hosted<Ring<Lent>>>(400);
    assert_eq!(seen, None);
    assert!(tally.cuts > 1_000, "{} cuts", tally.cuts);
    assert!(tally.lost_running_ms > 5_000, "they fall anywhere in the interval");
}

#[test]
fn a_ring_without_a_checksum_is_found() {
    let (_, seen) = campaign::<Hosted<Ring<Lent, false>>>(400);
    let seen = seen.expect("a torn record is believed");
    assert!(seen.starts_with("above the truth") || seen.starts_with("below"), "{seen}");
}

/// Says that it has stored, and has not.
struct Forgetful;

impl CounterStore for Forgetful {
    const NAME: &'static str = "forgetful";

    fn power_up(_: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        Ok((Self, None))
    }

    fn store(&mut self, _: &mut Pages<'_>, _: &Counters) -> Result<(), StoreError> {
        Ok(())
    }
}

#[test]
fn a_store_that_stores_nothing_is_found() {
    let (_, seen) = campaign::<Forgetful>(4);
    assert!(seen.is_some_and(|seen| seen.starts_with("the past is lost")));
}
