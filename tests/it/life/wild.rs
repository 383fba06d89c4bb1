//! Whatever the rows are: numbers or a sentence, never a NaN and never an infinite one.

use fettle::analysis::life::{
    Life, Row, Unit, Why, few, kaplan_meier, mcf, replacement, spares, trend, weibull,
};
use fettle::formats::{life, life_answer};
use proptest::prelude::*;
use serde_json::Value;

use super::row;

/// Ages that a mistake can make, and ages that something extreme can.
fn age() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => (0_u32..50).prop_map(f64::from),
        1 => Just(0.0),
        1 => 1e-9..1e-6,
        1 => 1e8..1e12,
        1 => prop::num::f64::POSITIVE,
        1 => prop::num::f64::ANY,
    ]
}

/// Ages that make sense, over all sizes.
fn sound_age() -> impl Strategy<Value = f64> {
    prop_oneof![(1_u32..60).prop_map(f64::from), 1e-6..1e9, Just(1e-6), Just(1e9), Just(7.0)]
}

fn wild() -> impl Strategy<Value = Vec<Row>> {
    let count = prop_oneof![4 => 1_u64..5, 1 => Just(0), 1 => Just(u64::MAX), 1 => 1_u64..1 << 50];
    let one = (age(), age(), proptest::option::of(age()), count);
    let one = one.prop_map(|(entry, lo, hi, count)| Row { entry, lo, hi, count });
    proptest::collection::vec(one, 0..12)
}

/// Rows whose ages are in order, of every kind.
fn sound() -> impl Strategy<Value = Vec<Row>> {
    let one = (sound_age(), sound_age(), sound_age(), 0_u8..6, prop_oneof![1_u64..4, 1_u64..1 << 40]);
    let one = one.prop_map(|(a, b, c, kind, count)| {
        let mut ages = [a, b, c];
        ages.sort_unstable_by(f64::total_cmp);
        let [low, middle, high] = ages;
        match kind {
            0 | 1 => row(0.0, middle, Some(middle), count),
            2 => row(0.0, high, None, count),
            3 if middle < high => row(0.0, middle, Some(high), count),
            4 if low < middle => row(low, middle, Some(middle), count),
            5 => row(low, high, None, count),
            _ => row(0.0, 0.0, Some(high), count),
        }
    });
    proptest::collection::vec(one, 3..14)
}

/// No number of an answer is missing where one ought to be: JSON writes what is no number as null.
fn no_nulls(value: &Value, place: &str) {
    match value {
        Value::Object(fields) => {
            fields.iter().for_each(|(name, value)| no_nulls(value, &format!("{place}.{name}")))
        }
        Value::Array(all) => all.iter().enumerate().for_each(|(at, value)| {
            // Only the upper of two limits may be missing.
            let upper = at == 1 && place.contains("ci95_lr");
            if !(upper && value.is_null()) {
                no_nulls(value, &format!("{place}[{at}]"));
            }
        }),
        Value::Null => panic!("{place} is no number"),
        _ => {}
    }
}

