//! What the sizes of a chosen configuration come to, remembered beside everything that it was judged from. A board that is
//! drawn again finds it there; whatever differs by then (a model defined anew, a piece measured, parts tried, a policy,
//! the technique) makes it be judged again. It says nothing that judging anew would not say.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};

use chrono_tz::Tz;
use imbl::OrdMap;

use super::board::Equipped;
use super::case::{Case, Technique};
use super::configuration::{Configuration, Wish};
use super::fit::Answer;
use super::fit_judge::{Setting, verdict};
use super::fit_layout::lay_out;
use super::forecast::minute;
use super::hold::HoldState;
use super::id::Id;
use super::load::Load;
use super::model::{Dimensions, Model, RouteStep};
use super::refusal::Problem;
use super::scan::resolve;
use super::set::{CountSheet, SetState};
use super::site::Policy;
use super::state::{Asset, Machine, Named, State};
use super::time::Time;
use super::tried::Tried;

/// Everything that the rules of sizes, joints and openings look at.
#[derive(Clone, Debug)]
struct From {
    /// What was chosen; none where whole sets are looked at.
    configuration: Option<Configuration>,
    technique: Option<Technique>,
    wish: Option<Box<Wish>>,
    policy: Policy,
    zone: Tz,
    pieces: Vec<Piece>,
    tried: OrdMap<Id, Arc<Tried>>,
}

/// A piece as the rules see it.
#[derive(Clone, Debug, PartialEq)]
struct Piece {
    asset: Id,
    model: Arc<Model>,
    measured: Option<Box<Dimensions>>,
}

impl From {
    /// `None` where a name means no part of the house.
    fn of(state: &State, case: &Case) -> Option<From> {
        let configuration = &case.chosen.as_ref()?.configuration;
        let piece = |name: &str| {
            let Ok(Named::Asset(id)) = resolve(state, name) else { return None };
            let asset = state.assets.get(&id)?;
            let model = state.models.get(&asset.model)?.clone();
            Some(Piece { asset: id, model, measured: asset.measured.clone() })
        };
        let pieces = configuration.pieces().map(piece).collect::<Option<_>>()?;
        Some(From::with(state, case, Some(configuration.clone()), pieces))
    }

    fn of_sets(state: &State, case: &Case, sets: &[Id]) -> From {
        let sets = sets.iter().filter_map(|set| state.sets.get(set));
        let members = sets.flat_map(|set| state.members(set)).filter(|asset| asset.counts());
        let piece = |asset: &Arc<Asset>| {
            let model = state.models.get(&asset.model)?.clone();
            Some(Piece { asset: asset.asset.clone(), model, measured: asset.measured.clone() })
        };
        From::with(state, case, None, members.filter_map(piece).collect())
    }

    fn with(state: &State, case: &Case, configuration: Option<Configuration>, pieces: Vec<Piece>) -> From {
        From {
            configuration,
            technique: case.technique,
            wish: case.wish.clone(),
            policy: state.policy.clone(),
            zone: state.zone,
            pieces,
            tried: state.tried.clone(),
        }
    }

    fn is(&self, other: &From) -> bool {
        let tried = self.tried.ptr_eq(&other.tried) || self.tried == other.tried;
        tried
            && self.technique == other.technique
            && self.wish == other.wish
            && self.zone == other.zone
            && self.policy == other.policy
            && self.pieces == other.pieces
            && self.configuration == other.configuration
    }
}

#[derive(Clone, Debug)]
struct Judged {
    from: From,
    answer: Answer,
    sentence: String,
}

/// Everything of a house that a search for a configuration looks at, as it was: the maps of a state share what did not
/// change, so that the same map is the same facts.
#[derive(Clone, Debug)]
struct Facts {
    models: OrdMap<Id, Arc<Model>>,
    assets: OrdMap<Id, Arc<Asset>>,
    sets: OrdMap<Id, Arc<SetState>>,
    sheets: OrdMap<Id, Arc<CountSheet>>,
    cases: OrdMap<Id, Arc<Case>>,
    loads: OrdMap<Id, Arc<Load>>,
    routes: OrdMap<Id, Arc<Vec<Arc<[RouteStep]>>>>,
    machines: OrdMap<Id, Arc<Machine>>,
    holds: OrdMap<Id, Arc<HoldState>>,
    reserves: OrdMap<Id, u32>,
    tried: OrdMap<Id, Arc<Tried>>,
    policy: Policy,
    zone: Tz,
}

impl Facts {
    fn of(state: &State) -> Facts {
        Facts {
            models: state.models.clone(),
            assets: state.assets.clone(),
            sets: state.sets.clone(),
            sheets: state.sheets.clone(),
            cases: state.cases.clone(),
            loads: state.loads.clone(),
            routes: state.routes.clone(),
            machines: state.machines.clone(),
            holds: state.holds.clone(),
            reserves: state.reserves.clone(),
            tried: state.tried.clone(),
            policy: state.policy.clone(),
            zone: state.zone,
        }
    }

