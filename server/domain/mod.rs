//! The trade's rules: pure functions over a [`state::State`]. No await, no clock, no randomness.
//!
//! `decide` says what a command would do or why not, `apply` makes it so; nothing else changes what is true.

pub mod apply;
pub mod apply_case;
pub mod apply_load;
pub mod apply_parts;
pub mod asset;
pub mod board;
pub mod case;
pub mod checks;
pub mod command;
pub mod counting;
pub mod deciding;
pub mod event;
pub mod exposure;
pub mod fact;
pub mod finding;
pub mod history;
pub mod hold;
pub mod id;
pub mod inspection;
pub mod issuing;
pub mod load;
pub mod loading;
pub mod lookback;
pub mod machine;
pub mod missing;
pub mod model;
pub mod moves;
pub mod opening;
pub mod pack;
pub mod person;
pub mod planning;
pub mod programme;
pub mod readiness;
pub mod refusal;
pub mod release;
pub mod repair;
pub mod route;
pub mod scan;
pub mod seating;
pub mod set;
pub mod simulate;
pub mod site;
pub mod stage;
pub mod state;
pub mod step;
pub mod text;
pub mod time;
pub mod verdict;

pub use apply::apply;
pub use command::Command;
pub use deciding::{Asked, Decided, decide};
pub use event::{Entry, Event};
pub use refusal::{Code, Refusal};
pub use state::State;
