//! The likelihood of a Weibull law, in the logarithm of the cumulative hazard at one age of the data and the logarithm of the
//! shape.
//!
//! With x the logarithm of an age over that age, the hazard up to it is exp(c + b x). What entered late or was last seen whole
//! adds the same sum whatever c is, so for one shape b everything exact comes from one number, and the likelihood is
//! concave in c. A failure between two ages is one seen whole at the lower and failed by the upper.

use super::counts::Counts;

/// What the likelihood needs of the data.
#[derive(Clone, Debug)]
pub struct Likelihood {
    /// Logarithms of ages over the reference, by rising age, the reference being the last and 0.
    x: Vec<f64>,
    /// Exits less entries at each.
    weight: Vec<f64>,
    weight_sum: f64,
    /// Exact failures, and the sums of their x and x².
    exact: f64,
    exact_x: f64,
    exact_xx: f64,
    between: Vec<Pair>,
    /// The reference age.
    pub reference: f64,
    /// The sum of the logarithms of the ages of exact failures.
    log_ages: f64,
    pub truncated: bool,
    /// Between which logarithms of shapes anything changes.
    pub from: f64,
    pub to: f64,
}

#[derive(Clone, Copy, Debug)]
struct Pair {
    /// Minus infinity for age 0.
    low: f64,
    high: f64,
    count: f64,
}

/// The likelihood at one shape, as a function of c.
pub struct Slice<'a> {
    of: &'a Likelihood,
    b: f64,
    /// The sum of t^b over exits less that over entries, t in reference ages; and its derivative by b.
    sum: f64,
    sum_b: f64,
    /// For each pair the logarithm of the difference of t^b, and its derivative by b.
    widths: Vec<(f64, f64)>,
    /// Where it is highest.
    pub c: f64,
    /// How high.
    pub best: f64,
}

/// ln(age / reference) without loss where the two are close.
fn log_ratio(age: f64, reference: f64) -> f64 {
    let off = (age - reference) / reference;
    let ratio = age / reference;
    if off.abs() < 0.5 {
        off.ln_1p()
    } else if ratio.is_normal() {
        ratio.ln()
    } else {
        age.ln() - reference.ln()
    }
}

impl Likelihood {
    /// None where no age bounds the hazard from above: nothing was ever seen whole.
    pub fn of(counts: &Counts) -> Option<Likelihood> {
        let weighted = |at: &&super::counts::At| at.age > 0.0 && at.exits != at.entries;
        let reference = counts.ages.iter().filter(weighted).map(|at| at.age).next_back()?;
        let (mut x, mut weight) = (vec![], vec![]);
        let (mut exact, mut exact_x, mut exact_xx, mut log_ages) = (0.0, 0.0, 0.0, 0.0);
        for at in counts.ages.iter().filter(|at| at.age > 0.0) {
            let log = log_ratio(at.age, reference);
            if at.exits != at.entries {
                x.push(log);
                weight.push(at.exits as f64 - at.entries as f64);
            }
            let failures = at.failures as f64;
            exact += failures;
            exact_x += failures * log;
            exact_xx += failures * log * log;
            log_ages += failures * at.age.ln();
        }
        let log = |age: f64| if age > 0.0 { log_ratio(age, reference) } else { f64::NEG_INFINITY };
        let pair = |it: &super::counts::Between| Pair {
            low: log(it.low),
            high: log(it.high),
            count: it.count as f64,
        };
        let between: Vec<Pair> = counts.between.iter().map(pair).collect();
        let weight_sum = weight.iter().sum();
        let (from, to) = scale(counts, reference);
        let truncated = counts.late > 0;
        Some(Likelihood {
            x,
            weight,
            weight_sum,
            exact,
            exact_x,
            exact_xx,
            between,
            reference,
            log_ages,
            truncated,
            from,
            to,
        })
    }

    pub fn x(&self, age: f64) -> f64 {
        if age > 0.0 { log_ratio(age, self.reference) } else { f64::NEG_INFINITY }
    }

