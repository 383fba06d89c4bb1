//! The one integration binary: every noun's tests are a module here.

// A test may fail by panicking; clippy's own exception covers only the test functions, not what they call.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
// Tests wait for real clocks; what they test does not.
#![allow(clippy::disallowed_methods)]

mod agree;
mod answer_forms;
mod answers;
mod attachment;
mod binary;
mod board;
mod broken;
mod browser;
mod browser_back;
mod browser_case;
mod canonical;
mod case;
mod case_input;
mod case_twice;
mod command;
mod correct;
mod countersign;
mod crash;
mod cycle;
mod cycle_same;
mod demo;
mod event;
mod finding;
mod fit;
mod fit_calc;
mod fit_geometry;
mod key;
mod late;
mod load_page;
mod machine;
mod mapping;
mod merkle;
mod model_page;
mod model_table;
mod never;
mod outage;
mod own;
mod packing;
mod page;
mod person;
mod phases;
mod process;
mod published;
mod query;
mod recall;
mod recompute;
mod record;
mod record_api;
mod record_folder;
mod record_form;
mod record_fuzz;
mod refusal;
mod refusal_case;
mod release;
mod release_safe;
mod role;
mod served;
mod setup_sheet;
mod simulate;
mod simulated_fit;
mod sizes;
mod solution;
mod starter;
mod steam;
mod step;
mod suits;
mod tidy;
mod together;
mod told;
mod trace;
mod ward;
