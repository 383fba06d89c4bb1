//! A cycle record as recorders and loggers export it: CSV, UTF-8, comma, a header, one row per sample (RFC 4180,
//! except that a cell holds no line break, so that rows and lines are the same).
//!
//! Columns are known by their names: `time_s` or `time`, `temp_c` or `temp_c_<name>`, and a pressure whose name
//! says its unit and whether it is absolute.

use std::fmt;
use std::io::BufRead;
use std::thread::Scope;

use crate::analysis::record::{COLDEST_C, FARTHEST_S, HOTTEST_C, Record};

use super::record_batch::{Ended, Pool};
pub use super::record_error::RecordError;
pub(super) use super::record_error::{count, excerpt, quoted};
pub use super::record_header::pressure_column;
use super::record_header::{Column, Layout, Meaning};
use super::record_number::{any, plain};
use super::record_rows::{Broken, MOST_MIB, Next, Take, cell, cells_on, each, empty_line, is_empty};
use super::record_time::{Clock, Moment};

/// Something that was read over, which whoever sent the file should know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// The column that was ignored; its position, counted from 1, where it has no name.
    pub column: String,
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "column {} is not known and was ignored", self.column)
    }
}

/// Reads a cycle record.
///
/// `ambient_kpa` is the absolute pressure of the air around the machine, in kPa; only a gauge column needs it.
/// Without `want_pressure` pressure columns are ignored like all others that are not known.
///
/// # Errors
/// The first fault, from the top of the file: no text in UTF-8, a column that is missing, doubled or unclear, a
/// row with too few or too many cells, a cell that is no finite number, a time that does not increase, fewer
/// than two samples, more than [`MOST_MIB`]. Takes time in proportion to the bytes.
pub fn read(
    bytes: &[u8],
    ambient_kpa: Option<f64>,
    want_pressure: bool,
) -> Result<(Record, Vec<Warning>), RecordError> {
    read_from(bytes, ambient_kpa, want_pressure).unwrap_or_else(|error| Err(whole(&error.to_string())))
}

/// As [`read`], from a source that need not be in memory.
///
/// # Errors
/// Where the source cannot be read, and inside it what is wrong with the record.
pub fn read_from(
    source: impl BufRead,
    ambient_kpa: Option<f64>,
    want_pressure: bool,
) -> std::io::Result<Result<(Record, Vec<Warning>), RecordError>> {
    let (lines, ended, reading) = std::thread::scope(|scope| {
        let mut reading = Reading {
            scope,
            ambient_kpa,
            want_pressure,
            head: None,
            warnings: vec![],
            empty: None,
            pool: None,
        };
        let lines = each(source, &mut reading);
        (lines, reading.pool.take().map(Pool::finish), (reading.head, reading.warnings))
    });
    let (mut head, warnings) = reading;
    // What the threads read stands before whatever ended the lines, and so does what is wrong with it.
    let mut last = None;
    match (ended.map(Ended::record).transpose(), &mut head) {
        (Err(fault), _) => return Ok(Err(fault)),
        (Ok(Some((record, line))), Some(head)) => (head.record, last) = (record, Some(line)),
        _ => {}
    }
    match lines {
        Err(Broken::Source(error)) => return Err(error),
        Err(Broken::Line(Stop::At(error))) => return Ok(Err(error)),
        // The fault before was told above.
        Err(Broken::Line(Stop::Before)) | Ok(()) => {}
        Err(Broken::TooLarge(line)) => {
            let found = format!("more than {MOST_MIB} MiB");
            let needed = format!("a record of at most {MOST_MIB} MiB is needed");
            return Ok(Err(RecordError::at(last.map_or(line, |last| last + 1), found, needed)));
        }
    }
    let Some(head) = head else {
        return Ok(Err(whole("an empty file")));
    };
    let samples = head.record.time_s.len();
    if samples < 2 {
        let line = 1 + samples as u64;
        return Ok(Err(RecordError::at(line, count(samples, "sample"), "at least two are needed")));
    }
    Ok(Ok((head.record, warnings)))
}

/// A record that is being read: its head by one thread, the rest of a long one by several.
struct Reading<'scope, 'env> {
    scope: &'scope Scope<'scope, 'env>,
    ambient_kpa: Option<f64>,
    want_pressure: bool,
    /// From the header on.
    head: Option<Builder>,
    warnings: Vec<Warning>,
    /// From which line on nothing stands on the lines.
    empty: Option<u64>,
    pool: Option<Pool>,
}

impl Take for Reading<'_, '_> {
    type Error = Stop;

