//! A site's current facts, whole in memory. Cloning a state costs a few counters: the maps share what is unchanged,
//! so a draft is a clone, and a reader keeps the state it was given.

use super::alert::AlertRule;
use super::asset::{Cause, Owner};
use super::broken::BrokenPack;
use super::case::Case;
pub use super::changes::{Changes, Seating, TurnBegan};
use super::finding::Finding;
use super::fit_memo::Memo;
use super::hold::{HoldKind, HoldState};
use super::id::Id;
use super::inspect_next::AskedFor;
use super::inspection_values::Values;
use super::load::Load;
use super::loads_of::LoadsOf;
use super::loan_kept::Loan;
use super::lookback::LookBack;
use super::migration::SatIn;
use super::missing::MissingState;
use super::mixed::Mixed;
use super::model::{Dimensions, Model, RouteStep};
use super::pace::Paces;
use super::paper::PaperSheet;
use super::procedure::Procedure;
use super::recall::Recall;
use super::repair::Repair;
use super::request::Request;
use super::schedule_line::ScheduleLine;
use super::set::{CountSheet, Seat, SetState};
use super::shelf::{CaseStock, Shelf};
use super::signing::Signed;
use super::site::Policy;
use super::stranger::Stranger;
use super::text::Line;
use super::time::{Date, Time};
use super::tried::Tried;
use super::upkeep::Upkeep;
use super::wrong_thing::WrongThing;
use chrono_tz::Tz;
use imbl::{OrdMap, OrdSet};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

pub use super::condition::{Condition, KeptTest, LastTest, Machine};
pub use super::lifetime::InspectedAt;
pub use super::stage::{Stage, Standing};

/// What the ledger of one site says now, up to and with entry `seq`.
#[derive(Clone, Debug)]
pub struct State {
    pub site: Id,
    pub name: String,
    /// A site for teaching.
    pub practice: bool,
    pub zone: Tz,
    pub seq: u64,
    /// Of the last entry; it never decreases along the ledger.
    pub recorded_at: Time,
    pub policy: Policy,
    /// Every version of every route, oldest first: a part under way finishes on the one its turn began with.
    pub routes: OrdMap<Id, Arc<Vec<Arc<[RouteStep]>>>>,
    pub models: OrdMap<Id, Arc<Model>>,
    /// The place in the ledger at which what is told elsewhere of a model's parts (`fhir::told_alike`) last changed.
    pub models_told: OrdMap<Id, u64>,
    pub sheets: OrdMap<Id, Arc<CountSheet>>,
    pub machines: OrdMap<Id, Arc<Machine>>,
    pub assets: OrdMap<Id, Arc<Asset>>,
    pub sets: OrdMap<Id, Arc<SetState>>,
    /// Sets that were lent, and left the house.
    pub sets_left: OrdMap<Id, Arc<SetState>>,
    pub loads: OrdMap<Id, Arc<Load>>,
    pub holds: OrdMap<Id, Arc<HoldState>>,
    pub reserves: OrdMap<Id, u32>,
    pub cases: OrdMap<Id, Arc<Case>>,
    pub missing: OrdMap<Id, Arc<MissingState>>,
    pub findings: OrdMap<Id, Arc<Finding>>,
    pub repairs: OrdMap<Id, Arc<Repair>>,
    pub look_backs: OrdMap<Id, Arc<LookBack>>,
    pub recalls: OrdMap<Id, Arc<Recall>>,
    pub broken: OrdMap<Id, Arc<BrokenPack>>,
    pub upkeep: OrdMap<Id, Arc<Upkeep>>,
    pub values: OrdMap<Id, Arc<Values>>,
    pub paces: Paces,
    /// Parts that somebody tried together.
    pub tried: OrdMap<Id, Arc<Tried>>,
    /// What procedures need, by the keys of their codes.
    pub procedures: OrdMap<Id, Arc<Procedure>>,
    /// Rules of alerts, those that were dropped among them.
    pub alert_rules: OrdMap<Id, Arc<AlertRule>>,
    /// The last signature of each kind.
    pub signed: OrdMap<Id, Arc<Signed>>,
    /// Sheets for days on paper, those that are entered or void among them.
    pub paper: OrdMap<Id, Arc<PaperSheet>>,
    /// Reports that the wrong thing was scanned.
    pub wrong_things: OrdMap<Id, Arc<WrongThing>>,
    /// Messages of a schedule that a person has to look at, or has looked at.
    pub schedule_lines: OrdMap<Id, Arc<ScheduleLine>>,
    /// What the board asked of the desk, and those whose case is still to come, which follow from them.
    pub requests: OrdMap<Id, Arc<Request>>,
    pub current_requests: OrdSet<Id>,
    pub loans: OrdMap<Id, Arc<Loan>>,
    /// Strangers by their tags, and doubts of identity by their names.
    pub strangers: OrdMap<Id, Arc<Stranger>>,
    pub mixed: OrdMap<Id, Arc<Mixed>>,
    pub shelf: OrdMap<Id, Arc<Shelf>>,
    pub case_stock: OrdMap<Id, Arc<CaseStock>>,
    /// The newest case of each appointment of a schedule, by its numbers. It follows from the cases.
    pub scheduled: OrdMap<String, Id>,
    /// Cases still to come or under way. Derived from the cases, as the next two are from cases and loads.
    pub open_cases: OrdSet<Id>,
    /// Emergencies of which the patient or the needs are not told yet. It follows from the cases.
    pub unfollowed: OrdSet<Id>,
    /// The cases at which each part was opened or used, oldest entry first.
    pub cases_of: OrdMap<Id, Arc<Vec<Id>>>,
    /// Loads released alone or early whose exception is open still. It follows from the loads.
    pub loads_with_open_exception: OrdSet<Id>,
    /// The loads in which each part lay, with its turn then, oldest entry first.
    pub loads_of: LoadsOf,
    /// Codes of people as years of loads name them, each once in memory.
    pub(super) codes: OrdSet<Arc<str>>,
    /// Ids, marks and set codes: one name space.
    pub names: OrdMap<String, Named>,
    /// What the configurations that were chosen came to by their sizes.
    pub fits: Memo,
    /// The keys of marks that name one piece, by which it is found in whatever way its mark is written.
    pub pieces: OrdMap<String, Arc<[Id]>>,
    /// What changed since the changes were last taken; the tables follow from it.
    pub changes: Changes,
}

