//! Which of the cases of today and tomorrow are equipped, with which sets, and why not.

use std::collections::BTreeMap;

use chrono::Days;

use super::allotment::Given;
use super::allotted::{Allotted, allotted};
use super::board::{BoardCase, Equipped};
use super::case::Case;
use super::check::CheckState;
use super::expected::expected_late;
use super::fit_lost::{chosen_fails, waits_for};
use super::fit_own::own_sets_fail;
use super::id::Id;
use super::issuing::is_ready;
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
        let mut short = Vec::new();
        for need in needs {
            status = status.max(need.equipped);
            why.extend(need.why);
            sets.extend(need.set);
            why.extend(need.short.iter().flat_map(|it| &it.closes).map(|it| it.sentence.clone()));
            short.extend(need.short);
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
        // What is not there yet is told first; what is may still be the wrong mix.
        if shown
            && status == Equipped::Ready
            && let Some((worse, told)) = own_sets_fail(state, case, &sets, now)
        {
            status = worse;
            why.insert(0, told);
        }
        let loud = case.loud(state, now).into_iter();
        why.extend(loud.map(|(word, parts)| format!("{word}: {}.", ids(&parts))));
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
                short,
                chosen_fails,
                requests: state.requests_of(&case.case).map(|it| it.told(state, now)).collect(),
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

/// What is said of one need of a case: the set that it was given, whether that equips it, and why not.
pub(super) fn tell(look: &Look, case: &Case, need: &Id, given: &Given) -> (Equipped, Vec<String>) {
    let Look { state, statuses, now, .. } = *look;
    let name = || state.sheets.get(need).map_or(need.as_str(), |sheet| sheet.name.0.as_str());
    let found = given.set().and_then(|set| Some((state.sets.get(set)?, statuses.get(set)?)));
    let Some((set, status)) = found else {
        return (Equipped::NotReady, vec![format!("{}: no set is free for it.", name())]);
    };
    let (mut equipped, _) = grade(look, set, case);
    let mut why = Vec::new();
    let is_kept = matches!(given, Given::Kept(_));
    match given {
        Given::Out(_) => return (Equipped::Ready, why),
        Given::Reserve(_) => {
            let (ready, minimum) =
                (state.ready_sets(need, now), state.reserves.get(need).copied().unwrap_or(0));
            let reserve = format!(
                "{}: set {} is held back for emergencies: {ready} ready, {minimum} asked for.",
                name(),
                set.set
            );
            equipped = Equipped::NotReady;
            why.push(reserve);
        }
        Given::Kept(_) | Given::Free(_) | Given::Left(_) | Given::Nothing => {}
    }
    if equipped != Equipped::Ready && !is_ready(status.status) {
        let kept = if is_kept { ", which is kept for it," } else { "" };
        let reasons = super::board::why(state, set, status, now).join(" ");
        let late = status.late_for(case, now);
        let then = late.map_or_else(String::new, |at| format!(" {}", expected_late(state, at, now)));
        why.push(format!("Set {}{kept} is {}. {reasons}{then}", set.set, status.status.words()));
    }
    // Kept twice by an override: who has it by the older promise is robbed, until that is undone.
    if is_kept {
        let robbed = state.taken_elsewhere(set, case);
        if !robbed.is_empty() {
            equipped = Equipped::NotReady;
        }
        why.extend(robbed.into_iter().map(|problem| problem.found));
    }
    (equipped, why)
}

/// How well a set would serve a case: ready first, then what is on its way, then the rest.
pub(super) fn grade(look: &Look, set: &SetState, case: &Case) -> (Equipped, u8) {
    let Look { state, statuses, now, .. } = *look;
    let turnaround = state.policy.turnaround_minutes;
    let status = statuses.get(&set.set);
    match status.map(|status| status.status) {
        Some(SetReadiness::Ready) => (Equipped::Ready, 0),
        Some(SetReadiness::ReadyShort) => (Equipped::Ready, 1),
        Some(SetReadiness::InTurn) if status.is_some_and(|it| it.made_for.as_ref() == Some(&case.case)) => {
            (Equipped::InTurn, 2)
        }
        Some(SetReadiness::InTurn) if status.is_some_and(|it| it.late_for(case, now).is_some()) => {
            (Equipped::NotReady, 4)
        }
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

fn ids(parts: &[Id]) -> String {
    parts.iter().map(Id::as_str).collect::<Vec<_>>().join(", ")
}
