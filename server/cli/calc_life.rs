//! `fettle calc life`: how long things last, from the ages at which they failed or were last seen whole.

use std::io::Read;
use std::path::Path;

use clap::Args;
use serde_json::{Value, json};

use crate::analysis::life::{
    Curve, Limits, LogRank, McfStep, Refused, Step, Weibull, kaplan_meier, logrank, mcf, weibull,
};
use crate::formats::life::{self, KINDS, Problem};

use super::calc_life_few as few;

/// What is longer is not read: some ten million rows.
const MOST_BYTES: u64 = 512 * 1024 * 1024;

#[derive(Args, Debug)]
pub struct LifeArgs {
    /// The kind, where the input is its data alone; without it the input is {"kind": …, "data": …}. Then a file with the problem as
    /// JSON; standard input without it, or with `-`.
    #[arg(value_name = "KIND | FILE", num_args = 0..=2)]
    what: Vec<String>,
}

impl LifeArgs {
    /// The kind and the file.
    fn parts(&self) -> Result<(Option<&str>, Option<&str>), String> {
        match self.what.as_slice() {
            [] => Ok((None, None)),
            [one] if KINDS.contains(&one.as_str()) => Ok((Some(one), None)),
            [file] => Ok((None, Some(file))),
            [kind, file] if KINDS.contains(&kind.as_str()) => Ok((Some(kind), Some(file))),
            [kind, ..] => Err(format!("found kind {kind:?}, one of {} is needed", KINDS.join(", "))),
        }
    }
}

pub fn life(args: &LifeArgs) -> Result<String, String> {
    let (kind, file) = args.parts()?;
    let (source, bytes) = bytes(file)?;
    let problem = match kind {
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

fn bytes(file: Option<&str>) -> Result<(String, Vec<u8>), String> {
    let mut bytes = Vec::new();
    let (source, read) = match file {
        Some(path) if path != "-" => {
            let opened = std::fs::File::open(Path::new(path));
            let read = opened.and_then(|it| it.take(MOST_BYTES + 1).read_to_end(&mut bytes));
            (path.to_owned(), read)
        }
        _ => {
            let read = std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes);
            ("standard input".to_owned(), read)
        }
    };
    read.map_err(|error| format!("{source}: {error}"))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(format!("{source}: found more than {MOST_BYTES} bytes, {MOST_BYTES} at most are needed"));
    }
    Ok((source, bytes))
}

fn answer(problem: Problem) -> Result<Value, Refused> {
    match problem {
        Problem::Weibull { rows, at, horizon } => told_weibull(&weibull::fit(&rows?)?, at, horizon),
        Problem::KaplanMeier { lives, start_from } => {
            kaplan_meier::curve(&lives?, start_from).map(|curve| told_curve(&curve))
        }
        Problem::LogRank { groups } => logrank(&groups?).map(|test| told_logrank(&test)),
        Problem::Mcf { units } => mcf(&units?).map(|steps| told_mcf(&steps)),
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
