//! A small house for the tests of the pages, made by the same decisions that make a real one.

pub mod busy;
mod timetable;
pub mod visiting;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use askama::Template;
use serde_json::{Value, json};

use crate::domain::apply::{When, apply};
use crate::domain::event::{Beside, Entry, Event, Thing, What};
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::domain::state::InspectedAt;
use crate::domain::time::Time;
use crate::domain::{Asked, Command, State, decide};
use crate::web::visitor::Visitor;

pub use timetable::{alerting, scheduled};

struct House {
    state: State,
    entries: Vec<Entry>,
    now: Time,
}

impl House {
    fn put(&mut self, actor: &str, at: Time, event: Event) {
        let seq = self.state.seq + 1;
        apply(&mut self.state, &When { seq, at, recorded_at: self.now, actor }, &event);
        self.entries.push(Entry {
            site: self.state.site.clone(),
            seq,
            at,
            recorded_at: self.now,
            actor: actor.into(),
            station: None,
            key: None,
            kind: event.what.kind().into(),
            version: 1,
            event: event.to_value().unwrap(),
        });
    }

    fn act(&mut self, role: Role, command: Value) {
        self.now = self.now.plus_minutes(7);
        let code = format!("p-{}", role.name());
        let actor = Actor { code: code.clone(), role };
        let read = Command::read(command.clone()).unwrap();
        let (people, turns) = (BTreeSet::new(), BTreeMap::new());
        let asked = Asked {
            actor: &actor,
            now: self.now,
            salt: [7; 16],
            people: &people,
            own_name: None,
            turns: &turns,
            corrected: None,
            attachments: &BTreeMap::new(),
            same_patient: &BTreeSet::new(),
            prepared: None,
        };
        let decided =
            decide(&self.state, &asked, &read).unwrap_or_else(|turned| panic!("{command}: {turned:?}"));
        self.put(&code, decided.at, decided.event);
    }

    fn steps(&mut self, scan: &str, steps: &[&str]) {
        for step in steps {
            self.act(Role::Desk, json!({"do": "record_step", "step": step, "scan": scan}));
        }
    }
}

fn catalogue(house: &mut House) {
    let admin = Role::Admin;
    house.act(admin, json!({"do": "define_route", "route": "rigid", "steps": [
        {"step": "treated"}, {"step": "received"}, {"step": "cleaned"}, {"step": "disinfected"}, {"step": "dried"},
        {"step": "inspected"}, {"step": "packed"}, {"step": "sterilised"}]}));
    let steam =
        json!({"steam": {"temp_c": "134", "hold_s": "180"}, "max_temp_c": "95", "edition": "4, 2024"});
    let telescope =
        json!({"steam": {"temp_c": "134", "hold_s": "180"}, "max_temp_c": "95", "ultrasonic": false});
    let models = [
        (
            "TEL-0-4",
            "telescope",
            "Telescope 0°, 4.0 × 300 mm",
            telescope,
            json!({"view_deg": 0, "shaft_diameter_mm": "4.0", "length_mm": 300}),
        ),
        (
            "BR-7.5",
            "bronchoscope",
            "Barrel 7.5, 430 mm",
            steam.clone(),
            json!({"nominal": "7.5", "inner_diameter_mm": "6.8", "outer_diameter_mm": "8.2", "length_mm": 430}),
        ),
        ("CAP-2", "cap", "Silicone cap, one hole 2.8", steam.clone(), json!({"hole_diameters_mm": ["2.8"]})),
        ("FOR-OPT", "forceps", "Optical grasping forceps", steam, json!({"max_width_mm": "5.5"})),
    ];
    for (model, family, name, processing, dimensions) in models {
        house.act(admin, json!({"do": "define_model", "model": model, "family": family, "name": name, "route": "rigid",
            "processing": processing, "dimensions": dimensions, "limits": {"max_cycles": 600, "inspect_every_cycles": 50}}));
    }
    house.act(
        admin,
        json!({"do": "define_machine", "machine": "WD-1", "kind": "washer_disinfector",
        "programmes": [{"programme": "rigid-93", "method": "machine", "a0_s": 3000}]}),
    );
    house.act(admin, json!({"do": "define_machine", "machine": "ST-1", "kind": "steriliser",
        "programmes": [{"programme": "steam-134", "method": "steam", "band_c": 134, "hold_s": 180, "cooling_s": 2700}]}));
    house.act(admin, json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult rigid bronchoscopy", "lines": [
        {"line": "barrel 7.5", "family": "bronchoscope", "quantity": 1, "essential": true},
        {"line": "telescope 0°", "family": "telescope", "quantity": 1, "essential": true, "pack": "optics"},
        {"line": "caps", "family": "cap", "quantity": 2, "essential": true},
        {"line": "grasping forceps", "family": "forceps", "quantity": 1, "essential": false}]}));
}

