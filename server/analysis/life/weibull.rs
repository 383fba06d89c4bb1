//! The two-parameter Weibull law by maximum likelihood, and limits from the likelihood ratio (Meeker & Escobar 1998, chapters 8
//! and 11): a value is plausible while some law that has it is at most e^1.92 times less likely than the best.

use super::counts::Counts;
use super::profile::{Likelihood, Slice};
use super::solve::{peak, root};
use super::{CHI2_95, FEWEST_FAILURES, Limits, Refused, Row, Why};

/// Shapes are looked at in steps of this, as a logarithm.
const STEP: f64 = 0.4;
/// Two heights of the likelihood that differ by less are the same.
const SAME_HEIGHT: f64 = 1e-7;
/// Places tried over the plausible shapes before the best of them is climbed.
const TRIES: usize = 7;

/// How deep below its own best a life is still weighed.
const DEEP: f64 = 5.0;
/// The places and weights of Gauss and Legendre for nine points (Abramowitz & Stegun 1964, table 25.4).
const LEGENDRE: [(f64, f64); 9] = [
    (-0.968_160_239_507_626_1, 0.081_274_388_361_574_41),
    (-0.836_031_107_326_635_8, 0.180_648_160_694_857_4),
    (-0.613_371_432_700_590_4, 0.260_610_696_402_935_5),
    (-0.324_253_423_403_808_9, 0.312_347_077_040_002_8),
    (0.0, 0.330_239_355_001_259_8),
    (0.324_253_423_403_808_9, 0.312_347_077_040_002_8),
    (0.613_371_432_700_590_4, 0.260_610_696_402_935_5),
    (0.836_031_107_326_635_8, 0.180_648_160_694_857_4),
    (0.968_160_239_507_626_1, 0.081_274_388_361_574_41),
];

/// So many times the oldest age that was seen is no limit to anything.
const NEVER: f64 = 1e9;

/// A fitted law: survival to age t is exp(-(t / eta)^beta).
#[derive(Clone, Debug)]
pub struct Weibull {
    pub eta: f64,
    pub beta: f64,
    pub loglik: f64,
    pub failures: u64,
    pub n: u64,
    /// The highest age at which any of them was seen.
    pub oldest: f64,
    likelihood: Likelihood,
    c: f64,
    cut: f64,
    low: Edge,
    high: Edge,
}

/// Where the plausible shapes end, as a logarithm.
#[derive(Clone, Copy, Debug)]
struct Edge {
    u: f64,
    /// The likelihood never falls far enough on this side.
    open: bool,
}

pub fn fit(rows: &[Row]) -> Result<Weibull, Refused> {
    of_counts(&Counts::of_rows(rows.iter().copied())?)
}

/// The same from rows that nobody needs to hold.
pub fn of_counts(counts: &Counts) -> Result<Weibull, Refused> {
    if counts.failures < FEWEST_FAILURES {
        return Err(Refused { why: Why::TooFewFailures, said: too_few(counts) });
    }
    of_any(counts)
}

/// The method without the convention of how many failures are enough, for those who study the method.
pub fn of_any(counts: &Counts) -> Result<Weibull, Refused> {
    if counts.failures == 0 {
        return Err(Refused { why: Why::TooFewFailures, said: too_few(counts) });
    }
    let Some(likelihood) = Likelihood::of(counts) else {
        return Err(Refused::no_maximum(
            "None was ever seen whole at any age, so the ages of the failures are not known: \
             any short life explains these rows.",
        ));
    };
    let u = if likelihood.truncated { highest_of_several(&likelihood) } else { highest(&likelihood) }?;
    let at = likelihood.at(u);
    let (c, best, beta) = (at.c, at.best, u.exp());
    let eta = likelihood.reference * (-c / beta).exp();
    if !(eta.is_finite() && eta > 0.0 && beta.is_finite() && beta > 0.0 && best.is_finite()) {
        return Err(Refused::no_maximum(
            "The best law has a life beyond all numbers: these rows do not tell one.",
        ));
    }
    let cut = best - CHI2_95 / 2.0;
    let low = edge(&likelihood, u, best, -1.0);
    let high = edge(&likelihood, u, best, 1.0);
    let tops = counts.between.iter().map(|it| it.high).chain(counts.ages.last().map(|at| at.age));
    let oldest = tops.fold(0.0, f64::max);
    let loglik = likelihood.in_units(best);
    let (failures, n) = (counts.failures, counts.n);
    Ok(Weibull { eta, beta, loglik, failures, n, oldest, likelihood, c, cut, low, high })
}

