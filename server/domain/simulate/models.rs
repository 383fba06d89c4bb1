//! The models of the simulated hospital: their sizes, their ends and the systems that these name. All of it is invented;
//! no maker's ladder. What fits in it fits by geometry, and two things do not on purpose: the jaws of the optical
//! forceps do not pass the smallest adult barrel, though their shaft would; and of the wide tracheoscope nobody knows
//! whether the head goes on it.

use serde_json::{Value, json};

/// Model, family, name, route, sizes, ends, limits.
type ModelLine =
    (&'static str, &'static str, &'static str, &'static str, &'static str, &'static str, &'static str);

// Nominal, inner and outer diameter are three numbers; a wall of 0.35 mm.
const BARREL_9: &str =
    r#"{"nominal": "9", "inner_diameter_mm": "9.3", "outer_diameter_mm": "10", "length_mm": 400}"#;
const BARREL_8: &str =
    r#"{"nominal": "8", "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9", "length_mm": 400}"#;
const BARREL_7: &str =
    r#"{"nominal": "7", "inner_diameter_mm": "7.2", "outer_diameter_mm": "7.9", "length_mm": 400}"#;
const BARREL_5: &str =
    r#"{"nominal": "5", "inner_diameter_mm": "7", "outer_diameter_mm": "7.7", "length_mm": 260}"#;
const BARREL_4: &str =
    r#"{"nominal": "4", "inner_diameter_mm": "6.1", "outer_diameter_mm": "6.8", "length_mm": 260}"#;
const BARREL_35: &str =
    r#"{"nominal": "3.5", "inner_diameter_mm": "5.3", "outer_diameter_mm": "6", "length_mm": 260}"#;
const TRACH_12: &str =
    r#"{"nominal": "12", "inner_diameter_mm": "12.2", "outer_diameter_mm": "13", "length_mm": 290}"#;
const TRACH_10: &str =
    r#"{"nominal": "10", "inner_diameter_mm": "10.3", "outer_diameter_mm": "11", "length_mm": 290}"#;
// A telescope is as long as its barrel, head and cap, and a few millimetres more; the tracheoscope's is shorter.
const SCOPE_4: &str = r#"{"shaft_diameter_mm": "4", "max_width_mm": "4", "length_mm": 436, "view_deg": 0}"#;
const SCOPE_4S: &str = r#"{"shaft_diameter_mm": "4", "max_width_mm": "4", "length_mm": 326, "view_deg": 0}"#;
const SCOPE_2: &str =
    r#"{"shaft_diameter_mm": "2.8", "max_width_mm": "2.8", "length_mm": 296, "view_deg": 0}"#;
const GRIP_3: &str = r#"{"shaft_diameter_mm": "2.4", "max_width_mm": "3", "length_mm": 550}"#;
const GRIP_2: &str = r#"{"shaft_diameter_mm": "2", "max_width_mm": "2.4", "length_mm": 380}"#;
const GRIP_O: &str = r#"{"shaft_diameter_mm": "5.6", "max_width_mm": "7.4", "length_mm": 470}"#;
const SUCK_12: &str = r#"{"french": 12, "length_mm": 560}"#;
const SUCK_8: &str = r#"{"french": 8, "length_mm": 560}"#;
const SUCK_6: &str = r#"{"french": 6, "length_mm": 390}"#;
const HEAD: &str = r#"{"stack_height_mm": 28}"#;
const PORT: &str = r#"{"stack_height_mm": 12}"#;
// One hole seals on both telescopes; the second of two on both forceps.
const ONE_HOLE: &str = r#"{"hole_diameters_mm": ["2.5"], "stack_height_mm": 3}"#;
const TWO_HOLES: &str = r#"{"hole_diameters_mm": ["2.5", "1.9"], "stack_height_mm": 3}"#;
const BLANK: &str = r#"{"hole_diameters_mm": [], "stack_height_mm": 3}"#;
const NONE: &str = "{}";

const ON_BARREL: &str = r#"[{"end": "head", "system": "ring-a"}]"#;
const ON_WIDE_BARREL: &str = r#"[{"end": "head", "system": "ring-b"}]"#;
const ON_HEAD: &str = r#"[{"end": "barrel", "system": "ring-a"},
    {"end": "in line", "system": "seat-14", "port": "proximal", "bore_mm": "10"},
    {"end": "side 1", "system": "side-9", "port": "side", "bore_mm": "5"},
    {"end": "side 2", "system": "side-9", "port": "side", "bore_mm": "5"}]"#;
// Cones of 15 mm as ISO 5356-1 has them, which says nothing of the other ends.
const ON_CONNECTOR: &str =
    r#"[{"end": "head", "system": "side-9"}, {"end": "circuit", "system": "cone-15"}]"#;
const ON_JET: &str = r#"[{"end": "head", "system": "side-9"}, {"end": "hose", "system": "jet-hose"}]"#;
const ON_PORT: &str = r#"[{"end": "head", "system": "side-9"},
    {"end": "tube", "system": "tube-5", "port": "side", "bore_mm": "4.5"}]"#;
const IN_LINE: &str = r#"[{"end": "rim", "system": "seat-14"}]"#;
const AT_SIDE: &str = r#"[{"end": "rim", "system": "side-9"}]"#;
const ON_SCOPE: &str =
    r#"[{"end": "eyepiece", "system": "eye-32"}, {"end": "light post", "system": "light-4"}]"#;
// The long telescope goes into the optical forceps: an exact pair.
const ON_LONG_SCOPE: &str = r#"[{"end": "eyepiece", "system": "eye-32"}, {"end": "light post", "system": "light-4"},
    {"end": "sheath", "system": "optic-4"}]"#;
