//! What is answered about repairs, replacement, spares, few failures and charts.

use serde_json::{Value, json};

use crate::analysis::chart_rare::{self, ESTABLISHED};
use crate::analysis::life::{Refused, few, replacement as policy, spares, trend};

use super::life::{PowerLaw, Replacement, SparesFleet, SparesPoisson, Truncation};
use super::life_answer::pair;

pub fn power_law(given: &PowerLaw) -> Result<Value, Refused> {
    let law = trend::power_law(&given.times, given.end, given.truncation == Truncation::Failure)?;
    Ok(json!({
        "n": law.n, "beta": law.beta, "lambda_": law.lambda,
        "beta_ci95_exact": pair(law.beta_limits), "beta_unbiased": law.beta_unbiased,
        "mtbf_inst": law.between_now, "mtbf_cum": law.between_so_far, "intensity_T": law.intensity,
        "mil_hdbk_chi2": law.tests.handbook, "mil_hdbk_df": law.tests.handbook_df as u64,
        "mil_hdbk_p_two_sided": law.tests.handbook_p,
        "laplace_U": law.tests.laplace, "laplace_p_two_sided": law.tests.laplace_p,
        "clear_trend": law.tests.is_clear(), "expected_next_10pct": law.next_tenth,
    }))
}

pub fn replacement(given: &Replacement) -> Result<Value, Refused> {
    let found = policy::optimum(given.cost_planned, given.cost_unplanned, given.eta, given.beta)?;
    let failure_rate = found.run_to_failure_rate;
    Ok(match found.best {
        Some(best) => json!({
            "policy": "replace_at_age", "optimum": best.age, "cost_rate": best.rate,
            "cost_rate_run_to_failure": failure_rate, "saving_fraction": best.saving,
            "fraction_failing_before": best.fails_before,
            "flat_from": best.flat_from, "flat_to": best.flat_to,
        }),
        None => json!({
            "policy": "run_to_failure", "optimum": null, "cost_rate": failure_rate,
            "cost_rate_run_to_failure": failure_rate, "saving_fraction": 0.0,
            "fraction_failing_before": 1.0, "flat_from": null, "flat_to": null,
        }),
    })
}

pub fn spares_poisson(given: &SparesPoisson) -> Result<Value, Refused> {
    let stock = spares::poisson(given.mean, given.level)?;
    Ok(json!({
        "stock": stock.stock, "prob": stock.chance, "prob_one_less": stock.chance_of_one_less,
        "expected_backorders": stock.waited_for,
    }))
}

pub fn spares_fleet(given: &SparesFleet) -> Result<Value, Refused> {
    let demand = spares::fleet(&given.ages, given.eta, given.beta, given.window)?;
    Ok(json!({
        "expected": demand.expected, "sd": demand.sd, "stock95": demand.stock95, "stock99": demand.stock99,
        "prob_zero": demand.prob_zero,
    }))
}

pub fn weibayes(beta: f64, failures: u64, ages: &[(f64, u64)]) -> Result<Value, Refused> {
    let law = few::weibayes(beta, failures, ages)?;
    Ok(json!({
        "sum_t_beta": law.sum, "eta_lower95": law.eta_at_least, "eta_mle": law.eta, "b10_lower95": law.b10_at_least,
    }))
}

pub fn rate(failures: u64, exposure: f64) -> Result<Value, Refused> {
    let rate = few::rate_exact(failures, exposure)?;
    Ok(json!({"rate": rate.rate, "ci95": [rate.low, rate.high], "upper95_one_sided": rate.at_most}))
}

/// Places as people count them.
fn from_1(places: &[usize]) -> Vec<usize> {
    places.iter().map(|place| place + 1).collect()
}

pub fn chart_p(points: &[(u64, u64)]) -> Result<Value, Refused> {
    let Some(chart) = chart_rare::shares(points) else {
        return Err(Refused::invalid(
            "A point has no size, or more defectives than its size; or there is no point.",
        ));
    };
    Ok(json!({
        "center": chart.center, "ucl": chart.high, "lcl": chart.low, "out_of_control_1based": from_1(&chart.outside),
        "established": points.len() >= ESTABLISHED,
    }))
}

pub fn chart_g(between: &[f64]) -> Result<Value, Refused> {
    let Some(chart) = chart_rare::between(between) else {
        return Err(Refused::invalid("There is no point for a chart."));
    };
    Ok(json!({
        "center": chart.center, "ucl_3sigma": chart.high, "lcl_3sigma": chart.low, "p_hat": chart.chance,
        "exact_lcl": chart.exact_low, "exact_ucl": chart.exact_high, "out_high_1based": from_1(&chart.outside),
        "established": between.len() >= ESTABLISHED,
    }))
}