fn parts(house: &mut House) {
    let lead = Role::Lead;
    let parts = [
        ("T-0142", "TEL-0-4"),
        ("T-0138", "TEL-0-4"),
        ("BR-0031", "BR-7.5"),
        ("BR-0032", "BR-7.5"),
        ("CAP-01", "CAP-2"),
        ("CAP-02", "CAP-2"),
        ("CAP-03", "CAP-2"),
        ("FOR-07", "FOR-OPT"),
    ];
    for (asset, model) in parts {
        house.act(lead, json!({"do": "add_asset", "asset": asset, "model": model, "mark": format!("01/{asset}"), "prior_cycles": 48}));
    }
    for set in ["B2", "C1"] {
        house.act(
            lead,
            json!({"do": "build_set", "set": set, "count_sheet": "adult", "name": format!("Adult {set}")}),
        );
    }
    let seats = [
        ("B2", "barrel 7.5", "BR-0031"),
        ("B2", "telescope 0°", "T-0138"),
        ("B2", "caps", "CAP-01"),
        ("B2", "caps", "CAP-02"),
        ("B2", "grasping forceps", "FOR-07"),
        ("C1", "barrel 7.5", "BR-0032"),
        ("C1", "caps", "CAP-03"),
    ];
    for (set, line, asset) in seats {
        house.act(lead, json!({"do": "put_in_set", "set": set, "line": line, "asset": asset}));
    }
    house.act(lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}));
}

fn wash(house: &mut House, load: &str, scan: &[&str]) {
    house.act(Role::Desk, json!({"do": "start_load", "load": load, "machine": "WD-1", "programme": "rigid-93", "cycle_no": 88, "scan": scan}));
    house.act(
        Role::Desk,
        json!({"do": "judge_load", "load": load, "readings":
        {"min_c": 90, "max_c": "93.4", "a0_s": 3120, "complete": true, "second_reader": "second"}}),
    );
    house.act(Role::Lead, json!({"do": "release_load", "load": load}));
}

