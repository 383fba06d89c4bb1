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
    match dice.below(20) {
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
        17 => choose(state, &case, dice),
        18 => repair(state, dice),
        _ => json!({"do": "cancel_case", "case": case.case, "reason": "moved"}),
    }
}

fn plan(dice: &mut Dice, now: Time) -> Value {
    let start = now.plus_minutes(dice.below(2_000) as i64);
    let risk = if dice.once_in(8) { "prion_suspected" } else { "none" };
    json!({"do": "plan_case", "case": format!("K-{}", dice.below(40)), "start": start,
           "minutes": 30 + dice.below(90), "needs": ["adult"], "technique": "jet_open", "risk": risk})
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
    all
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
