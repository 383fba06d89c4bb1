//! Replacement, spares, few failures and charts of rare defects, against tables and against plain sums.

use fettle::analysis::chart_rare;
use fettle::analysis::life::{Row, Why, few, replacement, spares, weibull};

use super::near;
use super::sets::Random;

/// Exact limits of a Poisson mean, 95 % two-sided, as tabulated (Garwood 1936; Pearson & Hartley 1966, table 40; from memory), and the
/// "rule of three" with its digits, -ln 0.05.
#[test]
fn exact_limits_are_those_of_the_tables() {
    let table = [
        (0, 0.0, 3.689),
        (1, 0.0253, 5.572),
        (2, 0.242, 7.225),
        (3, 0.619, 8.767),
        (5, 1.62, 11.67),
        (10, 4.80, 18.39),
    ];
    for (failures, low, high) in table {
        let rate = few::rate_exact(failures, 1.0).unwrap();
        assert!((rate.low - low).abs() < 0.006 && (rate.high - high).abs() < 0.006, "{failures}: {rate:?}");
    }
    near(few::rate_exact(0, 1000.0).unwrap().at_most, -(0.05_f64.ln()) / 1000.0, 1e-12, "rule of three");
    assert_eq!(few::rate_exact(3, 0.0).unwrap_err().why, Why::InvalidRows);
    assert_eq!(few::rate_exact(3, f64::NAN).unwrap_err().why, Why::InvalidRows);
}

/// With an assumed shape of 1 it is the exponential law, whose rate has the exact limit.
#[test]
fn an_assumed_shape_of_one_is_a_rate() {
    let law = few::weibayes(1.0, 2, &[(100.0, 10), (50.0, 4)]).unwrap();
    near(law.eta_at_least, 1.0 / few::rate_exact(2, 1200.0).unwrap().at_most, 1e-12, "eta");
    near(law.eta.unwrap(), 600.0, 1e-12, "eta");
    near(law.b10_at_least, -law.eta_at_least * 0.9_f64.ln(), 1e-12, "B10");
    let why =
        |beta: f64, failures: u64, ages: &[(f64, u64)]| few::weibayes(beta, failures, ages).unwrap_err().why;
    assert_eq!(why(0.0, 0, &[(1.0, 1)]), Why::InvalidRows);
    assert_eq!(why(2.0, 3, &[(1.0, 2)]), Why::InvalidRows);
    assert_eq!(why(2.0, 0, &[(-1.0, 2)]), Why::InvalidRows);
    assert_eq!(why(2.0, 0, &[(0.0, 2)]), Why::InvalidRows);
}

/// The cost of a policy by adding up: planned and unplanned replacements over the mean time in use, by Simpson's rule.
fn cost(planned: f64, unplanned: f64, eta: f64, beta: f64, age: f64) -> f64 {
    let survival = |t: f64| (-(t / eta).powf(beta)).exp();
    let n = 20_000;
    let step = age / f64::from(n);
    let inner = |k: i32| f64::from(if k % 2 == 0 { 2 } else { 4 }) * survival(f64::from(k) * step);
    let used = step / 3.0 * (1.0 + survival(age) + (1..n).map(inner).sum::<f64>());
    (planned * survival(age) + unplanned * (1.0 - survival(age))) / used
}

/// Every whole age tried, by plain sums (the policy is that of Barlow & Hunter 1960): what is said of an age is said of that whole
/// age, and none is cheaper.
fn whole_ages_cost_what_they_cost() {
    for (planned, unplanned, eta, beta) in
        [(1.0, 9.0, 22.0, 3.2), (1.0, 5.0, 10.0, 2.5), (5.0, 100.0, 2.4, 4.0), (1.0, 20.0, 40.0, 1.5)]
    {
        let best = replacement::whole_optimum(planned, unplanned, eta, beta).unwrap().best.unwrap();
        let at = |age: f64| cost(planned, unplanned, eta, beta, age);
        let ages: Vec<f64> = (1..120).map(f64::from).collect();
        let cheapest = ages.iter().copied().min_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap();
        assert_eq!(best.age, cheapest, "{best:?}");
        near(best.rate, at(cheapest), 1e-7, "rate of the whole age");
        near(best.fails_before, 1.0 - (-(cheapest / eta).powf(beta)).exp(), 1e-12, "fails before it");
        let as_good: Vec<f64> = ages.into_iter().filter(|age| at(*age) <= 1.02 * at(cheapest)).collect();
        assert_eq!((best.flat_from, best.flat_to), (as_good[0], as_good.last().copied()), "{as_good:?}");
        let continuous = replacement::optimum(planned, unplanned, eta, beta).unwrap().best.unwrap();
        assert!(best.saving <= continuous.saving && (best.age - continuous.age).abs() <= 1.0);
    }
}

