//! Curves, comparisons and counts of repairs: what must hold of them by themselves.

use fettle::analysis::life::{Life, Refused, Unit, Why, holm, kaplan_meier, logrank, mcf, trend};

use super::near;
use super::sets::Random;

fn life(entry: f64, exit: f64, event: bool) -> Life {
    Life { entry, exit, event, count: 1 }
}

/// Klein & Moeschberger 2003, section 4.6: with late entries the curve is that of those alive at an age, from the failures at that
/// age on.
#[test]
fn a_curve_may_start_where_enough_are_at_risk() {
    let lives = [
        life(0.0, 3.0, true),
        life(1.0, 4.0, true),
        life(2.0, 10.0, true),
        life(2.0, 12.0, false),
        life(5.0, 10.0, true),
        life(5.0, 14.0, true),
        life(8.0, 9.0, false),
        life(0.0, 8.0, true),
    ];
    let whole = kaplan_meier::curve(&lives, None).unwrap();
    assert_eq!(whole.steps.iter().map(|step| step.at_risk).collect::<Vec<u64>>(), [5, 4, 5, 4, 1]);
    assert_eq!((whole.n, whole.events), (8, 6));
    let from = kaplan_meier::curve(&lives, Some(8.0)).unwrap();
    assert_eq!((from.n, from.events, from.steps.len()), (6, 4, 3));
    near(from.survival(8.0), 0.8, 1e-15, "at its start");
    near(from.survival(10.0), 0.8 * 0.5, 1e-15, "after two of four");
    // The ratio of two shares of the whole curve is the same.
    near(from.survival(10.0), whole.survival(10.0) / whole.survival(7.9), 1e-14, "ratio");
    assert_eq!(
        (whole.at_risk(0.0), whole.at_risk(2.0), whole.at_risk(8.0), whole.at_risk(20.0)),
        (2, 3, 5, 0)
    );
    assert_eq!(kaplan_meier::curve(&lives, Some(-1.0)).unwrap_err().why, Why::InvalidRows);
    assert_eq!(kaplan_meier::curve(&lives, Some(f64::NAN)).unwrap_err().why, Why::InvalidRows);
}

/// With nothing censored the curve is the share that lives on, and Greenwood's variance that of a binomial share.
#[test]
fn without_censoring_the_curve_counts() {
    let lives: Vec<Life> = (1..=40).map(|n| life(0.0, f64::from(n / 2 + 1), true)).collect();
    let curve = kaplan_meier::curve(&lives, None).unwrap();
    for step in &curve.steps {
        let living = lives.iter().filter(|life| life.exit > step.age).count() as f64 / 40.0;
        assert!((step.survival - living).abs() < 1e-14, "{step:?}");
        if let Some(variance) = step.variance {
            near(variance, living * (1.0 - living) / 40.0, 1e-12, "variance");
        }
    }
    assert_eq!(
        curve.steps.last().map(|step| (step.survival, step.low, step.variance)),
        Some((0.0, None, None))
    );
    assert_eq!(curve.median().age, Some(11.0));
}

#[test]
fn wrong_lives_are_refused() {
    for wrong in [
        life(5.0, 3.0, false),
        life(5.0, 5.0, true),
        life(0.0, 0.0, true),
        life(0.0, f64::NAN, false),
        life(-1.0, 3.0, true),
    ] {
        assert_eq!(kaplan_meier::curve(&[wrong], None).unwrap_err().why, Why::InvalidRows, "{wrong:?}");
        let said = logrank(&[vec![life(0.0, 4.0, true)], vec![wrong]]).unwrap_err().said;
        assert!(said.starts_with("Group 2: Row 1: "), "{said}");
    }
    let nothing = kaplan_meier::curve(&[], None).unwrap();
    assert!(nothing.steps.is_empty() && nothing.median().age.is_none());
}

#[test]
fn equal_groups_do_not_differ_and_the_order_of_groups_says_nothing() {
    let mut random = Random(5);
    let mut group = |eta: f64| -> Vec<Life> {
        (0..40)
            .map(|_| {
                let age = random.weibull(eta, 2.0).ceil();
                life(0.0, age.min(60.0), age <= 60.0)
            })
            .collect()
    };
    let (a, b, c) = (group(40.0), group(55.0), group(80.0));
    let same = logrank(&[a.clone(), a.clone(), a.clone()]).unwrap();
    assert!(same.chisq < 1e-12 && same.p > 0.999 && same.df == 2, "{same:?}");
    let (one, other) =
        (logrank(&[a.clone(), b.clone(), c.clone()]).unwrap(), logrank(&[c.clone(), a.clone(), b]).unwrap());
    near(one.chisq, other.chisq, 1e-12, "order");
    assert!(one.p < 0.01 && one.is_sound(), "{one:?}");
    let sum = |numbers: &[f64]| numbers.iter().sum::<f64>();
    near(sum(&one.expected), one.observed.iter().sum::<u64>() as f64, 1e-12, "all that failed were expected");
    // A group of which nobody was ever at risk with others counts for no degree of freedom.
    let never = vec![life(0.0, 0.5, false)];
    assert_eq!(logrank(&[a.clone(), c, never]).unwrap().df, 1);
    let few = |groups: &[Vec<Life>]| logrank(groups).unwrap_err().why;
    assert_eq!(few(std::slice::from_ref(&a)), Why::TooFewFailures);
    assert_eq!(few(&[a, vec![]]), Why::TooFewFailures);
    assert_eq!(few(&[vec![life(0.0, 5.0, false)], vec![life(0.0, 4.0, false)]]), Why::TooFewFailures);
}

