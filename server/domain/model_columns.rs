//! The columns of a pasted table of models: what people call them, in which unit, and what may stand in their cells.

use rust_decimal::Decimal;
use serde_json::{Value, json};

use super::model::Family;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Unit {
    None,
    Mm,
    French,
    Degrees,
    Celsius,
    Seconds,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    Words,
    Family,
    Number(Unit),
    Whole,
    Numbers,
    Couplings,
    YesNo,
}

pub(super) struct Column {
    /// Where it stands in a command.
    pub path: &'static str,
    pub kind: Kind,
    /// What it may be called, without its unit; the first is how the page calls it.
    pub names: &'static [&'static str],
}

const fn column(path: &'static str, kind: Kind, names: &'static [&'static str]) -> Column {
    Column { path, kind, names }
}

use Kind::{Couplings, Number, Numbers, Whole, Words, YesNo};

#[rustfmt::skip] // A table reads by its columns.
pub(super) const COLUMNS: &[Column] = &[
    column("/model", Words, &["model", "code", "model_code"]),
    column("/family", Kind::Family, &["family", "kind", "type"]),
    column("/name", Words, &["name", "description"]),
    column("/maker", Words, &["maker", "manufacturer"]),
    column("/gtin", Words, &["gtin"]),
    column("/route", Words, &["route"]),
    column("/dimensions/nominal", Number(Unit::None), &["nominal", "nominal_size", "label", "size"]),
    column("/dimensions/inner_diameter_mm", Number(Unit::Mm), &["inner_diameter", "inner", "internal_diameter", "inside_diameter"]),
    column("/dimensions/outer_diameter_mm", Number(Unit::Mm), &["outer_diameter", "outer", "od", "external_diameter", "outside_diameter"]),
    column("/dimensions/length_mm", Number(Unit::Mm), &["length", "working_length"]),
    column("/dimensions/shaft_diameter_mm", Number(Unit::Mm), &["shaft_diameter", "shaft"]),
    column("/dimensions/max_width_mm", Number(Unit::Mm), &["max_width", "widest", "widest_part", "closed_jaws"]),
    column("/dimensions/french", Number(Unit::French), &["french", "fr", "ch", "charriere"]),
    column("/dimensions/view_deg", Number(Unit::Degrees), &["view", "direction_of_view", "view_angle"]),
    column("/dimensions/hole_diameters_mm", Numbers, &["hole_diameters", "holes", "hole_diameter", "hole"]),
    column("/dimensions/stack_height_mm", Number(Unit::Mm), &["stack_height", "stack"]),
    column("/couplings", Couplings, &["couplings"]),
    column("/processing/edition", Words, &["edition", "processing_edition"]),
    column("/processing/steam/temp_c", Number(Unit::Celsius), &["steam_temp", "steam_temperature"]),
    column("/processing/steam/hold_s", Number(Unit::Seconds), &["steam_hold"]),
    column("/processing/max_temp_c", Number(Unit::Celsius), &["max_temp", "max_temperature"]),
    column("/processing/hydrogen_peroxide", YesNo, &["hydrogen_peroxide"]),
    column("/processing/ethylene_oxide", YesNo, &["ethylene_oxide"]),
    column("/processing/immersible", YesNo, &["immersible"]),
    column("/processing/ultrasonic", YesNo, &["ultrasonic"]),
    column("/processing/immediate_use", YesNo, &["immediate_use"]),
    column("/processing/clean_within_minutes", Whole, &["clean_within_minutes", "clean_within"]),
    column("/processing/delayed", Words, &["delayed", "delayed_cleaning"]),
    column("/limits/max_cycles", Whole, &["max_cycles"]),
    column("/limits/max_uses", Whole, &["max_uses"]),
    column("/limits/inspect_every_cycles", Whole, &["inspect_every_cycles"]),
    column("/limits/inspect_every_days", Whole, &["inspect_every_days"]),
    column("/limits/shelf_life_days", Whole, &["shelf_life_days"]),
    column("/single_use", YesNo, &["single_use"]),
    column("/implant", YesNo, &["implant"]),
    column("/assembly/order", Whole, &["assembly_order", "order"]),
    column("/assembly/edition", Words, &["assembly_edition"]),
    column("/assembly/note", Words, &["assembly_note"]),
    column("/assembly/photo", Words, &["assembly_photo"]),
];

/// A column of this table: which it is, and by how much its numbers are to be taken.
#[derive(Clone, Copy)]
pub(super) struct Heading {
    pub column: &'static Column,
    pub factor: Decimal,
}

/// What will not do in a heading or a cell: found, needed.
pub(super) type Wrong = (String, String);

/// How often a unit goes into the column's own; nothing where it is no unit of it.
fn factor(unit: &str, of: Unit) -> Option<Decimal> {
    let times = |number: i64| Some(Decimal::from(number));
    match (unit, of) {
        ("", _) | ("mm", Unit::Mm | Unit::None) => times(1),
        ("cm", Unit::Mm) => times(10),
        ("fr" | "ch" | "f", Unit::French) => times(1),
        ("deg" | "degrees" | "°", Unit::Degrees) => times(1),
        ("c" | "°c", Unit::Celsius) | ("s" | "sec", Unit::Seconds) => times(1),
        ("min", Unit::Seconds) => times(60),
        _ => None,
    }
}

fn unit_of(kind: Kind) -> Unit {
    match kind {
        Number(unit) => unit,
        Numbers => Unit::Mm,
        Words | Kind::Family | Whole | Couplings | YesNo => Unit::None,
    }
}

/// The letters and digits of a heading, small, with strokes between its words.
fn plain(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let words = lower
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !matches!(*word, "" | "ø" | "in"));
    words.map(String::from).collect()
}