#[test]
fn the_best_age_costs_least_by_plain_sums() {
    for (planned, unplanned, eta, beta) in
        [(1.0, 5.0, 1000.0, 2.5), (5.0, 100.0, 250.0, 4.0), (30.0, 90.0, 60.0, 1.6)]
    {
        let best = replacement::optimum(planned, unplanned, eta, beta).unwrap().best.unwrap();
        let at = |age: f64| cost(planned, unplanned, eta, beta, age);
        near(best.rate, at(best.age), 1e-7, "rate");
        assert!(at(best.age * 1.02) > best.rate && at(best.age * 0.98) > best.rate, "{best:?}");
        near(at(best.flat_from), 1.02 * best.rate, 1e-6, "where the flat range begins");
        if let Some(to) = best.flat_to {
            near(at(to), 1.02 * best.rate, 1e-6, "where the flat range ends");
        }
    }
    whole_ages_cost_what_they_cost();
    let none = |planned: f64, unplanned: f64, beta: f64| {
        replacement::optimum(planned, unplanned, 100.0, beta).unwrap().best.is_none()
    };
    assert!(none(1.0, 5.0, 1.0) && none(5.0, 5.0, 3.0) && none(9.0, 5.0, 3.0) && none(1.0, 1.0001, 1.01));
    for wrong in
        [(0.0, 5.0, 1.0, 2.0), (1.0, -5.0, 1.0, 2.0), (1.0, 5.0, f64::NAN, 2.0), (1.0, 5.0, 1.0, 0.0)]
    {
        let refused = replacement::optimum(wrong.0, wrong.1, wrong.2, wrong.3).unwrap_err();
        assert!(refused.why == Why::InvalidRows && refused.said.contains("above 0"), "{refused:?}");
    }
}

/// The law of a sum of unlike chances, piece by piece.
#[test]
fn a_fleet_is_added_up_piece_by_piece() {
    let mut random = Random(3);
    let ages: Vec<f64> = (0..300).map(|_| random.below(90) as f64).collect();
    let (eta, beta, window) = (120.0, 2.6, 15.0);
    let survival = |age: f64| (-(age / eta).powf(beta)).exp();
    let mut chances = vec![1.0];
    for age in &ages {
        let chance = 1.0 - survival(age + window) / survival(*age);
        let fewer = std::iter::once(0.0).chain(chances.iter().copied());
        chances = fewer
            .zip(chances.iter().copied().chain([0.0]))
            .map(|(one_less, same)| chance * one_less + (1.0 - chance) * same)
            .collect();
    }
    let stock = |level: f64| {
        let mut sum = 0.0;
        chances
            .iter()
            .position(|chance| {
                sum += chance;
                sum >= level
            })
            .unwrap() as u64
    };
    let expected: f64 = chances.iter().enumerate().map(|(k, chance)| k as f64 * chance).sum();
    let square: f64 = chances.iter().enumerate().map(|(k, chance)| (k * k) as f64 * chance).sum();
    let demand = spares::fleet(&ages, eta, beta, window).unwrap();
    near(demand.expected, expected, 1e-10, "expected");
    near(demand.sd, (square - expected * expected).sqrt(), 1e-8, "spread");
    near(demand.prob_zero, chances[0], 1e-9, "none");
    assert_eq!((demand.stock95, demand.stock99), (stock(0.95), stock(0.99)));
    let nothing = spares::fleet(&[], eta, beta, window).unwrap();
    assert_eq!((nothing.expected, nothing.stock99, nothing.prob_zero), (0.0, 0, 1.0));
    assert_eq!(spares::fleet(&[-1.0], eta, beta, window).unwrap_err().why, Why::InvalidRows);
    assert_eq!(spares::fleet(&[1.0], eta, 0.0, window).unwrap_err().why, Why::InvalidRows);
}

