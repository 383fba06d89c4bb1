//! Refusals: each code once, with its sentences, the codes beside it and what would put it right.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::Datelike;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{self, Admin, Biomed, Desk, Lead};
use fettle::domain::scan::resolve;
use fettle::domain::set::SetState;
use fettle::domain::state::{Named, State};
use fettle::domain::text::Line;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::served::{BOTH, Served, steam_record};

/// A command with the code that refuses it, or with none where it has to be accepted.
type Act = (Role, Value, &'static str);

/// The codes that a command of this release can be refused with.
const REACHABLE: [&str; 23] = [
    "unknown_thing",
    "in_the_future",
    "too_late",
    "already_done",
    "retired",
    "name_taken",
    "single_use",
    "held",
    "out_of_order",
    "in_load",
    "machine_not_ready",
    "programme_unsuitable",
    "no_record",
    "record_failed",
    "indicator_missing",
    "indicator_failed",
    "same_person",
    "not_complete",
    "line_full",
    "not_on_sheet",
    "not_fitting",
    "limit_reached",
    "needs_reason",
];

fn things() -> Vec<Act> {
    let put = |set: &str, line: &str, asset: &str| json!({"do": "put_in_set", "set": set, "line": line, "asset": asset});
    let step = |step: &str, scan: Value| json!({"do": "record_step", "step": step, "scan": scan});
    let build = |set: &str| json!({"do": "build_set", "set": set, "count_sheet": "adult", "name": set});
    let add = |asset: &str, model: &str| json!({"do": "add_asset", "asset": asset, "model": model});
    let early = "2001-01-01T00:00:00Z";
    let ahead = json!({"do": "put_away", "scan": "B-1", "location": "shelf", "at": "2999-01-01T00:00:00Z"});
    vec![
        (Desk, step("received", json!(["NOPE", "B-1"])), "unknown_thing"),
        (Desk, json!({"do": "release_load", "load": "no-load"}), "unknown_thing"),
        (Desk, ahead, "in_the_future"),
        (Desk, json!({"do": "put_away", "scan": "B-1", "location": "shelf", "at": early}), "too_late"),
        (Desk, step("treated", json!("SET-1")), ""),
        (Desk, step("treated", json!("B-1")), "already_done"),
        (Lead, json!({"do": "add_asset", "asset": "C-9", "mark": "SET-1", "model": "cap"}), "name_taken"),
        (Lead, build("B-1"), "name_taken"),
        (Lead, add("C-3", "cap"), ""),
        (Biomed, json!({"do": "retire", "asset": "C-3", "cause": "worn", "failure": true}), ""),
        (Desk, put("SET-1", "barrel", "C-3"), "retired"),
        (Lead, build("SET-2"), ""),
        (Desk, put("SET-2", "nothing", "C-2"), "not_on_sheet"),
        (Desk, json!({"do": "take_from_set", "set": "SET-2", "line": "cap", "asset": "C-2"}), "not_on_sheet"),
        (Desk, put("SET-2", "telescope", "C-2"), "not_fitting"),
        (Desk, put("SET-2", "barrel", "B-1"), "out_of_order"),
        (Lead, add("B-2", "barrel"), ""),
        (Desk, put("SET-2", "barrel", "B-2"), "line_full"),
        (Lead, build("SET-3"), ""),
        (Desk, json!({"do": "put_away", "scan": "SET-3", "location": "shelf"}), "not_complete"),
        (Desk, json!({"do": "machine_out", "machine": "washer-1", "reason": "  "}), "needs_reason"),
    ]
}

fn steps() -> Vec<Act> {
    let step = |step: &str, scan: &str| json!({"do": "record_step", "step": step, "scan": scan});
    let pass = |scan: &str| json!({"do": "inspect", "scan": scan, "passed": true});
    let short =
        json!({"do": "define_route", "route": "short", "steps": [{"step": "inspected"}, {"step": "packed"}]});
    let counted = json!({"do": "define_model", "model": "counted", "family": "cap", "name": "Counted", "route": "short",
                         "limits": {"max_cycles": 3}});
    let once = json!({"do": "define_model", "model": "once", "family": "cap", "name": "Once", "route": "metal",
                      "single_use": true});
    vec![
        (Desk, step("dried", "B-1"), "out_of_order"),
        (Lead, json!({"do": "hold", "kind": "prion", "reason": "suspected", "scan": "C-2"}), ""),
        (Desk, pass("C-2"), "held"),
        (Admin, short, ""),
        (Biomed, counted, ""),
        (Biomed, once, ""),
        (Lead, json!({"do": "add_asset", "asset": "K-1", "model": "counted", "prior_cycles": 3}), ""),
        (Desk, pass("K-1"), "limit_reached"),
        (Lead, json!({"do": "add_asset", "asset": "O-1", "model": "once"}), ""),
        (Desk, step("received", "O-1"), ""),
        (Desk, step("cleaned", "O-1"), "single_use"),
        (Desk, step("packed", "O-1"), "single_use"),
    ]
}

fn loads() -> Vec<Act> {
    let steam = json!({"steam": {"temp_c": 134, "hold_s": 180}});
    let route = json!({"do": "define_route", "route": "plain", "steps": [{"step": "packed"}, {"step": "sterilised"}]});
    let model = json!({"do": "define_model", "model": "plain", "family": "accessory", "name": "Plain", "route": "plain",
                       "processing": steam});
    let gentle = json!({"do": "define_machine", "machine": "steriliser-2", "kind": "steriliser", "programmes":
        [{"programme": "p121", "method": "steam", "band_c": 121, "hold_s": 900}]});
    let pack = json!({"do": "record_step", "step": "packed", "scan": "P-1"});
    let start = |load: &str, machine: &str, programme: &str| json!({"do": "start_load", "load": load, "machine": machine, "programme": programme, "scan": "P-1"});
    let judge =
        |load: &str, hold: u32| json!({"do": "judge_load", "load": load, "record": steam_record(hold)});
    let release = |load: &str| json!({"do": "release_load", "load": load});
    let overriding = |reason: &str| json!({"do": "release_load", "load": "l-2", "override": {"code": ["same_person"], "reason": reason}});
    let told = |load: &str, result: &str| json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": result});
    vec![
        (Admin, route, ""),
        (Biomed, model, ""),
        (Admin, gentle, ""),
        (Lead, json!({"do": "add_asset", "asset": "P-1", "model": "plain"}), ""),
        (Desk, pack.clone(), ""),
        (Desk, start("l-0", "steriliser-2", "p121"), "programme_unsuitable"),
        (Desk, json!({"do": "machine_out", "machine": "steriliser-1", "reason": "door seal"}), ""),
        (Desk, start("l-0", "steriliser-1", "p134"), "machine_not_ready"),
        (Lead, json!({"do": "machine_back", "machine": "steriliser-1", "after": "minor"}), ""),
        (Desk, start("l-1", "steriliser-1", "p134"), ""),
        (Desk, start("l-1", "steriliser-1", "p134"), "name_taken"),
        (Biomed, json!({"do": "retire", "asset": "P-1", "cause": "worn", "failure": true}), "in_load"),
        (Desk, release("l-1"), "no_record"),
        (Desk, judge("l-1", 100), ""),
        (Desk, release("l-1"), "record_failed"),
        (Desk, judge("l-1", 200), ""),
        (Desk, release("l-1"), "indicator_missing"),
        (Desk, told("l-1", "fail"), ""),
        (Desk, release("l-1"), "indicator_failed"),
        (Desk, json!({"do": "reject_load", "load": "l-1", "reason": "indicator"}), ""),
        (Admin, json!({"do": "set_policy", "two_people": true}), ""),
        (Desk, pack, ""),
        (Desk, start("l-2", "steriliser-1", "p134"), ""),
        (Desk, judge("l-2", 200), ""),
        (Desk, overriding("alone at night, adult"), "indicator_missing"),
        (Desk, told("l-2", "pass"), ""),
        (Desk, json!({"do": "release_load", "load": "l-2", "dry": false}), "record_failed"),
        (Desk, release("l-2"), "same_person"),
        (Desk, overriding("alone at night, adult"), "same_person"),
        (Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}), ""),
        (Desk, overriding("alone at night"), "same_person"),
        (Desk, overriding(" "), "same_person"),
        (Desk, overriding("alone at night, adult"), ""),
        (Desk, release("l-2"), "already_done"),
    ]
}