fn passed(house: &mut House, load: &str) {
    house.act(
        Role::Desk,
        json!({"do": "judge_load", "load": load, "readings":
        {"min_c": "134.1", "max_c": "135.6", "hold_s": 205, "complete": true, "second_reader": "second"}}),
    );
    house.act(Role::Desk, json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass", "lot": "CI-22"}));
}

fn loop_once(house: &mut House) {
    for scan in ["B2", "T-0142"] {
        house.steps(scan, &["treated", "received", "cleaned"]);
    }
    house.steps("C1", &["treated", "received"]);
    wash(house, "W-88", &["B2", "T-0142"]);
    house.steps("B2", &["dried"]);
    house.steps("T-0142", &["dried"]);
    house.act(Role::Desk, json!({"do": "inspect", "scan": "B2", "passed": true}));
    house.act(Role::Desk, json!({"do": "inspect", "scan": "T-0142", "passed": true}));
    house.steps("T-0142", &["packed"]);
    house.act(Role::Desk, json!({"do": "start_load", "load": "S-309", "machine": "ST-1", "programme": "steam-134", "scan": "T-0142"}));
    house.act(Role::Lead, json!({"do": "reject_load", "load": "S-309", "reason": "the door alarm sounded"}));
    house.steps("T-0142", &["packed"]);
    house.act(Role::Desk, json!({"do": "start_load", "load": "S-310", "machine": "ST-1", "programme": "steam-134", "scan": "T-0142"}));
    passed(house, "S-310");
    house.act(Role::Lead, json!({"do": "release_load", "load": "S-310", "dry": true}));
    house.steps("T-0142", &["received"]);
    house.act(
        Role::Biomed,
        json!({"do": "hold", "kind": "quality", "reason": "image dim on the lower left", "scan": "T-0142"}),
    );
    house.steps("B2", &["packed"]);
    house.act(Role::Desk, json!({"do": "start_load", "load": "S-311", "machine": "ST-1", "programme": "steam-134", "cycle_no": 4711, "scan": "B2"}));
}

/// The same house after three of its packs broke: two wet in the steriliser, one past its date.
pub fn broken() -> Visitor {
    let mut house = house();
    let in_pouch = json!({"do": "record_step", "step": "packed", "scan": "B2", "packaging": "pouch"});
    house.act(Role::Desk, json!({"do": "pack_broken", "scan": "B2", "why": "wet"}));
    house.act(Role::Desk, in_pouch);
    house.act(Role::Desk, json!({"do": "pack_broken", "scan": "T-0138", "why": "past_date"}));
    looking(house, Role::Lead)
}

fn house() -> House {
    let now = Time::parse("2026-03-02T23:10:00Z").unwrap();
    let mut house = House { state: State::new(Id::new("airway").unwrap()), entries: Vec::new(), now };
    let founded = json!({"name": "Airway suite", "timezone": "Europe/Berlin"});
    let what = What::SiteFounded(serde_json::from_value(founded).unwrap());
    house.put("p-admin", now, Event { what, beside: Beside::default() });
    catalogue(&mut house);
    parts(&mut house);
    loop_once(&mut house);
    house
}

fn looking(house: House, role: Role) -> Visitor {
    Visitor {
        actor: Actor { code: format!("p-{}", role.name()), role },
        name: "Morning lead".into(),
        csrf: "0123456789abcdef".into(),
        state: Arc::new(house.state),
        now: house.now.plus_minutes(9),
    }
}

/// The lead, while load S-311 runs.
pub fn visitor() -> Visitor {
    looking(house(), Role::Lead)
}

/// A house with a case whose set is open beside the patient.
fn at_the_table() -> House {
    let mut house = house();
    passed(&mut house, "S-311");
    house.act(Role::Lead, json!({"do": "release_load", "load": "S-311", "dry": true}));
    house.now = house.now.plus_minutes(50);
    let at = |hours: i64| house.now.plus_minutes(60 * hours).to_string();
    let (soon, later) = (at(1), at(5));
    let plan = |case: &str, start: &str| {
        json!({"do": "plan_case", "case": case, "start": start, "minutes": 40, "room": "2", "needs": ["adult"],
               "technique": "jet_open", "patient": "P-4711"})
    };
    house.act(Role::Charge, plan("K-1", &soon));
    house.act(Role::Charge, plan("K-2", &later));
    house.act(Role::Charge, json!({"do": "promise", "case": "K-1", "set": "B2"}));
    house.act(
        Role::Charge,
        json!({"do": "issue", "case": "K-1", "scan": "B2",
               "override": {"code": "reserve_would_be_undercut", "reason": "the next set follows at eleven"}}),
    );
    house.act(Role::Clinician, json!({"do": "open", "case": "K-1", "scan": "B2", "pack_intact": true}));
    house.act(Role::Clinician, json!({"do": "use", "case": "K-1", "scan": "BR-0031"}));
    house
}

/// The charge nurse, after a case of an hour ago came back one cap short, with another case to come.
pub fn in_theatre() -> Visitor {
    let mut house = at_the_table();
    house.act(Role::Charge, json!({"do": "close_count", "case": "K-1", "missing": ["CAP-02"]}));
    looking(house, Role::Charge)
}

/// Somebody at the table of case K-1: the check is under way and failed on a cap, everything was counted in.
pub fn in_the_room() -> Visitor {
    let mut house = at_the_table();
    house.act(
        Role::Clinician,
        json!({"do": "record_count", "moment": "opening", "case": "K-1", "others": [{"line": "swabs", "in": 5}]}),
    );
    house.act(
        Role::Clinician,
        json!({"do": "record_check", "case": "K-1", "lines": [
            {"line": "camera", "result": "passed"}, {"line": "light", "result": "passed"},
            {"line": "suction", "result": "not_applicable"},
            {"line": "caps whole", "result": "failed", "asset": "CAP-01", "what": "torn"}]}),
    );
    let mut visitor = looking(house, Role::Clinician);
    visitor.actor.code = "p-clinician".into();
    visitor
}

/// Infection prevention, after growth in the indicator of load S-311: a case used what lay in it.
pub fn recalled() -> Visitor {
    let mut house = house();
    passed(&mut house, "S-311");
    house.act(Role::Lead, json!({"do": "release_load", "load": "S-311", "dry": true}));
    house.now = house.now.plus_minutes(50);
    let start = house.now.plus_minutes(60).to_string();
    let plan = json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 40, "room": "2", "needs": ["adult"]});
    house.act(Role::Charge, plan);
    house.act(
        Role::Charge,
        json!({"do": "issue", "case": "K-1", "scan": "B2",
               "override": {"code": "reserve_would_be_undercut", "reason": "the next set follows at eleven"}}),
    );
    house.act(Role::Clinician, json!({"do": "open", "case": "K-1", "scan": "BR-0031", "pack_intact": true}));
    house.act(
        Role::Lead,
        json!({"do": "record_indicator", "load": "S-311", "indicator": "biological", "result": "fail"}),
    );
    looking(house, Role::Infection)
}

