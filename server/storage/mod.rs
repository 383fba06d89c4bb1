//! SQL, and nothing else: one text for both databases, one branch between them.

pub mod account;
pub mod alert;
pub mod alert_delivery;
pub mod badge;
mod asset;
pub mod attachment;
pub mod connection;
pub mod copy;
pub mod dialect;
pub mod facts;
mod grown;
pub mod import;
pub mod ledger;
pub mod migrate;
mod model;
pub mod notices;
pub mod rows;
mod visiting;

pub use connection::{Arg, Conn, Db, Row, StorageError};
