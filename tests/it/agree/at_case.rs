//! What a department might do next at cases and beside the loop.

use std::sync::Arc;

use fettle::domain::case::Case;
use fettle::domain::person::Role::Lead;
use fettle::domain::state::{Stage, State};
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::acts::{Dice, code, part, scan};

pub fn next(state: &State, dice: &mut Dice, now: Time) -> Value {
    let open: Vec<Arc<Case>> = state.open_cases().map(|case| Arc::new(case.clone())).collect();
    let all: Vec<Arc<Case>> = state.cases.values().cloned().collect();
    let from = if dice.once_in(12) { &all } else { &open };
    let case = dice.pick(from).cloned();
    let Some(case) = case.filter(|_| !dice.once_in(8)) else { return plan(dice, now) };
    match dice.below(30) {
        0..4 => issue(state, &case, dice),
        4..7 if case.anything_out() || dice.once_in(8) => {
            json!({"do": "open", "case": case.case, "scan": at_case(state, &case, dice), "indicator": "pass"})
        }
        7..9 if case.anything_out() || dice.once_in(8) => {
            json!({"do": "use", "case": case.case, "scan": at_case(state, &case, dice)})
        }
        4..9 => issue(state, &case, dice),
        9 | 10 if case.anything_out() || dice.once_in(8) => close(&case, dice),
        9 | 10 => plan(dice, now),
        11 => change(&case, dice),
        12 => promise(state, &case, dice),
        13 => missing(state, dice),
        14 => finding(state, &case, dice),
        15 if dice.once_in(2) => repair(state, dice),
        15 => plan(dice, now),
        16 => look_back(state, &case, dice),
        17 | 28 => choose(state, &case, dice),
        18 | 19 => check(state, &case, dice),
        20 | 21 => count(state, &case, dice),
        22 => withdraw(state, dice),
        23 => promise(state, &case, dice),
        24 | 25 => short(state, &case, dice),
        26 => repair(state, dice),
        27 => missing(state, dice),
        _ => json!({"do": "cancel_case", "case": case.case, "reason": "moved"}),
    }
}

fn plan(dice: &mut Dice, now: Time) -> Value {
    let start = now.plus_minutes(dice.below(2_000) as i64);
    let risk = if dice.once_in(8) { "prion_suspected" } else { "none" };
    let number = dice.below(40);
    let mut all = json!({"do": "plan_case", "case": format!("K-{number}"), "start": start,
           "minutes": 30 + dice.below(90), "needs": ["adult"], "technique": "jet_open", "risk": risk});
    // Some come from a schedule, which names the procedure.
    if number % 8 == 7 {
        let codes = json!([{"code": "STENT 1"}]);
        all["schedule"] = json!({"sender": "THEATRE", "filler": format!("S-{number}"), "codes": codes});
        all["needs"] = json!([]);
    }
    all
}

fn issue(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let ready: Vec<_> = state.assets.values().filter(|asset| asset.stage == Stage::Ready).collect();
    let wanted = match dice.pick(&ready).filter(|_| !dice.once_in(5)) {
        Some(asset) => json!([asset.asset]),
        None => scan(state, dice),
    };
    let mut all = json!({"do": "issue", "scan": wanted});
    if dice.once_in(3) {
        all["emergency"] = true.into();
    }
    if all.get("emergency").is_none() || dice.once_in(2) {
        all["case"] = json!(case.case);
    }
    all
}

/// A part that is out at the case, or anything.
fn at_case(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let out: Vec<_> = case.parts.iter().filter(|(_, part)| part.out).map(|(id, _)| id.clone()).collect();
    match dice.pick(&out).filter(|_| !dice.once_in(5)) {
        Some(asset) => json!([asset]),
        None => scan(state, dice),
    }
}

