//! A cycle record as a file or as pasted text, and the record again as it came.

use axum::extract::multipart::Multipart;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::form::{Fields, submit};
use super::visitor::Visitor;
use super::{App, fail};
use crate::domain::verdict::Evidence;

/// Takes the upload's parts as the fields of a `judge_load` form. A file outranks pasted text.
pub async fn post(
    State(app): State<App>,
    visitor: Visitor,
    Path(load): Path<String>,
    mut parts: Multipart,
) -> Response {
    let mut fields: Fields = vec![
        ("do".into(), "judge_load".into()),
        ("load".into(), load.clone()),
        ("back".into(), format!("/loads/{load}")),
    ];
    loop {
        let part = match parts.next_field().await {
            Ok(Some(part)) => part,
            Ok(None) => break,
            Err(_) => return too_large(),
        };
        let name = part.name().unwrap_or_default().to_string();
        let Ok(bytes) = part.bytes().await else {
            return too_large();
        };
        // What is no text is told as such by the reader of records, with the line.
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if matches!(name.as_str(), "csrf" | "record" | "ambient_kpa") && !text.trim().is_empty() {
            fields.retain(|(known, _)| *known != name || name == "csrf");
            fields.push((name, text));
        } else if matches!(name.as_str(), "text" | "pasted")
            && !fields.iter().any(|(known, _)| known == "record")
        {
            fields.push(("record".into(), text));
        }
    }
    submit(&app, &visitor, fields).await
}

fn too_large() -> Response {
    let limit = super::api::command::BODY_MOST / (1024 * 1024);
    let detail =
        format!("The upload broke off, or is larger than the limit of {limit} MiB. Nothing was recorded.");
    super::pages::problem::page(StatusCode::PAYLOAD_TOO_LARGE, "The record was not taken.", &detail, "")
}

/// The raw record of a load, whole, as it came.
pub async fn get(State(app): State<App>, visitor: Visitor, Path(load): Path<String>) -> Response {
    let Some(load) = visitor.state.loads.get(load.as_str()) else {
        return fail::nothing_here();
    };
    let judged = match app.house.verdict(&visitor.state.site, load).await {
        Ok(judged) => judged,
        Err(gone) => return fail::unavailable(&gone.operation),
    };
    let Some(Evidence::Record { sha256, .. }) = judged.as_ref().map(|judged| &judged.by) else {
        return fail::nothing_here();
    };
    match app.house.raw_record(&visitor.state.site, sha256).await {
        Ok(Some(raw)) => ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], raw).into_response(),
        Ok(None) => fail::nothing_here(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}
