//! System tests of the command, as a user runs it: one module for each group of commands.
//!
//! They belong to package `host-sim`, as only the binary's own package knows its path:
//! `cargo test -p host-sim --test cli`.

mod authorise;
mod campaign;
mod care;
mod commands;
mod decode;
mod fitted_machine;
mod flash;
mod hold_up;
mod inspect;
mod junit;
mod prove;
mod sabotage;
mod shell;
