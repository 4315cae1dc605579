//! Tests of `shaftbook-drivers` through its public interface. They are one program, so that the
//! crate is linked only once.

mod clock;
mod display_transactions;
mod memory_transactions;
