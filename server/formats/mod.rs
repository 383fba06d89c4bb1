//! Foreign bytes to plain structs and back. Nothing here decides anything.

pub mod json;
pub mod record;
mod record_header;
mod record_number;
mod record_rows;
mod record_time;
pub mod sheet;
