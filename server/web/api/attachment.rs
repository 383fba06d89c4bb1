//! Pictures and scans by the API: the bytes as they are, named by their SHA-256.

use axum::body::Body;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use crate::app::attachment::{ATTACHMENT_MOST, Kept};
use crate::domain::command::wrong;

pub async fn post(caller: Caller, params: Params, body: Body) -> Result<Response, Problem> {
    params.done()?;
    let _place = caller.app.places.clone().try_acquire_owned().map_err(|_| Problem::too_many())?;
    let too_large = || Problem::too_large(ATTACHMENT_MOST);
    let raw = axum::body::to_bytes(body, ATTACHMENT_MOST).await.map_err(|_| too_large())?;
    match caller.app.house.keep_attachment(&caller.site, &caller.actor, raw.to_vec()).await? {
        Kept::Kept { sha256, bytes, kind, new } => {
            let status = if new { StatusCode::CREATED } else { StatusCode::OK };
            let told = json!({"sha256": sha256, "bytes": bytes, "type": kind.media_type()});
            Ok(super::json(status, &told))
        }
        Kept::NoKnownKind => {
            let detail = "found none of the kinds of file that are kept; JPEG, PNG, WebP or PDF is needed";
            Err(Problem::malformed(&[wrong("", detail)]))
        }
        Kept::TooLarge => Err(too_large()),
    }
}

pub async fn get(
    caller: Caller,
    Path((_, sha256)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let found = caller.app.house.attachment(&caller.site, &sha256).await?;
    let found = found.ok_or_else(|| Problem::unknown_thing("attachment", &sha256))?;
    Ok(super::super::attachment::served(&sha256, found))
}
