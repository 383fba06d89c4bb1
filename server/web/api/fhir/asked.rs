//! What a request asks for, behind its question mark or in its body, and where the caller thinks that this server is.

use axum::Form;
use axum::body::to_bytes;
use axum::extract::{FromRequest, FromRequestParts, Query, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;

use super::super::super::App;
use super::super::super::problem::Problem;
use super::super::super::session;
use super::super::caller::Caller;
use crate::domain::command::Malformed;
use crate::formats::fhir::VERSION;
use crate::formats::fhir::capability::SearchParam;

pub struct Asked {
    pub pairs: Vec<(String, String)>,
    address: String,
}

/// The most that a posted search takes: about what fits into an address.
const SEARCH_MOST: usize = 64 * 1024;

/// A refusal of the search itself.
pub fn unfit(name: &str, detail: impl Into<String>) -> Problem {
    let wrong = Malformed { pointer: format!("?{name}"), detail: detail.into() };
    Problem { status: StatusCode::BAD_REQUEST, ..Problem::malformed(&[wrong]) }
}

pub fn code_unfit(name: &str, detail: String) -> Problem {
    let mut problem = unfit(name, detail);
    problem.members.insert("code".into(), "code_invalid".into());
    problem
}

/// Formats in which an answer is given.
fn is_json(kind: &str) -> bool {
    let mut parts = kind.split(';');
    let kind = parts.next().unwrap_or_default().trim().to_ascii_lowercase();
    let version =
        parts.filter_map(|part| part.trim().split_once('=')).find(|(name, _)| *name == "fhirVersion");
    if version.is_some_and(|(_, version)| !["4.0", VERSION].contains(&version.trim_matches('"'))) {
        return false;
    }
    // A plus in an address is a space where it was not written as %2B.
    let kind = kind.replace(' ', "+");
    ["json", "application/json", "application/fhir+json", "application/*", "*/*"].contains(&kind.as_str())
}

impl FromRequestParts<App> for Asked {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let read = Query::<Vec<(String, String)>>::from_request_parts(parts, app).await;
        let Query(pairs) = read.map_err(|error| unfit("", error.to_string()))?;
        Asked::of(pairs, parts, app)
    }
}

/// A search that was posted: what stands in its body counts beside what stands in its address.
pub struct Posted(pub Asked);

impl FromRequest<App> for Posted {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let (mut parts, body) = request.into_parts();
        let read = Query::<Vec<(String, String)>>::from_request_parts(&mut parts, app).await;
        let Query(mut pairs) = read.map_err(|error| unfit("", error.to_string()))?;
        let body = to_bytes(body, SEARCH_MOST).await.map_err(|_| Problem::too_large(SEARCH_MOST))?;
        let whole = Request::from_parts(parts.clone(), body.into());
        let Form(more) = Form::<Vec<(String, String)>>::from_request(whole, app).await.map_err(|wrong| {
            let detail = wrong.body_text();
            match wrong.into_response().status() {
                StatusCode::UNSUPPORTED_MEDIA_TYPE => Problem::new(
                    StatusCode::UNSUPPORTED_MEDIA_TYPE,
                    "not_supported",
                    "Not in that format",
                    "A search that is posted is application/x-www-form-urlencoded.",
                ),
                _ => unfit("", detail),
            }
        })?;
        pairs.extend(more);
        Ok(Posted(Asked::of(pairs, &parts, app)?))
    }
}

impl Asked {
    fn of(mut pairs: Vec<(String, String)>, parts: &Parts, app: &App) -> Result<Asked, Problem> {
        let text = |name| parts.headers.get(name).and_then(|value| value.to_str().ok());
        // Nothing in the ledger holds that character, so no name is spelled with it.
        if let Some((name, _)) =
            pairs.iter().find(|(name, value)| name.contains('\0') || value.contains('\0'))
        {
            return Err(unfit(name, "found the character U+0000; text without it is needed"));
        }
        let formats: Vec<String> =
            pairs.extract_if(.., |(name, _)| name == "_format").map(|(_, value)| value).collect();
        let accepts = match formats.as_slice() {
            [] => text(header::ACCEPT).is_none_or(|kinds| kinds.split(',').any(is_json)),
            formats => formats.iter().all(|format| is_json(format)),
        };
        if !accepts {
            let detail = "Answers are application/fhir+json alone.";
            return Err(Problem::new(
                StatusCode::NOT_ACCEPTABLE,
                "not_acceptable",
                "Not in that format",
                detail,
            ));
        }
        let behind_tls = app.options.trusted_proxy
            && parts.headers.get("x-forwarded-proto").is_some_and(|value| value == "https");
        let scheme = if behind_tls || app.options.secure_cookie { "https" } else { "http" };
        let host = text(header::HOST).or(parts.uri.authority().map(|it| it.as_str())).unwrap_or("localhost");
        Ok(Asked { pairs, address: format!("{scheme}://{host}") })
    }
}

impl Asked {
    pub fn base(&self, caller: &Caller) -> String {
        format!("{}/api/v1/{}/fhir", self.address, caller.site)
    }

    /// A read takes no parameter.
    pub fn nothing_more(&self) -> Result<(), Problem> {
        match self.pairs.first() {
            None => Ok(()),
            Some((name, _)) => Err(not_known(name, None)),
        }
    }

    /// The address of this search, from another place on.
    pub fn address(&self, path: &str, after: Option<&str>) -> String {
        let rest = self.pairs.iter().filter(|(name, _)| name != "_after");
        let pairs = rest.map(|(name, value)| (name.as_str(), value.as_str()));
        let all: Vec<String> = pairs
            .chain(after.map(|after| ("_after", after)))
            .map(|(name, value)| format!("{}={}", escaped(name), escaped(value)))
            .collect();
        if all.is_empty() { path.to_owned() } else { format!("{path}?{}", all.join("&")) }
    }
}

/// Text as it stands in an address: RFC 3986, 2.3.
fn escaped(text: &str) -> String {
    session::encoded_but(text, b"-._~")
}

/// How an answer is paged and written; every search takes them.
const OF_EVERY_SEARCH: [&str; 5] = ["_count", "_sort", "_summary", "_total", "_format"];

pub fn not_known(name: &str, known: Option<&[SearchParam]>) -> Problem {
    let names: Vec<&str> = match known {
        Some(known) => known.iter().map(|it| it.name).chain(OF_EVERY_SEARCH).collect(),
        None => vec!["_format"],
    };
    let detail = format!("\"{name}\" is no parameter here; known are {}", names.join(", "));
    let mut problem = unfit(name, detail);
    problem.members.insert("code".into(), "not_supported".into());
    problem
}
