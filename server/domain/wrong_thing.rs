//! "This was another part": somebody says of an entry that the wrong thing was scanned. Until the lead has settled it, a look-back
//! counts both, the thing scanned and the thing meant.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::When;
use super::correct::{Corrected, Recorded};
use super::event::{Noted, What};
use super::exposure::Exposure;
use super::hold::HoldPlaced;
use super::id::Id;
use super::rested::Rested;
use super::state::State;
use super::text::{Scan, Text};
use super::time::Time;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReportWrongThing {
    /// The place in the ledger of the entry that names the wrong thing.
    pub entry: u64,
    /// What it should have named, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meant: Option<Scan>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<Text>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SettleWrongThing {
    pub report: Id,
    /// The wrong thing was scanned, as reported; else the entry stands as it is.
    pub confirmed: bool,
    pub reason: Text,
    /// What the entry should have named, where it is not what was reported.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead: Option<Scan>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrongThingReported {
    pub report: Id,
    pub entry: u64,
    /// What kind of entry that is, and when it happened.
    pub kind: String,
    pub at: Time,
    pub named: Vec<Noted>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub meant: Vec<Noted>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    /// How the thing meant was exposed at the case, if it was there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure: Option<Exposure>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrongThingSettled {
    pub report: Id,
    pub confirmed: bool,
    pub reason: String,
    /// The entry taken back, where nothing rested on it yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected: Option<Corrected>,
    /// The same act told of the thing meant, as of its own time, where something did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub told: Option<Told>,
    /// What it could not undo.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stands: Vec<Rested>,
    /// The things whose readiness rests on an act that was another's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
}

/// An act as of its own time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Told {
    pub at: Time,
    pub act: Recorded,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settled {
    pub confirmed: bool,
    pub reason: String,
    pub by: String,
    pub at: Time,
    pub entry: u64,
    /// Both are counted for good: the entry could neither be taken back nor be told anew.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub both: bool,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stands: Vec<Rested>,
}

/// A report that the wrong thing was scanned, and what the lead said to it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WrongThing {
    pub reported: WrongThingReported,
    pub by: String,
    pub reported_at: Time,
    /// The place in the ledger of the report itself.
    pub told_in: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settled: Option<Settled>,
}

impl WrongThing {
    pub fn is_open(&self) -> bool {
        self.settled.is_none()
    }

    /// Whether a look-back counts the thing meant beside the thing scanned.
    pub fn counts_both(&self) -> bool {
        self.settled.as_ref().is_none_or(|settled| settled.both)
    }
}

impl State {
    /// What waits for the lead, oldest first.
    pub fn open_wrong_things(&self) -> impl Iterator<Item = &Arc<WrongThing>> {
        self.wrong_things.values().filter(|it| it.is_open())
    }

    /// Of which both things are counted.
    pub fn counted_twice(&self) -> impl Iterator<Item = &WrongThing> {
        self.wrong_things.values().filter(|it| it.counts_both()).map(|it| &**it)
    }
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    match what {
        What::WrongThingReported(it) => {
            let kept = WrongThing {
                reported: it.clone(),
                by: when.actor.to_string(),
                reported_at: when.at,
                told_in: when.seq,
                settled: None,
            };
            state.wrong_things.insert(it.report.clone(), Arc::new(kept));
            state.changes.wrong_things.insert(it.report.clone());
        }
        What::WrongThingSettled(it) => settled(state, when, it),
        _ => {}
    }
}

fn settled(state: &mut State, when: &When, it: &WrongThingSettled) {
    if let Some(corrected) = &it.corrected {
        super::apply::corrected(state, when, corrected);
    }
    if let Some(told) = &it.told {
        super::apply::told_of(state, when, told.at, &told.act.0);
    }
    it.holds.iter().for_each(|hold| super::apply_parts::place_hold(state, when, hold));
    if let Some(kept) = state.wrong_things.get_mut(&it.report) {
        Arc::make_mut(kept).settled = Some(Settled {
            confirmed: it.confirmed,
            reason: it.reason.clone(),
            by: when.actor.to_string(),
            at: when.at,
            entry: when.seq,
            both: it.confirmed && it.corrected.is_none() && it.told.is_none(),
            stands: it.stands.clone(),
        });
        state.changes.wrong_things.insert(it.report.clone());
    }
}

/// The checker of reports: what they name is there, and they came after what they are about.
pub(super) fn check(state: &State, wrong: &mut Vec<String>) {
    for (name, it) in &state.wrong_things {
        let told = &it.reported;
        let mut parts = told.named.iter().chain(&told.meant);
        if parts.any(|part| !state.assets.contains_key(&part.asset)) {
            wrong.push(format!("{name} names a part that is not there"));
        }
        if told.entry >= it.told_in || it.settled.as_ref().is_some_and(|settled| settled.entry <= it.told_in)
        {
            wrong.push(format!("{name} was reported before its entry, or settled before it was reported"));
        }
    }
}
