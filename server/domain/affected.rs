//! What a recall affects: what is still as it is because of a recalled load, what was used meanwhile, at which cases, and
//! what is answered for.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::event::Moved;
use super::exposure::CasePart;
use super::id::Id;
use super::load::{Load, LoadStatus};
use super::lookback::{AtCase, trace_loads};
use super::model::StepKind;
use super::recall::{After, Recall};
use super::state::{Asset, Stage, State};
use super::step::RecallHeld;
use super::time::Time;

/// The loads of a machine after one time, from another on and up to a third; a rejected one made nothing ready.
pub fn window(
    state: &State,
    machine: &Id,
    after: Option<Time>,
    from: Option<Time>,
    to: Option<Time>,
) -> Vec<Id> {
    let inside = |load: &&Arc<Load>| {
        load.machine == *machine
            && load.status != LoadStatus::Rejected
            && after.is_none_or(|after| after < load.started_at)
            && from.is_none_or(|from| from <= load.started_at)
            && to.is_none_or(|to| load.started_at <= to)
    };
    let mut found: Vec<&Arc<Load>> = state.loads.values().filter(inside).collect();
    found.sort_by_key(|load| (load.started_at, load.entry));
    found.into_iter().map(|load| load.load.clone()).collect()
}

/// Whether a part is as it is because of this load: it lies in it, or its turn went through it, through no other load of
/// the same step since, and it has not gone back to before that step.
pub fn relies_on(state: &State, asset: &Asset, load: &Load) -> bool {
    if asset.retired.is_some() || asset.missing {
        return false;
    }
    if asset.in_load.as_ref() == Some(&load.load) {
        return true;
    }
    if load.status != LoadStatus::Released {
        return false;
    }
    if load.programme.step() == StepKind::Sterilised {
        return asset.load.as_ref() == Some(&load.load)
            && matches!(asset.stage, Stage::Packed | Stage::Ready | Stage::Issued);
    }
    let past = asset.stage >= Stage::Disinfected && asset.stage <= Stage::Issued;
    past && last_wash(state, asset).is_some_and(|last| *last == load.load)
}

/// The last released load that washed this part in its present turn.
fn last_wash<'a>(state: &'a State, asset: &Asset) -> Option<&'a Id> {
    let of_turn = state.loads_of.of(&asset.asset).rev().filter(|(_, turn)| *turn == asset.turn);
    let mut washes = of_turn
        .filter_map(|(id, _)| state.loads.get(id))
        .filter(|load| load.status == LoadStatus::Released && load.programme.step() == StepKind::Disinfected);
    washes.next().map(|load| &load.load)
}

/// The parts in the house that are as they are because of one of these loads.
pub fn relying<'a>(state: &State, loads: impl Iterator<Item = &'a Id>) -> BTreeSet<Id> {
    let mut found = BTreeSet::new();
    for load in loads.filter_map(|id| state.loads.get(id)) {
        for part in &load.contents {
            if let Some(asset) = state.assets.get(&part.asset)
                && asset.turn == part.turn
                && !found.contains(&asset.asset)
                && relies_on(state, asset, load)
            {
                found.insert(asset.asset.clone());
            }
        }
    }
    found
}

/// The parts that an act puts back to where an open recall's load made them what they are, and that its hold has not.
pub fn taken_by(state: &State, moved: &[Moved]) -> Vec<RecallHeld> {
    let mut found = Vec::new();
    for recall in state.recalls.values().filter(|recall| recall.is_open()) {
        if state.holds.get(&recall.hold).is_none_or(|hold| hold.lifted_at.is_some()) {
            continue;
        }
        for it in moved.iter().filter(|it| !recall.parts.contains_key(&it.asset)) {
            let Some(now) = state.assets.get(&it.asset) else { continue };
            if now.holds.iter().any(|held| held.hold == recall.hold) {
                continue;
            }
            let mut then = (**now).clone();
            (then.stage, then.turn, then.next) = (it.to, it.turn, it.next);
            let of_turn = |load: &&Arc<Load>| {
                load.contents.iter().any(|part| part.asset == it.asset && part.turn == it.turn)
            };
            let mut loads = recall.loads.iter().filter_map(|load| state.loads.get(load)).filter(of_turn);
            if loads.any(|load| relies_on(state, &then, load)) {
                found.push(RecallHeld { asset: it.asset.clone(), hold: recall.hold.clone() });
            }
        }
    }
    found
}

/// How a part that went through a recalled load stands now.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Fate {
    /// In the house, as the load made it.
    Here,
    /// At a case.
    Out,
    Missing,
    /// It went back to before the step, in the same turn.
    Back,
    /// Its turn is over: it goes through the whole loop again.
    Over,
    Retired,
}

