//! Pictures and scans: stored, given back, sent along with the readings of a load, and added to a defect report.

use axum::extract::multipart::{Field, Multipart};
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::Value;

use super::form::{Fields, submit};
use super::visitor::Visitor;
use super::{App, fail};
use crate::app::attachment::{ATTACHMENT_MOST, Attachment, Kept};
use crate::domain::model::Model;
use crate::formats::attachment::Kind;

/// The field of the picture.
const PICTURE: &str = "picture";
/// A field that is no picture has at most this many bytes.
const FIELD_MOST: usize = 64 * 1024;

/// The largest attachment in MiB, as a page tells it.
pub const MOST_MIB: usize = ATTACHMENT_MOST / (1024 * 1024);

/// Reads a part of an upload, and stops where it is larger than it may be.
async fn read(mut part: Field<'_>, most: usize) -> Option<Vec<u8>> {
    let mut all = Vec::new();
    loop {
        match part.chunk().await {
            Ok(Some(chunk)) if all.len() + chunk.len() <= most => all.extend_from_slice(&chunk),
            Ok(None) => return Some(all),
            Ok(Some(_)) | Err(_) => return None,
        }
    }
}

/// Takes the readings of a load's printout with its picture: the picture is kept first, then the readings name it.
pub async fn readings(
    State(app): State<App>,
    visitor: Visitor,
    Path(load): Path<String>,
    parts: Multipart,
) -> Response {
    let fields = vec![
        ("do".into(), "judge_load".into()),
        ("load".into(), load.clone()),
        ("back".into(), format!("/loads/{}", super::pages::shared::segment(&load))),
    ];
    let takes = |name: &str| name == "csrf" || name.starts_with("readings.");
    named(&app, &visitor, parts, Form { fields, takes, names: "readings.photo", is_needed: false }).await
}

/// Takes a picture of a defect: it is kept first, then the report names it.
pub async fn picture(
    State(app): State<App>,
    visitor: Visitor,
    Path(finding): Path<String>,
    parts: Multipart,
) -> Response {
    let fields = vec![("do".into(), "add_photo".into()), ("finding".into(), finding)];
    let takes = |name: &str| matches!(name, "csrf" | "back");
    named(&app, &visitor, parts, Form { fields, takes, names: "photo", is_needed: true }).await
}

/// Takes the house's own picture of a model: it is kept first, then the model is defined again with it.
pub async fn model(State(app): State<App>, visitor: Visitor, parts: Multipart) -> Response {
    let takes = |name: &str| matches!(name, "csrf" | "back" | "model");
    let Some((given, picture)) = gathered(parts, takes).await else { return too_large() };
    let (named, mut fields): (Fields, Fields) = given.into_iter().partition(|(name, _)| name == "model");
    let code = named.first().map_or("", |(_, code)| code.trim());
    let Some(found) = visitor.state.models.get(code) else {
        return super::pages::problem::not_found("model", code, "/catalogue#models", "The catalogue");
    };
    fields.push(("do".into(), "define_model".into()));
    fields.extend(as_fields(found));
    kept(&app, &visitor, fields, picture, ("assembly.photo", true)).await
}

/// A model as the fields of a form that defines it again.
fn as_fields(model: &Model) -> Fields {
    let Ok(Value::Object(all)) = serde_json::to_value(model) else { return Fields::new() };
    let field = |(name, value): (String, Value)| match value {
        Value::String(text) => (name, text),
        other => (format!("{name}:json"), other.to_string()),
    };
    all.into_iter().map(field).collect()
}

/// A form with a picture.
struct Form<T> {
    /// What it says beside its own fields.
    fields: Fields,
    /// Which of its own fields are read.
    takes: T,
    /// The field of the command that names the picture.
    names: &'static str,
    /// Without a picture there is nothing to record, and a document is none.
    is_needed: bool,
}

/// Keeps a form's picture, then gives its command, which names it.
async fn named<T: Fn(&str) -> bool>(
    app: &App,
    visitor: &Visitor,
    parts: Multipart,
    form: Form<T>,
) -> Response {
    let Form { mut fields, takes, names, is_needed } = form;
    let Some((given, picture)) = gathered(parts, takes).await else { return too_large() };
    fields.extend(given);
    kept(app, visitor, fields, picture, (names, is_needed)).await
}

