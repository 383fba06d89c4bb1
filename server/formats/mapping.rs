//! A machine's own file, read by its record form into the record that the plain form gives.
//!
//! Every conversion is one of decimal numbers, rounded once to the nearest double: 273.2 °F is 134 °C and not a hair less,
//! and 3042.5 mbar are the very kPa that 304.25 kPa are.

use std::borrow::Cow;
use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;

use super::encoding::{decoded, readable};
use super::form::{Column, DecimalSign, Form, Is, Mark, Reference, Separator};
use super::json::normal;
use super::lines::{cells, numbered};
use super::mapping_cell::{Measure, Sign};
use super::mapping_time::Clock;
use super::record::{RecordError, Warning, count, excerpt};
use super::said::{Said, Saying};
use crate::analysis::record::{COLDEST_C, Channel, HOTTEST_C, Record};

/// What a file gave.
#[derive(Clone, Debug, PartialEq)]
pub struct Mapped {
    pub record: Record,
    pub warnings: Vec<Warning>,
    pub said: Said,
}

/// Reads a file by a form. Without `want_pressure` a pressure is passed over, and needs no ambient one.
///
/// # Errors
/// The first fault from the top of the file: its line, counted from 1 with the lines before the header, its column, what
/// was found and what is needed. Takes time in proportion to the bytes.
pub fn read(
    bytes: &[u8],
    form: &Form,
    ambient_kpa: Option<Decimal>,
    want_pressure: bool,
) -> Result<Mapped, RecordError> {
    let text = decoded(bytes, form.encoding)?;
    let mut lines = numbered(&text);
    let mut saying = Saying::default();
    marks(&mut lines, form, &mut saying)?;
    let separator = form.separator.0;
    let Some((at, header)) = lines.next() else {
        let found = format!("a file that ends before line {}", u64::from(form.skip_lines) + 1);
        return Err(whole(found, "a header and two samples are needed"));
    };
    let names = cells(header, separator).map_err(|()| broken(at))?;
    let ambient_kpa = ambient_kpa.or(form.ambient_kpa);
    let (parts, warnings) = Parts::of(at, &names, form, ambient_kpa, want_pressure)?;
    let mut lines = lines.skip(form.skip_rows as usize).peekable();
    let mut building = Building::new(form, &parts)?;
    let mut last = at;
    while let Some((at, line)) = lines.next() {
        last = at;
        if line.trim().is_empty() {
            if lines.all(|(_, line)| line.trim().is_empty()) {
                break;
            }
            return Err(fault(at, None, "an empty line", "a sample on each line is needed"));
        }
        let row = cells(line, separator).map_err(|()| broken(at))?;
        if row.len() != names.len() {
            let needed = format!("{} are needed, as in the header of the file", names.len());
            return Err(fault(at, None, count(row.len(), "cell"), needed));
        }
        building.take(at, &row, &parts, &mut saying)?;
    }
    let samples = building.record.time_s.len();
    if samples < 2 {
        return Err(fault(last, None, count(samples, "sample"), "at least two are needed"));
    }
    Ok(Mapped { record: building.record, warnings, said: saying.said })
}

pub(super) fn fault(
    line: u64,
    column: Option<&str>,
    found: impl Into<String>,
    needed: impl Into<String>,
) -> RecordError {
    let column = column.map(|name| excerpt(name.as_bytes()));
    RecordError { line: Some(line), column, found: found.into(), needed: needed.into() }
}

fn whole(found: impl Into<String>, needed: &str) -> RecordError {
    RecordError { line: None, column: None, found: found.into(), needed: needed.into() }
}

pub(super) fn broken(line: u64) -> RecordError {
    fault(line, None, "a quotation mark without its second", "cells with both, or with none, are needed")
}

/// The beginning of a sample: its first lines, and the names of its columns.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beginning {
    pub lines: Vec<String>,
    pub header: Vec<String>,
}

/// How many lines, and how much of each, are shown.
const LINES_SHOWN: usize = 12;
const LINE_SHOWN: usize = 160;
const NAMES_MOST: usize = 60;

