//! Which of the cases of today and tomorrow are equipped, with which sets, and why not.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Days;

use super::allotted::{Allotted, allotted};
use super::board::{BoardCase, Equipped};
use super::case::Case;
use super::check::CheckState;
use super::expected::{expected_late, late_set};
use super::fit_lost::{chosen_fails, waits_for};
use super::id::Id;
use super::readiness::{SetReadiness, SetStatus};
use super::schedule_line::ScheduleLine;
use super::set::SetState;
use super::state::State;
use super::time::Time;

/// The cases of the site's day and the next that are not over, each with the sets that it has or would take.
pub(super) fn board_cases(state: &State, statuses: &BTreeMap<&Id, SetStatus>, now: Time) -> Vec<BoardCase> {
    let today = now.date(state.zone);
    let lines = state.open_schedule_lines();
    let mut all = Vec::new();
    for Allotted { case, needs } in allotted(state, statuses, now) {
        let day = case.start.date(state.zone);
        let shown = day == today || Some(day) == today.checked_add_days(Days::new(1));
        let mut sets: Vec<Id> = Vec::new();
        let mut status = Equipped::Ready;
        let mut why = Vec::new();
        for need in needs {
            status = status.max(need.equipped);
            why.extend(need.why);
            sets.extend(need.set);
        }
        let chosen_fails = if shown { chosen_fails(state, case, now) } else { None };
        let lost = chosen_fails.iter().flat_map(|fails| fails.lost.clone()).collect::<Vec<_>>();
        let (waits, late) =
            if shown { waits_for(state, case, (&sets, &lost), now) } else { (Vec::new(), false) };
        if !waits.is_empty() {
            status = status.max(if late { Equipped::NotReady } else { Equipped::InTurn });
            why.insert(0, format!("The chosen configuration is not all ready. {}", waits.join(" ")));
        }
        if shown {
            of_schedule(case, &lines, &mut status, &mut why);
        }
        if let Some(fails) = &chosen_fails {
            status = Equipped::NotReady;
            why.insert(0, fails.sentence.clone());
        }
        let check = if shown { CheckState::due(state, case) } else { None };
        why.extend(check.as_ref().and_then(CheckState::words));
        if shown {
            all.push(BoardCase {
                case: case.case.clone(),
                start: case.start,
                minutes: case.minutes,
                room: case.room.as_ref().map(|room| room.0.clone()),
                status,
                progress: case.status(),
                sets,
                why,
                chosen_fails,
                check,
            });
        }
    }
    all
}

/// What the schedule leaves open: needs that nobody knows, another procedure than needs were chosen for, and messages
/// that wait for a person.
fn of_schedule(case: &Case, lines: &[&ScheduleLine], status: &mut Equipped, why: &mut Vec<String>) {
    if case.needs_not_known() {
        *status = Equipped::NotReady;
    }
    let first = super::schedule_line::says(case, lines);
    why.splice(0..0, first);
}

/// What the cases are looked at with.
#[derive(Clone, Copy)]
pub(super) struct Look<'a> {
    pub state: &'a State,
    pub statuses: &'a BTreeMap<&'a Id, SetStatus>,
    pub now: Time,
    /// The cases for which parts of a set were chosen.
    pub chosen: &'a BTreeMap<&'a Id, Vec<&'a Case>>,
}

