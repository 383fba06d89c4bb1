//! Lists that a department brings along: models, parts, count sheets, sets, cases. Each row becomes commands as people
//! give them, or is told as what is wrong with it. Nothing here records anything.

mod assets;
mod cases;
pub mod columns;
mod draft;
mod joined;
pub mod mapping;
mod members;
mod models;
mod read;
mod sheets;

pub use read::instant;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::command::{Act, Command, Malformed, Model as OfModel};
use super::state::State;
use crate::formats::grid::value::{DayOrder, DecimalSign};
use crate::formats::grid::{Charset, Grid, ROWS_MOST};
use crate::formats::json::cleaned;
use crate::formats::table::Fault;

pub use super::model_table::Change;
pub use draft::{Drafting, decide_all, told};
pub use joined::{answer, line, problem_lines};
use mapping::Mapping;

/// What a list is of. They stand in the order in which a house is filled: each needs what stands before it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    Models,
    Assets,
    CountSheets,
    Sets,
    Cases,
}

impl Kind {
    pub const ALL: [Kind; 5] = [Kind::Models, Kind::Assets, Kind::CountSheets, Kind::Sets, Kind::Cases];

    pub fn name(self) -> &'static str {
        match self {
            Kind::Models => "models",
            Kind::Assets => "assets",
            Kind::CountSheets => "count_sheets",
            Kind::Sets => "sets",
            Kind::Cases => "cases",
        }
    }

    pub fn named(name: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// One of them, and several.
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Kind::Models => ("model", "models"),
            Kind::Assets => ("part", "parts"),
            Kind::CountSheets => ("count sheet", "count sheets"),
            Kind::Sets => ("set", "sets"),
            Kind::Cases => ("case", "cases"),
        }
    }

    /// The command that a new row becomes: who may give it may import.
    pub fn command(self) -> &'static str {
        match self {
            Kind::Models => "define_model",
            Kind::Assets => "add_asset",
            Kind::CountSheets => "define_count_sheet",
            Kind::Sets => "build_set",
            Kind::Cases => "plan_case",
        }
    }

    /// As many rows as one import takes. Each model is held against every other one.
    pub fn rows_most(self) -> usize {
        match self {
            Kind::Models => 2_000,
            Kind::Assets | Kind::CountSheets | Kind::Sets | Kind::Cases => ROWS_MOST,
        }
    }
}

/// What somebody said of a file: its characters, where its columns go, how its dates and numbers are written.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Chosen {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub charset: Option<Charset>,
    /// By what is wanted: the file's column. An empty name says that the file has none.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub columns: BTreeMap<String, String>,
    /// By what is wanted: the value of every row whose own cell is empty.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub fixed: BTreeMap<String, String>,
    /// By what is wanted: whether the day or the month stands first.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub dates: BTreeMap<String, DayOrder>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decimal: Option<DecimalSign>,
}

/// What only a person can say.
#[derive(Clone, Debug, PartialEq)]
pub enum Question {
    /// Which stands first in the dates of a column: its key, its name in the file, and a date of it.
    Dates { key: &'static str, column: String, example: String },
    /// What the sign in numbers means, with a number of the file.
    Decimal { column: String, example: String },
}

/// What became of a thing of the list.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    pub line: u64,
    pub name: String,
    pub change: Change,
    /// What would change of a thing that is there.
    pub words: String,
}

/// A command that a row becomes.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    pub line: u64,
    pub command: Command,
    /// The place of a command before it without which it cannot be.
    pub after: Option<usize>,
    /// Where in the file the parts of the command stand, by their names in it.
    pub from: Arc<BTreeMap<String, String>>,
}

/// A list, understood.
#[derive(Clone, Debug, Default)]
pub struct Plan {
    pub mapping: Mapping,
    pub rows: usize,
    pub questions: Vec<Question>,
    pub told: Vec<Told>,
    pub planned: Vec<Planned>,
    /// What stands against importing any of it.
    pub faults: Vec<Fault>,
    /// What looks wrong, and may be right.
    pub doubts: Vec<Fault>,
    pub notes: Vec<String>,
}

