//! What comes into the house that is not its own, what is mixed in it, and what lies on its shelf.

use fettle::domain::state::State;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::acts::{Dice, part, scan};

pub fn next(state: &State, dice: &mut Dice, now: Time) -> Value {
    match dice.below(14) {
        0 | 1 => arrive(state, dice),
        2 | 3 => leave(state, dice),
        4 => receive(state, dice),
        5 => tell(state, dice),
        6 => settle(state, dice),
        7 => json!({"do": "identity_doubt", "scan": doubted(state, dice), "how": "two baskets fell"}),
        8 => identity(state, dice),
        9..12 => shelf(dice, now),
        12 => used(state, dice),
        _ => {
            json!({"do": "set_stock_minimum", "model": dice.word(&["catheter", "stent", "cap"]), "minimum": dice.below(9)})
        }
    }
}

fn arrive(state: &State, dice: &mut Dice) -> Value {
    // The numbers of a command end soon: what decides most is rolled first.
    let how = dice.below(4);
    let gone: Vec<String> =
        state.assets.values().filter(|it| it.retired.is_some()).map(|it| it.asset.to_string()).collect();
    let mut parts = vec![
        json!({"model": dice.word(&["barrel", "cap"]), "mark": format!("lender-{}", dice.below(60)), "line": "barrel"}),
    ];
    if parts[0]["model"] == "cap" {
        parts[0]["line"] = json!("cap");
    }
    if let Some(again) = dice.pick(&gone).filter(|_| dice.once_in(2)) {
        parts.push(json!({"asset": again}));
    } else {
        parts.push(json!({"model": "cap", "damage": "the rim is torn"}));
    }
    let set = format!("LENT-{}", dice.below(3));
    let mut all = json!({"do": "arrive", "kind": dice.word(&["loan", "trial"]), "from": "Lender", "due_back": "2099-01-01",
                         "set": {"set": set, "count_sheet": "adult"}, "parts": parts, "pieces": 1 + dice.below(3)});
    match how {
        0 => {}
        1 => {
            all["risk"] = json!({"person": super::acts::code(fettle::domain::person::Role::Lead, true), "reason": "a bleeding airway"})
        }
        _ => all["instructions"] = json!("2026-01"),
    }
    all
}

fn leave(state: &State, dice: &mut Dice) -> Value {
    let open: Vec<_> = state.loans.values().filter(|loan| loan.is_open(state)).cloned().collect();
    let Some(loan) = dice.pick(&open) else {
        return json!({"do": "leave", "loan": "loan-0001", "scan": "LENT-0"});
    };
    let scan = match &loan.set {
        Some(set) if state.sets.contains_key(set) && !dice.once_in(4) => json!([set]),
        _ => json!(
            loan.still_here(state)
                .iter()
                .map(|it| it.asset.to_string())
                .take(1 + dice.below(2))
                .collect::<Vec<_>>()
        ),
    };
    let mut all = json!({"do": "leave", "loan": loan.loan, "scan": scan});
    if !dice.once_in(3) {
        all["not_decontaminated"] = json!("its lender fetched it unopened");
    }
    all
}

fn receive(state: &State, dice: &mut Dice) -> Value {
    let mut all = json!({"do": "receive_stranger", "kind": dice.word(&["other_site", "unmarked", "thought_retired"]),
                         "looks": "a grasping forceps"});
    if dice.once_in(2) {
        all["model"] = json!(dice.word(&["barrel", "cap"]));
    }
    if dice.once_in(2) {
        let marked = part(state, dice).and_then(|asset| asset.mark.clone());
        all["mark"] = json!(marked.map_or("m-1".to_string(), |mark| mark.0));
    }
    all
}

fn tag(state: &State, dice: &mut Dice) -> String {
    let open: Vec<_> =
        state.strangers.values().filter(|it| it.is_open() || dice.once_in(9)).cloned().collect();
    dice.pick(&open).map_or("tag-0001".into(), |it| it.tag.to_string())
}

fn tell(state: &State, dice: &mut Dice) -> Value {
    json!({"do": "tell_owner", "stranger": tag(state, dice), "owner": "Example Hospital", "words": "They fetch it on Monday."})
}

fn settle(state: &State, dice: &mut Dice) -> Value {
    let mut all = json!({"do": "settle_stranger", "stranger": tag(state, dice)});
    let outcome = dice.word(&["ours", "theirs", "adopted", "collected", "discarded"]);
    all["outcome"] = json!(outcome);
    match outcome {
        "ours" => {
            all["asset"] = json!(part(state, dice).map_or("X-0".into(), |asset| asset.asset.to_string()))
        }
        "adopted" => {
            all["adopt"] = json!({"model": dice.word(&["barrel", "cap"]), "prior_cycles": dice.below(4)})
        }
        _ => {}
    }
    all
}

fn doubted(state: &State, dice: &mut Dice) -> Value {
    match dice.below(3) {
        0 => json!(["SET-1", "SET-2"]),
        1 => scan(state, dice),
        _ => {
            let plain: Vec<String> = state
                .assets
                .values()
                .filter(|it| it.mark.is_none() && it.model.as_str() == "cap")
                .map(|it| it.asset.to_string())
                .collect();
            let from = dice.below(plain.len().max(1));
            json!(
                plain
                    .iter()
                    .skip(from)
                    .take(2)
                    .collect::<Vec<_>>()
                    .into_iter()
                    .chain(plain.first())
                    .collect::<Vec<_>>()
            )
        }
    }
}

fn identity(state: &State, dice: &mut Dice) -> Value {
    let open: Vec<_> = state.mixed.values().filter(|it| it.is_open()).cloned().collect();
    let Some(mixed) = dice.pick(&open) else {
        return json!({"do": "settle_identity", "doubt": "doubt-0001", "how": "a scratch that one has"});
    };
    let mut all = json!({"do": "settle_identity", "doubt": mixed.doubt, "how": "a scratch that one has"});
    if let Some([one, two, ..]) = mixed.groups.first().map(Vec::as_slice).filter(|_| dice.once_in(2)) {
        all["swapped"] =
            json!([{"asset": one.asset, "was": two.asset}, {"asset": two.asset, "was": one.asset}]);
    }
    all
}

fn shelf(dice: &mut Dice, now: Time) -> Value {
    let model = dice.word(&["catheter", "catheter", "stent", "cap"]);
    let lot = dice.word(&["L-1", "L-2", "Ł/7 ü"]);
    let day = now.plus_minutes((dice.below(90) as i64 - 5) * 24 * 60).utc().date_naive();
    match dice.below(3) {
        0 => json!({"do": "stock_out", "model": model, "lot": lot, "quantity": 1 + dice.below(4),
                    "why": dice.word(&["expired", "damaged", "counted"])}),
        _ => {
            json!({"do": "stock_in", "model": model, "lot": lot, "expires": day, "quantity": 1 + dice.below(30)})
        }
    }
}

fn used(state: &State, dice: &mut Dice) -> Value {
    let cases: Vec<_> = state.cases.keys().cloned().collect();
    let case = dice.pick(&cases).map_or("K-0".to_string(), |case| case.to_string());
    let mut item = json!({"model": dice.word(&["catheter", "stent"]), "lot": dice.word(&["L-1", "L-2"])});
    match dice.below(3) {
        0 => item["serial"] = json!(format!("S-{}", dice.below(5))),
        _ => item["quantity"] = json!(1 + dice.below(5)),
    }
    json!({"do": "use_stock", "case": case, "items": [item]})
}
