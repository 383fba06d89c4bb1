//! Makes true what happened to cases and at them, and what stands beside the loop: repairs and look-backs.

use std::sync::Arc;

use super::apply::{When, change, moves, touch_all};
use super::apply_parts::place_hold;
use super::case::Case;
use super::configuration::Chosen;
use super::event::{Moved, What};
use super::exposure::{Back, CaseCancelled, CaseChanged, CasePart, CountClosed, Exposed, Exposure};
use super::id::Id;
use super::lookback::LookBack;
use super::repair::{CameFromRepair, Repair, SentToRepair};
use super::schedule::OfSchedule;
use super::state::{Stage, State};

/// Changes a case and marks its row; whether it is still open is kept beside it.
pub(super) fn edit_case(state: &mut State, id: &Id, change: impl FnOnce(&mut Case)) {
    let Some(case) = state.cases.get_mut(id) else { return };
    let case = Arc::make_mut(case);
    change(case);
    let (open, unfollowed) = (case.is_open(), case.is_unfollowed());
    state.changes.cases.insert(id.clone());
    match unfollowed {
        true => state.unfollowed.insert(id.clone()),
        false => state.unfollowed.remove(id),
    };
    if open {
        state.open_cases.insert(id.clone());
    } else {
        state.open_cases.remove(id);
    }
}

/// As [`edit_case`], by an entry that touches the case.
pub(super) fn change_case(state: &mut State, when: &When, id: &Id, change: impl FnOnce(&mut Case)) {
    edit_case(state, id, |case| {
        change(case);
        case.last_at = case.last_at.max(when.at);
        case.last_entry = when.seq;
    });
}

fn add_case(state: &mut State, case: Case) {
    let id = case.case.clone();
    state.open_cases.insert(id.clone());
    if case.is_unfollowed() {
        state.unfollowed.insert(id.clone());
    }
    state.changes.cases.insert(id.clone());
    state.cases.insert(id.clone(), Arc::new(case));
    state.index_schedule(&id, &[]);
}

pub(super) fn cases(state: &mut State, when: &When, what: &What) {
    match what {
        What::CasePlanned(it) => add_case(state, Case::of(it, false, when.at, when.seq)),
        What::CaseChanged(it) => changed(state, when, it),
        What::CaseCancelled(it) => cancelled(state, when, it),
        What::Promised(it) => {
            change_case(state, when, &it.case, |case| {
                case.promised.push(it.set.clone());
                case.promised_at.insert(it.set.clone(), when.at);
            });
            touch_set(state, when, &it.set);
        }
        What::PromiseWithdrawn(it) => {
            change_case(state, when, &it.case, |case| {
                case.promised.retain(|set| *set != it.set);
                case.promised_at.remove(&it.set);
            });
            touch_set(state, when, &it.set);
        }
        What::ConfigurationChosen(it) => {
            let (by, at, answer) = (when.actor.to_string(), when.at, it.answer);
            let configuration = it.configuration.clone();
            let chosen = Chosen { configuration, by, at, answer, done: it.done };
            change_case(state, when, &it.case, |case| {
                // What is told late does not put a later choice aside.
                if case.chosen.as_ref().is_none_or(|before| before.at <= at) {
                    case.chosen = Some(Box::new(chosen));
                }
            });
        }
        What::PatientErased(it) => {
            if let Some(case) = &it.case {
                change_case(state, when, case, |case| {
                    case.patient = None;
                    case.schedule.iter_mut().for_each(|of| of.patient = None);
                });
            }
            it.load.iter().for_each(|load| super::apply_load::patient_erased(state, when, load));
            it.schedule_line.iter().for_each(|line| super::schedule_line::forgotten(state, line));
        }
        What::Issued(it) => {
            if let Some(planned) = &it.planned {
                add_case(state, Case::of(planned, it.emergency, when.at, when.seq));
            }
            moves(state, when, &it.parts);
            change_case(state, when, &it.case, |case| {
                case.emergency |= it.emergency;
                for part in &it.parts {
                    issued(case, &part.asset, part.turn, true);
                }
                for part in &it.noted {
                    issued(case, &part.asset, part.turn, false);
                }
            });
            touch_all(state, when, it.noted.iter().map(|noted| &noted.asset));
        }
        What::Opened(it) | What::Used(it) => {
            let told_used = matches!(what, What::Used(_));
            it.parts.iter().for_each(|part| exposed(state, when, &it.case, part, told_used));
            it.not_used.iter().for_each(|asset| opened_alone(state, when, &it.case, asset));
            it.holds.iter().for_each(|hold| place_hold(state, when, hold));
        }
        What::CountClosed(it) => count_closed(state, when, it),
        _ => {}
    }
}

