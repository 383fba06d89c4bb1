//! Queries about sets.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use super::{in_order, ok};
use crate::domain::readiness::set_status;
use crate::domain::set::SetState;
use crate::domain::sink;
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

/// The parts that moved from one set to another, the newest first.
pub async fn moves(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (from, to) = (super::broken::time(&mut params, "from")?, super::broken::time(&mut params, "to")?);
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let (state, _) = caller.state().await?;
    let all = state.migrations(from.unwrap_or(Time(i64::MIN)), to.unwrap_or(Time(i64::MAX)));
    let all = all.into_iter().map(|it| (format!("{}.{}", it.entry, it.asset), json!(it))).collect();
    Ok(ok(&in_order(all, after.as_deref(), limit)))
}

/// What waits for its cleaning against a limit, the nearest to it first.
pub async fn sink(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let (state, now) = caller.state().await?;
    let told = sink::waiting(&state, now).into_iter().map(|it| {
        let told = json!({
            "asset": it.asset.asset,
            "set": it.asset.seat.as_ref().map(|seat| &seat.set),
            "since": it.clock.since,
            "limit_minutes": it.clock.limit_minutes,
            "waited_minutes": it.clock.waited_minutes,
            "late": it.clock.is_over(),
        });
        (it.asset.asset.to_string(), told)
    });
    Ok(ok(&in_order(told.collect(), after.as_deref(), limit)))
}

/// Emergencies of which the patient or the needs are to follow, the oldest first.
pub async fn unfollowed(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let (state, _) = caller.state().await?;
    let told = state.unfollowed_emergencies().into_iter().map(|it| {
        let case = &it.case;
        let told = json!({"case": case.case, "start": case.start, "patient": it.patient, "needs": it.needs});
        (case.case.to_string(), told)
    });
    Ok(ok(&in_order(told.collect(), after.as_deref(), limit)))
}
