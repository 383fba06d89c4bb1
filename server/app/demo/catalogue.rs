//! The demo's catalogue and sets: invented sizes, no maker's ladder.

use serde_json::{Value, json};

use super::{DemoError, Writer};
use crate::domain::time::Time;

/// The demo's sets: code, count sheet, name.
pub const SETS: [(&str, &str, &str); 6] = [
    ("SET-A", "adult", "Adult bronchoscopy A"),
    ("SET-B", "adult", "Adult bronchoscopy B"),
    ("SET-C", "adult", "Adult bronchoscopy C"),
    ("SET-J", "child", "Child bronchoscopy J"),
    ("SET-K", "child", "Child bronchoscopy K"),
    ("SET-T", "tracheal", "Tracheoscopy T"),
];

/// A model: name in the ledger, family, what people call it, route, sizes and limits as JSON text.
type ModelLine = (&'static str, &'static str, &'static str, &'static str, &'static str, &'static str);

const BARREL_8: &str =
    r#"{"nominal": "8", "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9", "length_mm": 430}"#;
const BARREL_4: &str =
    r#"{"nominal": "4", "inner_diameter_mm": "6.1", "outer_diameter_mm": "6.8", "length_mm": 300}"#;
const TRACH_10: &str =
    r#"{"nominal": "10", "inner_diameter_mm": "10.3", "outer_diameter_mm": "11", "length_mm": 310}"#;
const SCOPE_4: &str = r#"{"shaft_diameter_mm": "4", "max_width_mm": "4", "length_mm": 540, "view_deg": 0}"#;
const SCOPE_2: &str =
    r#"{"shaft_diameter_mm": "2.8", "max_width_mm": "2.8", "length_mm": 360, "view_deg": 0}"#;
const GRIP: &str = r#"{"shaft_diameter_mm": "2.4", "max_width_mm": "3", "length_mm": 550}"#;
const OPTICS: &str = r#"{"inspect_every_days": 90, "shelf_life_days": 180}"#;
const HOLED: &str = r#"{"max_cycles": 40, "inspect_every_cycles": 10}"#;

