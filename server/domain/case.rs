//! Cases: one planned or emergency procedure with its needs, and what was taken to it, opened, used and counted.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::CheckTold;
use super::command::{Malformed, wrong};
use super::configuration::{Chosen, Wish};
use super::count::CountKept;
use super::count_other::{OtherLine, OtherState};
use super::exposure::{CasePart, CasePlanned, Earlier, Exposure};
use super::id::Id;
use super::load::IndicatorResult;
use super::schedule::{OfSchedule, Scheduled};
use super::sorted::Sorted;
pub use super::technique::{NewTechnique, Risk, Technique};
use super::text::{Line, Scan, Sealed, Text, somebody};
use super::time::Time;

/// The most minutes that a case takes: a day.
const LONGEST_MINUTES: u32 = 24 * 60;
/// The most sets that a case needs.
const MOST_NEEDS: usize = 50;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanCase {
    pub case: Id,
    pub start: Time,
    pub minutes: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technique: Option<Technique>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub configuration: Option<Box<Wish>>,
    pub needs: Vec<Id>,
    #[serde(default, deserialize_with = "somebody", skip_serializing_if = "Option::is_none")]
    pub patient: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<Risk>,
    /// The appointment of another system's schedule that it stands for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<Box<Scheduled>>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChangeCase {
    pub case: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technique: Option<NewTechnique>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub configuration: Option<Box<Wish>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needs: Option<Vec<Id>>,
    #[serde(default, deserialize_with = "somebody", skip_serializing_if = "Option::is_none")]
    pub patient: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<Risk>,
    /// What the schedule tells of it now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<Box<Scheduled>>,
}

fn length(minutes: Option<u32>, needs: Option<&Vec<Id>>) -> Result<(), Malformed> {
    if minutes.is_some_and(|minutes| !(1..=LONGEST_MINUTES).contains(&minutes)) {
        return Err(wrong("/minutes", format!("found a length outside 1 to {LONGEST_MINUTES} minutes")));
    }
    if needs.is_some_and(|needs| needs.len() > MOST_NEEDS) {
        return Err(wrong("/needs", format!("found more than {MOST_NEEDS} count sheets")));
    }
    Ok(())
}

impl PlanCase {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        self.configuration.as_ref().map_or(Ok(()), |wish| wish.whole())?;
        length(Some(self.minutes), Some(&self.needs))
    }
}

