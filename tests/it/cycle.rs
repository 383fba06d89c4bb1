//! The verdict on a cycle record: the specimens, the edges of the band, and what must hold for every record.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;
use std::process::{Command, Output};

use fettle::analysis::cycle::{judge_disinfection, judge_steam};
use fettle::analysis::limits::{DisinfectionLimits, SteamLimits};
use fettle::analysis::record::{Channel, Record};
use fettle::formats::record::read;
use proptest::prelude::*;
use serde_json::{Value, json};

fn folder() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/specimens/cycles"))
}

/// The answer on a file, or why there is none.
fn answer(kind: &str, bytes: &[u8], options: &Value) -> Result<Value, String> {
    let option = |name: &str| options[name].as_f64();
    let is_steam = kind == "steam";
    let (record, _) = read(bytes, option("ambient-kpa"), is_steam).map_err(|e| e.to_string())?;
    if is_steam {
        let mut limits = SteamLimits::new(option("band-c").unwrap(), option("hold-s").unwrap());
        limits.max_gap_s = option("max-gap-s").unwrap_or(limits.max_gap_s);
        limits.band_width_k = option("band-width-k").unwrap_or(limits.band_width_k);
        let verdict = judge_steam(&record, &limits).map_err(|e| e.to_string())?;
        assert_eq!(verdict.passed(), verdict.reasons.is_empty());
        return Ok(serde_json::to_value(verdict).unwrap());
    }
    let mut limits = DisinfectionLimits::new(option("a0-s").unwrap(), option("band-c").unwrap());
    limits.hold_s = option("hold-s").unwrap_or(limits.hold_s);
    limits.max_gap_s = option("max-gap-s").unwrap_or(limits.max_gap_s);
    let verdict = judge_disinfection(&record, &limits).map_err(|e| e.to_string())?;
    assert_eq!(verdict.passed(), verdict.reasons.is_empty());
    Ok(serde_json::to_value(verdict).unwrap())
}

/// Whether `found` says all that `expected` says, numbers to 1e-6 or 1e-9 of them.
fn says(found: &Value, expected: &Value) -> bool {
    match (found, expected) {
        (Value::Object(found), Value::Object(expected)) => {
            expected.iter().all(|(name, value)| found.get(name).is_some_and(|f| says(f, value)))
        }
        (Value::Array(found), Value::Array(expected)) => {
            found.len() == expected.len() && found.iter().zip(expected).all(|(f, e)| says(f, e))
        }
        (Value::Number(found), Value::Number(expected)) => {
            let (found, expected) = (found.as_f64().unwrap(), expected.as_f64().unwrap());
            (found - expected).abs() <= 1e-6_f64.max(1e-9 * expected.abs())
        }
        _ => found == expected,
    }
}

#[test]
fn specimens_have_their_verdicts() {
    let cases = std::fs::read_to_string(folder().join("expect.json")).unwrap();
    let cases: Value = serde_json::from_str(&cases).unwrap();
    for case in cases.as_array().unwrap() {
        let bytes = std::fs::read(folder().join(case["file"].as_str().unwrap())).unwrap();
        let found = answer(case["kind"].as_str().unwrap(), &bytes, &case["options"]);
        match case["exit"].as_u64() {
            Some(_) => assert!(found.is_err(), "{}: {found:?}", case["id"]),
            None => assert!(says(found.as_ref().unwrap(), &case["expect"]), "{}: {found:?}", case["id"]),
        }
    }
}

/// A steam record at 134 °C for 10 s, and what is expected of some fields of the answer.
fn check_steam(text: &str, options: Value, expected: Value) {
    let mut all = json!({"band-c": 134, "hold-s": 10});
    all.as_object_mut().unwrap().extend(options.as_object().unwrap().clone());
    let found = answer("steam", text.as_bytes(), &all).unwrap();
    assert!(says(&found, &expected), "{text}: {found}");
}

