//! Answers of the statistics of life as JSON: one shape for the command line, the API and whoever reads them.

use serde_json::{Value, json};

use crate::analysis::life::{Curve, Limits, Refused, Step, Weibull};

/// No honest answer, with its code and a sentence.
pub fn refused(refused: &Refused) -> Value {
    json!({"refused": {"code": refused.why.name(), "why": refused.said}})
}

/// A pair of limits; null where there is no upper one.
fn pair(limits: Limits) -> Value {
    json!([limits.low, limits.high])
}

/// The law of life as `weibull_mle` tells it; at an age and over a horizon where these are asked for.
///
/// # Errors
/// An age that is none.
pub fn weibull(law: &Weibull, at: Option<f64>, horizon: Option<f64>) -> Result<Value, Refused> {
    let mut answer = json!({
        "eta": law.eta, "beta": law.beta, "loglik": law.loglik,
        "eta_ci95_lr": pair(law.eta_limits()), "beta_ci95_lr": pair(law.beta_limits()),
        "b10": law.b(0.1), "b10_ci95_lr": pair(law.b_limits(0.1)),
        "b50": law.b(0.5), "b50_ci95_lr": pair(law.b_limits(0.5)),
        "failures": law.failures, "n": law.n, "oldest": law.oldest,
    });
    if let Some(age) = at {
        let age = of_age(age, "at")?;
        answer["median_remaining"] = json!(law.remaining(age));
        answer["median_remaining_ci95_lr"] = pair(law.remaining_limits(age));
        if let Some(horizon) = horizon {
            let horizon = of_age(horizon, "horizon")?;
            answer["fail_within"] = json!(law.fail_within(age, horizon));
            answer["fail_within_ci95_lr"] = pair(law.fail_within_limits(age, horizon));
        }
    }
    Ok(answer)
}

fn of_age(found: f64, name: &str) -> Result<f64, Refused> {
    if found.is_finite() && found >= 0.0 {
        return Ok(found);
    }
    Err(Refused::invalid(format!("{name} is {found}; an age of 0 or more is needed.")))
}

/// The curve as `kaplan_meier` tells it.
pub fn curve(curve: &Curve) -> Value {
    let ages = |share: f64| {
        let found = curve.quantile(share);
        json!([found.age, found.low, found.high])
    };
    json!({
        "table": curve.steps.iter().map(told_step).collect::<Vec<Value>>(),
        "n": curve.n, "events": curve.events,
        "median_lo_hi_loglog": ages(0.5), "B10_lo_hi_loglog": ages(0.1),
    })
}

fn told_step(step: &Step) -> Value {
    let both = |low: Option<f64>, high: Option<f64>| low.zip(high).map(|(low, high)| [low, high]);
    json!({
        "t": step.age, "n_risk": step.at_risk, "d": step.events, "S": step.survival,
        "greenwood_se": step.variance.map(f64::sqrt),
        "ci_plain": both(step.plain_low, step.plain_high), "ci_loglog": both(step.low, step.high),
        "H": step.hazard, "H_se": step.hazard_variance.sqrt(), "H_ci_log": [step.hazard_low, step.hazard_high],
    })
}
