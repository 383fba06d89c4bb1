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
    let spans: Vec<Span> =
        ages.iter().map(|(age, count)| Span { entry: 0.0, age: *age, count: *count }).collect();
    weibayes_from(beta, failures, &spans)
}

/// The ages from which and to which so many pieces were watched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    pub entry: f64,
    pub age: f64,
    pub count: u64,
}

/// The same of pieces that came with an age: what they lived through unwatched says nothing, so each counts for
/// age^beta - entry^beta, the hazard that it was watched through.
pub fn weibayes_from(beta: f64, failures: u64, spans: &[Span]) -> Result<Weibayes, Refused> {
    if !(beta.is_finite() && beta > 0.0) {
        return Err(Refused::invalid(format!("The assumed beta is {beta}; a number above 0 is needed.")));
    }
    let wrong = |it: &Span| !(it.age.is_finite() && it.age >= 0.0) || it.count == 0;
    if let Some(at) = spans.iter().position(wrong) {
        return Err(Refused::invalid(format!(
            "Row {}: an age of 0 or more and a count of 1 or more are needed.",
            at + 1
        )));
    }
    let wrong = |it: &Span| !(it.entry >= 0.0 && it.entry <= it.age);
    if let Some(at) = spans.iter().position(wrong) {
        let said = format!("Row {}: an age at entry from 0 to the age now is needed.", at + 1);
        return Err(Refused::invalid(said));
    }
    let pieces = spans.iter().fold(0_u64, |sum, it| sum.saturating_add(it.count));
    if failures > pieces {
        return Err(Refused::invalid(format!("{failures} failures among {pieces} pieces are too many.")));
    }
    let oldest = spans.iter().map(|it| it.age).fold(0.0, f64::max);
    if oldest <= 0.0 {
        return Err(Refused::invalid("No piece has any age, so nothing can be said."));
    }
    // In ages of the oldest, so that no power leaves the numbers.
    let power = |age: f64| (age / oldest).powf(beta);
    let scaled: f64 = spans.iter().map(|it| it.count as f64 * (power(it.age) - power(it.entry))).sum();
    if scaled <= 0.0 {
        return Err(Refused::invalid("No piece was watched for any age, so nothing can be said."));
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Watched from 60 to 100 at a shape of 2: 100^2 - 60^2 = 80^2, as one piece that was new and came to 80.
    #[test]
    fn what_was_lived_through_before_is_not_counted() {
        let spans = [Span { entry: 60.0, age: 100.0, count: 1 }];
        let (late, new) = (weibayes_from(2.0, 0, &spans).unwrap(), weibayes(2.0, 0, &[(80.0, 1)]).unwrap());
        assert!((late.b10_at_least - new.b10_at_least).abs() < 1e-9 && (late.sum - 6_400.0).abs() < 1e-9);
        assert!(weibayes_from(2.0, 0, &[Span { entry: 60.0, age: 60.0, count: 3 }]).is_err());
        assert!(weibayes_from(2.0, 0, &[Span { entry: 61.0, age: 60.0, count: 3 }]).is_err());
    }
}
