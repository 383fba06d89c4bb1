//! Use cases: the one write path, accounts, audits. This floor orders what the floors below do.

pub mod accounts;
pub mod alert_reads;
pub mod alert_sending;
pub mod alerts;
pub mod attachment;
pub mod badges;
pub mod batch;
pub mod board;
pub mod clerk;
pub mod clock;
pub mod demo;
pub mod folder;
pub mod follow;
pub mod forecast;
pub mod founding;
mod gathering;
pub mod house;
pub mod import;
pub mod outlook;
mod pages;
pub mod rebuild;
pub mod reads;
pub mod records;
pub mod retirements;
pub mod schedule;
pub mod week;
