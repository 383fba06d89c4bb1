//! Two hundred invented cycle records, judged by the program and recomputed from their files by another program by other
//! means: `tests/python/recompute.py`, with scipy for quadratures and roots and iapws for the saturation line.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::collections::BTreeMap;
use std::fmt::Write;
use std::process::Command;

use fettle::analysis::cycle::{judge_disinfection, judge_steam};
use fettle::analysis::limits::{DisinfectionLimits, SteamLimits};
use fettle::analysis::steam::saturation_pressure_kpa;
use fettle::domain::simulate::chance::Chance;
use fettle::formats::record::read;
use serde_json::{Value, json};

const RECORDS: usize = 200;
const SEED: u64 = 20_261_125;

fn of<T: Copy>(chance: &mut Chance, all: &[T]) -> T {
    all[chance.below(all.len())]
}

fn between(chance: &mut Chance, low: f64, high: f64) -> f64 {
    low + (high - low) * chance.unit()
}

struct Case {
    text: String,
    limits: Value,
    ambient_kpa: Option<f64>,
    is_steam: bool,
}

/// The times and the temperature of a cycle: up to a level, along it and down, with what goes wrong on the way.
fn course(chance: &mut Chance, level_c: f64, hold_s: f64, noise_k: f64) -> Vec<(f64, f64)> {
    let step_s = of(chance, &[1.0, 2.0, 2.5, 5.0]);
    let (rise_s, fall_s) = (between(chance, 30.0, 200.0), between(chance, 20.0, 150.0));
    let (from_c, to_c) = (between(chance, 20.0, 70.0), between(chance, 40.0, 100.0));
    let end_s = rise_s + hold_s + fall_s;
    let dip = (chance.below(4) == 0).then(|| (rise_s + hold_s * chance.unit(), between(chance, -6.0, 4.0)));
    let gap = (chance.below(4) == 0).then(|| (between(chance, 0.0, end_s), between(chance, 8.0, 25.0)));
    let (mut samples, mut time_s) = (Vec::new(), of(chance, &[0.0, 0.0, 17.5]));
    let begun_s = time_s;
    while time_s - begun_s < end_s {
        let t = time_s - begun_s;
        let mut temp_c = if t < rise_s {
            from_c + (level_c - from_c) * t / rise_s
        } else if t < rise_s + hold_s {
            level_c
        } else {
            level_c + (to_c - level_c) * (t - rise_s - hold_s) / fall_s
        };
        if let Some((at_s, by_k)) = dip {
            temp_c += by_k * (-((t - at_s) / 6.0).powi(2)).exp();
        }
        samples.push((time_s, temp_c + noise_k * between(chance, -1.0, 1.0)));
        time_s += match gap {
            Some((at_s, gap_s)) if t <= at_s && at_s < t + step_s => gap_s,
            _ => step_s,
        };
        // Tenths, as they are written.
        time_s = (time_s * 10.0).round() / 10.0;
    }
    samples
}

fn steam(chance: &mut Chance) -> Case {
    let (band_c, hold_s) =
        of(chance, &[(134.0, 180.0), (132.0, 240.0), (126.0, 600.0), (121.0, 900.0), (134.0, 90.0)]);
    let held_s = hold_s * of(chance, &[1.15, 1.15, 1.1, 0.9, 0.5]);
    let noise_k = of(chance, &[0.0, 0.05, 0.4]);
    let level_c = band_c + of(chance, &[1.0, 1.2, 1.5, 0.3, 2.9, -1.0]);
    let course = course(chance, level_c, held_s, noise_k);
    let channels = 1 + chance.below(3);
    let ambient = (between(chance, 75.0, 104.0) * 10.0).round() / 10.0;
    let column =
        of(chance, &["", "kpa_abs", "mbar_abs", "bar_abs", "psi_abs", "kpa_gauge", "bar_gauge", "psi_gauge"]);
    let off_kpa = of(chance, &[0.0, 0.0, 2.0, 25.0, -25.0]);
    let mut text = String::from("time_s");
    (0..channels).for_each(|n| write!(text, ",temp_c_{n}").unwrap());
    let has_pressure = !column.is_empty();
    if has_pressure {
        write!(text, ",pressure_{column}").unwrap();
    }
    text.push('\n');
    for (time_s, temp_c) in course {
        write!(text, "{time_s}").unwrap();
        (0..channels).for_each(|n| write!(text, ",{:.2}", temp_c + 0.2 * n as f64).unwrap());
        if has_pressure {
            let kpa = saturation_pressure_kpa(temp_c).unwrap() + off_kpa + between(chance, -1.5, 1.5);
            let kpa = kpa.max(1.0) - if column.ends_with("gauge") { ambient } else { 0.0 };
            let unit_kpa = match column.split('_').next() {
                Some("mbar") => 0.1,
                Some("bar") => 100.0,
                Some("psi") => 6.894757293168361,
                _ => 1.0,
            };
            write!(text, ",{:.4}", kpa / unit_kpa).unwrap();
        }
        text.push('\n');
    }
    let limits = json!({"band_c": band_c, "band_width_k": of(chance, &[3.0, 3.0, 2.5]), "hold_s": hold_s,
                        "saturation_tolerance_k": of(chance, &[2.0, 2.0, 1.0]), "max_gap_s": 10.0});
    Case { text, limits, ambient_kpa: Some(ambient), is_steam: true }
}

