//! What would save a case that is short: each act is tried in the simulation, with the same chances drawn, so that what
//! differs is the act's doing. What others lose by it is said beside what the case wins.

use std::collections::BTreeSet;

use serde::Serialize;

use super::allotted::Allotted;
use super::closing::Place;
use super::forecast::{CaseForecast, SEED, odds};
use super::forecast_shop::Plan;
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::glance;
use super::route::StepKind;
use super::state::State;
use super::time::Time;
use crate::analysis::queue::{self, Daily, Forecast, Law, Shop, Start};

/// A case with better odds needs no help.
const GOOD: f64 = 0.8;
/// So much has an act to win, or it is not worth its words; a loss of another case is told from this on.
const WORTH: f64 = 0.1;
const LOSS: f64 = 0.05;
/// The cases that are helped, the first to start; the acts that are told of each.
const MOST_CASES: usize = 4;
const MOST_TOLD: usize = 3;
const MOST_OTHERS: usize = 4;
const REPLICATIONS: u32 = 300;

/// What a person may do.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Act {
    TakeNext,
    StartNow,
    TakeSet,
    PutIn,
    Swap,
    TakeReserve,
}

/// An act with its effect.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Saves {
    pub act: Act,
    /// The case's chance by it.
    pub chance: f64,
    pub sentence: String,
    /// The other cases that lose by it, with their chance then.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub loses: Vec<(Id, f64)>,
}

struct Tried {
    act: Act,
    does: String,
    shop: Shop,
    /// The want of each case, where the act changes their order.
    wants: Vec<Id>,
}

/// Looks for acts, and adds those that help to the cases.
pub(super) fn help(
    (state, now): (&State, Time),
    plan: &Plan,
    allotted: &[Allotted],
    replications: u32,
    cases: &mut [CaseForecast],
) {
    let short = |it: &&mut CaseForecast| it.chance.is_some_and(|chance| chance < GOOD) && it.start >= now;
    let mut short: Vec<&mut CaseForecast> = cases.iter_mut().filter(short).collect();
    if short.is_empty() {
        return;
    }
    let replications = replications.min(REPLICATIONS);
    let Ok(base) = queue::forecast(&plan.shop, replications, SEED) else { return };
    for case in short.iter_mut().take(MOST_CASES) {
        let Some(own) = allotted.iter().find(|it| it.case.case == case.case) else { continue };
        let mut found: Vec<Saves> = acts((state, now), plan, own)
            .into_iter()
            .filter_map(|tried| {
                let told = queue::forecast(&tried.shop, replications, SEED).ok()?;
                judged(state, plan, (&base, &told), tried, &case.case)
            })
            .collect();
        let lost = |it: &Saves| it.loses.len();
        found.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(lost(a).cmp(&lost(b))));
        found.truncate(MOST_TOLD);
        case.saves = found;
    }
}

fn chance(told: &Forecast, wants: &[Id], case: &Id) -> Option<f64> {
    let at = wants.iter().position(|it| it == case)?;
    told.wants.get(at).map(|want| want.chance)
}

/// An act that is worth its words, with what it wins and what others lose.
fn judged(
    state: &State,
    plan: &Plan,
    (base, told): (&Forecast, &Forecast),
    it: Tried,
    case: &Id,
) -> Option<Saves> {
    let (before, after) = (chance(base, &plan.wants, case)?, chance(told, &it.wants, case)?);
    if after - before < WORTH {
        return None;
    }
    let others = plan.wants.iter().filter(|other| *other != case);
    let loses: Vec<(Id, f64)> = others
        .filter_map(|other| {
            let (was, is) = (chance(base, &plan.wants, other)?, chance(told, &it.wants, other)?);
            (was - is >= LOSS).then(|| (other.clone(), is))
        })
        .collect();
    let lost: Vec<String> = loses
        .iter()
        .map(|(other, is)| {
            let was = chance(base, &plan.wants, other).map(odds).unwrap_or_default();
            let start = state.cases.get(other).map(|case| super::board::hour(state, case.start));
            format!("case {other} at {} falls from {was} to {}", start.unwrap_or_default(), odds(*is))
        })
        .collect();
    let others = match lost.as_slice() {
        [] => "no other case loses".to_string(),
        lost => lost.join("; "),
    };
    let sentence = format!("{}: from {} to {}; {others}.", it.does, odds(before), odds(after));
    Some(Saves { act: it.act, chance: after, sentence, loses })
}

