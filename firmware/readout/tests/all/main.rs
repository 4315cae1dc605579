//! Tests of `shaftbook-readout` through its public interface. They are one program, so that the
//! crate is linked only once.

mod codes;
mod machine;
mod words;
