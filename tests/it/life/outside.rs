//! The same sets by other programs: lifelines and scipy (`tests/python/life.py`), and R's survival package (`tests/r/life.R`).

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use fettle::analysis::life::{Life, Row, Unit, kaplan_meier, logrank, mcf, weibull};
use serde_json::{Value, json};

use super::sets::Random;
use super::{near, row};

const SETS: u64 = 50;

/// What a set holds beside exact failures and pieces still whole.
#[derive(Clone, Copy, PartialEq)]
enum Holds {
    NothingElse,
    LateEntries,
    Intervals,
    Both,
    LeftCensored,
}

fn holds(set: u64) -> Holds {
    [Holds::NothingElse, Holds::LateEntries, Holds::Intervals, Holds::Both, Holds::LeftCensored]
        [set as usize % 5]
}

/// Failures to three decimals, watched from `entry` up to `until`; `inspected` finds them every 40 only.
fn piece(random: &mut Random, law: (f64, f64), holds: Holds) -> Row {
    let late = matches!(holds, Holds::LateEntries | Holds::Both) && random.below(2) == 0;
    let entry = if late { (1 + random.below(200)) as f64 } else { 0.0 };
    let age = loop {
        let age = (random.weibull(law.0, law.1) * 1000.0).round() / 1000.0;
        if age > entry {
            break age;
        }
    };
    let until = entry + (5 + random.below(500)) as f64;
    let inspected = matches!(holds, Holds::Intervals | Holds::Both) && random.below(10) < 7;
    let (lo, hi) = ((age / 40.0).floor() * 40.0, (age / 40.0).floor() * 40.0 + 40.0);
    match () {
        _ if holds == Holds::LeftCensored && age < 100.0 => row(0.0, 0.0, Some(100.0), 1),
        _ if inspected && hi > until => row(entry, until, None, 1),
        _ if inspected => row(entry, lo.max(entry), Some(hi), 1),
        _ if age > until => row(entry, until, None, 1),
        _ => row(entry, age, Some(age), 1),
    }
}

fn sets() -> Vec<Vec<Row>> {
    let mut random = Random(2026);
    let mut set = |set: u64| {
        let law = (150.0 + 300.0 * random.share(), 0.8 + 3.0 * random.share());
        let pieces = 40 + random.below(60);
        (0..pieces).map(|_| piece(&mut random, law, holds(set))).collect()
    };
    (0..SETS).map(&mut set).collect()
}

