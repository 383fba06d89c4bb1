//! What a schedule of another system might bring, and what is said of its procedures.

use fettle::domain::procedure::offered;
use fettle::domain::state::State;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::acts::Dice;

fn told(state: &State, dice: &mut Dice, now: Time) -> Value {
    let known: Vec<_> = state.cases.values().filter_map(|case| case.schedule.clone()).collect();
    let number = format!("S-{}", dice.below(6));
    let mut all = match dice.pick(&known).filter(|_| !dice.once_in(3)) {
        Some(of) => json!({"sender": of.told.sender, "filler": of.told.filler}),
        None => json!({"sender": "THEATRE", "filler": number}),
    };
    if dice.once_in(2) {
        all["codes"] = json!([{"code": dice.word(&["BRONCH", "STENT 1"])}]);
    }
    if dice.once_in(3) {
        let sent = now.plus_minutes(-(dice.below(90) as i64));
        all["sent"] = json!({"from": sent, "until": sent});
    }
    all
}

pub fn next(state: &State, dice: &mut Dice, now: Time) -> Value {
    let of_schedule: Vec<_> = state.cases.values().filter(|case| case.schedule.is_some()).collect();
    let any: Vec<_> = state.cases.values().collect();
    let case =
        dice.pick(&of_schedule).or(any.first()).map_or("K-0".to_string(), |case| case.case.to_string());
    let waits: Vec<_> =
        state.open_cases().filter_map(|case| offered(state, case)).map(|it| it.case).collect();
    if let Some(case) = dice.pick(&waits).filter(|_| !dice.once_in(4)) {
        return json!({"do": "apply_procedures", "cases": [case]});
    }
    if state.procedures.is_empty() && !dice.once_in(4) {
        return json!({"do": "map_procedure", "code": "STENT 1", "needs": ["adult"], "technique": "assisted"});
    }
    let start = now.plus_minutes(dice.below(2_000) as i64);
    match dice.below(8) {
        0 | 1 => {
            json!({"do": "plan_case", "case": format!("S-{}", dice.below(9)), "start": start, "minutes": 40,
                        "needs": [], "schedule": told(state, dice, now)})
        }
        2 => json!({"do": "change_case", "case": case, "start": start, "schedule": told(state, dice, now)}),
        3 => json!({"do": "change_case", "case": case, "room": "OR 2", "schedule": told(state, dice, now)}),
        4 => json!({"do": "map_procedure", "code": dice.word(&["BRONCH", "STENT 1"]), "needs": ["adult"],
                    "technique": "assisted", "minutes": 30 + dice.below(30)}),
        5 => json!({"do": "map_procedure", "code": dice.word(&["BRONCH", "STENT 1"]), "forget": true}),
        _ => json!({"do": "apply_procedures", "cases": [case]}),
    }
}
