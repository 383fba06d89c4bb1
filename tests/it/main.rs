//! The one integration binary: every noun's tests are a module here.

// A test may fail by panicking; clippy's own exception covers only the test functions, not what they call.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
// Tests wait for real clocks; what they test does not.
#![allow(clippy::disallowed_methods)]

mod agree;
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
mod crash;
mod cycle;
mod demo;
mod event;
mod finding;
mod key;
mod late;
mod merkle;
mod never;
mod outage;
mod own;
mod packing;
mod page;
mod person;
mod process;
mod query;
mod record;
mod refusal;
mod refusal_case;
mod role;
mod served;
mod simulate;
mod solution;
mod starter;
mod steam;
mod step;
mod tidy;
mod trace;
mod together;
mod told;
