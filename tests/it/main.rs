//! The one integration binary: every noun's tests are a module here.

// A test may fail by panicking; clippy's own exception covers only the test functions, not what they call.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
// Tests wait for real clocks; what they test does not.
#![allow(clippy::disallowed_methods)]

mod browser;
mod browser_back;
mod browser_case;
mod canonical;
mod case;
mod command;
mod cycle;
mod event;
mod finding;
mod key;
mod late;
mod merkle;
mod never;
mod person;
mod query;
mod record;
mod refusal;
mod role;
mod served;
mod steam;
mod step;
mod tidy;
mod told;