    /// The log-likelihood in the units of the ages, from one in reference ages.
    pub fn in_units(&self, value: f64) -> f64 {
        value - self.log_ages
    }

    /// How many failures it rests on.
    pub fn terms(&self) -> f64 {
        self.exact + self.between.iter().map(|pair| pair.count).sum::<f64>()
    }

    /// The logarithm of a shape to begin with: a steep law has its failures close together (the logarithm of a Weibull age has
    /// the standard deviation π / (b √6)).
    pub fn guess(&self) -> f64 {
        let (mut mean, mut square) = (self.exact_x, self.exact_xx);
        for pair in &self.between {
            let x = if pair.low.is_finite() { 0.5 * (pair.low + pair.high) } else { pair.high - 0.5 };
            mean += pair.count * x;
            square += pair.count * x * x;
        }
        let all = self.terms();
        let variance = square / all - (mean / all) * (mean / all);
        let guess = (1.282_549_830_161_864 / variance.max(0.0).sqrt()).ln();
        if guess.is_finite() { guess } else { 0.0 }
    }

    /// At the shape exp(u).
    pub fn at(&self, u: f64) -> Slice<'_> {
        let b = u.exp();
        let pairs = self.x.iter().zip(&self.weight);
        // Where all powers are close to 1 their differences are what counts.
        let near = b * -self.x.first().copied().unwrap_or(0.0) < 1.0;
        let (mut sum, mut sum_b) = (if near { self.weight_sum } else { 0.0 }, 0.0);
        for (x, weight) in pairs {
            let y = b * x;
            let power = y.exp();
            sum += weight * if near { y.exp_m1() } else { power };
            sum_b += weight * x * power;
        }
        let widths = self.between.iter().map(|pair| pair.width(b)).collect();
        let sum = sum.max(f64::MIN_POSITIVE);
        let mut slice = Slice { of: self, b, sum, sum_b, widths, c: 0.0, best: 0.0 };
        slice.c = slice.highest();
        slice.best = slice.value(slice.c);
        slice
    }

    /// How high the likelihood reaches at the shape exp(u).
    pub fn profile(&self, u: f64) -> f64 {
        self.at(u).best
    }
}

impl Pair {
    /// The logarithm of the difference of t^b between both ages, and its derivative by b.
    fn width(&self, b: f64) -> (f64, f64) {
        if self.low == f64::NEG_INFINITY {
            return (b * self.high, self.high);
        }
        let y = b * (self.high - self.low);
        (b * self.high + log_share(y, y.ln()), self.high + pull(y) / b)
    }
}

/// The logarithms of shapes beyond which nothing changes: far below one over the width of all logarithms of ages, and far above
/// one over the smallest step between two.
fn scale(counts: &Counts, reference: f64) -> (f64, f64) {
    let ages = counts.ages.iter().map(|at| at.age);
    let mut ages: Vec<f64> =
        ages.chain(counts.between.iter().map(|it| it.high)).filter(|age| *age > 0.0).collect();
    ages.sort_unstable_by(f64::total_cmp);
    ages.dedup();
    let steps = ages.windows(2).map(|pair| log_ratio(pair[1], pair[0]));
    let least = steps.fold(f64::INFINITY, f64::min);
    let first = ages.first().copied().unwrap_or(reference);
    let last = ages.last().copied().unwrap_or(reference);
    let width = (last.ln() - first.ln()).max(1e-12);
    let least = if least.is_finite() { least.max(1e-15) } else { 1.0 };
    ((1e-6 / width.max(1.0)).ln(), (60.0 / least).ln())
}

/// ln(1 - e^-y), y and its logarithm being known.
fn log_share(y: f64, log_y: f64) -> f64 {
    if y < 1e-10 {
        log_y
    } else if y > std::f64::consts::LN_2 {
        (-(-y).exp()).ln_1p()
    } else {
        (-(-y).exp_m1()).ln()
    }
}

