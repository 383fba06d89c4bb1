//! Foreign bytes to plain structs and back. Nothing here decides anything.

pub mod attachment;
pub mod cells;
pub mod encoding;
pub mod fit;
pub mod form;
pub mod grid;
pub mod gs1;
pub mod hibc;
pub mod hl7;
pub mod json;
pub mod label;
mod lines;
pub mod mapping;
mod mapping_cell;
mod mapping_time;
pub mod mark;
pub mod record;
mod record_batch;
mod record_error;
mod record_header;
mod record_number;
mod record_rows;
mod record_time;
pub mod said;
pub mod sheet;
pub mod table;
pub mod xlsx;
