//! What happens to parts at a case: issued to it, opened, used, counted back. Opened and used both count as exposed.

use serde::{Deserialize, Serialize};

use super::case::{Risk, Technique};
use super::claims::Robbed;
use super::configuration::Wish;
use super::event::{Moved, Noted};
use super::hold::HoldPlaced;
use super::id::Id;
use super::load::IndicatorResult;
use super::schedule::Scheduled;
use super::text::{Line, Sealed};
use super::time::Time;

/// Whether a part touched the patient, or its pack was open beside it. Both count as exposed in a look-back.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Exposure {
    Opened,
    Used,
}

impl Exposure {
    pub fn name(self) -> &'static str {
        match self {
            Exposure::Opened => "opened",
            Exposure::Used => "used",
        }
    }
}

/// A part at a case.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CasePart {
    /// The turn in which it was there.
    pub turn: u32,
    /// It was issued to the case, not only opened there.
    pub issued: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure: Option<Exposure>,
    /// A person said that it was used; it was not inferred at the count.
    #[serde(default)]
    pub told_used: bool,
    /// The entry that recorded the exposure.
    #[serde(default)]
    pub since: u64,
    /// Not counted back yet.
    pub out: bool,
    #[serde(default)]
    pub missing: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CasePlanned {
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
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patient: Option<Sealed>,
    #[serde(default)]
    pub risk: Risk,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<Box<Scheduled>>,
    /// Procedures of the schedule that nobody has mapped to needs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unmapped: Vec<Line>,
    /// The needs were named with it, not made of its procedures.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub needs_chosen: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaseChanged {
    pub case: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<Time>,
    /// When it was to begin before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start_was: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technique: Option<Technique>,
    /// The technique is not decided any more.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub technique_not_decided: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub configuration: Option<Box<Wish>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needs: Option<Vec<Id>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patient: Option<Sealed>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<Risk>,
    /// A suspected prion disease holds at once what was opened or used before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<Box<Scheduled>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unmapped: Vec<Line>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Issued {
    pub case: Id,
    #[serde(default)]
    pub emergency: bool,
    /// The case that the issue makes, where it came without one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned: Option<CasePlanned>,
    pub parts: Vec<Moved>,
    /// Told after the fact, when something had moved them since.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub noted: Vec<Noted>,
    /// Other cases that lose by it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub robs: Vec<Robbed>,
}

/// A part that was opened or used at a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Exposed {
    pub asset: Id,
    pub turn: u32,
    pub exposure: Exposure,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved: Option<Moved>,
    /// The closed count had taken it for used before anybody said so.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub taken_for_used: bool,
}

/// What an opening or a use leaves: exposures, moves and the holds that follow from them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Exposures {
    pub case: Id,
    pub parts: Vec<Exposed>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack_intact: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indicator: Option<IndicatorResult>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
    /// Parts that the closed count had taken for used, and that were opened alone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_used: Vec<Id>,
}

/// A part at a case in a turn before the one in which it is there now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Earlier {
    pub asset: Id,
    pub part: CasePart,
}

/// How a part came back from a case.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Back {
    Unopened,
    Soiled,
    Broken,
    Missing,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Counted {
    pub asset: Id,
    pub turn: u32,
    pub back: Back,
    /// How it was exposed, where the count is what says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure: Option<Exposure>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved: Option<Moved>,
    /// It was reported missing before the count.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub was_missing: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CountClosed {
    pub case: Id,
    pub parts: Vec<Counted>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
    /// Those that came back with a piece missing, which is looked for as a part is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pieces: Vec<Id>,
    /// Lines without parts, as they were counted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<super::count_other::OtherLine>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaseCancelled {
    pub case: Id,
    pub reason: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<Box<Scheduled>>,
}

/// A set kept for a case, or no longer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Promised {
    pub case: Id,
    pub set: Id,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PatientErased {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    /// The load that was released early for them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    /// The message of the schedule in which they stood.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule_line: Option<Id>,
    pub patient: Sealed,
    pub reason: String,
}
