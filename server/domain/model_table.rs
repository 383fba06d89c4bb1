//! A pasted table of models, looked at line by line before anything of it is recorded. A model that is there already is
//! taken as it stands, and only what the table says of it is changed.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value, json};

use super::command::{Act, Command, Model as OfModel};
use super::id::Id;
use super::model::Model;
use super::model_columns::{Heading, cell, heading};
use super::sizes::{self, Known, Point};
use super::state::State;
use crate::formats::json::normal;
use crate::formats::table::{Fault, Row, Table, read};

/// What saving a line would do.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Change {
    New,
    Changes,
    Same,
}

impl Change {
    pub fn name(self) -> &'static str {
        match self {
            Change::New => "new",
            Change::Changes => "changes",
            Change::Same => "same",
        }
    }
}

/// A line that can be saved.
#[derive(Clone, Debug)]
pub struct Line {
    pub line: u64,
    pub model: Model,
    pub change: Change,
    pub command: Value,
}

#[derive(Clone, Debug, Default)]
pub struct Checked {
    pub lines: Vec<Line>,
    /// What stands against saving any of it.
    pub faults: Vec<Fault>,
    /// What looks wrong, and may be right.
    pub doubts: Vec<Fault>,
}

impl Checked {
    /// The lines that would change anything.
    pub fn to_save(&self) -> impl Iterator<Item = &Line> {
        self.lines.iter().filter(|line| line.change != Change::Same)
    }
}

/// As many lines as one transaction takes together.
pub const LINES_MOST: usize = 200;

/// The table's columns, as far as they are known; the others are among the faults.
struct Columns<'a> {
    table: &'a Table,
    headings: Vec<Option<Heading>>,
}

impl Columns<'_> {
    /// The column in which a place of the command stands; where the table has none, the place's own name.
    fn named(&self, pointer: &str) -> String {
        let stands =
            |heading: &Option<Heading>| heading.is_some_and(|it| pointer.starts_with(it.column.path));
        let at = self.headings.iter().position(stands).and_then(|n| self.table.header.get(n));
        let last = || pointer.rsplit('/').find(|part| part.parse::<usize>().is_err()).unwrap_or_default();
        at.cloned().unwrap_or_else(|| last().to_string())
    }

    fn has(&self, path: &str) -> bool {
        self.headings.iter().flatten().any(|it| it.column.path == path)
    }
}

/// Checks a table. A line that names no route takes the one that is given for all.
pub fn check(state: &State, text: &str, route: Option<&str>) -> Checked {
    let mut checked = Checked::default();
    if let Some(at) = text.find('\0') {
        let line = 1 + text.get(..at).map_or(0, |before| before.matches('\n').count()) as u64;
        checked.faults.push(Fault::new(line, "", "the character U+0000", "text without it is needed"));
        return checked;
    }
    let table = match read(&normal(text)) {
        Ok(table) => table,
        Err(fault) => {
            checked.faults.push(fault);
            return checked;
        }
    };
    checked.faults.extend(table.faults.iter().cloned());
    let columns = columns(&table, &mut checked);
    if table.rows.len() > LINES_MOST {
        let found = format!("{} rows", table.rows.len());
        let needed =
            format!("at most {LINES_MOST} at once are needed, since they are saved together or not at all");
        checked.faults.push(Fault::new(table.header_line, "", found, needed));
        return checked;
    }
    if table.rows.is_empty() && checked.faults.is_empty() {
        checked.faults.push(Fault::new(
            table.header_line,
            "",
            "a header alone",
            "at least one row is needed",
        ));
    }
    let mut seen: BTreeMap<String, u64> = BTreeMap::new();
    for row in &table.rows {
        if let Some(line) = one(state, &columns, row, route, &mut seen, &mut checked.faults) {
            checked.lines.push(line);
        }
    }
    sizes_of(state, &columns, &mut checked);
    checked.faults.sort_by_key(|fault| fault.line);
    checked.doubts.sort_by_key(|fault| fault.line);
    checked
}

fn columns<'a>(table: &'a Table, checked: &mut Checked) -> Columns<'a> {
    let mut headings = Vec::new();
    for name in &table.header {
        let read = heading(name);
        if let Err((found, needed)) = &read {
            checked.faults.push(Fault::new(table.header_line, name, found, needed));
        }
        let read = read.ok();
        // Two names of one column are the same column twice.
        let again = |it: &Heading| {
            headings.iter().flatten().any(|known: &Heading| known.column.path == it.column.path)
        };
        if read.as_ref().is_some_and(again) && table.header.iter().filter(|other| *other == name).count() == 1
        {
            let found = format!("\"{name}\" beside another column for the same");
            checked.faults.push(Fault::new(table.header_line, name, found, "each column once is needed"));
        }
        headings.push(read);
    }
    let columns = Columns { table, headings };
    if !columns.has("/model") {
        checked.faults.push(Fault::new(
            table.header_line,
            "",
            "no column model",
            "the code of each model is needed",
        ));
    }
    columns
}

