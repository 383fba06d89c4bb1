//! A cycle record as recorders and loggers export it: CSV, UTF-8, comma, a header, one row per sample (RFC 4180,
//! except that a cell holds no line break, so that rows and lines are the same).
//!
//! Columns are known by their names: `time_s` or `time`, `temp_c` or `temp_c_<name>`, and a pressure whose name
//! says its unit and whether it is absolute.

use std::fmt;

use crate::analysis::record::{COLDEST_C, FARTHEST_S, HOTTEST_C, Record};

use super::record_header::{Layout, Meaning};
use super::record_rows::Rows;

/// Why a file cannot be used: where, what was found there, and what is needed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordError {
    /// The line, counted from 1, which is the header; None where the whole file is meant.
    pub line: Option<u64>,
    /// The name of the column, where one cell or one column is meant.
    pub column: Option<String>,
    pub found: String,
    pub needed: String,
}

impl RecordError {
    pub(super) fn at(line: u64, found: impl Into<String>, needed: impl Into<String>) -> Self {
        Self { line: Some(line), column: None, found: found.into(), needed: needed.into() }
    }

    pub(super) fn in_column(self, column: &str) -> Self {
        Self { column: Some(excerpt(column.as_bytes())), ..self }
    }
}

impl fmt::Display for RecordError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.line, &self.column) {
            (Some(line), Some(column)) => write!(f, "line {line}, column {column}: ")?,
            (Some(line), None) => write!(f, "line {line}: ")?,
            (None, Some(column)) => write!(f, "column {column}: ")?,
            (None, None) => {}
        }
        write!(f, "found {}; {}", self.found, self.needed)
    }
}

impl std::error::Error for RecordError {}

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
/// than two samples. Takes time in proportion to the bytes.
pub fn read(
    bytes: &[u8],
    ambient_kpa: Option<f64>,
    want_pressure: bool,
) -> Result<(Record, Vec<Warning>), RecordError> {
    let text = text(bytes)?;
    let mut rows = Rows::new(text);
    let Some((line, header)) = rows.next()? else {
        let (found, needed) = ("an empty file".to_owned(), "a header and two samples are needed".to_owned());
        return Err(RecordError { line: None, column: None, found, needed });
    };
    let (layout, warnings) = Layout::new(line, header, ambient_kpa, want_pressure)?;
    let mut builder = Builder::new(&layout);
    let mut last_line = line;
    while let Some((line, row)) = rows.next()? {
        last_line = line;
        let (cells, columns) = (row.len(), layout.columns.len());
        if cells != columns {
            let comma = if cells > columns { "; a decimal is written 134.5, not 134,5" } else { "" };
            let needed = format!("{columns} are needed, as in the header{comma}");
            return Err(RecordError::at(line, count(cells, "cell"), needed));
        }
        for (column, cell) in layout.columns.iter().zip(row) {
            builder
                .take(column.meaning, cell)
                .map_err(|(found, needed)| RecordError::at(line, found, needed).in_column(&column.name))?;
        }
    }
    let samples = builder.record.time_s.len();
    if samples < 2 {
        return Err(RecordError::at(last_line, count(samples, "sample"), "at least two are needed"));
    }
    Ok((builder.record, warnings))
}

/// The text without a byte order mark. U+0000 is refused here because no store of text takes it.
fn text(bytes: &[u8]) -> Result<&[u8], RecordError> {
    let line_of = |at: usize| 1 + bytes.iter().take(at).filter(|byte| **byte == b'\n').count() as u64;
    if let Err(error) = std::str::from_utf8(bytes) {
        let line = line_of(error.valid_up_to());
        return Err(RecordError::at(line, "bytes that are not UTF-8", "text in UTF-8 is needed"));
    }
    if let Some(at) = bytes.iter().position(|byte| *byte == 0) {
        return Err(RecordError::at(line_of(at), "the character U+0000", "text without it is needed"));
    }
    Ok(bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes))
}

/// The record as far as it was read.
struct Builder {
    record: Record,
    first_time: Option<chrono::DateTime<chrono::FixedOffset>>,
}

/// What was found in a cell and what is needed instead.
type Fault = (String, String);

impl Builder {
    fn new(layout: &Layout) -> Self {
        let record = Record {
            channels: layout.channels(),
            pressure_kpa_abs: layout.has_pressure().then(Vec::new),
            ..Record::default()
        };
        Self { record, first_time: None }
    }

