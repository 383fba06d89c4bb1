//! The pages: each reads the facts as they stand, says its one sentence, and lays the evidence below it.

pub mod headline;
pub mod refused;
pub mod say;
pub mod shared;
pub mod theatre;
pub mod told;
mod told_beside;
pub mod told_case;
pub mod words;

pub mod answer;
pub mod asset;
pub mod assets;
pub mod board;
pub mod broken;
pub mod case;
pub mod cases;
pub mod catalogue;
pub mod define;
pub mod desk;
pub mod desk_beside;
pub mod due;
pub mod emergency;
pub mod files;
pub mod finding;
pub mod handover;
pub mod health;
pub mod ledger;
pub mod load;
pub mod loads;
pub mod lookback;
mod lookback_answer;
mod lookback_asked;
pub mod no_site;
pub mod people;
pub mod problem;
pub mod queue;
pub mod readers;
pub mod refusal;
pub mod repair;
pub mod set;
pub mod sets;
pub mod sign_in;
pub mod site;
pub mod source;
pub mod start;
pub mod thing;
pub mod verdict;
pub mod wear;
mod wear_line;

#[cfg(test)]
pub mod sample;
