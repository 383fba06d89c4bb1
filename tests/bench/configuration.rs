//! The search for a configuration over 30 barrels, 30 telescopes, 60 forceps, 40 suction tubes, 60 caps and 20 adapters:
//! once as a house has them, a few models of each in its sets, and once with every piece measured differently, so that no
//! two are alike. Then in a house of 60 sets of different contents, each kept for a case of its own.
//!
//! `cargo bench --bench configuration`; it needs no database.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods, clippy::panic)]

use std::time::{Duration, Instant};

use fettle::domain::command::Command;
use fettle::domain::fit_sheet::set_up_sheet;
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use fettle::domain::simulate::Given;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::time::Time;
use serde_json::{Value, json};

const TARGET: Duration = Duration::from_millis(50);
const ROUNDS: u32 = 20;

struct Bench {
    paper: Paper,
    now: Time,
}

impl Bench {
    fn done(&mut self, role: Role, command: Value) {
        let told = command.to_string();
        let command = Command::read(command).expect("a command");
        let taken = self.paper.take(&Given { now: self.now, role, command });
        assert!(taken.is_ok(), "{told}: {taken:?}");
    }

    fn model(&mut self, model: String, family: &str, dimensions: Value, couplings: Value) {
        let define = json!({"do": "define_model", "model": model, "family": family, "name": model, "route": "quick",
                            "dimensions": dimensions, "couplings": couplings});
        self.done(Role::Biomed, define);
    }

    fn pieces(
        &mut self,
        family: &str,
        front: &str,
        models: usize,
        count: usize,
        measured: &dyn Fn(usize) -> Option<Value>,
    ) {
        for n in 0..count {
            let (asset, model) = (format!("{front}-{n:02}"), format!("{front}{}", n % models));
            self.done(Role::Lead, json!({"do": "add_asset", "asset": asset, "model": model}));
            // Two thirds lie in sets, one thirtieth of everything in each.
            if n % 3 > 0 {
                let set = format!("SET-{:02}", n % 30);
                self.done(
                    Role::Lead,
                    json!({"do": "put_in_set", "set": set, "line": family, "asset": asset}),
                );
            }
            self.done(Role::Desk, json!({"do": "record_step", "step": "cleaned", "scan": asset}));
            if let Some(dimensions) = measured(n) {
                self.done(
                    Role::Desk,
                    json!({"do": "measure_asset", "asset": asset, "dimensions": dimensions}),
                );
            }
        }
    }
}

/// The sets of the large house, and its cases.
const MANY: usize = 60;

/// The catalogue, and these empty sets.
fn catalogue(sets: usize) -> Bench {
    let now = Time::parse("2026-03-02T06:00:00+01:00").expect("a time");
    let mut it =
        Bench { paper: Paper::new(Id::new("bench").expect("an id"), chrono_tz::Europe::Berlin, now), now };
    it.done(Role::Admin, json!({"do": "define_route", "route": "quick", "steps": [{"step": "cleaned"}]}));
    let families = ["bronchoscope", "telescope", "forceps", "suction_tube", "cap", "head", "jet_adapter"];
    let lines: Vec<Value> = families
        .iter()
        .map(|name| json!({"line": name, "family": name, "quantity": 20, "essential": false}))
        .collect();
    it.done(
        Role::Admin,
        json!({"do": "define_count_sheet", "count_sheet": "all", "name": "All", "lines": lines}),
    );
    for n in 0..sets {
        let set = format!("SET-{n:02}");
        it.done(Role::Lead, json!({"do": "build_set", "set": set, "count_sheet": "all", "name": set}));
    }
    for n in 0..6 {
        let inner = 6.2 + n as f64;
        it.model(
            format!("B{n}"),
            "bronchoscope",
            json!({"nominal": 6 + n, "inner_diameter_mm": inner, "outer_diameter_mm":
            inner + 0.7, "length_mm": if n < 3 { 300 } else { 400 }}),
            json!([{"end": "head", "system": "lock"}]),
        );
        let (shaft, length) = (["2.8", "4", "5.5"][n % 3], [336, 436, 440, 340, 330, 430][n]);
        let size = json!({"shaft_diameter_mm": shaft, "length_mm": length});
        it.model(format!("T{n}"), "telescope", size, json!([]));
        it.model(format!("S{n}"), "suction_tube", json!({"french": 5 + n, "length_mm": 540}), json!([]));
    }
    for n in 0..10 {
        it.model(
            format!("F{n}"),
            "forceps",
            json!({"shaft_diameter_mm": format!("2.{n}"), "max_width_mm": format!("3.{n}"),
            "length_mm": 520 + n}),
            json!([]),
        );
        let ends = json!([{"end": "barrel", "system": "lock"}, {"end": "central", "system": "rim", "port": "proximal",
            "bore_mm": "12"}, {"end": "side 1", "system": "side", "port": "side", "bore_mm": "5"}, {"end": "side 2",
            "system": "side", "port": "side", "bore_mm": "5"}]);
        it.model(format!("H{n}"), "head", json!({"stack_height_mm": 26 + n % 3}), ends);
        it.model(format!("J{n}"), "jet_adapter", json!({}), json!([{"end": "head", "system": "side"}]));
    }
    for n in 0..8 {
        let holes = json!(vec![["2.6", "1.9"][n % 2]; n % 3]);
        let system = if n % 3 == 0 { "side" } else { "rim" };
        it.model(
            format!("C{n}"),
            "cap",
            json!({"hole_diameters_mm": holes, "stack_height_mm": 3}),
            json!([{"end": "rim", "system": system}]),
        );
    }
    it
}

