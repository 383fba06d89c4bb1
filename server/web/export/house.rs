//! What the house owns and plans, in columns that lists are brought in as well.

use serde_json::Value;

use super::Rows;
use crate::domain::case::Case;
use crate::domain::id::Id;
use crate::domain::state::{Asset, State};
use crate::domain::time::Time;
use crate::formats::cells::{Cell, Column, column};

/// The columns of models, each beside its place in a definition.
const OF_MODELS: &[(&str, &str)] = &[
    ("model", "/model"),
    ("family", "/family"),
    ("name", "/name"),
    ("maker", "/maker"),
    ("gtin", "/gtin"),
    ("route", "/route"),
    ("nominal", "/dimensions/nominal"),
    ("inner_diameter_mm", "/dimensions/inner_diameter_mm"),
    ("outer_diameter_mm", "/dimensions/outer_diameter_mm"),
    ("length_mm", "/dimensions/length_mm"),
    ("shaft_diameter_mm", "/dimensions/shaft_diameter_mm"),
    ("max_width_mm", "/dimensions/max_width_mm"),
    ("french", "/dimensions/french"),
    ("view_deg", "/dimensions/view_deg"),
    ("hole_diameters_mm", "/dimensions/hole_diameters_mm"),
    ("stack_height_mm", "/dimensions/stack_height_mm"),
    ("couplings", "/couplings"),
    ("edition", "/processing/edition"),
    ("steam_temp_c", "/processing/steam/temp_c"),
    ("steam_hold_s", "/processing/steam/hold_s"),
    ("max_temp_c", "/processing/max_temp_c"),
    ("hydrogen_peroxide", "/processing/hydrogen_peroxide"),
    ("ethylene_oxide", "/processing/ethylene_oxide"),
    ("immersible", "/processing/immersible"),
    ("ultrasonic", "/processing/ultrasonic"),
    ("immediate_use", "/processing/immediate_use"),
    ("clean_within_minutes", "/processing/clean_within_minutes"),
    ("delayed", "/processing/delayed"),
    ("max_cycles", "/limits/max_cycles"),
    ("max_uses", "/limits/max_uses"),
    ("inspect_every_cycles", "/limits/inspect_every_cycles"),
    ("inspect_every_days", "/limits/inspect_every_days"),
    ("shelf_life_days", "/limits/shelf_life_days"),
    ("single_use", "/single_use"),
    ("implant", "/implant"),
    ("assembly_order", "/assembly/order"),
    ("assembly_edition", "/assembly/edition"),
    ("assembly_note", "/assembly/note"),
    ("assembly_photo", "/assembly/photo"),
];

pub const MODELS: &[Column] = &{
    let mut all = [column("", 14); OF_MODELS.len()];
    let mut place = 0;
    while place < OF_MODELS.len() {
        all[place] = column(OF_MODELS[place].0, 14);
        place += 1;
    }
    all
};

pub fn models(state: &State, _: Time) -> Rows {
    let row = |model: &Value| OF_MODELS.iter().map(|(_, path)| cell(path, model.pointer(path))).collect();
    state
        .models
        .values()
        .filter_map(|model| serde_json::to_value(&**model).ok())
        .map(|model| row(&model))
        .collect()
}

/// A value of a definition; measured quantities are texts there, and numbers here.
fn cell(path: &str, value: Option<&Value>) -> Cell {
    let is_number = path.starts_with("/dimensions/") || path.contains("temp_c") || path.contains("hold_s");
    match value {
        None | Some(Value::Null | Value::Object(_)) => Cell::Empty,
        Some(Value::String(text)) if is_number => {
            text.parse().map_or_else(|_| Cell::text(text), Cell::Number)
        }
        Some(Value::String(text)) => Cell::text(text),
        Some(Value::Bool(truth)) => Cell::text(yes_no(*truth)),
        Some(Value::Number(number)) => number.as_u64().map_or(Cell::Empty, Cell::Whole),
        Some(Value::Array(all)) => {
            let words: Vec<String> = all.iter().map(listed).collect();
            Cell::text(words.join(if path == "/couplings" { " | " } else { " " }))
        }
    }
}

/// A coupling as `end/system/port/bore`; anything else as it is.
fn listed(value: &Value) -> String {
    let text = |name: &str| value.get(name).and_then(Value::as_str).unwrap_or_default();
    match value {
        Value::String(text) => text.clone(),
        Value::Object(_) => {
            let whole = [text("end"), text("system"), text("port"), text("bore_mm")].join("/");
            whole.trim_end_matches('/').to_string()
        }
        other => other.to_string(),
    }
}

fn yes_no(truth: bool) -> &'static str {
    if truth { "yes" } else { "no" }
}

/// The word that a command has for a value.
pub fn word<T: serde::Serialize>(value: &T) -> Cell {
    match serde_json::to_value(value) {
        Ok(Value::String(text)) => Cell::text(text),
        _ => Cell::Empty,
    }
}

pub fn moment(state: &State, at: Option<Time>) -> Cell {
    at.map_or(Cell::Empty, |at| Cell::Moment(at.in_zone(state.zone).naive_local()))
}

