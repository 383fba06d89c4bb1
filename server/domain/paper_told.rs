//! What a sheet of paper has come to: its deviations, what it put on hold or names on hold, what was decided meanwhile by a record
//! that did not know of it, and what is still to do.

use std::collections::{BTreeMap, BTreeSet};

use super::event::{Entry, Event, Noted, What};
use super::id::Id;
use super::load::LoadStatus;
use super::rested::{Rested, rested};
use super::state::State;

/// What came of the lines that were entered.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct SheetTold {
    pub deviations: usize,
    /// Parts that the lines name and that are on hold now, by their holds.
    pub held: BTreeMap<Id, BTreeSet<Id>>,
    /// Decisions about parts that had gone on before their line was entered.
    pub rested: Vec<Rested>,
    /// Loads of the sheet that nobody has decided.
    pub loads: Vec<Id>,
    /// Cases of the sheet of which something is still out.
    pub cases: Vec<Id>,
    /// Parts that the lines name and that are not accounted for.
    pub missing: Vec<Id>,
}

impl SheetTold {
    /// Nothing is left for anybody.
    pub fn is_settled(&self) -> bool {
        self.held.is_empty()
            && self.rested.is_empty()
            && self.loads.is_empty()
            && self.cases.is_empty()
            && self.missing.is_empty()
    }
}

/// What an act names without moving it, because something moved it since; and the case that it is of.
pub fn gone_on(event: &Event) -> (Vec<Noted>, Option<&Id>) {
    match &event.what {
        What::StepRecorded(it) => (it.noted.clone(), None),
        What::PackBroken(it) => (it.noted.clone(), None),
        What::Inspected(it) => {
            let stayed = it.parts.iter().filter(|part| part.moved.is_none());
            (stayed.map(|part| Noted { asset: part.asset.clone(), turn: part.turn }).collect(), None)
        }
        What::LoadStarted(it) => {
            let stayed = it.contents.iter().filter(|part| it.moved_on.contains(&part.asset));
            (stayed.map(|part| Noted { asset: part.asset.clone(), turn: part.turn }).collect(), None)
        }
        What::Issued(it) => (it.noted.clone(), Some(&it.case)),
        What::Opened(it) | What::Used(it) => {
            let stayed = it.parts.iter().filter(|part| part.moved.is_none());
            let noted = stayed.map(|part| Noted { asset: part.asset.clone(), turn: part.turn });
            (noted.collect(), Some(&it.case))
        }
        _ => (Vec::new(), None),
    }
}

/// What the entries of a sheet come to, as things stand now.
pub fn told(state: &State, entries: &[(Entry, Event)]) -> SheetTold {
    let mut told = SheetTold::default();
    let (mut parts, mut cases, mut loads) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    for (entry, event) in entries {
        told.deviations += usize::from(!event.beside.deviation.is_empty());
        for thing in super::history::all_things(event) {
            let Some(id) = Id::new(&thing.name) else { continue };
            match thing.kind {
                "asset" => drop(parts.insert(id)),
                "case" => drop(cases.insert(id)),
                "load" => drop(loads.insert(id)),
                _ => {}
            }
        }
        let (stayed, but) = gone_on(event);
        let rests = stayed.iter().map(|part| rested(state, part, entry.at, but));
        told.rested.extend(rests.filter(|it| !it.is_nothing()));
    }
    for asset in parts.iter().filter_map(|id| state.assets.get(id)).filter(|it| it.retired.is_none()) {
        for held in &asset.holds {
            told.held.entry(held.hold.clone()).or_default().insert(asset.asset.clone());
        }
        if asset.missing {
            told.missing.push(asset.asset.clone());
        }
    }
    let undecided = |id: &&Id| {
        let load = state.loads.get(*id);
        load.is_some_and(|load| matches!(load.status, LoadStatus::Running | LoadStatus::Judged))
    };
    told.loads = loads.iter().filter(undecided).cloned().collect();
    let out = |id: &&Id| state.cases.get(*id).is_some_and(|case| case.anything_out());
    told.cases = cases.iter().filter(out).cloned().collect();
    told
}
