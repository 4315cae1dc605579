//! Tests of `shaftbook-world` by its public interface: one program, so that it is linked
//! once.

mod bus_against_bytewise_model;
mod bus_cuts;
mod bus_datasheet;
mod bus_faults;
mod common;
mod display_on_bus;
mod driver_on_bus;
