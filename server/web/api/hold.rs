//! A hold with what it means for the house now: every piece by its place, the day's cases, and pieces nobody knows of.

use axum::extract::Path;
use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use super::{ok, paged};
use crate::domain::id::Id;

pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(caller, params, |state| &state.holds, |_, it, _| it.lifted_at.is_none().then(|| json!(it))).await
}

pub async fn get(
    caller: Caller,
    Path((_, hold)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let id = Id::new(&hold).filter(|id| state.holds.contains_key(id));
    let found = id.and_then(|id| Some((state.holds.get(&id)?.clone(), state.pieces_of_hold(&id)?)));
    let (it, pieces) = found.ok_or_else(|| Problem::unknown_thing("hold", &hold))?;
    let report = state.notice(Some(&it.hold), &pieces, now);
    Ok(ok(&json!({
        "hold": it.hold,
        "kind": it.kind,
        "reason": it.reason,
        "placed_at": it.placed_at,
        "placed_by": it.placed_by,
        "lifted_at": it.lifted_at,
        "notice": it.notice,
        "places": report.places,
        "not_known": report.not_known,
        "cases": report.cases,
        "entry": state.seq,
    })))
}
