//! What is not the house's own, or has no parts of its own: loans, strangers, doubts of identity, the shelf.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use super::{ok, paged};
use crate::domain::loan_kept::Loan;
use crate::domain::mixed::Mixed;
use crate::domain::shelf::Shelf;
use crate::domain::state::State;
use crate::domain::stranger::Stranger;
use crate::domain::time::Time;

fn loan(state: &State, it: &Loan, now: Time) -> Value {
    let mut told = json!(it);
    let names = |parts: Vec<std::sync::Arc<crate::domain::state::Asset>>| -> Vec<String> {
        parts.iter().map(|part| part.asset.to_string()).collect()
    };
    let due = it.due(state);
    told["parts"] = it.parts.iter().map(|(asset, again)| json!({"asset": asset, "again": again})).collect();
    told["open"] = json!(it.is_open(state));
    told["due"] = json!(due);
    told["overdue"] = json!(it.is_open(state) && due.is_some_and(|due| due < now.date(state.zone)));
    told["still_here"] = json!(names(it.still_here(state)));
    told["lacking"] = json!(names(it.lacking(state)));
    told["retired_here"] = json!(names(it.retired_here(state)));
    told
}

/// The loans by their names; `open=true` those alone of which something is still to leave.
pub async fn loans(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let open = params.flag("open")?;
    let told =
        move |state: &State, it: &Loan, now| (!open || it.is_open(state)).then(|| loan(state, it, now));
    paged(caller, params, |state| &state.loans, told).await
}

pub async fn one_loan(
    caller: Caller,
    Path((_, name)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found = state.loans.get(name.as_str()).ok_or_else(|| Problem::unknown_thing("loan", &name))?;
    Ok(ok(&loan(&state, found, now)))
}

fn stranger(state: &State, it: &Stranger) -> Value {
    let mut told = json!(it);
    if let Value::Object(fields) = &mut told {
        // What each owner was told stands whole; who it was is sealed.
        fields.insert("open".into(), json!(it.is_open()));
        fields.insert("asks".into(), json!(it.is_open().then(|| it.asks())));
        let now = state.assets.get(&it.tag);
        let stage =
            now.map(|asset| json!({"stage": asset.stage, "standing": asset.standing(), "turn": asset.turn}));
        fields.insert("now".into(), json!(stage));
    }
    told
}

pub async fn strangers(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let open = params.flag("open")?;
    let told = move |state: &State, it: &Stranger, _| (!open || it.is_open()).then(|| stranger(state, it));
    paged(caller, params, |state| &state.strangers, told).await
}

pub async fn one_stranger(
    caller: Caller,
    Path((_, tag)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    let found = state.strangers.get(tag.as_str()).ok_or_else(|| Problem::unknown_thing("stranger", &tag))?;
    Ok(ok(&stranger(&state, found)))
}

pub async fn doubts(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let open = params.flag("open")?;
    let told = move |_: &State, it: &Mixed, _| {
        (!open || it.is_open()).then(|| {
            let mut told = json!(it);
            told["open"] = json!(it.is_open());
            told
        })
    };
    paged(caller, params, |state| &state.mixed, told).await
}

fn shelf(state: &State, it: &Shelf, now: Time) -> Value {
    let today = now.date(state.zone);
    let lots: Vec<Value> = it
        .lots
        .iter()
        .map(|lot| {
            json!({"lot": lot.lot, "expires": lot.expires, "came": lot.came, "left": lot.left,
                   "past": lot.is_past(today)})
        })
        .collect();
    json!({"model": it.model, "minimum": it.minimum, "good": it.good(today), "low": it.is_low(today), "lots": lots})
}

pub async fn stock(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(caller, params, |state| &state.shelf, |state, it, now| Some(shelf(state, it, now))).await
}

pub async fn stock_of(
    caller: Caller,
    Path((_, model)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found =
        state.shelf.get(model.as_str()).ok_or_else(|| Problem::unknown_thing("stock of model", &model))?;
    Ok(ok(&shelf(&state, found, now)))
}

pub async fn used_at(
    caller: Caller,
    Path((_, case)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    let found = state.cases.get(case.as_str()).ok_or_else(|| Problem::unknown_thing("case", &case))?;
    Ok(ok(&json!({"case": found.case, "items": state.stock_at(&found.case)})))
}
