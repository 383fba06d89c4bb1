//! What might happen with sheets of paper, and what might be said of a wrong scan.

use fettle::domain::state::State;
use serde_json::{Value, json};

use super::acts::{Dice, part, scan};

pub fn next(state: &State, dice: &mut Dice) -> Value {
    let sheets: Vec<String> = state.paper.keys().map(ToString::to_string).collect();
    let sheet = dice.pick(&sheets).cloned().unwrap_or_else(|| "P0000".into());
    let reports: Vec<String> = state.wrong_things.keys().rev().take(3).map(ToString::to_string).collect();
    let begun = state.paper.values().find(|it| it.is_open() && !it.entered.is_empty());
    // A sheet is printed, has a line, and is finished: each only after the one before it.
    let step = match (sheets.is_empty(), begun.is_some()) {
        (true, _) => 0,
        (false, false) => 3,
        (false, true) => 2,
    };
    match if dice.once_in(2) { step } else { dice.below(9) } {
        0 => {
            json!({"do": "print_sheets", "pages": [{"of": dice.word(&["sink", "theatre", "other"]), "sheets": 1 + dice.below(2)}]})
        }
        1 => json!({"do": "void_sheet", "sheet": sheet, "reason": "lost"}),
        2 | 8 if begun.is_some() || dice.once_in(3) => {
            json!({"do": "finish_sheet", "sheet": begun.map_or(sheet, |it| it.sheet.to_string())})
        }
        3 | 8 if begun.is_none() => {
            // A fact that nothing stands against, so that a printed sheet has a line.
            let late = line(state, dice);
            let scan = part(state, dice).map_or("none".to_string(), |asset| asset.asset.to_string());
            json!({"do": "report_finding", "scan": scan, "what": "scratched", "severity": "note",
                   "at": state.recorded_at, "late": late})
        }
        2..5 | 8 => {
            let (scan, late) = (scan(state, dice), line(state, dice));
            json!({"do": "record_step", "step": "treated", "scan": scan, "at": state.recorded_at, "late": late})
        }
        5 | 6 => report(state, dice),
        _ => {
            let report = dice.pick(&reports).cloned().unwrap_or_else(|| "wrong-thing-0000".into());
            let mut settle = json!({"do": "settle_wrong_thing", "report": report, "confirmed": !dice.once_in(3), "reason": "looked"});
            if dice.once_in(3) {
                settle["instead"] = scan(state, dice);
            }
            settle
        }
    }
}

fn report(state: &State, dice: &mut Dice) -> Value {
    let entry = part(state, dice).map_or(1, |asset| asset.last_entry);
    let entry = if dice.once_in(3) { state.seq.saturating_sub(dice.below(12) as u64) } else { entry };
    let mut report = json!({"do": "report_wrong_thing", "entry": entry});
    if !dice.once_in(4) {
        report["meant"] = scan(state, dice);
    }
    report
}

/// A line of a sheet that is there, for what is told late of a day on paper.
pub fn line(state: &State, dice: &mut Dice) -> Value {
    let sheets: Vec<String> = state.paper.keys().rev().take(2).map(ToString::to_string).collect();
    match dice.pick(&sheets) {
        Some(sheet) => {
            json!({"cause": "downtime", "sheet": sheet, "line": 1 + dice.below(6), "done_by": "lead-1"})
        }
        None => json!({"cause": "downtime", "sheet": "sheet 4", "done_by": "desk-2"}),
    }
}