impl Plan {
    pub fn may_import(&self) -> bool {
        self.faults.is_empty() && self.questions.is_empty()
    }

    pub fn count(&self, change: Change) -> usize {
        self.told.iter().filter(|it| it.change == change).count()
    }

    /// The pictures that its commands name.
    pub fn photos(&self) -> BTreeSet<String> {
        let photo = |it: &Planned| match &it.command.act {
            Act::Model(OfModel::DefineModel(model)) => model.photo().map(String::from),
            _ => None,
        };
        self.planned.iter().filter_map(photo).collect()
    }
}

/// Understands a list, as far as it can be told without deciding anything.
pub fn plan(state: &State, kind: Kind, grid: &Grid, chosen: &Chosen) -> Plan {
    let mapping = Mapping::of(kind, grid, chosen);
    let mut plan = Plan {
        mapping: mapping.clone(),
        rows: grid.rows.len(),
        faults: grid.faults.clone(),
        notes: grid.notes.clone(),
        ..Plan::default()
    };
    plan.faults.extend(mapping.faults.iter().cloned());
    if grid.rows.len() > kind.rows_most() {
        let needed = format!(
            "at most {} rows of {} at once are needed: divide the list",
            kind.rows_most(),
            kind.words().1
        );
        plan.faults.push(Fault::new(grid.header_line, "", format!("{} rows", grid.rows.len()), needed));
    } else {
        let rows = read::rows(grid, &mapping, chosen, state.zone, &mut plan);
        match kind {
            Kind::Models => models::plan(state, &rows, &mut plan),
            Kind::Assets => assets::plan(state, &rows, &mut plan),
            Kind::CountSheets => sheets::plan(state, &rows, &mut plan),
            Kind::Sets => members::plan(state, &rows, &mut plan),
            Kind::Cases => cases::plan(state, &rows, &mut plan),
        }
    }
    plan.faults.sort_by_key(|it| it.line);
    plan.doubts.sort_by_key(|it| it.line);
    plan
}

impl Plan {
    /// Whether the file has a column, or somebody a value, for what is wanted; else its lack is told once.
    fn mapping_names(&self, key: &str) -> bool {
        self.mapping.wanted.iter().any(|it| it.column.key == key && (it.from.is_some() || it.fixed.is_some()))
    }

    /// Takes a command up, or what its reader found wrong with it.
    fn give(
        &mut self,
        row: &read::Values,
        fields: Map<String, Value>,
        after: Option<usize>,
    ) -> Option<usize> {
        let read = cleaned(Value::Object(fields), &[]).map_err(|pointer| {
            vec![Malformed {
                pointer,
                detail: "found the character U+0000; text without it is needed".into(),
            }]
        });
        match read.and_then(Command::read) {
            Ok(command) => {
                self.planned.push(Planned { line: row.line, command, after, from: row.from.clone() });
                Some(self.planned.len() - 1)
            }
            Err(errors) => {
                self.faults.extend(errors.iter().map(|error| malformed(row.line, &row.from, error)));
                None
            }
        }
    }
}

/// What a reader of commands found, told by row and column.
fn malformed(line: u64, from: &BTreeMap<String, String>, error: &Malformed) -> Fault {
    let (found, needed) = error.detail.split_once("; ").unwrap_or((&error.detail, ""));
    let found = found.trim_start_matches("found ");
    Fault::new(line, column_of(from, &error.pointer), found, needed)
}

/// The file's column for a place in a command: the longest part of it that has one, else the place's own name.
fn column_of(from: &BTreeMap<String, String>, pointer: &str) -> String {
    // The rows of a thing with lines have one column for all of its lines.
    let places: Vec<&str> = pointer.split('/').filter(|part| part.parse::<usize>().is_err()).collect();
    let pointer = places.join("/");
    let mut at = pointer.as_str();
    loop {
        if let Some(column) = from.get(at) {
            return column.clone();
        }
        match at.rfind('/') {
            Some(end) if end > 0 => at = at.get(..end).unwrap_or_default(),
            _ => break,
        }
    }
    pointer.rsplit('/').next().unwrap_or_default().to_string()
}
