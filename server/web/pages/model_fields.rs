//! The fields of a model's form, by what they are about; what was said of each stands beside it.

use serde_json::Value;

use super::catalogue::families;
use super::define::Option3;
use crate::domain::command::Malformed;
use crate::domain::state::State;
use crate::web::form::{Fields, pointed, text};

pub struct Input {
    pub name: &'static str,
    pub label: &'static str,
    pub value: String,
    pub mode: &'static str,
    /// The values to choose from; none where it is typed.
    pub choices: Vec<Option3>,
    pub required: bool,
    /// What stands against what is in it.
    pub said: Vec<String>,
}

pub struct Group {
    pub id: &'static str,
    pub title: &'static str,
    pub why: &'static str,
    pub inputs: Vec<Input>,
}

pub struct CouplingRow {
    pub end: String,
    pub system: String,
    pub ports: Vec<Option3>,
    pub bore: String,
    pub said: Vec<String>,
}

/// How a field is typed or chosen.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Typed {
    Words,
    Code,
    Decimal,
    Whole,
    Family,
    Route,
    /// Not named, allowed, forbidden.
    Allowed,
    YesNo,
}

type Spec = (&'static str, &'static str, Typed);

#[rustfmt::skip] // Tables read by their columns.
const WHAT: &[Spec] = &[
    ("model", "Model code", Typed::Code),
    ("name", "Name", Typed::Words),
    ("family", "Family", Typed::Family),
    ("route", "Route", Typed::Route),
    ("maker", "Maker", Typed::Words),
    ("gtin", "GTIN", Typed::Whole),
    ("single_use:bool", "For single use", Typed::YesNo),
    ("implant:bool", "Implant: its load needs a passed biological indicator", Typed::YesNo),
];

#[rustfmt::skip]
const SIZES: &[Spec] = &[
    ("dimensions.nominal", "Nominal label", Typed::Decimal),
    ("dimensions.inner_diameter_mm", "Inner diameter in mm", Typed::Decimal),
    ("dimensions.outer_diameter_mm", "Outer diameter in mm", Typed::Decimal),
    ("dimensions.length_mm", "Working length in mm", Typed::Decimal),
    ("dimensions.shaft_diameter_mm", "Shaft diameter in mm", Typed::Decimal),
    ("dimensions.max_width_mm", "Widest part in mm, jaws closed", Typed::Decimal),
    ("dimensions.french", "French", Typed::Decimal),
    ("dimensions.view_deg", "Direction of view in degrees", Typed::Decimal),
    ("dimensions.hole_diameters_mm:holes", "Holes of a cap in mm, a space between; of a blank cap \"none\"", Typed::Decimal),
    ("dimensions.stack_height_mm", "Height that it adds in mm", Typed::Decimal),
];

#[rustfmt::skip]
const ASSEMBLY: &[Spec] = &[
    ("assembly.order:int", "Place in the assembly; lower goes first", Typed::Whole),
    ("assembly.edition", "Edition of the instructions that say so", Typed::Words),
    ("assembly.note", "What to mind when it is put on", Typed::Words),
    ("assembly.photo", "The house's own picture of it, no patient in it: the code of 64 letters and digits (its SHA-256) under which it is kept", Typed::Words),
];

#[rustfmt::skip]
const PROCESSING: &[Spec] = &[
    ("processing.edition", "Edition of the processing instructions", Typed::Words),
    ("processing.steam.temp_c", "Steam: temperature in °C", Typed::Decimal),
    ("processing.steam.hold_s", "Steam: hold in s", Typed::Decimal),
    ("processing.steam.max_hold_s", "Steam: no longer than, in s", Typed::Decimal),
    ("processing.hydrogen_peroxide:bool", "Hydrogen peroxide", Typed::Allowed),
    ("processing.ethylene_oxide:bool", "Ethylene oxide", Typed::Allowed),
    ("processing.max_temp_c", "Bears at most, in °C", Typed::Decimal),
    ("processing.disinfection.contact_s", "Disinfection by hand: contact time in s, at least", Typed::Decimal),
    ("processing.disinfection.temp_c", "Disinfection by hand: temperature in °C, at least", Typed::Decimal),
    ("processing.immersible:bool", "Immersion", Typed::Allowed),
    ("processing.ultrasonic:bool", "Ultrasonic bath", Typed::Allowed),
    ("processing.immediate_use:bool", "Immediate use, straight from the steriliser", Typed::Allowed),
    ("processing.clean_within_minutes:int", "Cleaning begins within … minutes of its use", Typed::Whole),
    ("processing.delayed", "Where it begins later: what is done beside the usual", Typed::Words),
];

