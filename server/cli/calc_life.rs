//! `fettle calc life`: how long things last, from the ages at which they failed or were last seen whole.

use std::io::Read;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use crate::analysis::life::{Curve, Limits, Refused, Step, Weibull, kaplan_meier, weibull};
use crate::formats::life::{self, KINDS, Problem};

/// What is longer is not read: a problem of ten million rows.
const MOST_BYTES: u64 = 512 * 1024 * 1024;

#[derive(Args, Debug)]
pub struct LifeArgs {
    /// The kind, where the input is its data alone; without it the input is {"kind": …, "data": …}.
    #[arg(value_parser = KINDS)]
    kind: Option<String>,
    /// The problem as JSON; standard input without it, or with `-`.
    #[arg(long)]
    file: Option<PathBuf>,
}

pub fn life(args: &LifeArgs) -> Result<String, String> {
    let (source, bytes) = bytes(args.file.as_deref())?;
    let problem = match &args.kind {
        Some(kind) => life::read_data(kind, &bytes),
        None => life::read(&bytes),
    };
    let problem = problem.map_err(|error| format!("{source}: {error}"))?;
    let answer = match answer(problem) {
        Ok(answer) => answer,
        Err(refused) => json!({"refused": {"code": refused.why.name(), "why": refused.said}}),
    };
    serde_json::to_string(&answer).map_err(|error| format!("the answer could not be written: {error}"))
}

fn bytes(file: Option<&Path>) -> Result<(String, Vec<u8>), String> {
    let mut bytes = Vec::new();
    let (source, read) = match file {
        Some(path) if path != Path::new("-") => {
            let read =
                std::fs::File::open(path).and_then(|it| it.take(MOST_BYTES + 1).read_to_end(&mut bytes));
            (path.display().to_string(), read)
        }
        _ => {
            let read = std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes);
            ("standard input".to_owned(), read)
        }
    };
    read.map_err(|error| format!("{source}: {error}"))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(format!("{source}: found more than {MOST_BYTES} bytes, no more than that is needed"));
    }
    Ok((source, bytes))
}

fn answer(problem: Problem) -> Result<Value, Refused> {
    match problem {
        Problem::Weibull { rows, at, horizon } => told_weibull(&weibull::fit(&rows?)?, at, horizon),
        Problem::KaplanMeier { lives, start_from } => {
            Ok(told_curve(&kaplan_meier::curve(&lives?, start_from)?))
        }
    }
}

/// A pair of limits; null where there is no upper one.
fn pair(limits: Limits) -> Value {
    json!([limits.low, limits.high])
}

fn told_weibull(law: &Weibull, at: Option<f64>, horizon: Option<f64>) -> Result<Value, Refused> {
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

fn told_curve(curve: &Curve) -> Value {
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
