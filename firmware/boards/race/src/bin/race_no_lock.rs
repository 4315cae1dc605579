//! The same race test on a sabotaged capture, whose critical section is missing. The runner
//! must catch it.

#![no_std]
#![no_main]

#[path = "../no_lock.rs"]
mod capture;
#[path = "../program.rs"]
mod program;
