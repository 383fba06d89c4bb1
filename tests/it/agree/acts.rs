//! What a department might do next, made from numbers: mostly what the state allows, so that a sequence gets far, and
//! a share of what nobody should do.

use fettle::domain::command::Act;
use fettle::domain::load::{Load, LoadStatus};
use fettle::domain::model::{Method, StepKind};
use fettle::domain::person::Role::{self, Admin, Biomed, Desk, Infection, Lead};
use fettle::domain::state::{Asset, State};
use fettle::domain::time::Time;
use serde_json::{Value, json};
use std::sync::Arc;

use super::super::served::{steam_record, wash_record};
use super::{at_case, at_machine, edges, paper, recall, request, schedule, visit, wear};

/// One command's numbers; past their end they are 0, so that fewer and smaller numbers mean a simpler command.
pub struct Dice {
    raw: [u16; 12],
    at: usize,
}

impl Dice {
    pub fn new(raw: [u16; 12]) -> Dice {
        Dice { raw, at: 0 }
    }

    pub fn below(&mut self, n: usize) -> usize {
        let rolled = self.raw.get(self.at).copied().unwrap_or(0);
        self.at += 1;
        usize::from(rolled).checked_rem(n).unwrap_or(0)
    }

    pub fn once_in(&mut self, n: usize) -> bool {
        self.below(n) + 1 == n
    }

