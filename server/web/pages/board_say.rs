//! How a case stands, in the words of the board: by its sets, and by what is expected of them. Every page that shows a case
//! says the same.

use super::say::Say;
use super::shared::{listed, time};
use crate::domain::board::{BoardCase, BoardSet, Equipped, GoesFirst};
use crate::domain::board_cases::COMES_LATE;
use crate::domain::case::CaseStatus;
use crate::domain::forecast::{CaseForecast, Likely, odds};
use crate::domain::id::Id;
use crate::domain::readiness::{SetReadiness, SetStatus, set_status};
use crate::domain::state::State;
use crate::domain::time::Time;

/// So many sets are named of which a case gets the one that is ready first.
const MOST_NAMED: usize = 2;

/// What is expected of a case, where nothing stands against it but that its sets are not ready.
pub fn follows(case: &BoardCase) -> Option<&CaseForecast> {
    let by_sets = case.status == case.by_sets && case.status != Equipped::Ready;
    let told =
        case.expected.as_ref().filter(|_| by_sets && case.robbed_by.is_none() && !case.should_have_begun);
    told.filter(|told| matches!(told.likely, Likely::Expected | Likely::Unlikely | Likely::No))
}

/// Whether a case cannot be equipped, or should have begun: what the heading tells first.
pub fn is_lacking(case: &BoardCase) -> bool {
    if matches!(case.progress, CaseStatus::Issued | CaseStatus::Opened) {
        return case.status == Equipped::NotReady;
    }
    match (case.should_have_begun, follows(case)) {
        (true, _) => true,
        (false, Some(told)) => told.likely == Likely::No,
        (false, None) => case.status == Equipped::NotReady,
    }
}

/// How a case stands on the board.
pub fn of_case(state: &State, case: &BoardCase, now: Time) -> Say {
    match (case.progress, case.status) {
        (CaseStatus::Issued, Equipped::Ready) => Say::new("out", "ink", "out, issued"),
        (CaseStatus::Opened, _) => Say::new("out", "ink", "out, opened"),
        (_, status) if case.should_have_begun => {
            let told =
                format!("should have begun at {}, nothing was issued to it", time(state, case.start, now));
            match status {
                Equipped::Ready => Say::new("ready", "due", format!("ready; {told}")),
                Equipped::InTurn | Equipped::NotReady => Say::new("not_ready", "stop", told),
            }
        }
        (_, Equipped::Ready) => Say::new("ready", "ready", "ready"),
        (_, status) => match (follows(case), status) {
            (Some(told), _) => by_forecast(state, case, told, now),
            (None, Equipped::NotReady) => not_ready(state, case, now),
            (None, Equipped::Ready | Equipped::InTurn) => in_turn(state, case, now),
        },
    }
}

fn by_forecast(state: &State, case: &BoardCase, told: &CaseForecast, now: Time) -> Say {
    let first = told.gets.iter().flatten().find_map(|set| goes_first(case, set));
    let after = first.map(after).unwrap_or_default();
    // What goes to another case first is not there again before that one is over.
    let other = first.and_then(|first| state.cases.get(&first.case));
    let too_early = other.is_some_and(|other| told.ready_at.is_some_and(|at| at <= other.end()));
    let words = match told.chance.filter(|_| too_early) {
        Some(chance) => format!("expected, {}", odds(chance)),
        None => told.words.clone(),
    };
    match told.likely {
        Likely::Expected => Say::new("turn2", "turn", format!("in reprocessing{after}, {words}")),
        Likely::Unlikely => Say::new("turn1", "due", format!("in reprocessing{after}, {}", told.words)),
        Likely::No | Likely::ReadyNow | Likely::NotKnown => {
            let because = told.because.as_ref().or(case.because.as_ref());
            match because {
                Some(because) => Say::new("not_ready", "stop", format!("not ready, {because}")),
                None if short_of(state, case, now).is_empty() => {
                    let more = told.words.strip_prefix("no; ").map(|more| format!("; {more}"));
                    let more = more.unwrap_or_default();
                    Say::new("not_ready", "stop", format!("not ready in time{more}"))
                }
                None => not_ready(state, case, now),
            }
        }
    }
}

