//! Tests of `shaftbook-core` through its public interface. They are one program, so that the
//! crate is linked only once.

mod binding;
mod board;
mod codec;
mod days;
mod exchange;
mod late_settings;
mod meter;
mod store_damage;
mod support;
mod turn;