    pub fn pick<'a, T>(&mut self, all: &'a [T]) -> Option<&'a T> {
        all.get(self.below(all.len()))
    }

    pub fn word(&mut self, all: &[&'static str]) -> &'static str {
        self.pick(all).copied().unwrap_or("?")
    }
}

/// A person's code; each role has two people.
pub fn code(role: Role, second: bool) -> String {
    format!("{}-{}", role.name(), if second { 2 } else { 1 })
}

/// The next command and the role that gives it.
pub fn next(state: &State, dice: &mut Dice, now: Time) -> (Role, Value) {
    let mut command = match dice.below(104) {
        0..12 | 57..63 => onward(state, dice),
        16..24 | 66..71 => on_load(state, dice),
        24 if dice.once_in(2) => recall::next(state, dice),
        24 => hold(state, dice),
        25 => lift(state, dice),
        26 => replace(state, dice),
        27 | 28 => put_in(state, dice),
        29 => take(state, dice),
        30 => retire(state, dice),
        31 => json!({"do": "put_away", "scan": scan(state, dice), "location": dice.word(&["shelf", "box"])}),
        32 => {
            json!({"do": "pack_broken", "scan": scan(state, dice), "why": dice.word(&["wet", "torn", "dropped"])})
        }
        33..36 => late(state, dice, now),
        36 => unknown(dice),
        37 | 38 => definition(dice),
        39 | 40 => at_machine::next(state, dice),
        41 | 91 => wear::next(state, dice),
        96..104 => visit::next(state, dice, now),
        12..16 => paper::next(state, dice),
        93 | 94 => request::next(state, dice),
        42 | 95 => schedule::next(state, dice, now),
        44..56 | 76..91 => at_case::next(state, dice, now),
        56 => at_case::correct(state, dice),
        63..66 | 92 => recall::next(state, dice),
        71..76 => at_machine::answer(state, dice),
        _ => add(dice),
    };
    around(&mut command, dice, now);
    (role(&command, state, dice), command)
}

fn in_house(state: &State) -> Vec<Arc<Asset>> {
    state.assets.values().filter(|asset| asset.retired.is_none()).cloned().collect()
}

/// A part that is in the house, and now and then one that is not.
pub fn part(state: &State, dice: &mut Dice) -> Option<Arc<Asset>> {
    let all: Vec<Arc<Asset>> = state.assets.values().cloned().collect();
    let here = in_house(state);
    let from = if dice.once_in(12) || here.is_empty() { &all } else { &here };
    dice.pick(from).cloned()
}

fn scan_of(asset: &Asset, dice: &mut Dice) -> Value {
    match &asset.seat {
        Some(seat) if !dice.once_in(4) => json!([seat.set]),
        _ => json!([asset.asset]),
    }
}

pub fn scan(state: &State, dice: &mut Dice) -> Value {
    part(state, dice).map_or(json!(["X-0"]), |asset| scan_of(&asset, dice))
}

/// What a part's route has next.
fn onward(state: &State, dice: &mut Dice) -> Value {
    let Some(asset) = part(state, dice) else { return add(dice) };
    if let Some(load) = asset.in_load.as_ref().and_then(|load| state.loads.get(load)) {
        return with_load(load, dice);
    }
    let scan = scan_of(&asset, dice);
    let Some(next) = state.next_step(&asset) else {
        return match dice.below(4) {
            0 => json!({"do": "pack_broken", "scan": scan, "why": "past_date"}),
            _ => json!({"do": "record_step", "step": "treated", "scan": scan}),
        };
    };
    match next.step {
        StepKind::Disinfected if next.by() != Some(Method::Manual) => {
            let machine = dice.word(&["washer-1", "washer-2"]);
            json!({"do": "start_load", "machine": machine, "programme": "wash", "scan": scan})
        }
        StepKind::Sterilised => {
            let machine = dice.word(&["steriliser-1", "steriliser-2"]);
            edges::steam(state, dice, machine, scan)
        }
        StepKind::Inspected => {
            let checks = json!([{"check": "light", "passed": true, "value": dice.below(9), "unit": "lx"}]);
            match dice.below(12) {
                0..9 => json!({"do": "inspect", "scan": scan, "passed": true, "checks": checks}),
                9 => json!({"do": "inspect", "scan": scan, "outcome": "reclean"}),
                10 => json!({"do": "inspect", "scan": scan, "passed": true,
                             "except": [{"asset": asset.asset, "outcome": "repair", "note": "bent"}]}),
                _ => json!({"do": "inspect", "scan": scan, "passed": false}),
            }
        }
        StepKind::Packed if dice.once_in(2) => {
            let packaging = dice.word(&["wrap", "pouch", "rigid container"]);
            json!({"do": "record_step", "step": "packed", "scan": scan, "packaging": packaging})
        }
        StepKind::Disinfected if dice.once_in(2) => {
            let solution = json!({"lot": "D-7", "use_by": dice.word(&["2099-01-01", "2001-01-01"]),
                "strength_test": dice.word(&["pass", "pass", "fail"]), "contact_s": 720, "temp_c": "20.5"});
            json!({"do": "record_step", "step": "disinfected", "scan": scan, "solution": solution})
        }
        StepKind::Cleaned => edges::cleaned(&scan, dice),
        step => json!({"do": "record_step", "step": step, "scan": scan}),
    }
}

fn on_load(state: &State, dice: &mut Dice) -> Value {
    let open = |load: &&Arc<Load>| matches!(load.status, LoadStatus::Running | LoadStatus::Judged);
    let all: Vec<Arc<Load>> = state.loads.values().cloned().collect();
    let running: Vec<Arc<Load>> = state.loads.values().filter(open).cloned().collect();
    let from = if dice.once_in(16) { &all } else { &running };
    match dice.pick(from).cloned() {
        Some(load) => with_load(&load, dice),
        None => onward(state, dice),
    }
}

/// What a load needs next: a record, an indicator, a decision.
fn with_load(load: &Load, dice: &mut Dice) -> Value {
    let id = &load.load;
    let steam = load.programme.step() == StepKind::Sterilised;
    let Some(judged) = load.judged.as_ref().filter(|_| !dice.once_in(10)) else {
        let record = |hold_s: u32| if steam { steam_record(hold_s) } else { wash_record(hold_s) };
        return match dice.below(12) {
            0..9 => json!({"do": "judge_load", "load": id, "record": record(300)}),
            9 => json!({"do": "judge_load", "load": id, "record": record(20), "ambient_kpa": "99.5"}),
            10 => json!({"do": "judge_load", "load": id, "record": "time_s,temp_c\n0,warm\n"}),
            _ => {
                json!({"do": "judge_load", "load": id, "readings": {"min_c": "134.1", "max_c": 135, "hold_s": 200,
                        "complete": true, "second_reader": code(Desk, dice.once_in(2))}})
            }
        };
    };
    if steam && (load.indicators.is_empty() || dice.once_in(8)) {
        let kind = match dice.below(12) {
            0 => "biological_control",
            1 => "biological",
            _ => "chemical",
        };
        let result = if dice.once_in(8) { "fail" } else { "pass" };
        return json!({"do": "record_indicator", "load": id, "indicator": kind, "result": result, "lot": "I-7"});
    }
    if judged.passed != dice.once_in(8) {
        let mut release = json!({"do": "release_load", "load": id, "dry": true});
        if id.as_str().ends_with('3') {
            release["dry"] = Value::Null;
        }
        if dice.once_in(3) {
            release["override"] = json!({"code": "same_person", "reason": "adult is the reserve"});
        } else if dice.once_in(6) {
            release["early"] = json!({"case": "K-1", "person": code(Lead, true), "reason": "bleeding"});
        }
        release
    } else {
        json!({"do": "reject_load", "load": id, "reason": "not as it should be", "ran": !dice.once_in(3)})
    }
}

fn hold(state: &State, dice: &mut Dice) -> Value {
    let kind = dice.word(&["quality", "quality", "repair", "recall", "recall", "prion"]);
    let mut all = json!({"do": "hold", "kind": kind, "reason": "a notice"});
    let loads: Vec<_> = state.loads.keys().cloned().collect();
    match (dice.below(4), dice.pick(&loads)) {
        (0, Some(load)) => all["load"] = json!(load),
        (1, _) => {
            all["model"] = json!(dice.word(&["cap", "barrel"]));
            all["lots"] = json!(["L-1"]);
        }
        _ => all["scan"] = scan(state, dice),
    }
    all
}

fn lift(state: &State, dice: &mut Dice) -> Value {
    let in_force: Vec<_> = state.holds.values().filter(|hold| hold.lifted_at.is_none()).collect();
    let hold = match dice.pick(&in_force).filter(|_| !dice.once_in(8)) {
        Some(hold) => hold.hold.to_string(),
        None => "hold-0001".into(),
    };
    if dice.once_in(8) {
        return edges::dedicate(state, dice);
    }
    json!({"do": "lift_hold", "hold": hold, "reason": "cleared"})
}

fn seated(state: &State, dice: &mut Dice) -> Option<Arc<Asset>> {
    let all: Vec<Arc<Asset>> = state.assets.values().filter(|asset| asset.seat.is_some()).cloned().collect();
    dice.pick(&all).cloned()
}

fn spare(state: &State, dice: &mut Dice) -> Option<Arc<Asset>> {
    let spare = |asset: &Arc<Asset>| asset.seat.is_none();
    let all: Vec<Arc<Asset>> = in_house(state).into_iter().filter(spare).collect();
    dice.pick(&all).cloned()
}

fn replace(state: &State, dice: &mut Dice) -> Value {
    let Some((old, seat)) =
        seated(state, dice).and_then(|asset| asset.seat.clone().map(|seat| (asset, seat)))
    else {
        return put_in(state, dice);
    };
    let new = match spare(state, dice).filter(|_| dice.once_in(2)) {
        Some(spare) => json!(spare.asset),
        None => json!({"model": old.model, "lot": "L-1"}),
    };
    let cause = dice.word(&["worn", "damaged", "lost", "destroyed"]);
    json!({"do": "replace", "set": seat.set, "line": seat.line, "position": seat.position, "cause": cause,
           "failure": dice.once_in(2), "new": new})
}

fn put_in(state: &State, dice: &mut Dice) -> Value {
    let sets: Vec<_> = state.sets.keys().cloned().collect();
    match (dice.pick(&sets).cloned(), spare(state, dice)) {
        (Some(set), Some(asset)) => {
            json!({"do": "put_in_set", "set": set, "line": edges::line_for(asset.model.as_str()), "asset": asset.asset})
        }
        _ => add(dice),
    }
}

fn take(state: &State, dice: &mut Dice) -> Value {
    match seated(state, dice).and_then(|asset| asset.seat.clone().map(|seat| (asset, seat))) {
        Some((asset, seat)) => {
            json!({"do": "take_from_set", "set": seat.set, "line": seat.line, "asset": asset.asset})
        }
        None => put_in(state, dice),
    }
}

fn retire(state: &State, dice: &mut Dice) -> Value {
    let asset = part(state, dice).map_or("X-0".into(), |asset| asset.asset.to_string());
    json!({"do": "retire", "asset": asset, "cause": dice.word(&["worn", "lost", "destroyed"]), "failure": true})
}

/// A fact told late: minutes to hours ago, about parts that have gone on since.
fn late(state: &State, dice: &mut Dice, now: Time) -> Value {
    let step = dice.word(&["treated", "received", "cleaned", "dried", "packed", "disinfected"]);
    let at = now.plus_minutes(-(dice.below(300) as i64));
    let cause = dice.word(&["downtime", "forgotten", "wrong_thing"]);
    let forgotten = json!({"cause": cause, "sheet": "sheet 3", "done_by": code(Desk, dice.once_in(2))});
    let late = Some(forgotten).filter(|_| !dice.once_in(3)).unwrap_or_else(|| paper::line(state, dice));
    json!({"do": "record_step", "step": step, "scan": scan(state, dice), "at": at, "late": late})
}

fn unknown(dice: &mut Dice) -> Value {
    match dice.below(6) {
        0 => json!({"do": "record_step", "step": "cleaned", "scan": ["X-9", "B-1"]}),
        1 => json!({"do": "start_load", "machine": "oven", "programme": "p134", "scan": ["B-1"]}),
        2 => json!({"do": "add_asset", "model": "nothing"}),
        3 => json!({"do": "put_in_set", "set": "SET-99", "line": "cap", "asset": "C-1"}),
        4 => json!({"do": "judge_load", "load": "nowhere", "record": steam_record(10)}),
        _ => json!({"do": "build_set", "set": "B-1", "count_sheet": "adult", "name": "A taken name"}),
    }
}

fn add(dice: &mut Dice) -> Value {
    let model = dice.word(&["cap", "barrel", "scope"]);
    let mut all = json!({"do": "add_asset", "model": model, "lot": dice.word(&["L-1", "L-2"])});
    if dice.once_in(3) {
        all["mark"] = json!(format!("m-{}", dice.below(40)));
        all["prior_cycles"] = json!(dice.below(3));
    }
    all
}

fn definition(dice: &mut Dice) -> Value {
    let step = |step: &str| json!({"step": step});
    let line = |line: &str, family: &str, quantity: usize| json!({"line": line, "family": family, "quantity": quantity, "essential": true});
    match dice.below(10) {
        0 => {
            let mut steps: Vec<Value> =
                ["treated", "received", "cleaned", "dried", "inspected"].map(step).into();
            steps.extend([step("packed"), json!({"step": "sterilised", "method": "steam"})]);
            json!({"do": "define_route", "route": dice.word(&["metal", "short"]), "steps": steps})
        }
        1 => json!({"do": "define_model", "model": "cap", "family": "cap", "name": "Cap", "route": "metal",
                    "implant": dice.once_in(3), "processing": {"steam": {"temp_c": 134, "hold_s": 180, "max_hold_s": 280 + dice.below(40)}},
                    "limits": {"max_cycles": 2 + dice.below(9)}}),
        2 => {
            json!({"do": "define_count_sheet", "count_sheet": dice.word(&["child", "adult"]), "name": "Sheet", "keeps_parts": dice.once_in(6), "lines":
                    [line("barrel", "bronchoscope", 1), line("cap", "cap", 1 + dice.below(2)), line("telescope", "telescope", 1)]})
        }
        3 => {
            json!({"do": "build_set", "set": format!("SET-{}", 2 + dice.below(4)), "count_sheet": "adult", "name": "More"})
        }
        4 => json!({"do": "set_policy", "two_people": dice.once_in(2), "turnaround_minutes": 60,
                    "biological": dice.word(&["parametric", "weekly", "daily", "each_load"]),
                    "biological_overdue_stops": dice.once_in(3), "leak_rate_every_days": dice.below(3)}),
        5 => {
            json!({"do": "set_reserve", "count_sheet": dice.word(&["adult", "child"]), "minimum": dice.below(3)})
        }
        6 if dice.once_in(3) => edges::policy(dice),
        6 if dice.once_in(2) => json!({"do": "give_mark", "asset": dice.word(&["B-1", "T-1", "C-2"])}),
        6 => json!({"do": "set_policy", "two_people": true, "company_prefix": dice.word(&["", "9521234"])}),
        7 => {
            json!({"do": "measure_asset", "asset": dice.word(&["B-1", "T-1", "C-2", "X-0"]), "how": "calliper",
                    "dimensions": {"outer_diameter_mm": format!("{}.5", 2 + dice.below(6))}})
        }
        8 => json!({"do": "confirm_fit", "models": ["cap", dice.word(&["barrel", "scope", "none"])],
                    "fits": dice.once_in(2), "how": "pushed on by hand"}),
        _ => {
            json!({"do": "define_machine", "machine": dice.word(&["washer-2", "washer-3"]), "kind": "washer_disinfector",
                    "programmes": [{"programme": "wash", "method": "machine", "a0_s": 600 + dice.below(3)}]})
        }
    }
}

/// The fields around a command: a note, a place, a time, an override.
fn around(command: &mut Value, dice: &mut Dice, now: Time) {
    if dice.once_in(6) {
        command["note"] = json!("seen to");
        command["station"] = json!("desk 2");
    }
    if dice.once_in(6) {
        let codes = json!(["out_of_order", "limit_reached", "same_person"]);
        command["override"] =
            json!({"code": codes, "reason": "adult is the reserve", "second_person": code(Lead, true)});
    }
    if dice.once_in(12) && command.get("at").is_none() {
        command["at"] = json!(now.plus_minutes(dice.below(20) as i64 - 10));
    }
}

/// Whoever may give the command, the desk where it may; now and then somebody who may not.
fn role(command: &Value, state: &State, dice: &mut Dice) -> Role {
    if dice.once_in(40) {
        return Role::ALL.get(dice.below(8)).copied().unwrap_or(Desk);
    }
    let name = command["do"].as_str().unwrap_or_default();
    let roles = Act::roles(name);
    let by_kind = |kind: &str| match kind {
        "prion" => Infection,
        "repair" => Biomed,
        "dedicated" => Infection,
        _ => Lead,
    };
    match name {
        "hold" => by_kind(command["kind"].as_str().unwrap_or_default()),
        "lift_hold" => {
            let hold = command["hold"].as_str().and_then(|hold| state.holds.get(hold));
            hold.map_or(Lead, |hold| by_kind(hold.kind.name()))
        }
        "release_load" if command.get("early").is_none() && dice.once_in(2) => Desk,
        _ if command.get("override").is_some() && roles.contains(&Lead) => Lead,
        "countersign" if !dice.once_in(3) => Lead,
        "issue" | "change_case" => Role::Charge,
        _ if roles.contains(&Desk) => Desk,
        _ => dice.pick(roles).copied().unwrap_or(Admin),
    }
}