impl Fate {
    pub fn name(self) -> &'static str {
        match self {
            Fate::Here => "here",
            Fate::Out => "out",
            Fate::Missing => "missing",
            Fate::Back => "back",
            Fate::Over => "over",
            Fate::Retired => "retired",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Fate::Here => "in the house, as the load made it",
            Fate::Out => "out at a case",
            Fate::Missing => "not accounted for",
            Fate::Back => "went back, goes through the step again",
            Fate::Over => "its turn is over, goes through the whole loop again",
            Fate::Retired => "retired",
        }
    }
}

/// A part that went through a recalled load.
#[derive(Clone, Debug)]
pub struct AffectedPart {
    /// The turns in which it did.
    pub turns: BTreeSet<u32>,
    pub fate: Fate,
    /// The recall's hold is on it.
    pub held: bool,
    /// Somebody answered for it, or lifted the hold.
    pub told: bool,
}

impl AffectedPart {
    /// Whether it needs no answer any more: somebody gave one, or the record says what became of it.
    pub fn answered(&self) -> bool {
        let gone = matches!(self.fate, Fate::Over | Fate::Back) && !self.held;
        self.told || gone || self.fate == Fate::Retired
    }
}

/// Everything that a recall affects.
#[derive(Clone, Debug, Default)]
pub struct Affected {
    pub parts: BTreeMap<Id, AffectedPart>,
    pub cases: BTreeMap<Id, BTreeSet<AtCase>>,
    answered_cases: BTreeSet<Id>,
    closed: bool,
}

impl Affected {
    /// The parts and the cases that nobody answered for. A closed recall asks for nothing more.
    pub fn open(&self) -> (Vec<Id>, Vec<Id>) {
        if self.closed {
            return (Vec::new(), Vec::new());
        }
        let parts = self.parts.iter().filter(|(_, part)| !part.answered()).map(|(id, _)| id.clone());
        let parts = parts.collect();
        let cases = self.cases.keys().filter(|id| !self.answered_cases.contains(*id)).cloned().collect();
        (parts, cases)
    }
}

pub fn affected(state: &State, recall: &Recall) -> Affected {
    let trace = trace_loads(state, &recall.loads);
    let relying = relying(state, recall.loads.iter());
    let lifted = state.holds.get(&recall.hold).is_some_and(|hold| hold.lifted_at.is_some());
    let mut found = Affected {
        parts: BTreeMap::new(),
        cases: before_cleared(state, recall, trace.cases),
        answered_cases: recall.cases.keys().cloned().collect(),
        closed: !recall.is_open(),
    };
    for (id, turns) in trace.assets {
        let Some(asset) = state.assets.get(&id) else { continue };
        let fate = fate(asset, &turns, &relying);
        let held = asset.holds.iter().any(|held| held.hold == recall.hold);
        let told = recall.parts.contains_key(&id) || (lifted && fate == Fate::Here);
        found.parts.insert(id, AffectedPart { turns, fate, held, told });
    }
    found
}

/// The exposures but for those of parts that were cleared before: nothing stood against these any more.
fn before_cleared(
    state: &State,
    recall: &Recall,
    mut cases: BTreeMap<Id, BTreeSet<AtCase>>,
) -> BTreeMap<Id, BTreeSet<AtCase>> {
    let cleared = |asset: &Id| recall.parts.get(asset).filter(|it| it.then == Some(After::Clear));
    for (case, exposures) in &mut cases {
        let Some(case) = state.cases.get(case) else { continue };
        exposures.retain(|at| {
            let Some(answer) = cleared(&at.asset) else { return true };
            let same = |(id, part): &(&Id, &CasePart)| **id == at.asset && part.turn == at.turn;
            case.all_parts().find(same).is_none_or(|(_, part)| part.since < answer.entry)
        });
    }
    cases.retain(|_, exposures| !exposures.is_empty());
    cases
}

fn fate(asset: &Asset, turns: &BTreeSet<u32>, relying: &BTreeSet<Id>) -> Fate {
    if asset.retired.is_some() {
        return Fate::Retired;
    }
    if asset.missing && turns.contains(&asset.turn) {
        return Fate::Missing;
    }
    if !turns.contains(&asset.turn) {
        return Fate::Over;
    }
    match asset.stage {
        Stage::Issued | Stage::InUse => Fate::Out,
        _ if relying.contains(&asset.asset) => Fate::Here,
        _ => Fate::Back,
    }
}
