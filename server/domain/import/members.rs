//! Rows of sets: the set itself, and in each row a part that sits in it.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::read::Values;
use super::sheets::{agreed, grouped};
use super::{Change, Plan, Told};
use crate::domain::id::Id;
use crate::domain::scan;
use crate::domain::set::SetState;
use crate::domain::state::{Named, State};

pub fn plan(state: &State, rows: &[Values], plan: &mut Plan) {
    let mut parts: BTreeMap<String, u64> = BTreeMap::new();
    let mut places: BTreeMap<(String, String, u64), u64> = BTreeMap::new();
    for (set, rows) in grouped(rows, "set", plan) {
        let Some(first) = rows.first() else { continue };
        let known = state.sets.get(set.as_str()).map(|it| &**it);
        let (sheet, name) = (agreed(&rows, "count_sheet", plan), agreed(&rows, "name", plan));
        let (Ok(sheet), Ok(name)) = (sheet, name) else { continue };
        let (built, change) = match known {
            Some(known) => {
                if !as_it_is(first, known, sheet.as_deref(), name.as_deref(), plan) {
                    continue;
                }
                (None, Change::Same)
            }
            None => match build(first, &set, sheet, name, plan) {
                Some(built) => (Some(built), Change::New),
                None => continue,
            },
        };
        let mut put = 0;
        for row in &rows {
            if once(state, row, &set, &mut parts, &mut places, plan) && member(state, row, &set, built, plan)
            {
                put += 1;
            }
        }
        let change = if put > 0 && change == Change::Same { Change::Changes } else { change };
        let words = match put {
            0 => String::new(),
            1 => "1 part put in".into(),
            many => format!("{many} parts put in"),
        };
        plan.told.push(Told { line: first.line, name: set, change, words });
    }
}

/// Whether a set that is there is what the rows say of it.
fn as_it_is(
    row: &Values,
    known: &SetState,
    sheet: Option<&str>,
    name: Option<&str>,
    plan: &mut Plan,
) -> bool {
    let mut fine = true;
    let has = [("count_sheet", sheet, known.count_sheet.as_str()), ("name", name, known.name.as_str())];
    for (key, said, is) in has {
        if let Some(said) = said.filter(|said| *said != is) {
            let found = format!("\"{said}\" where set {} has \"{is}\"", known.set);
            let needed = "a set keeps its name and its count sheet: leave the cell as it is or empty, or build another set";
            plan.faults.push(row.fault(&format!("/{key}"), found, needed));
            fine = false;
        }
    }
    fine
}

fn build(
    row: &Values,
    set: &str,
    sheet: Option<String>,
    name: Option<String>,
    plan: &mut Plan,
) -> Option<usize> {
    for (key, said) in [("count_sheet", &sheet), ("name", &name)] {
        if said.is_none() && !row.broken.contains(key) {
            let found = format!("no {}", key.replace('_', " "));
            plan.faults.push(row.fault(&format!("/{key}"), found, "a new set needs it, in its first row"));
        }
    }
    let command = json!({"do": "build_set", "set": set, "count_sheet": sheet?, "name": name?});
    let Value::Object(fields) = command else { return None };
    plan.give(row, fields, None)
}

/// The part that a cell names, by its id or by its mark in whatever writing.
fn part_of(state: &State, name: &str) -> Option<Id> {
    match scan::find(state, name) {
        Ok(Named::Asset(asset)) => Some(asset),
        Ok(Named::Set(_)) | Err(_) => None,
    }
}

/// Whether the row's part and its place stand in no row before it.
fn once(
    state: &State,
    row: &Values,
    set: &str,
    parts: &mut BTreeMap<String, u64>,
    places: &mut BTreeMap<(String, String, u64), u64>,
    plan: &mut Plan,
) -> bool {
    if let Some(name) = row.text("asset") {
        let part = part_of(state, name).map_or_else(|| name.to_string(), |asset| asset.to_string());
        if let Some(first) = parts.insert(part, row.line) {
            let found = format!("\"{name}\", which stands in line {first} already");
            plan.faults.push(row.fault("/asset", found, "each part in one place is needed"));
            return false;
        }
    }
    if let (Some(line), Some(position)) = (row.text("line"), row.whole("position")) {
        let place = (set.to_string(), line.to_string(), position);
        if let Some(first) = places.insert(place, row.line) {
            let found = format!("position {position} of \"{line}\", which stands in line {first} already");
            plan.faults.push(row.fault("/position", found, "each position once is needed"));
            return false;
        }
    }
    true
}

/// Plans a row's part into its place; says whether anything is to be done.
fn member(state: &State, row: &Values, set: &str, built: Option<usize>, plan: &mut Plan) -> bool {
    if !row.broken.is_empty() {
        return false;
    }
    let (line, asset) = match (row.text("line"), row.text("asset")) {
        (None, None) => return false,
        (Some(line), Some(asset)) => (line, asset),
        (Some(line), None) => {
            let needed = "the part that sits there is needed; a row for the set alone has no line";
            plan.faults.push(row.fault("/asset", format!("no part for line \"{line}\""), needed));
            return false;
        }
        (None, Some(asset)) => {
            plan.faults.push(row.fault(
                "/line",
                format!("no line for {asset}"),
                "a line of the count sheet is needed",
            ));
            return false;
        }
    };
    let position = row.whole("position");
    if let Some(id) = part_of(state, asset)
        && let Some(seat) = state.assets.get(&id).and_then(|part| part.seat.as_ref())
        && (seat.set.as_str(), seat.line.as_str()) == (set, line)
        && position.is_none_or(|position| u64::from(seat.position) == position)
    {
        return false;
    }
    let mut command = json!({"do": "put_in_set", "set": set, "line": line, "asset": asset});
    if let Some(position) = position {
        command["position"] = json!(position);
    }
    let Value::Object(fields) = command else { return false };
    plan.give(row, fields, built).is_some()
}
