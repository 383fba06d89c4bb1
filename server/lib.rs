//! Fettle keeps the rigid instruments of an airway-endoscopy service ready and safe.
//!
//! The modules are floors: an import points only downwards, in the order in which they stand here.

pub mod cli;
pub mod web;
pub mod app;
pub mod storage;
pub mod domain;
pub mod ledger;
pub mod formats;
pub mod analysis;
