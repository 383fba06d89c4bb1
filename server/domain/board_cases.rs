//! Which of the cases of today and tomorrow are equipped, with which sets, and why not.

use std::collections::BTreeMap;

use chrono::Days;

use super::allotment::Given;
use super::allotted::{Allotted, Need, allotted};
use super::board::{BoardCase, Equipped, GoesFirst};
use super::case::Case;
use super::check::CheckState;
use super::fit_lost::{chosen_fails, waits_for};
use super::fit_own::own_sets_fail;
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::{SetReadiness, SetStatus};
use super::schedule_line::ScheduleLine;
use super::set::SetState;
use super::state::State;
use super::time::Time;

/// The cases of the site's day and the next that are not over, and those that should have begun, each with the sets that it
/// has or would take.
pub(super) fn board_cases(state: &State, statuses: &BTreeMap<&Id, SetStatus>, now: Time) -> Vec<BoardCase> {
    let today = now.date(state.zone);
    let lines = state.open_schedule_lines();
    let is_shown = |case: &Case| {
        let day = case.start.date(state.zone);
        case.should_have_begun(now) || day == today || Some(day) == today.checked_add_days(Days::new(1))
    };
    let all = allotted(state, statuses, now).into_iter().filter(|it| is_shown(it.case));
    all.map(|it| board_case(state, it, &lines, now)).collect()
}

/// A case with what its sets say of it, without what else stands against it.
fn by_sets(state: &State, case: &Case, needs: Vec<Need>, now: Time) -> BoardCase {
    let mut it = BoardCase {
        case: case.case.clone(),
        start: case.start,
        minutes: case.minutes,
        room: case.room.as_ref().map(|room| room.0.clone()),
        status: Equipped::Ready,
        by_sets: Equipped::Ready,
        should_have_begun: case.should_have_begun(now),
        goes_first: Vec::new(),
        robbed_by: None,
        expected: None,
        because: None,
        progress: case.status(),
        sets: Vec::new(),
        why: Vec::new(),
        short: Vec::new(),
        chosen_fails: chosen_fails(state, case, now),
        requests: state.requests_of(&case.case).map(|it| it.told(state, now)).collect(),
        check: CheckState::due(state, case),
    };
    for need in needs {
        it.by_sets = it.by_sets.max(need.equipped);
        it.because = it.because.or(need.because);
        it.robbed_by = it.robbed_by.or(need.robbed_by);
        let first = need.set.clone().zip(need.after);
        it.goes_first.extend(first.map(|(set, case)| GoesFirst { set, case }));
        it.why.extend(need.why);
        it.sets.extend(need.set);
        it.why.extend(need.short.iter().flat_map(|it| &it.closes).map(|it| it.sentence.clone()));
        it.short.extend(need.short);
    }
    it.status = it.by_sets;
    it
}

fn board_case(state: &State, of: Allotted, lines: &[&ScheduleLine], now: Time) -> BoardCase {
    let case = of.case;
    let mut it = by_sets(state, case, of.needs, now);
    let lost = it.chosen_fails.iter().flat_map(|fails| fails.lost.clone()).collect::<Vec<_>>();
    let (waits, late) = waits_for(state, case, (&it.sets, &lost), now);
    if !waits.is_empty() {
        it.status = it.status.max(if late { Equipped::NotReady } else { Equipped::InTurn });
        it.why.insert(0, format!("The chosen configuration is not all ready. {}", waits.join(" ")));
    }
    of_schedule(case, lines, &mut it);
    if let Some(fails) = &it.chosen_fails {
        it.status = Equipped::NotReady;
        it.why.insert(0, fails.sentence.clone());
    }
    // What is not there yet is told first; what is may still be the wrong mix.
    if it.status == Equipped::Ready
        && let Some((worse, told)) = own_sets_fail(state, case, &it.sets, now)
    {
        it.status = worse;
        it.why.insert(0, told);
    }
    if it.should_have_begun {
        let at = super::board::hour(state, case.start);
        let told =
            format!("It should have begun at {at}, and nothing was issued to it: issue, move or cancel it.");
        it.why.insert(0, told);
    }
    it.why.extend(state.in_the_same_room(case));
    it.because = it.because.filter(|_| it.status == Equipped::NotReady);
    let loud = case.loud(state, now).into_iter();
    it.why.extend(loud.map(|(word, parts)| format!("{word}: {}.", ids(&parts))));
    it.why.extend(it.check.as_ref().and_then(CheckState::words));
    it
}

