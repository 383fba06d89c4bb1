//! The pages: each reads the facts as they stand, says its one sentence, and lays the evidence below it.

pub mod headline;
pub mod refused;
pub mod say;
pub mod shared;
pub mod theatre;
pub mod told;
pub mod told_case;
pub mod words;

pub mod answer;
pub mod asset;
pub mod assets;
pub mod board;
pub mod case;
pub mod cases;
pub mod catalogue;
pub mod define;
pub mod desk;
pub mod emergency;
pub mod files;
pub mod health;
pub mod ledger;
pub mod load;
pub mod loads;
pub mod no_site;
pub mod people;
pub mod problem;
pub mod queue;
pub mod refusal;
pub mod set;
pub mod sets;
pub mod sign_in;
pub mod site;
pub mod start;
pub mod thing;
pub mod verdict;

#[cfg(test)]
pub mod sample;
