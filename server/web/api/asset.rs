//! Queries about parts.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::event::Thing;
use crate::domain::id::Id;
use crate::domain::readiness::{due, held};
use crate::domain::scan::resolve;
use crate::domain::state::{Asset, Named, State};
use crate::domain::time::Time;
use crate::formats::json::normal;

/// A part as the API tells it.
pub fn told(state: &State, asset: &Asset, now: Time) -> Value {
    let family = state.model(&asset.model).map(|model| model.family);
    let next = state.next_step(asset).filter(|_| asset.retired.is_none());
    let held = held(state, asset)
        .into_iter()
        .map(|it| json!({"hold": it.hold, "kind": it.kind, "reason": it.reason}));
    let due = due(state, asset, now)
        .into_iter()
        .map(|it| json!({"why": it.why, "limit": it.limit, "found": it.found}));
    json!({
        "asset": asset.asset,
        "mark": asset.mark,
        "model": asset.model,
        "family": family,
        "serial": asset.serial,
        "measured": asset.measured,
        "lot": asset.lot,
        "owner": asset.owner,
        "supplier": asset.supplier,
        "set": asset.seat.as_ref().map(|seat| &seat.set),
        "line": asset.seat.as_ref().map(|seat| &seat.line),
        "position": asset.seat.as_ref().map(|seat| seat.position),
        "stage": asset.stage,
        "standing": asset.standing(),
        "location": asset.location,
        "turn": asset.turn,
        "cycles": asset.cycles,
        "uses": asset.uses,
        "sterile_until": asset.sterile_until,
        "packaging": asset.packaging,
        "cool_at": asset.cool_at,
        "in_load": asset.in_load,
        "load": asset.load,
        "held": held.collect::<Vec<_>>(),
        "due": due.collect::<Vec<_>>(),
        "next_step": next.map(|next| next.step),
    })
}

/// The part that a scan names.
pub fn found(state: &State, scan: &str) -> Result<Id, Problem> {
    match resolve(state, &normal(scan)) {
        Ok(Named::Asset(id)) => Ok(id),
        _ => Err(Problem::unknown_thing("part", scan)),
    }
}

pub async fn get(
    caller: Caller,
    Path((_, scan)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let id = found(&state, &scan)?;
    let asset = state.asset(id.as_str()).ok_or_else(|| Problem::unknown_thing("part", &scan))?;
    Ok(ok(&told(&state, asset, now)))
}

pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    super::paged(caller, params, |state| &state.assets, |state, it, now| Some(told(state, it, now))).await
}

pub async fn history(
    caller: Caller,
    Path((_, scan)): Path<(String, String)>,
    mut params: Params,
) -> Result<Response, Problem> {
    let (after, limit) = (params.number("after")?, params.limit()?);
    params.done()?;
    let (state, _) = caller.state().await?;
    let id = found(&state, &scan)?;
    let thing = Thing::asset(id.as_str());
    let mut entries = caller.app.house.history(&caller.site, &thing, after, limit + 1).await?;
    let more = entries.len() > limit;
    entries.truncate(limit);
    let next = more.then(|| entries.last().map(|entry| entry.seq.to_string())).flatten();
    Ok(ok(&json!({"items": entries, "next": next})))
}