    fn take(&mut self, meaning: Meaning, cell: &[u8]) -> Result<(), Fault> {
        match meaning {
            Meaning::Ignored => Ok(()),
            Meaning::Seconds => {
                let time_s = number(cell)?;
                if time_s.abs() > FARTHEST_S {
                    return Err((quoted(cell), "a time within 1e10 s of the start is needed".to_owned()));
                }
                self.take_time(time_s, cell)
            }
            Meaning::Instant => self.take_instant(cell),
            Meaning::Temperature(channel) => {
                let temp_c = number(cell)?;
                if !(COLDEST_C..=HOTTEST_C).contains(&temp_c) {
                    let needed = "a temperature from -273.15 to 3000 °C is needed".to_owned();
                    return Err((quoted(cell), needed));
                }
                if let Some(channel) = self.record.channels.get_mut(channel) {
                    channel.temp_c.push(temp_c);
                }
                Ok(())
            }
            Meaning::Pressure { kpa_per_unit, add_kpa } => {
                let pressure_kpa_abs = number(cell)? * kpa_per_unit + add_kpa;
                if !pressure_kpa_abs.is_finite() {
                    return Err((quoted(cell), "a finite number is needed".to_owned()));
                }
                if let Some(pressure) = &mut self.record.pressure_kpa_abs {
                    pressure.push(pressure_kpa_abs);
                }
                Ok(())
            }
        }
    }

    fn take_instant(&mut self, cell: &[u8]) -> Result<(), Fault> {
        let instant = std::str::from_utf8(cell)
            .ok()
            .and_then(|text| chrono::DateTime::parse_from_rfc3339(text.trim()).ok())
            .ok_or_else(|| {
                let example = "a time such as 2026-03-02T23:57:00+02:00 (RFC 3339) is needed";
                (quoted(cell), example.to_owned())
            })?;
        let first = *self.first_time.get_or_insert(instant);
        let since = instant.signed_duration_since(first);
        let time_s = match since.num_nanoseconds() {
            Some(nanoseconds) => nanoseconds as f64 / 1e9,
            None => since.num_milliseconds() as f64 / 1e3,
        };
        if time_s.abs() > FARTHEST_S {
            return Err((quoted(cell), "a time within 1e10 s of the first is needed".to_owned()));
        }
        let us = instant.timestamp_micros();
        self.record.started_us.get_or_insert(us);
        self.record.ended_us = Some(us);
        self.take_time(time_s, cell)
    }

    fn take_time(&mut self, time_s: f64, cell: &[u8]) -> Result<(), Fault> {
        if let Some(before_s) = self.record.time_s.last().filter(|before_s| time_s <= **before_s) {
            let what = if time_s == *before_s { "stands still" } else { "goes back" };
            let found = format!("{}, where the time {what}", quoted(cell));
            return Err((found, "a time later than in the line before is needed".to_owned()));
        }
        self.record.time_s.push(time_s);
        Ok(())
    }
}

/// A finite number with a decimal point, white space around it aside.
fn number(cell: &[u8]) -> Result<f64, Fault> {
    let trimmed = cell.trim_ascii();
    let parsed = std::str::from_utf8(trimmed).ok().and_then(|text| text.parse::<f64>().ok());
    match parsed {
        Some(value) if value.is_finite() => Ok(value),
        _ if trimmed.is_empty() => Err(("an empty cell".to_owned(), "a number is needed".to_owned())),
        _ if trimmed.contains(&b',') => {
            let needed = "a number with a decimal point is needed, not with a comma".to_owned();
            Err((quoted(cell), needed))
        }
        _ => Err((quoted(cell), "a finite number is needed".to_owned())),
    }
}

pub(super) fn count(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}

fn quoted(cell: &[u8]) -> String {
    format!("\"{}\"", excerpt(cell))
}

/// The beginning of foreign text, fit for one line of a message.
pub(super) fn excerpt(text: &[u8]) -> String {
    /// Enough to recognise a cell by.
    const SHOWN: usize = 40;
    // A character takes at most four bytes, so that a huge cell is not decoded as a whole.
    let start = text.get(..4 * SHOWN).unwrap_or(text);
    let decoded = String::from_utf8_lossy(start);
    let shown: String =
        decoded.chars().take(SHOWN).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if shown.len() < text.len() { shown + "…" } else { shown }
}
