//! A sample file tried with a record form; and what waits in the folder of records.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::Path;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::command::{Malformed, read_form, wrong};
use crate::domain::dry_run::{DryRun, dry_run};
use crate::domain::id::Id;
use crate::domain::record::{Taken, Unreadable};
use crate::domain::record_form::check;
use crate::domain::time::Time;
use crate::domain::verdict::as_numbers;
use crate::formats::form::Form;
use crate::formats::json::cleaned;
use crate::formats::record::RecordError;

/// So many of the first samples are shown.
pub const SAMPLES_SHOWN: usize = 20;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    /// The machine's own where it is left out; only the plain form where it is null.
    #[serde(default, deserialize_with = "given")]
    form: Option<Option<Form>>,
    record: String,
    #[serde(default)]
    programme: Option<Id>,
}

fn given<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Option<Option<Form>>, D::Error> {
    Option::deserialize(from).map(Some)
}

pub async fn attempt(
    caller: Caller,
    Path((_, machine)): Path<(String, String)>,
    params: Params,
    body: Bytes,
) -> Result<Response, Problem> {
    params.done()?;
    let _place = caller.app.places.try_acquire().map_err(|_| Problem::too_many())?;
    let (state, _) = caller.state().await?;
    let found = state.machines.get(machine.as_str()).cloned();
    let found = found.ok_or_else(|| Problem::unknown_thing("machine", &machine))?;
    let asked = read(&body).map_err(|wrong| Problem::malformed(&[wrong]))?;
    let form = match asked.form {
        None => found.form.clone(),
        Some(None) => None,
        Some(Some(form)) => {
            check(&form, "/form").map_err(|wrong| Problem::malformed(&[wrong]))?;
            Some(Arc::new(form.in_zone(state.zone)))
        }
    };
    let programme = match &asked.programme {
        None => None,
        Some(name) => {
            let known = found.programmes.iter().find(|it| it.programme == *name).cloned();
            Some(known.ok_or_else(|| Problem::unknown_thing("programme of that machine", name.as_str()))?)
        }
    };
    let kind = found.kind;
    let tried = tokio::task::spawn_blocking(move || {
        let run = dry_run(kind, form.as_ref(), programme.as_deref(), asked.record.as_bytes());
        told(&run)
    });
    let told = tried.await.map_err(|_| Problem::too_many())?;
    Ok(ok(&told))
}

fn read(body: &[u8]) -> Result<Asked, Malformed> {
    let value: Value =
        serde_json::from_slice(body).map_err(|error| wrong("", format!("found no JSON: {error}")))?;
    let zero = |pointer: String| wrong(pointer, "found the character U+0000; text without it is needed");
    read_form(cleaned(value, &["record"]).map_err(zero)?)
}

/// The answer to a dry run: what was read, and what would be said of it.
fn told(run: &DryRun) -> Value {
    let mut all = match &run.taken {
        Ok(taken) => told_record(taken),
        Err(unreadable) => json!({"read": false, "by": null, "errors": errors(unreadable)}),
    };
    all["verdict"] = match &run.judged {
        Some(Ok(judgement)) => as_numbers(&judgement.answer),
        _ => Value::Null,
    };
    if let Some(Err(malformed)) = &run.judged {
        all["errors"] = json!([{"detail": malformed.detail}]);
    }
    all
}

fn errors(unreadable: &Unreadable) -> Value {
    let one = |by: &str, error: &RecordError| {
        json!({"by": by, "line": error.line, "column": error.column, "found": error.found, "needed": error.needed,
               "detail": error.to_string()})
    };
    let by_form = unreadable.by_form.as_ref().map(|error| one("form", error));
    by_form.into_iter().chain([one("plain", &unreadable.plain)]).collect()
}

fn told_record(taken: &Taken) -> Value {
    let record = &taken.record;
    let time = |us: Option<i64>| us.map(|us| Time(us).to_string());
    let rows = record.time_s.iter().enumerate().take(SAMPLES_SHOWN).map(|(i, time_s)| {
        let mut row = json!({"time_s": time_s});
        for channel in &record.channels {
            row[&channel.name] = json!(channel.temp_c.get(i));
        }
        if let Some(pressure) = &record.pressure_kpa_abs {
            row["pressure_kpa_abs"] = json!(pressure.get(i));
        }
        row
    });
    let said =
        |it: &Option<(String, u64)>| it.as_ref().map(|(text, line)| json!({"found": text, "line": line}));
    json!({
        "read": true,
        "by": if taken.form.is_some() { "form" } else { "plain" },
        "errors": [],
        "warnings": taken.warnings.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "cycle_no": said(&taken.said.cycle_no),
        "machine": said(&taken.said.machine),
        "samples": record.time_s.len(),
        "span_s": record.time_s.last().zip(record.time_s.first()).map(|(last, first)| last - first),
        "started_at": time(record.started_us),
        "ended_at": time(record.ended_us),
        "channels": record.channels.iter().map(|channel| &channel.name).collect::<Vec<_>>(),
        "has_pressure": record.pressure_kpa_abs.is_some(),
        "rows": rows.collect::<Vec<_>>(),
    })
}

/// What waits in the folder of records, by machine and file.
pub async fn waiting(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let waiting = caller.app.house.records.of(&caller.site).into_iter();
    let rows = waiting.map(|it| (format!("{}/{}", it.machine, it.file), it));
    let rest = rows.filter(|(cursor, _)| after.as_ref().is_none_or(|after| cursor > after));
    let told = rest.map(|(cursor, it)| {
        let row = json!({"machine": it.machine, "file": it.file, "bytes": it.bytes, "since": it.since,
                         "reason": it.reason});
        (cursor, row)
    });
    Ok(ok(&super::listed(told, limit)))
}
