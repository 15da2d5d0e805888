//! The `boutwise` command.
fn main() {}