/// Reads the beginning of a sample by as much of a form, as JSON, as can be meant.
pub fn beginning(bytes: &[u8], form: &serde_json::Value) -> Beginning {
    let of = |name: &str| form.get(name).cloned().unwrap_or_default();
    let separator: Separator = serde_json::from_value(of("separator")).unwrap_or_default();
    let skipped = of("skip_lines").as_u64().and_then(|lines| usize::try_from(lines).ok()).unwrap_or(0);
    let text = readable(bytes, serde_json::from_value(of("encoding")).unwrap_or_default());
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let visible = |c: char| {
        if c == '\t' {
            '→'
        } else if c.is_control() {
            '\u{fffd}'
        } else {
            c
        }
    };
    let shown = |line: &str| line.chars().take(LINE_SHOWN).map(visible).collect();
    let header = numbered(text).nth(skipped).and_then(|(_, line)| cells(line, separator.0).ok());
    let names = header.unwrap_or_default().into_iter().take(NAMES_MOST);
    Beginning {
        lines: numbered(text).take(LINES_SHOWN).map(|(_, line)| shown(line)).collect(),
        header: names.map(|name| normal(&name).chars().take(LINE_SHOWN).collect()).collect(),
    }
}

/// Passes over the lines before the header, and keeps what they say of the cycle.
fn marks<'a>(
    lines: &mut impl Iterator<Item = (u64, &'a str)>,
    form: &Form,
    saying: &mut Saying,
) -> Result<(), RecordError> {
    let mut found: Vec<&Mark> = Vec::new();
    for (at, line) in lines.take(form.skip_lines as usize) {
        let line = normal(line.trim().trim_matches('"'));
        for mark in &form.marks {
            let Some(rest) = line.strip_prefix(mark.line.trim()).filter(|_| !found.contains(&mark)) else {
                continue;
            };
            found.push(mark);
            let around = |c: char| c.is_whitespace() || c == form.separator.0 || matches!(c, ':' | '=' | '"');
            saying.take(at, &mark.line, mark.is, rest.trim_matches(around))?;
        }
    }
    match form.marks.iter().find(|mark| !found.contains(mark)) {
        None => Ok(()),
        Some(missing) => {
            let found = format!("no line that begins with \"{}\"", excerpt(missing.line.as_bytes()));
            Err(whole(found, "one before the header is needed, as the machine's record form says"))
        }
    }
}

/// What the cells of a row are, in their order.
pub(super) struct Part<'f> {
    name: &'f str,
    role: Role,
}

enum Role {
    Passed,
    Date,
    Time,
    Temperature(usize, Measure),
    Pressure(Measure),
    Said(Is),
}

pub(super) struct Parts<'f>(Vec<Part<'f>>);

impl<'f> Parts<'f> {
    fn of(
        line: u64,
        names: &[Cow<str>],
        form: &'f Form,
        ambient_kpa: Option<Decimal>,
        want_pressure: bool,
    ) -> Result<(Parts<'f>, Vec<Warning>), RecordError> {
        let names: Vec<String> = names.iter().map(|name| normal(name)).collect();
        let known: BTreeSet<&str> = form.columns.iter().map(|column| column.column.trim()).collect();
        for name in &known {
            let times = names.iter().filter(|it| it == name).count();
            if times == 0 {
                let found = format!("no column of that name among {}", excerpt(names.join(" | ").as_bytes()));
                let needed = "the columns of the machine's record form are needed";
                return Err(fault(line, Some(name), found, needed));
            }
            if times > 1 {
                return Err(fault(
                    line,
                    Some(name),
                    "the name twice",
                    "a name of its own for each column is needed",
                ));
            }
        }
        let mut channels = 0;
        let (mut parts, mut warnings) = (Vec::new(), Vec::new());
        for (i, name) in names.iter().enumerate() {
            let Some(column) = form.columns.iter().find(|column| column.column.trim() == name) else {
                let column = if name.is_empty() { (i + 1).to_string() } else { excerpt(name.as_bytes()) };
                warnings.push(Warning { column });
                parts.push(Part { name: "", role: Role::Passed });
                continue;
            };
            let role = match column.is {
                Is::Date => Role::Date,
                Is::Time => Role::Time,
                Is::CycleNo | Is::Machine => Role::Said(column.is),
                Is::Temperature => {
                    channels += 1;
                    Role::Temperature(channels - 1, Measure::of(column.unit, Decimal::ZERO))
                }
                Is::Pressure if want_pressure => Role::Pressure(pressure(line, column, ambient_kpa)?),
                Is::Pressure => Role::Passed,
            };
            parts.push(Part { name: &column.column, role });
        }
        Ok((Parts(parts), warnings))
    }

