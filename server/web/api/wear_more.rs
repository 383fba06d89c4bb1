//! What follows from wear: what to inspect next, what things cost, how often they are repaired.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::asset::found;
use super::caller::Caller;
use super::params::Params;
use super::{broken, listed, ok};
use crate::domain::id::Id;
use crate::domain::state::{Asset, State};

/// So far back where nobody says from when.
const USUAL_DAYS: i64 = 365;

/// The parts to look at before others, the most worth first.
pub async fn next(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.number("after")?.unwrap_or(0), params.limit()?);
    params.done()?;
    let (state, now) = caller.state().await?;
    let lives = state.all_lives(now);
    let fits = lives.iter().filter_map(|(model, lives)| Some((model.clone(), lives.fit().ok()?))).collect();
    let all = state.inspect_next(&lives, &fits).into_iter().enumerate();
    let rest = all.skip(usize::try_from(after).unwrap_or(usize::MAX));
    Ok(ok(&listed(rest.map(|(i, it)| ((i + 1).to_string(), json!(it))), limit)))
}

/// Money over a period, by model, and what faults delayed.
pub async fn money(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (from, to) = (broken::time(&mut params, "from")?, broken::time(&mut params, "to")?);
    params.done()?;
    let (state, now) = caller.state().await?;
    let to = to.unwrap_or(now.plus_s(1));
    let from = from.unwrap_or_else(|| to.plus_minutes(-USUAL_DAYS * 24 * 60));
    if from > to {
        let wrong = crate::domain::command::wrong("?from", "found a beginning after the end");
        return Err(Problem::malformed(&[wrong]));
    }
    let money = state.money(from, to);
    let models: serde_json::Map<String, Value> = money
        .models
        .iter()
        .map(|(model, row)| {
            let mut told = json!(row);
            told["spent_cents"] = row.spent_cents().into();
            told["per_use_cents"] = json!(row.per_use_cents());
            told["per_case_cents"] = json!(row.per_case_cents());
            told["costs"] = json!(state.costs_of(model));
            (model.to_string(), told)
        })
        .collect();
    let mut delays = json!(money.delays);
    delays["said"] = money.delays.said().into();
    Ok(ok(&json!({"from": from, "to": to, "models": models, "delays": delays, "entry": state.seq})))
}

/// Repairs by piece and by who did them.
pub async fn repairs(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let model = params.take("model")?;
    params.done()?;
    let (state, now) = caller.state().await?;
    let known = model.as_deref().map(|name| {
        let id = Id::new(name).filter(|id| state.models.contains_key(id));
        id.ok_or_else(|| Problem::unknown_thing("model", name))
    });
    let model = known.transpose()?;
    let pieces = model.as_ref().map(|model| {
        let clock = state.clock_of_model(model);
        json!({"clock": clock, "pieces": state.repaired_pieces(model, clock, now)})
    });
    let suppliers = state.repairs_by_supplier(model.as_ref(), now);
    Ok(ok(&json!({"model": model, "units": pieces, "suppliers": suppliers, "entry": state.seq})))
}

async fn of_part(
    caller: Caller,
    scan: &str,
    params: Params,
    told: impl Fn(&State, &Asset, crate::domain::time::Time) -> Value,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let id = found(&state, scan)?;
    let asset = state.assets.get(&id).ok_or_else(|| Problem::unknown_thing("part", scan))?;
    Ok(ok(&told(&state, asset, now)))
}

/// What was measured of a part, check by check, and when each line crosses its limit.
pub async fn values(
    caller: Caller,
    Path((_, scan)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    let told =
        |state: &State, asset: &Asset, _| json!({"asset": asset.asset, "checks": state.courses(asset)});
    of_part(caller, &scan, params, told).await
}

/// Whether one more repair of a part is worth its money.
pub async fn repair_or_replace(
    caller: Caller,
    Path((_, scan)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    of_part(caller, &scan, params, |state, asset, now| json!(state.repair_or_replace(asset, now))).await
}
