//! Tests of `shaftbook-world` through its public interface. They are one program, so that the
//! crate is linked only once.

mod bus_against_bytewise_model;
mod bus_cuts;
mod bus_datasheet;
mod bus_faults;
mod common;
mod display_on_bus;
mod driver_on_bus;
