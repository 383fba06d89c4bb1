//! A cycle record as a file or as pasted text, and the record again as it came.

use axum::extract::multipart::Multipart;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::api::command::read;
use super::form::{Fields, command, submit_read};
use super::visitor::Visitor;
use super::{App, fail};
use crate::domain::command::{Act, Command, Load, Malformed};
use crate::domain::verdict::Evidence;

/// What an upload's parts hold: fields, and the bytes of the record as they came.
pub struct Parts {
    pub fields: Fields,
    pub record: Option<Vec<u8>>,
    /// The record came as a file, not as pasted text.
    pub file: bool,
}

/// Reads the parts of an upload: fields of a form, a file `record`, and the same as pasted `text`. A file outranks text.
///
/// # Errors
/// An answer that says that it was too large, or broke off.
#[allow(clippy::result_large_err)] // A response is what the caller answers with.
pub async fn parts(mut upload: Multipart) -> Result<Parts, Response> {
    let mut all = Parts { fields: Vec::new(), record: None, file: false };
    loop {
        let part = match upload.next_field().await {
            Ok(Some(part)) => part,
            Ok(None) => return Ok(all),
            Err(_) => return Err(too_large()),
        };
        let name = part.name().unwrap_or_default().to_string();
        // A file that was chosen is judged though it is empty: the reader of records says so.
        let chosen = part.file_name().is_some_and(|name| !name.is_empty());
        let Ok(bytes) = part.bytes().await else {
            return Err(too_large());
        };
        let blank = bytes.iter().all(u8::is_ascii_whitespace) && !chosen;
        match name.as_str() {
            "record" if !blank => (all.record, all.file) = (Some(bytes.into()), true),
            "text" if !blank && !all.file => all.record = Some(bytes.into()),
            "record" | "text" => {}
            _ => all.fields.push((name, String::from_utf8_lossy(&bytes).into_owned())),
        }
    }
}

/// Judges a load by the record of an upload.
pub async fn post(
    State(app): State<App>,
    visitor: Visitor,
    Path(load): Path<String>,
    upload: Multipart,
) -> Response {
    let given = match parts(upload).await {
        Ok(given) => given,
        Err(answer) => return answer,
    };
    let mut fields: Fields = vec![
        ("do".into(), "judge_load".into()),
        ("load".into(), load.clone()),
        ("back".into(), format!("/loads/{load}")),
    ];
    let own = |(name, _): &(String, String)| matches!(name.as_str(), "csrf" | "ambient_kpa");
    fields.extend(given.fields.into_iter().filter(own));
    let shown = match (&given.record, given.file) {
        // A file is evidence: it is not shown in a form again to be changed there, but chosen again.
        (Some(bytes), false) => {
            let text = ("record".to_string(), String::from_utf8_lossy(bytes).into_owned());
            fields.iter().cloned().chain([text]).collect()
        }
        _ => fields.clone(),
    };
    let asked = judge(&fields, &visitor, given.record);
    submit_read(&app, &visitor, &shown, asked).await
}

/// The command, with the record's bytes as they came: the fields of a form are trimmed, a record is not.
fn judge(fields: &Fields, visitor: &Visitor, record: Option<Vec<u8>>) -> Result<Command, Vec<Malformed>> {
    let mut fields = fields.clone();
    if record.is_some() {
        // It stands here until its bytes do.
        fields.push(("record".into(), "record".into()));
    }
    let mut asked = command(&fields, visitor.state.zone).and_then(read)?;
    if let (Act::Load(Load::Judge(judge)), Some(bytes)) = (&mut asked.act, record) {
        judge.take_file(bytes);
    }
    Ok(asked)
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
        // A browser that was told another encoding would show other text than the file has.
        Ok(Some(raw)) => match std::str::from_utf8(&raw) {
            _ if raw.starts_with(&[0xff, 0xfe]) || raw.starts_with(&[0xfe, 0xff]) => {
                ([(header::CONTENT_TYPE, "text/csv; charset=utf-16")], raw).into_response()
            }
            // UTF-16 without a mark: its machine's form says which, and the browser keeps the file as it is.
            _ if raw.contains(&0) => {
                ([(header::CONTENT_TYPE, "application/octet-stream")], raw).into_response()
            }
            Ok(_) => ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], raw).into_response(),
            Err(_) => ([(header::CONTENT_TYPE, "text/csv; charset=windows-1252")], raw).into_response(),
        },
        Ok(None) => fail::nothing_here(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}
