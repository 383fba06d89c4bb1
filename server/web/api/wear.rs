//! How long the parts of a model last.

use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::command::wrong;
use crate::domain::id::Id;
use crate::domain::wear::FAILURES_NEEDED;

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let model = params.take("model")?;
    params.done()?;
    let Some(model) = model else {
        return Err(Problem::malformed(&[wrong("?model", "missing; the model whose wear is asked for")]));
    };
    let (state, _) = caller.state().await?;
    let wear = Id::new(&model).and_then(|id| state.wear(&id));
    let wear = wear.ok_or_else(|| Problem::unknown_thing("model", &model))?;
    let too_few = (wear.failures < FAILURES_NEEDED).then(|| {
        let why = format!("{} failures are recorded; at least {FAILURES_NEEDED} are needed", wear.failures);
        json!({"refused": {"code": "too_few_failures", "why": why}})
    });
    Ok(ok(&json!({
        "model": wear.model,
        "units": wear.units,
        "failures": wear.failures,
        "in_service": wear.in_service,
        "life": too_few,
        "survival": null,
        "causes": wear.causes,
        "lifetimes": wear.lifetimes,
    })))
}