/// y / (e^y - 1), which is 1 at 0.
fn pull(y: f64) -> f64 {
    if y > 700.0 {
        0.0
    } else if y < 1e-300 {
        1.0
    } else {
        y / y.exp_m1()
    }
}

impl Slice<'_> {
    /// For each pair its count, the hazard between its ages, the logarithm of that, and its derivative by b.
    fn pairs(&self, c: f64) -> impl Iterator<Item = (f64, f64, f64, f64)> + '_ {
        let pairs = self.of.between.iter().zip(&self.widths);
        pairs.map(move |(pair, (width, by_b))| (pair.count, (c + width).exp(), c + width, *by_b))
    }

    pub fn value(&self, c: f64) -> f64 {
        let of = self.of;
        let exact = if of.exact > 0.0 { of.exact * (self.b.ln() + c) + self.b * of.exact_x } else { 0.0 };
        let between: f64 = self.pairs(c).map(|(count, y, log_y, _)| count * log_share(y, log_y)).sum();
        exact - c.exp() * self.sum + between
    }

    /// The derivative by c, and the second.
    fn slopes(&self, c: f64) -> (f64, f64) {
        let survived = c.exp() * self.sum;
        let (mut first, mut second) = (self.of.exact - survived, -survived);
        for (count, y, ..) in self.pairs(c) {
            let pulled = pull(y);
            first += count * pulled;
            // y p' with p = y / (e^y - 1): p (1 - p - y).
            second += count
                * if y < 1e-5 || pulled == 0.0 { -0.5 * y.min(pulled) } else { pulled * (1.0 - pulled - y) };
        }
        (first, second)
    }

    /// Where the likelihood of this shape is highest.
    fn highest(&self) -> f64 {
        if self.widths.is_empty() {
            return (self.of.exact / self.sum).ln();
        }
        let all = self.of.exact + self.of.between.iter().map(|pair| pair.count).sum::<f64>();
        // Each pull is at most 1, so the peak lies no higher than this, and the slope there is not above 0.
        let (mut low, mut high) = (f64::NEG_INFINITY, (all / self.sum).ln().min(700.0));
        // Half of each interval counted as survived is near the truth.
        let half: f64 = self.pairs(0.0).map(|(count, y, ..)| count * y).sum();
        let mut c = high.min((all / (self.sum + 0.5 * half)).ln().max(-700.0));
        for _ in 0..100 {
            let (first, second) = self.slopes(c);
            if first > 0.0 {
                low = c
            } else {
                high = c
            }
            let mut next = c - first / second;
            if !next.is_finite() || next <= low || next >= high {
                next = if low.is_finite() { 0.5 * (low + high) } else { high - 2.0 };
            }
            if (next - c).abs() <= 1e-14 * (1.0 + c.abs()) {
                return next;
            }
            c = next;
        }
        c
    }

    /// The derivative of the profile by the logarithm of the shape.
    pub fn slope(&self) -> f64 {
        let exact = self.of.exact * (1.0 / self.b) + self.of.exact_x;
        let between: f64 = self.pairs(self.c).map(|(count, y, _, by_b)| count * pull(y) * by_b).sum();
        self.b * (exact - self.c.exp() * self.sum_b + between)
    }

    /// The c below (`side` -1) or above (1) the highest at which the likelihood has fallen to `cut`.
    pub fn falls_to(&self, cut: f64, side: f64) -> f64 {
        let drop = self.best - cut;
        if drop <= 0.0 {
            return self.c;
        }
        let (_, second) = self.slopes(self.c);
        let mut c = self.c + side * (2.0 * drop / -second).sqrt();
        // The likelihood is concave in c, so from beyond the place each tangent leads nearer to it.
        for _ in 0..100 {
            let next = c - (self.value(c) - cut) / self.slopes(c).0;
            let next = if next.is_finite() { next } else { 0.5 * (c + self.c) };
            if (next - c).abs() <= 1e-13 * (1.0 + c.abs()) {
                return next;
            }
            c = next;
        }
        c
    }
}