/// The case to which a set goes first, where it does.
fn goes_first<'a>(case: &'a BoardCase, set: &Id) -> Option<&'a GoesFirst> {
    case.goes_first.iter().find(|it| it.set == *set)
}

/// " after case K-1".
fn after(first: &GoesFirst) -> String {
    format!(" after case {}", first.case)
}

fn in_turn(state: &State, case: &BoardCase, now: Time) -> Say {
    let sets = case.sets.iter().filter_map(|set| state.sets.get(set));
    let all: Vec<SetStatus> = sets.map(|set| set_status(state, set, now)).collect();
    if all.iter().any(|set| set.status == SetReadiness::Out) {
        return Say::new("out", "ink", "its set is out, due back in time");
    }
    // The case waits for the last of its sets; where one has no time yet, or goes elsewhere first, the case has none.
    let waits = all.iter().filter(|set| set.status == SetReadiness::InTurn);
    let at = waits.map(|set| set.ready_at).collect::<Option<Vec<Time>>>();
    let at = at.and_then(|all| all.into_iter().max()).filter(|_| case.goes_first.is_empty());
    let expected = at.map(|at| format!(", expected {}", time(state, at, now))).unwrap_or_default();
    let after = case.sets.iter().find_map(|set| goes_first(case, set)).map(after).unwrap_or_default();
    Say::new("turn2", "turn", format!("in reprocessing{after}{expected}"))
}

/// The lines that its sets are short of.
fn short_of(state: &State, case: &BoardCase, now: Time) -> Vec<String> {
    let of = |set| state.sets.get(set).map(|set| set_status(state, set, now).missing);
    case.sets.iter().filter_map(of).flatten().collect()
}

fn not_ready(state: &State, case: &BoardCase, now: Time) -> Say {
    let stop = |words: String| Say::new("not_ready", "stop", words);
    match (&case.chosen_fails, &case.because, short_of(state, case, now).as_slice()) {
        (_, Some(because), _) if case.robbed_by.is_some() => stop(format!("not ready, {because}")),
        (Some(fails), _, _) => stop(format!("not ready, {}", fails.brief)),
        (None, Some(because), _) => stop(format!("not ready, {because}")),
        (None, None, []) => stop("not ready in time".into()),
        (None, None, short) => stop(format!("not ready, short of {}", listed(short))),
    }
}

/// A case with the sets that it is expected to get, so that a time never stands beside another set than its own.
pub fn named(case: &BoardCase, sets: &[BoardSet]) -> BoardCase {
    let mut named = case.clone();
    let Some(told) = follows(case) else { return named };
    if told.likely != Likely::No {
        // What the usual turnaround says gives way to what is expected.
        named.why.iter_mut().for_each(|why| *why = why.replace(COMES_LATE, "").trim_end().into());
    }
    if told.gets.iter().any(Vec::is_empty) {
        return named;
    }
    let of = |gets: &Vec<Id>| gets.iter().take(MOST_NAMED).cloned().collect::<Vec<Id>>();
    let all: Vec<Vec<Id>> = told.gets.iter().map(of).collect();
    if all.is_empty() {
        return named;
    }
    named.sets = all.concat();
    let is_of = |why: &String, set: &Id| {
        let rest = why.strip_prefix("Set ").and_then(|it| it.strip_prefix(set.as_str()));
        rest.is_some_and(|rest| rest.starts_with([' ', ',']))
    };
    let others: Vec<&Id> = case.sets.iter().filter(|set| !named.sets.contains(*set)).collect();
    named
        .why
        .retain(|why| !others.iter().any(|set| is_of(why, set)) && !why.ends_with("no set is free for it."));
    for set in named.sets.iter().filter(|set| !case.sets.contains(set)) {
        let Some(it) = sets.iter().find(|it| it.set == *set) else { continue };
        let told = format!("Set {set} is {}. {}", it.status.words(), it.why.join(" "));
        named.why.push(told.trim_end().into());
    }
    for gets in all.iter().filter(|gets| gets.len() > 1) {
        let names: Vec<&str> = gets.iter().map(Id::as_str).collect();
        named.why.insert(0, format!("It gets whichever of {} is ready first.", names.join(" and ")));
    }
    named
}