/// The lead, when nothing stands against load S-311 any more.
pub fn judged() -> Visitor {
    let mut house = house();
    passed(&mut house, "S-311");
    looking(house, Role::Lead)
}

/// Load S-311 was started and released by the same person at night.
pub fn released_alone(role: Role) -> Visitor {
    let mut house = house();
    house.act(Role::Admin, json!({"do": "set_policy", "two_people": true}));
    passed(&mut house, "S-311");
    let alone = json!({"code": "same_person", "reason": "alone at night, adult is below its minimum"});
    house.act(Role::Desk, json!({"do": "release_load", "load": "S-311", "dry": true, "override": alone}));
    looking(house, role)
}

/// A steriliser that a failed verdict flagged, and one whose test failed.
pub fn troubled_machines() -> Visitor {
    let mut house = house();
    house.act(
        Role::Desk,
        json!({"do": "judge_load", "load": "S-311", "readings":
        {"min_c": "134.1", "max_c": "135.6", "hold_s": 20, "complete": true, "second_reader": "second"}}),
    );
    house.act(
        Role::Desk,
        json!({"do": "record_machine_test", "machine": "WD-1", "test": "leak_rate", "passed": false}),
    );
    looking(house, Role::Lead)
}

pub fn entries() -> Vec<Entry> {
    house().entries
}

/// A thing's entries, newest first.
pub fn history(thing: &Thing) -> Vec<Entry> {
    let all = entries().into_iter().rev();
    all.filter(|entry| {
        let event = Event::read(&entry.kind, entry.version, entry.event.clone()).unwrap();
        event.things().contains(thing)
    })
    .collect()
}

/// Renders a page, holds what every page keeps to, and lays it where a person can look at it, if asked.
pub fn show(name: &str, template: &impl Template) -> String {
    let text = template.render().unwrap();
    assert!(text.trim_end().ends_with("</html>"), "{name} does not end");
    assert!(text.contains("<h1"), "{name} has no heading");
    for inline in ["style=\"", "<style", "<script>", " onclick", "javascript:"] {
        assert!(!text.contains(inline), "{name} holds {inline}");
    }
    if let Some(folder) = std::env::var_os("FETTLE_SAMPLES") {
        let local = text.replace("/static/", "static/");
        std::fs::write(std::path::Path::new(&folder).join(format!("{name}.html")), local).unwrap();
    }
    text
}

/// Caps of which twelve tore, at ages that grow with wear, while twenty go on; and what they cost.
pub fn worn() -> Visitor {
    let mut house = house();
    let torn = [96, 118, 131, 140, 149, 158, 166, 175, 184, 196, 209, 228];
    let whole = (0..20).map(|n| 30 + n * 210 / 19);
    for (n, age) in torn.into_iter().chain(whole).enumerate() {
        let asset = format!("CAP-{}", 100 + n);
        house.act(Role::Lead, json!({"do": "add_asset", "asset": asset, "model": "CAP-2", "supplier": if n % 2 == 0 { "Alder" } else { "Birch" }}));
        // What a cap went through since then, as years of loads would have told it.
        let id = Id::new(&asset).unwrap();
        let part = Arc::make_mut(house.state.assets.get_mut(&id).unwrap());
        part.cycles = age;
        part.added_at = house.now.plus_minutes(-60 * 24 * i64::from(age));
        part.inspected = Some(InspectedAt { at: house.now.plus_minutes(-60), cycles: age - 1, entry: 0 });
        if n < torn.len() {
            house
                .act(Role::Biomed, json!({"do": "retire", "asset": asset, "cause": "worn", "failure": true}));
        }
    }
    house.act(
        Role::Biomed,
        json!({"do": "set_model_costs", "model": "CAP-2", "planned_cents": 4_000, "unplanned_cents": 60_000, "lead_days": 21}),
    );
    looking(house, Role::Biomed)
}
