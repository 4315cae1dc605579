//! Tests of `shaftbook-drivers` by its public interface: one program, so that it is linked
//! once.

mod clock;
mod display_transactions;
mod memory_transactions;