/// The fields of a form that are read, and its picture; nothing where the upload broke off or is too large.
async fn gathered(mut parts: Multipart, takes: impl Fn(&str) -> bool) -> Option<(Fields, Vec<u8>)> {
    let (mut fields, mut picture) = (Fields::new(), Vec::new());
    loop {
        let part = match parts.next_field().await {
            Ok(Some(part)) => part,
            Ok(None) => return Some((fields, picture)),
            Err(_) => return None,
        };
        let name = part.name().unwrap_or_default().to_string();
        let most = if name == PICTURE { ATTACHMENT_MOST } else { FIELD_MOST };
        let bytes = read(part, most).await?;
        if name == PICTURE {
            picture = bytes;
        } else if takes(&name) {
            fields.push((name, String::from_utf8_lossy(&bytes).into_owned()));
        }
    }
}

/// Keeps the picture, and submits the command whose field names it.
async fn kept(
    app: &App,
    visitor: &Visitor,
    mut fields: Fields,
    picture: Vec<u8>,
    (names, is_needed): (&str, bool),
) -> Response {
    let csrf = fields.iter().find(|(name, _)| name == "csrf").map_or("", |(_, value)| value.as_str());
    // A form of another session keeps nothing, not even its picture.
    if (is_needed || !picture.is_empty()) && visitor.owns(csrf) {
        if is_needed && Kind::of(&picture).is_some_and(|kind| !kind.is_picture()) {
            return no_picture();
        }
        match app.house.keep_attachment(&visitor.state.site, &visitor.actor, picture).await {
            Ok(Kept::Kept { sha256, .. }) => fields.push((names.into(), sha256)),
            Ok(Kept::NoKnownKind) => return no_known_kind(),
            Ok(Kept::TooLarge) => return too_large(),
            Err(gone) => return fail::unavailable(&gone.operation),
        }
    }
    submit(app, visitor, fields).await
}

fn too_large() -> Response {
    let detail = format!(
        "The upload broke off, or the picture is larger than the limit of {MOST_MIB} MiB. Nothing was recorded. \
         Send a smaller picture."
    );
    super::pages::problem::page(StatusCode::PAYLOAD_TOO_LARGE, "The picture was not taken.", &detail, "")
}

fn no_known_kind() -> Response {
    let detail = "The file is no JPEG, PNG, WebP or PDF, whatever its name says. Nothing was recorded. Send a \
                  picture or a scan of one of these kinds.";
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    super::pages::problem::page(status, "The picture was not taken.", detail, "")
}

fn no_picture() -> Response {
    let detail = "The file is a document. Nothing was recorded. Only pictures are taken here: send a PNG, JPEG or WebP.";
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    super::pages::problem::page(status, "The picture was not taken.", detail, "")
}

/// The bytes with the headers that keep them what they are: their own type, no guessing, nothing that runs.
pub fn served(sha256: &str, it: Attachment) -> Response {
    let shown = match it.kind {
        Kind::Jpeg | Kind::Png | Kind::WebP => "inline",
        Kind::Pdf => "attachment",
    };
    let start: String = sha256.chars().take(16).collect();
    let name = format!("{shown}; filename=\"{start}.{}\"", it.kind.ending());
    let mut response = it.raw.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(it.kind.media_type()));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static("default-src 'none'; sandbox; frame-ancestors 'none'"),
    );
    if let Ok(name) = HeaderValue::from_str(&name) {
        headers.insert(header::CONTENT_DISPOSITION, name);
    }
    response
}

/// A picture or a scan, to whoever is signed in at its site.
pub async fn get(State(app): State<App>, visitor: Visitor, Path(sha256): Path<String>) -> Response {
    match app.house.attachment(&visitor.state.site, &sha256).await {
        Ok(Some(found)) => served(&sha256, found),
        Ok(None) => fail::nothing_here(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}