#[rustfmt::skip]
const LIMITS: &[Spec] = &[
    ("limits.max_cycles:int", "Cycles at most", Typed::Whole),
    ("limits.max_uses:int", "Uses at most", Typed::Whole),
    ("limits.inspect_every_cycles:int", "Inspect every … cycles", Typed::Whole),
    ("limits.inspect_every_days:int", "Inspect every … days", Typed::Whole),
    ("limits.shelf_life_days:int", "Shelf life in days", Typed::Whole),
];

type GroupSpec = (&'static str, &'static str, &'static str, &'static [Spec]);

const GROUPS: [GroupSpec; 5] = [
    ("what", "What it is", "", WHAT),
    (
        "sizes",
        "Sizes, as the maker states them",
        "Label, inner and outer diameter are three numbers; enter each from the instructions, and none from another. \
         French is outer diameter, a third of a millimetre each. A comma before the decimals will do.",
        SIZES,
    ),
    (
        "assembly",
        "Its place in the assembly",
        "Only where the maker's instructions say more than the couplings do.",
        ASSEMBLY,
    ),
    (
        "processing",
        "Processing",
        "From the maker's instructions. What is not named is not allowed.",
        PROCESSING,
    ),
    ("limits", "Limits", "From the maker's instructions; each may be absent.", LIMITS),
];

fn path(name: &str) -> &str {
    name.split(':').next().unwrap_or(name)
}

fn pointer(name: &str) -> String {
    format!("/{}", path(name).replace('.', "/"))
}

fn all() -> impl Iterator<Item = &'static Spec> {
    GROUPS.iter().flat_map(|(.., specs)| specs.iter())
}

/// A model as JSON, as the fields of its form.
pub fn fields_of(model: &Value) -> Fields {
    let written = |value: &Value| match value {
        Value::String(text) => Some(text.clone()),
        Value::Bool(_) | Value::Number(_) => Some(value.to_string()),
        Value::Array(items) if items.is_empty() => Some("none".into()),
        Value::Array(items) => Some(items.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(" ")),
        Value::Null | Value::Object(_) => None,
    };
    let mut fields: Fields = Vec::new();
    for (name, ..) in all() {
        fields.extend(model.pointer(&pointer(name)).and_then(written).map(|value| (name.to_string(), value)));
    }
    let couplings = model.get("couplings").and_then(Value::as_array);
    for (n, coupling) in couplings.into_iter().flatten().enumerate() {
        for field in ["end", "system", "port", "bore_mm"] {
            let value = coupling.get(field).and_then(written);
            fields.extend(value.map(|value| (format!("couplings.{n}.{field}"), value)));
        }
    }
    fields
}

/// Decimal commas are points in the fields that take numbers.
pub fn with_points(fields: Fields) -> Fields {
    let decimal = |name: &str| {
        all().any(|(known, _, typed)| *known == name && *typed == Typed::Decimal)
            || name.ends_with(".bore_mm")
    };
    fields
        .into_iter()
        .map(|(name, value)| if decimal(&name) { (name, pointed(&value)) } else { (name, value) })
        .collect()
}

fn chosen(all: &[(&str, &str)], value: &str) -> Vec<Option3> {
    all.iter().map(|(name, words)| (name.to_string(), words.to_string(), *name == value)).collect()
}