/// Holm 1979: of four chances the least is multiplied by four, the next by three, and none falls below one before it.
#[test]
fn several_comparisons_are_corrected() {
    let raised = holm(&[0.03, 0.001, 0.5, 0.012, 0.8]);
    for (found, wanted) in raised.iter().zip([0.09, 0.005, 1.0, 0.048, 1.0]) {
        near(*found, wanted, 1e-12, "Holm");
    }
    assert!(holm(&[]).is_empty());
}

/// Watched all alike, the mean is the count of repairs by their number, and its variance that of a mean (divided by n, not n - 1).
#[test]
fn repairs_of_things_watched_alike_are_averaged() {
    let mut random = Random(9);
    let mut unit = || {
        let mut events: Vec<f64> = (0..random.below(6)).map(|_| 1.0 + random.below(99) as f64).collect();
        events.sort_unstable_by(f64::total_cmp);
        Unit { start: 0.0, end: 100.0, events }
    };
    let units: Vec<Unit> = (0..25).map(|_| unit()).collect();
    let steps = mcf(&units).unwrap();
    for step in &steps {
        let had: Vec<f64> =
            units.iter().map(|it| it.events.iter().filter(|age| **age <= step.age).count() as f64).collect();
        let mean = had.iter().sum::<f64>() / 25.0;
        let variance = had.iter().map(|had| (had - mean) * (had - mean)).sum::<f64>() / 25.0 / 25.0;
        near(step.mean, mean, 1e-12, "mean");
        near(step.se, variance.sqrt(), 1e-9, "error");
        assert!(step.low < step.mean && step.high > step.mean && step.at_risk == 25);
    }
    assert!(steps.len() > 20);
}

#[test]
fn wrong_units_are_refused() {
    let unit = |start: f64, end: f64, events: &[f64]| Unit { start, end, events: events.to_vec() };
    let why = |result: Result<Vec<fettle::analysis::life::McfStep>, Refused>| result.unwrap_err().why;
    for wrong in [
        unit(5.0, 3.0, &[]),
        unit(0.0, 9.0, &[10.0]),
        unit(2.0, 9.0, &[2.0]),
        unit(0.0, f64::NAN, &[]),
        unit(-1.0, 9.0, &[]),
    ] {
        assert_eq!(why(mcf(&[unit(0.0, 5.0, &[1.0]), wrong])), Why::InvalidRows);
    }
    assert_eq!(mcf(&[]).unwrap(), []);
}

/// Repairs that come ever faster, and ever slower; and one thing alone is the same as many of one.
#[test]
fn both_tests_see_a_trend() {
    let power = |beta: f64| -> Vec<f64> {
        (1..=20).map(|n| 100.0 * (f64::from(n) / 20.5).powf(1.0 / beta)).collect()
    };
    let faster = trend::power_law(&power(2.5), 100.0, false).unwrap();
    assert!(faster.tests.is_clear() && faster.tests.laplace > 2.0 && faster.beta > 2.0, "{faster:?}");
    let slower = trend::power_law(&power(0.5), 100.0, false).unwrap();
    assert!(slower.tests.is_clear() && slower.tests.laplace < -2.0 && slower.beta < 0.6, "{slower:?}");
    let steady = trend::power_law(&power(1.0), 100.0, false).unwrap();
    assert!(!steady.tests.is_clear() && steady.tests.handbook_p > 0.5, "{steady:?}");
    assert!(steady.beta_limits.low < 1.0 && steady.beta_limits.high > Some(1.0));
    let one = trend::of_many(&[Unit { start: 0.0, end: 100.0, events: power(2.5) }]).unwrap().unwrap();
    assert_eq!(one, faster.tests);
    assert_eq!(trend::of_many(&[Unit { start: 0.0, end: 9.0, events: vec![] }]).unwrap(), None);
    let refused =
        |times: &[f64], end: f64, by_failure: bool| trend::power_law(times, end, by_failure).unwrap_err().why;
    assert_eq!(refused(&[1.0, 2.0], 3.0, false), Why::TooFewFailures);
    assert_eq!(refused(&[1.0, 2.0, 4.0], 3.0, false), Why::InvalidRows);
    assert_eq!(refused(&[1.0, 2.0, 3.0], 4.0, true), Why::InvalidRows);
    assert_eq!(refused(&[0.0, 2.0, 3.0], 4.0, false), Why::InvalidRows);
    assert_eq!(refused(&[4.0, 4.0, 4.0], 4.0, false), Why::NoMaximum);
}
