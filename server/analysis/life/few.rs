//! What can be said with few failures or none: a rate with exact limits, and a life under an assumed shape.

use super::Refused;
use super::special::chi_squared_quantile;

/// A constant rate, with the exact limits of Garwood (1936).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rate {
    pub rate: f64,
    pub low: f64,
    pub high: f64,
    /// At most this, with a certainty of 95 in 100.
    pub at_most: f64,
}

pub fn rate_exact(failures: u64, exposure: f64) -> Result<Rate, Refused> {
    if !(exposure.is_finite() && exposure > 0.0) {
        return Err(Refused::invalid(format!("The exposure is {exposure}; a number above 0 is needed.")));
    }
    let r = failures as f64;
    let upper = |chance: f64| chi_squared_quantile(chance, 2.0 * r + 2.0) / 2.0 / exposure;
    let low = if failures == 0 { 0.0 } else { chi_squared_quantile(0.025, 2.0 * r) / 2.0 / exposure };
    let rate = Rate { rate: r / exposure, low, high: upper(0.975), at_most: upper(0.95) };
    let numbers = [rate.rate, rate.low, rate.high, rate.at_most];
    if numbers.iter().all(|number| number.is_finite()) {
        Ok(rate)
    } else {
        Err(Refused::invalid("The exposure is too small for a rate in numbers."))
    }
}

/// A Weibull law whose shape is assumed (Abernethy 2006, chapter 6).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weibayes {
    /// The sum of all ages to the power of the shape.
    pub sum: f64,
    /// None without a failure.
    pub eta: Option<f64>,
    /// At least this, with a certainty of 95 in 100.
    pub eta_at_least: f64,
    pub b10_at_least: f64,
}

/// `ages` of all pieces, failed or not, each with how many.
pub fn weibayes(beta: f64, failures: u64, ages: &[(f64, u64)]) -> Result<Weibayes, Refused> {
    if !(beta.is_finite() && beta > 0.0) {
        return Err(Refused::invalid(format!("The assumed beta is {beta}; a number above 0 is needed.")));
    }
    if let Some(at) = ages.iter().position(|(age, count)| !(age.is_finite() && *age >= 0.0) || *count == 0) {
        return Err(Refused::invalid(format!(
            "Row {}: an age of 0 or more and a count of 1 or more are needed.",
            at + 1
        )));
    }
    let pieces = ages.iter().fold(0_u64, |sum, (_, count)| sum.saturating_add(*count));
    if failures > pieces {
        return Err(Refused::invalid(format!("{failures} failures among {pieces} pieces are too many.")));
    }
    let oldest = ages.iter().map(|(age, _)| *age).fold(0.0, f64::max);
    if oldest <= 0.0 {
        return Err(Refused::invalid("No piece has any age, so nothing can be said."));
    }
    // In ages of the oldest, so that no power leaves the numbers.
    let scaled: f64 = ages.iter().map(|(age, count)| *count as f64 * (age / oldest).powf(beta)).sum();
    let eta_of = |hazard: f64| oldest * ((scaled / hazard).ln() / beta).exp();
    let eta_at_least = eta_of(chi_squared_quantile(0.95, 2.0 * failures as f64 + 2.0) / 2.0);
    let found = Weibayes {
        sum: scaled * oldest.powf(beta),
        eta: (failures > 0).then(|| eta_of(failures as f64)),
        eta_at_least,
        b10_at_least: eta_at_least * ((-(-0.1_f64).ln_1p()).ln() / beta).exp(),
    };
    let numbers = [found.sum, found.eta.unwrap_or(0.0), found.eta_at_least, found.b10_at_least];
    if numbers.iter().all(|number| number.is_finite()) {
        Ok(found)
    } else {
        Err(Refused::invalid("With this shape the life is beyond all numbers."))
    }
}
