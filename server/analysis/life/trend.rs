//! Do repairs come ever faster? The power law of a thing that is repaired and goes on (Crow 1974; MIL-HDBK-189C), and the two
//! usual tests of a trend, that of Laplace and that of the handbook.

use super::mcf::{Unit, check};
use super::special::{chi_squared_above, chi_squared_below, chi_squared_quantile, normal_outside};
use super::{FEWEST_FAILURES, Limits, Refused, Why};

/// The expected number of repairs up to age t is lambda t^beta.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerLaw {
    pub n: u64,
    pub beta: f64,
    pub lambda: f64,
    /// Exact limits of beta.
    pub beta_limits: Limits,
    pub beta_unbiased: f64,
    /// At the end of watching: the time between repairs now, and on average so far; repairs per unit of age now.
    pub between_now: f64,
    pub between_so_far: f64,
    pub intensity: f64,
    pub tests: Trend,
    /// Repairs expected in the next tenth of the age.
    pub next_tenth: f64,
}

/// Both tests of "no trend". Where they disagree there is no clear one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Above 0 where repairs come faster with age.
    pub laplace: f64,
    pub laplace_p: f64,
    /// Below its degrees of freedom where repairs come faster with age.
    pub handbook: f64,
    pub handbook_df: f64,
    pub handbook_p: f64,
}

impl Trend {
    /// Both tests see it, and on the same side.
    pub fn is_clear(&self) -> bool {
        self.laplace_p < 0.05
            && self.handbook_p < 0.05
            && (self.laplace > 0.0) == (self.handbook < self.handbook_df)
    }
}

/// One thing, repaired at these ages and watched up to `end`: a time that somebody chose, or the last repair.
pub fn power_law(times: &[f64], end: f64, ends_with_failure: bool) -> Result<PowerLaw, Refused> {
    let mut times = times.to_vec();
    if times.iter().chain([&end]).any(|time| !(time.is_finite() && *time > 0.0)) {
        return Err(Refused::invalid("A time is no number above 0."));
    }
    times.sort_unstable_by(f64::total_cmp);
    let last = times.last().copied().unwrap_or(0.0);
    if last > end {
        return Err(Refused::invalid(format!("A repair at {last} lies after the end of watching, {end}.")));
    }
    if ends_with_failure && !times.is_empty() && last != end {
        let said =
            format!("Watching is said to end with a repair, but the last is at {last} and the end at {end}.");
        return Err(Refused::invalid(said));
    }
    let n = times.len() as u64;
    if n < FEWEST_FAILURES {
        return Err(Refused {
            why: Why::TooFewFailures,
            said: match n {
                1 => format!("1 repair is too few for a trend; {FEWEST_FAILURES} or more are needed."),
                _ => format!("{n} repairs are too few for a trend; {FEWEST_FAILURES} or more are needed."),
            },
        });
    }
    let inner = if ends_with_failure { &times[..times.len() - 1] } else { &times[..] };
    let tests = tests(inner.iter().map(|time| (0.0, end, *time)));
    let sum = 0.5 * tests.handbook;
    if sum <= 0.0 {
        return Err(Refused::no_maximum(
            "All repairs lie at the end of watching, so any steeper trend fits better.",
        ));
    }
    let count = n as f64;
    let beta = count / sum;
    let limit = |chance: f64| beta * chi_squared_quantile(chance, tests.handbook_df) / (2.0 * count);
    let fewer = if ends_with_failure { 2.0 } else { 1.0 };
    let lambda = (count.ln() - beta * end.ln()).exp();
    let grown = count * (beta * 1.1_f64.ln()).exp_m1();
    if ![sum, beta, lambda, grown, tests.laplace].iter().all(|number| number.is_finite()) {
        return Err(Refused::no_maximum(
            "The trend is too steep for numbers: the repairs lie too close to the end.",
        ));
    }
    Ok(PowerLaw {
        n,
        beta,
        lambda,
        beta_limits: Limits { low: limit(0.025), high: Some(limit(0.975)) },
        beta_unbiased: beta * (count - fewer) / count,
        between_now: end / (count * beta),
        between_so_far: end / count,
        intensity: count * beta / end,
        tests,
        next_tenth: grown,
    })
}

/// Many things at once: what each had, against the time in which it was watched. None where nothing was repaired, or where all
/// repairs lie at an end.
pub fn of_many(units: &[Unit]) -> Result<Option<Trend>, Refused> {
    check(units)?;
    let all = units.iter().flat_map(|unit| unit.events.iter().map(|event| (unit.start, unit.end, *event)));
    let found = tests(all);
    Ok((found.handbook > 0.0 && found.laplace.is_finite()).then_some(found))
}

/// Without a trend each event is as likely anywhere between start and end; the handbook's test needs the share of the time.
fn tests(events: impl Iterator<Item = (f64, f64, f64)>) -> Trend {
    let (mut off, mut variance, mut logs, mut n) = (0.0, 0.0, 0.0, 0.0);
    let events: Vec<(f64, f64, f64)> = events.collect();
    // In ages of the highest end, so that no square leaves the numbers.
    let scale = events.iter().map(|event| event.1).fold(0.0, f64::max);
    for (start, end, event) in events {
        let (start, end, event) = (start / scale, end / scale, event / scale);
        let width = end - start;
        off += event - 0.5 * (start + end);
        variance += width * width / 12.0;
        logs += ((event - start) / width).ln();
        n += 1.0;
    }
    let laplace = off / f64::sqrt(variance);
    let (handbook, df): (f64, f64) = (-2.0 * logs, 2.0 * n);
    let below = chi_squared_below(handbook, df.max(1.0));
    let above = chi_squared_above(handbook, df.max(1.0));
    let handbook_p = (2.0 * below.min(above)).min(1.0);
    Trend { laplace, laplace_p: normal_outside(laplace), handbook, handbook_df: df, handbook_p }
}