/// What is not known of the law itself asks for more spares, less so the more failures there were; and it is the same each time.
#[test]
fn not_knowing_the_law_asks_for_more_spares() {
    let ages: Vec<f64> = (0..200).map(|n| f64::from(n % 100)).collect();
    let wider = |times: u64| {
        let exact = |age: u32| Row { entry: 0.0, lo: f64::from(age), hi: Some(f64::from(age)), count: times };
        let mut rows: Vec<Row> = [40, 70, 80, 95].into_iter().map(exact).collect();
        rows.push(Row { entry: 0.0, lo: 100.0, hi: None, count: 30 * times });
        let law = weibull::fit(&rows).unwrap();
        let sum: f64 = law.plausible().iter().map(|law| law.2).sum();
        near(sum, 1.0, 1e-12, "weights");
        let known = spares::fleet(&ages, law.eta, law.beta, 20.0).unwrap();
        let found = spares::with_uncertainty(&law, &ages, 20.0).unwrap();
        assert_eq!(found, spares::with_uncertainty(&law, &ages, 20.0).unwrap());
        assert!(
            (found.expected / known.expected - 1.0).abs() < 0.5 / (times as f64).sqrt(),
            "{known:?} {found:?}"
        );
        (known, found)
    };
    let (known, found) = wider(1);
    assert!(found.sd > 1.2 * known.sd && found.stock99 > known.stock99, "{known:?} {found:?}");
    let (known, found) = wider(1000);
    assert!(found.sd < 1.02 * known.sd && found.stock99 - known.stock99 <= 1, "{known:?} {found:?}");
}

/// The smallest stock of a Poisson demand, by adding chances up.
#[test]
fn a_stock_is_the_smallest_that_is_enough() {
    for (mean, level) in [(0.0_f64, 0.95), (0.01, 0.95), (3.7, 0.5), (12.0, 0.999), (480.0, 0.95)] {
        let (mut chance, mut sum, mut enough) = ((-mean).exp(), 0.0, 0);
        loop {
            sum += chance;
            if sum >= level {
                break;
            }
            enough += 1;
            chance *= mean / f64::from(enough);
        }
        let stock = spares::poisson(mean, level).unwrap();
        assert_eq!(stock.stock, u64::try_from(enough).unwrap(), "{mean} {level}");
        near(stock.chance, sum, 1e-9, "chance");
        assert!(stock.chance_of_one_less < level && stock.waited_for >= 0.0);
    }
    for (mean, level) in [(-1.0, 0.9), (f64::NAN, 0.9), (1e13, 0.9), (3.0, 0.0), (3.0, 1.0)] {
        assert_eq!(spares::poisson(mean, level).unwrap_err().why, Why::InvalidRows);
    }
}

#[test]
fn charts_take_unequal_sizes_and_refuse_what_is_none() {
    let chart = chart_rare::shares(&[(2, 100), (3, 50), (40, 100), (0, 10)]).unwrap();
    near(chart.center, 45.0 / 260.0, 1e-15, "center");
    assert!(chart.high[0] < chart.high[1] && chart.high[3] <= 1.0 && chart.low[3] == 0.0, "{chart:?}");
    assert_eq!(chart.outside, [0, 2]);
    assert!(chart_rare::shares(&[]).is_none() && chart_rare::shares(&[(1, 0)]).is_none());
    assert!(chart_rare::shares(&[(3, 2)]).is_none());
    let none = chart_rare::between(&[0.0, 0.0]).unwrap();
    assert_eq!((none.center, none.exact_high, none.chance), (0.0, 0.0, 1.0));
    assert!(chart_rare::between(&[]).is_none() && chart_rare::between(&[f64::NAN]).is_none());
    // P(X <= x) at the exact upper limit is all but three deviations' tail.
    let chart = chart_rare::between(&[400.0, 300.0, 100.0]).unwrap();
    near((1.0 - chart.chance).powf(chart.exact_high + 1.0), 0.00135, 1e-9, "tail");
}