    fn are(&self, state: &State) -> bool {
        self.assets.ptr_eq(&state.assets)
            && self.cases.ptr_eq(&state.cases)
            && self.loads.ptr_eq(&state.loads)
            && self.sets.ptr_eq(&state.sets)
            && self.models.ptr_eq(&state.models)
            && self.sheets.ptr_eq(&state.sheets)
            && self.routes.ptr_eq(&state.routes)
            && self.machines.ptr_eq(&state.machines)
            && self.holds.ptr_eq(&state.holds)
            && self.reserves.ptr_eq(&state.reserves)
            && self.tried.ptr_eq(&state.tried)
            && (self.zone, &self.policy) == (state.zone, &state.policy)
    }
}

/// What was found for a case whose own sets hold nothing that fits.
#[derive(Clone, Debug)]
struct Searched {
    facts: Facts,
    sets: Vec<Id>,
    /// For how long it is said: a minute, or less where the clock changes something in it.
    from: Time,
    until: Time,
    said: (Equipped, String),
}

/// The answers by case. Copies of a state share it: an answer counts only beside what it was judged from.
#[derive(Clone, Debug, Default)]
pub struct Memo {
    known: Arc<Mutex<BTreeMap<Id, Arc<Judged>>>>,
    searched: Arc<Mutex<BTreeMap<Id, Arc<Searched>>>>,
    judged: Arc<AtomicU64>,
}

impl Memo {
    /// How often something was judged, and not found.
    pub fn judged(&self) -> u64 {
        self.judged.load(Ordering::Relaxed)
    }

    fn find(&self, case: &Id, from: &From) -> Option<Arc<Judged>> {
        let known = self.known.lock().ok()?;
        known.get(case).filter(|judged| judged.from.is(from)).cloned()
    }

    fn keep(&self, state: &State, case: &Id, judged: Judged) {
        if let Ok(mut known) = self.known.lock() {
            known.retain(|case, _| state.open_cases.contains(case));
            known.insert(case.clone(), Arc::new(judged));
        }
    }
}

/// The answer on what was chosen for a case by sizes, joints and openings, with its sentence. `None` where nothing was chosen.
pub fn geometry(state: &State, case: &Case, now: Time) -> Option<(Answer, String)> {
    let chosen = case.chosen.as_ref()?;
    let from = From::of(state, case);
    if let Some(judged) = from.as_ref().and_then(|from| state.fits.find(&case.case, from)) {
        return Some((judged.answer, judged.sentence.clone()));
    }
    state.fits.judged.fetch_add(1, Ordering::Relaxed);
    let (answer, sentence) = match lay_out(state, &chosen.configuration) {
        Ok(layout) => verdict(&Setting::of_case(state, case, now), &layout),
        Err(problems) => {
            let first = problems.first().map(Problem::detail).unwrap_or_default();
            (Answer::NotKnown, format!("It can't be put together any more. {first}"))
        }
    };
    if let Some(from) = from {
        state.fits.keep(state, &case.case, Judged { from, answer, sentence: sentence.clone() });
    }
    Some((answer, sentence))
}

/// Whether the sets of a case hold what fits, as `holds` finds, or as it was found of the same pieces before.
pub fn own_sets(state: &State, case: &Case, sets: &[Id], holds: impl FnOnce() -> bool) -> Answer {
    let from = From::of_sets(state, case, sets);
    if let Some(judged) = state.fits.find(&case.case, &from) {
        return judged.answer;
    }
    state.fits.judged.fetch_add(1, Ordering::Relaxed);
    let answer = if holds() { Answer::Fits } else { Answer::DoesNotFit };
    state.fits.keep(state, &case.case, Judged { from, answer, sentence: String::new() });
    answer
}

/// What `search` says of a case whose own sets hold nothing that fits, or said within this minute of the same facts: a
/// search through the whole house is not done once more for every page that shows its board.
pub fn searched(
    state: &State,
    case: &Case,
    (sets, now): (&[Id], Time),
    search: impl FnOnce() -> (Equipped, String),
) -> (Equipped, String) {
    let known = state.fits.searched.lock().ok().and_then(|all| all.get(&case.case).cloned());
    let is_it =
        |it: &Arc<Searched>| (it.from..it.until).contains(&now) && it.sets == sets && it.facts.are(state);
    if let Some(known) = known.filter(is_it) {
        return known.said.clone();
    }
    state.fits.judged.fetch_add(1, Ordering::Relaxed);
    let said = search();
    let until = state.board_until(now).min(minute(now).plus_minutes(1));
    let found =
        Searched { facts: Facts::of(state), sets: sets.to_vec(), from: now, until, said: said.clone() };
    if let Ok(mut all) = state.fits.searched.lock() {
        all.retain(|case, _| state.open_cases.contains(case));
        all.insert(case.case.clone(), Arc::new(found));
    }
    said
}