#[rustfmt::skip] // A table reads by its columns.
const MODELS: [ModelLine; 13] = [
    ("barrel-8", "bronchoscope", "Bronchoscope 8", "metal", BARREL_8, "{}"),
    ("barrel-4", "bronchoscope", "Bronchoscope 4, child", "metal", BARREL_4, "{}"),
    ("trach-10", "tracheoscope", "Tracheoscope 10", "metal", TRACH_10, "{}"),
    ("head-r", "head", "Proximal head", "metal", r#"{"stack_height_mm": 28}"#, "{}"),
    ("conn-15", "anaesthesia_connector", "Anaesthesia connector 15 mm", "metal", "{}", "{}"),
    ("jet-l", "jet_adapter", "Jet attachment, locking", "metal", "{}", "{}"),
    ("port-2", "port_adapter", "Side-port adapter", "metal", "{}", "{}"),
    ("cap-1", "cap", "Cap, one hole", "metal", r#"{"hole_diameters_mm": ["3.5"]}"#, HOLED),
    ("cap-0", "cap", "Cap, blank", "metal", "{}", r#"{"max_cycles": 40}"#),
    ("scope-4", "telescope", "Telescope 0°, 4 mm", "optics", SCOPE_4, OPTICS),
    ("scope-2", "telescope", "Telescope 0°, 2.8 mm", "optics", SCOPE_2, OPTICS),
    ("grip-3", "forceps", "Forceps, alligator", "metal", GRIP, "{}"),
    ("suck-8", "suction_tube", "Suction tube 8 Fr", "metal", r#"{"french": 8, "length_mm": 560}"#, "{}"),
];

fn models() -> Vec<Value> {
    let steam = json!({"edition": "local instruction 3, 2024", "steam": {"temp_c": 134, "hold_s": 180}});
    let read = |text: &str| serde_json::from_str::<Value>(text).unwrap_or_default();
    let model = |(model, family, name, route, dimensions, limits): &ModelLine| {
        json!({"do": "define_model", "model": model, "family": family, "name": name, "route": route,
               "dimensions": read(dimensions), "limits": read(limits), "processing": steam})
    };
    MODELS.iter().map(model).collect()
}

fn sheets() -> Vec<Value> {
    let line = |line: &str, family: &str, model: &str, quantity: u32, essential: bool, pack: &str| json!({"line": line, "family": family, "models": [model], "quantity": quantity, "essential": essential, "pack": pack});
    let rest = |barrel: Value, scope: Value| {
        json!([
            barrel,
            line("head", "head", "head-r", 1, true, "tray"),
            line("connector", "anaesthesia_connector", "conn-15", 1, true, "tray"),
            line("jet", "jet_adapter", "jet-l", 1, false, "tray"),
            line("port", "port_adapter", "port-2", 2, true, "tray"),
            line("cap one hole", "cap", "cap-1", 2, true, "tray"),
            line("cap blank", "cap", "cap-0", 2, true, "tray"),
            scope,
            line("forceps", "forceps", "grip-3", 1, true, "tray"),
            line("suction", "suction_tube", "suck-8", 1, false, "tray")
        ])
    };
    let sheet = |code: &str, name: &str, lines: Value| json!({"do": "define_count_sheet", "count_sheet": code, "name": name, "lines": lines});
    vec![
        sheet(
            "adult",
            "Adult bronchoscopy",
            rest(
                line("barrel", "bronchoscope", "barrel-8", 1, true, "tray"),
                line("telescope", "telescope", "scope-4", 1, true, "optics"),
            ),
        ),
        sheet(
            "child",
            "Child bronchoscopy",
            rest(
                line("barrel", "bronchoscope", "barrel-4", 1, true, "tray"),
                line("telescope", "telescope", "scope-2", 1, true, "optics"),
            ),
        ),
        sheet(
            "tracheal",
            "Tracheoscopy",
            rest(
                line("barrel", "tracheoscope", "trach-10", 1, true, "tray"),
                line("telescope", "telescope", "scope-4", 1, true, "optics"),
            ),
        ),
    ]
}

fn machines() -> Vec<Value> {
    let washer = json!([{"programme": "instruments-90", "method": "machine", "band_c": 90, "hold_s": 300, "a0_s": 3000}]);
    let steriliser = json!([{"programme": "porous-134", "method": "steam", "band_c": 134, "hold_s": 180,
                             "air_removal_test": true, "cooling_s": 1800}]);
    let machine = |code: &str, kind: &str, programmes: &Value| json!({"do": "define_machine", "machine": code, "kind": kind, "programmes": programmes});
    vec![
        machine("washer-1", "washer_disinfector", &washer),
        machine("washer-2", "washer_disinfector", &washer),
        machine("steriliser-1", "steriliser", &steriliser),
        machine("steriliser-2", "steriliser", &steriliser),
    ]
}

/// Which part sits on which line of a sheet: line, model, the front of its id, how many.
fn parts(sheet: &str) -> [(&'static str, &'static str, &'static str, u32); 10] {
    let (barrel, scope) = match sheet {
        "child" => ("barrel-4", "scope-2"),
        "tracheal" => ("trach-10", "scope-4"),
        _ => ("barrel-8", "scope-4"),
    };
    [
        ("barrel", barrel, "B", 1),
        ("head", "head-r", "H", 1),
        ("connector", "conn-15", "N", 1),
        ("jet", "jet-l", "J", 1),
        ("port", "port-2", "P", 2),
        ("cap one hole", "cap-1", "C", 2),
        ("cap blank", "cap-0", "E", 2),
        ("telescope", scope, "T", 1),
        ("forceps", "grip-3", "F", 1),
        ("suction", "suck-8", "S", 1),
    ]
}

pub fn write(writer: &mut Writer, at: Time) -> Result<(), DemoError> {
    let step = |step: &str| json!({"step": step});
    let metal =
        ["treated", "received", "cleaned", "ultrasonic", "dried", "disinfected", "inspected", "packed"];
    let mut metal: Vec<Value> = metal.into_iter().map(step).collect();
    metal.push(json!({"step": "sterilised", "method": "steam"}));
    let optics = ["treated", "received", "cleaned", "dried"];
    let mut optics: Vec<Value> = optics.into_iter().map(step).collect();
    optics.push(json!({"step": "disinfected", "method": "manual"}));
    optics.extend([step("inspected"), step("packed"), json!({"step": "sterilised", "method": "steam"})]);
    writer.give("admin", at, json!({"do": "define_route", "route": "metal", "steps": metal}))?;
    writer.give("admin", at, json!({"do": "define_route", "route": "optics", "steps": optics}))?;
    writer.give("admin", at, json!({"do": "set_policy", "two_people": true, "test_day_starts": "06:00"}))?;
    for command in models().into_iter().chain(machines()).chain(sheets()) {
        writer.give("admin", at, command)?;
    }
    write_sets(writer, at)
}

/// The sets with their parts, some spares, and the reserves.
fn write_sets(writer: &mut Writer, at: Time) -> Result<(), DemoError> {
    let mut number = 100;
    for (set, sheet, name) in SETS {
        writer.give(
            "lead",
            at,
            json!({"do": "build_set", "set": set, "count_sheet": sheet, "name": name}),
        )?;
        for (line, model, front, quantity) in parts(sheet) {
            for _ in 0..quantity {
                number += 1;
                let asset = format!("{front}-{number:04}");
                writer.give("lead", at, json!({"do": "add_asset", "asset": asset, "model": model}))?;
                writer.give(
                    "lead",
                    at,
                    json!({"do": "put_in_set", "set": set, "line": line, "asset": asset}),
                )?;
            }
        }
    }
    for spare in 1..=6 {
        writer.give(
            "lead",
            at,
            json!({"do": "add_asset", "asset": format!("C-09{spare:02}"), "model": "cap-1"}),
        )?;
    }
    writer.give("lead", at, json!({"do": "add_asset", "asset": "T-0900", "model": "scope-4"}))?;
    writer.give("lead", at, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}))?;
    writer.give("lead", at, json!({"do": "set_reserve", "count_sheet": "child", "minimum": 1}))
}