fn too_few(counts: &Counts) -> String {
    let many = match counts.failures {
        0 => "no failure".to_owned(),
        1 => "one failure".to_owned(),
        more => format!("{more} failures"),
    };
    format!("{many} among {}: at least {FEWEST_FAILURES} are needed to tell wear from chance.", counts.n)
}

/// Where the profile is highest if there is one peak alone, as without late entries: it is concave in the shape.
fn highest(of: &Likelihood) -> Result<f64, Refused> {
    let slope = |u: f64| of.at(u).slope();
    // Noise of the sums counts as no slope at all.
    let noise = 1e-11 * of.terms();
    let start = of.guess().clamp(of.from, of.to);
    let here = slope(start);
    let up = here > 0.0;
    let mut inner = (start, here);
    let mut step = STEP;
    loop {
        let next = if up { inner.0 + step } else { inner.0 - step };
        if next > of.to {
            return Err(Refused::no_maximum(ALL_AT_ONE_AGE));
        }
        if next < of.from {
            return Err(Refused::no_maximum(NO_AGE_TELLS));
        }
        let outer = (next, slope(next));
        if (up && outer.1 < -noise) || (!up && outer.1 > noise) {
            return Ok(root(slope, inner, outer, 0.0));
        }
        if (outer.1 > 0.0) == up {
            inner = outer;
        }
        step *= 1.5;
    }
}

const ALL_AT_ONE_AGE: &str = "The failures lie so close to one age, with nothing that lived past it, that any steeper law fits \
                              better: there is no best one.";
const NO_AGE_TELLS: &str = "The failures do not depend on age in these rows, so any flatter law fits better: there is no best one. \
                            Pieces watched from a younger age are needed.";

/// The highest of the peaks of the profile.
fn highest_of_several(of: &Likelihood) -> Result<f64, Refused> {
    let steps = ((of.to - of.from) / STEP).ceil().max(8.0) as usize;
    let place = |i: usize| of.from + (of.to - of.from) * i as f64 / steps as f64;
    let heights: Vec<f64> = (0..=steps).map(|i| of.profile(place(i))).collect();
    let best = (0..=steps).max_by(|a, b| heights[*a].total_cmp(&heights[*b])).unwrap_or(0);
    let (flat, steep) = (heights[0], heights[steps]);
    let top = heights[best];
    if top - steep < SAME_HEIGHT {
        return Err(Refused::no_maximum(ALL_AT_ONE_AGE));
    }
    if top - flat < SAME_HEIGHT {
        return Err(Refused::no_maximum(NO_AGE_TELLS));
    }
    let (from, to) = (place(best.saturating_sub(1)), place((best + 1).min(steps)));
    let slope = |u: f64| of.at(u).slope();
    let (first, last) = (slope(from), slope(to));
    if first > 0.0 && last < 0.0 {
        return Ok(root(slope, (from, first), (to, last), 0.0));
    }
    Ok(peak(|u| of.profile(u), from, to, TRIES, 1e-12).0)
}

/// Where the profile has fallen by half of chi-squared, on one side.
fn edge(of: &Likelihood, peak: f64, best: f64, side: f64) -> Edge {
    let cut = best - CHI2_95 / 2.0;
    let above = |u: f64| of.profile(u) - cut;
    let mut inner = (peak, CHI2_95 / 2.0);
    // A first step about as far as a law with that many failures reaches.
    let mut step = 2.0 / of.terms().sqrt();
    loop {
        let end = if side > 0.0 { of.to } else { of.from };
        let next = inner.0 + side * step;
        let past = (next - end) * side >= 0.0;
        let next = if past { end } else { next };
        let outer = (next, above(next));
        if outer.1 <= 0.0 {
            return Edge { u: root(above, inner, outer, 1e-12), open: false };
        }
        if past {
            return Edge { u: end, open: true };
        }
        inner = outer;
        step *= 2.0;
    }
}

