//! Recalls: one begins, is narrowed, answered for, closed; now and then what nobody should ask.

use fettle::domain::affected::affected;
use fettle::domain::state::State;
use serde_json::{Value, json};

use super::acts::{Dice, scan};

pub fn next(state: &State, dice: &mut Dice) -> Value {
    let open: Vec<_> = state.recalls.values().filter(|recall| recall.is_open()).collect();
    let Some(recall) = dice.pick(&open).filter(|_| !dice.once_in(4)) else {
        let machine = dice.word(&["steriliser-1", "steriliser-2", "washer-1", "oven"]);
        let mut all =
            json!({"do": "recall", "machine": machine, "reason": "a notice", "out": dice.once_in(2)});
        let loads: Vec<_> = state.loads.keys().collect();
        if let Some(load) = dice.pick(&loads).filter(|_| dice.once_in(3)) {
            all["load"] = json!(load);
        }
        return all;
    };
    let name = &recall.recall;
    let found = affected(state, recall);
    let (parts, cases) = found.open();
    if parts.is_empty() && cases.is_empty() {
        return json!({"do": "close_recall", "recall": name, "outcome": "all told"});
    }
    let several = recall.loads.len() > 1 && recall.narrowed.is_empty() && dice.once_in(2);
    match if several { 0 } else { dice.below(5) } {
        0 if recall.loads.len() > 1 || dice.once_in(6) => {
            let kept = recall.loads.get(1..).filter(|kept| !kept.is_empty()).unwrap_or(&recall.loads);
            json!({"do": "narrow_recall", "recall": name, "reason": "proven", "loads": kept})
        }
        1 if !cases.is_empty() => {
            json!({"do": "answer_recall", "recall": name, "cases": cases, "outcome": "told"})
        }
        2 if dice.once_in(4) => json!({"do": "close_recall", "recall": name, "outcome": "all told"}),
        _ => {
            let scan = match dice.pick(&parts) {
                Some(part) => json!([part]),
                None => scan(state, dice),
            };
            let mut all = json!({"do": "answer_recall", "recall": name, "scan": scan, "outcome": "seen to"});
            if !dice.once_in(6) {
                all["then"] = json!(dice.word(&["reprocess", "reprocess", "clear"]));
            }
            all
        }
    }
}
