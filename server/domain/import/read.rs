//! Cells as values of their columns. Nothing is guessed: what may be read in two ways is asked about once for its
//! column, and what a spreadsheet program has destroyed is told by row and column.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{NaiveDate, NaiveTime, SubsecRound, TimeZone};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use serde_json::{Value, json};

use super::columns::{Column, What};
use super::mapping::{Mapped, Mapping};
use super::{Chosen, Plan, Question};
use crate::domain::id::Id;
use crate::domain::model::Family;
use crate::domain::model_columns::{self, Heading};
use crate::domain::time::Time;
use crate::formats::grid::value::{self, DayOrder, DecimalSign, Order, WHICH_SIGN};
use crate::formats::grid::{Cell, Grid};
use crate::formats::json::normal;
use crate::formats::table::Fault;

/// What a row says.
#[derive(Clone, Debug)]
pub struct Values {
    pub line: u64,
    /// By the keys of the columns; an empty cell says nothing.
    pub values: BTreeMap<&'static str, Value>,
    /// The file's columns by the places in a command that they are read for.
    pub from: Arc<BTreeMap<String, String>>,
    /// Columns whose cells could not be read; they are told already.
    pub broken: BTreeSet<&'static str>,
}

impl Values {
    pub fn text(&self, key: &str) -> Option<&str> {
        self.values.get(key).and_then(Value::as_str)
    }

    pub fn whole(&self, key: &str) -> Option<u64> {
        self.values.get(key).and_then(Value::as_u64)
    }

    /// The file's column for a place in a command.
    pub fn column(&self, path: &str) -> String {
        super::column_of(&self.from, path)
    }

    pub fn fault(&self, path: &str, found: impl Into<String>, needed: impl Into<String>) -> Fault {
        Fault::new(self.line, self.column(path), found, needed)
    }
}

/// A column with what is known of how its cells are written.
struct Reading<'a> {
    mapped: &'a Mapped,
    name: String,
    order: Option<DayOrder>,
    heading: Option<Heading>,
    /// It cannot be read before somebody answers.
    closed: bool,
    /// Odd but readable cells: the first, and how many more.
    odd: Option<(u64, String, usize)>,
}

/// What will not do in a cell.
type Wrong = (String, String);

/// Reads all rows. Questions, faults and doubts go into the plan.
pub fn rows(grid: &Grid, mapping: &Mapping, chosen: &Chosen, zone: Tz, plan: &mut Plan) -> Vec<Values> {
    let read = mapping.wanted.iter().filter(|it| it.from.is_some() || it.fixed.is_some());
    let mut columns: Vec<Reading> = read.map(|it| reading(it, mapping, grid, chosen, plan)).collect();
    let from: BTreeMap<String, String> = mapping
        .wanted
        .iter()
        .map(|it| (it.column.path.to_string(), mapping.name_of(it.column.key)))
        .rev()
        .collect();
    let from = Arc::new(from);
    let mut all = Vec::with_capacity(grid.rows.len());
    for row in &grid.rows {
        let mut values =
            Values { line: row.line, values: BTreeMap::new(), from: from.clone(), broken: BTreeSet::new() };
        for column in columns.iter_mut().filter(|column| !column.closed) {
            let own = column.mapped.from.and_then(|(place, _)| row.cells.get(place));
            let cell = own.map_or(Cell::Blank, plain);
            let fixed = column.mapped.fixed.as_ref().filter(|_| cell.is_blank());
            let cell = fixed.map_or(cell, |text| Cell::Text(text.clone()));
            let key = column.mapped.column.key;
            match one(column, &cell, chosen.decimal, zone, row.line) {
                Ok(Some(value)) => drop(values.values.insert(key, value)),
                Ok(None) => {}
                Err((_, needed)) if needed == WHICH_SIGN => {
                    ask_sign(&column.name, &cell, plan);
                    values.broken.insert(key);
                }
                Err((found, needed)) => {
                    plan.faults.push(Fault::new(row.line, column.name.clone(), found, needed));
                    values.broken.insert(key);
                }
            }
        }
        all.push(values);
    }
    for column in columns {
        if let Some((line, told, more)) = column.odd {
            let told = if more == 0 { told } else { format!("{told}; the same in {more} more") };
            plan.doubts.push(Fault::new(
                line,
                column.name,
                told,
                "look whether it is what stands on the thing",
            ));
        }
    }
    all
}