#[test]
fn edges_of_the_band() {
    let none = json!({"hold": null, "temperature": null, "f0_min": {"hold": {"least": 0}}});
    // Touches of the band without length, by one channel and by two that meet in it, are no hold.
    check_steam("time_s,temp_c\n0,133\n10,134\n20,133\n", json!({}), none.clone());
    check_steam("time_s,temp_c\n0,138\n10,137\n20,138\n", json!({}), none.clone());
    check_steam("time_s,temp_c,temp_c_b\n0,134.3,133.7\n10,133.7,134.3\n", json!({}), none.clone());
    // A load that never was in the band fails even where no time in it is asked for.
    check_steam("time_s,temp_c\n0,100\n9,100\n", json!({"hold-s": 0}), json!({"verdict": "fail"}));
    // Limits belong to the band: touching one from inside ends nothing.
    let whole = json!({"verdict": "pass", "hold": {"start_s": 0, "end_s": 20}});
    check_steam("time_s,temp_c\n0,135\n10,134\n20,135\n", json!({}), whole.clone());
    check_steam("time_s,temp_c\n0,135\n10,137\n20,135\n", json!({}), whole);
    // 121.3 and 2.8 add up to a double below that of 124.1.
    let odd = json!({"band-c": 121.3, "band-width-k": 2.8});
    check_steam("time_s,temp_c\n0,124.1\n10,124.1\n", odd, json!({"verdict": "pass", "reasons": []}));
    // A line through the whole band between two samples; no sample lies inside the hold.
    let text = "time_s,temp_c,pressure_kpa_abs\n0,130,1e9\n10,140,1e9\n";
    let through =
        json!({"hold": {"start_s": 4, "end_s": 7}, "saturation": {"max_below_k": 0, "max_above_k": 0}});
    check_steam(text, json!({}), through);
    // Of equal spans the first, although the crossings of the second were rounded otherwise.
    let text = "time_s,temp_c\n0,133.7\n1,134.3\n9,134.3\n10,133.7\n20.1,133.7\n21.1,134.3\n29.1,134.3\n30.1,133.7\n";
    check_steam(text, json!({}), json!({"hold": {"start_s": 0.5, "end_s": 9.5}}));
    // A gap that only touches the end of the hold has no part of it.
    let text = "time_s,temp_c\n0,134\n10,134\n40,100\n";
    check_steam(text, json!({}), json!({"reasons": [], "max_gap_s": 30}));
    // A tenth of a second is no binary fraction: 10.1 − 0.1 is more than 10 as a double.
    check_steam("time_s,temp_c\n0.1,134\n10.1,134\n", json!({}), json!({"verdict": "pass"}));
}

/// Water does not boil at such a pressure; the message leads to the line.
#[test]
fn a_pressure_without_saturation_is_told_with_its_sample() {
    let text = "time_s,temp_c,pressure_kpa_abs\n0,130,300\n10,134.5,300\n20,134.5,30000\n";
    let error = answer("steam", text.as_bytes(), &json!({"band-c": 134, "hold-s": 10})).unwrap_err();
    assert!(error.starts_with("sample 3, the pressure inside the hold: found 30000 kPa"), "{error}");
}

fn fettle(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fettle")).arg("calc").args(arguments).output().unwrap()
}

#[test]
fn the_command_line_answers_or_says_why_not() {
    let file = |name: &str| folder().join(name).display().to_string();
    let (good, air, nan) = (file("p01-good-134-3.csv"), file("p08-air.csv"), file("p17-nan.csv"));
    for (file, verdict) in [(&good, "pass"), (&air, "fail")] {
        let output = fettle(&["steam", file, "--band-c", "134", "--hold-s", "180"]);
        let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!((output.status.code(), &answer["verdict"]), (Some(0), &json!(verdict)));
        let phases = answer["phases"].as_array().unwrap();
        let hold = phases.iter().find(|phase| phase["kind"] == "hold").unwrap();
        assert_eq!(
            (&hold["start_s"], &hold["end_s"]),
            (&answer["hold"]["start_s"], &answer["hold"]["end_s"])
        );
    }
    let unusable: [&[&str]; 5] = [
        &["steam", &nan, "--band-c", "134", "--hold-s", "180"],
        &["steam", "no-such-file", "--band-c", "134", "--hold-s", "180"],
        &["steam", &good, "--band-c", "nan", "--hold-s", "180"],
        &["disinfection", &good, "--band-c", "80", "--a0-s", "-1"],
        &["saturation", "--temp-c", "-1"],
    ];
    for arguments in unusable {
        let output = fettle(arguments);
        assert_eq!((output.status.code(), output.stdout.len()), (Some(2), 0), "{arguments:?}");
        assert!(!output.stderr.is_empty(), "{arguments:?}");
    }
}

