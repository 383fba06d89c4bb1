//! How many spares are enough: from a mean alone, or from each piece's own age.

use std::collections::BTreeMap;

use super::special::{log_gamma, poisson_above, poisson_up_to};
use super::weibull::chance_to_fail;
use super::{Refused, Weibull};

/// The smallest stock that is enough with a certainty, where demand is Poisson's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stock {
    pub stock: u64,
    /// The certainty that it gives, and that one fewer would give.
    pub chance: f64,
    pub chance_of_one_less: f64,
    /// How many pieces will be waited for, on average.
    pub waited_for: f64,
}

pub fn poisson(mean: f64, level: f64) -> Result<Stock, Refused> {
    const MOST: f64 = 1e12;
    if !(mean.is_finite() && (0.0..=MOST).contains(&mean)) {
        return Err(Refused::invalid(format!("The mean is {mean}; a number from 0 to {MOST} is needed.")));
    }
    if !(level > 0.0 && level < 1.0) {
        return Err(Refused::invalid(format!("The level is {level}; a share between 0 and 1 is needed.")));
    }
    // Halving between too few and enough.
    let (mut few, mut enough) = (-1.0, (mean + 40.0 * (mean + 1.0).sqrt() + 40.0).ceil());
    while enough - few > 1.0 {
        let middle = ((few + enough) / 2.0_f64).floor();
        if poisson_up_to(middle, mean) >= level { enough = middle } else { few = middle }
    }
    Ok(Stock {
        stock: enough as u64,
        chance: poisson_up_to(enough, mean),
        chance_of_one_less: poisson_up_to(enough - 1.0, mean),
        waited_for: (mean * poisson_above(enough - 1.0, mean) - enough * poisson_above(enough, mean))
            .max(0.0),
    })
}

/// What a fleet will need within a window, each piece at most once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Demand {
    pub expected: f64,
    pub sd: f64,
    pub stock95: u64,
    pub stock99: u64,
    pub prob_zero: f64,
}

/// The exact law of the sum over pieces that fail or not, each by its own age.
pub fn fleet(ages: &[f64], eta: f64, beta: f64, window: f64) -> Result<Demand, Refused> {
    let above_zero = |value: f64| value.is_finite() && value > 0.0;
    if !above_zero(eta) || !above_zero(beta) {
        return Err(Refused::invalid(format!("eta is {eta} and beta {beta}; numbers above 0 are needed.")));
    }
    let counted = counted(ages, window)?;
    let groups: Vec<(f64, u64)> =
        counted.iter().map(|(age, count)| (chance_to_fail(*age, window, eta, beta), *count)).collect();
    Ok(Law::of(&groups).demand())
}

/// The same where the law itself is known only as well as its failures tell: the mean over all laws that the data leave plausible,
/// each weighed by its likelihood. The same data give the same answer.
pub fn with_uncertainty(weibull: &Weibull, ages: &[f64], window: f64) -> Result<Demand, Refused> {
    let counted = counted(ages, window)?;
    let mut mixed = Law { from: 0, chances: vec![], expected: 0.0, square: 0.0, zero: 0.0 };
    for (eta, beta, weight) in weibull.plausible() {
        let groups: Vec<(f64, u64)> =
            counted.iter().map(|(age, count)| (chance_to_fail(*age, window, eta, beta), *count)).collect();
        mixed.mix(&Law::of(&groups), weight);
    }
    Ok(mixed.demand())
}

/// Pieces by age.
fn counted(ages: &[f64], window: f64) -> Result<Vec<(f64, u64)>, Refused> {
    let is_age = |age: f64| age.is_finite() && age >= 0.0;
    if let Some(at) = ages.iter().position(|age| !is_age(*age)) {
        return Err(Refused::invalid(format!("Piece {}: an age of 0 or more is needed.", at + 1)));
    }
    if !is_age(window) {
        return Err(Refused::invalid(format!("The window is {window}; an age of 0 or more is needed.")));
    }
    // Ages are not negative, so their bits are in their order.
    let mut counted: BTreeMap<u64, u64> = BTreeMap::new();
    for age in ages {
        *counted.entry(age.to_bits()).or_default() += 1;
    }
    Ok(counted.into_iter().map(|(age, count)| (f64::from_bits(age), count)).collect())
}

/// The chances of each number of failures, tails that do not matter left away.
struct Law {
    /// The number that the first chance is of.
    from: usize,
    chances: Vec<f64>,
    expected: f64,
    /// The mean of the square.
    square: f64,
    zero: f64,
}

/// Chances below this change no stock.
const NOTHING: f64 = 1e-18;

impl Law {
    /// Of groups of pieces with the same chance.
    fn of(groups: &[(f64, u64)]) -> Law {
        let mut rows = Vec::with_capacity(groups.len());
        let (mut expected, mut variance, mut log_zero) = (0.0, 0.0, 0.0);
        for (chance, count) in groups {
            let n = *count as f64;
            expected += n * chance;
            variance += n * chance * (1.0 - chance);
            log_zero += n * (-chance).ln_1p();
            rows.push(binomial(*chance, *count));
        }
        let (from, chances) = folded(rows);
        Law { from, chances, expected, square: variance + expected * expected, zero: f64::exp(log_zero) }
    }

    fn mix(&mut self, other: &Law, weight: f64) {
        let end = other.from + other.chances.len();
        if self.chances.len() < end {
            self.chances.resize(end, 0.0);
        }
        for (cell, chance) in self.chances[other.from..].iter_mut().zip(&other.chances) {
            *cell += weight * chance;
        }
        self.expected += weight * other.expected;
        self.square += weight * other.square;
        self.zero += weight * other.zero;
    }

