//! Look-back: from any load, asset, case or machine, in either direction, everything and everyone affected.
//!
//! A trace follows turns: a load belongs to the turn in which its parts went in, and a case to the turn in which it
//! opened them. Opened and used both count as exposed; exposed means possible contact, not infection.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Noted, What};
use super::exposure::{CasePart, Exposure};
use super::id::{Id, next_free};
use super::kin::Kin;
use super::load::LoadStatus;
use super::model::{reason_given, unknown};
use super::refusal::{Code, Problem};
use super::scan::resolve;
use super::shelf::UsedAt;
use super::state::{Named, State};
use super::text::{Line, Text};
use super::time::Time;
use super::wrong_thing::WrongThing;

/// Where a look-back begins: one of a load, an asset, a case, or a machine in a window of time.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Origin {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asset: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub machine: Option<Id>,
    /// A lot, or one piece by its number, of what is kept without parts of its own; with its model where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<Time>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<Time>,
}

impl Origin {
    /// Exactly one origin; a window only with a machine.
    pub fn whole(&self) -> Result<(), Malformed> {
        let of_lot = self.lot.is_some() || self.serial.is_some();
        let named =
            [self.load.is_some(), self.asset.is_some(), self.case.is_some(), self.machine.is_some(), of_lot];
        if named.into_iter().filter(|named| *named).count() != 1 {
            return Err(wrong(
                "/origin",
                "found none or several of load, asset, case, machine and lot; one is needed",
            ));
        }
        if self.model.is_some() && !of_lot {
            return Err(wrong("/origin/model", "found a model without a lot or a number"));
        }
        if self.machine.is_none() && (self.from.is_some() || self.to.is_some()) {
            return Err(wrong("/origin/from", "found a window without a machine"));
        }
        if let (Some(from), Some(to)) = (self.from, self.to)
            && from > to
        {
            return Err(wrong("/origin/to", "found an end before the beginning"));
        }
        Ok(())
    }

    /// What it begins with, in words.
    pub fn words(&self) -> String {
        match (&self.load, &self.asset, &self.case, &self.machine) {
            (Some(load), ..) => format!("load {load}"),
            (_, Some(asset), ..) => format!("part {}", asset.as_str()),
            (_, _, Some(case), _) => format!("case {case}"),
            (.., Some(machine)) => format!("machine {machine}"),
            _ => self.lot_words(),
        }
    }

