//! Rows of count sheets: the rows of one sheet stand for its lines, and make one definition.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::read::Values;
use super::{Change, Plan, Told};
use crate::domain::set::{CountSheet, SheetLine};
use crate::domain::state::State;

/// The rows of each thing, in the order in which the things first stand in the list. Rows without a name are told.
pub fn grouped<'a>(rows: &'a [Values], key: &'static str, plan: &mut Plan) -> Vec<(String, Vec<&'a Values>)> {
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut groups: Vec<(String, Vec<&Values>)> = Vec::new();
    for row in rows {
        let Some(name) = row.text(key) else {
            if !row.broken.contains(key) && plan.mapping_names(key) {
                let found = format!("no {}", key.replace('_', " "));
                plan.faults.push(row.fault(
                    &format!("/{key}"),
                    found,
                    "each row needs it: empty cells are not filled from above",
                ));
            }
            continue;
        };
        match places.get(name).and_then(|place| groups.get_mut(*place)) {
            Some((_, of)) => of.push(row),
            None => {
                places.insert(name.to_string(), groups.len());
                groups.push((name.to_string(), vec![row]));
            }
        }
    }
    groups
}

/// What the rows of one thing say of it as a whole; rows that say different things are told.
pub fn agreed(rows: &[&Values], key: &str, plan: &mut Plan) -> Result<Option<String>, ()> {
    let mut said: Option<(&str, u64)> = None;
    for row in rows {
        match (row.text(key), said) {
            (Some(text), None) => said = Some((text, row.line)),
            (Some(text), Some((before, line))) if text != before => {
                let found = format!("\"{text}\", beside \"{before}\" in line {line}");
                plan.faults.push(row.fault(
                    &format!("/{key}"),
                    found,
                    "the same in each row of it is needed, or nothing",
                ));
                return Err(());
            }
            _ => {}
        }
    }
    Ok(said.map(|(text, _)| text.to_string()))
}

pub fn plan(state: &State, rows: &[Values], plan: &mut Plan) {
    for (sheet, rows) in grouped(rows, "count_sheet", plan) {
        let name = agreed(&rows, "name", plan);
        let lines = lines(state, &rows, plan);
        let known = state.sheets.get(sheet.as_str()).map(|it| &**it);
        let (Ok(name), Some(lines), Some(first)) = (name, lines, rows.first()) else { continue };
        let name = name.or_else(|| known.map(|it| it.name.0.clone()));
        let Some(name) = name else {
            plan.faults.push(first.fault(
                "/name",
                "no name",
                "a new count sheet needs one, in its first row",
            ));
            continue;
        };
        let mut fields =
            json!({"do": "define_count_sheet", "count_sheet": sheet, "name": name, "lines": lines});
        if known.is_some_and(|it| it.keeps_parts) {
            // A list says nothing of it, so that it stays.
            fields["keeps_parts"] = json!(true);
        }
        let read: Option<Vec<SheetLine>> = serde_json::from_value(json!(lines)).ok();
        let (change, words) = match known {
            None => (Change::New, String::new()),
            Some(known) => differences(known, &name, &read.unwrap_or_default()),
        };
        plan.told.push(Told { line: first.line, name: sheet, change, words });
        if change != Change::Same
            && let Value::Object(fields) = fields
        {
            plan.give(first, fields, None);
        }
    }
}

/// The lines of one sheet; nothing where one of them will not do.
fn lines(state: &State, rows: &[&Values], plan: &mut Plan) -> Option<Vec<Value>> {
    let mut seen: BTreeMap<&str, u64> = BTreeMap::new();
    let mut all = Vec::new();
    let before = plan.faults.len();
    for row in rows {
        for (key, needed) in [("line", "each row needs a line"), ("essential", "yes or no is needed")] {
            if !row.values.contains_key(key) && !row.broken.contains(key) && plan.mapping_names(key) {
                plan.faults.push(row.fault(&format!("/lines/{key}"), format!("no {key}"), needed));
            }
        }
        if let Some(first) = row.text("line").and_then(|line| seen.insert(line, row.line)) {
            let found =
                format!("\"{}\", which stands in line {first} already", row.text("line").unwrap_or_default());
            plan.faults.push(row.fault("/lines/line", found, "each line of a count sheet once is needed"));
        }
        match row.whole("quantity") {
            Some(1..=500) => {}
            None if row.broken.contains("quantity") || !plan.mapping_names("quantity") => {}
            found => {
                let found = found.map_or("no quantity".into(), |n| n.to_string());
                plan.faults.push(row.fault("/lines/quantity", found, "1 to 500 is needed"));
            }
        }
        let models = row.values.get("models").and_then(Value::as_array).cloned().unwrap_or_default();
        for model in models.iter().filter_map(Value::as_str).filter(|it| !state.models.contains_key(*it)) {
            let needed = "a model of the catalogue is needed: import the models first";
            plan.faults.push(row.fault("/lines/models", format!("the model {model}"), needed));
        }
        let mut line = json!({"line": row.text("line"), "quantity": row.whole("quantity"),
                              "essential": row.values.get("essential")});
        for (key, field) in [("family", "family"), ("pack", "pack"), ("models", "models")] {
            if let Some(value) = row.values.get(key) {
                line[field] = value.clone();
            }
        }
        all.push(line);
    }
    let whole = plan.faults.len() == before && rows.iter().all(|row| row.broken.is_empty());
    let complete = ["line", "quantity", "essential"].iter().all(|key| plan.mapping_names(key));
    (whole && complete).then_some(all)
}

fn differences(known: &CountSheet, name: &str, lines: &[SheetLine]) -> (Change, String) {
    let mut all = Vec::new();
    if known.name.as_str() != name {
        all.push(format!("name: {} → {name}", known.name.as_str()));
    }
    for line in &known.lines {
        match lines.iter().find(|it| it.line == line.line) {
            None => all.push(format!("without line \"{}\"", line.line.as_str())),
            Some(now) if now != line => all.push(format!("line \"{}\" changes", line.line.as_str())),
            Some(_) => {}
        }
    }
    let new = lines.iter().filter(|line| known.line(line.line.as_str()).is_none());
    all.extend(new.map(|line| format!("with line \"{}\"", line.line.as_str())));
    let reordered = all.is_empty() && known.lines != lines;
    if reordered {
        all.push("the lines in another order".into());
    }
    if all.is_empty() { (Change::Same, String::new()) } else { (Change::Changes, all.join("; ")) }
}