fn answered(rows: &[Row], at: f64, horizon: f64) {
    match weibull::fit(rows).and_then(|law| life_answer::weibull(&law, Some(at), Some(horizon))) {
        Ok(answer) => no_nulls(&answer, ""),
        Err(refused) => assert!(refused.said.len() > 20 && !refused.said.contains("NaN"), "{refused:?}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn wild_rows_get_a_sentence_or_numbers(rows in wild(), at in age(), horizon in age()) {
        answered(&rows, at, horizon);
    }

    #[test]
    fn rows_in_order_get_a_sentence_or_numbers(rows in sound(), at in sound_age(), horizon in sound_age()) {
        answered(&rows, at, horizon);
    }

    #[test]
    fn wild_lives_get_a_sentence_or_a_curve(
        lives in proptest::collection::vec((age(), age(), any::<bool>(), 1_u64..4), 0..20), start in proptest::option::of(age()),
    ) {
        let life = |(entry, exit, event, count)| Life { entry, exit, event, count };
        let lives: Vec<Life> = lives.into_iter().map(life).collect();
        if let Ok(curve) = kaplan_meier::curve(&lives, start) {
            let mut last = 1.0;
            for step in &curve.steps {
                let limits = [step.low, step.high, step.plain_low, step.plain_high];
                prop_assert!(limits.iter().flatten().all(|limit| (0.0..=1.0).contains(limit)), "{step:?}");
                prop_assert!(step.survival < last && step.survival >= 0.0 && step.events <= step.at_risk, "{step:?}");
                prop_assert!(step.hazard.is_finite() && step.hazard_low.is_finite() && step.hazard_high.is_finite());
                prop_assert!(step.variance.is_none() == (step.survival == 0.0), "{step:?}");
                last = step.survival;
                if last == 0.0 {
                    break;
                }
            }
        }
    }

    #[test]
    fn wild_numbers_get_a_sentence_or_numbers(a in age(), b in age(), c in age(), d in age(), n in 0_u64..40) {
        let finite = |numbers: &[f64]| assert!(numbers.iter().all(|number| number.is_finite()), "{numbers:?}");
        if let Ok(found) = replacement::optimum(a, b, c, d) {
            finite(&[found.run_to_failure_rate]);
            if let Some(best) = found.best {
                finite(&[best.age, best.rate, best.saving, best.fails_before, best.flat_from]);
                assert!(best.flat_from <= best.age && best.flat_to.is_none_or(|to| to >= best.age), "{best:?}");
            }
        }
        if let Ok(rate) = few::rate_exact(n, a) {
            finite(&[rate.rate, rate.low, rate.high, rate.at_most]);
        }
        if let Ok(law) = few::weibayes(a, n, &[(b, 30), (c, 10)]) {
            finite(&[law.sum, law.eta_at_least, law.b10_at_least, law.eta.unwrap_or(0.0)]);
        }
        if let Ok(demand) = spares::fleet(&[a, b, 10.0, 20.0], 30.0, 2.0, c) {
            finite(&[demand.expected, demand.sd, demand.prob_zero]);
            assert!(demand.stock95 <= demand.stock99 && demand.stock99 <= 4, "{demand:?}");
        }
        if let Ok(law) = trend::power_law(&[a, b, c], d, false) {
            finite(&[law.beta, law.lambda, law.next_tenth, law.tests.laplace, law.tests.handbook_p]);
        }
        if let Ok(steps) = mcf(&[Unit { start: a, end: b, events: vec![c] }, Unit { start: 0.0, end: 40.0, events: vec![d] }]) {
            steps.iter().for_each(|step| finite(&[step.mean, step.se, step.low, step.high]));
        }
    }

    #[test]
    fn wild_text_gets_an_answer_or_an_error(text in ".{0,60}", kind in prop::sample::select(life::KINDS.to_vec())) {
        if let Ok(problem) = life::read_data(kind, text.as_bytes()) {
            let _ = life_answer::of(problem);
        }
    }
}

#[track_caller]
fn refused(why: Why, rows: &[Row]) {
    let refused = weibull::fit(rows).expect_err("nothing to be answered");
    assert_eq!(refused.why, why, "{refused:?}");
}

#[test]
fn what_has_no_best_law_is_refused() {
    let exact = |age: f64, count: u64| row(0.0, age, Some(age), count);
    refused(Why::TooFewFailures, &[]);
    refused(Why::TooFewFailures, &[exact(80.0, 2), row(0.0, 100.0, None, 50)]);
    // All failed at one age, and nothing lived past it: any steeper law fits better.
    refused(Why::NoMaximum, &[exact(100.0, 5)]);
    refused(Why::NoMaximum, &[exact(100.0, 5), row(0.0, 100.0, None, 5), row(0.0, 60.0, None, 5)]);
    refused(Why::NoMaximum, &[row(0.0, 100.0, Some(200.0), 5)]);
    refused(Why::NoMaximum, &[row(0.0, 100.0, Some(200.0), 5), row(0.0, 100.0, None, 9)]);
    // None was ever seen whole.
    refused(Why::NoMaximum, &[row(0.0, 0.0, Some(200.0), 5)]);
    // Watched from one age on and failed at once: any flatter law fits better.
    refused(
        Why::NoMaximum,
        &[row(100.0, 101.0, Some(101.0), 5), row(50.0, 50.5, Some(50.5), 5), row(100.0, 300.0, None, 1)],
    );
    // All failed at one age, but others lived past it: that has a best law.
    assert!(weibull::fit(&[exact(100.0, 5), row(0.0, 200.0, None, 3)]).is_ok());
}

/// Found by trying: ages whose ratio, and costs whose rate, leave the numbers.
#[test]
fn ages_and_costs_at_the_ends_of_numbers_get_a_sentence() {
    refused(Why::NoMaximum, &[row(2.8e-309, 1.0, Some(1.0), 3)]);
    answered(
        &[row(2.8e-309, 1.0, Some(1.0), 3), row(0.0, 1e300, Some(1e300), 2), row(0.0, 5.0, None, 1)],
        1e-308,
        1e308,
    );
    // Half of these live on beyond all numbers.
    let flat = [
        row(0.0, 0.0, Some(1e-6), 966_391_327_057),
        row(0.0, 1.0, Some(1.0), 37_828_313_644),
        row(0.0, 1e9, None, 1_670_237_633_307),
    ];
    answered(&flat, 1e9, 1.0);
    assert_eq!(replacement::optimum(5e-226, 1e-153, 6e217, 2.0).unwrap_err().why, Why::InvalidRows);
}

#[test]
fn rows_that_make_no_sense_are_refused_before_anything_else() {
    let good = row(0.0, 60.0, Some(60.0), 3);
    for wrong in [
        row(120.0, 80.0, Some(80.0), 1),
        row(120.0, 80.0, None, 1),
        row(80.0, 80.0, Some(80.0), 1),
        row(0.0, 50.0, Some(40.0), 1),
        row(0.0, -1.0, None, 1),
        row(-5.0, 10.0, None, 1),
        row(0.0, 0.0, Some(0.0), 1),
        row(0.0, f64::NAN, None, 1),
        row(f64::NAN, 5.0, None, 1),
        row(0.0, 5.0, Some(f64::NAN), 1),
        row(0.0, 5.0, Some(f64::INFINITY), 1),
        row(0.0, f64::INFINITY, None, 1),
        row(0.0, 5.0, None, 0),
        row(0.0, 5.0, None, u64::MAX),
    ] {
        refused(Why::InvalidRows, &[good, wrong]);
        refused(Why::InvalidRows, &[wrong]);
        let said = weibull::fit(&[good, wrong]).unwrap_err().said;
        assert!(said.starts_with("Row 2: ") || said.starts_with("In all rows"), "{said}");
    }
    // A new piece that was never used says nothing, and is no mistake.
    let new = [good, row(0.0, 80.0, Some(80.0), 2), row(0.0, 0.0, None, 9), row(40.0, 40.0, None, 2)];
    let (with, without) = (weibull::fit(&new).unwrap(), weibull::fit(&new[..2]).unwrap());
    assert_eq!((with.eta, with.beta, with.n), (without.eta, without.beta, 16));
}