    fn line(&mut self, line: u64, text: &[u8]) -> Result<Next, Stop> {
        let is_first = line == 1;
        let text = if is_first { text.strip_prefix("\u{feff}".as_bytes()).unwrap_or(text) } else { text };
        if is_empty(text) {
            self.empty.get_or_insert(line);
            return Ok(Next::Lines);
        }
        if let Some(empty) = self.empty {
            return Err(Stop::At(empty_line(empty)));
        }
        let Some(head) = &mut self.head else {
            let (layout, warnings) = Layout::new(line, text, self.ambient_kpa, self.want_pressure)?;
            (self.head, self.warnings) = (Some(Builder::new(layout)), warnings);
            return Ok(Next::Lines);
        };
        head.row(line, text)?;
        if !head.is_long() {
            return Ok(Next::Lines);
        }
        let read = std::mem::take(&mut head.record);
        self.pool = Some(Pool::start(self.scope, head, read, line));
        Ok(Next::Bytes)
    }

    fn bytes(&mut self, piece: &[u8]) -> Result<(), Stop> {
        self.pool.as_mut().map_or(Ok(()), |pool| pool.bytes(piece)).map_err(|()| Stop::Before)
    }
}

fn whole(found: &str) -> RecordError {
    let needed = "a header and two samples are needed".to_owned();
    RecordError { line: None, column: None, found: found.to_owned(), needed }
}

/// Why no further line is read.
enum Stop {
    At(RecordError),
    /// Another thread found a fault in a line before.
    Before,
}

impl From<RecordError> for Stop {
    fn from(error: RecordError) -> Self {
        Stop::At(error)
    }
}

/// The record as far as it was read.
pub(super) struct Builder {
    columns: Vec<Column>,
    record: Record,
    clock: Clock,
}

/// Samples that one thread reads before others take part.
const LONG: usize = 4_096;

/// What was found in a cell and what is needed instead.
type Fault = (String, String);

impl Builder {
    fn new(layout: Layout) -> Self {
        let record = Record {
            channels: layout.channels(),
            pressure_kpa_abs: layout.has_pressure().then(Vec::new),
            ..Record::default()
        };
        Self { columns: layout.columns, record, clock: Clock::default() }
    }

    /// Without a sample yet.
    pub(super) fn blank(&self) -> Builder {
        Builder::new(Layout { columns: self.columns.clone() })
    }

    /// Without a sample but the time of the one before.
    pub(super) fn after(&self, before_s: f64) -> Builder {
        let mut blank = self.blank();
        blank.record.time_s.push(before_s);
        blank
    }

    /// Takes out what was read.
    pub(super) fn take(&mut self) -> Record {
        let blank = self.blank().record;
        std::mem::replace(&mut self.record, blank)
    }

    /// Reads on into the room of a record of these columns, from which everything was taken.
    pub(super) fn reuse(&mut self, record: Record) {
        self.record = record;
    }

    /// Whether the rest is worth several threads. Times of day count from the first, so one thread reads these.
    fn is_long(&self) -> bool {
        self.record.time_s.len() >= LONG && self.columns.iter().all(|it| it.meaning != Meaning::Instant)
    }

    pub(super) fn row(&mut self, line: u64, text: &[u8]) -> Result<(), RecordError> {
        let mut rest = Some(text);
        for i in 0..self.columns.len() {
            let Some(cell) = rest else {
                return Err(self.ragged(line, text, i));
            };
            rest = match plain(cell) {
                Some((value, next)) if self.takes(self.columns[i].meaning, value).is_ok() => next,
                // Whatever else it is, or is wrong with it, is found out by reading it again.
                _ => self.foreign(i, cell).map_err(|fault| self.fault(line, text, i, fault))?,
            };
        }
        match rest {
            None => Ok(()),
            Some(_) => Err(self.ragged(line, text, self.columns.len())),
        }
    }