/// Parts that were issued to a case and whose pack was opened by another act there: exposed all the same.
pub(super) fn opened_otherwise(state: &mut State, when: &When, moved: &[Moved]) {
    for moved in moved.iter().filter(|moved| moved.from == Stage::Issued && moved.to == Stage::InUse) {
        let at = |case: &&Case| {
            case.parts.get(&moved.asset).is_some_and(|part| part.out && part.exposure.is_none())
        };
        let Some(case) = state.open_cases().find(at).map(|case| case.case.clone()) else { continue };
        let (asset, turn) = (moved.asset.clone(), moved.turn);
        let opened = Exposed { asset, turn, exposure: Exposure::Opened, moved: None, taken_for_used: false };
        exposed(state, when, &case, &opened, false);
    }
}

pub(super) fn touch_set(state: &mut State, when: &When, id: &Id) {
    if let Some(set) = state.sets.get_mut(id) {
        let set = Arc::make_mut(set);
        set.last_at = set.last_at.max(when.at);
        state.changes.sets.insert(id.clone());
    }
}

fn cancelled(state: &mut State, when: &When, it: &CaseCancelled) {
    let before = state.keys_of(&it.case);
    change_case(state, when, &it.case, |case| {
        if let (Some(of), Some(told)) = (&mut case.schedule, &it.schedule) {
            of.told.take(told);
        }
        case.cancelled = Some(it.reason.clone());
        case.promised.clear();
        case.promised_at.clear();
    });
    state.index_schedule(&it.case, &before);
}

fn changed(state: &mut State, when: &When, it: &CaseChanged) {
    let before = state.keys_of(&it.case);
    change_case(state, when, &it.case, |case| {
        match (&mut case.schedule, &it.schedule) {
            (Some(of), _) => of.changed(it),
            (None, Some(told)) => case.schedule = Some(OfSchedule::planned_by_hand(told, when.seq)),
            (None, None) => {}
        }
        case.start = it.start.unwrap_or(case.start);
        case.minutes = it.minutes.unwrap_or(case.minutes);
        case.room = it.room.clone().or_else(|| case.room.take());
        case.technique = it.technique.or(case.technique.filter(|_| !it.technique_not_decided));
        case.wish = it.configuration.clone().or_else(|| case.wish.take());
        case.needs = it.needs.clone().unwrap_or_else(|| std::mem::take(&mut case.needs));
        case.named |= it.patient.is_some();
        case.patient = it.patient.clone().or_else(|| case.patient.take());
        case.risk = it.risk.unwrap_or(case.risk);
    });
    if it.schedule.is_some() {
        state.index_schedule(&it.case, &before);
    }
    it.holds.iter().for_each(|hold| place_hold(state, when, hold));
}

/// What came straight out of a steriliser to a case.
pub(super) fn straight_to(state: &mut State, when: &When, case: &Id, parts: &[Moved]) {
    change_case(state, when, case, |case| {
        for part in parts.iter().filter(|part| part.to == Stage::Issued) {
            issued(case, &part.asset, part.turn, true);
        }
    });
}

fn issued(case: &mut Case, asset: &Id, turn: u32, out: bool) {
    if let Some(known) = case.parts.get_mut(asset).filter(|_| !out) {
        known.issued = true;
        return;
    }
    case.cancelled = None;
    case.keep_earlier(asset, turn);
    // What was told of it in this very turn, late, stays true.
    let known = case.parts.get(asset).filter(|known| known.turn == turn).cloned();
    let known = known.unwrap_or_else(|| CasePart { turn, ..CasePart::default() });
    case.parts.insert(asset.clone(), CasePart { issued: true, out, missing: false, ..known });
}

/// One exposure: written at the case, found from the part, and counted as wear the first time it says used.
fn exposed(state: &mut State, when: &When, case: &Id, it: &Exposed, told_used: bool) {
    moves(state, when, it.moved.as_slice());
    // A part that moved on since is not out for this case; one that is held up in its own next turn came back.
    let here = it.moved.is_some()
        || state
            .assets
            .get(&it.asset)
            .is_some_and(|asset| asset.turn == it.turn && asset.stage == Stage::InUse);
    let asset = it.asset.clone();
    let mut used_now = false;
    let mut first = false;
    change_case(state, when, case, |case| {
        // What was opened there says that the case took place after all.
        case.cancelled = None;
        case.keep_earlier(&it.asset, it.turn);
        let used_before = case.used_earlier(&asset);
        case.parts.or_insert_with(&it.asset, || CasePart {
            turn: it.turn,
            issued: false,
            exposure: None,
            told_used: false,
            since: 0,
            out: false,
            missing: false,
        });
        let Some(part) = case.parts.get_mut(&it.asset) else { return };
        used_now = it.exposure == Exposure::Used && part.exposure != Some(Exposure::Used) && !used_before;
        first = part.exposure.is_none();
        if part.exposure < Some(it.exposure) {
            part.exposure = Some(it.exposure);
        }
        if first {
            part.since = when.seq;
        }
        // A pack that was opened by the use of one part does not make its other parts used.
        part.told_used |= told_used && it.exposure == Exposure::Used;
        part.out |= here;
    });
    count_exposure(state, when, case, &it.asset, (first, used_now));
}

