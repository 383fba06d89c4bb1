//! What may stand in for a part that failed in the room: a ready part outside the case, where it is, and what it costs.

use serde::Serialize;

use super::case::Case;
use super::fit::Answer;
use super::fit_judge::{Setting, answer, checks};
use super::fit_layout::lay_out;
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::set_status;
use super::scan::pack_kept_back;
use super::set::SetState;
use super::state::{Asset, State};
use super::time::Time;

/// No more are offered: somebody stands at the table.
const MOST: usize = 3;

/// A ready part that may stand in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Replacement {
    pub asset: Id,
    pub model: Id,
    /// The very same model; else one of the same family, whose sizes are to be compared.
    pub same_model: bool,
    /// How it fits in the place of the old one; absent where the old one is not of the chosen configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fit: Option<Answer>,
    /// The set that has to be opened for it; none where it is packed by itself.
    pub set: Option<Id>,
    pub location: Option<String>,
    /// The case for which its set is kept, or for which it was chosen at the same time.
    pub kept_for: Option<Id>,
    /// Opening its set leaves a reserve below its minimum.
    pub takes_reserve: bool,
}

/// Whether a part may stand in for another at a case, and how well: the lower, the better. The one place where the
/// judgement is made. Of what was chosen for the case it has to fit in its place; of the rest only models are known.
fn stands_in(setting: &Setting, case: &Case, old: &Asset, new: &Asset) -> Option<(u8, Option<Answer>)> {
    let state = setting.state;
    let family = |asset: &Asset| state.model(&asset.model).map(|model| model.family);
    let like = match (old.model == new.model, family(old)? == family(new)?) {
        (true, _) => 0,
        (false, true) => 1,
        (false, false) => return None,
    };
    let Some(chosen) = case.chosen.as_ref().filter(|it| it.configuration.names(&old.asset)) else {
        return Some((like, None));
    };
    let layout = lay_out(state, &chosen.configuration.with(&old.asset, &new.asset)).ok()?;
    let place = layout.pieces.iter().position(|piece| piece.id() == Some(&new.asset))?;
    let mut checks = checks(setting, &layout);
    checks.retain(|check| check.parts.contains(&place));
    match answer(&checks) {
        Answer::Fits => Some((like, Some(Answer::Fits))),
        Answer::NotKnown => Some((like + 2, Some(Answer::NotKnown))),
        Answer::DoesNotFit | Answer::Stop => None,
    }
}

/// The ready parts that may stand in for one that failed, the best first: those that open no set, then those whose set
/// is nobody's, then those that rob a case or a reserve.
pub fn replacements(state: &State, case: &Case, old: &Asset, now: Time) -> Vec<Replacement> {
    let outside = |asset: &&std::sync::Arc<Asset>| {
        asset.asset != old.asset
            && asset.ready(state, now)
            && pack_kept_back(state, asset).is_none()
            && !case.parts.contains_key(&asset.asset)
    };
    let ready = state.assets.values().filter(outside);
    let setting = Setting::of_case(state, case, now);
    let mut all: Vec<(u8, Replacement)> = ready
        .filter_map(|asset| {
            let (grade, fit) = stands_in(&setting, case, old, asset)?;
            Some((grade, Replacement { fit, ..offer(state, case, old, asset, now) }))
        })
        .collect();
    all.sort_by_key(|(grade, it)| {
        (*grade, it.kept_for.is_some(), it.takes_reserve, it.set.is_some(), it.asset.clone())
    });
    all.into_iter().take(MOST).map(|(_, it)| it).collect()
}

fn offer(state: &State, case: &Case, old: &Asset, new: &Asset, now: Time) -> Replacement {
    let set = new.seat.as_ref().and_then(|seat| state.sets.get(&seat.set));
    let kept = |set: &SetState| {
        let others = state.open_cases().filter(|other| other.case != case.case);
        let keeping = others.filter(|other| other.promised.contains(&set.set));
        // Whoever needs it at the same time, else whoever needs it first.
        let turnaround = state.policy.turnaround_minutes;
        let soonest = keeping.min_by_key(|other| (!other.overlaps(case, turnaround), other.start));
        soonest.map(|other| other.case.clone())
    };
    let mut claiming = state.overlapping(case).filter(|other| other.claims(&new.asset));
    let chosen = claiming.next().map(|other| other.case.clone());
    Replacement {
        asset: new.asset.clone(),
        model: new.model.clone(),
        same_model: new.model == old.model,
        fit: None,
        set: set.map(|set| set.set.clone()),
        location: new.location.as_ref().map(|place| place.0.clone()),
        kept_for: set.and_then(|set| kept(set)).or(chosen),
        takes_reserve: set.is_some_and(|set| takes_reserve(state, set, now)),
    }
}

/// Whether opening this set leaves fewer ready ones than its reserve asks for.
fn takes_reserve(state: &State, set: &SetState, now: Time) -> bool {
    let Some(minimum) = state.reserves.get(&set.count_sheet).filter(|minimum| **minimum > 0) else {
        return false;
    };
    let is_ready = |set: &SetState| is_ready(set_status(state, set, now).status);
    let of_sheet = state.sets.values().filter(|other| other.count_sheet == set.count_sheet);
    let ready = of_sheet.filter(|other| is_ready(other)).count();
    is_ready(set) && ready <= *minimum as usize
}
