//! Queries about machines.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::app::reads::Verdicts;
use crate::domain::load::Load;
use crate::domain::state::{Machine, State};
use crate::domain::time::Time;
use crate::domain::trend::{Trend, trends};
use crate::web::pages::machine::last_loads;

fn told(state: &State, machine: &Machine, verdicts: &Verdicts, now: Time) -> Value {
    let condition = machine.condition_words(state, now);
    let programmes = machine.programmes.iter().map(|programme| {
        let problem = machine.not_ready(state, programme, now);
        json!({"programme": programme, "may_run": problem.is_none(),
               "why_not": problem.map(|it| json!({"code": it.code, "found": it.found, "next": it.next}))})
    });
    json!({
        "machine": machine.machine,
        "kind": machine.kind,
        "condition": {"word": condition.word, "detail": condition.detail, "since": machine.not_in_service_since},
        "running": machine.running,
        "flag": machine.flag,
        "programmes": programmes.collect::<Vec<_>>(),
        "tests_due": machine.tests_due(state, now),
        "last_tests": machine.last_tests,
        "last_biological": machine.last_biological(),
        "trends": trends(&last_loads(state, machine), verdicts).iter().map(trend).collect::<Vec<_>>(),
    })
}

fn trend(trend: &Trend) -> Value {
    let load = |place: &usize| &trend.points[*place].load;
    let points = trend.points.iter().map(
        |point| json!({"load": point.load, "at": point.at, "value": point.value, "passed": point.passed}),
    );
    let runs = trend
        .runs
        .iter()
        .map(|run| json!({"from": load(&run.start), "to": load(&(run.end - 1)), "cycles": run.len()}));
    json!({
        "programme": trend.programme,
        "measured": trend.measured.name(),
        "unit": trend.measured.unit(),
        "needed": trend.needed,
        "limits": trend.chart.map(|chart| {
            json!({"mean": chart.mean, "low": chart.low, "high": chart.high, "moving_range": chart.moving_range})
        }),
        "points": points.collect::<Vec<_>>(),
        "outside": trend.outside.iter().map(load).collect::<Vec<_>>(),
        "runs": runs.collect::<Vec<_>>(),
        "drifts": trend.drifts(),
    })
}

pub async fn get(
    caller: Caller,
    Path((_, machine)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found =
        state.machines.get(machine.as_str()).ok_or_else(|| Problem::unknown_thing("machine", &machine))?;
    let loads = last_loads(&state, found);
    let verdicts = caller.app.house.verdicts(&state.site, loads.into_iter()).await?;
    Ok(ok(&told(&state, found, &verdicts, now)))
}

pub async fn list(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let (state, now) = caller.state().await?;
    let page: Vec<_> = super::behind(&state.machines, after.as_deref())
        .map(|(_, machine)| machine)
        .take(limit + 1)
        .collect();
    let loads: Vec<&Load> = page.iter().flat_map(|machine| last_loads(&state, machine)).collect();
    let verdicts = caller.app.house.verdicts(&state.site, loads.into_iter()).await?;
    let told = page.into_iter().map(|it| (it.machine.to_string(), told(&state, it, &verdicts, now)));
    Ok(ok(&super::listed(told, limit)))
}
