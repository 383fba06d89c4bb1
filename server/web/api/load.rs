//! Queries about loads.

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
use crate::domain::verdict::as_numbers;

pub fn told(state: &State, load: &Load) -> Value {
    let open = matches!(load.status, LoadStatus::Running | LoadStatus::Judged);
    let mut why_not: Vec<_> = match open {
        true => release::against(state, load, None, None).iter().map(|problem| problem.code).collect(),
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
        "verdict": load.judged.as_ref().map(|judged| as_numbers(&judged.answer.value())),
        "evidence": load.judged.as_ref().map(|judged| &judged.by),
        "indicators": load.indicators,
        "limits": load.programme,
        "started_at": load.started_at,
        "started_by": load.started_by,
        "decided_by": load.decided_by,
        "decided_at": load.decided_at,
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
    let (state, _) = caller.state().await?;
    let found = state.loads.get(load.as_str()).ok_or_else(|| Problem::unknown_thing("load", &load))?;
    Ok(ok(&told(&state, found)))
}

pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    super::paged(caller, params, |state| &state.loads, |state, it, _| Some(told(state, it))).await
}
