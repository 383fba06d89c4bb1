//! Look-back: from one origin to everything and everyone affected.

use axum::body::Bytes;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::{Params, asked_in};
use crate::domain::command::{Malformed, wrong};
use crate::domain::id::Id;
use crate::domain::lookback::{Origin, Trace, trace, trace_cases};
use crate::domain::state::State;
use crate::domain::text::Line;
use crate::domain::time::Time;

/// Reads one origin from the parameters of a query.
pub fn origin(params: &mut Params) -> Result<Origin, Problem> {
    let unfit = |name: &str, needed: &str| {
        Problem::malformed(&[wrong(format!("?{name}"), format!("found no {needed}"))])
    };
    let id = |name: &'static str, given: Option<String>| {
        given.map(|text| Id::new(&text).ok_or_else(|| unfit(name, "id"))).transpose()
    };
    let time = |name: &'static str, given: Option<String>| {
        given.map(|text| Time::parse(&text).ok_or_else(|| unfit(name, "time (RFC 3339)"))).transpose()
    };
    let origin = Origin {
        load: id("load", params.take("load")?)?,
        asset: params.take("asset")?.map(Line),
        case: id("case", params.take("case")?)?,
        machine: id("machine", params.take("machine")?)?,
        model: id("model", params.take("model")?)?,
        lot: params.take("lot")?.map(Line),
        serial: params.take("serial")?.map(Line),
        from: time("from", params.take("from")?)?,
        to: time("to", params.take("to")?)?,
    };
    origin.whole().map_err(|error| {
        let pointer = error.pointer.replace("/origin/", "?").replace("/origin", "");
        Problem::malformed(&[Malformed { pointer, detail: error.detail }])
    })?;
    Ok(origin)
}

pub fn told(state: &State, origin: &Value, window: Value, trace: &Trace, from_case: Option<&Id>) -> Value {
    let loads: Vec<Value> = trace
        .loads
        .iter()
        .filter_map(|id| state.loads.get(id))
        .map(|load| {
            json!({"load": load.load, "machine": load.machine, "programme": load.programme.programme,
                   "cycle_no": load.cycle_no, "status": load.status, "started_at": load.started_at})
        })
        .collect();
    let assets: Vec<Value> = trace
        .assets
        .iter()
        .filter_map(|(id, turns)| Some((state.assets.get(id)?, turns)))
        .map(|(asset, turns)| {
            json!({"asset": asset.asset, "model": asset.model, "turns": turns,
                   "now": {"stage": asset.stage, "standing": asset.standing(), "turn": asset.turn}})
        })
        .collect();
    let mut cases: Vec<_> =
        trace.cases.iter().filter_map(|(id, parts)| Some((state.cases.get(id)?, parts))).collect();
    cases.sort_by_key(|(case, _)| (case.start, case.case.clone()));
    let began = from_case.and_then(|id| state.cases.get(id));
    let cases: Vec<Value> = cases
        .into_iter()
        .map(|(case, parts)| {
            let parts = parts.iter().map(|at| {
                let mut part = json!({"asset": at.asset, "turn": at.turn, "exposure": at.exposure});
                if let Some(first) = began.and_then(|began| began.parts.get(&at.asset)) {
                    part["turns_since"] = at.turn.saturating_sub(first.turn).into();
                }
                part
            });
            let mut told = json!({"case": case.case, "start": case.start, "patient": case.patient.is_some(),
                                  "assets": parts.collect::<Vec<_>>()});
            if let Some(used) = trace.stock.get(&case.case) {
                told["stock"] = json!(used);
            }
            told
        })
        .collect();
    let in_doubt: Vec<Value> = trace
        .kin
        .iter()
        .map(|(asset, kin)| {
            json!({"asset": asset, "may_be": kin.asset, "because": kin.because, "since": kin.since})
        })
        .collect();
    json!({"origin": origin, "window": window, "loads": loads, "assets": assets, "cases": cases,
           "in_doubt": in_doubt, "entry": state.seq})
}

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let origin = origin(&mut params)?;
    params.done()?;
    let (state, _) = caller.state().await?;
    let Some(trace) = trace(&state, &origin) else {
        return Err(Problem::unknown_thing("origin of a look-back", &origin.words()));
    };
    let window = match origin.machine {
        Some(_) => json!({"from": origin.from, "to": origin.to}),
        None => Value::Null,
    };
    let mut named = json!(origin);
    if let Value::Object(fields) = &mut named {
        fields.retain(|name, _| name != "from" && name != "to");
    }
    Ok(ok(&told(&state, &named, window, &trace, origin.case.as_ref())))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Patient {
    patient: Line,
}

/// All cases of a patient at once. The reference stands in the body: never in an address, which is logged.
pub async fn post(caller: Caller, params: Params, body: Bytes) -> Result<Response, Problem> {
    params.done()?;
    let value = asked_in(&body)?;
    let asked: Patient =
        crate::domain::command::read_form(value).map_err(|error| Problem::malformed(&[error]))?;
    let (state, _) = caller.state().await?;
    let cases = caller.app.house.cases_of_patient(&state, asked.patient.as_str(), &caller.actor).await?;
    let trace = trace_cases(&state, &cases);
    Ok(ok(&told(&state, &json!({"cases": cases}), Value::Null, &trace, None)))
}

/// The look-backs that were opened.
pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    super::paged(caller, params, |state| &state.look_backs, |_, it, _| Some(json!(it))).await
}