fn ask_sign(column: &str, cell: &Cell, plan: &mut Plan) {
    if !plan.questions.iter().any(|it| matches!(it, Question::Decimal { .. })) {
        plan.questions.push(Question::Decimal { column: column.into(), example: cell.shown() });
    }
}

/// What an export has guarded with an apostrophe, so that it opens as text, is read without it.
fn plain(cell: &Cell) -> Cell {
    match cell {
        Cell::Text(text) => {
            let bare = text.strip_prefix('\'').filter(|rest| crate::formats::sheet::safe(rest) != **rest);
            Cell::Text(normal(bare.unwrap_or(text)))
        }
        other => other.clone(),
    }
}

/// Looks at a column as a whole: which order its dates have, which unit its name tells.
fn reading<'a>(
    mapped: &'a Mapped,
    mapping: &Mapping,
    grid: &Grid,
    chosen: &Chosen,
    plan: &mut Plan,
) -> Reading<'a> {
    let column = mapped.column;
    let name = mapping.name_of(column.key);
    let mut reading =
        Reading { mapped, name: name.clone(), order: None, heading: None, closed: false, odd: None };
    if let What::Model(place) = column.what {
        reading.heading = heading(place, column.key, &name);
    }
    if !matches!(column.what, What::Day | What::Moment) {
        return reading;
    }
    let told = chosen.dates.get(column.key).copied();
    let Some((place, _)) = mapped.from else {
        reading.order = told;
        return reading;
    };
    let cells: Vec<Cell> = grid.rows.iter().filter_map(|row| row.cells.get(place)).map(day_part).collect();
    match value::order(cells.iter()) {
        Order::Plain => reading.order = told,
        Order::Proven(order) => reading.order = Some(told.unwrap_or(order)),
        Order::Ambiguous if told.is_some() => {
            let first = if told == Some(DayOrder::DayFirst) { "day" } else { "month" };
            plan.notes
                .push(format!("The dates of the column {name} have the {first} first, as somebody said."));
            reading.order = told;
        }
        Order::Ambiguous => {
            let open = |cell: &&Cell| value::day(cell, None).is_err();
            let example = cells.iter().find(open).map(Cell::shown).unwrap_or_default();
            plan.questions.push(Question::Dates { key: column.key, column: name, example });
            reading.closed = true;
        }
        Order::Contradicting => {
            let found = "dates of which some have the day first and some the month";
            let needed = "one order in the whole column is needed";
            plan.faults.push(Fault::new(mapping.header_line, name, found, needed));
            reading.closed = true;
        }
    }
    reading
}

/// The unit of a column of models stands in its name; a name that somebody chose may end with one.
fn heading(place: usize, key: &str, name: &str) -> Option<Heading> {
    let own = model_columns::COLUMNS.get(place)?;
    let is_own = |heading: &Heading| heading.column.path == own.path;
    let unit =
        name.split(|letter: char| !letter.is_alphanumeric() && letter != '°').rfind(|it| !it.is_empty());
    let with_unit = format!("{key} {}", unit.unwrap_or_default());
    [name, &with_unit, key].into_iter().find_map(|text| model_columns::heading(text).ok().filter(is_own))
}

/// The part of a cell that is a day.
fn day_part(cell: &Cell) -> Cell {
    match plain(cell) {
        Cell::Text(text) => {
            let text = value::clean(&text);
            Cell::Text(text.split([' ', 'T']).next().unwrap_or_default().to_string())
        }
        other => other,
    }
}

fn why(why: value::Why) -> Wrong {
    (why.found, why.needed.into())
}