/// Everything that is tried for one case.
fn acts((state, now): (&State, Time), plan: &Plan, own: &Allotted) -> Vec<Tried> {
    let mut all = Vec::new();
    let tried = |act: Act, does: String, shop: Shop| Tried { act, does, shop, wants: plan.wants.clone() };
    let Some(want) = plan.wants.iter().position(|it| *it == own.case.case) else { return all };
    let unit_of = |set: &Id| plan.sets.iter().position(|it| it == set);
    let on_the_way: Vec<(usize, &Id)> = own.sets().filter_map(|set| Some((unit_of(set)?, set))).collect();
    for (unit, set) in &on_the_way {
        let mut shop = plan.shop.clone();
        if let Some(it) = shop.units.get_mut(*unit) {
            it.due_s = Some(-1.0);
        }
        all.push(tried(Act::TakeNext, format!("Take set {set} before everything else at each step"), shop));
    }
    all.extend(start_now(plan, &on_the_way).map(|(does, shop)| tried(Act::StartNow, does, shop)));
    for (place, need) in own.needs.iter().enumerate() {
        let others = state.sets.values().filter(|set| {
            set.count_sheet == need.count_sheet
                && need.set.as_ref() != Some(&set.set)
                && is_ready(glance(state, set, now).status)
                && state.keeper(&set.set, own.case).is_none()
        });
        for set in others.take(MOST_OTHERS) {
            let mut shop = plan.shop.clone();
            let Some(unit) = unit_of(&set.set) else { continue };
            if let Some(need) = shop.wants.get_mut(want).and_then(|want| want.needs.get_mut(place)) {
                need.unit = Some(unit);
            }
            let kept = need.set.as_ref().filter(|kept| own.case.promised.contains(*kept));
            let instead =
                kept.map_or_else(String::new, |kept| format!(" instead of {kept}, which is kept for it"));
            all.push(tried(Act::TakeSet, format!("Keep set {} for it{instead}", set.set), shop));
        }
        all.extend(put_in(state, plan, need).map(|(does, shop)| tried(Act::PutIn, does, shop)));
    }
    let mut shop = plan.shop.clone();
    if let Some(it) = shop.wants.get_mut(want).filter(|it| !it.takes_reserve) {
        it.takes_reserve = true;
        it.needs.iter_mut().for_each(|need| need.unit = None);
        all.push(tried(
            Act::TakeReserve,
            "Take a set of the emergency reserve, by the charge nurse's decision".into(),
            shop,
        ));
    }
    all.extend(swaps(state, plan, want));
    all
}

/// The machines that the case's sets wait for are begun at once, with what is there.
fn start_now(plan: &Plan, units: &[(usize, &Id)]) -> Option<(String, Shop)> {
    let is_own = |unit: usize| units.iter().any(|(own, _)| *own == unit);
    let waiting =
        plan.shop.items.iter().filter(|item| is_own(item.unit)).find_map(|item| match item.start {
            Start::Waiting { step, from_s } if from_s <= 0.0 => {
                let job = item.way.get(step).copied()?;
                let station = plan.shop.jobs.get(job)?.station;
                let gathers = plan.shop.stations.get(station).is_some_and(|it| it.gathers.is_some());
                gathers.then_some((job, station))
            }
            _ => None,
        })?;
    let mut shop = plan.shop.clone();
    shop.stations.get_mut(waiting.1)?.gathers = Some(Daily::always(Law::Fixed(0.0)));
    let words = plan.stops.get(waiting.0)?.words();
    Some((format!("Begin {words} now, without waiting for more"), shop))
}

/// A part that is ready, or of a set that nobody counts on, goes into the set that lacks it; both packs are wrapped anew.
fn put_in(state: &State, plan: &Plan, need: &super::allotted::Need) -> Option<(String, Shop)> {
    let [short] = need.short.as_slice() else { return None };
    let near = short.closes.iter().find(|it| matches!(it.place, Place::Spare | Place::OtherSet));
    let closes = near.filter(|_| short.lacks == 1)?;
    let unit = plan.sets.iter().position(|set| *set == short.set)?;
    let mut shop = plan.shop.clone();
    let is_packing = |job: &usize| plan.stops.get(*job).is_some_and(|stop| stop.step == StepKind::Packed);
    shop.units.get_mut(unit)?.unfit = false;
    for item in shop.items.iter_mut().filter(|item| item.unit == unit) {
        if let (Start::Waiting { step, .. }, Some(packing)) =
            (item.start, item.way.iter().position(is_packing))
            && step > packing
        {
            item.start = Start::Waiting { step: packing, from_s: 0.0 };
        }
    }
    let from = closes.set.as_ref().map(|set| format!(" of set {set}")).unwrap_or_default();
    if let Some(donor) = closes.set.as_ref().and_then(|set| plan.sets.iter().position(|it| it == set)) {
        shop.units.get_mut(donor)?.unfit = true;
    }
    let called = state.asset(closes.asset.as_str()).map(|asset| asset.called()).unwrap_or_default();
    Some((format!("Put {called}{from} into set {}, and wrap it anew", short.set), shop))
}

/// The case changes its time with a later one of the same day.
fn swaps(state: &State, plan: &Plan, want: usize) -> Vec<Tried> {
    let Some((own, case)) = plan.shop.wants.get(want).zip(plan.wants.get(want)) else { return Vec::new() };
    let day = |case: &Id| state.cases.get(case).map(|case| case.start.date(state.zone));
    let later = plan.wants.iter().enumerate().skip(want + 1).filter(|(_, other)| day(other) == day(case));
    let swapped = later.take(MOST_OTHERS).filter_map(|(at, other)| {
        let start_s = plan.shop.wants.get(at)?.start_s;
        let mut order: Vec<usize> = (0..plan.wants.len()).collect();
        let mut shop = plan.shop.clone();
        shop.wants.get_mut(at)?.start_s = own.start_s;
        shop.wants.get_mut(want)?.start_s = start_s;
        order.sort_by(|a, b| {
            let start = |at: &usize| shop.wants.get(*at).map_or(0.0, |want| want.start_s);
            start(a).total_cmp(&start(b))
        });
        let wants: Vec<Id> = order.iter().filter_map(|at| plan.wants.get(*at)).cloned().collect();
        shop.wants = order.iter().filter_map(|at| shop.wants.get(*at)).cloned().collect();
        let is_apart = own.start_s.to_bits() != start_s.to_bits();
        is_apart.then(|| Tried {
            act: Act::Swap,
            does: format!("Let it change its time with case {other}"),
            shop,
            wants,
        })
    });
    let mut seen = BTreeSet::new();
    swapped.filter(|it| seen.insert(it.does.clone())).collect()
}
