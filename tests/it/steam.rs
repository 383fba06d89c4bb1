//! The saturation line of water against IAPWS R7-97(2012), and lethality against its closed forms.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::analysis::lethality::{a0, f0};
use fettle::analysis::steam::{saturation_pressure_kpa, saturation_temp_c};
use proptest::prelude::*;
use serde_json::Value;

fn agrees(found: f64, expected: f64, tolerance: &Value) -> bool {
    let part = |key: &str| tolerance[key].as_f64().unwrap_or(0.0);
    (found - expected).abs() <= part("abs").max(part("rel") * expected.abs())
}

#[test]
fn the_line_has_the_published_values() {
    let cases: Value = serde_json::from_str(include_str!("../specimens/saturation.json")).unwrap();
    for case in cases.as_array().unwrap() {
        let found = match case["options"]["temp-c"].as_f64() {
            Some(temp_c) => saturation_pressure_kpa(temp_c).map(|kpa| (temp_c, kpa)),
            None => {
                let kpa = case["options"]["pressure-kpa"].as_f64().unwrap();
                saturation_temp_c(kpa).map(|temp_c| (temp_c, kpa))
            }
        };
        if case["exit"] == 2 {
            assert!(found.is_err(), "{case}");
            continue;
        }
        let (temp_c, kpa) = found.unwrap();
        let (expect, tol) = (&case["expect"], &case["tol"]);
        assert!(agrees(temp_c, expect["temp_c"].as_f64().unwrap(), &tol["temp_c"]), "{case}: {temp_c}");
        let expected_kpa = expect["pressure_kpa_abs"].as_f64().unwrap();
        assert!(agrees(kpa, expected_kpa, &tol["pressure_kpa_abs"]), "{case}: {kpa}");
    }
}

/// F0 in minutes and A0 in seconds of one straight line, to 1e-12 of the expected value.
fn check(minutes: f64, from_c: f64, to_c: f64, expected: (f64, f64)) {
    let (time_s, temp_c) = ([0.0, 60.0 * minutes], [from_c, to_c]);
    let found = (f0(&time_s, &temp_c, 0.0, 60.0 * minutes).0, a0(&time_s, &temp_c, 65.0).0);
    for (found, expected) in [(found.0, expected.0), (found.1, expected.1)] {
        let line = format!("{minutes} min from {from_c} to {to_c} °C: found {found}, expected {expected}");
        assert!((found - expected).abs() <= 1e-12 * expected, "{line}");
    }
}

#[test]
fn straight_lines_have_their_closed_forms() {
    let ln_10 = std::f64::consts::LN_10;
    let hold = |minutes: f64, temp_c: f64| {
        (minutes * 10_f64.powf((temp_c - 121.1) / 10.0), 60.0 * minutes * 10_f64.powf((temp_c - 80.0) / 10.0))
    };
    for (minutes, temp_c) in [(15.0, 121.0), (3.0, 134.0), (4.0, 132.0), (10.0, 80.0), (5.0, 90.0)] {
        check(minutes, temp_c, temp_c, hold(minutes, temp_c));
    }
    let ramp_f0 = 10.0 / (2.0 * ln_10) * (10_f64.powf(1.29) - 10_f64.powf(-2.11));
    let ramp_a0 = 60.0 * 10.0 / (2.0 * ln_10) * (10_f64.powf(5.4) - 10_f64.powf(2.0));
    check(17.0, 100.0, 134.0, (ramp_f0, ramp_a0));
    check(17.0, 134.0, 100.0, (ramp_f0, ramp_a0));
    let below_f0 = 20.0 / 3.0 * 10.0 / (20.0 * ln_10) * (10_f64.powf(-4.11) - 10_f64.powf(-6.11));
    let above_floor_a0 = 300.0 * 10.0 / (15.0 * ln_10) * (1.0 - 10_f64.powf(-1.5));
    check(20.0 / 3.0, 60.0, 80.0, (below_f0, above_floor_a0));
    check(20.0 / 3.0, 80.0, 60.0, (below_f0, above_floor_a0));
    check(10.0, 64.999, 60.0, (f0(&[0.0, 600.0], &[64.999, 60.0], 0.0, 600.0).0, 0.0));
}

proptest! {
    #[test]
    fn both_directions_agree(temp_c in 0.01_f64..373.9) {
        let back_c = saturation_temp_c(saturation_pressure_kpa(temp_c).unwrap()).unwrap();
        prop_assert!((back_c - temp_c).abs() < 1e-6, "{} came back as {}", temp_c, back_c);
    }

    /// The integral is that of the line: another sample on the line changes nothing, nor does cutting it.
    #[test]
    fn sampling_is_nothing(from_c in 20.0_f64..140.0, rise_k in -60.0_f64..60.0, share in 0.01_f64..0.99) {
        let (end_s, cut_s) = (900.0, 900.0 * share);
        let (time_s, temp_c) = ([0.0, end_s], [from_c, from_c + rise_k]);
        let (more_s, more_c) = ([0.0, cut_s, end_s], [from_c, from_c + rise_k * share, from_c + rise_k]);
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-11 * a.abs().max(b.abs());
        let whole = f0(&time_s, &temp_c, 0.0, end_s).0;
        prop_assert!(close(whole, f0(&more_s, &more_c, 0.0, end_s).0));
        let parts = f0(&time_s, &temp_c, 0.0, cut_s).0 + f0(&time_s, &temp_c, cut_s, end_s).0;
        prop_assert!(close(whole, parts));
        let (dose, more) = (a0(&time_s, &temp_c, 65.0).0, a0(&more_s, &more_c, 65.0).0);
        // A line that barely reaches the floor leaves a part so short that the crossing's rounding shows.
        prop_assert!((dose - more).abs() <= 1e-11 * dose.max(1.0));
    }
}
