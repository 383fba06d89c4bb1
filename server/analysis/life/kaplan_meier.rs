//! The Kaplan-Meier curve with Greenwood's variance, and the Nelson-Aalen hazard, for things that entered late and left early.

use super::counts::Counts;
use super::{Life, Refused, Z_95};

/// Shares that differ by less are the same: 0.95 × 18 / 19 is 0.9.
const SAME_SHARE: f64 = 1e-12;

/// One age at which something failed. None stands where a number has no meaning: once nothing survives, nor does a variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    pub age: f64,
    pub at_risk: u64,
    pub events: u64,
    /// The share that lives past this age.
    pub survival: f64,
    /// Greenwood's variance of it.
    pub variance: Option<f64>,
    /// Limits by the logarithm of minus the logarithm of the share: those to show.
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// The plain limits, cut at 0 and 1.
    pub plain_low: Option<f64>,
    pub plain_high: Option<f64>,
    /// Nelson's and Aalen's cumulative hazard, its variance, and limits by its logarithm.
    pub hazard: f64,
    pub hazard_variance: f64,
    pub hazard_low: f64,
    pub hazard_high: f64,
}

/// A curve by rising age; before its first step everything survives.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    pub steps: Vec<Step>,
    pub n: u64,
    pub events: u64,
    /// How many were at risk just after age 0 and each age at which that changed, by rising age: for the numbers under an axis.
    pub risk: Vec<(f64, u64)>,
    pub start_from: Option<f64>,
}

/// An age by which a share has failed. None where the curve does not come so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantile {
    pub age: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// With `start_from`, the curve of those that are whole when they come to that age: what left before it does not count.
pub fn curve(lives: &[Life], start_from: Option<f64>) -> Result<Curve, Refused> {
    of_counts(&Counts::of_lives(lives.iter().copied())?, start_from)
}

pub fn of_counts(counts: &Counts, start_from: Option<f64>) -> Result<Curve, Refused> {
    let start = start_from.unwrap_or(0.0);
    if !start.is_finite() || start < 0.0 {
        return Err(Refused::invalid("The age from which the curve is to start is no age of 0 or more."));
    }
    let mut at_risk = counts.n - counts.late;
    let mut gone = 0;
    let mut risk = vec![(0.0, at_risk)];
    let mut sums = Sums::default();
    let mut steps = vec![];
    let mut events = 0;
    for at in &counts.ages {
        // Entries at an age come after the failures there: who enters at t is watched from just after t.
        if at.age >= start && at.failures > 0 {
            events += at.failures;
            steps.push(sums.step(at.age, at_risk, at.failures));
        }
        if at.age < start {
            gone += at.exits;
        }
        at_risk = (at_risk + at.entries).saturating_sub(at.exits);
        risk.push((at.age, at_risk));
    }
    Ok(Curve { steps, n: counts.n - gone, events, risk, start_from })
}

/// What runs along the ages.
struct Sums {
    survival: f64,
    greenwood: f64,
    hazard: f64,
    hazard_variance: f64,
}

impl Default for Sums {
    fn default() -> Sums {
        Sums { survival: 1.0, greenwood: 0.0, hazard: 0.0, hazard_variance: 0.0 }
    }
}

impl Sums {
    fn step(&mut self, age: f64, at_risk: u64, events: u64) -> Step {
        let (n, d) = (at_risk as f64, events as f64);
        self.survival *= (n - d) / n;
        self.greenwood += d / (n * (n - d));
        self.hazard += d / n;
        self.hazard_variance += d / (n * n);
        let (survival, hazard) = (self.survival, self.hazard);
        let whole = survival > 0.0;
        let error = self.greenwood.sqrt();
        let plain = |side: f64| (survival * (1.0 + side * Z_95 * error)).clamp(0.0, 1.0);
        let log = survival.ln();
        let loglog = |side: f64| (log * (side * Z_95 * error / log).exp()).exp();
        let spread = (Z_95 * self.hazard_variance.sqrt() / hazard).exp();
        Step {
            age,
            at_risk,
            events,
            survival,
            variance: whole.then_some(survival * survival * self.greenwood),
            low: whole.then(|| loglog(-1.0)),
            high: whole.then(|| loglog(1.0)),
            plain_low: whole.then(|| plain(-1.0)),
            plain_high: whole.then(|| plain(1.0)),
            hazard,
            hazard_variance: self.hazard_variance,
            hazard_low: hazard / spread,
            hazard_high: hazard * spread,
        }
    }
}

impl Curve {
    /// The share that lives past an age.
    pub fn survival(&self, age: f64) -> f64 {
        self.at(age).map_or(1.0, |step| step.survival)
    }

    /// The last step up to an age.
    pub fn at(&self, age: f64) -> Option<&Step> {
        let after = self.steps.partition_point(|step| step.age <= age);
        after.checked_sub(1).and_then(|last| self.steps.get(last))
    }

    /// How many were at risk at an age, before what happened there.
    pub fn at_risk(&self, age: f64) -> u64 {
        let before = self.risk.partition_point(|(at, _)| *at < age);
        self.risk.get(before.saturating_sub(1)).map_or(0, |(_, at_risk)| *at_risk)
    }

    /// The first age by which a share has failed, and the ages at which its limits come so far.
    pub fn quantile(&self, share: f64) -> Quantile {
        let left = 1.0 - share + SAME_SHARE;
        let first =
            |value: fn(&Step) -> f64| self.steps.iter().find(|step| value(step) <= left).map(|step| step.age);
        Quantile {
            age: first(|step| step.survival),
            low: first(|step| step.low.unwrap_or(0.0)),
            high: first(|step| step.high.unwrap_or(0.0)),
        }
    }

    pub fn median(&self) -> Quantile {
        self.quantile(0.5)
    }
}
