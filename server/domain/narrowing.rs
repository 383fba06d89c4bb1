//! What a narrower window of a recall would do, before somebody decides: which loads stay, which parts are free again.

use std::collections::BTreeSet;

use super::affected::{affected, relying};
use super::id::Id;
use super::load::{IndicatorKind, IndicatorResult, Load, LoadStatus};
use super::recall::Recall;
use super::release::{Spores, spores};
use super::state::State;

/// Why a load is better not left out.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Doubt {
    /// Its biological indicator grew: it is never left out.
    Grew,
    ChemicalFailed,
    RecordFailed,
    NotDecided,
}

impl Doubt {
    pub fn words(self) -> &'static str {
        match self {
            Doubt::Grew => "its biological indicator grew",
            Doubt::ChemicalFailed => "a chemical indicator of it failed",
            Doubt::RecordFailed => "its record failed",
            Doubt::NotDecided => "it is not decided",
        }
    }
}

/// The worst that is known against a load.
pub fn doubt(load: &Load) -> Option<Doubt> {
    let failed = |it: &super::load::Indicator| {
        it.indicator == IndicatorKind::Chemical && it.result == IndicatorResult::Fail
    };
    if spores(load) == Spores::Grew {
        Some(Doubt::Grew)
    } else if load.indicators.iter().any(failed) {
        Some(Doubt::ChemicalFailed)
    } else if load.judged.as_ref().is_some_and(|judged| !judged.passed) {
        Some(Doubt::RecordFailed)
    } else {
        matches!(load.status, LoadStatus::Running | LoadStatus::Judged).then_some(Doubt::NotDecided)
    }
}

/// What becomes of a recall's loads, parts and cases where only some of its loads stay.
pub struct Narrowing {
    pub kept: Vec<Id>,
    pub dropped: Vec<Id>,
    /// Dropped loads that are better kept, with why.
    pub doubts: Vec<(Id, Doubt)>,
    /// Parts that are as they are because of a load that stays.
    pub held: BTreeSet<Id>,
    /// Parts that lose the recall's hold and have no other.
    pub freed: BTreeSet<Id>,
    /// Parts that lose the recall's hold and stay on another.
    pub still_held: BTreeSet<Id>,
    /// Cases without an answer that need none any more.
    pub cases: BTreeSet<Id>,
}

pub fn narrowing(state: &State, recall: &Recall, keep: &BTreeSet<Id>) -> Narrowing {
    let (kept, dropped): (Vec<Id>, Vec<Id>) = recall.loads.iter().cloned().partition(|it| keep.contains(it));
    let loads = dropped.iter().filter_map(|id| state.loads.get(id));
    let doubts = loads.filter_map(|load| Some((load.load.clone(), doubt(load)?))).collect();
    let held = relying(state, kept.iter());
    let lost: Vec<Id> = relying(state, recall.loads.iter()).difference(&held).cloned().collect();
    let (mut freed, mut still_held) = (BTreeSet::new(), BTreeSet::new());
    for asset in lost.iter().filter_map(|id| state.assets.get(id)) {
        let (own, others): (Vec<_>, Vec<_>) = asset.holds.iter().partition(|it| it.hold == recall.hold);
        if !own.is_empty() {
            if others.is_empty() { &mut freed } else { &mut still_held }.insert(asset.asset.clone());
        }
    }
    let narrower = Recall { loads: kept.clone(), ..recall.clone() };
    let open = |recall: &Recall| -> BTreeSet<Id> { affected(state, recall).open().1.into_iter().collect() };
    let cases = open(recall).difference(&open(&narrower)).cloned().collect();
    Narrowing { kept, dropped, doubts, held, freed, still_held, cases }
}