fn disinfection(chance: &mut Chance) -> Case {
    let (band_c, a0_s, hold_s) =
        of(chance, &[(80.0, 600.0, 0.0), (90.0, 600.0, 60.0), (90.0, 3000.0, 300.0), (93.0, 3000.0, 0.0)]);
    let held_s = of(chance, &[40.0, 60.0, 150.0, 320.0, 650.0]);
    let level_c = band_c + of(chance, &[-1.0, 0.4, 1.5, 3.0]);
    let noise_k = of(chance, &[0.0, 0.1, 0.6]);
    let course = course(chance, level_c, held_s, noise_k);
    let channels = 1 + chance.below(2);
    let mut text = String::from(if channels == 1 { "time_s,temp_c\n" } else { "time_s,temp_c,temp_c_b\n" });
    for (time_s, temp_c) in course {
        write!(text, "{time_s}").unwrap();
        (0..channels).for_each(|n| write!(text, ",{:.1}", temp_c - 0.3 * n as f64).unwrap());
        text.push('\n');
    }
    let limits = json!({"a0_s": a0_s, "band_c": band_c, "hold_s": hold_s, "floor_c": of(chance, &[65.0, 65.0, 70.0]), "max_gap_s": 10.0});
    Case { text, limits, ambient_kpa: None, is_steam: false }
}

/// Records that meet a limit to the letter, touch it, or miss it by the least that they can say.
fn edges() -> Vec<Case> {
    let steam = |text: &str| {
        let limits = json!({"band_c": 134.0, "band_width_k": 3.0, "hold_s": 10.0, "saturation_tolerance_k": 2.0, "max_gap_s": 10.0});
        Case { text: text.into(), limits, ambient_kpa: None, is_steam: true }
    };
    let washer = |text: &str| {
        let limits =
            json!({"a0_s": 600.0, "band_c": 80.0, "hold_s": 60.0, "floor_c": 65.0, "max_gap_s": 10.0});
        Case { text: text.into(), limits, ambient_kpa: None, is_steam: false }
    };
    let flat = |end_s: u32| {
        let rows = (0..=end_s / 10).map(|n| format!("{},80\n", 10 * n));
        format!("time_s,temp_c\n{}", rows.collect::<String>())
    };
    vec![
        steam("time_s,temp_c\n0,134\n10,134\n"),
        steam("time_s,temp_c\n0.1,134\n10.1,134\n"),
        steam("time_s,temp_c\n0,134\n9.9,134\n"),
        steam("time_s,temp_c\n0,137\n10,137\n"),
        steam("time_s,temp_c\n0,137\n5,137.1\n10,137\n"),
        steam("time_s,temp_c\n0,133\n10,134\n20,133\n"),
        steam("time_s,temp_c\n0,130\n10,140\n"),
        steam("time_s,temp_c\n0,135\n10,134\n20,135\n"),
        steam("time_s,temp_c\n0,135\n10.1,135\n20,100\n"),
        steam("time_s,temp_c,temp_c_b\n0,134.3,133.7\n10,133.7,134.3\n"),
        steam("time_s,temp_c\n0,20\n10,100\n"),
        washer(&flat(600)),
        washer(&flat(590)),
        washer("time_s,temp_c\n0,60\n10,80\n20,60\n"),
        washer("time_s,temp_c\n0,64.9\n10,64.9\n"),
        washer("time_s,temp_c\n0,65\n10,65\n"),
    ]
}