const FOR_SCOPE: &str =
    r#"[{"end": "telescope", "system": "optic-4", "port": "proximal", "bore_mm": "4.1"}]"#;
const ON_CAMERA: &str = r#"[{"end": "coupler", "system": "eye-32"}]"#;
const ON_CABLE: &str = r#"[{"end": "telescope", "system": "light-4"}]"#;
const NO_END: &str = "[]";

const OPTICS: &str = r#"{"inspect_every_days": 45, "shelf_life_days": 90}"#;
const HOLED: &str = r#"{"max_cycles": 40, "inspect_every_cycles": 10}"#;
const FORTY: &str = r#"{"max_cycles": 40}"#;
const METAL: &str = r#"{"shelf_life_days": 180}"#;

#[rustfmt::skip] // A table reads by its columns.
const MODELS: [ModelLine; 26] = [
    ("barrel-9", "bronchoscope", "Bronchoscope 9", "metal", BARREL_9, ON_BARREL, METAL),
    ("barrel-8", "bronchoscope", "Bronchoscope 8", "metal", BARREL_8, ON_BARREL, METAL),
    ("barrel-7", "bronchoscope", "Bronchoscope 7", "metal", BARREL_7, ON_BARREL, METAL),
    ("barrel-5", "bronchoscope", "Bronchoscope 5, child", "metal", BARREL_5, ON_BARREL, METAL),
    ("barrel-4", "bronchoscope", "Bronchoscope 4, child", "metal", BARREL_4, ON_BARREL, METAL),
    ("barrel-35", "bronchoscope", "Bronchoscope 3.5, child", "metal", BARREL_35, ON_BARREL, METAL),
    ("trach-12", "tracheoscope", "Tracheoscope 12", "metal", TRACH_12, ON_WIDE_BARREL, METAL),
    ("trach-10", "tracheoscope", "Tracheoscope 10", "metal", TRACH_10, ON_BARREL, METAL),
    ("head-r", "head", "Proximal head", "metal", HEAD, ON_HEAD, NONE),
    ("conn-15", "anaesthesia_connector", "Anaesthesia connector 15 mm", "metal", NONE, ON_CONNECTOR, NONE),
    ("jet-l", "jet_adapter", "Jet attachment, locking", "metal", NONE, ON_JET, NONE),
    ("port-2", "port_adapter", "Side-port adapter", "metal", PORT, ON_PORT, NONE),
    ("cap-1", "cap", "Cap, one hole", "metal", ONE_HOLE, IN_LINE, HOLED),
    ("cap-2", "cap", "Cap, two holes", "metal", TWO_HOLES, IN_LINE, HOLED),
    ("cap-0", "cap", "Cap, blank", "metal", BLANK, AT_SIDE, FORTY),
    ("scope-4", "telescope", "Telescope 0°, 4 mm", "optics", SCOPE_4, ON_LONG_SCOPE, OPTICS),
    ("scope-4s", "telescope", "Telescope 0°, 4 mm, short", "optics", SCOPE_4S, ON_SCOPE, OPTICS),
    ("scope-2", "telescope", "Telescope 0°, 2.8 mm", "optics", SCOPE_2, ON_SCOPE, OPTICS),
    ("grip-3", "forceps", "Forceps, alligator", "metal", GRIP_3, NO_END, NONE),
    ("grip-2", "forceps", "Forceps, alligator, fine", "metal", GRIP_2, NO_END, NONE),
    ("grip-o", "forceps", "Optical forceps", "metal", GRIP_O, FOR_SCOPE, NONE),
    ("suck-12", "suction_tube", "Suction tube 12 Fr", "metal", SUCK_12, NO_END, NONE),
    ("suck-8", "suction_tube", "Suction tube 8 Fr", "metal", SUCK_8, NO_END, NONE),
    ("suck-6", "suction_tube", "Suction tube 6 Fr", "metal", SUCK_6, NO_END, NONE),
    ("camera-h", "camera_head", "Camera head", "camera", NONE, ON_CAMERA, NONE),
    ("cable-3", "light_cable", "Light cable 3 m", "cable", NONE, ON_CABLE, METAL),
];

/// When a part goes on, where the invented instructions say more than the couplings: caps last, once all else sits.
fn assembly(family: &str) -> Option<Value> {
    let order = match family {
        "head" => 1,
        "anaesthesia_connector" | "jet_adapter" | "port_adapter" => 2,
        "cap" => 3,
        _ => return None,
    };
    Some(json!({"order": order, "edition": "local instruction 12, 2024"}))
}

fn define((model, family, name, route, dimensions, couplings, limits): &ModelLine) -> Value {
    let read = |text: &str| serde_json::from_str::<Value>(text).unwrap_or_default();
    let processing = match *route {
        "optics" => {
            json!({"edition": "local instruction 7, 2024", "hydrogen_peroxide": true, "ultrasonic": false})
        }
        "camera" => json!({"edition": "local instruction 9, 2023", "max_temp_c": 60, "ultrasonic": false}),
        _ => json!({"edition": "local instruction 3, 2024", "steam": {"temp_c": 134, "hold_s": 180}}),
    };
    let mut all = json!({"do": "define_model", "model": model, "family": family, "name": name, "route": route,
                         "dimensions": read(dimensions), "couplings": read(couplings), "limits": read(limits),
                         "processing": processing});
    if let (Some(fields), Some(assembly)) = (all.as_object_mut(), assembly(family)) {
        fields.insert("assembly".into(), assembly);
    }
    all
}

/// The commands that define them.
pub fn models() -> impl Iterator<Item = Value> {
    MODELS.iter().map(define)
}