impl ChangeCase {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let by_a_clinician = self.technique.is_some() || self.risk.is_some() || self.configuration.is_some();
        if !self.beyond_technique_and_risk() && !by_a_clinician {
            return Err(wrong("", "found nothing that changes; at least one field beside case is needed"));
        }
        self.configuration.as_ref().map_or(Ok(()), |wish| wish.whole())?;
        length(self.minutes, self.needs.as_ref())
    }

    /// Whether more than technique, configuration and risk changes, which is what a clinician may change.
    pub fn beyond_technique_and_risk(&self) -> bool {
        self.start.is_some()
            || self.minutes.is_some()
            || self.room.is_some()
            || self.needs.is_some()
            || self.patient.is_some()
            || self.schedule.is_some()
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CancelCase {
    pub case: Id,
    pub reason: Text,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<Box<Scheduled>>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Promise {
    pub case: Id,
    pub set: Id,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Issue {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    pub scan: Scan,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub emergency: Option<bool>,
}

impl Issue {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.case.is_none() && self.emergency != Some(true) {
            return Err(wrong("/case", "missing; only an emergency is issued without a case"));
        }
        Ok(())
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Open {
    pub case: Id,
    pub scan: Scan,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack_intact: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indicator: Option<IndicatorResult>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Use {
    pub case: Id,
    pub scan: Scan,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CloseCount {
    pub case: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unopened: Option<Scan>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Line>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub broken: Vec<Line>,
    /// What was scanned as back: what is out and not among it is not back. Absent: all, but for what is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counted: Option<Scan>,
    /// Lines without parts: how many went in, how many came out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<OtherLine>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ErasePatient {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    /// A load that was released early for a patient without a case.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    /// A message of the schedule that was kept for a person.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule_line: Option<Id>,
    pub reason: Text,
}

impl ErasePatient {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let named = [&self.case, &self.load, &self.schedule_line].into_iter().flatten().count();
        match named {
            1 => Ok(()),
            _ => {
                let detail = "found none or several of case, load and schedule_line; one of them is needed";
                Err(wrong("/case", detail))
            }
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Count {
    None,
    Open,
    Closed,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CaseStatus {
    Planned,
    Issued,
    Opened,
    Closed,
    Cancelled,
}

impl CaseStatus {
    pub fn name(self) -> &'static str {
        match self {
            CaseStatus::Planned => "planned",
            CaseStatus::Issued => "issued",
            CaseStatus::Opened => "opened",
            CaseStatus::Closed => "closed",
            CaseStatus::Cancelled => "cancelled",
        }
    }
}

/// One planned or emergency procedure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Case {
    pub case: Id,
    pub start: Time,
    pub minutes: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technique: Option<Technique>,
    /// What is wished for of its configuration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wish: Option<Box<Wish>>,
    /// The configuration that was chosen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chosen: Option<Box<Chosen>>,
    pub needs: Vec<Id>,
    /// The sealed reference; its words live in the erasable table.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patient: Option<Sealed>,
    #[serde(default)]
    pub risk: Risk,
    #[serde(default)]
    pub emergency: bool,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub promised: Vec<Id>,
    /// Since when each of them is kept.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub promised_at: BTreeMap<Id, Time>,
    #[serde(default, skip_serializing_if = "Sorted::is_empty")]
    pub parts: Sorted<CasePart>,
    /// Parts that were at the case in an earlier turn as well, exposed then, and came a second time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub earlier: Vec<Earlier>,
    #[serde(default)]
    pub closed: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cancelled: Option<String>,
    /// The function check: each line as often as it was told.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<CheckTold>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub counts: Vec<CountKept>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<OtherState>,
    /// The appointment of another system's schedule that it stands for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<Box<OfSchedule>>,
    /// Its patient was named once, whether or not the reference was erased since.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub named: bool,
    pub last_at: Time,
    pub last_entry: u64,
}

impl Case {
    /// A case as it is planned.
    pub fn of(planned: &CasePlanned, emergency: bool, at: Time, seq: u64) -> Case {
        Case {
            case: planned.case.clone(),
            start: planned.start,
            minutes: planned.minutes,
            room: planned.room.clone(),
            technique: planned.technique,
            wish: planned.configuration.clone(),
            chosen: None,
            needs: planned.needs.clone(),
            patient: planned.patient.clone(),
            risk: planned.risk,
            emergency,
            promised: Vec::new(),
            promised_at: BTreeMap::new(),
            parts: Sorted::default(),
            earlier: Vec::new(),
            closed: false,
            cancelled: None,
            checks: Vec::new(),
            counts: Vec::new(),
            others: Vec::new(),
            schedule: OfSchedule::planned(planned, seq),
            named: planned.patient.is_some(),
            last_at: at,
            last_entry: seq,
        }
    }

    /// Puts an exposure of another turn aside before the part comes to the case again.
    pub(super) fn keep_earlier(&mut self, asset: &Id, turn: u32) {
        let again = |part: &&CasePart| part.turn != turn && part.exposure.is_some();
        if let Some(part) = self.parts.get(asset).filter(again).cloned() {
            self.parts.remove(asset);
            // What comes again came back before.
            self.earlier.push(Earlier { asset: asset.clone(), part: CasePart { out: false, ..part } });
        }
    }

    pub(super) fn used_earlier(&self, asset: &Id) -> bool {
        self.earlier.iter().any(|it| it.asset == *asset && it.part.exposure == Some(Exposure::Used))
    }

    /// Every part that was there, in every turn in which it was.
    pub fn all_parts(&self) -> impl Iterator<Item = (&Id, &CasePart)> {
        self.parts.iter().chain(self.earlier.iter().map(|it| (&it.asset, &it.part)))
    }

    pub fn end(&self) -> Time {
        self.start.plus_minutes(i64::from(self.minutes))
    }

    pub fn anything_out(&self) -> bool {
        self.parts.values().any(|part| part.out)
    }

    pub fn count(&self) -> Count {
        if self.anything_out() {
            Count::Open
        } else if self.closed {
            Count::Closed
        } else {
            Count::None
        }
    }

    pub fn status(&self) -> CaseStatus {
        if self.cancelled.is_some() {
            CaseStatus::Cancelled
        } else if self.closed && !self.anything_out() {
            CaseStatus::Closed
        } else if self.parts.values().any(|part| part.exposure.is_some()) {
            CaseStatus::Opened
        } else if self.anything_out() {
            CaseStatus::Issued
        } else {
            CaseStatus::Planned
        }
    }

    /// Still to come, or under way.
    pub fn is_open(&self) -> bool {
        !matches!(self.status(), CaseStatus::Closed | CaseStatus::Cancelled)
    }

    /// Whether anything was opened beside a patient at it, or is not accounted for; a count of its lines says the same.
    pub fn took_place(&self) -> bool {
        let parts = self.all_parts().any(|(_, part)| part.exposure.is_some() || part.missing);
        parts || !self.others.is_empty()
    }

    /// Whether both need their parts at once: one's time, with reprocessing after it, reaches into the other's.
    pub fn overlaps(&self, other: &Case, turnaround_minutes: u32) -> bool {
        let free = |case: &Case| case.end().plus_minutes(i64::from(turnaround_minutes));
        self.start < free(other) && other.start < free(self)
    }
}