fn close(case: &Case, dice: &mut Dice) -> Value {
    let mut all = json!({"do": "close_count", "case": case.case});
    let parts: Vec<_> = case.parts.keys().cloned().collect();
    if let Some(asset) = dice.pick(&parts).filter(|_| dice.once_in(2)) {
        let how = ["missing", "broken", "unopened"].get(dice.below(3)).copied().unwrap_or("missing");
        all[how] = json!([asset]);
    }
    if !parts.is_empty() && dice.once_in(6) {
        all["counted"] = json!(parts.iter().take(dice.below(4) + 1).collect::<Vec<_>>());
    }
    if dice.once_in(3) {
        all["others"] = json!([{"line": "swabs", "in": 5, "out": 3 + dice.below(4)}]);
    }
    if dice.once_in(4) && case.others.iter().any(|it| it.went_in.is_some()) {
        all["others"] = json!([{"line": "throat pack", "out": dice.below(2)}]);
    }
    all
}

/// A line or two of the function check, now and then failed on a part that was somewhere else.
fn check(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let there: Vec<_> = case.parts.keys().cloned().collect();
    let asset = match dice.pick(&there).filter(|_| !dice.once_in(6)) {
        Some(asset) => asset.to_string(),
        None => part(state, dice).map_or("X-0".into(), |asset| asset.asset.to_string()),
    };
    let line = dice.word(&["image", "jaws", "caps whole", "locks", "suction", "footswitch"]);
    let failed = match dice.below(3) {
        0 => json!({"line": line, "result": "failed", "asset": asset}),
        1 => json!({"line": line, "result": "failed", "what": "does not draw"}),
        _ => json!({"line": line, "result": "failed", "asset": asset, "what": "torn", "severity": "watch"}),
    };
    let passed = json!({"line": "camera", "result": dice.word(&["passed", "not_applicable"])});
    match dice.below(3) {
        0 => json!({"do": "record_check", "case": case.case, "lines": [failed, passed]}),
        1 => {
            json!({"do": "record_check", "case": case.case, "line": line, "result": "passed", "asset": asset})
        }
        _ => {
            let mut all = failed;
            all["do"] = json!("record_check");
            all["case"] = json!(case.case);
            all
        }
    }
}

/// A count at an opening, at receipt or at packing, now and then a part short.
fn count(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let mut all = match dice.below(3) {
        0 => json!({"do": "record_count", "moment": "opening", "case": case.case,
                    "others": [{"line": "swabs", "in": 5}, {"line": "throat pack", "in": 1}]}),
        _ => {
            let sets: Vec<_> = state.sets.keys().cloned().collect();
            let set = dice.pick(&sets).map_or("SET-0".to_string(), ToString::to_string);
            json!({"do": "record_count", "moment": dice.word(&["receipt", "packing"]), "set": set})
        }
    };
    if let Some(asset) = part(state, dice).filter(|_| dice.once_in(3)) {
        all[dice.word(&["missing", "broken"])] = json!([asset.asset]);
    }
    if dice.once_in(5) {
        all["counted"] = scan(state, dice);
    }
    all
}

/// A case closed a swab short, or the outcome of the search for what another lacks.
fn short(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let lines: Vec<_> = state.lines_not_back();
    match dice.pick(&lines) {
        Some(it) => {
            let outcome = dice.word(&["not_found", "imaging_done", "found", "discarded_seen"]);
            json!({"do": "close_missing", "case": it.case, "line": it.line, "outcome": outcome, "person": code(Lead, true)})
        }
        None => {
            let swabs = json!([{"line": "swabs", "in": 5, "out": 4}]);
            json!({"do": "close_count", "case": case.case, "others": swabs})
        }
    }
}

fn withdraw(state: &State, dice: &mut Dice) -> Value {
    let mut open: Vec<_> = state.findings.values().filter(|it| state.is_open(it)).collect();
    open.sort_by_key(|it| std::cmp::Reverse(it.at));
    open.truncate(2);
    let finding = dice.pick(&open).map_or("finding-0".to_string(), |it| it.finding.to_string());
    json!({"do": "withdraw_finding", "finding": finding})
}

fn change(case: &Case, dice: &mut Dice) -> Value {
    match dice.below(3) {
        0 => {
            json!({"do": "change_case", "case": case.case, "minutes": 20 + dice.below(90), "room": "theatre 2"})
        }
        1 => json!({"do": "change_case", "case": case.case, "technique": "apnoeic",
                    "configuration": {"barrel_nominal": 7 + dice.below(3), "together": ["telescope", "forceps"]}}),
        _ => json!({"do": "change_case", "case": case.case, "risk": "prion_suspected"}),
    }
}

