//! Use cases: the one write path, accounts, audits. This floor orders what the floors below do.

pub mod house;
