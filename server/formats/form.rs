//! How the files of one machine read, where they are not in the plain form: its record form.

use std::collections::BTreeSet;
use std::fmt::Write;

use chrono::NaiveDate;
use chrono::format::{Item, StrftimeItems};
use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::ToSchema;

/// How many lines may stand before a table, and rows under its header.
const SKIPPED_MOST: u32 = 1_000;
const COLUMNS_MOST: usize = 100;
const MARKS_MOST: usize = 10;
const NAME_LONGEST: usize = 200;
const CHANNEL_LONGEST: usize = 40;

/// What a machine's files are made of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Form {
    #[serde(default)]
    pub separator: Separator,
    #[serde(default)]
    pub decimal: DecimalSign,
    /// Of a file that is no UTF-8; what is UTF-8 is read as such.
    #[serde(default)]
    pub encoding: Encoding,
    /// Lines before the header.
    #[serde(default)]
    pub skip_lines: u32,
    /// Rows between the header and the first sample: units, for instance.
    #[serde(default)]
    pub skip_rows: u32,
    pub columns: Vec<Column>,
    /// What the lines before the header say.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub marks: Vec<Mark>,
    pub time: TimeForm,
    /// How day and time are written, where `time` is `pattern`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pattern: Option<String>,
    /// The zone of a time by pattern; the site's where it is not named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// The absolute pressure of the air around the machine, for gauge pressure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>)]
    pub ambient_kpa: Option<Decimal>,
    /// What the machine calls itself in its files, where that is not its code here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub called: Option<String>,
}

/// What stands between two cells: one character. `tab` may be written for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Separator(pub char);

impl Default for Separator {
    fn default() -> Self {
        Separator(',')
    }
}

impl Serialize for Separator {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        if self.0 == '\t' { to.serialize_str("tab") } else { to.collect_str(&self.0) }
    }
}