pub const ASSETS: &[Column] = &[
    column("asset", 16),
    column("mark", 30),
    column("model", 16),
    column("serial", 16),
    column("lot", 12),
    column("acquired", 12),
    column("prior_cycles", 8),
    column("prior_uses", 8),
    column("cost", 10),
    column("owner", 8),
    column("location", 20),
    column("family", 16),
    column("in_set", 14),
    column("on_line", 20),
    column("at_position", 8),
    column("turn", 8),
    column("stage", 12),
    column("standing", 12),
    column("cycles_in_all", 8),
    column("uses_in_all", 8),
    column("sterile_until", 12),
    column("last_inspected", 17),
    column("last_touched", 17),
];

pub fn assets(state: &State, _: Time) -> Rows {
    state.assets.values().map(|part| asset(state, part)).collect()
}

fn asset(state: &State, part: &Asset) -> Vec<Cell> {
    let line = |line: &Option<crate::domain::text::Line>| {
        line.as_ref().map_or(Cell::Empty, |it| Cell::text(it.as_str()))
    };
    let seat = part.seat.as_ref();
    vec![
        Cell::text(part.asset.as_str()),
        line(&part.mark),
        Cell::text(part.model.as_str()),
        line(&part.serial),
        line(&part.lot),
        Cell::or_empty(part.acquired, Cell::Day),
        Cell::Whole(part.prior_cycles.into()),
        Cell::Whole(part.prior_uses.into()),
        Cell::or_empty(part.cost_cents, Cell::Money),
        word(&part.owner),
        line(&part.location),
        state.model(&part.model).map_or(Cell::Empty, |model| word(&model.family)),
        seat.map_or(Cell::Empty, |seat| Cell::text(seat.set.as_str())),
        seat.map_or(Cell::Empty, |seat| Cell::text(&seat.line)),
        seat.map_or(Cell::Empty, |seat| Cell::Whole(seat.position.into())),
        Cell::Whole(part.turn.into()),
        word(&part.stage),
        word(&part.standing()),
        Cell::Whole(part.cycles.into()),
        Cell::Whole(part.uses.into()),
        Cell::or_empty(part.sterile_until, Cell::Day),
        moment(state, part.inspected.as_ref().map(|it| it.at)),
        moment(state, Some(part.last_at)),
    ]
}

pub const COUNT_SHEETS: &[Column] = &[
    column("count_sheet", 16),
    column("name", 24),
    column("line", 24),
    column("family", 18),
    column("models", 24),
    column("quantity", 8),
    column("essential", 9),
    column("pack", 12),
];

fn joined(all: &[Id]) -> Cell {
    Cell::text(all.iter().map(Id::as_str).collect::<Vec<_>>().join(", "))
}

pub fn count_sheets(state: &State, _: Time) -> Rows {
    let rows = state.sheets.values().flat_map(|sheet| {
        sheet.lines.iter().map(|line| {
            vec![
                Cell::text(sheet.count_sheet.as_str()),
                Cell::text(sheet.name.as_str()),
                Cell::text(line.line.as_str()),
                line.family.map_or(Cell::Empty, |family| word(&family)),
                joined(&line.models),
                Cell::Whole(line.quantity.into()),
                Cell::text(yes_no(line.essential)),
                Cell::text(line.pack.as_str()),
            ]
        })
    });
    rows.collect()
}

pub const SETS: &[Column] = &[
    column("set", 14),
    column("count_sheet", 16),
    column("name", 24),
    column("line", 24),
    column("position", 8),
    column("asset", 16),
    column("status", 14),
];

/// A row for each part in its place; a set without any has one row of its own.
pub fn sets(state: &State, now: Time) -> Rows {
    let mut rows = Rows::new();
    for set in state.sets.values() {
        let status = crate::domain::readiness::glance(state, set, now).status;
        let row = |line: Cell, position: Cell, asset: Cell| {
            vec![
                Cell::text(set.set.as_str()),
                Cell::text(set.count_sheet.as_str()),
                Cell::text(set.name.as_str()),
                line,
                position,
                asset,
                Cell::text(status.name()),
            ]
        };
        if set.seats.is_empty() {
            rows.push(row(Cell::Empty, Cell::Empty, Cell::Empty));
        }
        rows.extend(set.seats.iter().map(|((line, position), asset)| {
            row(Cell::text(line), Cell::Whole((*position).into()), Cell::text(asset.as_str()))
        }));
    }
    rows
}

pub const CASES: &[Column] = &[
    column("case", 14),
    column("start", 26),
    column("minutes", 8),
    column("room", 12),
    column("technique", 18),
    column("needs", 24),
    column("risk", 16),
    column("status", 12),
    column("emergency", 10),
    column("sets", 24),
];

/// Patients' references are no part of it: they are read one by one, and each reading is logged.
pub fn cases(state: &State, _: Time) -> Rows {
    state.cases.values().map(|case| one_case(state, case)).collect()
}

fn one_case(state: &State, case: &Case) -> Vec<Cell> {
    let status = match (&case.cancelled, case.closed) {
        (Some(_), _) => "cancelled",
        (None, true) => "closed",
        (None, false) => "open",
    };
    let start = case.start.in_zone(state.zone).to_rfc3339_opts(chrono::SecondsFormat::AutoSi, false);
    vec![
        Cell::text(case.case.as_str()),
        Cell::text(start),
        Cell::Whole(case.minutes.into()),
        case.room.as_ref().map_or(Cell::Empty, |room| Cell::text(room.as_str())),
        case.technique.map_or(Cell::Empty, |it| Cell::text(it.name())),
        joined(&case.needs),
        Cell::text(case.risk.name()),
        Cell::text(status),
        Cell::text(yes_no(case.emergency)),
        joined(&case.promised),
    ]
}
