//! Foreign bytes to plain structs and back. Nothing here decides anything.

pub mod attachment;
pub mod json;
pub mod record;
mod record_header;
mod record_rows;
pub mod sheet;
