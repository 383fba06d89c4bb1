//! The department as it would be by one act: what is taken first, begun now, kept, put in, swapped, or taken from the reserve.

use super::allotted::{Allotted, Need};
use super::closing::Place;
use super::forecast_acts::{Act, Tried};
use super::forecast_shop::Plan;
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::{SetReadiness, glance};
use super::request::{RequestKind, SendRequest};
use super::route::StepKind;
use super::state::{Asset, State};
use super::time::Time;
use crate::analysis::queue::{Shop, Start};

/// Other sets, and other cases, that are tried for one.
const MOST_OTHERS: usize = 4;

/// Everything that is tried for one case by what the house has of its own count sheets.
pub fn tries((state, now): (&State, Time), plan: &Plan, own: &Allotted) -> Vec<Tried> {
    let mut all = Vec::new();
    let Some(want) = plan.want_of(&own.case.case) else { return all };
    let asks = |kind: RequestKind, set: &Id| SendRequest {
        set: Some(set.clone()),
        ..SendRequest::of(kind, &own.case.case)
    };
    let on_the_way: Vec<(usize, &Id)> =
        own.sets().filter_map(|set| Some((plan.unit_of(set)?, set))).collect();
    for (unit, set) in &on_the_way {
        let mut shop = plan.shop.clone();
        if let Some(it) = shop.units.get_mut(*unit) {
            it.due_s = Some(-1.0);
        }
        let does = format!("Take set {set} before everything else at each step");
        all.push(Tried::of(plan, Act::TakeNext, does, shop).asks(asks(RequestKind::TakeNext, set)));
    }
    all.extend(start_now(plan, &on_the_way).map(|(set, step, does, shop)| {
        let request = SendRequest { step: Some(step), ..asks(RequestKind::StartNow, set) };
        Tried::of(plan, Act::StartNow, does, shop).asks(request)
    }));
    for (place, need) in own.needs.iter().enumerate() {
        all.extend(others((state, now), plan, own, (want, place, need)));
        all.extend(put_in(state, plan, need).map(|(asset, set, does, shop)| {
            let request = SendRequest { asset: Some(asset), ..asks(RequestKind::PutIn, set) };
            Tried::of(plan, Act::PutIn, does, shop).asks(request)
        }));
    }
    all.extend(reserve((state, now), plan, own, want));
    all.extend(swaps(state, plan, want));
    all
}

/// Whether taking one more set of a count sheet leaves the reserve whole.
fn is_to_spare(state: &State, sheet: &Id, now: Time) -> bool {
    let minimum = state.reserves.get(sheet).copied().unwrap_or(0);
    state.ready_sets(sheet, now) > minimum
}

/// Another set of the same count sheet that is ready, and that nobody keeps. The reserve is never among them.
fn others(
    (state, now): (&State, Time),
    plan: &Plan,
    own: &Allotted,
    (want, place, need): (usize, usize, &Need),
) -> Vec<Tried> {
    // What comes in the place of a set that went to another case may still be on its way.
    let robbed = need.robbed_by.is_some();
    if !robbed && !is_to_spare(state, &need.count_sheet, now) {
        return Vec::new();
    }
    let serves = |status: SetReadiness| is_ready(status) || status == SetReadiness::InTurn;
    let others = state.sets.values().filter(|set| {
        let status = glance(state, set, now).status;
        set.count_sheet == need.count_sheet
            && need.set.as_ref() != Some(&set.set)
            && (if robbed { serves(status) } else { is_ready(status) })
            && (!is_ready(status) || is_to_spare(state, &need.count_sheet, now))
            && state.keeper(&set.set, own.case).is_none()
    });
    let kept = need.set.as_ref().filter(|kept| own.case.promised.contains(*kept));
    let instead = kept.map_or_else(String::new, |kept| format!(" instead of {kept}, which is kept for it"));
    let one = |set: &std::sync::Arc<super::set::SetState>| {
        let mut shop = plan.shop.clone();
        shop.wants.get_mut(want)?.needs.get_mut(place)?.unit = Some(plan.unit_of(&set.set)?);
        Some(Tried::of(plan, Act::TakeSet, format!("Keep set {} for it{instead}", set.set), shop))
    };
    others.take(MOST_OTHERS).filter_map(one).collect()
}