/// Which end of the limits is meant.
#[derive(Clone, Copy, PartialEq)]
enum End {
    Low,
    High,
}

impl Weibull {
    /// The highest and the lowest value, over all plausible laws, of something that rises (`rising`) or falls with the hazard;
    /// given as a logarithm. None where it has no end.
    fn extreme(&self, end: End, rising: bool, log: impl Fn(f64, f64) -> f64) -> Option<f64> {
        let side = if (end == End::High) == rising { 1.0 } else { -1.0 };
        let sign = if end == End::High { 1.0 } else { -1.0 };
        let value = |u: f64| {
            let slice: Slice = self.likelihood.at(u);
            sign * log(slice.falls_to(self.cut, side), u.exp())
        };
        let (low, high) = (self.low.u, self.high.u);
        let found = peak(value, low, high, TRIES, 1e-7 * (high - low)).1;
        if self.low.open {
            // Where shapes go down to 0 the value may go on for ever, or come to rest.
            let (last, beyond) = (value(low), value(low - 2.0));
            let runs_away = beyond.is_nan() || beyond > last + 1e-6;
            if runs_away && last > found - 1e-6 * (1.0 + found.abs()) {
                return None;
            }
        }
        (!found.is_nan()).then_some(sign * found)
    }

    /// Limits of an age, from its logarithm in reference ages.
    fn age_limits(&self, log: impl Fn(f64, f64) -> f64) -> Limits {
        let reference = self.likelihood.reference;
        let low =
            self.extreme(End::Low, false, &log).map_or(0.0, |log| (reference * log.exp()).min(f64::MAX));
        let high = self.extreme(End::High, false, &log).map(|log| reference * log.exp());
        Limits { low, high: high.filter(|high| *high <= NEVER * self.oldest) }
    }

    /// Laws that the data leave plausible, eta, beta and a weight each, the weights adding up to 1: places of Gauss and Legendre over
    /// the shapes and, within each, over the lives, weighed by likelihood, alike in the logarithms of both.
    pub fn plausible(&self) -> Vec<(f64, f64, f64)> {
        let best = self.cut + CHI2_95 / 2.0;
        let of = &self.likelihood;
        // Twice as deep as the limits of one value, since two move at once here; and a shape twenty times the best is not meant.
        let u = self.beta.ln();
        let end =
            |edge: Edge| if edge.open { u + (edge.u - u).clamp(-3.0, 3.0) } else { u + 1.6 * (edge.u - u) };
        let (low, high) = (end(self.low), end(self.high));
        let mut laws = vec![];
        for (place, share) in LEGENDRE {
            let at = 0.5 * (low + high + place * (high - low));
            let slice = of.at(at);
            let cut = slice.best - DEEP;
            let (from, to) = (slice.falls_to(cut, -1.0), slice.falls_to(cut, 1.0));
            for (inner, inner_share) in LEGENDRE {
                let c = 0.5 * (from + to + inner * (to - from));
                let b = at.exp();
                let eta = of.reference * (-c / b).exp();
                let weight = share * inner_share * (to - from) / b * (slice.value(c) - best).exp();
                if eta.is_finite() && eta > 0.0 && weight > 0.0 {
                    laws.push((eta, b, weight));
                }
            }
        }
        let sum: f64 = laws.iter().map(|law| law.2).sum();
        for law in &mut laws {
            law.2 /= sum;
        }
        laws
    }

    pub fn beta_limits(&self) -> Limits {
        let low = if self.low.open { 0.0 } else { self.low.u.exp() };
        Limits { low, high: (!self.high.open).then(|| self.high.u.exp()) }
    }

    pub fn eta_limits(&self) -> Limits {
        self.age_limits(|c, b| -c / b)
    }

