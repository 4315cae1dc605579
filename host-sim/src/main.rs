//! The `shaftbook` command.
fn main() {}
