//! Refusals and failures as problem+json (RFC 9457).

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value, json};

use crate::app::house::{Outcome, Unavailable};
use crate::domain::command::Malformed;
use crate::domain::deciding::Turned;
use crate::domain::refusal::{Problem as Reason, Refusal};

/// An answer that is no success: a status and the members of its document.
#[derive(Clone, Debug)]
pub struct Problem {
    pub status: StatusCode,
    pub members: Map<String, Value>,
}

impl Problem {
    pub fn new(status: StatusCode, code: &str, title: &str, detail: impl Into<String>) -> Problem {
        let mut members = Map::new();
        members.insert("type".into(), format!("urn:fettle:{code}").into());
        members.insert("title".into(), title.into());
        members.insert("status".into(), status.as_u16().into());
        members.insert("code".into(), code.into());
        members.insert("detail".into(), detail.into().into());
        Problem { status, members }
    }

    fn with(mut self, name: &str, value: Value) -> Problem {
        self.members.insert(name.into(), value);
        self
    }

    pub fn not_signed_in() -> Problem {
        let detail =
            "No token, or one that is unknown or revoked. Send a token of this site as a bearer token.";
        Problem::new(StatusCode::UNAUTHORIZED, "not_signed_in", "Not signed in", detail)
    }

    pub fn not_your_role(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::FORBIDDEN, "not_your_role", "Not for this role", detail)
    }

    pub fn unknown_site(site: &str) -> Problem {
        let detail = format!("There is no site \"{site}\" here.");
        Problem::new(StatusCode::NOT_FOUND, "unknown_site", "Unknown site", detail)
    }

    pub fn unknown_thing(kind: &str, name: &str) -> Problem {
        let detail = format!("No {kind} is named \"{name}\" at this site.");
        Problem::new(StatusCode::NOT_FOUND, "unknown_thing", "Nothing here has that name", detail)
    }

    pub fn too_large(limit: usize) -> Problem {
        let detail = format!("The body is larger than the limit of {limit} bytes.");
        Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "too_large", "Too large", detail)
            .with("limit", limit.into())
    }

    pub fn too_many() -> Problem {
        let detail = "Too many requests at once. Try again in a second.";
        Problem::new(StatusCode::TOO_MANY_REQUESTS, "too_many", "Too many", detail)
    }

    pub fn malformed(errors: &[Malformed]) -> Problem {
        let told = |it: &Malformed| match it.pointer.as_str() {
            "" => it.detail.clone(),
            pointer => format!("{pointer}: {}", it.detail),
        };
        let first = errors.first().map(told).unwrap_or_default();
        let errors = errors.iter().map(|it| json!({"pointer": it.pointer, "detail": it.detail})).collect();
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "malformed", "Not readable", first)
            .with("errors", Value::Array(errors))
    }

    pub fn key_reused() -> Problem {
        let detail = "This key is known at this site with another command, or from somebody else. A new command \
                      needs a new key.";
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "key_reused", "Key used before", detail)
    }

    pub fn unavailable(it: &Unavailable) -> Problem {
        let detail = "The database does not answer. Nothing was written; try again.";
        Problem::new(StatusCode::SERVICE_UNAVAILABLE, "database_unavailable", "Database unavailable", detail)
            .with("operation", it.operation.clone().into())
    }

    pub fn refused(refusal: &Refusal) -> Problem {
        let first = &refusal.first;
        let reason = |it: &Reason| json!({"code": it.code, "found": it.found, "needed": it.needed, "next": it.next, "remedy": it.remedy});
        let mut problem =
            Problem::new(StatusCode::CONFLICT, first.code.name(), first.code.title(), first.detail())
                .with("found", first.found.clone().into())
                .with("needed", first.needed.clone().into())
                .with("next", first.next.clone().into())
                .with("also", json!(refusal.also()))
                .with("reasons", refusal.reasons().map(reason).collect());
        if let Some(remedy) = refusal.reasons().find_map(|it| it.remedy.clone()) {
            problem = problem.with("remedy", remedy);
        }
        problem
    }

    /// What an outcome says where it is no success.
    pub fn of(outcome: &Outcome, site: &str) -> Option<Problem> {
        Some(match outcome {
            Outcome::Accepted(_) => return None,
            Outcome::Turned(Turned::Refused(refusal)) => Problem::refused(refusal),
            Outcome::Turned(Turned::Malformed(errors)) => Problem::malformed(errors),
            Outcome::Turned(Turned::NotYourRole) => {
                Problem::not_your_role("This command is not for the role that asks.")
            }
            Outcome::KeyReused => Problem::key_reused(),
            Outcome::UnknownSite => Problem::unknown_site(site),
            Outcome::Unavailable(it) => Problem::unavailable(it),
        })
    }
}

impl From<Unavailable> for Problem {
    fn from(it: Unavailable) -> Problem {
        Problem::unavailable(&it)
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let body = serde_json::to_string(&self.members).unwrap_or_default();
        let mut response = (self.status, body).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if self.status == StatusCode::UNAUTHORIZED {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        if self.status == StatusCode::TOO_MANY_REQUESTS || self.status == StatusCode::SERVICE_UNAVAILABLE {
            headers.insert(header::RETRY_AFTER, HeaderValue::from_static("1"));
        }
        // Whoever tells it in another form than this finds it here.
        response.extensions_mut().insert(self);
        response
    }
}
