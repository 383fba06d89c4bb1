//! The forms of events: each kind has a golden file that every later release must still read, and the ledger's lines
//! carry what their leaves commit to.

use std::collections::BTreeSet;
use std::path::PathBuf;

use fettle::domain::event::{Event, What};
use fettle::domain::person::Role;
use fettle::ledger::canonical::canonical;
use fettle::storage::dialect::Dialect;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::served::{BOTH, Served, steam_record};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/specimens/events")
}

#[test]
fn every_kind_has_a_specimen_that_reads_back_the_same() {
    let mut found = BTreeSet::new();
    for file in std::fs::read_dir(folder()).expect("a folder of specimens") {
        found.insert(file.expect("a file").file_name().into_string().expect("a name"));
    }
    let wanted: BTreeSet<String> = What::KINDS.iter().map(|kind| format!("{kind}.v1.json")).collect();
    assert_eq!(found, wanted);
    for kind in What::KINDS {
        let text = std::fs::read_to_string(folder().join(format!("{kind}.v1.json"))).expect("a specimen");
        let value: Value = serde_json::from_str(&text).expect("JSON");
        let event = Event::read(kind, 1, value.clone()).expect("an event of this kind");
        assert_eq!(event.what.kind(), *kind);
        assert_eq!(event.to_value().expect("a value"), value, "{kind}");
        assert_eq!(canonical(&event), canonical(&value), "{kind}, written without values in between");
        assert_eq!(Event::read_text(kind, 1, &text).expect("an event of this kind"), event);
    }
}

/// Fields that came later: a form with them is read and written as it stands, as the specimens are without them.
#[test]
fn fields_that_came_later_are_kept_too() {
    let pack = json!({"parts": ["B-1"], "set": "SET-1", "pack": "tray", "load": "load-00002", "machine": "steriliser-1",
                      "location": "bay 3", "packaging": "pouch"});
    let solution = json!({"product": "A", "lot": "D-7", "use_by": "2026-04-01", "strength_test": "pass",
                          "strength_value": "0.45", "contact_s": "720", "temp_c": "20.5"});
    let programme = json!({"programme": "p134", "method": "steam", "band_c": "134", "hold_s": "180",
                           "air_removal_test": true, "biological": "none", "sources": {"band_c": "validation"}});
    let photo = "7bb376b93c1aff7e323e702a9653d12723f7e33fa23ad8e6e92e2dc4a665b939";
    for (kind, event) in [
        ("pack_broken", json!({"why": "wet", "parts": [], "packs": [pack]})),
        ("step_recorded", json!({"step": "packed", "parts": [], "packaging": "rigid container"})),
        ("step_recorded", json!({"step": "disinfected", "parts": [], "solution": solution})),
        ("machine_defined", json!({"machine": "s", "kind": "steriliser", "programmes": [programme]})),
        (
            "load_started",
            json!({"load": "l", "machine": "s", "kind": "steriliser", "programme": programme, "contents": [], "packs": 2}),
        ),
        (
            "load_judged",
            json!({"load": "l", "by": {"readings": {"second_reader": "lead-1", "photo": photo}}, "passed": true,
                   "answer": {"verdict": "pass"}, "ended_at": "2026-03-02T07:15:00.942993Z"}),
        ),
        ("policy_set", json!({"solution_record": true, "undo_minutes": 15, "check_lines": ["foot switch"]})),
        (
            "count_closed",
            json!({"case": "K-1", "parts": [], "pieces": ["F-1"], "others": [{"line": "swabs", "in": 5, "out": 4}]}),
        ),
        ("found", json!({"asset": "F-1", "turn": 2, "piece": true})),
        ("case_changed", json!({"case": "K-1", "technique_not_decided": true})),
    ] {
        let read = Event::read(kind, 1, event.clone()).expect("an event of this kind");
        assert_eq!(read.to_value().expect("a value"), event, "{kind}");
    }
}

