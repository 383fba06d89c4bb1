//! What is wrong with a foreign file, and where.

use std::fmt;

use crate::analysis::steam::OutOfRange;

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

    /// A pressure inside the hold that no saturated steam has, with its place in the file.
    pub fn unsaturated(line: u64, column: Option<&str>, range: &OutOfRange) -> Self {
        let OutOfRange { found, low, high, unit } = range;
        let found = format!("{found} {unit} absolute inside the hold");
        let needed = format!("a pressure on the saturation line of water, {low} to {high} {unit}, is needed");
        let error = Self::at(line, found, needed);
        column.map_or(error.clone(), |column| error.in_column(column))
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

pub(super) fn count(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}

pub(super) fn quoted(cell: &[u8]) -> String {
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