fn one(
    reading: &mut Reading,
    cell: &Cell,
    sign: Option<DecimalSign>,
    zone: Tz,
    line: u64,
) -> Result<Option<Value>, Wrong> {
    let Column { what, .. } = reading.mapped.column;
    Ok(match what {
        What::Id => match identifier(reading, cell, line)? {
            Some(text) if Id::new(&text).is_none() => {
                return Err(why(value::no_id(cell, &text)));
            }
            found => found.map(Value::from),
        },
        What::Mark => identifier(reading, cell, line)?.map(Value::from),
        What::Words => value::text(cell).map_err(why)?.map(Value::from),
        What::Whole => value::whole(cell).map_err(why)?.map(Value::from),
        What::Cents => value::decimal(cell, sign).map_err(why)?.map(|text| cents(cell, &text)).transpose()?,
        What::Day => value::day(cell, reading.order).map_err(why)?.map(|day| json!(day.to_string())),
        What::Moment => moment(cell, reading.order, zone)?.map(|at| json!(at.to_string())),
        What::Clock => clock(cell)?.map(|time| json!(time.to_string())),
        What::YesNo => yes_no(cell)?,
        What::Choice(words) => choice(cell, words)?,
        What::Family => family(cell)?,
        What::Ids => ids(cell)?,
        What::Model(_) => model_cell(reading, cell, sign, line)?,
    })
}

/// An identifier; what is odd about it is counted for its column.
fn identifier(reading: &mut Reading, cell: &Cell, line: u64) -> Result<Option<String>, Wrong> {
    let Some(read) = value::identifier(cell).map_err(why)? else { return Ok(None) };
    if let Some(warning) = read.warning {
        match &mut reading.odd {
            Some((.., more)) => *more += 1,
            none => *none = Some((line, warning, 0)),
        }
    }
    Ok(Some(read.value))
}

fn cents(cell: &Cell, text: &str) -> Result<Value, Wrong> {
    let wrong = || (cell.shown(), "an amount of money is needed, with at most two decimals".to_string());
    let amount: Decimal = text.parse().map_err(|_| wrong())?;
    let cents =
        amount.checked_mul(Decimal::ONE_HUNDRED).filter(|it| it.fract().is_zero()).ok_or_else(wrong)?;
    let cents: u64 = cents.normalize().to_string().parse().map_err(|_| wrong())?;
    Ok(json!(cents))
}

/// A time of day.
fn clock(cell: &Cell) -> Result<Option<NaiveTime>, Wrong> {
    let wrong = || (cell.shown(), "a time of day is needed, such as 08:30".to_string());
    match cell {
        Cell::Blank => Ok(None),
        Cell::Moment(at) => Ok(Some(at.round_subsecs(0).time())),
        Cell::Text(text) => {
            let text = value::clean(text);
            if text.is_empty() {
                return Ok(None);
            }
            let read = ["%H:%M", "%H:%M:%S", "%H.%M"]
                .iter()
                .find_map(|form| NaiveTime::parse_from_str(&text, form).ok());
            read.map(Some).ok_or_else(wrong)
        }
        Cell::Number(_) | Cell::Truth(_) | Cell::Formula | Cell::Broken(_) => Err(wrong()),
    }
}

/// A day and a time of it in the site's zone, or a time with its offset.
fn moment(cell: &Cell, order: Option<DayOrder>, zone: Tz) -> Result<Option<Time>, Wrong> {
    const NEEDED: &str = "a day and a time of day are needed, such as 2026-03-31 08:30";
    let wrong = || (cell.shown(), NEEDED.to_string());
    match cell {
        Cell::Blank => Ok(None),
        Cell::Moment(at) if at.time() == NaiveTime::MIN => Err(wrong()),
        Cell::Moment(at) => {
            let at = at.round_subsecs(0);
            instant(at.date(), at.time(), zone).map(Some)
        }
        Cell::Text(text) => {
            let text = value::clean(text);
            if text.is_empty() {
                return Ok(None);
            }
            if let Some(at) = Time::parse(&text) {
                return Ok(Some(at));
            }
            let (day, time) = text.split_once([' ', 'T']).ok_or_else(wrong)?;
            let day = value::day(&Cell::Text(day.into()), order).map_err(why)?.ok_or_else(wrong)?;
            let time = clock(&Cell::Text(time.trim().into())).map_err(|_| wrong())?.ok_or_else(wrong)?;
            instant(day, time, zone).map(Some)
        }
        Cell::Number(_) | Cell::Truth(_) | Cell::Formula | Cell::Broken(_) => Err(wrong()),
    }
}

