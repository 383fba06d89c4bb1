//! The JSON API: one door for commands, and the queries.

pub mod alert;
pub mod asset;
pub mod attachment;
pub mod board;
pub mod broken;
pub mod case;
pub mod caller;
pub mod command;
pub mod due;
pub mod exception;
pub mod fhir;
pub mod finding;
pub mod fit;
pub mod forecast;
pub mod hold;
pub mod import;
pub mod label;
pub mod ledger;
pub mod load;
pub mod lookback;
pub mod machine;
pub mod model;
pub mod params;
pub mod programme;
pub mod recall;
pub mod record_form;
pub mod reference;
pub mod paper;
pub mod request;
pub mod schedule;
pub mod set;
pub mod visit;
pub mod wear;
pub mod wear_more;
pub mod week;

use std::sync::Arc;

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use caller::Caller;
use imbl::OrdMap;
use params::Params;
use serde_json::Value;

use super::problem::Problem;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;

/// A JSON answer.
pub fn json(status: StatusCode, value: &Value) -> Response {
    let mut response = (status, value.to_string()).into_response();
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
    response
}

pub fn ok(value: &Value) -> Response {
    json(StatusCode::OK, value)
}

/// A list of a site's things by their names, in pages: each such query has the same parameters and the same form. What
/// `told` leaves out is not among them.
pub async fn paged<T>(
    caller: Caller,
    mut params: Params,
    things: fn(&State) -> &OrdMap<Id, Arc<T>>,
    told: impl Fn(&State, &T, Time) -> Option<Value>,
) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let (state, now) = caller.state().await?;
    let rest = behind(things(&state), after.as_deref());
    let rest = rest.filter_map(|(id, thing)| Some((id.to_string(), told(&state, thing, now)?)));
    Ok(ok(&listed(rest, limit)))
}

/// The things behind a cursor, by their names.
pub fn behind<'a, T>(
    things: &'a OrdMap<Id, Arc<T>>,
    after: Option<&str>,
) -> impl Iterator<Item = (&'a Id, &'a Arc<T>)> {
    things.iter().filter(move |(id, _)| after.is_none_or(|after| id.as_str() > after))
}

/// A page of a list that is in an order of its own: what comes behind the item with this cursor. Where that item is gone
/// meanwhile, the list begins anew.
pub fn in_order(all: Vec<(String, Value)>, after: Option<&str>, limit: usize) -> Value {
    let at = after.and_then(|after| all.iter().position(|(cursor, _)| cursor == after));
    listed(all.into_iter().skip(at.map_or(0, |at| at + 1)), limit)
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