/// The machine that a set of the case waits for is begun at once, with what is there: the case's own sets first.
fn start_now<'a>(plan: &Plan, units: &[(usize, &'a Id)]) -> Option<(&'a Id, StepKind, String, Shop)> {
    let waits = |start: Start| match start {
        Start::Waiting { step, from_s } if from_s <= 0.0 => Some(step),
        _ => None,
    };
    let at_machine = |item: &crate::analysis::queue::Item| {
        let job = item.way.get(waits(item.start)?).copied()?;
        let station = plan.shop.jobs.get(job)?.station;
        plan.shop.stations.get(station)?.gathers.as_ref().map(|_| (job, station))
    };
    let own = |unit: usize| units.iter().find(|(own, _)| *own == unit).map(|(_, set)| *set);
    let mut waiting = plan.shop.items.iter();
    let (set, (job, station)) = waiting.find_map(|item| own(item.unit).zip(at_machine(item)))?;
    let in_hand = |item: &crate::analysis::queue::Item| match item.start {
        Start::InHand { step, server, .. } => {
            let job = item.way.get(step).and_then(|job| plan.shop.jobs.get(*job))?;
            (job.station == station).then_some(server)
        }
        _ => None,
    };
    let busy: Vec<usize> = plan.shop.items.iter().filter_map(in_hand).collect();
    let it = plan.shop.stations.get(station)?;
    let does =
        |server: &usize| it.servers.get(*server).is_some_and(|it| it.does.iter().any(|does| does.0 == job));
    let server = (0..it.servers.len()).find(|server| !busy.contains(server) && does(server))?;
    let mut shop = plan.shop.clone();
    let mut there: Vec<usize> = Vec::new();
    for (at, item) in plan.shop.items.iter().enumerate() {
        if waits(item.start).is_some_and(|step| item.way.get(step) == Some(&job)) {
            there.push(at);
        }
    }
    let unit_at = |at: &usize| plan.shop.items.get(*at).map(|item| item.unit);
    let due =
        |at: &usize| unit_at(at).and_then(|unit| plan.shop.units.get(unit)?.due_s).unwrap_or(f64::INFINITY);
    let is_own = |at: &usize| unit_at(at).is_some_and(|unit| own(unit).is_some());
    there.sort_by(|a, b| is_own(b).cmp(&is_own(a)).then(due(a).total_cmp(&due(b))));
    let mut inside: Vec<usize> = Vec::new();
    for at in there {
        let Some(unit) = unit_at(&at) else { continue };
        if !inside.contains(&unit) && inside.len() < it.batch as usize {
            inside.push(unit);
        }
        if let Some(item) = shop.items.get_mut(at).filter(|_| inside.contains(&unit))
            && let Some(step) = waits(item.start)
        {
            item.start = Start::InHand { step, taken_s: 0.0, batch: usize::MAX, server };
        }
    }
    let stop = plan.stops.get(job)?;
    Some((
        set,
        stop.step,
        format!("Begin {} now with set {set}, without waiting for more", stop.words()),
        shop,
    ))
}

/// A part that is in no set, or in one that nobody counts on, goes into the set that lacks it, and is wrapped with its pack.
fn put_in<'a>(state: &State, plan: &Plan, need: &'a Need) -> Option<(Id, &'a Id, String, Shop)> {
    let [short] = need.short.as_slice() else { return None };
    // What is in a load comes with it, and not before.
    let here = |it: &&super::closing::Closes| {
        it.place != Place::InRepair && state.assets.get(&it.asset).is_some_and(|it| it.in_load.is_none())
    };
    let closes = short.closes.iter().find(here).filter(|_| short.lacks == 1)?;
    let asset = state.assets.get(&closes.asset)?;
    let way = plan.ways.get(&closes.asset)?;
    let mut shop = plan.shop.clone();
    let packing = plan.packing(way);
    let step = (asset.next as usize).min(packing);
    plan.fill(state, &mut shop, (&short.set, &short.line), (way, Start::Waiting { step, from_s: 0.0 }))?;
    let from = closes.set.as_ref().map(|set| format!(" of set {set}")).unwrap_or_default();
    loses(state, plan, &mut shop, asset);
    let does = format!("Put {}{from} into set {}, and wrap it anew", asset.called(), short.set);
    Some((closes.asset.clone(), &short.set, does, shop))
}