/// What the schedule leaves open: needs that nobody knows, another procedure than needs were chosen for, and messages
/// that wait for a person.
fn of_schedule(case: &Case, lines: &[&ScheduleLine], it: &mut BoardCase) {
    if case.is_open() && case.needs_not_known() {
        it.status = Equipped::NotReady;
        it.because = Some("needs not known".into());
    }
    it.why.splice(0..0, super::schedule_line::says(case, lines));
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

/// What is said of a set that the site's usual turnaround brings too late.
pub const COMES_LATE: &str = "It is expected after the case begins.";

/// What is said of one need of a case.
pub(super) struct Said {
    pub equipped: Equipped,
    pub why: Vec<String>,
    /// What keeps it from its set, in a few words that name no indication.
    pub because: Option<String>,
    /// The case that the set went to which is kept for it.
    pub robbed_by: Option<Id>,
}

/// What is said of one need of a case: whether the set that it was given equips it, and why not.
pub(super) fn tell(look: &Look, case: &Case, need: &Id, given: &Given) -> Said {
    let Look { state, statuses, now, .. } = *look;
    let name = || state.sheets.get(need).map_or(need.as_str(), |sheet| sheet.name.0.as_str());
    let found = given.set().and_then(|set| Some((state.sets.get(set)?, statuses.get(set)?)));
    let Some((set, status)) = found else {
        let why = vec![format!("{}: no set is free for it.", name())];
        return Said {
            equipped: Equipped::NotReady,
            why,
            because: Some("no set is free".into()),
            robbed_by: None,
        };
    };
    let (mut equipped, _) = grade(look, set, case);
    let (mut why, mut because) = (Vec::new(), None);
    let is_kept = matches!(given, Given::Kept(_));
    match given {
        Given::Out(_) => return Said { equipped: Equipped::Ready, why, because, robbed_by: None },
        Given::Reserve(_) => {
            let (ready, minimum) =
                (state.ready_sets(need, now), state.reserves.get(need).copied().unwrap_or(0));
            let reserve = format!(
                "{}: set {} is held back for emergencies: {ready} ready, {minimum} asked for.",
                name(),
                set.set
            );
            (equipped, because) =
                (Equipped::NotReady, Some("the only set left is held back for emergencies".to_string()));
            why.push(reserve);
        }
        Given::Kept(_) | Given::Free(_) | Given::Left(_) | Given::Nothing => {}
    }
    if equipped != Equipped::Ready && !is_ready(status.status) {
        let kept = if is_kept { ", which is kept for it," } else { "" };
        let reasons = super::board::why(state, set, status, now).join(" ");
        // No hour: it is the site's usual turnaround that says so, and a forecast may know better.
        let late = status.late_for(case, now).map_or_else(String::new, |_| format!(" {COMES_LATE}"));
        why.push(format!("Set {}{kept} is {}. {reasons}{late}", set.set, status.status.words()));
    }
    // Kept twice by an override: who has it by the older promise is robbed, until that is undone.
    if is_kept {
        let robbed = state.taken_elsewhere(set, case);
        if !robbed.is_empty() {
            equipped = Equipped::NotReady;
            because = Some(format!("another case has set {} too", set.set));
        }
        why.extend(robbed.into_iter().map(|problem| problem.found));
    }
    let robbed_by = out_elsewhere(state, set, case).filter(|_| is_kept && equipped == Equipped::NotReady);
    let robbed_by = robbed_by.map(|other| other.case.clone());
    because = robbed_by.as_ref().map(|other| format!("set {} went to case {other}", set.set)).or(because);
    Said { equipped, why, because, robbed_by }
}

/// The other case at which something of a set is out.
pub(super) fn out_elsewhere<'a>(state: &'a State, set: &SetState, case: &Case) -> Option<&'a Case> {
    let is_out = |other: &&Case| {
        state.members(set).any(|asset| other.parts.get(&asset.asset).is_some_and(|part| part.out))
    };
    state.open_cases().filter(|other| other.case != case.case).find(is_out)
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
            let back_in_time =
                out_elsewhere(state, set, case).is_some_and(|other| !other.overlaps(case, turnaround));
            if back_in_time { (Equipped::InTurn, 3) } else { (Equipped::NotReady, 4) }
        }
        Some(SetReadiness::Held) => (Equipped::NotReady, 5),
        Some(SetReadiness::NotReady) | None => (Equipped::NotReady, 6),
    }
}

fn ids(parts: &[Id]) -> String {
    parts.iter().map(Id::as_str).collect::<Vec<_>>().join(", ")
}