/// A house of 60 sets. Each has a barrel, a head and a jet attachment of one kind or another, and most of the instruments of a
/// case: what one lacks another has. Each is kept for a case, an hour after the one before.
fn large() -> Bench {
    let mut it = catalogue(MANY);
    for n in 0..MANY {
        let set = format!("SET-{n:02}");
        let mut models = vec![
            ("bronchoscope", format!("B{}", n % 6)),
            ("head", format!("H{}", n % 10)),
            ("jet_adapter", format!("J{}", n % 10)),
            ("telescope", format!("T{}", n / 2 % 6)),
            ("forceps", format!("F{}", n / 3 % 10)),
            ("suction_tube", format!("S{}", n / 5 % 6)),
            ("cap", format!("C{}", n % 8)),
        ];
        models.remove(3 + n % 4);
        for (family, model) in models {
            let asset = format!("{model}-{n:02}");
            it.done(Role::Lead, json!({"do": "add_asset", "asset": asset, "model": model}));
            it.done(Role::Lead, json!({"do": "put_in_set", "set": set, "line": family, "asset": asset}));
            it.done(Role::Desk, json!({"do": "record_step", "step": "cleaned", "scan": asset}));
        }
        let start = Time::parse("2026-03-02T08:00:00+01:00").expect("a time").plus_minutes(60 * n as i64);
        let case = format!("K-{n:02}");
        let wish = json!({"together": ["telescope", "forceps", "suction_tube"]});
        let plan = json!({"do": "plan_case", "case": case, "start": start, "minutes": 45, "needs": ["all"],
                          "technique": "jet_open", "configuration": wish});
        it.done(Role::Charge, plan);
        it.done(Role::Charge, json!({"do": "promise", "case": case, "set": set}));
    }
    it
}

fn house(alike: bool) -> Bench {
    let mut it = catalogue(30);
    // Thousandths above what its maker states, each piece by another number of them.
    let wider = move |what: &str, stated: f64, n: usize| {
        (!alike).then(|| json!({what: format!("{:.3}", stated + n as f64 / 1_000.0)}))
    };
    let longer = move |n: usize| {
        (!alike).then(|| json!({"stack_height_mm": format!("{}", 26.0 + n as f64 / 1_000.0)}))
    };
    it.pieces("bronchoscope", "B", 6, 30, &|n| {
        (!alike).then(|| json!({"length_mm": 400.0 + n as f64 / 1_000.0})).filter(|_| n % 6 > 2)
    });
    it.pieces("telescope", "T", 6, 30, &|n| wider("shaft_diameter_mm", [2.8, 4.0, 5.5][n % 3], n));
    it.pieces("forceps", "F", 10, 60, &|n| wider("shaft_diameter_mm", 2.0 + (n % 10) as f64 / 10.0, n));
    it.pieces("suction_tube", "S", 6, 40, &|n| wider("outer_diameter_mm", (5 + n % 6) as f64 / 3.0, n));
    it.pieces("cap", "C", 8, 60, &|_| None);
    it.pieces("head", "H", 10, 10, &longer);
    it.pieces("jet_adapter", "J", 10, 10, &|_| None);
    it
}

fn main() {
    for (alike, what) in [(true, "a few models of each"), (false, "every piece measured differently")] {
        let mut bench = house(alike);
        for (case, nominal) in [("K-any", None), ("K-9", Some(9))] {
            let mut wish = json!({"together": ["telescope", "forceps", "suction_tube"]});
            if let Some(nominal) = nominal {
                wish["barrel_nominal"] = json!(nominal);
            }
            let plan = json!({"do": "plan_case", "case": case, "start": "2026-03-03T10:00:00+01:00", "minutes": 60,
                              "needs": [], "technique": "jet_open", "configuration": wish});
            bench.done(Role::Charge, plan);
            measure(
                &bench,
                case,
                &format!("{what}, {}", nominal.map_or("any barrel", |_| "one size of barrel")),
            );
        }
    }
    measure_large(&large());
}

/// The sheets of all cases of the large house: each in turn, since each has a set of its own.
fn measure_large(bench: &Bench) {
    let state = &bench.paper.state;
    let (mut took, mut offers, mut not_all) = (Vec::new(), 0, 0);
    for case in state.cases.values() {
        let began = Instant::now();
        let sheet = set_up_sheet(state, case, bench.now);
        took.push(began.elapsed());
        offers += usize::from(!sheet.offers.is_empty());
        not_all += usize::from(sheet.left_out > 0);
    }
    took.sort();
    let (median, worst) = (took[took.len() / 2], took[took.len() - 1]);
    let met = if median <= TARGET { "met" } else { "MISSED" };
    println!(
        "the whole sheet, {MANY} sets and a case for each: median {median:.1?}, worst {worst:.1?}; target {TARGET:.0?} \
         {met}; {offers} with an offer, {not_all} did not look at every set"
    );
    assert!(offers > 0, "a large house offers something");
}

fn measure(bench: &Bench, case: &str, what: &str) {
    let state = &bench.paper.state;
    let case = state.cases.get(case).expect("a case");
    let mut took = Vec::new();
    for _ in 0..ROUNDS {
        let began = Instant::now();
        let sheet = set_up_sheet(state, case, bench.now);
        took.push(began.elapsed());
        assert_eq!(sheet.offers.len(), 3, "{}", sheet.sentence);
        let wished = case.wish.as_ref().is_some_and(|wish| wish.barrel_nominal.is_some());
        assert!(!wished || sheet.smaller.offer.is_some(), "{}", sheet.smaller.sentence);
    }
    took.sort();
    let (median, worst) = (took[took.len() / 2], took[took.len() - 1]);
    let met = if median <= TARGET { "met" } else { "MISSED" };
    println!("the whole sheet, {what}: median {median:.1?}, worst {worst:.1?}; target {TARGET:.0?} {met}");
}
