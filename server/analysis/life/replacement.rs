//! At which age to replace what still works: the age-replacement policy (Barlow & Hunter 1960). A planned replacement costs less
//! than a failure, and too early a one wastes life.

use super::Refused;
use super::solve::root;
use super::special::{gamma_below, log_gamma};

/// Ages whose cost is within this share of the least are as good.
pub const AS_GOOD: f64 = 0.02;
/// A saving below this share of the cost is none: the mathematical best then lies at an age that nothing reaches.
const NO_SAVING: f64 = 1e-3;

/// What it costs, per unit of age.
#[derive(Clone, Debug, PartialEq)]
pub struct Replacement {
    /// None where it is best to run to failure.
    pub best: Option<Best>,
    pub run_to_failure_rate: f64,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Best {
    pub age: f64,
    pub rate: f64,
    /// The share of the cost of running to failure that it saves.
    pub saving: f64,
    /// The share that fails before that age.
    pub fails_before: f64,
    /// From which age to which the cost is as good; no upper one where running to failure is.
    pub flat_from: f64,
    pub flat_to: Option<f64>,
}

/// The law in ages of eta, and both costs.
struct Policy {
    beta: f64,
    planned: f64,
    unplanned: f64,
    mean: f64,
}

impl Policy {
    fn failed(&self, log_age: f64) -> f64 {
        -(-(self.beta * log_age).exp()).exp_m1()
    }

    /// The mean time in use until failure or replacement.
    fn used(&self, log_age: f64) -> f64 {
        match self.beta * log_age {
            // Nothing has failed yet: the powers of steep laws leave the numbers here.
            power if power < -40.0 => log_age.exp(),
            power if power > 40.0 => self.mean,
            power => self.mean * gamma_below(1.0 / self.beta, power.exp()),
        }
    }

    fn rate(&self, log_age: f64) -> f64 {
        (self.planned + (self.unplanned - self.planned) * self.failed(log_age)) / self.used(log_age)
    }

