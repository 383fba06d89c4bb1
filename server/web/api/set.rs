//! Queries about sets.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::readiness::set_status;
use crate::domain::set::SetState;
use crate::domain::state::State;
use crate::domain::time::Time;

pub fn told(state: &State, set: &SetState, now: Time) -> Value {
    let status = set_status(state, set, now);
    json!({
        "set": set.set,
        "name": set.name,
        "count_sheet": set.count_sheet,
        "status": status.status,
        "lines": status.lines,
        "missing": status.missing,
        "due": status.due,
        "held": status.held,
        "ready_at": status.ready_at,
    })
}

pub async fn get(
    caller: Caller,
    Path((_, set)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found = state.sets.get(set.as_str()).ok_or_else(|| Problem::unknown_thing("set", &set))?;
    Ok(ok(&told(&state, found, now)))
}

pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    super::paged(caller, params, |state| &state.sets, |state, it, now| Some(told(state, it, now))).await
}