fn judged(case: &Case) -> Value {
    let (record, warnings) = read(case.text.as_bytes(), case.ambient_kpa, case.is_steam).unwrap();
    assert!(warnings.is_empty());
    let limit = |name: &str| case.limits[name].as_f64().unwrap();
    if case.is_steam {
        let limits = SteamLimits {
            band_c: limit("band_c"),
            band_width_k: limit("band_width_k"),
            hold_s: limit("hold_s"),
            saturation_tolerance_k: limit("saturation_tolerance_k"),
            max_gap_s: limit("max_gap_s"),
        };
        return serde_json::to_value(judge_steam(&record, &limits).unwrap()).unwrap();
    }
    let limits = DisinfectionLimits {
        a0_s: limit("a0_s"),
        band_c: limit("band_c"),
        hold_s: limit("hold_s"),
        floor_c: limit("floor_c"),
        max_gap_s: limit("max_gap_s"),
    };
    serde_json::to_value(judge_disinfection(&record, &limits).unwrap()).unwrap()
}

/// By how much two numbers of an answer may differ. Integrals agree to 1e-9 of them, crossings to 1e-6 s, and temperatures
/// of saturation to 1e-8 of some 121 °C.
fn may_differ(path: &str, expected: f64) -> f64 {
    match path {
        path if path.contains("f0_min") || path.contains("a0_s") => 1e-9 * expected.abs(),
        path if path.ends_with("_k") => 1.2e-6,
        _ => 1e-6,
    }
}

fn compare(found: &Value, expected: &Value, path: &str, differ: &mut Vec<String>) {
    match (found, expected) {
        (Value::Object(a), Value::Object(b)) => {
            let names = |map: &serde_json::Map<String, Value>| map.keys().cloned().collect::<Vec<_>>();
            if names(a) != names(b) {
                return differ.push(format!("{path}: {:?}, {:?} is needed", names(a), names(b)));
            }
            a.iter().for_each(|(name, value)| compare(value, &b[name], &format!("{path}.{name}"), differ));
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            a.iter()
                .zip(b)
                .enumerate()
                .for_each(|(i, (a, b))| compare(a, b, &format!("{path}[{i}]"), differ));
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            if (a - b).abs() > may_differ(path, b) {
                differ.push(format!("{path}: {a}, {b} is needed"));
            }
        }
        _ if found == expected => {}
        _ => differ.push(format!("{path}: {found}, {expected} is needed")),
    }
}

/// Records that are all alike would prove little.
fn check_mix(answers: &[Value]) {
    let mut seen = BTreeMap::new();
    for answer in answers {
        *seen.entry(answer["verdict"].as_str().unwrap().to_owned()).or_insert(0) += 1;
        for reason in answer["reasons"].as_array().unwrap() {
            *seen.entry(reason["code"].as_str().unwrap().to_owned()).or_insert(0) += 1;
        }
    }
    let all = [
        "pass",
        "fail",
        "gap_too_long",
        "hold_too_short",
        "a0_too_low",
        "above_band",
        "air_suspected",
        "superheated",
    ];
    assert!(all.iter().all(|name| seen.get(*name).is_some_and(|n| *n >= 5)), "{seen:?}");
}

#[test]
fn another_program_says_the_same_of_random_records() {
    let python = std::env::var("FETTLE_TEST_PYTHON")
        .expect("FETTLE_TEST_PYTHON names the test run's Python with tests/requirements.txt; use tests/run");
    let mut chance = Chance::new(SEED);
    let mut cases = edges();
    while cases.len() < RECORDS {
        let case = if chance.below(2) == 0 { steam(&mut chance) } else { disinfection(&mut chance) };
        cases.push(case);
    }
    let folder = tempfile::tempdir().unwrap();
    let manifest = cases.iter().enumerate().map(|(n, case)| {
        let file = folder.path().join(format!("{n}.csv"));
        std::fs::write(&file, &case.text).unwrap();
        let kind = if case.is_steam { "steam" } else { "disinfection" };
        json!({"file": file, "kind": kind, "limits": case.limits, "ambient_kpa": case.ambient_kpa})
    });
    let manifest = Value::Array(manifest.collect());
    let listed = folder.path().join("manifest.json");
    std::fs::write(&listed, manifest.to_string()).unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/recompute.py");
    let output = Command::new(&python).arg(script).arg(&listed).output().expect("Python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let recomputed: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(recomputed.len(), RECORDS);
    let answers: Vec<Value> = cases.iter().map(judged).collect();
    check_mix(&answers);
    let mut differ = Vec::new();
    for (n, (answer, recomputed)) in answers.iter().zip(&recomputed).enumerate() {
        compare(answer, recomputed, &format!("record {n}"), &mut differ);
    }
    assert!(differ.is_empty(), "{}", differ.join("\n"));
}
