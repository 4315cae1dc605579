//! Tests of `shaftbook-panel` through its public interface. They are one program, so that the
//! crate is linked only once.

mod any_state;
mod choices;