    fn demand(&self) -> Demand {
        let total: f64 = self.chances.iter().sum();
        let stock = |level: f64| {
            let mut sum = 0.0;
            let enough = self.chances.iter().position(|chance| {
                sum += chance / total;
                sum >= level
            });
            (self.from + enough.unwrap_or(self.chances.len().saturating_sub(1))) as u64
        };
        Demand {
            expected: self.expected,
            sd: (self.square - self.expected * self.expected).max(0.0).sqrt(),
            stock95: stock(0.95),
            stock99: stock(0.99),
            prob_zero: self.zero,
        }
    }
}

/// The chances of numbers, from the one that the first chance is of.
type Row = (usize, Vec<f64>);

/// The law of a sum, neighbours first: short rows are cheap to fold, and few long ones remain.
fn folded(mut rows: Vec<Row>) -> Row {
    while rows.len() > 1 {
        let mut halved = Vec::with_capacity(rows.len().div_ceil(2));
        let mut left = rows.into_iter();
        while let Some(first) = left.next() {
            halved.push(match left.next() {
                Some(second) => both(first, second),
                None => first,
            });
        }
        rows = halved;
    }
    rows.pop().unwrap_or((0, vec![1.0]))
}

/// The law of the sum of two.
fn both(first: Row, second: Row) -> Row {
    let (short, long) = if first.1.len() < second.1.len() { (first, second) } else { (second, first) };
    let mut sum = vec![0.0; short.1.len() + long.1.len() - 1];
    for (i, a) in short.1.iter().enumerate() {
        for (cell, b) in sum[i..].iter_mut().zip(&long.1) {
            *cell += a * b;
        }
    }
    let cut = trim(&mut sum);
    (short.0 + long.0 + cut, sum)
}

/// Cuts off both tails; how many places the start moved.
fn trim(chances: &mut Vec<f64>) -> usize {
    let last = chances.iter().rposition(|chance| *chance > NOTHING).unwrap_or(0);
    chances.truncate(last + 1);
    let first = chances.iter().position(|chance| *chance > NOTHING).unwrap_or(0);
    chances.drain(..first);
    first
}

/// The chances of each number among so many alike, from the most likely one outwards.
fn binomial(chance: f64, count: u64) -> (usize, Vec<f64>) {
    if chance <= 0.0 {
        return (0, vec![1.0]);
    }
    if chance >= 1.0 {
        return (count as usize, vec![1.0]);
    }
    let n = count as f64;
    let odds = chance / (1.0 - chance);
    let mode = ((n + 1.0) * chance).floor().min(n);
    let log = log_gamma(n + 1.0) - log_gamma(mode + 1.0) - log_gamma(n - mode + 1.0)
        + mode * chance.ln()
        + (n - mode) * (-chance).ln_1p();
    let top = log.exp();
    let (mut below, mut above) = (vec![], vec![]);
    let (mut value, mut k) = (top, mode);
    while k > 0.0 && value > NOTHING {
        value *= k / ((n - k + 1.0) * odds);
        k -= 1.0;
        below.push(value);
    }
    let from = k as usize;
    (value, k) = (top, mode);
    while k < n && value > NOTHING {
        value *= (n - k) * odds / (k + 1.0);
        k += 1.0;
        above.push(value);
    }
    (from, below.into_iter().rev().chain([top]).chain(above).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Piece by piece, without groups and without cutting: the definition of the law of such a sum.
    fn one_by_one(ages: &[f64], eta: f64, beta: f64, window: f64) -> Vec<f64> {
        let mut law = vec![1.0];
        for age in ages {
            let chance = chance_to_fail(*age, window, eta, beta);
            let mut next = vec![0.0; law.len() + 1];
            for (k, so_far) in law.iter().enumerate() {
                next[k] += so_far * (1.0 - chance);
                next[k + 1] += so_far * chance;
            }
            law = next;
        }
        law
    }

    #[test]
    fn equal_ages_in_one_group_give_what_each_piece_by_itself_gives() {
        let mut seed = 41_u64;
        for pieces in [1_usize, 2, 3, 7, 20, 64] {
            let ages: Vec<f64> = (0..pieces)
                .map(|_| {
                    seed =
                        seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    ((seed >> 33) % 9 * 30) as f64
                })
                .collect();
            let law = one_by_one(&ages, 200.0, 2.0, 40.0);
            let counted = counted(&ages, 40.0).unwrap();
            let group = |(age, many): &(f64, u64)| (chance_to_fail(*age, 40.0, 200.0, 2.0), *many);
            let pooled = Law::of(&counted.iter().map(group).collect::<Vec<_>>());
            for (k, chance) in law.iter().enumerate() {
                let at = k.checked_sub(pooled.from).and_then(|at| pooled.chances.get(at));
                let found = at.copied().unwrap_or(0.0);
                assert!((found - chance).abs() < 1e-12, "{k} of {pieces}: {found} against {chance}");
            }
            let mean: f64 = law.iter().enumerate().map(|(k, chance)| k as f64 * chance).sum();
            let demand = fleet(&ages, 200.0, 2.0, 40.0).unwrap();
            assert!((demand.expected - mean).abs() < 1e-9 && (demand.prob_zero - law[0]).abs() < 1e-12);
            let enough = |level: f64| {
                let mut sum = 0.0;
                law.iter().position(|chance| {
                    sum += chance;
                    sum >= level
                })
            };
            assert_eq!(
                (Some(demand.stock95 as usize), Some(demand.stock99 as usize)),
                (enough(0.95), enough(0.99))
            );
        }
    }
}
