//! Published examples: `tests/specimens/life`, each case with its source and what of it was recalled from memory.

use std::path::Path;

use fettle::formats::{life, life_answer};
use serde_json::Value;

use super::near;

fn cases(kind: &str) -> Vec<Value> {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/specimens/life").join(format!("{kind}.json"));
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

fn answer(kind: &str, data: &Value) -> Value {
    let problem = life::read_data(kind, data.to_string().as_bytes()).expect("the form is right");
    life_answer::of(problem).unwrap_or_else(|refused| life_answer::refused(&refused))
}

/// What is wanted is a part of what is found. Limits by likelihood ratio are compared to 1e-5; of a long table only rows with `at`.
fn compare(found: &Value, wanted: &Value, within: f64, place: &str) {
    match wanted {
        Value::Object(fields) => {
            for (name, wanted) in fields.iter().filter(|(name, _)| *name != "at") {
                let found = found.get(name).unwrap_or_else(|| panic!("{place}.{name} is missing"));
                let within = if name.contains("_lr") { within.max(1e-5) } else { within };
                compare(found, wanted, within, &format!("{place}.{name}"));
            }
        }
        Value::Array(rows) if rows.iter().any(|row| row.get("at").is_some()) => {
            for row in rows {
                let at = row["at"].as_f64().unwrap();
                let last = found.as_array().unwrap().iter().rfind(|it| it["t"].as_f64().unwrap() <= at);
                compare(last.expect("a row up to there"), row, within, &format!("{place}[t={at}]"));
            }
        }
        Value::Array(wanted) => {
            let found = found.as_array().unwrap_or_else(|| panic!("{place}: {found} is no list"));
            assert_eq!(found.len(), wanted.len(), "{place}");
            for (at, (found, wanted)) in found.iter().zip(wanted).enumerate() {
                compare(found, wanted, within, &format!("{place}[{at}]"));
            }
        }
        Value::Number(wanted) => {
            let found = found.as_f64().unwrap_or_else(|| panic!("{place}: {found} is no number"));
            near(found, wanted.as_f64().unwrap(), within, place);
        }
        _ => assert_eq!(found, wanted, "{place}"),
    }
}

#[test]
fn every_published_example_comes_out() {
    let mut compared = 0;
    for kind in life::KINDS {
        for case in cases(kind) {
            let name = case["name"].as_str().expect("a name");
            for about in ["source", "standing"] {
                assert!(!case[about].as_str().expect("a text").is_empty(), "{kind}: {name}: {about}");
            }
            let found = answer(kind, &case["data"]);
            if let Some(code) = case.get("refused") {
                assert_eq!(&found["refused"]["code"], code, "{name}: {found}");
                assert!(found["refused"]["why"].as_str().unwrap().ends_with('.'), "{name}: {found}");
            } else {
                assert!(found.get("refused").is_none(), "{name}: {found}");
                compare(&found, &case["expect"], case["within"].as_f64().unwrap(), name);
            }
            compared += 1;
        }
    }
    assert!(compared >= 37, "{compared}");
}

/// The figures as their sources print them, with their few digits.
#[test]
fn the_printed_digits_come_out() {
    let found = |kind: &str, name: &str| {
        let cases = cases(kind);
        let case = cases.iter().find(|case| case["name"].as_str().unwrap().contains(name));
        answer(kind, &case.unwrap_or_else(|| panic!("{name}"))["data"])
    };
    let printed = |found: &Value, wanted: f64, digit: f64| {
        let found = found.as_f64().unwrap();
        assert!((found - wanted).abs() <= 0.51 * digit, "found {found}, {wanted} is printed");
    };
    // Meeker & Escobar 1998 (from memory): the location 10.23 and the scale 0.3164 of the logarithm.
    let shock = found("weibull_mle", "Shock absorber");
    assert!((shock["eta"].as_f64().unwrap().ln() - 10.23).abs() < 0.005, "{shock}");
    assert!((1.0 / shock["beta"].as_f64().unwrap() - 0.3164).abs() < 5e-5, "{shock}");
    // The documentation of a statistics package on Nelson's fans (from memory): shape 1.0584, scale 26.2968 thousand hours.
    let fans = found("weibull_mle", "fans");
    printed(&fans["beta"], 1.0584, 1e-4);
    printed(&fans["eta"], 26_296.8, 0.1);
    // NIST/SEMATECH e-Handbook 8.4.1.2 (from memory): shape 1.7208, scale 606.53.
    let nist = found("weibull_mle", "NIST");
    printed(&nist["beta"], 1.7208, 1e-4);
    printed(&nist["eta"], 606.53, 0.01);
    // Klein & Moeschberger, table 4.1A: survival and standard error.
    let arm = found("kaplan_meier", "6-MP");
    let table =
        [(0.857, 0.076), (0.807, 0.087), (0.753, 0.096), (0.690, 0.107), (0.627, 0.114), (0.538, 0.128)];
    for (row, (survival, error)) in arm["table"].as_array().unwrap().iter().zip(table) {
        printed(&row["S"], survival, 1e-3);
        printed(&row["greenwood_se"], error, 1e-3);
    }
    printed(&found("logrank", "6-MP")["chisq"], 16.8, 0.1);
    printed(&found("logrank", "lung")["chisq"], 10.3, 0.1);
    printed(&found("nhpp_power_law", "22 failures")["beta"], 0.6142, 1e-4);
    printed(&found("nhpp_power_law", "22 failures")["lambda_"], 0.4239, 1e-4);
    printed(&found("age_replacement", "cp=1")["optimum"], 493.0470, 1e-4);
    let chart = found("chart_p", "NIST");
    printed(&chart["center"], 0.2313, 1e-4);
    printed(&chart["ucl"][0], 0.4102, 1e-4);
    printed(&chart["lcl"][0], 0.0524, 1e-4);
}
