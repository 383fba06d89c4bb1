//! A plan as a program is told it, and as lines of text.

use serde_json::{Value, json};

use super::mapping::Mapped;
use super::{Change, Plan, Question};
use crate::formats::table::Fault;

fn fault(it: &Fault) -> Value {
    json!({"row": it.line, "column": it.column, "found": it.found, "needed": it.needed})
}

fn question(it: &Question) -> Value {
    match it {
        Question::Dates { key, column, example } => {
            json!({"ask": "dates", "of": key, "column": column, "found": example, "needed": "day_first or month_first"})
        }
        Question::Decimal { column, example } => {
            json!({"ask": "decimal", "column": column, "found": example, "needed": "point or comma"})
        }
    }
}

/// The plan as JSON.
pub fn answer(plan: &Plan) -> Value {
    let mapped = |it: &Mapped| {
        let from = it.from.and_then(|(place, _)| plan.mapping.header.get(place));
        json!({"name": it.column.key, "needed": it.column.is_needed(), "from": from,
               "how": it.from.map(|(_, how)| how.name()), "fixed": it.fixed})
    };
    let told = |it: &super::Told| json!({"row": it.line, "name": it.name, "change": it.change.name(), "what": it.words});
    let changed = plan.told.iter().filter(|it| it.change != Change::Same);
    json!({
        "kind": plan.mapping.kind.map(super::Kind::name),
        "rows": plan.rows,
        "may_import": plan.may_import(),
        "new": plan.count(Change::New),
        "changes": plan.count(Change::Changes),
        "same": plan.count(Change::Same),
        "commands": plan.planned.len(),
        "columns": plan.mapping.wanted.iter().map(mapped).collect::<Vec<_>>(),
        "left_out": plan.mapping.left_out(),
        "questions": plan.questions.iter().map(question).collect::<Vec<_>>(),
        "problems": plan.faults.iter().map(fault).collect::<Vec<_>>(),
        "doubts": plan.doubts.iter().map(fault).collect::<Vec<_>>(),
        "notes": plan.notes,
        "things": changed.map(told).collect::<Vec<_>>(),
    })
}

/// What stands against the import, one problem on each line.
pub fn problem_lines(plan: &Plan) -> Vec<String> {
    let asked = plan.questions.iter().map(|it| match it {
        Question::Dates { key, column, example } => format!(
            "line {}, {column}: found {example}, which may be two days; day_first or month_first for {key} is needed",
            plan.mapping.header_line
        ),
        Question::Decimal { column, example } => format!(
            "line {}, {column}: found {example}, which may be two numbers; a decimal point or comma is needed",
            plan.mapping.header_line
        ),
    });
    asked.chain(plan.faults.iter().map(line)).collect()
}

/// One line for one problem.
pub fn line(it: &Fault) -> String {
    let column = if it.column.is_empty() { String::new() } else { format!(", {}", it.column) };
    let flat = |text: &str| text.replace(['\n', '\r'], " ");
    format!("line {}{}: found {}; {}", it.line, flat(&column), flat(&it.found), flat(&it.needed))
}

/// Cents as an amount.
pub fn money(cents: Option<u64>) -> String {
    cents.map_or_else(|| "nothing".into(), |cents| format!("{}.{:02}", cents / 100, cents % 100))
}