/// A part that a count had taken for used was opened alone.
fn opened_alone(state: &mut State, when: &When, case: &Id, asset: &Id) {
    let mut counts = false;
    change_case(state, when, case, |case| {
        counts = !case.used_earlier(asset);
        case.parts.get_mut(asset).into_iter().for_each(|part| part.exposure = Some(Exposure::Opened));
    });
    change(state, when, asset, |asset| asset.uses = asset.uses.saturating_sub(u32::from(counts)));
}

/// Keeps the index from parts to cases, and counts a use.
fn count_exposure(state: &mut State, when: &When, case: &Id, asset: &Id, (first, used_now): (bool, bool)) {
    let known = state.cases_of.get(asset).is_some_and(|cases| cases.contains(case));
    if first && !known {
        Arc::make_mut(state.cases_of.entry(asset.clone()).or_default()).push(case.clone());
    }
    change(state, when, asset, |asset| asset.uses += u32::from(used_now));
}

fn count_closed(state: &mut State, when: &When, it: &CountClosed) {
    for counted in &it.parts {
        let (mut first, mut used_now) = (false, false);
        change_case(state, when, &it.case, |case| {
            let used_before = case.used_earlier(&counted.asset);
            if counted.back == Back::Missing {
                let fresh = || CasePart { turn: counted.turn, ..CasePart::default() };
                case.parts.or_insert_with(&counted.asset, fresh);
            }
            let Some(part) = case.parts.get_mut(&counted.asset) else { return };
            part.out = false;
            part.missing = counted.back == Back::Missing;
            if let Some(exposure) = counted.exposure {
                first = part.exposure.is_none();
                used_now =
                    exposure == Exposure::Used && part.exposure != Some(Exposure::Used) && !used_before;
                part.exposure = Some(exposure);
                if first {
                    part.since = when.seq;
                }
            }
        });
        moves(state, when, counted.moved.as_slice());
        count_exposure(state, when, &it.case, &counted.asset, (first, used_now));
        if counted.back == Back::Missing {
            super::apply_missing::lose(state, when, &counted.asset, Some(it.case.clone()));
        }
    }
    super::apply_missing::closing(state, when, it);
    change_case(state, when, &it.case, |case| {
        case.closed = true;
        case.promised.clear();
        case.promised_at.clear();
    });
    it.holds.iter().for_each(|hold| place_hold(state, when, hold));
}

pub(super) fn aside(state: &mut State, when: &When, what: &What) {
    match what {
        What::SentToRepair(it) => sent(state, when, it),
        What::BackFromRepair(it) => came_back(state, when, it),
        What::LookBackOpened(it) => {
            let look_back = LookBack {
                look_back: it.look_back.clone(),
                origin: it.origin.clone(),
                reason: it.reason.clone(),
                opened_at: when.at,
                opened_by: when.actor.to_string(),
                closed_at: None,
                outcome: None,
            };
            state.look_backs.insert(it.look_back.clone(), Arc::new(look_back));
            state.changes.look_backs.insert(it.look_back.clone());
        }
        What::LookBackClosed(it) => {
            if let Some(look_back) = state.look_backs.get_mut(&it.look_back) {
                let look_back = Arc::make_mut(look_back);
                look_back.closed_at = Some(when.at);
                look_back.outcome = Some(it.outcome.clone());
                state.changes.look_backs.insert(it.look_back.clone());
            }
        }
        _ => {}
    }
}

fn sent(state: &mut State, when: &When, it: &SentToRepair) {
    moves(state, when, &it.moved);
    opened_otherwise(state, when, &it.moved);
    change(state, when, &it.asset, |asset| asset.in_repair = true);
    let repair = Repair {
        repair: it.repair.clone(),
        asset: it.asset.clone(),
        reason: it.reason.clone(),
        order: it.order.clone(),
        decontaminated: it.decontaminated,
        sent_at: when.at,
        back_at: None,
        cost_cents: None,
        work: None,
        supplier: it.supplier.clone(),
        cause: it.cause.clone(),
        warranty: it.warranty,
        expected: it.expected,
        exchanged: None,
    };
    state.repairs.insert(it.repair.clone(), Arc::new(repair));
    state.changes.repairs.insert(it.repair.clone());
}

fn came_back(state: &mut State, when: &When, it: &CameFromRepair) {
    moves(state, when, std::slice::from_ref(&it.moved));
    change(state, when, &it.asset, |asset| {
        asset.in_repair = false;
        asset.serial = it.serial.clone().or_else(|| asset.serial.take());
    });
    let Some(repair) = it.repair.as_ref().and_then(|id| state.repairs.get_mut(id)) else { return };
    let repair = Arc::make_mut(repair);
    repair.back_at = Some(when.at);
    repair.cost_cents = it.cost_cents;
    repair.work = it.work.clone();
    repair.cause = it.cause.clone().or_else(|| repair.cause.take());
    repair.warranty = it.warranty.or(repair.warranty);
    repair.exchanged = it.serial.clone();
    state.changes.repairs.insert(repair.repair.clone());
}