/// The set that fills one need of a case: one that is out for it, one that is kept for it, or the best one free.
pub(super) fn fill(
    look: &Look,
    case: &Case,
    need: &Id,
    already: &[Id],
    taken: &BTreeMap<Id, Vec<&Case>>,
) -> (Option<Id>, Equipped, Vec<String>) {
    let Look { state, statuses, now, chosen } = *look;
    let of_sheet: Vec<&SetState> = state
        .sets
        .values()
        .filter(|set| set.count_sheet == *need && !already.contains(&set.set))
        .map(|set| &**set)
        .collect();
    // Asked of the parts that are out, which are few, not of every part of every set.
    let out = case.parts.iter().filter(|(_, part)| part.out).filter_map(|(asset, _)| state.assets.get(asset));
    let out: BTreeSet<&Id> = out.filter_map(|asset| asset.seat.as_ref()).map(|seat| &seat.set).collect();
    let out_here = of_sheet.iter().find(|set| out.contains(&set.set));
    if let Some(set) = out_here {
        return (Some(set.set.clone()), Equipped::Ready, Vec::new());
    }
    let kept = of_sheet.iter().find(|set| case.promised.contains(&set.set));
    let turnaround = state.policy.turnaround_minutes;
    let of_others = |set: &Id| {
        let by = chosen.get(set).into_iter().flatten();
        by.filter(|other| other.case != case.case)
    };
    // Where a promise was set aside, the last decision holds.
    let yields =
        |other: &Case, set: &Id| !other.overlaps(case, turnaround) || case.has_over(state, other, set);
    let free = of_sheet.iter().filter(|set| {
        let others = taken.get(&set.set).into_iter().flatten();
        others.into_iter().all(|other| yields(other, &set.set))
            && state.keeper(&set.set, case).is_none()
            && of_others(&set.set).all(|other| yields(other, &set.set))
    });
    // The set that holds what was chosen for the case comes before any other.
    let is_chosen = |set: &Id| chosen.get(set).into_iter().flatten().any(|other| other.case == case.case);
    let rank = |set: &&SetState| (!is_chosen(&set.set), grade(look, set, case));
    let best = kept.copied().or_else(|| free.copied().min_by_key(rank));
    let Some(set) = best else {
        let name = state.sheets.get(need).map_or(need.as_str(), |sheet| sheet.name.0.as_str());
        let why = format!("{name}: no set is free for it.");
        return (None, Equipped::NotReady, vec![why]);
    };
    let (mut equipped, _) = grade(look, set, case);
    let mut why = Vec::new();
    if equipped != Equipped::Ready
        && let Some(status) = statuses.get(&set.set)
    {
        let kept = if kept.is_some() { ", which is kept for it," } else { "" };
        let reasons = super::board::why(state, set, status, now).join(" ");
        let late = late_set(state, case, set, now).filter(|_| status.status == SetReadiness::InTurn);
        let then = late.map_or_else(String::new, |at| format!(" {}", expected_late(state, at)));
        why.push(format!("Set {}{kept} is {}. {reasons}{then}", set.set, status.status.words()));
    }
    // Kept twice by an override: who has it by the older promise is robbed, until that is undone.
    if kept.is_some() {
        let robbed = state.taken_elsewhere(set, case);
        if !robbed.is_empty() {
            equipped = Equipped::NotReady;
        }
        why.extend(robbed.into_iter().map(|problem| problem.found));
    }
    (Some(set.set.clone()), equipped, why)
}

/// How well a set would serve a case: ready first, then what is on its way, then the rest.
fn grade(look: &Look, set: &SetState, case: &Case) -> (Equipped, u8) {
    let Look { state, statuses, now, .. } = *look;
    let turnaround = state.policy.turnaround_minutes;
    match statuses.get(&set.set).map(|status| status.status) {
        Some(SetReadiness::Ready) => (Equipped::Ready, 0),
        Some(SetReadiness::ReadyShort) => (Equipped::Ready, 1),
        Some(SetReadiness::InTurn) if late_set(state, case, set, now).is_some() => (Equipped::NotReady, 4),
        Some(SetReadiness::InTurn) => (Equipped::InTurn, 2),
        Some(SetReadiness::Out) => {
            let at = state.open_cases().find(|other| {
                state.members(set).any(|asset| other.parts.get(&asset.asset).is_some_and(|part| part.out))
            });
            let back_in_time = at.is_some_and(|other| !other.overlaps(case, turnaround));
            if back_in_time { (Equipped::InTurn, 3) } else { (Equipped::NotReady, 4) }
        }
        Some(SetReadiness::Held) => (Equipped::NotReady, 5),
        Some(SetReadiness::NotReady) | None => (Equipped::NotReady, 6),
    }
}
