//! The site and its policies: what the house has decided for itself.

use chrono::NaiveTime;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::check::MOST_LINES;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::text::{Line, Quantity};

/// An hour of the day, `HH:MM`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Hour(pub NaiveTime);

impl Serialize for Hour {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(&self.0.format("%H:%M"))
    }
}

impl<'de> Deserialize<'de> for Hour {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        NaiveTime::parse_from_str(&text, "%H:%M")
            .ok()
            .filter(|_| text.len() == 5)
            .map(Hour)
            .ok_or_else(|| serde::de::Error::custom("found no hour; HH:MM is needed, as 06:00"))
    }
}

/// How often the site wants a biological indicator of a steriliser. `periodic` programmes are due weekly at least.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BiologicalPolicy {
    /// On each test day (ST79, from memory: preferably every day used).
    Daily,
    /// MMWR 2003;52(RR17): at least weekly.
    Weekly,
    /// In each steriliser load; none is released without.
    EachLoad,
    /// On the cycle's own record: usual for validated steam in Europe (EN ISO 17665, from memory).
    #[default]
    Parametric,
}

impl BiologicalPolicy {
    pub fn every_days(self) -> Option<u32> {
        match self {
            BiologicalPolicy::Daily => Some(1),
            BiologicalPolicy::Weekly => Some(7),
            BiologicalPolicy::EachLoad | BiologicalPolicy::Parametric => None,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            BiologicalPolicy::Daily => "daily",
            BiologicalPolicy::Weekly => "weekly",
            BiologicalPolicy::EachLoad => "each_load",
            BiologicalPolicy::Parametric => "parametric",
        }
    }
}

/// Any of the site's policies. One that is absent keeps what it was.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct SetPolicy {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub two_people: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub turnaround_minutes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test_day_starts: Option<Hour>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clearance_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub telescope_window_mm: Option<[Quantity; 2]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub retention_years: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub idle_minutes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub biological: Option<BiologicalPolicy>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub biological_overdue_stops: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub leak_rate_every_days: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub solution_record: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undo_minutes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check_lines: Option<Vec<Line>>,
}

impl SetPolicy {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if let Some(n) = self.check_lines.as_ref().map(Vec::len).filter(|n| *n > MOST_LINES) {
            return Err(wrong("/check_lines", format!("found {n} lines; at most {MOST_LINES} are needed")));
        }
        if *self == SetPolicy::default() {
            return Err(wrong("", "found no policy; at least one is needed"));
        }
        if self.telescope_window_mm.is_some_and(|[low, high]| low > high) {
            return Err(wrong(
                "/telescope_window_mm",
                "found the lower limit above the upper; [min, max] is needed",
            ));
        }
        let limits = [
            ("turnaround_minutes", self.turnaround_minutes, 1, 7 * 24 * 60),
            ("retention_years", self.retention_years, 1, 150),
            ("idle_minutes", self.idle_minutes, 1, 24 * 60),
            ("leak_rate_every_days", self.leak_rate_every_days, 0, 31),
            ("undo_minutes", self.undo_minutes, 1, 24 * 60),
        ];
        for (name, value, low, high) in limits {
            if value.is_some_and(|value| !(low..=high).contains(&value)) {
                return Err(wrong(format!("/{name}"), format!("found a value outside {low} to {high}")));
            }
        }
        Ok(())
    }
}

/// The policies in force, each with its default where the site has set none.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Policy {
    /// Loader and releaser of a steriliser load differ. Off until the site says so.
    pub two_people: bool,
    /// From a case's end until its set can be ready again, for planning.
    pub turnaround_minutes: u32,
    /// When a test day begins. Six in the morning: a night's loads stand on the test of the evening before.
    pub test_day_starts: Hour,
    pub clearance_mm: Quantity,
    pub telescope_window_mm: [Quantity; 2],
    pub retention_years: u32,
    /// After so long without an act a session ends.
    pub idle_minutes: u32,
    #[serde(default)]
    pub biological: BiologicalPolicy,
    /// Whether a daily or weekly biological indicator that is overdue stands against a release. Off: it is shown as due.
    #[serde(default)]
    pub biological_overdue_stops: bool,
    /// How often the leak rate of a pre-vacuum steriliser is due. RACGP 2023: each day of use, or weekly where an air
    /// detector is fitted; which of them holds the site says, and until then none is asked for. 0 takes it back.
    #[serde(default)]
    pub leak_rate_every_days: Option<u32>,
    /// A manual disinfection needs the record of its solution. Off until the site says so.
    #[serde(default)]
    pub solution_record: bool,
    /// For so long whoever reported a defect may withdraw the report.
    #[serde(default = "undo_minutes")]
    pub undo_minutes: u32,
    /// Lines of the function check that the site adds to those that follow from the parts.
    #[serde(default)]
    pub check_lines: Vec<Line>,
}

fn undo_minutes() -> u32 {
    10
}

impl Default for Policy {
    fn default() -> Self {
        let mm = |tenths: i64| Quantity(rust_decimal::Decimal::new(tenths, 1).normalize());
        Policy {
            two_people: false,
            turnaround_minutes: 240,
            test_day_starts: Hour(NaiveTime::from_hms_opt(6, 0, 0).unwrap_or_default()),
            clearance_mm: mm(0),
            telescope_window_mm: [mm(-50), mm(150)],
            retention_years: 10,
            idle_minutes: 30,
            biological: BiologicalPolicy::default(),
            biological_overdue_stops: false,
            leak_rate_every_days: None,
            solution_record: false,
            undo_minutes: undo_minutes(),
            check_lines: Vec::new(),
        }
    }
}

impl Policy {
    pub fn set(&mut self, change: &SetPolicy) {
        fn put<T: Clone>(to: &mut T, from: &Option<T>) {
            if let Some(value) = from {
                *to = value.clone();
            }
        }
        put(&mut self.two_people, &change.two_people);
        put(&mut self.turnaround_minutes, &change.turnaround_minutes);
        put(&mut self.test_day_starts, &change.test_day_starts);
        put(&mut self.clearance_mm, &change.clearance_mm);
        put(&mut self.telescope_window_mm, &change.telescope_window_mm);
        put(&mut self.retention_years, &change.retention_years);
        put(&mut self.idle_minutes, &change.idle_minutes);
        put(&mut self.biological, &change.biological);
        put(&mut self.biological_overdue_stops, &change.biological_overdue_stops);
        if let Some(days) = change.leak_rate_every_days {
            self.leak_rate_every_days = Some(days).filter(|days| *days > 0);
        }
        put(&mut self.solution_record, &change.solution_record);
        put(&mut self.undo_minutes, &change.undo_minutes);
        if let Some(lines) = &change.check_lines {
            let mut all: Vec<Line> = Vec::new();
            for line in lines.iter().map(|line| Line(line.0.trim().to_string())) {
                if !line.0.is_empty() && !all.contains(&line) {
                    all.push(line);
                }
            }
            self.check_lines = all;
        }
    }
}

/// The founding of a site: its first entry.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SiteFounded {
    pub name: Line,
    pub timezone: String,
}

pub(super) fn set_policy(deciding: &mut Deciding, it: &SetPolicy) -> Option<What> {
    deciding.touches(None);
    Some(What::PolicySet(it.clone()))
}
