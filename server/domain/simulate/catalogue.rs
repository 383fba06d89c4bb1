//! What the simulated hospital owns: routes, models with their true laws of life, count sheets, machines, sets.
//! Sizes are invented; no maker's ladder.

use serde_json::{Value, json};

use super::chance::Chance;
use super::models::models;
use crate::domain::inspection_starter::offered;
use crate::domain::person::Role;
use crate::domain::starter::published;

/// What a model really is, which nobody in the hospital knows: how long it lasts, and what ends it.
pub struct Law {
    pub model: &'static str,
    /// The front of its parts' ids.
    pub front: &'static str,
    /// Weibull's shape and scale of the life in steriliser cycles; a model without a law does not wear out.
    pub life: Option<(f64, f64)>,
    /// Small soft parts carry no mark: they are known by their position in a set.
    pub marked: bool,
    /// Whether a defect is mended rather than the part replaced.
    pub repairable: bool,
}

const fn law(
    model: &'static str,
    front: &'static str,
    life: Option<(f64, f64)>,
    marked: bool,
    repairable: bool,
) -> Law {
    Law { model, front, life, marked, repairable }
}

/// Caps wear out by ageing (shape above 1), fibres and joints more slowly, suction tubes break at random (shape 1).
pub const LAWS: [Law; 26] = [
    law("barrel-9", "B", None, true, false),
    law("barrel-8", "B", None, true, false),
    law("barrel-7", "B", None, true, false),
    law("barrel-5", "B", None, true, false),
    law("barrel-4", "B", None, true, false),
    law("barrel-35", "B", None, true, false),
    law("trach-12", "B", None, true, false),
    law("trach-10", "B", None, true, false),
    law("head-r", "H", None, true, true),
    law("conn-15", "N", None, true, false),
    law("jet-l", "J", None, true, true),
    law("port-2", "P", None, true, false),
    law("cap-1", "C", Some((2.5, 26.0)), false, false),
    law("cap-2", "D", Some((2.5, 24.0)), false, false),
    law("cap-0", "E", Some((2.0, 34.0)), false, false),
    law("scope-4", "T", Some((1.8, 160.0)), true, true),
    law("scope-4s", "T", Some((1.8, 160.0)), true, true),
    law("scope-2", "T", Some((1.8, 110.0)), true, true),
    law("grip-3", "F", Some((1.5, 90.0)), true, true),
    law("grip-2", "F", Some((1.5, 80.0)), true, true),
    law("grip-o", "F", Some((1.5, 100.0)), true, true),
    law("suck-12", "S", Some((1.0, 120.0)), true, false),
    law("suck-8", "S", Some((1.0, 120.0)), true, false),
    law("suck-6", "S", Some((1.0, 100.0)), true, false),
    law("camera-h", "K", None, true, true),
    law("cable-3", "L", Some((2.2, 140.0)), true, true),
];

pub fn law_of(model: &str) -> Option<&'static Law> {
    LAWS.iter().find(|law| law.model == model)
}

/// How many steriliser cycles this very part bears, by the law of its model. Its name alone decides, so that the life
/// is the same whenever it is asked for.
pub fn life(seed: u64, asset: &str, model: &str) -> Option<f64> {
    let (shape, scale) = law_of(model)?.life?;
    Some(Chance::of(seed, asset).weibull(shape, scale))
}