#[test]
fn an_event_that_no_release_wrote_is_not_read() {
    let event = json!({"machine": "steriliser-1", "reason": "door seal"});
    assert!(Event::read("machine_out", 1, event.clone()).is_ok());
    assert!(Event::read("machine_out", 2, event.clone()).is_err());
    assert!(Event::read("machine_melted", 1, event).is_err());
    assert!(Event::read("machine_out", 1, json!(["steriliser-1"])).is_err());
    assert!(
        Event::read_text("machine_out", 1, "{\"machine\":\"steriliser-1\",\"reason\":\"door seal\"}").is_ok()
    );
    assert!(
        Event::read_text("machine_out", 2, "{\"machine\":\"steriliser-1\",\"reason\":\"door seal\"}")
            .is_err()
    );
    assert!(Event::read_text("machine_out", 1, "[\"steriliser-1\",\"door seal\"]").is_err());
}

/// What is told of a machine.
async fn at_the_machine(served: &Served) {
    use Role::{Biomed, Desk};
    served.done(Desk, json!({"do": "machine_out", "machine": "steriliser-1", "reason": "door seal"})).await;
    served.done(Biomed, json!({"do": "machine_back", "machine": "steriliser-1", "after": "minor"})).await;
    let columns = json!([{"column": "t", "is": "time"}, {"column": "T", "is": "temperature", "unit": "°C"}]);
    let form = json!({"time": "seconds", "ambient_kpa": 98.4, "columns": columns});
    let define = json!({"do": "define_record_form", "machine": "steriliser-1", "form": form});
    served.done(Role::Lead, define).await;
    served
        .done(
            Desk,
            json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "leak_rate",
        "value": "0.9", "unit": "mbar/min"}),
        )
        .await;
}

/// Commands that write every kind of event beside those of a furnished department's round.
async fn every_kind(served: &Served) {
    use Role::{Admin, Biomed, Charge, Desk, Lead};
    let late = json!({"cause": "forgotten", "sheet": "downtime sheet 7", "done_by": "the night runner"});
    let model = json!({"do": "define_model", "model": "alligator", "family": "forceps", "name": "Alligator forceps",
        "maker": "Example Instruments", "gtin": "04000000000017", "route": "metal", "dimensions": {"length_mm": 550,
        "shaft_diameter_mm": "2.5"}, "couplings": [{"end": "handle", "system": "ring"}], "limits": {"max_uses": 200,
        "inspect_every_cycles": 50}, "processing": {"edition": "2024-03", "steam": {"temp_c": 134, "hold_s": 180},
        "max_temp_c": 137, "immersible": true, "ultrasonic": true}});
    let forceps = json!({"do": "add_asset", "asset": "F-1", "mark": "dm-0004711", "model": "alligator",
        "serial": "A-113", "lot": "L-9", "acquired": "2024-05-01", "prior_cycles": 4, "prior_uses": 3,
        "cost_cents": 48_000, "owner": "loan"});
    served.done(Biomed, model).await;
    served.done(Lead, forceps).await;
    served.measured_and_tried().await;
    served
        .done(
            Admin,
            json!({"do": "set_policy", "test_day_starts": "06:30", "clearance_mm": "0.2",
        "telescope_window_mm": ["-5", "15"]}),
        )
        .await;
    served.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1})).await;
    at_the_machine(served).await;
    served
        .done(
            Desk,
            json!({"do": "record_step", "step": "treated", "scan": ["SET-1", "F-1"], "note": "moist box",
        "station": "theatre 4", "key": "tray-1", "late": late}),
        )
        .await;
    served.done(Charge, json!({"do": "record_step", "step": "treated", "scan": ["SET-1", "C-2"]})).await;
    served.round_from_received("SET-1").await;
    let scan = json!({"do": "hold", "kind": "recall", "reason": "maker's notice 2026-02", "scan": ["F-1"]});
    let hold = served.done(Lead, scan).await["made"].clone();
    served.done(Lead, json!({"do": "lift_hold", "hold": hold, "reason": "not of that lot"})).await;
    served.done(Desk, json!({"do": "put_away", "scan": "F-1", "location": "shelf 3"})).await;
    served.done(Desk, json!({"do": "pack_broken", "scan": ["B-1"], "why": "torn"})).await;
    served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": ["SET-1"]})).await;
    let load = served.load("steriliser-1", "p134", "SET-1").await;
    let read = json!({"min_c": "134.2", "max_c": "135.1", "hold_s": 200, "complete": true,
        "second_reader": "a colleague"});
    served.done(Desk, json!({"do": "judge_load", "load": load, "readings": read})).await;
    served.grew(&load).await;
    served
        .done(
            Desk,
            json!({"do": "replace", "set": "SET-1", "line": "cap", "cause": "worn", "failure": true,
        "new": {"model": "cap", "lot": "L-3"}}),
        )
        .await;
    served
        .done(Desk, json!({"do": "take_from_set", "set": "SET-1", "line": "telescope", "asset": "T-1"}))
        .await;
    served.done(Biomed, json!({"do": "retire", "asset": "T-1", "cause": "damaged", "failure": true})).await;
    every_kind_of_cases(served).await;
}

