//! Lists by the API: the file's bytes as the body, tried or recorded.

use std::sync::Arc;

use axum::body::Body;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use crate::app::import::Written;
use crate::domain::command::{Malformed, read_form, wrong};
use crate::domain::import::{Chosen, Kind, Plan, Question, answer};
use crate::formats::grid::{BYTES_MOST, Charset, Refused};
use crate::formats::json::cleaned;

/// The length that a request tells of its body.
pub fn told_length(headers: &HeaderMap) -> Option<u64> {
    headers.get(header::CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse().ok())
}

fn unfit(name: &str, detail: impl Into<String>) -> Problem {
    Problem::malformed(&[Malformed { pointer: format!("?{name}"), detail: detail.into() }])
}

/// What the parameters say of the list, beside what was known of its kind before.
async fn chosen(caller: &Caller, kind: Kind, params: &mut Params) -> Result<Chosen, Problem> {
    let mut known = caller.app.house.kept_mapping(&caller.site, kind).await?;
    if let Some(text) = params.take("chosen")? {
        let value: Value = serde_json::from_str(&text)
            .map_err(|error| unfit("chosen", format!("found no JSON: {error}")))?;
        let value = cleaned(value, &[]).map_err(|at| unfit("chosen", format!("found U+0000 at {at}")))?;
        let said: Chosen =
            read_form(value).map_err(|it| unfit("chosen", format!("{}: {}", it.pointer, it.detail)))?;
        known.charset = said.charset.or(known.charset);
        known.decimal = said.decimal.or(known.decimal);
        known.columns.extend(said.columns);
        known.fixed.extend(said.fixed);
        known.dates.extend(said.dates);
    }
    if let Some(name) = params.take("charset")? {
        let all: Vec<&str> = Charset::ALL.iter().map(|it| it.name()).collect();
        let charset = Charset::named(&name);
        known.charset =
            Some(charset.ok_or_else(|| unfit("charset", format!("one of {} is needed", all.join(", "))))?);
    }
    Ok(known)
}

pub async fn post(
    caller: Caller,
    headers: HeaderMap,
    mut params: Params,
    body: Body,
) -> Result<Response, Problem> {
    let names: Vec<&str> = Kind::ALL.iter().map(|kind| kind.name()).collect();
    let needed = || unfit("kind", format!("one of {} is needed", names.join(", ")));
    let kind = params.take("kind")?.as_deref().and_then(Kind::named).ok_or_else(needed)?;
    let dry_run = match params.take("dry_run")?.as_deref() {
        None | Some("false") => false,
        Some("true") => true,
        Some(_) => return Err(unfit("dry_run", "true or false is needed")),
    };
    let chosen = chosen(&caller, kind, &mut params).await?;
    params.done()?;
    if told_length(&headers).is_some_and(|length| length > BYTES_MOST as u64) {
        return Err(Problem::too_large(BYTES_MOST));
    }
    let _place = caller.app.places.clone().try_acquire_owned().map_err(|_| Problem::too_many())?;
    let raw = axum::body::to_bytes(body, BYTES_MOST).await.map_err(|_| Problem::too_large(BYTES_MOST))?;
    let raw = Arc::new(raw.to_vec());
    let (state, _) = caller.state().await?;
    let house = caller.app.house.clone();
    let tried = house.try_list(&state, &caller.actor, kind, raw.clone(), chosen.clone()).await?;
    let mut tried = tried.map_err(|refused| unread(&refused))?;
    if dry_run {
        return Ok(super::ok(&answer(&tried.plan)));
    }
    // What was taken is finished, whatever becomes of the caller.
    let (site, actor) = (caller.site.clone(), caller.actor.clone());
    let recorded = tokio::spawn(async move {
        let written = house.record_list(&site, &actor, &raw, &mut tried, Arc::default()).await;
        if let Ok(Some(_)) = &written {
            house.keep_mapping(&site, kind, &chosen, &actor).await?;
        }
        written.map(|written| (written, tried.plan))
    });
    let (written, plan) = recorded.await.map_err(|_| Problem::too_many())??;
    match written {
        Some(written) => {
            let status = if written.entries == 0 { StatusCode::OK } else { StatusCode::CREATED };
            Ok(super::json(status, &recorded_as(kind, &written)))
        }
        None => Err(stands_against(&plan)),
    }
}

fn recorded_as(kind: Kind, it: &Written) -> Value {
    json!({"kind": kind.name(), "new": it.new, "changes": it.changes, "same": it.same, "entries": it.entries,
           "first": (it.entries > 0).then_some(it.first), "last": (it.entries > 0).then_some(it.last)})
}

fn unread(refused: &Refused) -> Problem {
    match refused {
        Refused::Fault(fault) => {
            let detail = format!("found {}; {}", fault.found, fault.needed);
            Problem::malformed(&[wrong(format!("/rows/{}", fault.line), detail)])
        }
        Refused::WhichCharset { suggested } => {
            let detail =
                format!("found bytes that are not UTF-8; charset is needed, such as {}", suggested.name());
            Problem::malformed(&[wrong("?charset", detail)])
        }
    }
}

/// Everything that stands against an import, each with its row and column.
fn stands_against(plan: &Plan) -> Problem {
    let asked = plan.questions.iter().map(|it| match it {
        Question::Dates { key, example, .. } => {
            wrong("?chosen", format!("found {example}, which may be two days; dates/{key} is needed"))
        }
        Question::Decimal { example, .. } => {
            wrong("?chosen", format!("found {example}, which may be two numbers; decimal is needed"))
        }
    });
    let faults = plan.faults.iter().map(|it| {
        let column = it.column.replace('~', "~0").replace('/', "~1");
        let column = if column.is_empty() { String::new() } else { format!("/{column}") };
        wrong(format!("/rows/{}{column}", it.line), format!("found {}; {}", it.found, it.needed))
    });
    let all: Vec<Malformed> = asked.chain(faults).collect();
    let mut problem = Problem::malformed(&all);
    problem.members.insert("tried".into(), answer(plan));
    problem
}
