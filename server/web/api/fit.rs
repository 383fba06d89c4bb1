//! Whether parts fit together: the set-up sheet of a case, and a configuration judged without recording anything.

use axum::body::Bytes;
use axum::extract::Path;
use axum::response::Response;
use serde::Deserialize;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::{Params, asked_in};
use crate::domain::case::Technique;
use crate::domain::command::wrong;
use crate::domain::configuration::Configuration;
use crate::domain::fit_judge::{Setting, judge};
use crate::domain::fit_layout::lay_out;
use crate::domain::fit_lost::not_had;
use crate::domain::fit_sheet::set_up_sheet;
use crate::domain::id::Id;

/// The set-up sheet of a case: what was chosen, the best that could be, and what lies beside it.
pub async fn sheet(
    caller: Caller,
    Path((_, case)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found = state.cases.get(case.as_str()).ok_or_else(|| Problem::unknown_thing("case", &case))?.clone();
    let house = state.clone();
    // A large house takes a while to search: others are answered meanwhile.
    let searched = tokio::task::spawn_blocking(move || json!(set_up_sheet(&house, &found, now)));
    let mut told = searched.await.map_err(|_| Problem::too_many())?;
    told["entry"] = state.seq.into();
    Ok(ok(&told))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    configuration: Configuration,
    /// For this case: with its technique and its time.
    #[serde(default)]
    case: Option<Id>,
    /// For this technique instead.
    #[serde(default)]
    technique: Option<Technique>,
}

/// Judges a configuration as it is given. Nothing is recorded.
pub async fn post(caller: Caller, params: Params, body: Bytes) -> Result<Response, Problem> {
    params.done()?;
    let value = asked_in(&body)?;
    let asked: Asked =
        crate::domain::command::read_form(value).map_err(|error| Problem::malformed(&[error]))?;
    asked.configuration.whole("/configuration").map_err(|error| Problem::malformed(&[error]))?;
    let (state, now) = caller.state().await?;
    let case = match &asked.case {
        Some(id) => Some(state.cases.get(id).ok_or_else(|| Problem::unknown_thing("case", id.as_str()))?),
        None => None,
    };
    let technique = asked.technique.or_else(|| case.and_then(|case| case.technique));
    let setting = Setting { state: &state, now, technique, case: case.map(|case| &**case) };
    let layout = lay_out(&state, &asked.configuration).map_err(|problems| {
        let told: Vec<_> = problems.iter().map(|problem| wrong("/configuration", problem.detail())).collect();
        Problem::malformed(&told)
    })?;
    let mut fit = judge(&setting, &layout);
    for check in not_had(&setting, &fit) {
        fit.sentence = format!("{} {}", fit.sentence, check.sentence);
        fit.checks.push(check);
    }
    // The worst first, as the rules are told.
    fit.checks.sort_by_key(|check| std::cmp::Reverse(check.verdict));
    let mut told = json!(fit);
    told["configuration"] = json!(Configuration::of(&layout));
    told["entry"] = state.seq.into();
    Ok(ok(&told))
}