/// And those of flags and of loads released alone.
async fn every_kind_of_exceptions(served: &Served) {
    use Role::{Admin, Biomed, Desk, Lead};
    let route = json!({"do": "define_route", "route": "plain", "steps": [{"step": "packed"}, {"step": "sterilised"}]});
    served.done(Admin, route).await;
    let model = json!({"do": "define_model", "model": "plain", "family": "accessory", "name": "Plain", "route": "plain",
        "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    served.done(Biomed, model).await;
    served.done(Admin, json!({"do": "set_policy", "two_people": true})).await;
    served.done(Biomed, json!({"do": "machine_back", "machine": "steriliser-1", "after": "failure"})).await;
    let empty = json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "empty_cycle", "passed": true});
    for _ in 0..3 {
        served.done(Desk, empty.clone()).await;
    }
    served.done(Lead, json!({"do": "add_asset", "asset": "P-1", "model": "plain"})).await;
    served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "P-1"})).await;
    let load = served.load("steriliser-1", "p134", "P-1").await;
    for hold_s in [20, 200] {
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(hold_s)})).await;
    }
    served
        .done(
            Biomed,
            json!({"do": "clear_flag", "machine": "steriliser-1", "reason": "short record, read again"}),
        )
        .await;
    served
        .done(
            Desk,
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"}),
        )
        .await;
    let alone = json!({"code": "same_person", "reason": "alone at night, adult is the reserve"});
    served.done(Desk, json!({"do": "release_load", "load": load, "override": alone})).await;
    served.done(Lead, json!({"do": "countersign", "load": load})).await;
}

