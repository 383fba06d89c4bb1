//! What the board asked of the desk, and what became of it.

use axum::extract::Path;
use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use super::{ok, paged};
use crate::domain::id::Id;

/// The requests by their names; `open=true` those alone that wait for the desk.
pub async fn list(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let open = params.flag("open")?;
    paged(
        caller,
        params,
        |state| &state.requests,
        |state, it, now| (!open || it.waits(state, now)).then(|| json!(it.told(state, now))),
    )
    .await
}

pub async fn get(
    caller: Caller,
    Path((_, request)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found = Id::new(&request).and_then(|id| state.requests.get(&id));
    let found = found.ok_or_else(|| Problem::unknown_thing("request", &request))?;
    Ok(ok(&json!(found.told(&state, now))))
}