    /// Takes the cell of a column from the beginning of a text; answers what stands behind its comma.
    fn foreign<'t>(&mut self, i: usize, text: &'t [u8]) -> Result<Option<&'t [u8]>, Fault> {
        let (cell, next) = cell(text)
            .map_err(|found| (found.to_owned(), "each cell whole on its line is needed".to_owned()))?;
        if std::str::from_utf8(&cell).is_err() {
            return Err(("bytes that are not UTF-8".to_owned(), "text in UTF-8 is needed".to_owned()));
        }
        if cell.contains(&0) {
            return Err(("the character U+0000".to_owned(), "text without it is needed".to_owned()));
        }
        let meaning = self.columns[i].meaning;
        match meaning {
            Meaning::Ignored => {}
            Meaning::Instant => self.take_instant(&cell)?,
            Meaning::Seconds | Meaning::Temperature(_) | Meaning::Pressure { .. } => {
                if cell.trim_ascii().is_empty() {
                    return Err(("an empty cell".to_owned(), "a number is needed".to_owned()));
                }
                let value = any(&cell).map_err(|needed| (quoted(&cell), needed.to_owned()))?;
                self.takes(meaning, value)
                    .map_err(|needed| (self.found(meaning, value, &cell), needed.to_owned()))?;
            }
        }
        Ok(next)
    }

    /// Takes a number, or says what is needed instead.
    #[inline]
    fn takes(&mut self, meaning: Meaning, value: f64) -> Result<(), &'static str> {
        match meaning {
            Meaning::Ignored => Ok(()),
            Meaning::Instant => Err("a time of day is needed"),
            Meaning::Seconds if value.abs() > FARTHEST_S => {
                Err("a time within 1e10 s of the start is needed")
            }
            Meaning::Seconds => self.take_time(value),
            Meaning::Temperature(_) if !(COLDEST_C..=HOTTEST_C).contains(&value) => {
                Err("a temperature from -273.15 to 3000 °C is needed")
            }
            Meaning::Temperature(channel) => {
                if let Some(channel) = self.record.channels.get_mut(channel) {
                    channel.temp_c.push(value);
                }
                Ok(())
            }
            Meaning::Pressure { kpa_per_unit, add_kpa } => {
                let pressure_kpa_abs = value * kpa_per_unit + add_kpa;
                if !pressure_kpa_abs.is_finite() {
                    return Err("a finite number is needed");
                }
                if let Some(pressure) = &mut self.record.pressure_kpa_abs {
                    pressure.push(pressure_kpa_abs);
                }
                Ok(())
            }
        }
    }

    fn take_instant(&mut self, cell: &[u8]) -> Result<(), Fault> {
        let Some(Moment { time_s, us }) = self.clock.read(cell) else {
            let example = "a time such as 2026-03-02T23:57:00+02:00 (RFC 3339) is needed";
            return Err((quoted(cell), example.to_owned()));
        };
        if time_s.abs() > FARTHEST_S {
            return Err((quoted(cell), "a time within 1e10 s of the first is needed".to_owned()));
        }
        self.record.started_us.get_or_insert(us);
        self.record.ended_us = Some(us);
        self.take_time(time_s)
            .map_err(|needed| (self.found(Meaning::Instant, time_s, cell), needed.to_owned()))
    }

    fn take_time(&mut self, time_s: f64) -> Result<(), &'static str> {
        if self.record.time_s.last().is_some_and(|before_s| time_s <= *before_s) {
            return Err("a time later than in the line before is needed");
        }
        self.record.time_s.push(time_s);
        Ok(())
    }

    /// Says what was found in a cell: its text, and of a time that does not increase how it stands to the one before.
    fn found(&self, meaning: Meaning, value: f64, cell: &[u8]) -> String {
        let is_time = matches!(meaning, Meaning::Seconds | Meaning::Instant);
        match self.record.time_s.last() {
            Some(before_s) if is_time && value == *before_s => {
                format!("{}, where the time stands still", quoted(cell))
            }
            Some(before_s) if is_time && value < *before_s => {
                format!("{}, where the time goes back", quoted(cell))
            }
            _ => quoted(cell),
        }
    }

    /// The error for a fault in a column. A row of too few or too many cells is told as such: its cells may stand in
    /// columns that they were not meant for.
    #[cold]
    fn fault(&self, line: u64, text: &[u8], column: usize, (found, needed): Fault) -> RecordError {
        match cells_on(text) {
            Ok(cells) if cells != self.columns.len() => self.ragged(line, text, cells),
            _ => RecordError::at(line, found, needed).in_column(&self.columns[column].name),
        }
    }

    #[cold]
    fn ragged(&self, line: u64, text: &[u8], cells: usize) -> RecordError {
        let columns = self.columns.len();
        let cells = cells_on(text).unwrap_or(cells);
        let comma = if cells > columns { "; a decimal is written 134.5, not 134,5" } else { "" };
        let found = format!("{} in {}", count(cells, "cell"), quoted(text));
        let error = RecordError::at(line, found, format!("{columns} are needed, as in the header{comma}"));
        match self.columns.get(cells) {
            Some(missing) => error.in_column(&missing.name),
            None => error,
        }
    }
}
