//! Queries about models, and the check of models before they are defined. The check records nothing.

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
use crate::domain::coupled::{Coupled, coupled};
use crate::domain::id::Id;
use crate::domain::model::Model;
use crate::domain::model_table::{self, Checked};
use crate::domain::sizes;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::formats::table::Fault;

fn told(state: &State, model: &Model, _now: Time) -> Value {
    let parts = state.assets.values().filter(|part| part.model == model.model).count();
    let looked = sizes::look(model, &sizes::Known::of(state));
    let doubts = looked
        .wrong
        .iter()
        .chain(&looked.doubts)
        .chain(&sizes::lacks(model))
        .map(sizes::Point::doubt)
        .collect::<Vec<_>>();
    let all = coupled(state, model);
    let other = |it: &Coupled| json!({"end": it.end, "system": it.system, "model": it.model, "its_end": it.its_end, "its_system": it.its_system});
    let mut whole = serde_json::to_value(model).unwrap_or_default();
    if let Some(fields) = whole.as_object_mut() {
        fields.insert("parts".into(), parts.into());
        fields.insert("doubts".into(), json!(doubts));
        fields.insert("couples_to".into(), all.iter().filter(|it| it.same).map(other).collect());
        fields.insert("by_name_only".into(), all.iter().filter(|it| !it.same).map(other).collect());
    }
    whole
}

pub async fn get(
    caller: Caller,
    Path((_, model)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let found = state.models.get(model.as_str()).ok_or_else(|| Problem::unknown_thing("model", &model))?;
    Ok(ok(&told(&state, found, now)))
}

pub async fn list(caller: Caller, params: Params) -> Result<Response, Problem> {
    super::paged(caller, params, |state| &state.models, |state, it, now| Some(told(state, it, now))).await
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    table: String,
    /// For lines that name no route.
    #[serde(default)]
    route: Option<Id>,
}

/// Checks a table of models as somebody would paste it.
pub async fn check(caller: Caller, params: Params, body: Bytes) -> Result<Response, Problem> {
    params.done()?;
    let _place = caller.app.places.try_acquire().map_err(|_| Problem::too_many())?;
    let (state, _) = caller.state().await?;
    let asked = read(&body).map_err(|wrong| Problem::malformed(&[wrong]))?;
    let checked = tokio::task::spawn_blocking(move || {
        model_table::check(&state, &asked.table, asked.route.as_ref().map(Id::as_str))
    });
    let checked = checked.await.map_err(|_| Problem::too_many())?;
    Ok(ok(&answer(&checked)))
}

fn read(body: &[u8]) -> Result<Asked, Malformed> {
    let value: Value =
        serde_json::from_slice(body).map_err(|error| wrong("", format!("found no JSON: {error}")))?;
    read_form(value)
}

fn answer(checked: &Checked) -> Value {
    let fault =
        |it: &Fault| json!({"line": it.line, "column": it.column, "found": it.found, "needed": it.needed});
    let lines = checked.lines.iter().map(|it| {
        json!({"line": it.line, "model": it.model.model, "change": it.change.name(), "command": it.command})
    });
    json!({
        "may_save": checked.faults.is_empty(),
        "lines": lines.collect::<Vec<_>>(),
        "errors": checked.faults.iter().map(fault).collect::<Vec<_>>(),
        "doubts": checked.doubts.iter().map(fault).collect::<Vec<_>>(),
    })
}
