//! Queries about cases.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::case::Case;
use crate::domain::check::{CheckState, stands};
use crate::domain::check_lines::AskedLine;
use crate::domain::exposure::{CasePart, Exposure};
use crate::domain::id::Id;
use crate::domain::state::State;

/// A case as the API tells it. Who the patient is stands nowhere in it.
pub fn told(state: &State, case: &Case) -> Value {
    let parts = |wanted: &dyn Fn(&Id, &CasePart) -> bool| {
        let all = case.all_parts().filter(|(id, part)| wanted(id, part)).map(|(id, _)| id.clone());
        let all: std::collections::BTreeSet<Id> = all.collect();
        all.into_iter().collect::<Vec<Id>>()
    };
    let searched = |asset: &Id| state.assets.get(asset).is_some_and(|asset| asset.missing);
    json!({
        "case": case.case,
        "start": case.start,
        "minutes": case.minutes,
        "room": case.room,
        "technique": case.technique,
        "configuration": case.wish,
        "chosen": case.chosen,
        "needs": case.needs,
        "needs_known": !case.needs_not_known(),
        "schedule": case.schedule,
        "risk": case.risk,
        "emergency": case.emergency,
        "promised": case.promised,
        "patient": case.patient.is_some(),
        "status": case.status(),
        "cancelled": case.cancelled,
        "issued": parts(&|_, part| part.issued),
        "out": parts(&|_, part| part.out),
        "opened": parts(&|_, part| part.exposure.is_some()),
        "used": parts(&|_, part| part.exposure == Some(Exposure::Used)),
        "missing": parts(&|id, part| (part.missing || part.out) && searched(id)),
        "count": case.count(),
        "check": check(state, case),
        "counts": case.counts,
        "others": case.others,
        "not_back": case.not_back().map(|it| json!({"line": it.line, "lacks": it.lacks(), "outcome": it.outcome}))
            .collect::<Vec<Value>>(),
    })
}

/// The lines of the function check, each as it stands now.
fn check(state: &State, case: &Case) -> Value {
    let line = |it: &AskedLine| {
        let stands = stands(state, case, &it.line);
        json!({"line": it.line, "asks": it.asks, "parts": it.parts, "stands": stands})
    };
    let lines: Vec<Value> = crate::domain::check_lines::lines(state, case).iter().map(line).collect();
    let now = CheckState::of(state, case);
    json!({"lines": lines, "open": now.open, "failed": now.failed, "done": now.done(), "told": case.checks})
}

fn found<'a>(state: &'a State, case: &str) -> Result<&'a Case, Problem> {
    state.cases.get(case).map(|case| &**case).ok_or_else(|| Problem::unknown_thing("case", case))
}

pub async fn get(
    caller: Caller,
    Path((_, case)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    Ok(ok(&told(&state, found(&state, &case)?)))
}

pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    super::paged(caller, params, |state| &state.cases, |state, it, _| Some(told(state, it))).await
}

/// The patient's reference. Each reading is logged.
pub async fn patient(
    caller: Caller,
    Path((_, case)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    let case = found(&state, &case)?;
    let patient = caller.app.house.patient_of(case, &caller.site, &caller.actor).await?;
    Ok(ok(&json!({"patient": patient})))
}
