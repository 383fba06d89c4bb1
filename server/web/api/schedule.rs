//! What the schedule brought that a person has to look at, and what its procedures need.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use super::{ok, paged};
use crate::domain::id::Id;
use crate::domain::procedure::offered;
use crate::domain::schedule_line::ScheduleLine;

/// A line as the API tells it. The message itself is read by itself, and each reading is logged.
fn told(it: &ScheduleLine) -> Value {
    let kept = &it.kept;
    json!({
        "line": kept.line,
        "trigger": kept.trigger,
        "control_id": kept.control_id,
        "schedule": kept.schedule,
        "case": kept.case,
        "why": kept.why,
        "answered": kept.answered,
        "at": it.at,
        "entry": it.entry,
        "settled": it.settled,
        "message": !it.erased,
    })
}

/// The lines by their names; `open=true` those alone that nobody has settled.
pub async fn list(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let open = params.flag("open")?;
    paged(
        caller,
        params,
        |state| &state.schedule_lines,
        |_, it, _| (!open || it.settled.is_none()).then(|| told(it)),
    )
    .await
}

fn known(line: &str) -> Problem {
    Problem::unknown_thing("line of the schedule", line)
}

pub async fn get(
    caller: Caller,
    Path((_, line)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    let found = Id::new(&line).and_then(|id| state.schedule_lines.get(&id));
    Ok(ok(&told(found.ok_or_else(|| known(&line))?)))
}

/// The message of a line, less what names people but by their numbers. Each reading is logged.
pub async fn message(
    caller: Caller,
    Path((_, line)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    let found = Id::new(&line).and_then(|id| state.schedule_lines.get(&id)).ok_or_else(|| known(&line))?;
    let message = caller.app.house.schedule_message(&caller.site, found, &caller.actor).await?;
    Ok(ok(&json!({"line": found.kept.line, "message": message})))
}

/// What procedures need, with the cases that would get something else by it now.
pub async fn procedures(caller: Caller, params: Params) -> Result<Response, Problem> {
    paged(
        caller,
        params,
        |state| &state.procedures,
        |state, it, _| {
            let code = &it.mapped.code;
            let of_code = |codes: &[crate::domain::schedule::Coded]| codes.iter().any(|it| it.code == *code);
            let open = state.open_cases().filter(|case| case.schedule.as_ref().is_some_and(|of| of_code(of.codes())));
            let offered: Vec<Id> = open.filter_map(|case| Some(offered(state, case)?.case)).collect();
            let mapped = &it.mapped;
            (!mapped.forget).then(|| {
                json!({"code": code, "name": mapped.name, "needs": mapped.needs, "technique": mapped.technique,
                       "minutes": mapped.minutes, "at": it.at, "by": it.by, "entry": it.entry, "offered": offered})
            })
        },
    )
    .await
}
