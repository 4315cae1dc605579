//! Tests of `shaftbook-panel` by its public interface: one program, so that it is linked
//! once.

mod any_state;
mod choices;
