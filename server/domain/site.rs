//! The site and its policies: what the house has decided for itself.

use std::collections::BTreeMap;

use chrono::NaiveTime;
use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::ToSchema;

pub use super::biological_policy::BiologicalPolicy;
use super::check::MOST_LINES;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::display::{self, DisplayAddress};
use super::event::What;
use super::inspection_checks::CheckRule;
use super::lifetime::Clock;
use super::marking::{self, LabelSize, Marking};
use super::model::Family;
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

/// Any of the site's policies. One that is absent keeps what it was.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
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
    pub telescope_cover_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reach_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cap_hole_ratio: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub way_out_gap_mm: Option<Quantity>,
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
    pub wall_mm: Option<[Quantity; 2]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undo_minutes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check_lines: Option<Vec<Line>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wear_clock: Option<BTreeMap<Family, Clock>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub theatre_minute_cents: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delay_minutes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub borrow_minutes: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspection_checks: Option<Vec<CheckRule>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub company_prefix: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub code_prefix: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub label_sizes: Option<Vec<LabelSize>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wall_addresses: Option<Vec<DisplayAddress>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shift_starts: Option<Vec<Hour>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub immediate_use_forbidden: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clean_within_minutes: Option<u32>,
}

impl SetPolicy {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if let Some(n) = self.check_lines.as_ref().map(Vec::len).filter(|n| *n > MOST_LINES) {
            return Err(wrong("/check_lines", format!("found {n} lines; at most {MOST_LINES} are needed")));
        }
        self.inspection_checks.as_ref().map_or(Ok(()), |rules| super::inspection_checks::whole(rules))?;
        if *self == SetPolicy::default() {
            return Err(wrong("", "found no policy; at least one is needed"));
        }
        marking::whole(self)?;
        self.shift_starts.as_deref().map_or(Ok(()), super::shift::whole)?;
        display::whole(self.wall_addresses.as_deref().unwrap_or_default())?;
        if self.telescope_window_mm.is_some_and(|[low, high]| low > high) {
            return Err(wrong(
                "/telescope_window_mm",
                "found the lower limit above the upper; [min, max] is needed",
            ));
        }
        if self.wall_mm.is_some_and(|[low, high]| low > high || low.0.is_sign_negative()) {
            let detail = "found no band; [min, max] of zero or more, the lower first, is needed";
            return Err(wrong("/wall_mm", detail));
        }
        let sizes = [
            ("clearance_mm", self.clearance_mm, 100),
            ("telescope_cover_mm", self.telescope_cover_mm, 1_000),
            ("reach_mm", self.reach_mm, 1_000),
            ("cap_hole_ratio", self.cap_hole_ratio, 1),
            ("way_out_gap_mm", self.way_out_gap_mm, 100),
        ];
        for (name, value, most) in sizes {
            let within = |it: Quantity| it.0 >= Decimal::ZERO && it.0 <= Decimal::from(most);
            if value.is_some_and(|value| !within(value)) {
                return Err(wrong(format!("/{name}"), format!("found a value outside 0 to {most}")));
            }
        }
        if self.way_out_gap_mm.is_some_and(|gap| gap.0.is_zero()) {
            let detail = "found 0; a way out for gas has a gap, so a value above 0 is needed";
            return Err(wrong("/way_out_gap_mm", detail));
        }
        let limits = [
            ("turnaround_minutes", self.turnaround_minutes, 1, 7 * 24 * 60),
            ("retention_years", self.retention_years, 1, 150),
            ("idle_minutes", self.idle_minutes, 1, 24 * 60),
            ("leak_rate_every_days", self.leak_rate_every_days, 0, 31),
            ("undo_minutes", self.undo_minutes, 1, 24 * 60),
            ("theatre_minute_cents", self.theatre_minute_cents, 0, 10_000_000),
            ("delay_minutes", self.delay_minutes, 0, 24 * 60),
            ("borrow_minutes", self.borrow_minutes, 0, 7 * 24 * 60),
            ("clean_within_minutes", self.clean_within_minutes, 0, 24 * 60),
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
    /// Pulled back, the telescope's tip lies so far inside the barrel. A setting of the site; no published number found.
    #[serde(default = "ten")]
    pub telescope_cover_mm: Quantity,
    /// Forceps and suction reach so far beyond the barrel's end. A setting of the site; no published number found.
    #[serde(default = "twenty")]
    pub reach_mm: Quantity,
    /// A cap's hole is at the least this share of what is pushed through it at its widest, or it tears. A setting of the
    /// site, from common practice.
    #[serde(default = "six_tenths")]
    pub cap_hole_ratio: Quantity,
    /// An opening through which an instrument goes counts as open for gas only where so much is left beside it. A
    /// setting of the site, from common practice; it says nothing of how gas flows.
    #[serde(default = "one")]
    pub way_out_gap_mm: Quantity,
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
    /// Half of what a barrel's outer diameter exceeds its inner one by: what the site takes for plausible. 0.35 mm in a
    /// children's chart, 0.25 to 0.5 mm in common practice with adult barrels; other tables say up to 3 mm.
    #[serde(default = "wall_mm")]
    pub wall_mm: [Quantity; 2],
    /// For so long whoever reported a defect may withdraw the report.
    #[serde(default = "undo_minutes")]
    pub undo_minutes: u32,
    /// Lines of the function check that the site adds to those that follow from the parts.
    #[serde(default)]
    pub check_lines: Vec<Line>,
    /// In what the age of a family's parts is told, where it is not cycles.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub wear_clock: BTreeMap<Family, Clock>,
    /// What a minute of a theatre costs the house, by its own reckoning; 0 takes it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub theatre_minute_cents: Option<u32>,
    /// How long a torn or missing part delays a case, by the house's own reckoning; 0 takes it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub delay_minutes: Option<u32>,
    /// From asking until a borrowed set may be used here, or a borrowed part be wrapped, by the house's own reckoning; 0
    /// takes it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub borrow_minutes: Option<u32>,
    /// What inspections measure, family by family; setting it takes the place of the whole list.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub inspection_checks: Vec<CheckRule>,
    /// The site's own marks and labels.
    #[serde(default)]
    pub marking: Marking,
    /// Where the wall is shown without a sign-in; nowhere until the site says so.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wall_addresses: Vec<DisplayAddress>,
    /// When shifts change.
    #[serde(default = "super::shift::usual")]
    pub shift_starts: Vec<Hour>,
    /// Nothing is sterilised for immediate use here.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub immediate_use_forbidden: bool,
    /// From the end of use until cleaning begins, for parts whose instructions say nothing (commonly an hour, ST91 from
    /// memory); 0 takes it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clean_within_minutes: Option<u32>,
}

fn wall_mm() -> [Quantity; 2] {
    [2, 6].map(tenths)
}

fn tenths(tenths: i64) -> Quantity {
    Quantity(rust_decimal::Decimal::new(tenths, 1).normalize())
}

fn ten() -> Quantity {
    tenths(100)
}

fn twenty() -> Quantity {
    tenths(200)
}

fn six_tenths() -> Quantity {
    tenths(6)
}

fn one() -> Quantity {
    tenths(10)
}

fn undo_minutes() -> u32 {
    10
}

impl Default for Policy {
    fn default() -> Self {
        let mm = tenths;
        Policy {
            two_people: false,
            turnaround_minutes: 240,
            test_day_starts: Hour(NaiveTime::from_hms_opt(6, 0, 0).unwrap_or_default()),
            clearance_mm: mm(0),
            telescope_window_mm: [mm(-50), mm(150)],
            telescope_cover_mm: ten(),
            reach_mm: twenty(),
            cap_hole_ratio: six_tenths(),
            way_out_gap_mm: one(),
            retention_years: 10,
            idle_minutes: 30,
            biological: BiologicalPolicy::default(),
            biological_overdue_stops: false,
            leak_rate_every_days: None,
            solution_record: false,
            wall_mm: wall_mm(),
            undo_minutes: undo_minutes(),
            check_lines: Vec::new(),
            wear_clock: BTreeMap::new(),
            theatre_minute_cents: None,
            delay_minutes: None,
            borrow_minutes: None,
            inspection_checks: Vec::new(),
            marking: Marking::default(),
            wall_addresses: Vec::new(),
            shift_starts: super::shift::usual(),
            immediate_use_forbidden: false,
            clean_within_minutes: None,
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
        put(&mut self.telescope_cover_mm, &change.telescope_cover_mm);
        put(&mut self.reach_mm, &change.reach_mm);
        put(&mut self.cap_hole_ratio, &change.cap_hole_ratio);
        put(&mut self.way_out_gap_mm, &change.way_out_gap_mm);
        put(&mut self.retention_years, &change.retention_years);
        put(&mut self.idle_minutes, &change.idle_minutes);
        put(&mut self.biological, &change.biological);
        put(&mut self.biological_overdue_stops, &change.biological_overdue_stops);
        if let Some(days) = change.leak_rate_every_days {
            self.leak_rate_every_days = Some(days).filter(|days| *days > 0);
        }
        put(&mut self.solution_record, &change.solution_record);
        put(&mut self.wall_mm, &change.wall_mm);
        put(&mut self.undo_minutes, &change.undo_minutes);
        put(&mut self.inspection_checks, &change.inspection_checks);
        put(&mut self.wall_addresses, &change.wall_addresses);
        put(&mut self.shift_starts, &change.shift_starts);
        put(&mut self.immediate_use_forbidden, &change.immediate_use_forbidden);
        for (to, from) in [
            (&mut self.theatre_minute_cents, change.theatre_minute_cents),
            (&mut self.delay_minutes, change.delay_minutes),
            (&mut self.borrow_minutes, change.borrow_minutes),
            (&mut self.clean_within_minutes, change.clean_within_minutes),
        ] {
            *to = from.map_or(*to, |from| Some(from).filter(|from| *from > 0));
        }
        for (family, clock) in change.wear_clock.iter().flatten() {
            self.wear_clock.insert(*family, *clock);
        }
        self.marking.set(change);
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
    /// A site for teaching: nothing in it is a real instrument.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub practice: bool,
}

pub(super) fn set_policy(deciding: &mut Deciding, it: &SetPolicy) -> Option<What> {
    deciding.touches(None);
    Some(What::PolicySet(it.clone()))
}
