//! Tests of `shaftbook-core` by its public interface: one program, so that it is linked
//! once.

mod board;
mod codec;
mod days;
mod exchange;
mod late_settings;
mod store_damage;
mod support;
mod turn;
