//! Recalls: what each holds, what was used meanwhile, and what is answered for.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::affected::{Affected, affected};
use crate::domain::recall::Recall;
use crate::domain::state::State;

/// What a list tells of a recall.
fn told(state: &State, it: &Recall) -> (Value, Affected) {
    let found = affected(state, it);
    let (parts, cases) = found.open();
    let told = json!({
        "recall": it.recall, "machine": it.machine, "step": it.step, "reason": it.reason,
        "opened_at": it.opened_at, "opened_by": it.opened_by, "since": it.since, "from": it.from, "to": it.to,
        "hold": it.hold, "loads": it.loads, "narrowed": it.narrowed, "open": it.is_open(),
        "closed_at": it.closed_at, "closed_by": it.closed_by, "outcome": it.outcome,
        "unanswered": {"parts": parts, "cases": cases},
    });
    (told, found)
}

fn whole(state: &State, it: &Recall) -> Value {
    let (mut told, found) = told(state, it);
    let parts = found.parts.iter().filter_map(|(id, part)| Some((state.assets.get(id)?, part)));
    let parts: Vec<Value> = parts
        .map(|(asset, part)| {
            json!({"asset": asset.asset, "model": asset.model, "turns": part.turns, "fate": part.fate.name(),
                   "held": part.held, "answered": part.answered(), "answer": it.parts.get(&asset.asset),
                   "location": asset.location,
                   "set": asset.seat.as_ref().map(|seat| &seat.set),
                   "now": {"stage": asset.stage, "standing": asset.standing(), "turn": asset.turn}})
        })
        .collect();
    let cases: Vec<Value> = found
        .cases
        .iter()
        .filter_map(|(id, at)| Some((state.cases.get(id)?, at)))
        .map(|(case, at)| {
            json!({"case": case.case, "start": case.start, "patient": case.patient.is_some(), "assets": at,
                   "answer": it.cases.get(&case.case)})
        })
        .collect();
    told["parts"] = parts.into();
    told["cases"] = cases.into();
    told["entry"] = state.seq.into();
    told
}

pub async fn get(
    caller: Caller,
    Path((_, recall)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    let found =
        state.recalls.get(recall.as_str()).ok_or_else(|| Problem::unknown_thing("recall", &recall))?;
    Ok(ok(&whole(&state, found)))
}

pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    super::paged(caller, params, |state| &state.recalls, |state, it, _| Some(told(state, it).0)).await
}