fn named(name: &str) -> Option<&'static Column> {
    COLUMNS.iter().find(|column| column.names.contains(&name))
}

/// Reads a heading. "ID" alone may be an inner diameter or a name, and "diameter" any of three: neither is guessed at.
pub(super) fn heading(text: &str) -> Result<Heading, Wrong> {
    let words = plain(text);
    let found = || format!("the column \"{text}\"");
    let one = Decimal::ONE;
    match words.join("_").as_str() {
        "" => return Err(("a column without a name".into(), "a name in the header is needed".into())),
        "id" => {
            let needed = "inner_diameter_mm for the inner diameter, or model for the code, is needed";
            return Err((found(), needed.into()));
        }
        "id_mm" => return column_named("inner_diameter", "mm", &found()),
        "id_cm" => return column_named("inner_diameter", "cm", &found()),
        "diameter" | "diameter_mm" => {
            let needed = "inner_diameter_mm, outer_diameter_mm or shaft_diameter_mm is needed";
            return Err((found(), needed.into()));
        }
        whole => {
            if let Some(column) = named(whole) {
                return Ok(Heading { column, factor: one });
            }
        }
    }
    match words.split_last() {
        Some((unit, rest)) if !rest.is_empty() => column_named(&rest.join("_"), unit, &found()),
        _ => Err((found(), all_names())),
    }
}

fn column_named(name: &str, unit: &str, found: &str) -> Result<Heading, Wrong> {
    let Some(column) = named(name) else { return Err((found.into(), all_names())) };
    match factor(unit, unit_of(column.kind)) {
        Some(factor) => Ok(Heading { column, factor }),
        None => Err((found.into(), format!("the unit {} is needed", unit_name(column.kind)))),
    }
}

fn unit_name(kind: Kind) -> &'static str {
    match unit_of(kind) {
        Unit::None => "left out",
        Unit::Mm => "mm or cm",
        Unit::French => "Fr",
        Unit::Degrees => "degrees",
        Unit::Celsius => "°C",
        Unit::Seconds => "s or min",
    }
}

fn all_names() -> String {
    let names: Vec<&str> = COLUMNS.iter().filter_map(|column| column.names.first().copied()).collect();
    format!("one of {} is needed", names.join(", "))
}

/// What stands in a cell for nothing.
fn is_nothing(cell: &str) -> bool {
    matches!(cell.trim().to_lowercase().as_str(), "" | "-" | "--" | "–" | "—" | "n/a" | "none")
}

/// Reads a cell as it stands in a command; nothing where it is empty.
pub(super) fn cell(heading: Heading, text: &str) -> Result<Option<Value>, Wrong> {
    let text = text.trim();
    // Of a blank cap it is said that it has no hole, which is not the same as nothing said.
    if heading.column.kind == Numbers && matches!(text.to_lowercase().as_str(), "blank" | "none") {
        return Ok(Some(json!([])));
    }
    // A name may be any word; a number may be left out in several ways.
    if text.is_empty() || (heading.column.kind != Words && is_nothing(text)) {
        return Ok(None);
    }
    let found = || format!("\"{text}\"");
    let value = match heading.column.kind {
        Words => Value::from(text),
        Kind::Family => {
            let name = plain(text).join("_");
            let known = |name: &str| serde_json::from_value::<Family>(json!(name)).ok();
            let family = known(&name).or_else(|| known(name.trim_end_matches('s')));
            json!(family.ok_or_else(|| (
                found(),
                "a family such as bronchoscope, telescope or cap is needed".into()
            ))?)
        }
        Number(unit) => json!(number(text, unit, heading.factor)?.to_string()),
        Whole => match text.parse::<u32>() {
            Ok(number) => json!(number),
            Err(_) => return Err((found(), "a whole number is needed".into())),
        },
        Numbers => {
            let each =
                text.split(|letter: char| letter.is_whitespace() || matches!(letter, '/' | '|' | '+' | ';'));
            let each = each.filter(|it| !it.is_empty() && *it != "mm");
            let each = each.map(|it| number(it, Unit::Mm, heading.factor).map(|it| it.to_string()));
            json!(each.collect::<Result<Vec<_>, Wrong>>()?)
        }
        Couplings => couplings(text)?,
        YesNo => match text.to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" | "x" => json!(true),
            "no" | "n" | "false" | "0" => json!(false),
            _ => return Err((found(), "yes or no is needed".into())),
        },
    };
    Ok(Some(value))
}

