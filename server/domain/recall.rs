//! Recalls: something was wrong after all. One act holds everything from a machine since the last good evidence, at once,
//! in one entry; infection prevention may narrow the window; it closes when every part and every case is answered.
//!
//! Both published rules exist: back to the last negative biological indicator, and the single load where the cause is
//! proven (CDC Guideline for Disinfection and Sterilization 2008, Table 12; the first rule from memory of ST79).

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::event::Moved;
use super::id::Id;
use super::model::StepKind;
use super::text::{Scan, Text};
use super::time::Time;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenRecall {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recall: Option<Id>,
    pub machine: Id,
    pub reason: Text,
    /// The load at which it was found: the evidence is looked for before it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    /// Loads that started from here on; left out, those since the last good evidence.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Time>,
    /// Whether the machine goes out of service with it; it does unless told otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out: Option<bool>,
}

impl OpenRecall {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.load.is_some() && (self.from.is_some() || self.to.is_some()) {
            return Err(wrong("/from", "found a load and a window; one of them is needed"));
        }
        if self.to.is_some() && self.from.is_none() {
            return Err(wrong("/from", "missing; a window that ends needs its beginning"));
        }
        if self.from.zip(self.to).is_some_and(|(from, to)| from > to) {
            return Err(wrong("/to", "found an end before the beginning"));
        }
        Ok(())
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NarrowRecall {
    pub recall: Id,
    pub reason: Text,
    /// The loads that stay recalled: one, where the cause is proven.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loads: Option<Vec<Id>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Time>,
}

impl NarrowRecall {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match (&self.loads, self.from) {
            (Some(loads), None) if loads.is_empty() => {
                Err(wrong("/loads", "found none; a recall of nothing is closed, not narrowed"))
            }
            (Some(_), None) | (None, Some(_)) => Ok(()),
            _ => Err(wrong(
                "/loads",
                "found no load and no beginning, or both; the loads that stay, ticked, or from when on, is needed",
            )),
        }
    }
}

/// What becomes of a part that is still on hold.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum After {
    /// It goes through the machine's step again.
    Reprocess,
    /// It stays as it is.
    Clear,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswerRecall {
    pub recall: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scan: Option<Scan>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub then: Option<After>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cases: Vec<Id>,
    pub outcome: Text,
}

impl AnswerRecall {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.scan.is_none() && self.cases.is_empty() {
            return Err(wrong(
                "/scan",
                "found no part and no case; at least one is needed, ticked or scanned",
            ));
        }
        if self.scan.is_none() && self.then.is_some() {
            return Err(wrong("/then", "found without scan; it says what becomes of parts"));
        }
        Ok(())
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CloseRecall {
    pub recall: Id,
    pub outcome: Text,
}

/// The good evidence from which on nothing is known to be well: a load whose biological indicator passed, or a test of the
/// machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Since {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test: Option<Id>,
    pub at: Time,
}

impl Since {
    /// Whether a load that started then came after it. What started when a test had just passed stands on it no less than
    /// what started later.
    fn is_before(&self, at: Time) -> bool {
        self.at < at || (self.load.is_none() && self.at == at)
    }
}

/// A recall as its entry has it; growth in a biological indicator carries one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recalled {
    pub recall: Id,
    pub machine: Id,
    pub reason: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Since>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Time>,
    pub loads: Vec<Id>,
    /// The hold on what is still in the house.
    pub hold: Id,
    pub assets: Vec<Id>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub machine_out: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RecallNarrowed {
    pub recall: Id,
    pub reason: String,
    /// The loads that stay recalled.
    pub loads: Vec<Id>,
    /// The parts that are free again.
    pub lifted: Vec<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RecallAnswered {
    pub recall: Id,
    pub outcome: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub then: Option<After>,
    /// The parts answered for.
    pub assets: Vec<Id>,
    /// Those that go through the step again.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<Moved>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cases: Vec<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RecallClosed {
    pub recall: Id,
    pub outcome: String,
}

/// What somebody answered for a part or a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    pub outcome: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub then: Option<After>,
    /// The entry that gave it: what happened to a cleared part after it is no matter of the recall.
    pub entry: u64,
    pub at: Time,
    pub by: String,
}

/// A window made smaller.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Narrowed {
    pub reason: String,
    pub at: Time,
    pub by: String,
    /// How many loads were recalled before, and after.
    pub before: u32,
    pub after: u32,
}

/// A recall as the state keeps it. What it affects follows from its loads (`affected`).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recall {
    pub recall: Id,
    pub machine: Id,
    pub step: StepKind,
    pub reason: String,
    pub opened_at: Time,
    pub opened_by: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Since>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Time>,
    pub loads: Vec<Id>,
    pub hold: Id,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub parts: BTreeMap<Id, Answer>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub cases: BTreeMap<Id, Answer>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub narrowed: Vec<Narrowed>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_by: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<String>,
}

impl Recall {
    pub fn is_open(&self) -> bool {
        self.closed_at.is_none()
    }

    /// Whether a load of that machine that started then belongs to it.
    pub fn covers(&self, machine: &Id, at: Time) -> bool {
        let after = self.since.as_ref().is_none_or(|since| since.is_before(at));
        let from = self.from.is_none_or(|from| from <= at);
        self.machine == *machine && after && from && at <= self.to.unwrap_or(self.opened_at)
    }
}