/// A sentence without the times of this run; those that the test itself gave stay.
pub fn timeless(text: &str) -> String {
    let words: Vec<&str> = text.split(' ').collect();
    let mut kept = Vec::new();
    let mut at = 0;
    while let Some(word) = words.get(at) {
        let next = words.get(at..at + 4).map(|four| four.join(" ")).unwrap_or_default();
        let bare = next.trim_end_matches(['.', ';']);
        let told = chrono::NaiveDateTime::parse_from_str(bare, "%d %B %Y, %H:%M");
        let of_this_run = told.is_ok_and(|time| !matches!(time.year(), 2001 | 2999));
        kept.push(if of_this_run { next.replace(bare, "[time]") } else { word.to_string() });
        at += if of_this_run { 4 } else { 1 };
    }
    kept.join(" ")
}

async fn refusals(served: &Served) -> Vec<Value> {
    let mut told = Vec::new();
    for (role, command, code) in things().into_iter().chain(steps()).chain(loads()) {
        if code.is_empty() {
            served.done(role, command).await;
            continue;
        }
        let body = served.refused(role, command.clone(), code).await;
        let text = |name: &str| timeless(body[name].as_str().expect("a sentence"));
        assert_eq!(text("detail"), format!("{} {}", text("found"), text("needed")));
        assert_eq!(body["type"], format!("urn:fettle:{code}"));
        let mut one = json!({"code": code, "title": body["title"], "detail": text("detail"), "next": text("next"),
                             "also": body["also"], "do": command["do"]});
        if let Some(remedy) = body.get("remedy") {
            one["remedy"] = remedy.clone();
            served.done(role, remedy.clone()).await;
            served.done(role, command).await;
        }
        told.push(one);
    }
    told
}