/// One line of a count sheet: name, model, quantity, essential, pack.
pub type SheetLine = (&'static str, &'static str, u32, bool, &'static str);

/// What every set has beside its barrels, its optics and what goes beside them.
const REST: [SheetLine; 7] = [
    ("head", "head-r", 1, true, "tray"),
    ("connector", "conn-15", 1, true, "tray"),
    ("jet", "jet-l", 1, false, "tray"),
    ("port", "port-2", 2, true, "tray"),
    ("cap one hole", "cap-1", 2, true, "tray"),
    ("cap two holes", "cap-2", 1, false, "tray"),
    ("cap blank", "cap-0", 2, true, "tray"),
];

const ADULT: [SheetLine; 7] = [
    ("barrel", "barrel-8", 1, true, "tray"),
    ("smaller barrel", "barrel-7", 1, false, "tray"),
    ("larger barrel", "barrel-9", 1, false, "tray"),
    ("telescope", "scope-4", 1, true, "optics"),
    ("forceps", "grip-3", 1, true, "tray"),
    ("optical forceps", "grip-o", 1, false, "tray"),
    ("suction", "suck-8", 1, false, "tray"),
];

const CHILD: [SheetLine; 6] = [
    ("barrel", "barrel-4", 1, true, "tray"),
    ("smaller barrel", "barrel-35", 1, false, "tray"),
    ("larger barrel", "barrel-5", 1, false, "tray"),
    ("telescope", "scope-2", 1, true, "optics"),
    ("forceps", "grip-2", 1, true, "tray"),
    ("suction", "suck-6", 1, false, "tray"),
];

const TRACHEAL: [SheetLine; 5] = [
    ("barrel", "trach-10", 1, true, "tray"),
    ("larger barrel", "trach-12", 1, false, "tray"),
    ("telescope", "scope-4s", 1, true, "optics"),
    ("forceps", "grip-3", 1, true, "tray"),
    ("suction", "suck-8", 1, false, "tray"),
];

const CAMERA: [SheetLine; 2] =
    [("camera head", "camera-h", 1, true, "camera"), ("light cable", "cable-3", 1, true, "cable")];

/// The count sheets: code, name, the front of its sets' codes, lines.
pub fn sheets() -> Vec<(&'static str, &'static str, &'static str, Vec<SheetLine>)> {
    let with_rest = |own: &[SheetLine]| own.iter().chain(&REST).copied().collect();
    vec![
        ("adult", "Adult bronchoscopy", "SET-A", with_rest(&ADULT)),
        ("child", "Child bronchoscopy", "SET-C", with_rest(&CHILD)),
        ("tracheal", "Tracheoscopy", "SET-T", with_rest(&TRACHEAL)),
        ("camera", "Camera and light", "CAM", CAMERA.to_vec()),
    ]
}

/// The labels of barrels that cases of a sheet wish for, the usual one more often than the others.
pub fn barrels(sheet: &str) -> &'static [&'static str] {
    match sheet {
        "adult" => &["8", "8", "8", "7", "9"],
        "child" => &["4", "4", "3.5", "5"],
        "tracheal" => &["10", "10", "10", "12"],
        _ => &[],
    }
}

/// The main sheets in the order in which sets are built to them.
pub const MAIN: [&str; 5] = ["adult", "child", "adult", "tracheal", "child"];

fn routes() -> Vec<Value> {
    let route = |name: &str, steps: &[(&str, Option<&str>)]| {
        let steps = steps.iter().map(|(step, method)| match method {
            Some(method) => json!({"step": step, "method": method}),
            None => json!({"step": step}),
        });
        json!({"do": "define_route", "route": name, "steps": steps.collect::<Vec<_>>()})
    };
    let back = [("treated", None), ("received", None), ("cleaned", None)];
    let bath = [("ultrasonic", None), ("dried", None), ("disinfected", None)];
    let by_hand = [("dried", None), ("disinfected", Some("manual"))];
    let pack = [("inspected", None), ("packed", None)];
    let all = |parts: &[&[(&'static str, Option<&'static str>)]]| parts.concat();
    vec![
        route("metal", &all(&[&back, &bath, &pack, &[("sterilised", Some("steam"))]])),
        route("optics", &all(&[&back, &by_hand, &pack, &[("sterilised", Some("hydrogen_peroxide"))]])),
        route("cable", &all(&[&back, &by_hand, &pack, &[("sterilised", Some("steam"))]])),
        // A camera head is covered at the table: disinfected, not sterile.
        route("camera", &all(&[&back, &[("disinfected", Some("manual")), ("inspected", None)]])),
    ]
}

pub const WASH: &str = "instruments-90";
pub const STEAM: &str = "porous-134";
pub const PEROXIDE: &str = "peroxide-50";

/// Machines for so many sets: never fewer than two washers and two steam sterilisers, and one for optics.
fn machines(sets: u32) -> Vec<Value> {
    let pairs = (sets / 6).max(2);
    let validated = "Validation of this machine, report 2025-03";
    let source = |name: &str| published(name).map(|it| it.source_words()).unwrap_or_default();
    let washer = json!([{"programme": WASH, "method": "machine", "band_c": 90, "hold_s": 300, "a0_s": 3000,
                         "sources": {"band_c": validated, "hold_s": validated, "a0_s": source("wash-a0-3000-90")}}]);
    let steam = json!([{"programme": STEAM, "method": "steam", "band_c": 134, "hold_s": 180,
                        "air_removal_test": true, "cooling_s": 1800, "biological": "periodic",
                        "sources": {"band_c": source("steam-134-3"), "hold_s": source("steam-134-3"),
                                    "cooling_s": validated, "biological": "Local policy 12, 2025"}}]);
    let cold = json!([{"programme": PEROXIDE, "method": "hydrogen_peroxide", "cooling_s": 300,
                       "sources": {"cooling_s": validated}}]);
    let machine = |code: String, kind: &str, programmes: &Value| json!({"do": "define_machine", "machine": code, "kind": kind, "programmes": programmes});
    let mut all = Vec::new();
    for n in 1..=pairs {
        all.push(machine(format!("washer-{n}"), "washer_disinfector", &washer));
        all.push(machine(format!("steriliser-{n}"), "steriliser", &steam));
    }
    for n in 1..=(pairs / 2).max(1) {
        all.push(machine(format!("peroxide-{n}"), "steriliser", &cold));
    }
    all
}

