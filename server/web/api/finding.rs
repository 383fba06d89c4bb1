//! What stands beside the loop: defect reports, repairs, and parts not accounted for.

use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::paged;
use super::params::Params;

pub async fn findings(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(
        caller,
        params,
        |state| &state.findings,
        |state, it, _| {
            let mut value = json!(it);
            value["open"] = state.is_open(it).into();
            value["became"] = json!(crate::domain::finding_words::fate(state, it));
            Some(value)
        },
    )
    .await
}

pub async fn repairs(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(caller, params, |state| &state.repairs, |_, it, _| Some(json!(it))).await
}

/// Parts not accounted for; those that were found or retired are no longer among them.
pub async fn missing(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(caller, params, |state| &state.missing, |_, it, _| it.over_at.is_none().then(|| json!(it))).await
}
