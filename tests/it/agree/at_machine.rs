//! What somebody might do next with the machines: tests, repeats, out of service and back, and the answers that wait.

use fettle::domain::state::{Condition, State};
use serde_json::{Value, json};

use super::acts::Dice;

/// Answers what waits for somebody: a flag, a release alone; now and then where nothing does.
pub fn answer(state: &State, dice: &mut Dice) -> Value {
    let flagged = state.machines.values().find(|machine| machine.flag.is_some());
    match (flagged.filter(|_| dice.once_in(2)), state.open_exceptions().next()) {
        (Some(machine), _) => {
            json!({"do": "clear_flag", "machine": machine.machine, "reason": "steam was off"})
        }
        (None, Some(load)) => json!({"do": "countersign", "load": load.load}),
        (None, None) if dice.once_in(2) => {
            json!({"do": "clear_flag", "machine": "washer-1", "reason": dice.word(&["looked at", " "])})
        }
        (None, None) => match state.loads.keys().next() {
            Some(load) => json!({"do": "countersign", "load": load}),
            None => json!({"do": "countersign", "load": "nowhere"}),
        },
    }
}

/// Brings a machine that is out back into service, or takes one out.
pub fn next(state: &State, dice: &mut Dice) -> Value {
    for machine in state.machines.values() {
        match &machine.condition {
            Condition::Out { test: Some(test), .. } if !dice.once_in(3) => {
                let mut again = json!({"do": "record_machine_test", "machine": machine.machine, "test": test,
                                       "passed": !dice.once_in(3)});
                if test == "air_removal" {
                    again["repeat_because"] = json!("door was opened");
                }
                return again;
            }
            Condition::Out { .. } => {
                let after = dice.word(&["minor", "minor", "failure"]);
                return json!({"do": "machine_back", "machine": machine.machine, "after": after});
            }
            Condition::Requalifying { .. } => {
                return json!({"do": "record_machine_test", "machine": machine.machine, "test": "empty_cycle",
                              "passed": !dice.once_in(5)});
            }
            Condition::InService => {}
        }
    }
    let machine = dice.word(&["steriliser-2", "steriliser-1", "washer-1"]);
    match dice.below(5) {
        4 => record_form(machine, dice),
        0 => json!({"do": "machine_out", "machine": machine, "reason": "door"}),
        1 => {
            json!({"do": "record_machine_test", "machine": machine, "test": "leak_rate", "value": dice.below(3)})
        }
        _ => {
            json!({"do": "record_machine_test", "machine": machine, "test": "air_removal", "passed": !dice.once_in(4)})
        }
    }
}

/// How a machine's files read.
fn record_form(machine: &str, dice: &mut Dice) -> Value {
    let time = dice.word(&["clock", "seconds", "minutes"]);
    let columns =
        json!([{"column": "t", "is": "time"}, {"column": "T °C", "is": "temperature", "unit": "°C"}]);
    let form = json!({"separator": ";", "skip_lines": dice.below(3), "time": time, "columns": columns});
    json!({"do": "define_record_form", "machine": machine, "form": if dice.once_in(4) { Value::Null } else { form }})
}