/// The set that a part is taken from lacks it, where its line is essential; the pack that it lay in is open in any case.
fn loses(state: &State, plan: &Plan, shop: &mut Shop, asset: &Asset) -> Option<()> {
    let seat = asset.seat.as_ref()?;
    let set = state.sets.get(&seat.set)?;
    let line = state.sheets.get(&set.count_sheet)?.line(&seat.line)?;
    let unit = plan.unit_of(&seat.set)?;
    if line.essential && state.present(set, &seat.line) <= line.quantity {
        shop.units.get_mut(unit)?.unfit = true;
    }
    plan.unwrap(shop, unit, *plan.packs.get(&(seat.set.clone(), line.pack.as_str().to_string()))?);
    None
}

/// A set of the reserve, where one is ready and nothing else is.
fn reserve((state, now): (&State, Time), plan: &Plan, own: &Allotted, want: usize) -> Option<Tried> {
    let mut shop = plan.shop.clone();
    let it = shop.wants.get_mut(want).filter(|it| !it.takes_reserve)?;
    own.needs
        .iter()
        .find(|need| state.reserves.get(&need.count_sheet).is_some_and(|minimum| *minimum > 0))?;
    it.takes_reserve = true;
    for (asked, need) in it.needs.iter_mut().zip(&own.needs) {
        if state.reserves.get(&need.count_sheet).is_some_and(|minimum| *minimum > 0) {
            asked.unit = None;
        }
    }
    // Where none is ready, what is meant is the next one: it goes to the case, and the reserve stays without it.
    let is_ready = |need: &&Need| {
        state.reserves.get(&need.count_sheet).is_some_and(|minimum| *minimum > 0)
            && state.ready_sets(&need.count_sheet, now) > 0
    };
    let does = match own.needs.iter().any(|need| is_ready(&need)) {
        true => "Take a set of the emergency reserve, by the charge nurse's decision".into(),
        false => "Give it the next set that is ready, which the emergency reserve waits for, by the charge nurse's decision".into(),
    };
    Some(Tried::of(plan, Act::TakeReserve, does, shop))
}

/// The case changes its time with a later one of the same day; what was needed for one is needed for the other's time.
fn swaps(state: &State, plan: &Plan, want: usize) -> Vec<Tried> {
    let Some((own, case)) = plan.shop.wants.get(want).zip(plan.wants.get(want)) else { return Vec::new() };
    let day = |case: &Id| state.cases.get(case).map(|case| case.start.date(state.zone));
    let own_s = own.start_s;
    let is_later = |at: &usize| plan.shop.wants.get(*at).is_some_and(|other| other.start_s > own_s);
    let later = plan.wants.iter().enumerate().skip(want + 1);
    let later = later.filter(|(at, other)| day(other) == day(case) && is_later(at)).take(MOST_OTHERS);
    let swapped = later.filter_map(|(at, other)| {
        let other_s = plan.shop.wants.get(at)?.start_s;
        let mut order: Vec<usize> = (0..plan.wants.len()).collect();
        let mut shop = plan.shop.clone();
        shop.wants.get_mut(at)?.start_s = own_s;
        shop.wants.get_mut(want)?.start_s = other_s;
        for unit in &mut shop.units {
            unit.due_s = match unit.due_s {
                Some(due_s) if due_s.total_cmp(&own_s).is_eq() => Some(other_s),
                Some(due_s) if due_s.total_cmp(&other_s).is_eq() => Some(own_s),
                due_s => due_s,
            };
        }
        order.sort_by(|a, b| {
            let start = |at: &usize| shop.wants.get(*at).map_or(0.0, |want| want.start_s);
            start(a).total_cmp(&start(b))
        });
        let wants: Vec<Id> = order.iter().filter_map(|at| plan.wants.get(*at)).cloned().collect();
        shop.wants = order.iter().filter_map(|at| shop.wants.get(*at)).cloned().collect();
        Some(Tried {
            wants,
            ..Tried::of(plan, Act::Swap, format!("Let it change its time with case {other}"), shop)
        })
    });
    swapped.collect()
}