/// A time of a day in a zone. An hour that the clock skips or has twice is told, not guessed at.
pub fn instant(day: NaiveDate, time: NaiveTime, zone: Tz) -> Result<Time, Wrong> {
    let local = day.and_time(time);
    match zone.from_local_datetime(&local) {
        chrono::LocalResult::Single(at) => Ok(Time(at.timestamp_micros())),
        chrono::LocalResult::None => Err((
            format!("{local}, an hour that the clock skips"),
            "a time that the day has is needed".into(),
        )),
        chrono::LocalResult::Ambiguous(..) => {
            let needed = "its offset is needed too, such as 2026-10-25T02:30:00+01:00";
            Err((format!("{local}, an hour that the day has twice"), needed.into()))
        }
    }
}

fn words(cell: &Cell) -> Result<Option<String>, Wrong> {
    value::text(cell).map_err(why)
}

/// Letters and digits, small, with underscores between the words.
fn small(text: &str) -> String {
    let lower = text.to_lowercase();
    let words: Vec<&str> =
        lower.split(|letter: char| !letter.is_alphanumeric()).filter(|it| !it.is_empty()).collect();
    words.join("_")
}

fn yes_no(cell: &Cell) -> Result<Option<Value>, Wrong> {
    let Some(text) = words(cell)? else { return Ok(None) };
    match text.to_lowercase().as_str() {
        "yes" | "y" | "true" | "1" | "x" => Ok(Some(json!(true))),
        "no" | "n" | "false" | "0" => Ok(Some(json!(false))),
        _ => Err((cell.shown(), "yes or no is needed".into())),
    }
}

fn choice(cell: &Cell, known: &[&str]) -> Result<Option<Value>, Wrong> {
    let Some(text) = words(cell)? else { return Ok(None) };
    let name = small(&text);
    match known.iter().find(|word| **word == name) {
        Some(word) => Ok(Some(json!(word))),
        None => Err((cell.shown(), format!("one of {} is needed", known.join(", ")))),
    }
}

fn family(cell: &Cell) -> Result<Option<Value>, Wrong> {
    let Some(text) = words(cell)? else { return Ok(None) };
    let name = small(&text);
    let known = |name: &str| serde_json::from_value::<Family>(json!(name)).ok();
    match known(&name).or_else(|| known(name.trim_end_matches('s'))) {
        Some(family) => Ok(Some(json!(family))),
        None => Err((cell.shown(), "a family such as bronchoscope, telescope or cap is needed".into())),
    }
}

fn ids(cell: &Cell) -> Result<Option<Value>, Wrong> {
    let Some(text) = words(cell)? else { return Ok(None) };
    let each = text.split(|letter: char| letter.is_whitespace() || matches!(letter, ',' | ';' | '|'));
    let all: Vec<&str> = each.filter(|it| !it.is_empty()).collect();
    match all.iter().find(|name| Id::new(name).is_none()) {
        Some(name) => {
            Err((format!("\"{name}\""), "names of the house are needed, with commas between them".into()))
        }
        None => Ok(Some(json!(all))),
    }
}

/// A cell of the table of models: its own reader takes units and lists; what may be read in two ways is asked first.
fn model_cell(
    reading: &mut Reading,
    cell: &Cell,
    sign: Option<DecimalSign>,
    line: u64,
) -> Result<Option<Value>, Wrong> {
    let Some(heading) = reading.heading else { return Ok(None) };
    let text = match heading.column.kind {
        model_columns::Kind::Words if matches!(heading.column.path, "/model" | "/gtin" | "/route") => {
            identifier(reading, cell, line)?
        }
        model_columns::Kind::Number(_) => match value::decimal(cell, sign) {
            Ok(read) => read,
            Err(open) if open.needed == WHICH_SIGN => return Err(why(open)),
            Err(_) => words(cell)?,
        },
        _ => words(cell)?,
    };
    text.map_or(Ok(None), |text| model_columns::cell(heading, &text))
}
