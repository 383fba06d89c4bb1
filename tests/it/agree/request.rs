//! What the board might ask of the desk, and what the desk might say.

use std::sync::Arc;

use fettle::domain::request::Request;
use fettle::domain::state::State;
use serde_json::{Value, json};

use super::acts::{Dice, part};

pub fn next(state: &State, dice: &mut Dice) -> Value {
    let known: Vec<Arc<Request>> = state.requests.values().rev().take(4).cloned().collect();
    match dice.pick(&known).filter(|_| !dice.once_in(2)) {
        Some(request) => about(request, dice),
        None => send(state, dice),
    }
}

fn about(request: &Request, dice: &mut Dice) -> Value {
    let (request, all) = (&request.request, ["accepted", "done", "cannot"]);
    match dice.below(6) {
        0 => json!({"do": "withdraw_request", "request": request}),
        1 => json!({"do": "answer_request", "request": request, "answer": "cannot"}),
        _ => {
            json!({"do": "answer_request", "request": request, "answer": dice.word(&all), "because": "no hands"})
        }
    }
}

fn send(state: &State, dice: &mut Dice) -> Value {
    let open: Vec<_> = state.open_cases().map(|case| case.case.clone()).collect();
    let case = dice.pick(&open).map_or("K-0".to_string(), |case| case.to_string());
    let set = dice.word(&["SET-1", "SET-2"]);
    let mut all = json!({"do": "send_request", "case": case});
    let fields = match dice.below(5) {
        0 => json!({"kind": "take_next", "set": set}),
        1 => json!({"kind": "start_now", "set": set, "step": dice.word(&["sterilised", "disinfected"])}),
        2 => json!({"kind": "borrow", "count_sheet": "adult"}),
        3 => json!({"kind": "borrow", "set": set, "line": dice.word(&["cap", "telescope"])}),
        _ => {
            let asset = part(state, dice).map_or("X-0".to_string(), |asset| asset.asset.to_string());
            json!({"kind": "put_in", "set": set, "asset": asset})
        }
    };
    all.as_object_mut().expect("fields").extend(fields.as_object().cloned().unwrap_or_default());
    all
}
