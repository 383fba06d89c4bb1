//! Parts not accounted for: reported, found, or closed with a named outcome. The alert is loud until one is named;
//! the part stays on the open list until it is found or retired.

use serde::{Deserialize, Serialize};

use super::deciding::Deciding;
use super::event::{Moved, What};
use super::id::Id;
use super::refusal::{Code, Problem};
use super::scan::resolve;
use super::state::{Asset, Named};
use super::text::{Line, Sealed, one_scan};
use super::time::Time;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReportMissing {
    /// A set or a part, beside which it was missed.
    #[serde(deserialize_with = "one_scan")]
    pub scan: Line,
    pub asset: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Found {
    #[serde(deserialize_with = "one_scan")]
    pub scan: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<Line>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SearchOutcome {
    Found,
    DiscardedSeen,
    ImagingDone,
    NotFound,
}

impl SearchOutcome {
    pub const ALL: [SearchOutcome; 4] = [
        SearchOutcome::Found,
        SearchOutcome::DiscardedSeen,
        SearchOutcome::ImagingDone,
        SearchOutcome::NotFound,
    ];

    pub fn name(self) -> &'static str {
        match self {
            SearchOutcome::Found => "found",
            SearchOutcome::DiscardedSeen => "discarded_seen",
            SearchOutcome::ImagingDone => "imaging_done",
            SearchOutcome::NotFound => "not_found",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            SearchOutcome::Found => "found",
            SearchOutcome::DiscardedSeen => "seen to be discarded",
            SearchOutcome::ImagingDone => "imaging done",
            SearchOutcome::NotFound => "not found",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CloseMissing {
    pub asset: Line,
    pub outcome: SearchOutcome,
    pub person: Line,
}

/// A part that is being looked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MissingState {
    pub asset: Id,
    pub since: Time,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    pub told_by: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<SearchOutcome>,
    /// When it was found, or retired.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over_at: Option<Time>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MissingReported {
    pub asset: Id,
    pub turn: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    /// The case at which it was out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FoundAgain {
    pub asset: Id,
    pub turn: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved: Option<Moved>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MissingClosed {
    pub asset: Id,
    pub outcome: SearchOutcome,
    pub person: Sealed,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved: Option<Moved>,
}

pub(super) fn already(asset: &Asset) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} is already reported as not accounted for.", asset.called()),
        "A part that is not yet reported is needed.",
        "Search on; record it as found when it is in your hand.",
    )
}

fn not_missing(asset: &Asset) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} is accounted for.", asset.called()),
        "A part that is not accounted for is needed.",
        "Nothing needs to be done.",
    )
}

pub(super) fn report(deciding: &mut Deciding, it: &ReportMissing) -> Option<What> {
    let beside = match resolve(deciding.state, it.scan.as_str()) {
        Ok(Named::Set(set)) => Some(set),
        Ok(Named::Asset(id)) => {
            deciding.state.assets.get(&id).and_then(|a| a.seat.as_ref()).map(|s| s.set.clone())
        }
        Err(problem) => {
            deciding.against(problem);
            None
        }
    };
    let asset = deciding.one(it.asset.as_str())?;
    if asset.missing {
        deciding.against(already(&asset));
    }
    if asset.retired.is_some() {
        deciding.deviates(Code::Retired);
    }
    let set = asset.seat.as_ref().map(|seat| seat.set.clone()).or(beside);
    let case =
        deciding.state.open_cases().find(|case| case.parts.get(&asset.asset).is_some_and(|part| part.out));
    Some(What::MissingReported(MissingReported {
        asset: asset.asset.clone(),
        turn: super::fact::turn_at(deciding, &asset),
        set,
        case: case.map(|case| case.case.clone()),
    }))
}

pub(super) fn found(deciding: &mut Deciding, it: &Found) -> Option<What> {
    let asset = deciding.one(it.scan.as_str())?;
    if !asset.missing {
        deciding.against(not_missing(&asset));
    }
    let moved = asset.returned_soiled();
    Some(What::Found(FoundAgain {
        asset: asset.asset.clone(),
        turn: moved.turn,
        location: it.location.clone(),
        moved: Some(moved),
    }))
}

pub(super) fn close(deciding: &mut Deciding, it: &CloseMissing) -> Option<What> {
    let asset = deciding.one(it.asset.as_str())?;
    let named = deciding.state.missing.get(&asset.asset).and_then(|missing| missing.outcome);
    if !asset.missing {
        deciding.against(not_missing(&asset));
    } else if named == Some(it.outcome) {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("For {} the outcome \"{}\" is already named.", asset.called(), it.outcome.words()),
            "Another outcome is needed.",
            "Nothing needs to be done.",
        ));
    }
    let moved = (it.outcome == SearchOutcome::Found).then(|| asset.returned_soiled());
    let person = deciding.seal(it.person.as_str());
    Some(What::MissingClosed(MissingClosed {
        asset: asset.asset.clone(),
        outcome: it.outcome,
        person,
        moved,
    }))
}
