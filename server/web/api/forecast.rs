//! The forecast as JSON: whether today's and tomorrow's cases will be equipped, and what holds them up.

use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;

pub async fn get(caller: Caller, params: Params) -> Result<Response, Problem> {
    params.done()?;
    let (state, now) = caller.state().await?;
    let forecast = caller.app.house.forecast(state, now).await;
    Ok(ok(&json!(*forecast)))
}
