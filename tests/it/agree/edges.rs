//! What a department does at its edges: a load for one case at once, parts kept for one patient.

use fettle::domain::person::Role::Lead;
use fettle::domain::state::State;
use serde_json::{Value, json};

use super::acts::{Dice, code, scan};

/// A steriliser load, now and then for one case alone.
pub fn steam(state: &State, dice: &mut Dice, machine: &str, what: Value) -> Value {
    let mut all = json!({"do": "start_load", "machine": machine, "programme": "p134", "scan": what, "cycle_no": dice.below(99)});
    let cases: Vec<_> = state.open_cases().map(|case| case.case.clone()).collect();
    if let Some(case) = dice.pick(&cases).filter(|_| dice.once_in(3)) {
        let indication = dice.word(&["contaminated", "save_time"]);
        all["immediate_use"] = json!({"case": case, "reason": "it fell", "indication": indication});
    }
    all
}

/// What no house of these ever takes, since none of its cases names a patient; and a step at the sink.
pub fn dedicate(state: &State, dice: &mut Dice) -> Value {
    let (what, person) = (scan(state, dice), code(Lead, true));
    json!({"do": "dedicate", "scan": what, "case": "K-1", "person": person, "reason": "for them alone"})
}

pub fn cleaned(what: &Value, dice: &mut Dice) -> Value {
    let mut all = json!({"do": "record_step", "step": "cleaned", "scan": what});
    if dice.once_in(2) {
        all["delayed"] = true.into();
    }
    all
}

pub fn policy(dice: &mut Dice) -> Value {
    json!({"do": "set_policy", "immediate_use_forbidden": dice.once_in(3), "clean_within_minutes": 20 * dice.below(4)})
}

/// The line of a count sheet that takes a model.
pub fn line_for(model: &str) -> &'static str {
    match model {
        "cap" => "cap",
        "scope" => "telescope",
        _ => "barrel",
    }
}