/// And those of cases, and of what stands beside the loop.
async fn every_kind_of_cases(served: &Served) {
    use Role::{Charge, Clinician};
    every_kind_of_exceptions(served).await;
    let late = json!({"cause": "downtime", "sheet": "theatre book 3"});
    let plan = json!({"do": "plan_case", "case": "K-1", "start": "2012-03-02T08:00:00Z", "minutes": 45,
        "room": "theatre 2", "technique": "jet_open", "needs": ["adult"], "patient": "REF-4711", "risk": "airborne",
        "late": late});
    served.done(Charge, plan).await;
    served
        .done(
            Charge,
            json!({"do": "plan_case", "case": "K-2", "start": "2999-03-02T08:00:00Z", "minutes": 45,
        "needs": []}),
        )
        .await;
    super::request::every_kind(served).await;
    super::visit::every_kind(served).await;
    for (asset, model, line) in [("B-8", "barrel", "barrel"), ("T-8", "scope", "telescope")] {
        served.done(Role::Lead, json!({"do": "add_asset", "asset": asset, "model": model})).await;
        if line == "telescope" {
            served
                .done(Role::Lead, json!({"do": "put_in_set", "set": "SET-1", "line": line, "asset": asset}))
                .await;
        }
    }
    served.done(Charge, json!({"do": "promise", "case": "K-1", "set": "SET-1"})).await;
    served.done(Charge, json!({"do": "withdraw_promise", "case": "K-1", "set": "SET-1"})).await;
    served.put_together("K-1", "B-8", "T-8").await;
    let mut issue = json!({"do": "issue", "emergency": true, "scan": "F-1"});
    issue["late"] = late.clone();
    served.done(Clinician, issue).await;
    served
        .done(
            Clinician,
            json!({"do": "open", "case": "K-1", "scan": ["T-8", "F-1"], "pack_intact": true,
        "indicator": "pass"}),
        )
        .await;
    served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "F-1"})).await;
    served.done(Clinician, json!({"do": "change_case", "case": "K-1", "risk": "prion_suspected"})).await;
    served
        .done(
            Charge,
            json!({"do": "close_count", "case": "K-1", "unopened": ["B-8"], "missing": ["T-8"],
        "broken": ["F-1"]}),
        )
        .await;
    every_kind_beside_the_loop(served).await;
}