#[tokio::test(flavor = "multi_thread")]
async fn each_code_has_its_sentences() {
    let mut by_database = Vec::new();
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        by_database.push(refusals(&served).await);
        served.sound().await;
        served.stop().await;
    }
    assert_eq!(by_database[0], by_database[1]);
    let found: BTreeSet<&str> = by_database[0].iter().filter_map(|one| one["code"].as_str()).collect();
    assert_eq!(found, REACHABLE.into_iter().collect());
    insta::assert_json_snapshot!("refusals", by_database[0]);
}

#[test]
fn a_scan_that_names_two_things_is_not_guessed() {
    let id = |text: &str| Id::new(text).expect("an id");
    let mut state = State::new(id("house"));
    let set = SetState {
        set: id("X-1"),
        count_sheet: id("adult"),
        name: Line("Adult".into()),
        seats: Default::default(),
        last_at: Time::default(),
    };
    state.names.insert("X-1".into(), Named::Set(id("X-1")));
    state.sets.insert(id("X-1"), Arc::new(set));
    assert_eq!(resolve(&state, "X-1"), Ok(Named::Set(id("X-1"))));
    assert_eq!(resolve(&state, "x-1").expect_err("another case").code.name(), "unknown_thing");
    state.names.insert("X-1".into(), Named::Asset(id("B-1")));
    let problem = resolve(&state, "X-1").expect_err("two things");
    assert_eq!(problem.code.name(), "ambiguous_scan");
    assert_eq!(problem.detail(), "\"X-1\" names more than one thing. A scan that names one thing is needed.");
}
