//! Failures as pages.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::domain::person::Role;

pub fn unavailable(operation: &str) -> Response {
    (StatusCode::SERVICE_UNAVAILABLE, format!("The database does not answer. Operation {operation}.")).into_response()
}

pub fn not_for(role: Role) -> Response {
    (StatusCode::FORBIDDEN, format!("This page is not for the role {}.", role.words())).into_response()
}

/// A form that no page of this session made.
pub fn foreign_form() -> Response {
    (StatusCode::FORBIDDEN, "This form is from another session. Go back, load the page again, and repeat.").into_response()
}

pub fn nothing_here() -> Response {
    (StatusCode::NOT_FOUND, "There is no such page.").into_response()
}
