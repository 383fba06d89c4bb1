//! Foreign bytes to plain structs and back. Nothing here decides anything.

pub mod attachment;
pub mod cells;
pub mod encoding;
pub mod fit;
pub mod life;
pub mod life_answer;
mod life_answer_few;
pub mod form;
pub mod json;
mod lines;
pub mod mapping;
mod mapping_cell;
mod mapping_time;
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