/// What the house reckons a part of each model that wears out to cost: invented, in cents.
fn costs() -> impl Iterator<Item = Value> {
    let wearing = LAWS.iter().filter(|law| law.life.is_some());
    wearing.map(|law| {
        let (planned, unplanned) = match law.front {
            "C" | "D" | "E" => (2_400, 21_000),
            "T" => (420_000, 780_000),
            "F" => (95_000, 150_000),
            "L" => (48_000, 90_000),
            _ => (6_000, 25_000),
        };
        json!({"do": "set_model_costs", "model": law.model, "planned_cents": planned, "unplanned_cents": unplanned,
               "lead_days": 14, "stock_target": 1})
    })
}

/// Everything that stands before the first part: who gives it, and what.
pub fn founding(sets: u32) -> Vec<(Role, Value)> {
    let mut all: Vec<(Role, Value)> = vec![];
    let policy = json!({"do": "set_policy", "two_people": true, "test_day_starts": "06:00", "turnaround_minutes": 300,
                        "leak_rate_every_days": 7, "inspection_checks": offered(), "theatre_minute_cents": 1_800,
                        "delay_minutes": 10});
    let sheet = |(code, name, _, lines): (&str, &str, &str, Vec<SheetLine>)| {
        let lines = lines.iter().map(|(line, model, quantity, essential, pack)| {
            json!({"line": line, "models": [model], "quantity": quantity, "essential": essential, "pack": pack})
        });
        json!({"do": "define_count_sheet", "count_sheet": code, "name": name, "lines": lines.collect::<Vec<_>>()})
    };
    // What no catalogue says, somebody tried: the jet attachment on the side-port adapter.
    let tried = json!({"do": "confirm_fit", "models": ["port-2", "jet-l"], "ends": ["tube", "head"], "fits": true,
                       "how": "Put together at the bench with three of each; the lock holds."});
    let admin = routes()
        .into_iter()
        .chain(std::iter::once(policy))
        .chain(models())
        .chain(machines(sets))
        .chain(sheets().into_iter().map(sheet));
    all.extend(admin.map(|command| (Role::Admin, command)));
    all.push((Role::Biomed, tried));
    all.extend(super::visits::models());
    all.extend(costs().map(|command| (Role::Biomed, command)));
    let mut serial = 0;
    let mut numbers = [0_u32; 4];
    let cameras = sets / 2 + 2;
    let main = MAIN.iter().cycle().take(sets as usize).copied();
    for sheet in main.chain(std::iter::repeat_n("camera", cameras as usize)) {
        let known = sheets().into_iter().zip(&mut numbers).find(|((code, ..), _)| *code == sheet);
        let Some(((code, name, front, lines), number)) = known else { continue };
        *number += 1;
        let (set, name) = (format!("{front}{number}"), format!("{name} {number}"));
        all.push((Role::Lead, json!({"do": "build_set", "set": set, "count_sheet": code, "name": name})));
        for (line, model, quantity, ..) in lines {
            for _ in 0..quantity {
                serial += 1;
                let (asset, add) = new_part(model, serial);
                all.push((Role::Lead, add));
                all.push((Role::Lead, json!({"do": "put_in_set", "set": set, "line": line, "asset": asset})));
            }
        }
    }
    let spares = [
        "cap-1", "cap-0", "scope-4", "scope-2", "scope-4s", "grip-3", "grip-2", "suck-8", "suck-12",
        "cable-3", "camera-h",
    ];
    for model in spares {
        for _ in 0..=(sets / 20) {
            serial += 1;
            all.push((Role::Lead, new_part(model, serial).1));
        }
    }
    for sheet in ["adult", "child"] {
        all.push((Role::Lead, json!({"do": "set_reserve", "count_sheet": sheet, "minimum": 1 + sets / 40})));
    }
    all
}

fn new_part(model: &str, serial: u32) -> (String, Value) {
    let front = law_of(model).map_or("X", |law| law.front);
    let asset = format!("{front}-{serial:04}");
    let mut add = json!({"do": "add_asset", "asset": asset, "model": model});
    if let (Some(fields), Some(true)) = (add.as_object_mut(), law_of(model).map(|law| law.marked)) {
        fields.insert("mark".into(), json!(format!("AW{serial:06}{front}")));
    }
    (asset, add)
}
