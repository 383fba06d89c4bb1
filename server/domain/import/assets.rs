//! Rows of parts: each is one physical piece. A part is known by its id, its mark, or its model and serial number; a row
//! without any of them would make the same part again each time.

use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

use super::models::plan_has;
use super::read::Values;
use super::{Change, Plan, Told};
use crate::domain::id::Id;
use crate::domain::mark;
use crate::domain::scan;
use crate::domain::state::{Asset, Named, State};
use crate::formats::table::Fault;

/// Columns of a row that go into `add_asset`, with their names there.
const FIELDS: [(&str, &str); 10] = [
    ("asset", "asset"),
    ("mark", "mark"),
    ("model", "model"),
    ("serial", "serial"),
    ("lot", "lot"),
    ("acquired", "acquired"),
    ("prior_cycles", "prior_cycles"),
    ("prior_uses", "prior_uses"),
    ("cost", "cost_cents"),
    ("owner", "owner"),
];

/// What names parts in the house and in the rows so far.
struct Names<'a> {
    state: &'a State,
    /// Parts of the house by model and serial number.
    serials: BTreeMap<(&'a str, &'a str), &'a Asset>,
    /// Lines by ids and marks.
    names: BTreeMap<String, u64>,
    of_serials: BTreeMap<(String, String), u64>,
}

/// The mark of a row, where it names the one part that carries it.
fn own_mark(row: &Values) -> Option<&str> {
    row.text("mark").filter(|mark| mark::names_one(mark))
}

pub fn plan(state: &State, rows: &[Values], plan: &mut Plan) {
    let serial = |part: &'_ Asset| part.serial.as_ref().map(|serial| serial.as_str().to_string());
    let with_serial = state.assets.values().filter(|part| serial(part).is_some());
    let mut names = Names {
        state,
        serials: with_serial
            .filter_map(|part| Some(((part.model.as_str(), part.serial.as_ref()?.as_str()), &**part)))
            .collect(),
        names: BTreeMap::new(),
        of_serials: BTreeMap::new(),
    };
    let named = ["asset", "mark", "serial"].iter().any(|key| plan_has(rows, key));
    if !rows.is_empty() && !named && !rows.iter().any(|row| !row.broken.is_empty()) {
        let needed = "an id, a mark or a serial number for each part is needed: without one, the same list would make its parts again";
        let line = plan.mapping.header_line;
        plan.faults.push(Fault::new(line, "asset", "no column that names a part", needed));
        return;
    }
    for row in rows {
        if once(row, &mut names, plan) {
            one(row, &names, plan);
        }
    }
}

/// Whether no row before has the same id, mark or serial number; both rows are told.
fn once(row: &Values, names: &mut Names, plan: &mut Plan) -> bool {
    let mut fine = true;
    for (name, path) in [(row.text("asset"), "/asset"), (own_mark(row), "/mark")] {
        let Some(name) = name else { continue };
        if let Some(first) = names.names.insert(name.to_string(), row.line)
            && first != row.line
        {
            let found = format!("\"{name}\", which stands in line {first} already");
            plan.faults.push(row.fault(path, found, "each id and each mark once is needed"));
            fine = false;
        }
    }
    if let (Some(model), Some(serial)) = (row.text("model"), row.text("serial")) {
        let key = (model.to_string(), serial.to_string());
        if let Some(first) = names.of_serials.insert(key, row.line) {
            let found =
                format!("serial number \"{serial}\" of {model}, which stands in line {first} already");
            plan.faults.push(row.fault("/serial", found, "each part once is needed"));
            fine = false;
        }
    }
    fine
}

/// The part of the house that a row names, or why it names none for certain.
fn known<'a>(row: &Values, names: &Names<'a>) -> Result<Option<&'a Asset>, (&'static str, String)> {
    let named = |name: &str| match scan::find(names.state, name) {
        Ok(Named::Asset(asset)) => names.state.assets.get(&asset).map(|part| &**part),
        Ok(Named::Set(_)) | Err(_) => None,
    };
    let by_id = row.text("asset").and_then(|id| names.state.assets.get(id)).map(|part| &**part);
    let by_mark = own_mark(row).and_then(named);
    let serial = row.text("model").zip(row.text("serial"));
    let by_serial = serial.and_then(|key| names.serials.get(&key).copied());
    let found = [("/asset", by_id), ("/mark", by_mark), ("/serial", by_serial)];
    let mut parts = found.into_iter().filter_map(|(path, part)| Some((path, part?)));
    let Some((_, first)) = parts.next() else { return Ok(None) };
    match parts.find(|(_, other)| other.asset != first.asset) {
        Some((path, other)) => {
            Err((path, format!("what names {}, beside what names {}", other.asset, first.asset)))
        }
        // A new id beside a mark or a serial number that the house knows is another name for the same piece.
        None => Ok(Some(first)),
    }
}

