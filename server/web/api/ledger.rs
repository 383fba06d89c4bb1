//! The ledger as it is, a line an entry, in pages: a reader holds no snapshot for long.

use axum::body::{Body, Bytes};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures_util::stream;

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;

const PAGE: usize = 500;

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.number("after")?, params.number("limit")?);
    params.done()?;
    let start = (after.unwrap_or(0), limit.unwrap_or(u64::MAX));
    let (app, site) = (caller.app, caller.site);
    // The first page is read before the status is sent, so that a database that is gone is told as such.
    let page = move |after: u64, limit: u64| {
        let (app, site) = (app.clone(), site.clone());
        async move { app.house.ledger_after(&site, after, PAGE.min(limit.try_into().unwrap_or(PAGE))).await }
    };
    let first = page(start.0, start.1).await?;
    let lines = stream::try_unfold((Some(first), start.1), move |(ready, left)| {
        let page = page.clone();
        async move {
            let Some(entries) = ready.filter(|entries| !entries.is_empty() && left > 0) else {
                return Ok(None);
            };
            let left = left.saturating_sub(entries.len() as u64);
            let last = entries.last().map_or(0, |(seq, ..)| *seq);
            let mut text = String::new();
            for (_, entry, leaf) in &entries {
                text.push_str("{\"entry\":");
                text.push_str(entry);
                text.push_str(",\"leaf\":\"");
                text.push_str(leaf);
                text.push_str("\"}\n");
            }
            let next = match left {
                0 => None,
                _ => Some(page(last, left).await.map_err(|gone| std::io::Error::other(gone.operation))?),
            };
            Ok::<_, std::io::Error>(Some((Bytes::from(text), (next, left))))
        }
    });
    Ok(([(header::CONTENT_TYPE, "application/x-ndjson")], Body::from_stream(lines)).into_response())
}