/// What a scanned text names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Named {
    Asset(Id),
    Set(Id),
}

/// One physical piece.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Asset {
    pub asset: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acquired: Option<Date>,
    pub prior_cycles: u32,
    pub prior_uses: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost_cents: Option<u64>,
    pub owner: Owner,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat: Option<Seat>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<Line>,
    pub turn: u32,
    pub turn_began_at: Time,
    /// The route that this turn began with.
    pub route: Id,
    pub route_version: u32,
    /// The place in the route of the next act.
    pub next: u32,
    pub stage: Stage,
    /// Its pack, where it was packed as a member of a set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack: Option<PackOf>,
    /// What it is packed in, where that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packaging: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_load: Option<Id>,
    /// The load that made this turn's part ready.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sterile_until: Option<Date>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cool_at: Option<Time>,
    pub cycles: u32,
    pub uses: u32,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HeldBy>,
    #[serde(default)]
    pub in_repair: bool,
    #[serde(default)]
    pub missing: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<RetiredAs>,
    /// When it last passed an inspection, and at how many cycles.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inspected: Option<InspectedAt>,
    /// Whoever asked for an inspection, until it is looked at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asked: Option<Box<AskedFor>>,
    /// Who supplied it, where that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
    /// What somebody measured of this very piece, beside what its maker states of the model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<Box<Dimensions>>,
    pub added_at: Time,
    /// The last event that touched it.
    pub last_at: Time,
    /// The place in the ledger of the last entry that touched it.
    pub last_entry: u64,
    /// The last act that moved it along.
    pub act_at: Time,
    /// The end of its last use, until its cleaning begins.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soiled_since: Option<Time>,
    /// The sets in which it sat, one after the other; the last one it may sit in still.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sat_in: Vec<SatIn>,
}