impl<'de> Deserialize<'de> for Separator {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let mut letters = text.chars();
        match (text.as_str(), letters.next(), letters.next()) {
            ("tab", ..) => Ok(Separator('\t')),
            (_, Some(one), None)
                if one == '\t' || !(one.is_alphanumeric() || one.is_control() || one == '"') =>
            {
                Ok(Separator(one))
            }
            _ => Err(serde::de::Error::custom(format!(
                "found \"{text}\"; one character that is no letter, digit or quotation mark, or tab, is needed"
            ))),
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub enum DecimalSign {
    #[default]
    #[serde(rename = ".")]
    Point,
    #[serde(rename = ",")]
    Comma,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub enum Encoding {
    #[default]
    #[serde(rename = "utf-8")]
    Utf8,
    #[serde(rename = "windows-1252")]
    Windows1252,
    #[serde(rename = "utf-16le")]
    Utf16Le,
    #[serde(rename = "utf-16be")]
    Utf16Be,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Column {
    /// Its name in the file, matched exactly.
    pub column: String,
    pub is: Is,
    /// Of a temperature channel, where there are several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<Reference>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Is {
    /// The day of a time by pattern, where it has a column of its own: it is read before the time, with a space between.
    Date,
    Time,
    Temperature,
    Pressure,
    CycleNo,
    Machine,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum Unit {
    #[serde(rename = "°C")]
    Celsius,
    #[serde(rename = "°F")]
    Fahrenheit,
    #[serde(rename = "kpa")]
    Kpa,
    #[serde(rename = "mbar")]
    Mbar,
    #[serde(rename = "bar")]
    Bar,
    #[serde(rename = "psi")]
    Psi,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum Reference {
    #[serde(rename = "abs")]
    Absolute,
    #[serde(rename = "gauge")]
    Gauge,
}

/// A line before the header that says something after its beginning, as `Cycle no.: 311`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Mark {
    pub line: String,
    pub is: Is,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TimeForm {
    /// Seconds from the start.
    Seconds,
    /// Minutes from the start.
    Minutes,
    /// Hours, minutes and seconds of the day, which go on over midnight.
    Clock,
    /// Day and time by `pattern`, in `zone`.
    Pattern,
    Rfc3339,
}

/// What is wrong with a form: a JSON Pointer into it, what was found and what is needed.
pub type Fault = (String, String);

fn fault<T>(at: impl Into<String>, detail: impl Into<String>) -> Result<T, Fault> {
    Err((at.into(), detail.into()))
}

impl Form {
    /// Whether a file can be read by it.
    ///
    /// # Errors
    /// The first fault.
    pub fn check(&self) -> Result<(), Fault> {
        for (name, many) in [("skip_lines", self.skip_lines), ("skip_rows", self.skip_rows)] {
            if many > SKIPPED_MOST {
                return fault(format!("/{name}"), format!("found {many}; at most {SKIPPED_MOST} are needed"));
            }
        }
        if self.columns.len() > COLUMNS_MOST || self.marks.len() > MARKS_MOST {
            let detail = format!(
                "found {} columns and {} marks; at most {COLUMNS_MOST} and {MARKS_MOST} are needed",
                self.columns.len(),
                self.marks.len()
            );
            return fault("/columns", detail);
        }
        let mut channels = BTreeSet::new();
        let mut names = BTreeSet::new();
        for (i, column) in self.columns.iter().enumerate() {
            let at = |field: &str| format!("/columns/{i}/{field}");
            let long = column.column.chars().count();
            if column.column.trim().is_empty() || long > NAME_LONGEST {
                return fault(
                    at("column"),
                    format!("found {long} characters; 1 to {NAME_LONGEST} are needed"),
                );
            }
            if !names.insert(column.column.trim()) {
                return fault(at("column"), "found the name twice");
            }
            column.check(&at)?;
            if column.is == Is::Temperature && !channels.insert(column.channel()) {
                return fault(at("name"), "found two temperatures of one name; a name for each is needed");
            }
        }
        self.check_counts()?;
        self.check_time()?;
        if self.ambient_kpa.is_some_and(|kpa| kpa <= Decimal::ZERO || kpa > Decimal::from(200)) {
            return fault("/ambient_kpa", "found no pressure of air; above 0 and at most 200 kPa is needed");
        }
        if self.called.as_ref().is_some_and(|it| it.trim().is_empty() || it.chars().count() > NAME_LONGEST) {
            return fault("/called", format!("found no name; 1 to {NAME_LONGEST} characters are needed"));
        }
        Ok(())
    }

    fn count(&self, is: Is) -> usize {
        self.columns.iter().filter(|column| column.is == is).count()
            + self.marks.iter().filter(|mark| mark.is == is).count()
    }

    fn check_counts(&self) -> Result<(), Fault> {
        for (i, mark) in self.marks.iter().enumerate() {
            if !matches!(mark.is, Is::CycleNo | Is::Machine) {
                return fault(
                    format!("/marks/{i}/is"),
                    "found no cycle_no and no machine; one of them is needed",
                );
            }
            if mark.line.trim().is_empty() || mark.line.chars().count() > NAME_LONGEST {
                let detail =
                    format!("found no beginning of a line; 1 to {NAME_LONGEST} characters are needed");
                return fault(format!("/marks/{i}/line"), detail);
            }
        }
        let times = self.count(Is::Time);
        if times != 1 {
            return fault("/columns", format!("found {times} columns that are the time; one is needed"));
        }
        if self.count(Is::Temperature) == 0 {
            return fault("/columns", "found no temperature; one at least is needed");
        }
        for (is, what) in [
            (Is::Pressure, "pressure"),
            (Is::Date, "date"),
            (Is::CycleNo, "cycle number"),
            (Is::Machine, "machine"),
        ] {
            if self.count(is) > 1 {
                return fault("/columns", format!("found the {what} twice; one at most is needed"));
            }
        }
        if self.count(Is::Date) == 1 && self.time != TimeForm::Pattern {
            return fault("/time", "found a column with the day; a time by pattern is needed with it");
        }
        Ok(())
    }

    fn check_time(&self) -> Result<(), Fault> {
        match (self.time, &self.pattern) {
            (TimeForm::Pattern, Some(pattern)) => check_pattern(pattern)?,
            (TimeForm::Pattern, None) => {
                return fault("/pattern", "missing; how day and time are written is needed");
            }
            (_, Some(_)) => {
                return fault("/pattern", "found a pattern; a time that is pattern is needed with it");
            }
            (_, None) => {}
        }
        match &self.zone {
            Some(_) if self.time != TimeForm::Pattern => {
                fault("/zone", "found a zone; only a time by pattern has one")
            }
            Some(zone) if zone.parse::<chrono_tz::Tz>().is_err() => {
                fault("/zone", format!("found \"{zone}\"; a zone such as Europe/Berlin is needed"))
            }
            _ => Ok(()),
        }
    }

    /// The form with the zone of its times, so that it reads the same wherever it is taken.
    pub fn in_zone(mut self, zone: chrono_tz::Tz) -> Form {
        if self.time == TimeForm::Pattern && self.zone.is_none() {
            self.zone = Some(zone.name().to_string());
        }
        self
    }

    /// Whether its pressure is gauge pressure, which needs the ambient one.
    pub fn reads_gauge(&self) -> bool {
        self.columns.iter().any(|column| column.reference == Some(Reference::Gauge))
    }
}

impl Column {
    fn check(&self, at: &dyn Fn(&str) -> String) -> Result<(), Fault> {
        let temperature = matches!(self.unit, Some(Unit::Celsius | Unit::Fahrenheit));
        match (self.is, self.unit) {
            (Is::Temperature, _) if !temperature => {
                return fault(at("unit"), "found no unit of a temperature; °C or °F is needed");
            }
            (Is::Pressure, None) => return fault(at("unit"), "missing; kpa, mbar, bar or psi is needed"),
            (Is::Pressure, Some(_)) if temperature => {
                return fault(at("unit"), "found a unit of temperature; kpa, mbar, bar or psi is needed");
            }
            (Is::Pressure, _) if self.reference.is_none() => {
                return fault(at("reference"), "missing; abs or gauge is needed");
            }
            (Is::Temperature | Is::Pressure, _) => {}
            (_, Some(_)) => {
                return fault(at("unit"), "found a unit; only a temperature or a pressure has one");
            }
            (_, None) => {}
        }
        if self.is != Is::Pressure && self.reference.is_some() {
            return fault(at("reference"), "found a reference; only a pressure has one");
        }
        let Some(name) = &self.name else { return Ok(()) };
        if self.is != Is::Temperature {
            return fault(at("name"), "found a name; only a temperature has one");
        }
        let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-');
        if name.is_empty() || name.len() > CHANNEL_LONGEST || !name.chars().all(plain) {
            let detail = format!(
                "found \"{name}\"; 1 to {CHANNEL_LONGEST} letters of ASCII, digits, hyphens or underscores are needed"
            );
            return fault(at("name"), detail);
        }
        Ok(())
    }

    /// The channel's name in a record, as the plain form writes it.
    pub fn channel(&self) -> String {
        self.name.as_ref().map_or_else(|| "temp_c".into(), |name| format!("temp_c_{name}"))
    }
}

/// A pattern has to give back the very second that was written by it.
fn check_pattern(pattern: &str) -> Result<(), Fault> {
    let needed =
        "a pattern with year, month, day, hour, minute and second, such as %d.%m.%Y %H:%M:%S, is needed";
    let short: String = pattern.chars().take(NAME_LONGEST).collect();
    let unfit = || fault("/pattern", format!("found \"{short}\"; {needed}"));
    let items: Vec<Item> = StrftimeItems::new(pattern).collect();
    if pattern.chars().count() > NAME_LONGEST || items.iter().any(|item| matches!(item, Item::Error)) {
        return unfit();
    }
    let moment = NaiveDate::from_ymd_opt(2026, 3, 2).and_then(|day| day.and_hms_opt(23, 57, 9));
    let Some(moment) = moment else { return unfit() };
    let mut written = String::new();
    // A zone in the pattern cannot be written, since the moment has none.
    if write!(written, "{}", moment.format_with_items(items.iter())).is_err() {
        return unfit();
    }
    match chrono::NaiveDateTime::parse_from_str(&written, pattern) {
        Ok(read) if read == moment => Ok(()),
        _ => unfit(),
    }
}
