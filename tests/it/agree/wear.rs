//! What biomed might decide of models, and ask to be looked at.

use fettle::domain::state::State;
use serde_json::{Value, json};

use super::acts::{Dice, scan};

pub fn next(state: &State, dice: &mut Dice) -> Value {
    let model = dice.word(&["cap", "barrel", "scope", "none"]);
    match dice.below(9) {
        0 => {
            json!({"do": "set_model_costs", "model": model, "planned_cents": dice.below(9_000), "lead_days": 14})
        }
        1 => json!({"do": "set_life_limit", "model": model, "replace_at": dice.below(4), "reason": "tears"}),
        2 => {
            json!({"do": "set_policy", "wear_clock": {"cap": dice.word(&["uses", "days", "cycles"])}, "delay_minutes": 10})
        }
        3 => json!({"do": "set_policy", "inspection_checks":
                    [{"family": "cap", "check": "light", "unit": "lx", "min": dice.below(4), "source": "house"}]}),
        4 => json!({"do": "hold", "kind": "recall", "reason": "a notice", "model": "cap", "lots": ["L-2"],
                    "unknown": dice.word(&["hold", "leave"])}),
        5..8 => super::alert::next(state, dice),
        _ => json!({"do": "request_inspection", "scan": scan(state, dice), "reason": "old for its model"}),
    }
}