/// One pack: what was packed by one entry under one pack text.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct PackOf {
    pub entry: u64,
    pub set: Id,
    pub pack: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeldBy {
    pub hold: Id,
    pub kind: HoldKind,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RetiredAs {
    pub cause: Cause,
    pub failure: bool,
    pub at: Time,
}

impl State {
    /// A site before its first entry.
    pub fn new(site: Id) -> State {
        State {
            site,
            name: String::new(),
            practice: false,
            zone: Tz::UTC,
            seq: 0,
            recorded_at: Time::default(),
            policy: Policy::default(),
            routes: OrdMap::new(),
            models: OrdMap::new(),
            models_told: OrdMap::new(),
            sheets: OrdMap::new(),
            machines: OrdMap::new(),
            assets: OrdMap::new(),
            sets: OrdMap::new(),
            sets_left: OrdMap::new(),
            loads: OrdMap::new(),
            holds: OrdMap::new(),
            reserves: OrdMap::new(),
            cases: OrdMap::new(),
            missing: OrdMap::new(),
            findings: OrdMap::new(),
            repairs: OrdMap::new(),
            look_backs: OrdMap::new(),
            recalls: OrdMap::new(),
            broken: OrdMap::new(),
            tried: OrdMap::new(),
            upkeep: OrdMap::new(),
            values: OrdMap::new(),
            procedures: OrdMap::new(),
            alert_rules: OrdMap::new(),
            signed: OrdMap::new(),
            schedule_lines: OrdMap::new(),
            paper: OrdMap::new(),
            wrong_things: OrdMap::new(),
            requests: OrdMap::new(),
            current_requests: OrdSet::new(),
            loans: OrdMap::new(),
            strangers: OrdMap::new(),
            mixed: OrdMap::new(),
            shelf: OrdMap::new(),
            case_stock: OrdMap::new(),
            scheduled: OrdMap::new(),
            paces: Paces::default(),
            open_cases: OrdSet::new(),
            unfollowed: OrdSet::new(),
            cases_of: OrdMap::new(),
            loads_with_open_exception: OrdSet::new(),
            loads_of: LoadsOf::default(),
            codes: OrdSet::new(),
            names: OrdMap::new(),
            fits: Memo::default(),
            pieces: OrdMap::new(),
            changes: Changes::default(),
        }
    }

    /// The route that the part's turn began with.
    pub fn route_of(&self, asset: &Asset) -> &[RouteStep] {
        let version = (asset.route_version as usize).saturating_sub(1);
        self.routes.get(&asset.route).and_then(|versions| versions.get(version)).map_or(&[], |steps| steps)
    }

    /// The next act of the part's turn. What is out at a case has none: it comes back, and its next turn begins.
    pub fn next_step(&self, asset: &Asset) -> Option<RouteStep> {
        if asset.stage.is_out() {
            return None;
        }
        self.route_of(asset).get(asset.next as usize).copied()
    }

    /// Fills the indexes that follow from cases and loads, after these were read whole.
    pub fn index(&mut self) {
        let mut cases_of: BTreeMap<Id, Vec<(u64, Id)>> = BTreeMap::new();
        for case in self.cases.values() {
            if case.is_open() {
                self.open_cases.insert(case.case.clone());
            }
            if case.is_unfollowed() {
                self.unfollowed.insert(case.case.clone());
            }
            for (asset, part) in case.all_parts().filter(|(_, part)| part.exposure.is_some()) {
                cases_of.entry(asset.clone()).or_default().push((part.since, case.case.clone()));
            }
        }
        let of_schedule = self.cases.values().filter(|case| case.schedule.is_some());
        let of_schedule: Vec<Id> = of_schedule.map(|case| case.case.clone()).collect();
        of_schedule.iter().for_each(|case| self.index_schedule(case, &[]));
        self.index_requests();
        for (asset, mut cases) in cases_of {
            cases.sort();
            let mut cases: Vec<Id> = cases.into_iter().map(|(_, case)| case).collect();
            // A case that had the part in two turns stands once, at the first.
            let mut seen = BTreeSet::new();
            cases.retain(|case| seen.insert(case.clone()));
            self.cases_of.insert(asset, Arc::new(cases));
        }
        let mut loads: Vec<&Arc<Load>> = self.loads.values().collect();
        loads.sort_by_key(|load| load.entry);
        self.loads_of = LoadsOf::default();
        loads.into_iter().for_each(|load| self.loads_of.add(&load.load, &load.contents));
        self.loads_of.trim();
        for load in self.loads.values().filter(|load| load.open_exception()) {
            self.loads_with_open_exception.insert(load.load.clone());
        }
    }

    pub fn asset(&self, id: &str) -> Option<&Arc<Asset>> {
        self.assets.get(id)
    }

    /// The parts of a set, by line and position.
    pub fn members<'a>(&'a self, set: &'a SetState) -> impl Iterator<Item = &'a Arc<Asset>> + 'a {
        set.seats.values().filter_map(|id| self.assets.get(id))
    }

    pub fn take_changes(&mut self) -> Changes {
        std::mem::take(&mut self.changes)
    }
}
