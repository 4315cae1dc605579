//! Tests of `shaftbook-readout` by its public interface: one program, so that it is linked
//! once.

mod codes;
mod machine;
mod words;
