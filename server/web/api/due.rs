//! What is due, in order of need.

use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.number("after")?.unwrap_or(0), params.limit()?);
    params.done()?;
    let (state, now) = caller.state().await?;
    let due = state.due(now).into_iter().enumerate().skip(usize::try_from(after).unwrap_or(usize::MAX));
    let rest = due.map(|(i, it)| ((i + 1).to_string(), json!(it)));
    Ok(ok(&super::listed(rest, limit)))
}
