//! What is answered about lives, as JSON: a fit, a curve, a comparison, counts of repairs, or why there is no honest answer.

use serde_json::{Value, json};

use crate::analysis::life::{self, Curve, Limits, LogRank, McfStep, Refused, Step, Weibull};

use super::life::Problem;
use super::life_answer_few as few;

/// No honest answer, and why.
pub fn refused(refused: &Refused) -> Value {
    json!({"refused": {"code": refused.why.name(), "why": refused.said}})
}

/// The answer to a problem.
///
/// # Errors
/// Why there is no honest one.
pub fn of(problem: Problem) -> Result<Value, Refused> {
    match problem {
        Problem::Weibull { rows, at, horizon } => weibull(&life::weibull::fit(&rows?)?, at, horizon),
        Problem::KaplanMeier { lives, start_from } => {
            life::kaplan_meier::curve(&lives?, start_from).map(|found| curve(&found))
        }
        Problem::LogRank { groups } => life::logrank(&groups?).map(|test| told_logrank(&test)),
        Problem::Mcf { units } => life::mcf(&units?).map(|steps| told_mcf(&steps)),
        Problem::PowerLaw(given) => few::power_law(&given),
        Problem::Replacement(given) => few::replacement(&given),
        Problem::SparesPoisson(given) => few::spares_poisson(&given),
        Problem::SparesFleet(given) => few::spares_fleet(&given),
        Problem::Weibayes { beta, failures, ages } => few::weibayes(beta, failures?, &ages?),
        Problem::Rate { failures, exposure } => few::rate(failures?, exposure),
        Problem::ChartP { points } => few::chart_p(&points?),
        Problem::ChartG { between } => few::chart_g(&between?),
    }
}

/// A pair of limits; null where there is no upper one.
pub fn pair(limits: Limits) -> Value {
    json!([limits.low, limits.high])
}

/// A fit with its limits; with an age also what remains from there, and with a horizon the chance to fail within it.
///
/// # Errors
/// An age below 0, or one that is no number.
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

/// A curve with its table.
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

fn told_logrank(test: &LogRank) -> Value {
    json!({
        "chisq": test.chisq, "df": test.df, "p": test.p,
        "observed": test.observed, "expected": test.expected,
        "enough_expected": test.is_sound(),
    })
}

fn told_mcf(steps: &[McfStep]) -> Value {
    let step = |step: &McfStep| {
        json!({
            "t": step.age, "n_risk": step.at_risk, "d": step.events,
            "mcf": step.mean, "se": step.se, "ci_log": [step.low, step.high],
        })
    };
    json!({"table": steps.iter().map(step).collect::<Vec<Value>>()})
}
