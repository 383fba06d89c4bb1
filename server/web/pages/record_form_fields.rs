//! The fields of a record form as they stand on its page: what was typed stands there again, whether it can be meant or not.

use serde_json::Value;

/// An option of a choice: its value, its words, and whether it is chosen.
pub type Option3 = (String, String, bool);

pub struct ColumnRow {
    pub column: String,
    pub is: Vec<Option3>,
    pub name: String,
    pub unit: Vec<Option3>,
}

pub struct MarkRow {
    pub line: String,
    pub is: Vec<Option3>,
}

pub struct Fields {
    pub separator: Vec<Option3>,
    pub decimal: Vec<Option3>,
    pub encoding: Vec<Option3>,
    pub time: Vec<Option3>,
    pub skip_lines: String,
    pub skip_rows: String,
    pub pattern: String,
    pub zone: String,
    pub ambient_kpa: String,
    pub called: String,
    pub columns: Vec<ColumnRow>,
    pub marks: Vec<MarkRow>,
}

/// Rows that stand empty below the others, and so many in all at the least: most machines write as many columns.
const EMPTY_COLUMNS: usize = 2;
const LEAST_COLUMNS: usize = 8;
const MARKS: usize = 2;

const SEPARATORS: &[(&str, &str)] =
    &[(",", "comma ,"), (";", "semicolon ;"), ("tab", "tab"), ("|", "bar |"), (":", "colon :")];
const DECIMALS: &[(&str, &str)] = &[(".", "point, 134.5"), (",", "comma, 134,5")];
const ENCODINGS: &[(&str, &str)] = &[
    ("utf-8", "UTF-8"),
    ("windows-1252", "Windows-1252 (Western Europe)"),
    ("utf-16le", "UTF-16, low byte first"),
    ("utf-16be", "UTF-16, high byte first"),
];
const TIMES: &[(&str, &str)] = &[
    ("seconds", "seconds from the start"),
    ("minutes", "minutes from the start"),
    ("clock", "time of day, 23:57:09"),
    ("pattern", "day and time, by a pattern"),
    ("rfc3339", "day and time with offset (RFC 3339)"),
];
const COLUMNS: &[(&str, &str)] = &[
    ("", "passed over"),
    ("time", "time"),
    ("date", "day of the time"),
    ("temperature", "temperature"),
    ("pressure", "pressure"),
    ("cycle_no", "cycle number"),
    ("machine", "machine"),
];
const MARKED: &[(&str, &str)] = &[("", "nothing"), ("cycle_no", "cycle number"), ("machine", "machine")];
const UNITS: &[(&str, &str)] = &[
    ("", "none"),
    ("°C", "°C"),
    ("°F", "°F"),
    ("kpa abs", "kPa, absolute"),
    ("kpa gauge", "kPa, gauge"),
    ("mbar abs", "mbar, absolute"),
    ("mbar gauge", "mbar, gauge"),
    ("bar abs", "bar, absolute"),
    ("bar gauge", "bar, gauge"),
    ("psi abs", "psi, absolute"),
    ("psi gauge", "psi, gauge"),
];

/// The choices, and what was chosen beside them where it is none of them.
fn choices(all: &[(&str, &str)], chosen: &str) -> Vec<Option3> {
    let mut found: Vec<Option3> =
        all.iter().map(|(value, words)| (value.to_string(), words.to_string(), *value == chosen)).collect();
    if !chosen.is_empty() && !found.iter().any(|(_, _, is)| *is) {
        found.push((chosen.into(), chosen.into(), true));
    }
    found
}

fn text(of: &Value, name: &str) -> String {
    match of.get(name) {
        Some(Value::String(text)) => text.clone(),
        None | Some(Value::Null) => String::new(),
        Some(other) => other.to_string(),
    }
}

