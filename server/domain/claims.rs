//! Whose a part is: a set is kept for a case, a part is chosen for one. One part has one promise: two cases that need it
//! at once, with reprocessing between them, do not both have it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::case::Case;
use super::id::Id;
use super::planning::listed;
use super::refusal::{Code, Problem};
use super::set::SetState;
use super::state::{Asset, State};
use super::time::Time;

/// What another case loses by an issue: sets that were kept for it, parts that were chosen for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Robbed {
    pub case: Id,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sets: Vec<Id>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<Id>,
}

impl Case {
    /// Whether the part was chosen for this case, and did not come back from it yet.
    pub fn claims(&self, asset: &Id) -> bool {
        let chosen = self.chosen.as_ref().is_some_and(|it| it.configuration.names(asset));
        chosen && self.parts.get(asset).is_none_or(|part| part.out)
    }

    /// Whether the part was chosen for this case after it was chosen for the other: who chose it last has it.
    pub fn chose_after(&self, other: &Case, asset: &Id) -> bool {
        let since = |case: &Case| case.chosen.as_ref().map(|chosen| (chosen.at, case.case.clone()));
        self.claims(asset) && since(self) > since(other)
    }

    /// Since when a set is this case's: kept for it, or a part of it chosen for it, whichever was decided last.
    fn has_since(&self, state: &State, set: &Id) -> Option<Time> {
        let lies_in = |asset: &Arc<Asset>| set_of(asset) == Some(set) && self.claims(&asset.asset);
        let chosen = self
            .chosen
            .as_ref()
            .filter(|chosen| chosen.pieces().filter_map(|piece| state.asset(piece)).any(lies_in));
        self.promised_at.get(set).copied().max(chosen.map(|chosen| chosen.at))
    }

    /// Whether a set is this case's by a later decision than the one that made it the other's.
    pub fn has_over(&self, state: &State, other: &Case, set: &Id) -> bool {
        self.has_since(state, set) > other.has_since(state, set)
    }

    /// Whether the set in which a part lies was kept for this case after the part was chosen for the other.
    fn kept_after(&self, other: &Case, asset: &Asset) -> bool {
        let kept = set_of(asset).and_then(|set| self.promised_at.get(set)).copied();
        kept > other.chosen.as_ref().map(|chosen| chosen.at)
    }
}

fn is_chosen(state: &State, case: &Case, of: Option<&Id>, parts: &[&Id]) -> Problem {
    let names: Vec<&str> = parts.iter().map(|id| id.as_str()).collect();
    let verb = if parts.len() == 1 { "is" } else { "are" };
    let of = of.map(|set| format!(" of set {set}")).unwrap_or_default();
    let (turnaround, start) = (state.policy.turnaround_minutes, case.start.told(state.zone));
    let problem = Problem::new(
        Code::PromisedElsewhere,
        format!("{}{of} {verb} chosen for case {}, which starts on {start}.", listed(&names), case.case),
        format!(
            "The two cases need it at once: {turnaround} minutes are planned for its reprocessing in between."
        ),
        "Choose another piece, or let the lead or the charge nurse set the promise aside with a reason.",
    );
    problem.open_to_override()
}

fn set_of(asset: &Asset) -> Option<&Id> {
    asset.seat.as_ref().map(|seat| &seat.set)
}

impl State {
    /// The other cases that need their parts at the same time as this one.
    pub fn overlapping<'a>(&'a self, case: &'a Case) -> impl Iterator<Item = &'a Case> {
        let turnaround = self.policy.turnaround_minutes;
        self.open_cases().filter(move |other| other.case != case.case && other.overlaps(case, turnaround))
    }

