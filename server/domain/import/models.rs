//! Rows of models: a new one, or what changes of one that is there.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::read::Values;
use super::{Change, Plan, Told};
use crate::domain::command::Command;
use crate::domain::command::{Act, Model as OfModel};
use crate::domain::model::Model;
use crate::domain::model_columns::COLUMNS;
use crate::domain::model_table::put;
use crate::domain::state::State;

pub fn plan(state: &State, rows: &[Values], plan: &mut Plan) {
    let mut seen: BTreeMap<String, u64> = BTreeMap::new();
    for row in rows {
        let Some(code) = row.text("model").map(String::from) else {
            if !row.broken.contains("model") && plan_has(rows, "model") {
                plan.faults.push(row.fault("/model", "no code", "the code of the model is needed"));
            }
            continue;
        };
        if let Some(first) = seen.insert(code.clone(), row.line) {
            let found = format!("{code}, which stands in line {first} already");
            plan.faults.push(row.fault("/model", found, "each model once is needed"));
            continue;
        }
        one(state, row, &code, plan);
    }
}

/// Whether any row has a value for a column: a column that nobody has is told once, not for each row.
pub fn plan_has(rows: &[Values], key: &str) -> bool {
    rows.iter().any(|row| row.values.contains_key(key))
}

fn one(state: &State, row: &Values, code: &str, plan: &mut Plan) {
    let known = state.models.get(code);
    let mut whole = known.and_then(|it| serde_json::to_value(&**it).ok()).unwrap_or_else(|| json!({}));
    for column in COLUMNS {
        let key = column.names.first().copied().unwrap_or_default();
        if let Some(value) = row.values.get(key) {
            put(&mut whole, column.path, value.clone());
        }
    }
    let mut lacks = false;
    for needed in ["family", "name", "route"] {
        if whole.get(needed).is_none() && !row.broken.contains(needed) {
            lacks = true;
            plan.faults.push(row.fault(
                &format!("/{needed}"),
                format!("no {needed}"),
                "a new model needs it",
            ));
        }
    }
    if lacks || !row.broken.is_empty() {
        return;
    }
    let change = match (known, model(&whole)) {
        (None, _) => Change::New,
        (Some(known), Some(model)) if **known == model => Change::Same,
        (Some(_), _) => Change::Changes,
    };
    let words = match (change, known) {
        (Change::Changes, Some(known)) => {
            differences(&serde_json::to_value(&**known).unwrap_or_default(), &whole, row)
        }
        _ => String::new(),
    };
    plan.told.push(Told { line: row.line, name: code.into(), change, words });
    if change != Change::Same
        && let Value::Object(mut fields) = whole
    {
        fields.insert("do".into(), json!("define_model"));
        plan.give(row, fields, None);
    }
}

/// The row as the model that it would be.
fn model(whole: &Value) -> Option<Model> {
    let mut command = whole.clone();
    put(&mut command, "/do", json!("define_model"));
    match Command::read(command) {
        Ok(Command { act: Act::Model(OfModel::DefineModel(model)), .. }) => Some(model),
        _ => None,
    }
}

/// Each column whose value changes, with both.
fn differences(before: &Value, after: &Value, row: &Values) -> String {
    let word = |value: Option<&Value>| match value {
        None | Some(Value::Null) => "none".to_string(),
        Some(Value::String(text)) => text.clone(),
        Some(other) => other.to_string(),
    };
    let changed = COLUMNS.iter().filter_map(|column| {
        let (was, is) = (before.pointer(column.path), after.pointer(column.path));
        (was != is).then(|| format!("{}: {} → {}", row.column(column.path), word(was), word(is)))
    });
    changed.collect::<Vec<_>>().join("; ")
}
