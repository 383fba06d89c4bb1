//! Today's cases that the pieces of a safety notice touch: those at which one was, those for which one was chosen, and those
//! whose sets it lies in.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::allotted::{allotted, statuses};
use super::case::{Case, CaseStatus};
use super::exposure::Exposure;
use super::id::Id;
use super::state::State;
use super::time::Time;

/// How a piece has to do with a case; what was done weighs more than what is planned.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Touch {
    /// It lies in a set that the board counts on for the case.
    CountedOn,
    /// It lies in a set that is kept for the case.
    Kept,
    /// It was chosen for the case.
    Chosen,
    Issued,
    Opened,
    Used,
}

impl Touch {
    pub fn words(self) -> &'static str {
        match self {
            Touch::CountedOn => "in a set that the board counts on for it",
            Touch::Kept => "in a set that is kept for it",
            Touch::Chosen => "chosen for it",
            Touch::Issued => "issued to it",
            Touch::Opened => "opened at it",
            Touch::Used => "used at it",
        }
    }
}

/// A case that the held pieces touch.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CaseTouched {
    pub case: Id,
    pub start: Time,
    pub status: CaseStatus,
    /// The sets in which pieces lie that it has or would take.
    pub sets: Vec<Id>,
    pub assets: Vec<Id>,
    /// Each of these pieces with how it has to do with the case.
    pub touches: BTreeMap<Id, Touch>,
}

/// How a piece was at a case, if it was.
fn was_at(case: &Case, asset: &Id) -> Option<Touch> {
    let parts = case.all_parts().filter(|(id, _)| *id == asset);
    let touch = parts.map(|(_, part)| match part.exposure {
        Some(Exposure::Used) => Touch::Used,
        Some(Exposure::Opened) => Touch::Opened,
        None => Touch::Issued,
    });
    touch.max()
}

impl State {
    /// The cases of the site's day that these pieces touch, closed ones too, and those of before that are still open.
    pub(super) fn cases_touched(&self, pieces: &[&Id], now: Time) -> Vec<CaseTouched> {
        let today = now.date(self.zone);
        let open: BTreeMap<&Id, BTreeSet<&Id>> = allotted(self, &statuses(self, now), now)
            .iter()
            .map(|it| (&it.case.case, self.sets_of(it.sets())))
            .collect();
        let begun = |case: &&Case| case.start.date(self.zone) <= today;
        // One of the evening before may last past midnight.
        let of_today = |case: &&Case| {
            case.cancelled.is_none() && case.end().max(case.start).date(self.zone) >= today
                || open.contains_key(&case.case)
        };
        let been = pieces.iter().filter_map(|id| self.cases_of.get(*id)).flat_map(|cases| cases.iter());
        let names: BTreeSet<&Id> = been.chain(open.keys().copied()).collect();
        let known = names.into_iter().filter_map(|id| self.cases.get(id)).map(|case| &**case);
        let none = BTreeSet::new();
        let touched = known
            .filter(begun)
            .filter(of_today)
            .filter_map(|case| self.case_touched(case, pieces, open.get(&case.case).unwrap_or(&none)));
        let mut all: Vec<CaseTouched> = touched.collect();
        all.sort_by(|a, b| a.start.cmp(&b.start).then_with(|| a.case.cmp(&b.case)));
        all
    }

    /// The sets as this state holds them.
    fn sets_of<'b>(&self, sets: impl Iterator<Item = &'b Id>) -> BTreeSet<&Id> {
        sets.filter_map(|set| self.sets.get(set)).map(|set| &set.set).collect()
    }

    fn case_touched(&self, case: &Case, pieces: &[&Id], counted_on: &BTreeSet<&Id>) -> Option<CaseTouched> {
        let mut touches = BTreeMap::new();
        let mut sets = BTreeSet::new();
        let is_open = !case.closed && case.cancelled.is_none();
        for id in pieces {
            let seat = self.assets.get(*id).and_then(|asset| asset.seat.as_ref()).filter(|_| is_open);
            let kept = seat.filter(|seat| case.promised.contains(&seat.set));
            let counted = seat.filter(|seat| counted_on.contains(&seat.set));
            let chosen = (is_open && case.claims(id)).then_some(Touch::Chosen);
            let in_set = kept.map(|_| Touch::Kept).or(counted.map(|_| Touch::CountedOn));
            if let Some(touch) = was_at(case, id).max(chosen).max(in_set) {
                touches.insert((*id).clone(), touch);
                sets.extend(kept.or(counted).map(|seat| seat.set.clone()));
            }
        }
        (!touches.is_empty()).then(|| CaseTouched {
            case: case.case.clone(),
            start: case.start,
            status: case.status(),
            sets: sets.into_iter().collect(),
            assets: touches.keys().cloned().collect(),
            touches,
        })
    }
}
