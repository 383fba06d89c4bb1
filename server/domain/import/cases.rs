//! Rows of cases: planned anew, or what changes of one that is planned. A patient's reference is sealed when it is
//! recorded, so that of a case that is there it cannot be compared, and is left as it is.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, NaiveTime};
use serde_json::{Map, Value, json};

use super::read::{Values, instant};
use super::{Change, Plan, Told};
use crate::domain::case::Case;
use crate::domain::state::State;
use crate::domain::time::Time;

pub fn plan(state: &State, rows: &[Values], plan: &mut Plan) {
    let mut seen: BTreeMap<String, u64> = BTreeMap::new();
    let mut unseen = 0;
    for row in rows {
        let Some(name) = row.text("case").map(String::from) else {
            if !row.broken.contains("case") && plan.mapping_names("case") {
                plan.faults.push(row.fault("/case", "no case", "the name of the case is needed"));
            }
            continue;
        };
        if let Some(first) = seen.insert(name.clone(), row.line) {
            let found = format!("{name}, which stands in line {first} already");
            plan.faults.push(row.fault("/case", found, "each case once is needed"));
            continue;
        }
        let start = match start(state, row) {
            Ok(start) => start,
            Err((found, needed)) => {
                plan.faults.push(row.fault("/start", found, needed));
                continue;
            }
        };
        if !row.broken.is_empty() {
            continue;
        }
        match state.cases.get(name.as_str()) {
            None => new(row, &name, start, plan),
            Some(known) => {
                unseen += usize::from(row.values.contains_key("patient"));
                changed(row, known, start, plan);
            }
        }
    }
    if unseen > 0 {
        plan.notes.push(format!(
            "The patient's references of {unseen} cases that are there were passed over: they are sealed, and not compared."
        ));
    }
}

/// When it starts: one column with both, or a day and a time of it.
fn start(state: &State, row: &Values) -> Result<Option<Time>, (String, String)> {
    let both = row.text("start").and_then(Time::parse);
    let day = row.text("date").and_then(|text| text.parse::<NaiveDate>().ok());
    let time = row.text("time").and_then(|text| text.parse::<NaiveTime>().ok());
    match (both, day, time) {
        (Some(at), None, None) => Ok(Some(at)),
        (None, Some(day), Some(time)) => instant(day, time, state.zone).map(Some),
        (None, None, None) => Ok(None),
        (Some(_), ..) => {
            Err(("a start beside a day or a time of its own".into(), "one of them is needed".into()))
        }
        (None, Some(day), None) if !row.broken.contains("time") => {
            Err((format!("{day} without a time of day"), "both are needed".into()))
        }
        (None, None, Some(time)) if !row.broken.contains("date") => {
            Err((format!("{time} without a day"), "both are needed".into()))
        }
        (None, ..) => Ok(None),
    }
}

fn new(row: &Values, name: &str, start: Option<Time>, plan: &mut Plan) {
    let mut fields = Map::new();
    let Some(start) = start else {
        plan.faults.push(row.fault("/start", "no start", "the day and the time of day are needed"));
        return;
    };
    if row.whole("minutes").is_none() {
        if plan.mapping_names("minutes") {
            plan.faults.push(row.fault("/minutes", "no length", "minutes are needed"));
        }
        return;
    }
    fields.insert("do".into(), json!("plan_case"));
    fields.insert("start".into(), json!(start.to_string()));
    fields.insert("needs".into(), json!([]));
    for key in ["case", "minutes", "room", "technique", "needs", "patient", "risk"] {
        if let Some(value) = row.values.get(key) {
            fields.insert(key.into(), value.clone());
        }
    }
    plan.told.push(Told { line: row.line, name: name.into(), change: Change::New, words: String::new() });
    plan.give(row, fields, None);
}

fn changed(row: &Values, known: &Case, start: Option<Time>, plan: &mut Plan) {
    let mut fields = Map::new();
    let mut words = Vec::new();
    let mut differs = |key: &str, was: String, is: String, value: Value| {
        if was != is {
            words.push(format!("{}: {was} → {is}", row.column(&format!("/{key}"))));
            fields.insert(key.to_string(), value);
        }
    };
    if let Some(start) = start {
        differs("start", known.start.to_string(), start.to_string(), json!(start.to_string()));
    }
    if let Some(minutes) = row.whole("minutes") {
        differs("minutes", known.minutes.to_string(), minutes.to_string(), json!(minutes));
    }
    let none = || "none".to_string();
    if let Some(room) = row.text("room") {
        differs("room", known.room.as_ref().map_or_else(none, |it| it.0.clone()), room.into(), json!(room));
    }
    if let Some(technique) = row.text("technique") {
        let was = known.technique.map_or_else(none, |it| it.name().to_string());
        differs("technique", was, technique.into(), json!(technique));
    }
    if let Some(risk) = row.text("risk") {
        differs("risk", known.risk.name().into(), risk.into(), json!(risk));
    }
    if let Some(needs) = row.values.get("needs") {
        let is: BTreeSet<&str> = needs.as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        let was: BTreeSet<&str> = known.needs.iter().map(|it| it.as_str()).collect();
        let listed = |all: &BTreeSet<&str>| all.iter().copied().collect::<Vec<_>>().join(", ");
        differs("needs", listed(&was), listed(&is), needs.clone());
    }
    let name = known.case.to_string();
    let change = if fields.is_empty() { Change::Same } else { Change::Changes };
    plan.told.push(Told { line: row.line, name: name.clone(), change, words: words.join("; ") });
    if change == Change::Changes {
        fields.insert("do".into(), json!("change_case"));
        fields.insert("case".into(), json!(name));
        plan.give(row, fields, None);
    }
}