    /// The channels in the order of the file's columns, without values yet.
    fn channels(&self, form: &Form) -> Vec<Channel> {
        let temperatures = self.0.iter().filter(|part| matches!(part.role, Role::Temperature(..)));
        let named =
            temperatures.filter_map(|part| form.columns.iter().find(|column| column.column == part.name));
        named.map(|column| Channel { name: column.channel(), temp_c: Vec::new() }).collect()
    }
}

fn pressure(line: u64, column: &Column, ambient_kpa: Option<Decimal>) -> Result<Measure, RecordError> {
    match (column.reference, ambient_kpa) {
        (Some(Reference::Gauge), None) => Err(fault(
            line,
            Some(&column.column),
            "gauge pressure without the ambient pressure",
            "the ambient pressure in kPa is needed, or an absolute pressure",
        )),
        (Some(Reference::Gauge), Some(ambient_kpa)) => Ok(Measure::of(column.unit, ambient_kpa)),
        (_, _) => Ok(Measure::of(column.unit, Decimal::ZERO)),
    }
}

/// The record as far as it was read.
struct Building {
    record: Record,
    clock: Clock,
    sign: Sign,
}

impl Building {
    fn new(form: &Form, parts: &Parts) -> Result<Building, RecordError> {
        let has_pressure = parts.0.iter().any(|part| matches!(part.role, Role::Pressure(_)));
        let zone: Tz = match form.zone.as_deref().map(str::parse) {
            None => Tz::UTC,
            Some(Ok(zone)) => zone,
            Some(Err(_)) => {
                let found = format!("a form with the zone \"{}\"", form.zone.as_deref().unwrap_or_default());
                return Err(whole(found, "a zone such as Europe/Berlin is needed"));
            }
        };
        Ok(Building {
            record: Record {
                channels: parts.channels(form),
                pressure_kpa_abs: has_pressure.then(Vec::new),
                ..Record::default()
            },
            clock: Clock::new(form.time, form.pattern.as_deref().unwrap_or_default(), zone),
            sign: match form.decimal {
                DecimalSign::Point => Sign::POINT,
                DecimalSign::Comma => Sign::COMMA,
            },
        })
    }

    fn take(
        &mut self,
        line: u64,
        row: &[Cow<str>],
        parts: &Parts,
        saying: &mut Saying,
    ) -> Result<(), RecordError> {
        let date = parts.0.iter().zip(row).find(|(part, _)| matches!(part.role, Role::Date));
        let date = date.map_or("", |(_, cell)| cell);
        for (part, cell) in parts.0.iter().zip(row) {
            let wrong = |(found, needed)| fault(line, Some(part.name), found, needed);
            match &part.role {
                Role::Passed | Role::Date => {}
                Role::Said(is) => saying.take(line, part.name, *is, cell)?,
                Role::Time => self.time(date, cell).map_err(wrong)?,
                Role::Temperature(channel, measure) => {
                    let temp_c = measure.read(cell, self.sign).map_err(wrong)?;
                    if !(COLDEST_C..=HOTTEST_C).contains(&temp_c) {
                        let needed = "a temperature from -273.15 to 3000 °C is needed";
                        return Err(fault(line, Some(part.name), quoted(cell), needed));
                    }
                    if let Some(channel) = self.record.channels.get_mut(*channel) {
                        channel.temp_c.push(temp_c);
                    }
                }
                Role::Pressure(measure) => {
                    let kpa = measure.read(cell, self.sign).map_err(wrong)?;
                    if let Some(pressure) = &mut self.record.pressure_kpa_abs {
                        pressure.push(kpa);
                    }
                }
            }
        }
        Ok(())
    }

    fn time(&mut self, date: &str, cell: &str) -> Result<(), (String, String)> {
        let (time_s, instant) = self.clock.read(date, cell, self.sign)?;
        if let Some(before_s) = self.record.time_s.last().filter(|before_s| time_s <= **before_s) {
            let what = if time_s == *before_s { "stands still" } else { "goes back" };
            let found = format!("{}, where the time {what}", quoted(cell));
            return Err((found, "a time later than in the line before is needed".to_owned()));
        }
        self.record.time_s.push(time_s);
        if let Some(at) = instant.map(|at: DateTime<Utc>| at.timestamp_micros()) {
            self.record.started_us.get_or_insert(at);
            self.record.ended_us = Some(at);
        }
        Ok(())
    }
}

pub(super) fn quoted(cell: &str) -> String {
    format!("\"{}\"", excerpt(cell.as_bytes()))
}