/// One row as a command, where it can be.
fn one(
    state: &State,
    columns: &Columns,
    row: &Row,
    route: Option<&str>,
    seen: &mut BTreeMap<String, u64>,
    faults: &mut Vec<Fault>,
) -> Option<Line> {
    let mut own = Vec::new();
    let said = cells_of(columns, row, &mut own);
    let code = said.iter().find(|(path, _)| *path == "/model").and_then(|(_, value)| value.as_str());
    let code = code.unwrap_or_default().to_string();
    coded(columns, row.line, &code, seen, &mut own);
    let known = state.models.get(code.as_str());
    let mut whole = known.and_then(|it| serde_json::to_value(&**it).ok()).unwrap_or_else(|| json!({}));
    if let (Some(route), None) = (route, known) {
        put(&mut whole, "/route", json!(route));
    }
    for (path, value) in said {
        put(&mut whole, path, value);
    }
    for needed in ["family", "name", "route"] {
        let column = columns.named(&format!("/{needed}"));
        // A cell that could not be read was told already.
        if whole.get(needed).is_none() && !own.iter().any(|fault| fault.column == column) {
            own.push(Fault::new(row.line, column, format!("no {needed}"), "a new model needs it"));
        }
    }
    if !own.is_empty() || code.is_empty() {
        faults.extend(own);
        return None;
    }
    let model = as_model(columns, row.line, &whole, faults)?;
    if !state.routes.contains_key(&model.route) {
        let found = format!("the route {}", model.route);
        let needed = "a route of the catalogue is needed";
        faults.push(Fault::new(row.line, columns.named("/route"), found, needed));
        return None;
    }
    let change = match known {
        None => Change::New,
        Some(known) if **known == model => Change::Same,
        Some(_) => Change::Changes,
    };
    let mut command = serde_json::to_value(&model).unwrap_or_default();
    put(&mut command, "/do", json!("define_model"));
    Some(Line { line: row.line, model, change, command })
}

/// What the cells of a row say, by where it stands in a command.
fn cells_of(columns: &Columns, row: &Row, faults: &mut Vec<Fault>) -> Vec<(&'static str, Value)> {
    let mut said = Vec::new();
    for ((heading, name), text) in columns.headings.iter().zip(&columns.table.header).zip(&row.cells) {
        let Some(heading) = heading else { continue };
        match cell(*heading, text) {
            Ok(Some(value)) => said.push((heading.column.path, value)),
            Ok(None) => {}
            Err((found, needed)) => faults.push(Fault::new(row.line, name, found, needed)),
        }
    }
    said
}

/// Whether the code of a row is one, and stands in no row before it.
fn coded(
    columns: &Columns,
    line: u64,
    code: &str,
    seen: &mut BTreeMap<String, u64>,
    faults: &mut Vec<Fault>,
) {
    let mut fault = |found: String, needed: &str| {
        faults.push(Fault::new(line, columns.named("/model"), found, needed));
    };
    if code.is_empty() {
        if columns.has("/model") {
            fault("no code".into(), "the code of the model is needed");
        }
    } else if Id::new(code).is_none() {
        fault(format!("\"{code}\""), "1 to 64 letters, digits, dots, hyphens or underscores are needed");
    } else if let Some(first) = seen.get(code) {
        fault(format!("{code}, which stands in line {first} already"), "each model once is needed");
    } else {
        seen.insert(code.to_string(), line);
    }
}

/// Reads the row as the command that it would be.
fn as_model(columns: &Columns, line: u64, whole: &Value, faults: &mut Vec<Fault>) -> Option<Model> {
    let mut command = whole.clone();
    put(&mut command, "/do", json!("define_model"));
    match Command::read(command) {
        Ok(Command { act: Act::Model(OfModel::DefineModel(model)), .. }) => Some(model),
        Ok(_) => None,
        Err(errors) => {
            faults.extend(errors.iter().map(|it| {
                let (found, needed) = it.detail.split_once("; ").unwrap_or((&it.detail, ""));
                Fault::new(line, columns.named(&it.pointer), found.trim_start_matches("found "), needed)
            }));
            None
        }
    }
}

/// Puts a value where a path leads, through objects.
pub(super) fn put(whole: &mut Value, path: &str, value: Value) {
    let mut parts: Vec<&str> = path.trim_start_matches('/').split('/').collect();
    let Some(last) = parts.pop() else { return };
    let mut at = whole;
    for part in parts {
        let Value::Object(fields) = at else { return };
        at = fields.entry(part).or_insert_with(|| Value::Object(Map::new()));
    }
    if let Value::Object(fields) = at {
        fields.insert(last.to_string(), value);
    }
}

/// Looks at the sizes of each line, against the catalogue as it would be with the whole table in it.
fn sizes_of(state: &State, columns: &Columns, checked: &mut Checked) {
    let in_table: BTreeSet<&Id> = checked.lines.iter().map(|line| &line.model.model).collect();
    let others = state.models.values().map(|it| &**it).filter(|it| !in_table.contains(&it.model));
    let models = others.chain(checked.lines.iter().map(|line| &line.model)).collect();
    let known = Known::new(state.policy.wall_mm, models);
    let mut faults = Vec::new();
    for line in &checked.lines {
        let fault =
            |point: &Point| Fault::new(line.line, columns.named(&point.pointer), &point.found, &point.needed);
        let looked = sizes::look(&line.model, &known);
        faults.extend(looked.wrong.iter().map(fault));
        checked.doubts.extend(looked.doubts.iter().chain(&sizes::lacks(&line.model)).map(fault));
    }
    checked.faults.extend(faults);
}