    fn lot_words(&self) -> String {
        let lot = self.lot.as_ref().map(|lot| format!("lot {}", lot.0));
        let serial = self.serial.as_ref().map(|serial| format!("number {}", serial.0));
        let model = self.model.as_ref().map(|model| format!(" of {model}")).unwrap_or_default();
        let named: Vec<String> = lot.into_iter().chain(serial).collect();
        if named.is_empty() { "nothing".into() } else { format!("{}{model}", named.join(", ")) }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenLookBack {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub look_back: Option<Id>,
    pub origin: Origin,
    pub reason: Text,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CloseLookBack {
    pub look_back: Id,
    pub outcome: Text,
}

/// An investigation: while it is open, nothing in it is erased.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookBack {
    pub look_back: Id,
    pub origin: Origin,
    pub reason: String,
    pub opened_at: Time,
    pub opened_by: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookBackOpened {
    pub look_back: Id,
    pub origin: Origin,
    pub reason: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookBackClosed {
    pub look_back: Id,
    pub outcome: String,
}

/// A part's turn at a case.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct AtCase {
    pub asset: Id,
    pub turn: u32,
    pub exposure: Exposure,
}

/// Everything affected.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Trace {
    pub loads: BTreeSet<Id>,
    pub assets: BTreeMap<Id, BTreeSet<u32>>,
    pub cases: BTreeMap<Id, BTreeSet<AtCase>>,
    /// Pairs of parts that are counted together: each may be the other.
    pub kin: BTreeSet<(Id, Kin)>,
    /// Used of the shelf at these cases, where the trace began at a lot or at the case.
    pub stock: BTreeMap<Id, Vec<UsedAt>>,
}

impl Trace {
    pub(super) fn part(&mut self, asset: &Id, turn: u32) {
        self.assets.entry(asset.clone()).or_default().insert(turn);
    }

    /// The exposures of one part that `wanted` names by turn.
    pub(super) fn exposures(&mut self, state: &State, asset: &Id, wanted: impl Fn(&CasePart) -> bool) {
        for case in state.cases_of.get(asset).into_iter().flat_map(|cases| cases.iter()) {
            let Some(found) = state.cases.get(case) else { continue };
            for (_, part) in found.all_parts().filter(|(id, _)| *id == asset) {
                let Some(exposure) = part.exposure.filter(|_| wanted(part)) else { continue };
                self.part(asset, part.turn);
                let at = AtCase { asset: asset.clone(), turn: part.turn, exposure };
                self.cases.entry(case.clone()).or_default().insert(at);
            }
        }
        // Where somebody said that this was scanned for another, or another for this, both were there.
        let perhaps = |(told, part): &(&WrongThing, &Noted)| {
            let (exposure, since) = (told.reported.exposure, told.reported.entry);
            let as_there = CasePart {
                turn: part.turn,
                issued: true,
                exposure,
                told_used: false,
                since,
                out: false,
                missing: false,
            };
            part.asset == *asset && wanted(&as_there)
        };
        for (told, part) in meant(state).filter(perhaps) {
            let Some((case, exposure)) = told.reported.case.clone().zip(told.reported.exposure) else {
                continue;
            };
            self.part(asset, part.turn);
            let at = AtCase { asset: asset.clone(), turn: part.turn, exposure };
            let there = self.cases.entry(case).or_default();
            if !there.iter().any(|known| known.asset == *asset && known.turn == part.turn) {
                there.insert(at);
            }
        }
    }

    fn follow_load(&mut self, state: &State, load: &Id) {
        let Some(found) = state.loads.get(load) else { return };
        self.loads.insert(load.clone());
        for part in &found.contents {
            self.part(&part.asset, part.turn);
            // A rejected load exposes nobody: its parts went through another.
            if found.status != LoadStatus::Rejected {
                self.exposures(state, &part.asset, |at| at.turn == part.turn);
                self.kin_of_load(state, found, part.turn, &part.asset);
            }
        }
        self.meant_in_load(state, load);
    }

    /// The things that may have lain in a load in the place of others.
    fn meant_in_load(&mut self, state: &State, load: &Id) {
        for (told, part) in meant(state).filter(|(told, _)| told.reported.load.as_ref() == Some(load)) {
            let rejected = state.loads.get(load).is_some_and(|load| load.status == LoadStatus::Rejected);
            self.part(&part.asset, part.turn);
            if !rejected {
                self.exposures(state, &part.asset, |at| at.turn == part.turn);
            }
            self.loads.extend(told.reported.load.clone());
        }
    }

    pub(super) fn follow_asset(&mut self, state: &State, asset: &Id) {
        let Some(found) = state.assets.get(asset) else { return };
        self.part(asset, found.turn);
        for (load, turn) in state.loads_of.of(asset) {
            self.loads.insert(load.clone());
            self.part(asset, turn);
        }
        let perhaps = meant(state).filter(|(_, part)| part.asset == *asset);
        self.loads.extend(perhaps.filter_map(|(told, _)| told.reported.load.clone()));
        self.exposures(state, asset, |_| true);
        self.kin_of_asset(state, asset);
    }

    /// Back to the loads that made this turn's parts ready, and on to every later case of the same parts.
    fn follow_case(&mut self, state: &State, case: &Id) {
        let Some(found) = state.cases.get(case) else { return };
        self.cases.entry(case.clone()).or_default();
        let stock = state.stock_at(case);
        if !stock.is_empty() {
            self.stock.insert(case.clone(), stock.to_vec());
        }
        for (asset, part) in found.all_parts().filter(|(_, part)| part.exposure.is_some()) {
            let before = state.loads_of.of(asset);
            self.loads.extend(before.filter(|(_, turn)| *turn == part.turn).map(|(load, _)| load.clone()));
            self.part(asset, part.turn);
            self.exposures(state, asset, |at| at.turn >= part.turn);
            self.kin_of_case(state, asset, part);
        }
        for (told, part) in meant(state) {
            if told.reported.case.as_ref() == Some(case) && told.reported.exposure.is_some() {
                let before = state.loads_of.of(&part.asset).filter(|(_, turn)| *turn == part.turn);
                self.loads.extend(before.map(|(load, _)| load.clone()));
                self.exposures(state, &part.asset, |at| at.turn >= part.turn);
            }
        }
    }
}

/// The things meant where others were scanned, as long as both are counted.
fn meant(state: &State) -> impl Iterator<Item = (&WrongThing, &Noted)> {
    state.counted_twice().flat_map(|told| told.reported.meant.iter().map(move |part| (told, part)))
}

/// Follows an origin through the whole record of a site; `None` where it names nothing.
pub fn trace(state: &State, origin: &Origin) -> Option<Trace> {
    let mut trace = Trace::default();
    if let Some(load) = &origin.load {
        state.loads.get(load)?;
        trace.follow_load(state, load);
    } else if let Some(asset) = &origin.asset {
        let Ok(Named::Asset(id)) = resolve(state, asset.as_str()) else { return None };
        trace.follow_asset(state, &id);
    } else if let Some(case) = &origin.case {
        state.cases.get(case)?;
        trace.follow_case(state, case);
    } else if origin.lot.is_some() || origin.serial.is_some() {
        trace.follow_lot(state, origin)?;
    } else {
        let machine = origin.machine.as_ref()?;
        state.machines.get(machine)?;
        let inside =
            |at: Time| origin.from.is_none_or(|from| from <= at) && origin.to.is_none_or(|to| at <= to);
        let of_machine =
            state.loads.values().filter(|load| load.machine == *machine && inside(load.started_at));
        for load in of_machine {
            trace.follow_load(state, &load.load);
        }
    }
    Some(trace)
}

/// Follows several cases at once: all those of one patient.
pub fn trace_cases(state: &State, cases: &[Id]) -> Trace {
    let mut trace = Trace::default();
    cases.iter().for_each(|case| trace.follow_case(state, case));
    trace
}

/// Follows several loads at once: all that a recall names.
pub fn trace_loads(state: &State, loads: &[Id]) -> Trace {
    let mut trace = Trace::default();
    loads.iter().for_each(|load| trace.follow_load(state, load));
    trace
}

pub(super) fn open(deciding: &mut Deciding, it: &OpenLookBack) -> Option<What> {
    reason_given(deciding, &it.reason);
    let state = deciding.state;
    if trace(state, &it.origin).is_none() {
        deciding.against(unknown("origin", &it.origin.words()));
    }
    if let Some(taken) = it.look_back.as_ref().filter(|id| state.look_backs.contains_key(*id)) {
        deciding.against(Problem::new(
            Code::NameTaken,
            format!("\"{taken}\" already names a look-back."),
            "A look-back's name is used once.",
            "Leave the name out, or choose another.",
        ));
    }
    let made = next_free("look-back", 4, state.look_backs.len(), |id| state.look_backs.contains_key(id));
    let look_back = match &it.look_back {
        Some(given) => given.clone(),
        None => {
            deciding.made = made.clone();
            made?
        }
    };
    let (origin, reason) = (it.origin.clone(), it.reason.0.clone());
    Some(What::LookBackOpened(LookBackOpened { look_back, origin, reason }))
}

pub(super) fn close(deciding: &mut Deciding, it: &CloseLookBack) -> Option<What> {
    reason_given(deciding, &it.outcome);
    let Some(found) = deciding.state.look_backs.get(&it.look_back) else {
        deciding.against(unknown("look-back", it.look_back.as_str()));
        return None;
    };
    deciding.touches(Some(found.opened_at));
    if found.closed_at.is_some() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Look-back {} is already closed.", it.look_back),
            "A look-back that is open is needed.",
            "Nothing needs to be done.",
        ));
    }
    Some(What::LookBackClosed(LookBackClosed {
        look_back: it.look_back.clone(),
        outcome: it.outcome.0.clone(),
    }))
}