/// Two channels of whole tenths around a band of 134 to 137 °C, over uneven times.
fn records() -> impl Strategy<Value = Record> {
    prop::collection::vec((1_u32..80, 1330_i32..1380, 1330_i32..1380), 2..40).prop_map(|samples| {
        let mut record =
            Record { channels: vec![Channel::default(), Channel::default()], ..Record::default() };
        for (i, name) in ["temp_c_a", "temp_c_b"].into_iter().enumerate() {
            record.channels[i].name = name.to_owned();
        }
        let mut tenths = 0;
        for (gap, a, b) in samples {
            tenths += gap;
            record.time_s.push(f64::from(tenths) / 10.0);
            record.channels[0].temp_c.push(f64::from(a) / 10.0);
            record.channels[1].temp_c.push(f64::from(b) / 10.0);
        }
        record
    })
}

/// The same lines with `n` samples on each stretch instead of one.
fn resampled(record: &Record, n: usize) -> Record {
    let fill = |values: &[f64]| {
        let mut filled = vec![values[0]];
        for pair in values.windows(2) {
            let step = |k: usize| {
                if k == n { pair[1] } else { pair[0] + (pair[1] - pair[0]) * k as f64 / n as f64 }
            };
            filled.extend((1..=n).map(step));
        }
        filled
    };
    let channels = record.channels.iter().map(|c| Channel { name: c.name.clone(), temp_c: fill(&c.temp_c) });
    Record { time_s: fill(&record.time_s), channels: channels.collect(), ..Record::default() }
}

proptest! {
    /// A verdict is about the lines: another sampling of the same lines gives the same one.
    #[test]
    fn sampling_changes_no_verdict(record in records(), n in 2_usize..5) {
        let limits = SteamLimits { max_gap_s: 1e6, ..SteamLimits::new(134.0, 10.0) };
        let more = judge_steam(&resampled(&record, n), &limits).unwrap();
        let verdict = judge_steam(&record, &limits).unwrap();
        let length = |hold: Option<fettle::analysis::span::Span>| hold.map_or(0.0, |span| span.duration_s);
        prop_assert!((length(verdict.hold) - length(more.hold)).abs() < 1e-9);
        prop_assert!((verdict.f0_min.total.least.0 - more.f0_min.total.least.0).abs() < 1e-9);
    }

    /// The hold is inside the band everywhere, and just outside its ends it is not.
    #[test]
    fn the_hold_is_in_the_band(record in records()) {
        let verdict = judge_steam(&record, &SteamLimits::new(134.0, 10.0)).unwrap();
        let at = |values: &[f64], t: f64| {
            let i = record.time_s.partition_point(|s| *s <= t).clamp(1, record.time_s.len() - 1);
            let share = (t - record.time_s[i - 1]) / (record.time_s[i] - record.time_s[i - 1]);
            values[i - 1] + (values[i] - values[i - 1]) * share
        };
        let is_in = |t: f64, slack_k: f64| {
            record.channels.iter().all(|c| (134.0 - slack_k..=137.0 + slack_k).contains(&at(&c.temp_c, t)))
        };
        if let Some(hold) = verdict.hold {
            for k in 0..=50 {
                prop_assert!(is_in(hold.start_s + hold.duration_s * f64::from(k) / 50.0, 1e-9));
            }
            let (first, last) = (record.time_s[0], *record.time_s.last().unwrap());
            prop_assert!(hold.start_s <= first || !is_in(hold.start_s - 1e-6, 0.0));
            prop_assert!(hold.end_s >= last || !is_in(hold.end_s + 1e-6, 0.0));
        }
    }
}
