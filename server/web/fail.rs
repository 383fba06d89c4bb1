//! Failures of pages that come from below them: one name for each, one page for all.

use axum::http::StatusCode;
use axum::response::Response;

use super::pages::problem;
use crate::domain::person::Role;

pub fn unavailable(operation: &str) -> Response {
    problem::unavailable(operation)
}

pub fn not_for(role: Role) -> Response {
    problem::not_your_role(role.words())
}

/// A form that no page of this session made.
pub fn foreign_form() -> Response {
    problem::stale_form()
}

/// An address or a form that cannot be read.
pub fn unreadable(status: StatusCode) -> Response {
    problem::unreadable(status)
}

pub fn too_large() -> Response {
    problem::too_large()
}

/// An address that takes forms, opened as a page, or the other way round.
pub fn not_here() -> Response {
    problem::not_here()
}

pub fn nothing_here() -> Response {
    problem::no_page()
}