    /// Rises with age, and is 0 at the best one: hazard times time in use, less the share failed, less the ratio of costs.
    fn slope(&self, log_age: f64) -> f64 {
        let hazard = self.beta * ((self.beta - 1.0) * log_age).exp();
        hazard * self.used(log_age) - self.failed(log_age) - self.planned / (self.unplanned - self.planned)
    }
}

/// Where a rate crosses a level, from an age at which it lies below and going up or down.
fn crossing(policy: &Policy, best: f64, level: f64, side: f64) -> Option<f64> {
    let off = |log_age: f64| policy.rate(log_age) / level - 1.0;
    let mut inner = (best, off(best));
    for _ in 0..200 {
        let next = inner.0 + side * 0.25;
        let outer = (next, off(next));
        if !outer.1.is_finite() {
            return None;
        }
        if outer.1 > 0.0 {
            return Some(root(off, inner, outer, 1e-12));
        }
        inner = outer;
    }
    None
}

pub fn optimum(planned: f64, unplanned: f64, eta: f64, beta: f64) -> Result<Replacement, Refused> {
    let above_zero = |name: &str, value: f64| {
        let right = value.is_finite() && value > 0.0;
        let said = || Refused::invalid(format!("{name} is {value}; a number above 0 is needed."));
        if right { Ok(()) } else { Err(said()) }
    };
    above_zero("The cost of a planned replacement", planned)?;
    above_zero("The cost of a failure", unplanned)?;
    above_zero("eta", eta)?;
    above_zero("beta", beta)?;
    let mean = log_gamma(1.0 + 1.0 / beta).exp();
    let run_to_failure_rate = unplanned / (eta * mean);
    if !run_to_failure_rate.is_normal() || !mean.is_finite() {
        return Err(Refused::invalid("The mean life of this law, or its cost, is beyond all numbers."));
    }
    let policy = Policy { beta, planned, unplanned, mean };
    let best = best(&policy, eta, run_to_failure_rate);
    Ok(Replacement { best, run_to_failure_rate })
}

/// The same among whole ages alone, as people count and set them: every number is that of the whole age that costs least, and the
/// ages that cost as much are whole too.
pub fn whole_optimum(planned: f64, unplanned: f64, eta: f64, beta: f64) -> Result<Replacement, Refused> {
    let found = optimum(planned, unplanned, eta, beta)?;
    let mean = log_gamma(1.0 + 1.0 / beta).exp();
    let policy = Policy { beta, planned, unplanned, mean };
    let best = found.best.map(|best| whole(&policy, eta, best.age, found.run_to_failure_rate));
    Ok(Replacement { best, ..found })
}

/// The cheaper of the whole ages beside the best one: the cost falls up to it and rises from it.
fn whole(policy: &Policy, eta: f64, best: f64, run_to_failure_rate: f64) -> Best {
    let rate = |age: f64| policy.rate((age / eta).ln()) / eta;
    let below = best.floor().max(1.0);
    let age = if rate(below + 1.0) < rate(below) { below + 1.0 } else { below };
    let level = rate(age) * (1.0 + AS_GOOD);
    let log_age = (age / eta).ln();
    let side = |side: f64| crossing(policy, log_age, level * eta, side).map(|log_age| eta * log_age.exp());
    let inside = |found: f64| [found - 1.0, found, found + 1.0].into_iter().filter(|it| rate(*it) <= level);
    let from = side(-1.0).map_or(1.0, |from| inside(from.ceil().max(2.0)).fold(age, f64::min));
    let to = match run_to_failure_rate <= level {
        true => None,
        false => side(1.0).map(|to| inside(to.floor()).fold(age, f64::max)),
    };
    Best {
        age,
        rate: rate(age),
        saving: 1.0 - rate(age) / run_to_failure_rate,
        fails_before: policy.failed(log_age),
        flat_from: from,
        flat_to: to.filter(|to| to.is_finite()),
    }
}

fn best(policy: &Policy, eta: f64, run_to_failure_rate: f64) -> Option<Best> {
    if policy.beta <= 1.0 || policy.unplanned <= policy.planned {
        return None;
    }
    let slope = |log_age: f64| policy.slope(log_age);
    // Everything has failed long before the hazard reaches e^7.
    let (mut low, high) = (-1.0, 7.0 / policy.beta);
    if slope(high) <= 0.0 {
        return None;
    }
    while slope(low) > 0.0 && low > -600.0 {
        low *= 2.0;
    }
    let at = root(slope, (low, slope(low)), (high, slope(high)), 1e-14);
    let rate = policy.rate(at);
    let saving = 1.0 - rate / (eta * run_to_failure_rate);
    if !saving.is_finite() || saving < NO_SAVING {
        return None;
    }
    let level = rate * (1.0 + AS_GOOD);
    let to = if run_to_failure_rate * eta <= level { None } else { crossing(policy, at, level, 1.0) };
    Some(Best {
        age: eta * at.exp(),
        rate: rate / eta,
        saving,
        fails_before: policy.failed(at),
        flat_from: crossing(policy, at, level, -1.0).map_or(0.0, |log_age| eta * log_age.exp()),
        flat_to: to.map(|log_age| eta * log_age.exp()).filter(|age| age.is_finite()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hardly anything fails before the best age of a steep law, so its cost falls as 1 / age, and 2 % more is that age / 1.02;
    /// past eta everything has failed.
    #[test]
    fn the_flat_range_of_a_steep_law_is_a_narrow_one() {
        for beta in [500.0, 2_900.0, 3_000.0, 10_000.0, 1e6] {
            let best = optimum(1.0, 10.0, 100.0, beta).ok().and_then(|it| it.best).expect("a best age");
            let from = best.age / best.flat_from;
            assert!((from - 1.02).abs() < 3e-3, "{beta}: {from}");
            let to = best.flat_to.expect("an end");
            assert!(to > best.age && to < 100.0, "{beta}: {to}");
        }
    }
}
