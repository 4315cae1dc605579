//! Tests of `shaftbook-care` through its public interface. They are one program, so that the
//! crate is linked only once.

mod binomial;
mod hints;
mod outlook;
mod support;
