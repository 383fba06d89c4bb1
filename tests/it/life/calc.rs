//! `fettle calc life` as a process: what it answers, and what it refuses without a word on standard output.

use std::io::Write;
use std::process::{Command, Output, Stdio};

use serde_json::{Value, json};

fn calc(args: &[&str], input: &str) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fettle"));
    command.args(["calc", "life"]).args(args);
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program");
    // It may have ended before it read anything, which is its right.
    let _ = child.stdin.take().expect("its input").write_all(input.as_bytes());
    child.wait_with_output().expect("its output")
}

fn answer(args: &[&str], input: &str) -> Value {
    let output = calc(args, input);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// The sentence on standard error.
fn unusable(args: &[&str], input: &str) -> String {
    let output = calc(args, input);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{input}: {said}");
    assert!(output.stdout.is_empty() && !said.is_empty(), "{input}: {said}");
    said
}

const DATA: &str = r#"{"rows": [[0, 54, 54, 1], [0, 187, 187, 1], [0, 216, 216, 2], [0, 500, null, 10]]}"#;

#[test]
fn a_kind_stands_in_the_problem_or_on_the_command_line() {
    let whole = format!(r#"{{"kind": "weibull_mle", "data": {DATA}}}"#);
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let (whole_file, data_file) = (file("whole.json", &whole), file("data.json", DATA));
    let found = answer(&[], &whole);
    assert_eq!(found["failures"], 4);
    assert_eq!(found, answer(&["weibull_mle"], DATA));
    assert_eq!(found, answer(&["weibull_mle", "-"], DATA));
    assert_eq!(found, answer(&[&whole_file], ""));
    assert_eq!(found, answer(&["weibull_mle", &data_file], ""));
}

#[test]
fn no_honest_answer_is_an_answer() {
    for (code, rows) in [
        ("too_few_failures", json!([[0, 100, null, 50]])),
        ("no_maximum", json!([[0, 100, 100, 5]])),
        ("invalid_rows", json!([[120, 80, 80, 1], [0, 90, 90, 3]])),
        ("invalid_rows", json!([[0, 80, 80, -1], [0, 90, 90, 3]])),
        ("invalid_rows", json!([[0, 80, 80, 1.5]])),
        ("invalid_rows", json!([[0, null, 80, 1]])),
        ("invalid_rows", json!([[0, 80, 80, null]])),
    ] {
        let found = answer(&["weibull_mle"], &json!({"rows": rows}).to_string());
        assert_eq!(found["refused"]["code"], code, "{found}");
        assert!(found["refused"]["why"].as_str().unwrap().ends_with('.'), "{found}");
    }
    let at = answer(&["weibull_mle"], &DATA.replace("]]}", r#"]], "at": -3}"#));
    assert_eq!(at["refused"]["code"], "invalid_rows");
    let event = answer(&["kaplan_meier"], r#"{"rows": [[0, 5, 2]]}"#);
    assert_eq!(event["refused"]["why"], "Row 1: event is neither 0 nor 1.");
}

#[test]
fn what_can_not_be_used_is_refused_with_a_sentence() {
    assert!(unusable(&[], "not JSON").contains("line 1"));
    assert!(unusable(&[], "").contains("needed is an object"));
    assert!(unusable(&[], r#"["weibull_mle", {"rows": []}]"#).contains("expected an object"));
    assert!(unusable(&[], r#"{"kind": "wear", "data": {}}"#).contains("\"wear\""));
    assert!(unusable(&[], r#"{"kind": "weibull_mle"}"#).contains("data"));
    assert!(unusable(&["weibull_mle"], "[[[0, 5, 5, 3]], null, null]").contains("expected an object"));
    assert!(unusable(&["mcf"], r#"{"units": [["A", 0, 17, [5]]]}"#).contains("units[0]"));
    assert!(
        unusable(&["weibull_mle"], r#"{"rows": [[0, 5, 5]]}"#)
            .contains("rows[0]: found 3 numbers, 4 are needed")
    );
    assert!(unusable(&["weibull_mle"], r#"{"rows": [[0, "5", 5, 1]]}"#).contains("rows[0][1]"));
    assert!(unusable(&["weibull_mle"], r#"{"rows": [[0, NaN, 5, 1]]}"#).contains("line 1"));
    assert!(unusable(&["weibull_mle"], r#"{"rows": [[0, 1e999, null, 1]]}"#).contains("out of range"));
    assert!(unusable(&["weibull_mle"], &format!("{DATA} 3")).contains("trailing"));
    assert!(unusable(&["weibull_mle"], r#"{"rows": [], "horizn": 5}"#).contains("horizn"));
    assert!(
        unusable(&["kaplan_meier"], r#"{"columns": ["exit", "entry", "event"], "rows": []}"#)
            .contains("columns")
    );
    assert!(unusable(&["logrank"], r#"{"groups": [[[0, 5, 1]], [[0, 5]]]}"#).contains("groups[1][0]"));
    assert!(unusable(&["chart_p"], r#"{"defectives": [1, 2], "sizes": [50]}"#).contains("sizes"));
    assert!(
        unusable(&["nhpp_power_law"], r#"{"times": [1], "T": 2, "truncation": "never"}"#).contains("never")
    );
    assert!(unusable(&["nosuchkind", "-"], DATA).contains("nosuchkind"));
    assert!(unusable(&["/no/such/file"], "").contains("/no/such/file"));
}
