//! What stands beside the loop: defect reports, repairs, and parts not accounted for.

use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::state::State;

/// A list of things by their names, in pages.
async fn paged(
    caller: Caller,
    mut params: Params,
    all: impl Fn(&State) -> Vec<(String, Value)>,
) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let (state, _) = caller.state().await?;
    let rest = all(&state).into_iter().filter(|(id, _)| after.as_ref().is_none_or(|after| id > after));
    Ok(ok(&super::listed(rest, limit)))
}

pub async fn findings(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(caller, params, |state| {
        let told = |it: &crate::domain::finding::Finding| {
            let mut value = json!(it);
            value["open"] = state.is_open(it).into();
            value
        };
        state.findings.iter().map(|(id, it)| (id.to_string(), told(it))).collect()
    })
    .await
}

pub async fn repairs(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(caller, params, |state| {
        state.repairs.iter().map(|(id, it)| (id.to_string(), json!(**it))).collect()
    })
    .await
}

/// Parts not accounted for; those that were found or retired are no longer among them.
pub async fn missing(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(caller, params, |state| {
        let open = state.missing.iter().filter(|(_, it)| it.over_at.is_none());
        open.map(|(id, it)| (id.to_string(), json!(**it))).collect()
    })
    .await
}
