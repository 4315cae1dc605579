//! Makes any adapter of the crate `comparison-stores` a store of counters.

use comparison_stores::{Failure, ValueStore};
use shaftbook_core::counters::Counters;
use shaftbook_evidence::campaign::store::{CounterStore, Pages, StoreError};

use crate::blob;
use crate::lent::Lent;

/// The adapter `A` with the counters as a value of 128 bytes.
#[derive(Debug)]
pub struct Hosted<A> {
    adapter: A,
    lent: Lent,
}

fn told(failure: Failure) -> StoreError {
    StoreError(match failure {
        Failure::Part => "the part".to_owned(),
        Failure::Unusable(why) => why.to_owned(),
    })
}

impl<A: ValueStore<Lent>> CounterStore for Hosted<A> {
    const NAME: &'static str = A::NAME;

    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        let lent = Lent::default();
        let (adapter, value) = lent.during(part, || {
            let mut adapter = A::new(lent.clone());
            let value = adapter.open();
            (adapter, value)
        });
        Ok((Self { adapter, lent }, value.map_err(told)?.map(|value| blob::decode(&value))))
    }

    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError> {
        let value = blob::encode(counters)
            .ok_or_else(|| StoreError("a counter that 128 bytes do not hold".to_owned()))?;
        let adapter = &mut self.adapter;
        self.lent.during(part, || adapter.store(&value)).map_err(told)
    }
}