#[test]
fn lifelines_and_scipy_find_the_same_laws_and_limits() {
    let python = std::env::var("FETTLE_TEST_PYTHON")
        .expect("FETTLE_TEST_PYTHON names the test run's Python with tests/requirements.txt; use tests/run");
    let sets = sets();
    let folder = tempfile::tempdir().unwrap();
    let listed = folder.path().join("sets.json");
    let told = |row: &Row| json!([row.entry, row.lo, row.hi, row.count]);
    let told: Vec<Vec<Value>> = sets.iter().map(|set| set.iter().map(told).collect()).collect();
    std::fs::write(&listed, json!(told).to_string()).unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/life.py");
    let output = Command::new(&python).arg(script).arg(&listed).output().expect("Python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let theirs: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(theirs.len(), sets.len());
    let (mut by_scipy, mut limited) = (0, 0);
    for (at, (rows, theirs)) in sets.iter().zip(&theirs).enumerate() {
        let law = weibull::fit(rows).unwrap_or_else(|refused| panic!("set {at}: {refused:?}"));
        let compare = |who: &str, within: f64| {
            let number = |place: usize| theirs[who][place].as_f64().unwrap();
            near(law.eta, number(0), within, &format!("set {at}: eta by {who}"));
            near(law.beta, number(1), within, &format!("set {at}: beta by {who}"));
            near(law.loglik, number(2), 1e-8, &format!("set {at}: likelihood by {who}"));
        };
        compare("lifelines", 2e-5);
        if !theirs["scipy"].is_null() {
            compare("scipy", 2e-5);
            by_scipy += 1;
        }
        let limits = &theirs["limits"];
        if limits.is_null() {
            continue;
        }
        limited += 1;
        near(law.loglik, limits["loglik"].as_f64().unwrap(), 1e-10, &format!("set {at}: likelihood"));
        for (name, ours) in [("beta", law.beta_limits()), ("b10", law.b_limits(0.1))] {
            let what = format!("set {at}: limit of {name}");
            near(ours.low, limits[name][0].as_f64().unwrap(), 1e-6, &what);
            near(ours.high.unwrap(), limits[name][1].as_f64().unwrap(), 1e-6, &what);
        }
    }
    assert!(by_scipy == 30 && limited >= 15, "{by_scipy} by scipy, {limited} with limits");
}

/// Two groups of lives with ties, of which every second set has late entries.
fn groups() -> Vec<[Vec<Life>; 2]> {
    let mut random = Random(77);
    let mut life = |set: u64, group: usize| {
        let late = set % 2 == 1 && random.below(2) == 0;
        let entry = if late { random.below(30) as f64 } else { 0.0 };
        let age = (random.weibull(60.0 + 20.0 * group as f64, 1.5).ceil()).max(entry + 1.0);
        let until = entry + (1 + random.below(120)) as f64;
        Life { entry, exit: age.min(until), event: age <= until, count: 1 }
    };
    let mut set = |set: u64| [0, 1].map(|group| (0..30).map(|_| life(set, group)).collect());
    (0..SETS).map(&mut set).collect()
}

fn units() -> Vec<Vec<Unit>> {
    let mut random = Random(78);
    let mut unit = || {
        let start = if random.below(3) == 0 { random.below(50) as f64 } else { 0.0 };
        let end = start + (50 + random.below(200)) as f64;
        let mut events: Vec<f64> = vec![];
        let mut age = start;
        loop {
            age += 1.0 + (random.weibull(40.0, 1.0)).floor();
            if age >= end {
                break Unit { start, end, events };
            }
            events.push(age);
        }
    };
    (0..10).map(|_| (0..12).map(|_| unit()).collect()).collect()
}

/// The tables that R reads, and the numbers it answers with, by what they are.
fn r(folder: &Path) -> Vec<(String, Vec<f64>)> {
    let mut rows = "set,lo,hi,count\n".to_owned();
    for (set, its) in sets().iter().enumerate().filter(|(set, _)| r_fits(*set)) {
        for row in its {
            let hi = row.hi.map(|hi| hi.to_string()).unwrap_or_default();
            writeln!(rows, "{set},{},{hi},{}", row.lo, row.count).unwrap();
        }
    }
    let mut lives = "set,group,entry,exit,event\n".to_owned();
    for (set, its) in groups().iter().enumerate() {
        for (group, life) in
            its.iter().enumerate().flat_map(|(group, lives)| lives.iter().map(move |it| (group, it)))
        {
            let event = u8::from(life.event);
            writeln!(lives, "{set},{group},{},{},{event}", life.entry, life.exit).unwrap();
        }
    }
    let mut stretches = "set,unit,start,stop,event\n".to_owned();
    for (set, its) in units().iter().enumerate() {
        for (at, unit) in its.iter().enumerate() {
            let mut start = unit.start;
            for event in &unit.events {
                writeln!(stretches, "{set},{at},{start},{event},1").unwrap();
                start = *event;
            }
            writeln!(stretches, "{set},{at},{start},{},0", unit.end).unwrap();
        }
    }
    let tables = [("rows.csv", rows), ("lives.csv", lives), ("units.csv", stretches)];
    let mut command = Command::new("Rscript");
    command.arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/r/life.R"));
    for (name, table) in tables {
        std::fs::write(folder.join(name), table).unwrap();
        command.arg(folder.join(name));
    }
    let output = command.output().expect("Rscript, with the survival package; tests/run installs it");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let line = |line: &str| {
        let mut words = line.split_whitespace();
        let what = words.next().expect("a word").to_owned();
        (what, words.map(|word| word.parse().unwrap_or(f64::NAN)).collect())
    };
    String::from_utf8(output.stdout).unwrap().lines().map(line).collect()
}

/// R's parametric fits know no late entries.
fn r_fits(set: usize) -> bool {
    !matches!(holds(set as u64), Holds::LateEntries | Holds::Both)
}

/// The numbers that R gave of one kind.
fn of<'a>(answers: &'a [(String, Vec<f64>)], what: &str) -> Vec<&'a Vec<f64>> {
    answers.iter().filter(|(word, _)| word == what).map(|(_, numbers)| numbers).collect()
}

