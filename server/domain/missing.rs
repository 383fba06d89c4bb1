//! Parts not accounted for: reported, found, or closed with a named outcome. The alert is loud until one is named;
//! the part stays on the open list until it is found or retired.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Moved, What};
use super::id::Id;
use super::model::unknown;
use super::refusal::{Code, Problem};
use super::scan::resolve;
use super::state::{Asset, Named, State};
use super::text::{Line, Sealed, a_person, one_scan};
use super::time::Time;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReportMissing {
    /// A set or a part, beside which it was missed.
    #[serde(deserialize_with = "one_scan")]
    pub scan: Line,
    pub asset: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Found {
    #[serde(deserialize_with = "one_scan")]
    pub scan: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<Line>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CloseMissing {
    /// A part, or one with a piece missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Line>,
    /// Or a line without parts of a case: swabs, a throat pack.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Line>,
    pub outcome: SearchOutcome,
    #[serde(deserialize_with = "a_person")]
    pub person: Line,
}

impl CloseMissing {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match (&self.asset, &self.case, &self.line) {
            (Some(_), None, None) | (None, Some(_), Some(_)) => Ok(()),
            (None, None, None) => Err(wrong("/asset", "missing; a part, or a case and its line, is needed")),
            (None, None, Some(_)) => Err(wrong("/case", "missing; a line is a case's")),
            (None, Some(_), None) => Err(wrong("/line", "missing; the line of the case is needed")),
            (Some(_), ..) => Err(wrong("/asset", "found a part beside a case's line; one of them is needed")),
        }
    }
}

/// A part that is being looked for, or a piece of one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MissingState {
    pub asset: Id,
    pub since: Time,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    pub told_by: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<SearchOutcome>,
    /// Who named the outcome, and when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub named_by: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub named_at: Option<Time>,
    /// When it was found; or retired, where an outcome is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over_at: Option<Time>,
    /// A piece of it is looked for. Where the part itself is missing, its piece was missed before.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub piece: bool,
    /// When a piece of it was first seen to lack, whatever became of the search: the part broke then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lacked: Option<Lacked>,
}

/// An entry that told of a piece that lacks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lacked {
    pub at: Time,
    pub entry: u64,
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
    /// The missing piece was found; the part itself was not looked for.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub piece: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MissingClosed {
    pub asset: Id,
    pub outcome: SearchOutcome,
    pub person: Sealed,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved: Option<Moved>,
}

/// The outcome of the search for what a case's line without parts lacks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineClosed {
    pub case: Id,
    pub line: Line,
    pub outcome: SearchOutcome,
    pub person: Sealed,
}

/// The case at which a part is out, else the last one at which it was open beside a patient in this turn or the one
/// before: where it may have stayed.
pub fn case_of(state: &State, asset: &Asset) -> Option<Id> {
    let out = state.open_cases().find(|case| case.parts.get(&asset.asset).is_some_and(|part| part.out));
    out.map(|case| case.case.clone()).or_else(|| case_before(state, asset))
}

/// The last case at which a part was opened or used, where its next turn is not over.
pub fn case_before(state: &State, asset: &Asset) -> Option<Id> {
    let cases = state.cases_of.get(&asset.asset)?;
    let near = |case: &&Id| {
        state.cases.get(*case).is_some_and(|case| {
            let mut there = case.all_parts().filter(|(id, _)| **id == asset.asset);
            there.any(|(_, part)| part.exposure.is_some() && part.turn + 1 >= asset.turn)
        })
    };
    cases.iter().rev().find(near).cloned()
}

impl MissingState {
    /// No outcome of the search counts any more.
    pub(super) fn unname(&mut self) {
        (self.outcome, self.named_by, self.named_at) = (None, None, None);
    }

    /// What is looked for: the part, or a piece of it.
    pub fn what(&self, state: &State) -> String {
        let gone = state.assets.get(&self.asset).is_some_and(|asset| asset.missing);
        if gone { self.asset.to_string() } else { format!("a piece of {}", self.asset) }
    }
}