    /// The age by which this share has failed.
    pub fn b(&self, share: f64) -> f64 {
        (self.eta * (hazard_of(share).ln() / self.beta).exp()).min(f64::MAX)
    }

    pub fn b_limits(&self, share: f64) -> Limits {
        let log = hazard_of(share).ln();
        self.age_limits(|c, b| (log - c) / b)
    }

    /// The share that lives past an age.
    pub fn survival(&self, age: f64) -> f64 {
        (-(self.c + self.beta * self.likelihood.x(age)).exp()).exp()
    }

    pub fn survival_limits(&self, age: f64) -> Limits {
        if age <= 0.0 {
            return Limits { low: 1.0, high: Some(1.0) };
        }
        let x = self.likelihood.x(age);
        let log = |c: f64, b: f64| c + b * x;
        let low = self.extreme(End::High, true, log).map_or(0.0, |log| (-log.exp()).exp());
        let high = self.extreme(End::Low, true, log).map_or(1.0, |log| (-log.exp()).exp());
        Limits { low, high: Some(high) }
    }

    /// The logarithm of the hazard between two ages, by c and shape.
    fn log_hazard(&self, age: f64, horizon: f64) -> impl Fn(f64, f64) -> f64 {
        let (from, to) = (self.likelihood.x(age), self.likelihood.x(age + horizon));
        // ln((age + horizon) / age), exact also where the horizon is short.
        let width = if age > 0.0 { (horizon / age).ln_1p() } else { f64::INFINITY };
        move |c, b| match b * width {
            y if y > 700.0 => c + b * to,
            y => c + b * from + y.exp_m1().ln(),
        }
    }

    /// The chance that one that is whole at an age fails within a horizon.
    pub fn fail_within(&self, age: f64, horizon: f64) -> f64 {
        if horizon <= 0.0 {
            return 0.0;
        }
        chance(self.log_hazard(age.max(0.0), horizon)(self.c, self.beta))
    }

    pub fn fail_within_limits(&self, age: f64, horizon: f64) -> Limits {
        if horizon <= 0.0 {
            return Limits { low: 0.0, high: Some(0.0) };
        }
        let log = self.log_hazard(age.max(0.0), horizon);
        let low = self.extreme(End::Low, true, &log).map_or(0.0, chance);
        let high = self.extreme(End::High, true, &log).map_or(1.0, chance);
        Limits { low, high: Some(high) }
    }

    /// The logarithm, in reference ages, of how much longer half of those live that are whole at an age.
    fn log_remaining(&self, age: f64) -> impl Fn(f64, f64) -> f64 {
        let x = self.likelihood.x(age);
        move |c, b| {
            let half = std::f64::consts::LN_2.ln() - c;
            if x == f64::NEG_INFINITY {
                return half / b;
            }
            // (a + m)^b = a^b (1 + ln 2 / H(a)).
            let more = half - b * x;
            let grown = if more > 700.0 { more } else { more.exp().ln_1p() } / b;
            x + if grown > 700.0 { grown } else { grown.exp_m1().ln() }
        }
    }

    pub fn remaining(&self, age: f64) -> f64 {
        (self.likelihood.reference * self.log_remaining(age.max(0.0))(self.c, self.beta).exp()).min(f64::MAX)
    }

    pub fn remaining_limits(&self, age: f64) -> Limits {
        self.age_limits(self.log_remaining(age.max(0.0)))
    }
}

/// The chance that one that is whole at an age fails within a window, under a known law.
pub fn chance_to_fail(age: f64, window: f64, eta: f64, beta: f64) -> f64 {
    let (x, y) = (age.ln() - eta.ln(), (age + window).ln() - eta.ln());
    let log = match beta * (window / age).ln_1p() {
        _ if window <= 0.0 => return 0.0,
        grown if age > 0.0 && grown < 700.0 => beta * x + grown.exp_m1().ln(),
        _ => beta * y,
    };
    chance(log)
}

/// The cumulative hazard at which this share has failed.
fn hazard_of(share: f64) -> f64 {
    -(-share).ln_1p()
}

fn chance(log_hazard: f64) -> f64 {
    -(-log_hazard.exp()).exp_m1()
}