fn of_set<'a>(answers: &'a [(String, Vec<f64>)], what: &str, set: usize) -> Vec<&'a Vec<f64>> {
    of(answers, what).into_iter().filter(|numbers| numbers[0] as usize == set).collect()
}

#[test]
fn r_finds_the_same_laws_curves_tests_and_repairs() {
    let folder = tempfile::tempdir().unwrap();
    let answers = r(folder.path());
    let sets = sets();
    assert_eq!(of(&answers, "fit").len(), 30);
    for theirs in of(&answers, "fit") {
        let law = weibull::fit(&sets[theirs[0] as usize]).unwrap();
        near(law.eta, theirs[2], 1e-6, "eta");
        near(law.beta, theirs[3], 1e-6, "beta");
        near(law.loglik, theirs[4], 1e-9, "likelihood");
    }
    let groups = groups();
    same_curves(&groups, &answers);
    assert_eq!(of(&answers, "test").len(), 25);
    for theirs in of(&answers, "test") {
        let test = logrank(&groups[theirs[0] as usize]).unwrap();
        near(test.chisq, theirs[2], 1e-9, "chi-squared");
        for group in 0..2 {
            assert_eq!(test.observed[group] as f64, theirs[3 + group]);
            near(test.expected[group], theirs[5 + group], 1e-10, "expected");
        }
    }
    for (set, its) in units().iter().enumerate() {
        let ours = mcf(its).unwrap();
        let theirs = of_set(&answers, "repairs", set);
        assert!(ours.len() == theirs.len() && !ours.is_empty(), "set {set}");
        for (ours, theirs) in ours.iter().zip(theirs) {
            let found = [ours.age, ours.at_risk as f64, ours.events as f64, ours.mean, ours.se];
            same(&found, &theirs[1..6], &format!("set {set} at {}", ours.age));
        }
    }
}

fn same(found: &[f64], wanted: &[f64], what: &str) {
    assert_eq!(found.len(), wanted.len(), "{what}");
    found.iter().zip(wanted).for_each(|(found, wanted)| near(*found, *wanted, 1e-9, what));
}

fn same_curves(groups: &[[Vec<Life>; 2]], answers: &[(String, Vec<f64>)]) {
    let mut steps = 0;
    for (set, its) in groups.iter().enumerate() {
        let curve = kaplan_meier::curve(&its.concat(), None).unwrap();
        let theirs = of_set(answers, "curve", set);
        assert_eq!(curve.steps.len(), theirs.len(), "set {set}");
        for (ours, theirs) in curve.steps.iter().zip(theirs) {
            let what = format!("set {set} at {}", ours.age);
            let found = [ours.age, ours.at_risk as f64, ours.events as f64, ours.survival];
            same(&found, &theirs[1..5], &what);
            same(&[ours.hazard, ours.hazard_variance.sqrt()], &theirs[8..10], &what);
            // R gives the error of the logarithm, and limits that are none once nothing survives.
            if let (Some(variance), Some(low), Some(high)) = (ours.variance, ours.low, ours.high) {
                same(&[variance.sqrt() / ours.survival, low, high], &theirs[5..8], &what);
            }
            steps += 1;
        }
        let later = kaplan_meier::curve(&its.concat(), Some(20.0)).unwrap();
        let found: Vec<f64> = later.steps.iter().map(|step| step.survival).collect();
        let found = [vec![later.n as f64, later.events as f64], found].concat();
        same(&found, &of_set(answers, "later", set)[0][2..], &format!("set {set}, those alive at 20"));
    }
    assert!(steps > 1000, "{steps}");
}
