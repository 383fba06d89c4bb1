//! What must hold of any fit: counts are as good as rows, units do not matter, and at a limit the likelihood has fallen by 1.92.

use fettle::analysis::life::counts::Counts;
use fettle::analysis::life::{CHI2_95, Limits, Row, Weibull, Why, weibull};
use proptest::prelude::*;

use super::row;

/// The logarithm of the chance of these rows under a law, as the textbooks write it, row by row.
fn loglik(rows: &[Row], eta: f64, beta: f64) -> f64 {
    let hazard = |age: f64| (age / eta).powf(beta);
    let of = |row: &Row| {
        let chance = match row.hi {
            None => -hazard(row.lo),
            Some(hi) if hi == row.lo => (beta / hi).ln() + hazard(hi).ln() - hazard(hi),
            Some(hi) => -hazard(row.lo) + (-(hazard(row.lo) - hazard(hi)).exp_m1()).ln(),
        };
        row.count as f64 * (chance + hazard(row.entry))
    };
    rows.iter().map(of).sum()
}

/// The highest value of a function with one peak, by golden section.
fn highest(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let golden = 0.618_033_988_749_895;
    for _ in 0..80 {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if f(a) > f(b) { high = b } else { low = a }
    }
    f(0.5 * (low + high))
}

/// Some exact failures, some between inspections, some still whole, some late; at least three of the first and two ages.
fn rows() -> impl Strategy<Value = Vec<Row>> {
    let exact =
        (1_u32..400, 1_u64..4).prop_map(|(age, count)| row(0.0, f64::from(age), Some(f64::from(age)), count));
    let between = (0_u32..20, 1_u64..3).prop_map(|(at, count)| {
        let lo = f64::from(at * 20);
        row(0.0, lo, Some(lo + 20.0), count)
    });
    let whole = (1_u32..500, 1_u64..30).prop_map(|(age, count)| row(0.0, f64::from(age), None, count));
    let late = (1_u32..200, 1_u32..200, any::<bool>()).prop_map(|(entry, more, failed)| {
        let age = f64::from(entry + more);
        row(f64::from(entry), age, failed.then_some(age), 1)
    });
    use proptest::collection::vec;
    (vec(exact, 4..20), vec(between, 0..8), vec(whole, 1..10), vec(late, 0..10))
        .prop_map(|(exact, between, whole, late)| [exact, between, whole, late].concat())
}

fn fitted(rows: &[Row]) -> Option<Weibull> {
    match weibull::fit(rows) {
        Ok(law) => Some(law),
        Err(refused) => {
            assert_eq!(refused.why, Why::NoMaximum, "{refused:?}");
            None
        }
    }
}