async fn every_kind_beside_the_loop(served: &Served) {
    use Role::{Biomed, Charge, Clinician, Infection};
    super::browser_room::every_kind(served).await;
    served
        .done(
            Charge,
            json!({"do": "close_missing", "asset": "T-8", "outcome": "imaging_done", "person": "Dr One"}),
        )
        .await;
    served.done(Charge, json!({"do": "found", "scan": "T-8", "location": "theatre 2, bin"})).await;
    served.done(Charge, json!({"do": "report_missing", "scan": "SET-1", "asset": "B-8"})).await;
    served
        .done(
            Clinician,
            json!({"do": "report_finding", "scan": "C-2", "what": "edge is rough", "severity": "stop",
        "case": "K-1"}),
        )
        .await;
    served
        .done(
            Biomed,
            json!({"do": "send_to_repair", "asset": "C-2", "reason": "rough edge", "order": "R-17",
        "decontaminated": false}),
        )
        .await;
    served
        .done(
            Biomed,
            json!({"do": "back_from_repair", "asset": "C-2", "cost_cents": 9_900, "work": "polished",
        "exchanged_for": {"serial": "N-3"}}),
        )
        .await;
    served.wear_decided().await;
    let open = json!({"do": "open_look_back", "origin": {"machine": "steriliser-1", "from": "2001-01-01T00:00:00Z"},
        "reason": "growth"});
    let look_back = served.done(Infection, open).await["made"].clone();
    served
        .done(
            Infection,
            json!({"do": "close_look_back", "look_back": look_back, "outcome": "nobody exposed"}),
        )
        .await;
    super::schedule::every_kind(served).await;
    super::alert::every_kind(served).await;
    super::paper::every_kind(served).await;
    super::dedicate::every_kind(served).await;
    let told = served.done(Clinician, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-2"})).await;
    let correct = json!({"do": "correct", "entry": told["entry"], "reason": "it lay beside the tray"});
    served.done(Role::Lead, correct).await;
    served.done(Infection, json!({"do": "erase_patient", "case": "K-1", "reason": "time over"})).await;
}

impl Served {
    /// The rest of a round, from received to ready, with a steriliser record that carries its pressure of ambience.
    async fn round_from_received(&self, set: &str) {
        use Role::Desk;
        let step = |step: &str| json!({"do": "record_step", "step": step, "scan": [set]});
        for name in ["received", "cleaned", "dried"] {
            self.done(Desk, step(name)).await;
        }
        self.done(Desk, json!({"do": "record_step", "step": "disinfected", "scan": ["T-1"]})).await;
        let load = self.load("washer-1", "wash", set).await;
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": super::served::wash_record(300)}))
            .await;
        self.done(Desk, json!({"do": "release_load", "load": load})).await;
        let check = json!({"check": "light transmission", "passed": true, "value": "82.5", "unit": "%"});
        self.done(Desk, json!({"do": "inspect", "scan": set, "passed": true, "checks": [check]})).await;
        self.done(Desk, step("packed")).await;
        let start = json!({"do": "start_load", "load": "night-1", "machine": "steriliser-1", "programme": "p134",
                           "cycle_no": 4_712, "scan": [set]});
        self.done(Desk, start).await;
        let judge = json!({"do": "judge_load", "load": "night-1", "record": steam_record(200), "ambient_kpa": "98.4"});
        self.done(Desk, judge).await;
        let chemical =
            json!({"do": "record_indicator", "load": "night-1", "indicator": "chemical", "result": "pass"});
        self.done(Desk, chemical).await;
        self.done(Desk, json!({"do": "release_load", "load": "night-1", "dry": true})).await;
    }

    /// The ledger's lines from after a place, as the auditor reads them.
    pub async fn ledger(&self, query: &str) -> Vec<Value> {
        let url = format!("{}/api/v1/{}/ledger{query}", self.base, self.site);
        let answer =
            self.client.get(url).bearer_auth(self.token(Role::Auditor)).send().await.expect("an answer");
        assert_eq!(answer.headers()["content-type"], "application/x-ndjson");
        let text = answer.text().await.expect("text");
        text.lines().map(|line| serde_json::from_str(line).expect("a line of JSON")).collect()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_line_of_the_ledger_is_what_its_leaf_commits_to() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        every_kind(&served).await;
        let lines = served.ledger("").await;
        let (mut kinds, mut recorded) = (BTreeSet::new(), String::new());
        for (i, line) in lines.iter().enumerate() {
            let entry = &line["entry"];
            assert_eq!(entry["seq"], i as u64 + 1, "a gap before {line}");
            assert_eq!(entry["site"], served.site.as_str());
            let text = canonical(entry).expect("canonical text");
            let leaf = hex::encode(Sha256::new().chain_update([0]).chain_update(text).finalize());
            assert_eq!(line["leaf"], leaf.as_str());
            let name = entry["kind"].as_str().expect("a kind");
            let event = Event::read(name, 1, entry["event"].clone()).expect("an event");
            assert_eq!(event.to_value().expect("a value"), entry["event"], "{name}");
            kinds.insert(name.to_string());
            let at = entry["recorded_at"].as_str().expect("a time").to_string();
            let parse = |text: &str| fettle::domain::time::Time::parse(text);
            assert!(parse(&recorded) <= parse(&at), "{recorded} before {at}");
            recorded = at;
        }
        assert_eq!(kinds, What::KINDS.iter().map(|kind| kind.to_string()).collect());
        assert_eq!(served.ledger("?after=3&limit=2").await, lines[3..5]);
        assert!(!lines.iter().any(|line| line.to_string().contains("night runner")), "a name in the ledger");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_database_itself_refuses_to_change_an_entry() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let before = served.ledger("").await;
        let mut statements = vec![
            format!("UPDATE ledger_entry SET actor = 'another' WHERE site = '{}'", served.site),
            format!("UPDATE ledger_entry SET seq = seq + 1000 WHERE site = '{}'", served.site),
            format!("DELETE FROM ledger_entry WHERE site = '{}'", served.site),
        ];
        if served.house.db.dialect() == Dialect::Server {
            statements.push("TRUNCATE ledger_entry".into());
        }
        for statement in statements {
            let told = format!("{:?}", served.house.db.execute(&statement, &[]).await.expect_err(&statement));
            assert!(told.contains("the ledger is append-only"), "{statement}: {told}");
        }
        assert_eq!(served.ledger("").await, before);
        served.stop().await;
    }
}
