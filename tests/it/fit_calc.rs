//! `fettle calc fit` as a process: what it answers, and what it refuses without a word on standard output.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::io::Write;
use std::process::{Command, Output, Stdio};

use serde_json::{Value, json};

fn calc(input: &str) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fettle"));
    command.args(["calc", "fit"]).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().expect("the program");
    child.stdin.take().expect("its input").write_all(input.as_bytes()).expect("room for the problem");
    child.wait_with_output().expect("its output")
}

fn answer(problem: &Value) -> Value {
    let output = calc(&problem.to_string());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// The sentence on standard error.
fn refused(input: &str) -> String {
    let output = calc(input);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{input}: {said}");
    assert!(output.stdout.is_empty(), "{input}: standard output is not empty");
    said
}

/// Free area π/4 (D² − Σd²) and hydraulic diameter 4A/P by hand: 144 less 30.25, 16 and 9 are 88.75; the wetted perimeter
/// is that of 12, 5.5, 4 and 3.
#[test]
fn the_answer_has_its_numbers() {
    let parts = json!([{"name": "telescope", "od_mm": 5.5}, {"name": "forceps", "french": 12}, {"name": "suction", "od_mm": 3}]);
    let fits = answer(&json!({"lumen_mm": 12, "clearance_mm": 0.5, "parts": parts}));
    assert_eq!(fits["answer"], "fits");
    assert_eq!(fits["needed_mm"], json!({"low": 9.5, "high": 9.5}));
    assert_eq!(fits["spare_mm"], 2.0);
    let near = |field: &str, by_hand: f64| {
        assert!((fits[field].as_f64().unwrap() - by_hand).abs() < 1e-12, "{field}: {fits}");
    };
    near("free_area_mm2", std::f64::consts::FRAC_PI_4 * 88.75);
    near("free_fraction", 88.75 / 144.0);
    near("hydraulic_diameter_mm", 88.75 / 24.5);
    let names: Vec<&str> =
        fits["placement"].as_array().unwrap().iter().map(|disc| disc["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["telescope", "forceps", "suction"]);
    let not = answer(&json!({"lumen_mm": 9, "parts": parts}));
    assert_eq!((&not["answer"], &not["spare_mm"]), (&json!("does_not_fit"), &json!(-0.5)));
    for field in ["placement", "free_area_mm2", "free_fraction", "hydraulic_diameter_mm"] {
        assert!(not[field].is_null(), "{field}: {not}");
    }
}

#[test]
fn what_can_not_be_used_is_refused_with_a_sentence() {
    let with = |part: &str| refused(&format!(r#"{{"lumen_mm": 8.5, "parts": [{{"name": "a", {part}}}]}}"#));
    assert!(with(r#""od_mm": 4, "french": 12"#).contains("one of the two is needed"));
    for nothing in ["0", "-1", "NaN", "1e999", "null", "\"four\"", "true"] {
        assert!(with(&format!(r#""od_mm": {nothing}"#)).contains("needed"), "{nothing}");
    }
    let of = |count: usize| {
        let parts: Vec<Value> = (0..count).map(|n| json!({"name": n.to_string(), "od_mm": 1})).collect();
        refused(&json!({"lumen_mm": 30, "parts": parts}).to_string())
    };
    for count in [0, 8, 100] {
        assert!(of(count).contains(&format!("found {count} parts")), "{count}");
    }
    let twice = json!({"lumen_mm": 9, "parts": [{"name": "a", "od_mm": 1}, {"name": "a", "od_mm": 2}]});
    assert!(refused(&twice.to_string()).contains("found \"a\" twice"));
    assert!(refused("not JSON").contains("line 1"));
    assert!(refused("").contains("needed is an object"));
    let listed = refused(r#"[8.5, 0, [["a", 5.5]]]"#);
    assert!(listed.contains("found a list; an object"), "{listed}");
    assert!(with(r#""od_mm": 1e-300"#).contains("no length that could be told from 0"));
    let misspelt = json!({"lumen_mm": 9, "clearence_mm": 0.5, "parts": [{"name": "a", "od_mm": 1}]});
    assert!(refused(&misspelt.to_string()).contains("clearence_mm"));
}
