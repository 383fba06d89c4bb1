//! What goes wrong below `/fhir` is told as FHIR tells it, wherever it came from: a handler, the door, or the router.

use axum::extract::Request;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use super::super::super::problem::Problem;
use crate::formats::fhir::outcome::{IssueType, OperationOutcome};
use crate::formats::fhir::{Concept, MEDIA_TYPE, Resource};

/// The system of this program's own codes of refusals.
const CODES: &str = "urn:fettle:problem";

pub fn json(status: StatusCode, value: &Value) -> Response {
    let mut response = (status, value.to_string()).into_response();
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(MEDIA_TYPE));
    response
}

/// Whether an address lies below a site's `/fhir`.
fn is_below(path: &str) -> bool {
    let mut parts = path.split('/').skip(1);
    parts.next() == Some("api")
        && parts.next() == Some("v1")
        && parts.next().is_some()
        && parts.next() == Some("fhir")
}

/// Puts every failure below `/fhir` into an OperationOutcome; its other headers stay.
pub async fn told(request: Request, next: Next) -> Response {
    if !is_below(request.uri().path()) {
        return next.run(request).await;
    }
    let response = next.run(request).await;
    if !(response.status().is_client_error() || response.status().is_server_error()) {
        return response;
    }
    let status = response.status();
    let outcome = json!(Resource::OperationOutcome(of(status, response.extensions().get::<Problem>())));
    let mut told = json(status, &outcome);
    for name in [header::WWW_AUTHENTICATE, header::RETRY_AFTER, header::ALLOW] {
        if let Some(value) = response.headers().get(&name) {
            told.headers_mut().insert(name, value.clone());
        }
    }
    told
}

fn of(status: StatusCode, problem: Option<&Problem>) -> OperationOutcome {
    let member = |name: &str| problem.and_then(|it| it.members.get(name)).and_then(Value::as_str);
    let code = member("code");
    let words = status.canonical_reason().unwrap_or("Failed");
    let diagnostics = member("detail").unwrap_or(words).to_owned();
    let details = code.map(|code| Concept::code(CODES, code).with_text(member("title").unwrap_or(words)));
    OperationOutcome::of(issue(status, code), details, diagnostics)
}

fn issue(status: StatusCode, code: Option<&str>) -> IssueType {
    match (code, status) {
        (Some("malformed"), _) => IssueType::Value,
        (Some("code_invalid"), _) => IssueType::CodeInvalid,
        (Some("not_supported" | "not_allowed" | "not_acceptable"), _) => IssueType::NotSupported,
        (Some("database_unavailable"), _) => IssueType::Transient,
        (_, StatusCode::UNAUTHORIZED) => IssueType::Login,
        (_, StatusCode::FORBIDDEN) => IssueType::Forbidden,
        (_, StatusCode::NOT_FOUND) => IssueType::NotFound,
        (
            _,
            StatusCode::METHOD_NOT_ALLOWED | StatusCode::NOT_ACCEPTABLE | StatusCode::UNSUPPORTED_MEDIA_TYPE,
        ) => IssueType::NotSupported,
        (_, StatusCode::PAYLOAD_TOO_LARGE) => IssueType::TooLong,
        (_, StatusCode::TOO_MANY_REQUESTS) => IssueType::Throttled,
        (_, StatusCode::SERVICE_UNAVAILABLE) => IssueType::Timeout,
        (_, status) if status.is_server_error() => IssueType::Exception,
        _ => IssueType::Processing,
    }
}