impl Fields {
    /// The fields of a form as JSON, with the columns of a sample's header that it does not name.
    pub fn of(form: &Value, header: &[String]) -> Fields {
        let rows = |name: &str| form.get(name).and_then(Value::as_array).cloned().unwrap_or_default();
        let columns = rows("columns");
        let named: Vec<String> = columns.iter().map(|column| text(column, "column")).collect();
        let found = header.iter().filter(|name| !name.is_empty() && !named.contains(name));
        let found = found.map(|name| serde_json::json!({"column": name}));
        let filled: Vec<Value> = columns.iter().cloned().chain(found).collect();
        let empty = LEAST_COLUMNS.saturating_sub(filled.len()).max(EMPTY_COLUMNS);
        let empty = std::iter::repeat_n(Value::Null, empty);
        let marks = rows("marks");
        let missing = MARKS.saturating_sub(marks.len());
        Fields {
            separator: choices(SEPARATORS, &text(form, "separator")),
            decimal: choices(DECIMALS, &text(form, "decimal")),
            encoding: choices(ENCODINGS, &text(form, "encoding")),
            time: choices(TIMES, &text(form, "time")),
            skip_lines: text(form, "skip_lines"),
            skip_rows: text(form, "skip_rows"),
            pattern: text(form, "pattern"),
            zone: text(form, "zone"),
            ambient_kpa: text(form, "ambient_kpa"),
            called: text(form, "called"),
            columns: filled.into_iter().chain(empty).map(|it| column(&it)).collect(),
            marks: marks
                .into_iter()
                .chain(std::iter::repeat_n(Value::Null, missing))
                .map(|it| mark(&it))
                .collect(),
        }
    }
}

fn column(of: &Value) -> ColumnRow {
    let unit = format!("{} {}", text(of, "unit"), text(of, "reference"));
    ColumnRow {
        column: text(of, "column"),
        is: choices(COLUMNS, &text(of, "is")),
        name: text(of, "name"),
        unit: choices(UNITS, unit.trim()),
    }
}

fn mark(of: &Value) -> MarkRow {
    MarkRow { line: text(of, "line"), is: choices(MARKED, &text(of, "is")) }
}

/// The form that the page's fields ask for: a unit and its reference stand in one choice there, and a column or a line
/// that is nothing is left out.
pub fn asked(mut form: Value) -> Value {
    for name in ["columns", "marks"] {
        if let Some(rows) = form.get_mut(name).and_then(Value::as_array_mut) {
            rows.retain(|row| row.get("is").is_some());
        }
    }
    for name in ["skip_lines", "skip_rows"] {
        // What is no number stays as it was typed, and is told as such.
        let number = form.get(name).and_then(Value::as_str).and_then(|text| text.parse::<u32>().ok());
        if let Some(number) = number {
            form[name] = number.into();
        }
    }
    let columns = form.get_mut("columns").and_then(Value::as_array_mut);
    for column in columns.into_iter().flatten() {
        let unit = text(column, "unit");
        if let Some((unit, reference)) = unit.split_once(' ') {
            column["unit"] = unit.into();
            column["reference"] = reference.into();
        }
    }
    form
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_form_goes_through_its_page_unchanged() {
        let form = json!({"columns": [{"column": "Zeit", "is": "time"},
            {"column": "P", "is": "pressure", "unit": "mbar", "reference": "gauge"}], "time": "clock"});
        let fields = Fields::of(&form, &["Zeit".into(), "Tür".into(), String::new()]);
        let names: Vec<&str> = fields.columns.iter().map(|row| row.column.as_str()).collect();
        assert_eq!(names, ["Zeit", "P", "Tür", "", "", "", "", ""]);
        let chosen = |all: &[Option3]| all.iter().find(|it| it.2).map(|it| it.0.clone()).unwrap_or_default();
        let rows = fields.columns.iter().map(|row| {
            let mut sent = json!({"column": row.column});
            for (name, value) in [("is", chosen(&row.is)), ("unit", chosen(&row.unit))] {
                if !value.is_empty() {
                    sent[name] = value.into();
                }
            }
            sent
        });
        let sent = json!({"columns": rows.collect::<Vec<_>>(), "time": chosen(&fields.time)});
        assert_eq!(asked(sent), form);
    }
}