/// A number with a point or a comma before its decimals, and a unit behind it where one stands there.
fn number(text: &str, unit: Unit, usual: Decimal) -> Result<Decimal, Wrong> {
    let end = text.find(|letter: char| !(letter.is_ascii_digit() || matches!(letter, '.' | ',' | '-' | '+')));
    let (digits, said) = text.split_at(end.unwrap_or(text.len()));
    let wrong = |needed: &str| (format!("\"{text}\""), needed.to_string());
    let said = said.trim().to_lowercase();
    let factor = match said.as_str() {
        "" => usual,
        other => {
            let needed = format!("a number in {} is needed", unit_name(Number(unit)));
            factor(other, unit).ok_or_else(|| wrong(&needed))?
        }
    };
    if digits.matches(['.', ',']).count() > 1 {
        return Err(wrong("a number with one point or comma, before its decimals, is needed"));
    }
    let plain = digits.replace(',', ".");
    let digits_in = |part: &str| part.bytes().filter(u8::is_ascii_digit).count();
    let (whole, decimals) = plain.split_once('.').unwrap_or((&plain, "0"));
    let readable = digits_in(whole) > 0 && digits_in(decimals) > 0 && digits_in(&plain) <= 12;
    let read = plain.parse::<Decimal>().ok().filter(|_| readable);
    let read = read.ok_or_else(|| wrong("a number such as 5.5 or 5,5 is needed"))?;
    Ok((read * factor).normalize())
}

/// Couplings stand as `end/system/port/bore`, the last two where they are known, with strokes between couplings:
/// `barrel/ring-a | side 1/cone-15/side/12`.
fn couplings(text: &str) -> Result<Value, Wrong> {
    let mut all = Vec::new();
    for one in text.split('|') {
        let parts: Vec<&str> = one.split('/').map(str::trim).collect();
        let wrong = |needed: &str| (format!("\"{}\"", one.trim()), needed.to_string());
        let (end, system, rest) = match parts.as_slice() {
            [end, system, rest @ ..] if !end.is_empty() && !system.is_empty() && rest.len() <= 2 => {
                (end, system, rest)
            }
            _ => {
                return Err(wrong(
                    "end/system, or end/system/port/bore, is needed; | stands between couplings",
                ));
            }
        };
        let mut coupling = json!({"end": end, "system": system});
        match rest.first().map(|port| port.to_lowercase()).as_deref() {
            None | Some("") => {}
            Some(port @ ("proximal" | "side")) => coupling["port"] = json!(port),
            Some(_) => return Err(wrong("the port proximal or side is needed, or none")),
        }
        if let Some(bore) = rest.get(1).filter(|bore| !bore.is_empty()) {
            coupling["bore_mm"] = json!(number(bore, Unit::Mm, Decimal::ONE)?.to_string());
        }
        all.push(coupling);
    }
    Ok(Value::Array(all))
}

/// The unit of a column, as words behind its name.
pub(super) fn unit_words(place: usize) -> &'static str {
    match COLUMNS.get(place).map_or(Unit::None, |column| unit_of(column.kind)) {
        Unit::None | Unit::French => "",
        Unit::Mm => " in mm",
        Unit::Degrees => " in degrees",
        Unit::Celsius => " in °C",
        Unit::Seconds => " in s",
    }
}

/// The columns with their names, for the page: the first name, and the unit where it has one.
pub fn headings() -> Vec<String> {
    let unit = |column: &Column| match unit_of(column.kind) {
        Unit::None => "",
        Unit::Mm => "_mm",
        Unit::French => "",
        Unit::Degrees => "_deg",
        Unit::Celsius => "_c",
        Unit::Seconds => "_s",
    };
    COLUMNS.iter().filter_map(|it| it.names.first().map(|name| format!("{name}{}", unit(it)))).collect()
}
