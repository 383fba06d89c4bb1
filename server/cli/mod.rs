//! What is said on the command line.

pub mod calc;
