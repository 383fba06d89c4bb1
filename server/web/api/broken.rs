//! Broken packs, counted by reason in a window of time.

use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::broken::report;
use crate::domain::command::wrong;
use crate::domain::time::Time;

/// So far back where nobody says from when.
const USUAL_DAYS: i64 = 30;

pub(super) fn time(params: &mut Params, name: &str) -> Result<Option<Time>, Problem> {
    let Some(text) = params.take(name)? else { return Ok(None) };
    let unfit = || {
        Problem::malformed(&[wrong(format!("?{name}"), "found no time; RFC 3339 with an offset is needed")])
    };
    Time::parse(&text).map(Some).ok_or_else(unfit)
}

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (from, to) = (time(&mut params, "from")?, time(&mut params, "to")?);
    params.done()?;
    let (state, now) = caller.state().await?;
    // Up to and without a moment: what happened just now is among them.
    let to = to.unwrap_or(now.plus_s(1));
    let from = from.unwrap_or_else(|| to.plus_minutes(-USUAL_DAYS * 24 * 60));
    if from > to {
        return Err(Problem::malformed(&[wrong("?from", "found a beginning after the end")]));
    }
    let report = report(&state, from, to);
    Ok(ok(&json!({
        "from": report.from,
        "to": report.to,
        "broken": report.all.all,
        "why": report.all.why,
        "machines": report.machines,
        "shelves": report.shelves,
        "packagings": report.packagings,
        "packs": report.packs,
        "entry": state.seq,
    })))
}
