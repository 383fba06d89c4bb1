//! Parts that fit: a house in memory whose sizes a test chooses, and the rules, traps and searches tested on it. Sizes are
//! invented, no maker's ladder.

use fettle::domain::configuration::Configuration;
use fettle::domain::event::Event;
use fettle::domain::fit::{Check, Fit, Rule, Verdict};
use fettle::domain::fit_judge::{Setting, judge};
use fettle::domain::fit_layout::lay_out;
use fettle::domain::fit_sheet::set_up_sheet;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{self, Admin, Biomed, Charge, Desk, Lead};
use fettle::domain::refusal::Refusal;
use fettle::domain::setup_sheet::SetUpSheet;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::ward::{self, time};

mod bound;
mod brute;
mod claims;
mod commands;
mod input;
mod kept;
mod late;
mod lost;
mod opens;
mod pair;
mod rules;
mod safe;
mod search;
mod served;
mod small;

/// A house in memory. A part is ready when it was cleaned, so that readiness costs one scan.
pub struct House {
    pub paper: Paper,
    pub now: Time,
}

/// The couplings of a head that goes on `lock`: one opening in line, two at the side.
pub fn head_ends(lock: &str) -> Value {
    json!([{"end": "barrel", "system": lock},
           {"end": "central", "system": "rim 10", "port": "proximal", "bore_mm": "9"},
           {"end": "side 1", "system": "side 9", "port": "side", "bore_mm": "5"},
           {"end": "side 2", "system": "side 9", "port": "side", "bore_mm": "5"}])
}

impl House {
    pub fn empty() -> House {
        let start = time("2026-03-02T06:00:00+01:00");
        let site = Id::new("house").expect("an id");
        let mut house = House { paper: Paper::new(site, chrono_tz::Europe::Berlin, start), now: start };
        house.done(Admin, json!({"do": "define_route", "route": "quick", "steps": [{"step": "cleaned"}]}));
        house
    }

    /// One of everything that an adult case takes: it fits for every technique.
    pub fn adult() -> House {
        let mut house = House::empty();
        house.model(
            "b8",
            "bronchoscope",
            json!({"nominal": 8, "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9",
            "length_mm": 400}),
            json!([{"end": "head", "system": "lock A"}]),
        );
        house.model("head", "head", json!({"stack_height_mm": 28}), head_ends("lock A"));
        // The cone's size is one of those of ISO 5356-1; it says nothing of the other end.
        house.model(
            "conn",
            "anaesthesia_connector",
            json!({}),
            json!([{"end": "head", "system": "side 9"},
            {"end": "circuit", "system": "ISO 5356-1 15 mm"}]),
        );
        house.model("jet", "jet_adapter", json!({}), json!([{"end": "head", "system": "side 9"}]));
        let rim = json!([{"end": "rim", "system": "rim 10"}]);
        house.model("cap1", "cap", json!({"hole_diameters_mm": ["2.6"], "stack_height_mm": 3}), rim.clone());
        house.model("cap2", "cap", json!({"hole_diameters_mm": ["2.6", "2"], "stack_height_mm": 3}), rim);
        house.model(
            "plug",
            "cap",
            json!({"hole_diameters_mm": [], "stack_height_mm": 3}),
            json!([{"end": "rim", "system": "side 9"}]),
        );
        house.model(
            "t4",
            "telescope",
            json!({"shaft_diameter_mm": 4, "length_mm": 436, "view_deg": 0}),
            json!([]),
        );
        house.model(
            "grip",
            "forceps",
            json!({"shaft_diameter_mm": "2.4", "max_width_mm": 3, "length_mm": 550}),
            json!([]),
        );
        house.model("suck", "suction_tube", json!({"french": 8, "length_mm": 560}), json!([]));
        for (asset, model) in [
            ("B-1", "b8"),
            ("H-1", "head"),
            ("N-1", "conn"),
            ("J-1", "jet"),
            ("C-1", "cap1"),
            ("C-2", "cap2"),
            ("P-1", "plug"),
            ("P-2", "plug"),
            ("T-1", "t4"),
            ("F-1", "grip"),
            ("S-1", "suck"),
        ] {
            house.piece(asset, model);
        }
        house
    }

    pub fn done(&mut self, role: Role, command: Value) -> Event {
        ward::done(&mut self.paper, &mut self.now, role, command)
    }

    pub fn refused(&mut self, role: Role, command: Value, code: &str) -> Refusal {
        ward::refused(&mut self.paper, &mut self.now, role, command, code)
    }

    pub fn model(&mut self, model: &str, family: &str, dimensions: Value, couplings: Value) {
        let define = json!({"do": "define_model", "model": model, "family": family, "name": model, "route": "quick",
                            "dimensions": dimensions, "couplings": couplings});
        self.done(Biomed, define);
    }

    /// A piece, ready.
    pub fn piece(&mut self, asset: &str, model: &str) {
        self.done(Lead, json!({"do": "add_asset", "asset": asset, "model": model}));
        self.clean(asset);
    }

    pub fn clean(&mut self, asset: &str) {
        self.done(Desk, json!({"do": "record_step", "step": "cleaned", "scan": asset}));
    }

    pub fn case(&mut self, case: &str, more: Value) {
        let mut plan = json!({"do": "plan_case", "case": case, "start": "2026-03-03T10:00:00+01:00", "minutes": 60,
                              "needs": []});
        for (field, value) in more.as_object().expect("an object") {
            plan[field.as_str()] = value.clone();
        }
        self.done(Charge, plan);
    }

    /// A configuration judged for a technique.
    pub fn judge(&self, technique: &str, configuration: Value) -> Fit {
        let configuration: Configuration = serde_json::from_value(configuration).expect("a configuration");
        let state = &self.paper.state;
        let layout = lay_out(state, &configuration).unwrap_or_else(|wrong| panic!("{wrong:?}"));
        let technique = serde_json::from_value(json!(technique)).ok();
        let setting = Setting { state, now: self.now, technique, case: None };
        judge(&setting, &layout)
    }

    pub fn sheet(&self, case: &str) -> SetUpSheet {
        let state = &self.paper.state;
        set_up_sheet(state, state.cases.get(case).expect("a case"), self.now)
    }
}

/// Parts by their names, each where its couplings put it.
pub fn parts(names: &[&str]) -> Value {
    json!(names.iter().map(|name| json!({"asset": name})).collect::<Vec<_>>())
}

/// The usual jet set-up: the central opening is the way out.
pub fn jet(instruments: &[&str]) -> Value {
    let all: Vec<&str> = ["H-1", "J-1"].into_iter().chain(instruments.iter().copied()).collect();
    json!({"barrel": "B-1", "parts": parts(&all), "way_out": [{"part": "H-1", "end": "central"}]})
}

/// The usual closed set-up with these caps in line.
pub fn closed(cap: &str, instruments: &[&str]) -> Value {
    let all: Vec<&str> = ["H-1", "N-1", cap, "P-1"].into_iter().chain(instruments.iter().copied()).collect();
    json!({"barrel": "B-1", "parts": parts(&all)})
}

/// The checks of a rule.
pub fn of(fit: &Fit, rule: Rule) -> Vec<&Check> {
    fit.checks.iter().filter(|check| check.rule == rule).collect()
}

/// The worst verdict of a rule.
pub fn worst(fit: &Fit, rule: Rule) -> Option<Verdict> {
    of(fit, rule).into_iter().map(|check| check.verdict).max()
}
