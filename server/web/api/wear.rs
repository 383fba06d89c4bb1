//! How long the parts of a model last.

use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::analysis::life::{Refused, kaplan_meier, weibull};
use crate::domain::command::wrong;
use crate::domain::id::Id;
use crate::domain::lifetime::{Clock, Lives};
use crate::domain::outlook::Outlook;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::formats::life_answer;

/// An answer of the calculation, or its refusal in the same words.
fn or_refused(answer: Result<Value, Refused>) -> Value {
    answer.unwrap_or_else(|refused| life_answer::refused(&refused))
}

/// The law of life and the curve, each failure at the age at which its part was retired.
fn at_retirement(lives: &Lives) -> [Value; 2] {
    let law = weibull::fit(&lives.rows_at_retirement());
    let law = law.and_then(|law| life_answer::weibull(&law, None, None));
    let curve = kaplan_meier::curve(&lives.lives_at_retirement(), None);
    [or_refused(law), or_refused(curve.map(|curve| life_answer::curve(&curve)))]
}

/// The same in the family's own clock, with each failure between the inspections that it lay between.
fn between_inspections(state: &State, model: &Id, now: Time) -> Value {
    let outlook = Outlook::of(state, state.lives(model, state.clock_of_model(model), now), now);
    let (replace, order) = (state.replace_advice(&outlook), state.order_advice(&outlook, now));
    let Outlook { lives, law, .. } = outlook;
    let law = law.and_then(|law| life_answer::weibull(&law, None, None));
    let curve = kaplan_meier::curve(&lives.to_lives(), None).map(|curve| life_answer::curve(&curve));
    json!({
        "clock": lives.clock,
        "life": or_refused(law),
        "survival": or_refused(curve),
        "oldest": lives.oldest(),
        "failed_at_once": lives.failed_at_once(),
        "watched_for_no_time": lives.unwatched(),
        "pieces": lives.pieces,
        "replace": replace,
        "order": order,
    })
}

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let model = params.take("model")?;
    params.done()?;
    let Some(model) = model else {
        return Err(Problem::malformed(&[wrong("?model", "missing; the model whose wear is asked for")]));
    };
    let (state, now) = caller.state().await?;
    let wear = Id::new(&model).and_then(|id| state.wear(&id));
    let wear = wear.ok_or_else(|| Problem::unknown_thing("model", &model))?;
    let lives = state.lives(&wear.model, Clock::Cycles, now);
    let [life, survival] = at_retirement(&lives);
    let left_out = lives.left_out_at_retirement();
    Ok(ok(&json!({
        "model": wear.model,
        "units": wear.units,
        "failures": wear.failures,
        "in_service": wear.in_service,
        "life": life,
        "survival": survival,
        "left_out": left_out.map(|(many, why)| json!({"pieces": many, "why": why})),
        "causes": wear.causes,
        "lifetimes": wear.lifetimes,
        "life_between_inspections": between_inspections(&state, &wear.model, now),
        "costs": state.costs_of(&wear.model),
        "limit": state.life_limit(&wear.model),
        "entry": state.seq,
    })))
}