fn all_limits(law: &Weibull, age: f64) -> Vec<(&'static str, f64, Limits)> {
    vec![
        ("eta", law.eta, law.eta_limits()),
        ("beta", law.beta, law.beta_limits()),
        ("B10", law.b(0.1), law.b_limits(0.1)),
        ("B50", law.b(0.5), law.b_limits(0.5)),
        ("remaining", law.remaining(age), law.remaining_limits(age)),
        ("fail within", law.fail_within(age, age / 3.0), law.fail_within_limits(age, age / 3.0)),
        ("survival", law.survival(age), law.survival_limits(age)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_count_is_as_good_as_so_many_rows(rows in rows(), seed in any::<u64>()) {
        let one = |row: &Row| std::iter::repeat_n(Row { count: 1, ..*row }, row.count as usize);
        let mut single: Vec<Row> = rows.iter().flat_map(one).collect();
        let mut random = super::sets::Random(seed);
        for at in (1..single.len()).rev() {
            single.swap(at, random.below(at as u64 + 1) as usize);
        }
        let counted = Counts::of_rows(rows.iter().copied()).unwrap();
        prop_assert_eq!(&counted, &Counts::of_rows(single).unwrap());
        prop_assert_eq!(counted.n, rows.iter().map(|row| row.count).sum::<u64>());
        if let Some(law) = fitted(&rows) {
            let by_rows = loglik(&rows, law.eta, law.beta);
            prop_assert!((law.loglik - by_rows).abs() < 1e-9 * by_rows.abs().max(1.0), "{} {by_rows}", law.loglik);
        }
    }

    #[test]
    fn no_law_nearby_is_more_likely(rows in rows()) {
        if let Some(law) = fitted(&rows) {
            for (eta, beta) in [(1.01, 1.0), (0.99, 1.0), (1.0, 1.01), (1.0, 0.99), (1.005, 0.99), (0.995, 0.99), (1.01, 1.01)] {
                prop_assert!(loglik(&rows, law.eta * eta, law.beta * beta) <= law.loglik + 1e-9 * law.loglik.abs());
            }
        }
    }

    #[test]
    fn the_unit_of_age_does_not_matter(rows in rows(), by in prop::sample::select(vec![1e-6, 0.1, 3.7, 1e9])) {
        let Some(law) = fitted(&rows) else { return Ok(()) };
        let scaled = |row: &Row| Row { entry: row.entry * by, lo: row.lo * by, hi: row.hi.map(|hi| hi * by), ..*row };
        let other = weibull::fit(&rows.iter().map(scaled).collect::<Vec<Row>>()).unwrap();
        prop_assert!((other.beta / law.beta - 1.0).abs() < 1e-7, "{} {}", other.beta, law.beta);
        prop_assert!((other.eta / law.eta / by - 1.0).abs() < 1e-7);
        for (name, (ours, theirs)) in [
            ("B10", (law.b_limits(0.1), other.b_limits(0.1))),
            ("remaining", (law.remaining_limits(50.0), other.remaining_limits(50.0 * by))),
        ] {
            prop_assert!((theirs.low - ours.low * by).abs() <= 1e-5 * ours.low * by, "{name}: {ours:?} {theirs:?}");
            match (ours.high, theirs.high) {
                (Some(ours), Some(theirs)) => prop_assert!((theirs / ours / by - 1.0).abs() < 1e-5, "{name}"),
                (ours, theirs) => prop_assert_eq!(ours.is_some(), theirs.is_some()),
            }
        }
    }

    #[test]
    fn at_a_limit_the_likelihood_has_fallen_by_half_of_chi_squared(rows in rows()) {
        let Some(law) = fitted(&rows) else { return Ok(()) };
        let late = rows.iter().any(|row| row.entry > 0.0);
        let level = law.loglik - CHI2_95 / 2.0;
        let near = |name: &str, at: f64, best: f64| {
            // With late entries the likelihood may have hills beside; then it has fallen at least somewhere up to the limit.
            assert!((best - level).abs() < 2e-5 || (late && best > level), "{name} {at}: {best}, {level} is needed");
        };
        let (log_eta, log_beta) = (law.eta.ln(), law.beta.ln());
        let limits = law.beta_limits();
        for beta in [Some(limits.low).filter(|low| *low > 0.0), limits.high].into_iter().flatten() {
            let wide = 3.0 + 6.0 / beta;
            near("beta", beta, highest(|log| loglik(&rows, log.exp(), beta), log_eta - wide, log_eta + wide));
        }
        for share in [0.1, 0.5] {
            let q = -f64::ln_1p(-share);
            let limits = law.b_limits(share);
            for age in [Some(limits.low).filter(|low| *low > 0.0), limits.high].into_iter().flatten() {
                let of = |log: f64| loglik(&rows, age * q.powf(-1.0 / log.exp()), log.exp());
                near("B", age, highest(of, log_beta - 2.5, log_beta + 2.5));
            }
        }
    }

    #[test]
    fn every_value_lies_within_its_limits(rows in rows(), age in 1_u32..600) {
        let Some(law) = fitted(&rows) else { return Ok(()) };
        for (name, value, limits) in all_limits(&law, f64::from(age)) {
            let slack = 1e-9 * value;
            prop_assert!(limits.low <= value + slack && limits.low >= 0.0, "{name}: {value} {limits:?}");
            prop_assert!(limits.high.is_none_or(|high| high >= value - slack), "{name}: {value} {limits:?}");
        }
    }

    #[test]
    fn with_no_failure_there_is_no_law(rows in rows()) {
        let whole: Vec<Row> = rows.iter().map(|row| Row { hi: None, ..*row }).collect();
        prop_assert_eq!(weibull::fit(&whole).unwrap_err().why, Why::TooFewFailures);
    }
}

/// In closed form: exponential lives (shape held at 1 by symmetry of nothing) are not fitted here, but with one shape the life is:
/// eta^beta is the sum of all ages to that power over the failures.
#[test]
fn the_life_of_a_shape_is_its_closed_form() {
    let rows: Vec<Row> = (1..=30)
        .map(|n| {
            let age = f64::from(n * n);
            row(0.0, age, (n % 3 != 0).then_some(age), 2)
        })
        .collect();
    let law = weibull::fit(&rows).unwrap();
    let sum: f64 = rows.iter().map(|row| row.count as f64 * row.lo.powf(law.beta)).sum();
    super::near(law.eta, (sum / 40.0).powf(1.0 / law.beta), 1e-10, "eta");
    assert_eq!((law.failures, law.n, law.oldest), (40, 60, 900.0));
}

/// A million pieces of few ages, and counts of a hundred million, are the same to the fit as one hundred.
#[test]
fn more_of_the_same_moves_no_estimate_and_narrows_its_limits() {
    let of = |count: u64| {
        let rows = [
            row(0.0, 40.0, Some(40.0), count),
            row(0.0, 90.0, Some(90.0), 2 * count),
            row(0.0, 120.0, None, 7 * count),
        ];
        weibull::fit(&rows).unwrap()
    };
    let (few, many) = (of(2), of(200_000_000));
    super::near(many.beta, few.beta, 1e-9, "beta");
    super::near(many.eta, few.eta, 1e-9, "eta");
    let width = |law: &Weibull| law.b_limits(0.1).high.unwrap() / law.b_limits(0.1).low - 1.0;
    assert!(width(&many) > 0.0 && width(&many) < 1e-3 * width(&few), "{} {}", width(&many), width(&few));
}
