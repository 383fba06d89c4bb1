//! The published programmes that a new site may begin with.

use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::starter::PUBLISHED;

pub async fn get(caller: Caller, params: Params) -> Result<Response, Problem> {
    params.done()?;
    caller.state().await?;
    let items: Vec<Value> = PUBLISHED
        .iter()
        .filter_map(|it| {
            let programme = it.programme()?;
            Some(json!({"about": it.about, "kind": it.kind, "source": it.source, "checked": it.checked,
                        "programme": programme}))
        })
        .collect();
    Ok(ok(&json!({"items": items, "next": null,
                  "caution": "The maker's instructions and the machine's validation decide."})))
}
