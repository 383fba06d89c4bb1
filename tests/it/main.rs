//! The one integration binary: every noun's tests are a module here.

mod canonical;
mod merkle;
mod steam;
mod record;
mod cycle;
