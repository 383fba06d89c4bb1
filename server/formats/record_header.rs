//! The header of a cycle record: which column means what.

use std::collections::BTreeSet;

use crate::analysis::record::Channel;

use super::record::{RecordError, Warning, count, excerpt};
use super::record_rows::cell;

/// kPa in one pound-force per square inch: 4.448 221 615 260 5 N on (0.0254 m)² (NIST SP 811, appendix B).
const KPA_PER_PSI: f64 = 6.894_757_293_168_361;

/// The units that a pressure column may name, with their worth in kPa.
const PRESSURE_UNITS: [(&str, f64); 4] = [("kpa", 1.0), ("mbar", 0.1), ("bar", 100.0), ("psi", KPA_PER_PSI)];

const PRESSURE_NEEDED: &str = "a name with unit and reference is needed: pressure_ followed by kpa, mbar, bar \
     or psi and by _abs or _gauge, such as pressure_kpa_abs";

/// What the cells of a column are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Meaning {
    /// Seconds from the start.
    Seconds,
    /// RFC 3339.
    Instant,
    /// Degrees Celsius of the channel with this position in the record.
    Temperature(usize),
    /// A pressure; times the one and plus the other it is absolute, in kPa.
    Pressure {
        kpa_per_unit: f64,
        add_kpa: f64,
    },
    Ignored,
}

#[derive(Clone, Debug)]
pub(super) struct Column {
    pub(super) name: String,
    pub(super) meaning: Meaning,
}

pub(super) struct Layout {
    pub(super) columns: Vec<Column>,
}

impl Layout {
    /// Reads the header, which stands at `line`.
    pub(super) fn new(
        line: u64,
        header: &[u8],
        ambient_kpa: Option<f64>,
        want_pressure: bool,
    ) -> Result<(Self, Vec<Warning>), RecordError> {
        let mut columns = Vec::new();
        let mut warnings = Vec::new();
        let mut names = BTreeSet::new();
        let mut channels = 0;
        let refuse =
            |name: &str, found: &str, needed: &str| Err(RecordError::at(line, found, needed).in_column(name));
        for (i, cell) in cells(line, header)?.iter().enumerate() {
            let name = cell.trim().to_owned();
            if !names.insert(name.clone()) {
                return refuse(&name, "the name twice", "a name of its own for each column is needed");
            }
            let meaning = match name.as_str() {
                "time_s" => Meaning::Seconds,
                "time" => Meaning::Instant,
                "temp_c_" => {
                    return refuse(
                        &name,
                        "nothing after the underscore",
                        "temp_c or temp_c_<name> is needed",
                    );
                }
                _ if name == "temp_c" || name.starts_with("temp_c_") => {
                    channels += 1;
                    Meaning::Temperature(channels - 1)
                }
                _ if want_pressure && name.starts_with("pressure") => {
                    if columns.iter().any(Column::is_pressure) {
                        return refuse(&name, "a second pressure column", "one at most is needed");
                    }
                    match pressure(&name, ambient_kpa) {
                        Ok(meaning) => meaning,
                        Err((found, needed)) => return refuse(&name, &found, needed),
                    }
                }
                _ if differs_by_case(&name, want_pressure) => {
                    let needed = "small letters are needed, as in temp_c_drain or pressure_kpa_abs: a channel \
                                  that is passed over would not be judged";
                    return refuse(
                        &name,
                        "a name that differs by its capital letters from one that is read",
                        needed,
                    );
                }
                _ => {
                    let column = if name.is_empty() { (i + 1).to_string() } else { excerpt(cell.as_bytes()) };
                    warnings.push(Warning { column });
                    Meaning::Ignored
                }
            };
            columns.push(Column { name, meaning });
        }
        let layout = Self { columns };
        layout.check(line)?;
        Ok((layout, warnings))
    }

    /// Whether there is one time and at least one temperature.
    fn check(&self, line: u64) -> Result<(), RecordError> {
        if self.columns.iter().any(|column| column.name.contains('\r')) {
            let found = "lines that end with a carriage return alone";
            return Err(RecordError::at(line, found, "a line feed at the end of each line is needed"));
        }
        let first = self.columns.first().map(|column| column.name.as_str()).unwrap_or_default();
        if self.columns.len() == 1 && first.contains([';', '\t']) {
            let found = "cells that no comma separates";
            return Err(RecordError::at(line, found, "commas are needed, and decimals with a point"));
        }
        let times =
            self.columns.iter().filter(|c| matches!(c.meaning, Meaning::Seconds | Meaning::Instant)).count();
        if times != 1 {
            let found = if times == 0 { "no time column" } else { "both time_s and time" };
            return Err(RecordError::at(line, found, "one column time_s or time is needed"));
        }
        if self.channels().is_empty() {
            let found = format!("no temperature among {}", count(self.columns.len(), "column"));
            return Err(RecordError::at(line, found, "a column temp_c or temp_c_<name> is needed"));
        }
        Ok(())
    }