/// Since when a part is missing, since which case, and what the search has come to: what everybody hears who scans it.
pub fn since(state: &State, asset: &Asset) -> String {
    let Some(known) = state.missing.get(&asset.asset).filter(|known| known.over_at.is_none()) else {
        return format!("{} is not accounted for.", asset.called());
    };
    let told = known.since.told(state.zone);
    let retained = match &known.case {
        Some(case) => format!(
            "{} is missing since case {case}, {told}: it was a possible retained item.",
            asset.called()
        ),
        None => format!("{} is missing since {told}.", asset.called()),
    };
    match known.outcome {
        Some(outcome) => format!("{retained} Outcome of the search: {}.", outcome.words()),
        None => format!("{retained} No outcome is named yet."),
    }
}

pub(super) fn already(state: &State, asset: &Asset) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} is already reported. {}", asset.called(), since(state, asset)),
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
        deciding.against(already(deciding.state, &asset));
    }
    if asset.retired.is_some() {
        deciding.deviates(Code::Retired);
    }
    let set = asset.seat.as_ref().map(|seat| seat.set.clone()).or(beside);
    let case = case_of(deciding.state, &asset);
    Some(What::MissingReported(MissingReported {
        asset: asset.asset.clone(),
        turn: super::fact::turn_at(deciding, &asset),
        set,
        case,
    }))
}

/// Whether a piece of the part is looked for, the part itself being in the house.
fn piece_of(state: &State, asset: &Asset) -> bool {
    let open = |known: &&std::sync::Arc<MissingState>| known.piece && known.over_at.is_none();
    !asset.missing && state.missing.get(&asset.asset).filter(open).is_some()
}

/// Whether a piece of the part is looked for and the part is held already: told again it needs no second hold.
pub(super) fn piece_held(state: &State, asset: &Asset) -> bool {
    piece_of(state, asset) && asset.has_hold(super::hold::HoldKind::Quality)
}

pub(super) fn found(deciding: &mut Deciding, it: &Found) -> Option<What> {
    let asset = deciding.one(it.scan.as_str())?;
    let piece = piece_of(deciding.state, &asset);
    if !asset.missing && !piece {
        deciding.against(not_missing(&asset));
    }
    let moved = asset.missing.then(|| asset.returned_soiled());
    Some(What::Found(FoundAgain {
        asset: asset.asset.clone(),
        turn: moved.as_ref().map_or(asset.turn, |moved| moved.turn),
        location: it.location.clone(),
        moved,
        piece,
    }))
}

fn named_already(of: &str, outcome: SearchOutcome) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("For {of} the outcome \"{}\" is already named.", outcome.words()),
        "Another outcome is needed.",
        "Nothing needs to be done.",
    )
}

fn close_line(deciding: &mut Deciding, it: &CloseMissing, case: &Id, line: &Line) -> Option<What> {
    let case = super::planning::known_case(deciding, case)?;
    let Some(known) = case.others.iter().find(|known| known.line == *line) else {
        deciding.against(unknown("line", line.as_str()));
        return None;
    };
    if known.lacks() == 0 {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("\"{}\" of case {} is accounted for.", line.0, case.case),
            "A line that did not all come back is needed.",
            "Nothing needs to be done.",
        ));
    } else if known.outcome == Some(it.outcome) {
        deciding.against(named_already(&format!("\"{}\"", line.0), it.outcome));
    }
    let person = deciding.seal(it.person.as_str());
    let (case, line) = (case.case.clone(), line.clone());
    Some(What::LineClosed(LineClosed { case, line, outcome: it.outcome, person }))
}

pub(super) fn close(deciding: &mut Deciding, it: &CloseMissing) -> Option<What> {
    if let (Some(case), Some(line)) = (&it.case, &it.line) {
        return close_line(deciding, it, case, line);
    }
    let asset = deciding.one(it.asset.as_ref()?.as_str())?;
    let named = deciding.state.missing.get(&asset.asset).filter(|missing| missing.over_at.is_none());
    let named = named.and_then(|missing| missing.outcome);
    if !asset.missing && !piece_of(deciding.state, &asset) {
        deciding.against(not_missing(&asset));
    } else if named == Some(it.outcome) {
        deciding.against(named_already(&asset.called(), it.outcome));
    }
    let moved = (it.outcome == SearchOutcome::Found && asset.missing).then(|| asset.returned_soiled());
    let person = deciding.seal(it.person.as_str());
    Some(What::MissingClosed(MissingClosed {
        asset: asset.asset.clone(),
        outcome: it.outcome,
        person,
        moved,
    }))
}
