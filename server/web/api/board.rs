//! The board as JSON, with its entity tag.

use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::app::board::Shown;

pub async fn get(caller: Caller, headers: HeaderMap, params: Params) -> Result<Response, Problem> {
    params.done()?;
    let shown = caller.app.house.board(&caller.site).await?;
    let shown = shown.ok_or_else(|| Problem::unknown_site(caller.site.as_str()))?;
    Ok(tagged(&headers, &shown.tag, || ok(&told(&shown))))
}

pub fn told(shown: &Shown) -> Value {
    json!({
        "as_of": shown.as_of,
        "entry": shown.entry,
        "sets": shown.board.sets,
        "cases": shown.board.cases,
        "reserves": shown.board.reserves,
        "not_accounted_for": shown.board.not_accounted_for,
        "lines_not_back": shown.board.lines_not_back,
        "late_at_sink": shown.board.late_at_sink,
        "unfollowed": shown.board.unfollowed,
    })
}

/// Whether the caller says that it has this version, or any: RFC 9110, 13.1.2, a list of tags, compared weakly, or a star.
pub fn names_tag(headers: &HeaderMap, own: &str) -> bool {
    let bare = |tag: &str| tag.trim().trim_start_matches("W/").to_owned();
    let wanted = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    wanted.flat_map(|value| value.split(',')).any(|it| it.trim() == "*" || bare(it) == bare(own))
}

/// Answers 304 where the caller has this very content; else what `render` makes, with its tag.
pub fn tagged(headers: &HeaderMap, own: &str, render: impl FnOnce() -> Response) -> Response {
    let mut response =
        if names_tag(headers, own) { StatusCode::NOT_MODIFIED.into_response() } else { render() };
    if let Ok(tag) = HeaderValue::from_str(own) {
        response.headers_mut().insert(header::ETAG, tag);
    }
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    response
}