    /// The channels, without values yet.
    pub(super) fn channels(&self) -> Vec<Channel> {
        let channels = self.columns.iter().filter(|c| matches!(c.meaning, Meaning::Temperature(_)));
        channels.map(|c| Channel { name: c.name.clone(), temp_c: Vec::new() }).collect()
    }

    pub(super) fn has_pressure(&self) -> bool {
        self.columns.iter().any(Column::is_pressure)
    }
}

impl Column {
    fn is_pressure(&self) -> bool {
        matches!(self.meaning, Meaning::Pressure { .. })
    }
}

/// Whether a column would be read if its name stood in small letters.
fn differs_by_case(name: &str, want_pressure: bool) -> bool {
    let small = name.to_ascii_lowercase();
    let known =
        small == "temp_c" || small.starts_with("temp_c_") || (want_pressure && small.starts_with("pressure"));
    known && small != name
}

/// The name of the pressure column of a record in the plain form.
pub fn pressure_column(header: &[u8]) -> Option<String> {
    let header = header.strip_prefix("\u{feff}".as_bytes()).unwrap_or(header);
    let line = header.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let names = cells(1, line.strip_suffix(b"\r").unwrap_or(line)).ok()?;
    names.into_iter().map(|name| name.trim().to_owned()).find(|name| name.starts_with("pressure"))
}

/// The byte order marks of UTF-16.
fn is_utf_16(header: &[u8]) -> bool {
    header.starts_with(&[0xff, 0xfe]) || header.starts_with(&[0xfe, 0xff])
}

/// The names in a header.
fn cells(line: u64, header: &[u8]) -> Result<Vec<String>, RecordError> {
    if is_utf_16(header) {
        let needed = "text in UTF-8 is needed, or a record form of the machine, which reads UTF-16";
        return Err(RecordError::at(line, "a file in UTF-16, as its first two bytes say", needed));
    }
    let (mut rest, mut names) = (Some(header), Vec::new());
    while let Some(text) = rest {
        let place = |error: RecordError| error.in_column(&(names.len() + 1).to_string());
        let (name, next) = cell(text).map_err(|found| {
            place(RecordError::at(line, found, "the name of each column whole on the line is needed"))
        })?;
        if name.contains(&0) {
            let needed = "text without it is needed; where the file is UTF-16, a record form that says so";
            return Err(place(RecordError::at(line, "the character U+0000", needed)));
        }
        let name = String::from_utf8(name.into_owned()).map_err(|_| {
            place(RecordError::at(line, "bytes that are not UTF-8", "text in UTF-8 is needed"))
        })?;
        names.push(name);
        rest = next;
    }
    Ok(names)
}

/// What a pressure column means, or what was found and what is needed.
///
/// A bare "2.1 bar" is refused: at 1,500 m of altitude the same gauge pressure is steam 2 K colder.
fn pressure(name: &str, ambient_kpa: Option<f64>) -> Result<Meaning, (String, &'static str)> {
    let unclear = || ("a pressure that is not fully named".to_owned(), PRESSURE_NEEDED);
    let (unit, reference) =
        name.strip_prefix("pressure_").and_then(|rest| rest.split_once('_')).ok_or_else(unclear)?;
    let (_, kpa_per_unit) =
        PRESSURE_UNITS.into_iter().find(|(known, _)| *known == unit).ok_or_else(unclear)?;
    let add_kpa = match (reference, ambient_kpa) {
        ("abs", _) => 0.0,
        ("gauge", Some(ambient_kpa)) if ambient_kpa.is_finite() && ambient_kpa > 0.0 => ambient_kpa,
        ("gauge", Some(ambient_kpa)) => {
            let found = format!("gauge pressure and an ambient pressure of {ambient_kpa} kPa");
            return Err((found, "an ambient pressure above 0 kPa is needed"));
        }
        ("gauge", None) => {
            let found = "gauge pressure without the ambient pressure".to_owned();
            return Err((found, "the ambient pressure in kPa is needed, or an absolute pressure"));
        }
        _ => return Err(unclear()),
    };
    Ok(Meaning::Pressure { kpa_per_unit, add_kpa })
}
