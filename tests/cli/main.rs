//! System tests of the command, as a user runs it: one module for each group of commands.
//!
//! They are a test of package `host-sim`, because cargo gives the path of the binary only to
//! tests of the binary's own package: `cargo test -p host-sim --test cli`.

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
mod lives;
mod prove;
mod sabotage;
mod shell;