    /// The other cases for which some of these parts were chosen, where both need them at once; but for what was chosen for
    /// this one after that, with that promise set aside.
    pub fn chosen_elsewhere<'a>(
        &self,
        parts: impl IntoIterator<Item = &'a Id>,
        of: Option<&Id>,
        case: &Case,
    ) -> Vec<Problem> {
        self.claimed(parts, of, case, &|other, asset| {
            // A set goes as a whole: whoever has it by the later decision has what else lies in it.
            let set = self.assets.get(asset).and_then(|asset| set_of(asset));
            !set.is_some_and(|set| case.has_over(self, other, set)) && !case.chose_after(other, asset)
        })
    }

    /// The other case that a set is kept for at this one's time, and not since longer than it is this one's: where a
    /// promise was set aside, the last decision holds.
    pub fn keeper<'a>(&'a self, set: &Id, case: &'a Case) -> Option<&'a Case> {
        let keeps = |other: &&Case| other.promised.contains(set) && !case.has_over(self, other, set);
        self.overlapping(case).find(keeps)
    }

    /// The other case for which a part was chosen since, which has it therefore.
    pub fn chooser<'a>(&'a self, asset: &Asset, case: &'a Case) -> Option<&'a Case> {
        self.overlapping(case)
            .find(|other| other.chose_after(case, &asset.asset) && !case.kept_after(other, asset))
    }

    /// What a case loses to others by another time: the sets that are kept for it, and the parts that were chosen for it.
    /// It met none of them before, so that it is nothing who chose first.
    pub fn lost_by_moving(&self, moved: &Case) -> Vec<Problem> {
        let sets: BTreeSet<&Id> = moved.promised.iter().collect();
        let pieces = moved.chosen.iter().flat_map(|chosen| chosen.pieces()).filter_map(|it| self.asset(it));
        let pieces: Vec<&Arc<Asset>> =
            pieces.filter(|asset| !set_of(asset).is_some_and(|set| sets.contains(set))).collect();
        let opened: BTreeSet<&Id> =
            pieces.iter().filter_map(|it| set_of(it)).chain(sets.iter().copied()).collect();
        let mut all: Vec<Problem> =
            opened.into_iter().filter_map(|set| self.kept_by_any(set, moved)).collect();
        for set in sets.into_iter().filter_map(|set| self.sets.get(set)) {
            all.extend(self.claimed(set.seats.values(), Some(&set.set), moved, &|_, _| true));
        }
        all.extend(self.claimed(pieces.iter().map(|asset| &asset.asset), None, moved, &|_, _| true));
        all
    }

    fn kept_by_any(&self, set: &Id, moved: &Case) -> Option<Problem> {
        let other = self.overlapping(moved).find(|other| other.promised.contains(set))?;
        Some(self.is_kept(set, other))
    }

    fn claimed<'a>(
        &self,
        parts: impl IntoIterator<Item = &'a Id>,
        of: Option<&Id>,
        case: &Case,
        counts: &dyn Fn(&Case, &Id) -> bool,
    ) -> Vec<Problem> {
        let parts: BTreeSet<&Id> = parts.into_iter().collect();
        if parts.is_empty() {
            return Vec::new();
        }
        let claiming = self.overlapping(case).filter_map(|other| {
            let is_theirs = |asset: &&Id| other.claims(asset) && counts(other, asset);
            let theirs: Vec<&Id> = parts.iter().copied().filter(is_theirs).collect();
            (!theirs.is_empty()).then(|| is_chosen(self, other, of, &theirs))
        });
        claiming.collect()
    }

    /// Why a set is not this case's to take: it is kept for another one, or parts of it are chosen for one.
    pub fn taken_elsewhere(&self, set: &SetState, case: &Case) -> Vec<Problem> {
        let kept = self.kept_elsewhere(&set.set, case);
        kept.into_iter().chain(self.chosen_elsewhere(set.seats.values(), Some(&set.set), case)).collect()
    }

    /// What other cases lose where these parts go to this one.
    pub fn robs(&self, case: &Case, parts: &[&Asset]) -> Vec<Robbed> {
        let sets: BTreeSet<&Id> =
            parts.iter().filter_map(|asset| asset.seat.as_ref()).map(|seat| &seat.set).collect();
        let lost = self.overlapping(case).map(|other| Robbed {
            case: other.case.clone(),
            sets: sets
                .iter()
                .filter(|set| other.promised.contains(**set))
                .map(|set| (*set).clone())
                .collect(),
            parts: parts
                .iter()
                .filter(|asset| other.claims(&asset.asset))
                .map(|asset| asset.asset.clone())
                .collect(),
        });
        lost.filter(|it| !it.sets.is_empty() || !it.parts.is_empty()).collect()
    }

    /// The open cases by the sets in which parts lie that were chosen for them.
    pub fn chosen_by_set(&self) -> BTreeMap<&Id, Vec<&Case>> {
        let mut all: BTreeMap<&Id, Vec<&Case>> = BTreeMap::new();
        for case in self.open_cases() {
            let pieces = case.chosen.iter().flat_map(|chosen| chosen.pieces());
            let assets =
                pieces.filter_map(|piece| self.asset(piece)).filter(|asset| case.claims(&asset.asset));
            let sets: BTreeSet<&Id> =
                assets.filter_map(|asset| asset.seat.as_ref()).map(|seat| &seat.set).collect();
            sets.into_iter().for_each(|set| all.entry(set).or_default().push(case));
        }
        all
    }
}