fn one(row: &Values, names: &Names, plan: &mut Plan) {
    if !row.broken.is_empty() {
        return;
    }
    match known(row, names) {
        Err((path, found)) => {
            plan.faults.push(row.fault(
                path,
                found,
                "an id, a mark and a serial number of one part are needed",
            ));
        }
        Ok(Some(part)) => same(row, part, plan),
        Ok(None) => new(row, plan),
    }
}

fn new(row: &Values, plan: &mut Plan) {
    let name = row.text("asset").or(own_mark(row)).or(row.text("serial"));
    let Some(name) = name.map(String::from) else {
        let needed = "an id, a mark or a serial number is needed: without one, the same list would make the part again";
        plan.faults.push(row.fault("/asset", "a part without a name", needed));
        return;
    };
    if row.text("model").is_none() {
        if plan.mapping_names("model") {
            plan.faults.push(row.fault("/model", "no model", "a new part needs it"));
        }
        return;
    }
    let mut fields: Map<String, Value> = FIELDS
        .iter()
        .filter_map(|(key, field)| Some(((*field).to_string(), row.values.get(key)?.clone())))
        .collect();
    fields.insert("do".into(), json!("add_asset"));
    // Where it is to lie is told by a command of its own, which needs the part's name.
    let place = row.text("location").map(String::from);
    let scan = row.text("asset").or(own_mark(row)).map(String::from);
    if place.is_some() && scan.is_none() {
        let needed = "an id or a mark is needed for a part that is put somewhere at once";
        plan.faults.push(row.fault("/location", "a place for a part without an id", needed));
        return;
    }
    plan.told.push(Told { line: row.line, name, change: Change::New, words: String::new() });
    let added = plan.give(row, fields, None);
    if let (Some(place), Some(scan), Some(added)) = (place, scan, added) {
        put_away(row, scan, place, Some(added), plan);
    }
}

fn put_away(row: &Values, scan: String, place: String, after: Option<usize>, plan: &mut Plan) {
    let command = json!({"do": "put_away", "scan": scan, "location": place});
    if let Value::Object(fields) = command {
        plan.give(row, fields, after);
    }
}

/// A part that is there: what the row says otherwise is refused, since nobody's list changes what was recorded of a
/// part; a new place is a change that has its command.
fn same(row: &Values, part: &Asset, plan: &mut Plan) {
    let has = recorded(part);
    let mut differs = false;
    for (key, field) in FIELDS {
        let Some(value) = row.values.get(key) else { continue };
        if has.get(field) == Some(value) || (key == "mark" && is_the_mark(row, part)) {
            continue;
        }
        differs = true;
        let word = |value: Option<&Value>| match value {
            None | Some(Value::Null) => "nothing".to_string(),
            Some(Value::String(text)) => format!("\"{text}\""),
            Some(Value::Number(cents)) if key == "cost" => super::joined::money(cents.as_u64()),
            Some(other) => other.to_string(),
        };
        let found = format!("{} where {} has {}", word(Some(value)), part.asset, word(has.get(field)));
        let needed = "what was recorded of a part is not changed by a list: leave the cell as it is or empty, or retire the part and add another";
        plan.faults.push(row.fault(&format!("/{field}"), found, needed));
    }
    if differs {
        return;
    }
    let place =
        row.text("location").filter(|place| part.location.as_ref().is_none_or(|is| is.as_str() != *place));
    let Some(place) = place.map(String::from) else {
        plan.told.push(Told {
            line: row.line,
            name: part.asset.to_string(),
            change: Change::Same,
            words: String::new(),
        });
        return;
    };
    let was = part.location.as_ref().map_or("nowhere", |place| place.as_str());
    let words = format!("{}: {was} → {place}", row.column("/location"));
    plan.told.push(Told { line: row.line, name: part.asset.to_string(), change: Change::Changes, words });
    put_away(row, part.asset.to_string(), place, None, plan);
}

/// Whether a row tells a part's own mark, in whatever writing.
fn is_the_mark(row: &Values, part: &Asset) -> bool {
    let keys = row.text("mark").zip(part.mark.as_ref());
    let keys = keys.map(|(told, own)| (mark::key_of(told), mark::key_of(own.as_str())));
    keys.is_some_and(|(told, own)| told.is_some() && told == own)
}

/// What was recorded of a part when it was added, as a command would say it.
fn recorded(part: &Asset) -> Map<String, Value> {
    let mut all = Map::new();
    let line = |line: &Option<crate::domain::text::Line>| line.as_ref().map(|it| json!(it.as_str()));
    let values = [
        ("asset", Some(json!(part.asset.as_str()))),
        ("mark", line(&part.mark)),
        ("model", Some(json!(Id::as_str(&part.model)))),
        ("serial", line(&part.serial)),
        ("lot", line(&part.lot)),
        ("acquired", part.acquired.map(|day| json!(day.to_string()))),
        ("prior_cycles", Some(json!(part.prior_cycles))),
        ("prior_uses", Some(json!(part.prior_uses))),
        ("cost_cents", part.cost_cents.map(Value::from)),
        ("owner", serde_json::to_value(part.owner).ok()),
    ];
    all.extend(values.into_iter().filter_map(|(name, value)| Some((name.to_string(), value?))));
    all
}
