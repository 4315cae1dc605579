//! The `shaftbook` command.
#![forbid(unsafe_code)]

fn main() -> std::process::ExitCode {
    host_sim::cli::run(std::env::args_os())
}