fn promise(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let sets: Vec<_> = state.sets.keys().cloned().collect();
    let kept = case.promised.first().filter(|_| dice.once_in(2));
    match (kept, dice.pick(&sets)) {
        (Some(set), _) => json!({"do": "withdraw_promise", "case": case.case, "set": set}),
        (_, Some(set)) => json!({"do": "promise", "case": case.case, "set": set}),
        _ => json!({"do": "promise", "case": case.case, "set": "SET-1"}),
    }
}

/// What is put together: told as done more often than asked for, since little of this department fits.
fn choose(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let barrels: Vec<_> = state.assets.values().filter(|asset| asset.model.as_str() == "barrel").collect();
    let barrel = dice.pick(&barrels).map_or("X-0".to_string(), |asset| asset.asset.to_string());
    let other = part(state, dice).map_or("X-0".into(), |asset| asset.asset.to_string());
    let mut all = json!({"do": "choose_configuration", "case": case.case,
                         "configuration": {"barrel": barrel, "parts": [{"asset": other}]}});
    if !dice.once_in(4) {
        all["done"] = true.into();
    }
    all
}

fn missing(state: &State, dice: &mut Dice) -> Value {
    let searched: Vec<_> = state.assets.values().filter(|asset| asset.missing).cloned().collect();
    let pieces: Vec<_> = state.missing.values().filter(|it| it.piece && it.over_at.is_none()).collect();
    if let Some(it) = dice.pick(&pieces).filter(|_| dice.once_in(3)) {
        let outcome = dice.word(&["not_found", "found"]);
        return json!({"do": "close_missing", "asset": it.asset, "outcome": outcome, "person": code(Lead, true)});
    }
    match (dice.below(5), dice.pick(&searched)) {
        (0, Some(asset)) => {
            let outcome = ["not_found", "imaging_done", "found"].get(dice.below(3)).copied();
            json!({"do": "close_missing", "asset": asset.asset, "outcome": outcome, "person": code(Lead, true)})
        }
        (1 | 2, Some(asset)) => json!({"do": "found", "scan": asset.asset, "location": "under the table"}),
        _ => {
            let asset = part(state, dice).map_or("X-0".into(), |asset| asset.asset.to_string());
            json!({"do": "report_missing", "scan": "SET-1", "asset": asset})
        }
    }
}

fn finding(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let asset = part(state, dice).map_or("X-0".into(), |asset| asset.asset.to_string());
    let severity = dice.word(&["note", "watch", "watch", "note", "stop"]);
    json!({"do": "report_finding", "scan": asset, "what": "edge is rough", "severity": severity, "case": case.case})
}

fn repair(state: &State, dice: &mut Dice) -> Value {
    let away: Vec<_> = state.assets.values().filter(|asset| asset.in_repair).cloned().collect();
    match dice.pick(&away).filter(|_| !dice.once_in(4)) {
        Some(asset) => {
            json!({"do": "back_from_repair", "asset": asset.asset, "cost_cents": 1_000 + dice.below(99)})
        }
        None => {
            let asset = part(state, dice).map_or("X-0".into(), |asset| asset.asset.to_string());
            json!({"do": "send_to_repair", "asset": asset, "reason": "rough", "decontaminated": dice.once_in(2)})
        }
    }
}

fn look_back(state: &State, case: &Case, dice: &mut Dice) -> Value {
    let open: Vec<_> = state.look_backs.values().filter(|it| it.closed_at.is_none()).collect();
    match dice.pick(&open).filter(|_| dice.once_in(2)) {
        Some(it) => json!({"do": "close_look_back", "look_back": it.look_back, "outcome": "nobody exposed"}),
        None => json!({"do": "open_look_back", "origin": {"case": case.case}, "reason": "asked"}),
    }
}

/// One of the last entries taken back; now and then for another part.
pub fn correct(state: &State, dice: &mut Dice) -> Value {
    let entry = state.seq.saturating_sub(dice.below(6) as u64);
    let mut all = json!({"do": "correct", "entry": entry, "reason": "the wrong one was scanned"});
    if dice.once_in(3) {
        all["instead"] = scan(state, dice);
    }
    all
}
