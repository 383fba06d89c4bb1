//! Pages: a template, a view struct with a sample, and a handler of a few lines.

pub mod files;
pub mod health;
pub mod refused;
pub mod sign_in;
