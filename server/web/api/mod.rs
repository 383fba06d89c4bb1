//! The JSON API: one door for commands, and the queries.

pub mod asset;
pub mod caller;
pub mod command;
pub mod ledger;
pub mod load;
pub mod params;
pub mod set;

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::Value;

/// A JSON answer.
pub fn json(status: StatusCode, value: &Value) -> Response {
    let mut response = (status, value.to_string()).into_response();
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
    response
}

pub fn ok(value: &Value) -> Response {
    json(StatusCode::OK, value)
}
