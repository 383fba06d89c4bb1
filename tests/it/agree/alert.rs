//! Rules of alerts that somebody might set, say anew or drop; and signatures.

use fettle::domain::state::State;
use serde_json::{Value, json};

use super::acts::Dice;

pub fn next(state: &State, dice: &mut Dice) -> Value {
    if dice.once_in(3) {
        return signed(state, dice);
    }
    let known: Vec<_> = state.alert_rules.keys().cloned().collect();
    let rule = dice.pick(&known).map_or("alert-9".to_string(), ToString::to_string);
    let tells = json!([dice.word(&["charge", "lead", "desk"])]);
    if !known.is_empty() && dice.once_in(2) {
        return json!({"do": "drop_alert", "rule": rule});
    }
    match dice.below(6) {
        0 => {
            json!({"do": "set_alert", "tells": tells, "about": "case", "before": "12:00", "below": 1 + dice.below(9)})
        }
        1 => json!({"do": "set_alert", "tells": tells, "about": "load", "minutes": 1 + dice.below(90)}),
        2 => {
            json!({"do": "set_alert", "tells": tells, "about": "reserve", "count_sheet": dice.word(&["adult", "none"])})
        }
        3 => {
            json!({"do": "set_alert", "rule": rule, "tells": tells, "about": dice.word(&["missing", "hold"]),
                    "webhook": "https://hooks.example.org/fettle"})
        }
        4 => json!({"do": "set_alert", "tells": tells, "about": "missing"}),
        _ => json!({"do": "drop_alert", "rule": rule}),
    }
}

/// A shift that is taken over, or a month that is signed, up to some place of the ledger.
fn signed(state: &State, dice: &mut Dice) -> Value {
    let entry = 1 + dice.below(state.seq as usize + 2);
    match dice.below(2) {
        0 => json!({"do": "take_over", "entry": entry}),
        _ => json!({"do": "review_exceptions", "month": dice.word(&["2026-02", "2026-03"]), "entry": entry}),
    }
}
