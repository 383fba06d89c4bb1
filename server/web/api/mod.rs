//! The JSON API: one door for commands, and the queries.

pub mod asset;
pub mod board;
pub mod case;
pub mod caller;
pub mod command;
pub mod due;
pub mod finding;
pub mod ledger;
pub mod load;
pub mod lookback;
pub mod params;
pub mod set;
pub mod wear;

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

/// A page of a list: its items, and the cursor after which the next page begins, where there is one.
pub fn listed(rest: impl Iterator<Item = (String, Value)>, limit: usize) -> Value {
    let mut page: Vec<(String, Value)> = rest.take(limit + 1).collect();
    let more = page.len() > limit;
    page.truncate(limit);
    let next = page.last().filter(|_| more).map(|(cursor, _)| cursor.clone());
    let items: Vec<Value> = page.into_iter().map(|(_, item)| item).collect();
    serde_json::json!({"items": items, "next": next})
}