fn choices(typed: Typed, value: &str, state: &State) -> Vec<Option3> {
    match typed {
        Typed::Words | Typed::Code | Typed::Decimal | Typed::Whole => Vec::new(),
        Typed::YesNo => chosen(&[("", "No"), ("true", "Yes")], if value == "true" { value } else { "" }),
        Typed::Allowed => chosen(&[("", "Not named"), ("true", "Allowed"), ("false", "Forbidden")], value),
        Typed::Family => {
            let known = families();
            let named = known.iter().map(|(name, words)| (name.as_str(), words.as_str()));
            chosen(&std::iter::once(("", "Choose")).chain(named).collect::<Vec<_>>(), value)
        }
        Typed::Route => {
            let named = state.routes.keys().map(|route| (route.as_str(), route.as_str()));
            chosen(&std::iter::once(("", "Choose")).chain(named).collect::<Vec<_>>(), value)
        }
    }
}

fn said_of(said: &[Malformed], pointer: &str) -> Vec<String> {
    let within = |it: &&Malformed| {
        it.pointer.strip_prefix(pointer).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    said.iter().filter(within).map(|it| it.detail.clone()).collect()
}

/// The groups of fields, with their values and what was said of them.
pub fn groups(state: &State, fields: &Fields, said: &[Malformed]) -> Vec<Group> {
    let input = |(name, label, typed): &Spec| {
        let value = text(fields, name).to_string();
        Input {
            name,
            label,
            mode: match typed {
                Typed::Decimal => "decimal",
                Typed::Whole => "numeric",
                Typed::Words | Typed::Code | Typed::Family | Typed::Route | Typed::Allowed | Typed::YesNo => {
                    "text"
                }
            },
            choices: choices(*typed, &value, state),
            required: matches!(*name, "model" | "name" | "family" | "route"),
            said: said_of(said, &pointer(name)),
            value,
        }
    };
    let group = |(id, title, why, specs): &GroupSpec| Group {
        id,
        title,
        why,
        inputs: specs.iter().map(input).collect(),
    };
    GROUPS.iter().map(group).collect()
}

/// A row for each coupling, and some for more.
pub fn coupling_rows(fields: &Fields, said: &[Malformed]) -> Vec<CouplingRow> {
    const MORE: usize = 3;
    const LEAST: usize = 5;
    let number = |name: &str| name.strip_prefix("couplings.")?.split('.').next()?.parse::<usize>().ok();
    let known = fields.iter().filter(|(_, value)| !value.trim().is_empty());
    let known = known.filter_map(|(name, _)| number(name)).map(|n| n + 1).max().unwrap_or(0);
    // More rows than any part has ends would be somebody else's form.
    let rows = (known + MORE).clamp(LEAST, 40);
    let row = |n: usize| {
        let value = |field: &str| text(fields, &format!("couplings.{n}.{field}")).to_string();
        let ports = [("", "No opening"), ("proximal", "In line with the barrel"), ("side", "At the side")];
        CouplingRow {
            end: value("end"),
            system: value("system"),
            ports: chosen(&ports, &value("port")),
            bore: value("bore_mm"),
            said: said_of(said, &format!("/couplings/{n}")),
        }
    };
    (0..rows).map(row).collect()
}

/// What a place of the form is called on the page.
pub fn label(at: &str) -> String {
    let within = |name: &str| {
        at.strip_prefix(&pointer(name)).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    if let Some((n, field)) = at.strip_prefix("/couplings/").and_then(|rest| rest.split_once('/')) {
        let field = match field {
            "bore_mm" => "bore in mm",
            "port" => "opening",
            other => other,
        };
        return format!("End {}: {field}", n.parse::<usize>().map_or(0, |n| n + 1));
    }
    let known = all().find(|(name, ..)| within(name)).map(|(_, label, _)| label.to_string());
    known.unwrap_or_else(|| super::words::field(at))
}
