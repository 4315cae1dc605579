//! Tests of `shaftbook-care` by its public interface: one program, so that it is linked
//! once.

mod binomial;
mod hints;
mod outlook;
mod support;
