//! Queries about loads.

use std::sync::Arc;

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::load::{Load, LoadStatus};
use crate::domain::release;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::verdict::{Judged, as_numbers};

pub fn told(state: &State, load: &Load, judged: Option<&Judged>, now: Time) -> Value {
    let open = matches!(load.status, LoadStatus::Running | LoadStatus::Judged);
    let mut why_not: Vec<_> = match open {
        true => release::against(state, load, None, None, now).iter().map(|problem| problem.code).collect(),
        false => vec![crate::domain::Code::AlreadyDone],
    };
    why_not.sort();
    why_not.dedup();
    json!({
        "load": load.load,
        "machine": load.machine,
        "programme": load.programme.programme,
        "cycle_no": load.cycle_no,
        "status": load.status,
        "contents": load.contents.iter().map(|part| &part.asset).collect::<Vec<_>>(),
        "verdict": judged.map(|judged| as_numbers(&judged.answer.value())),
        "evidence": judged.map(|judged| &judged.by),
        "indicators": load.indicators,
        "limits": load.programme,
        "started_at": load.started_at,
        "started_by": load.started_by,
        "decided_by": load.decided_by,
        "decided_at": load.decided_at,
        "dry": load.dry,
        "dryness_not_stated": load.dryness_not_stated(),
        "released_alone": load.alone,
        "released_early": load.early,
        "immediate_use": load.immediate_use,
        "may_release": open && why_not.is_empty(),
        "why_not": why_not,
    })
}

pub async fn get(
    caller: Caller,
    Path((_, load)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found = state.loads.get(load.as_str()).ok_or_else(|| Problem::unknown_thing("load", &load))?;
    let judged = caller.app.house.verdict(&state.site, found).await?;
    Ok(ok(&told(&state, found, judged.as_deref(), now)))
}

pub async fn list(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let (state, now) = caller.state().await?;
    let page: Vec<&Arc<Load>> =
        super::behind(&state.loads, after.as_deref()).map(|(_, load)| load).take(limit + 1).collect();
    let judged = caller.app.house.verdicts(&state.site, page.iter().map(|load| &***load)).await?;
    let told = |load: &Arc<Load>| {
        let verdict = judged.get(&load.load).map(|verdict| &**verdict);
        (load.load.to_string(), told(&state, load, verdict, now))
    };
    Ok(ok(&super::listed(page.into_iter().map(told), limit)))
}
