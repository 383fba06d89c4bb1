//! What is expected, beside what is: how likely a case has its sets by its start, when a set should be ready, and which
//! step takes longest. A chance is told in tenths, and no more exact than it is.

use super::board::{CaseRow, SetRow};
use super::board_say::follows;
use super::requests;
use super::shared::{listed, time};
use crate::app::board::Shown;
use crate::domain::allotted::{allotted, statuses};
use crate::domain::board::{BoardCase, BoardSet};
use crate::domain::forecast::{CaseForecast, Forecast, Likely, SetForecast};
use crate::domain::id::Id;
use crate::domain::order_of_work::{Needed, needed};
use crate::domain::readiness::SetReadiness;
use crate::domain::state::State;
use crate::domain::time::Time;

/// How many cases the heading tells of.
const TOLD: usize = 2;

/// A row of a case with what would help it, and what holds it up or comes in the place of what it lost.
pub fn case(mut row: CaseRow, shown: &Shown, case: &BoardCase, (state, now): (&State, Time)) -> CaseRow {
    let told = shown.forecast.as_ref().and_then(|it| it.case(&case.case));
    row.acts = told.map(|told| requests::acts(state, told, TOLD, now)).unwrap_or_default();
    if case.robbed_by.is_some() {
        row.why.extend(instead(state, shown, case, now));
    }
    if case.should_have_begun {
        let of = |set: &Id| {
            let told =
                shown.forecast.as_ref()?.set(set).filter(|told| told.ready_at.is_some_and(|at| at > now))?;
            Some(format!("Set {set} is expected {}.", when(told, state, now)?))
        };
        row.why.extend(case.sets.iter().filter_map(of));
    }
    let Some(told) = follows(case) else { return row };
    if let Some(step) = &told.held_up_by {
        row.why.insert(0, format!("Where it is late, {step} takes longest."));
    }
    row
}

/// What comes in the place of the set that another case took, and when.
fn instead(state: &State, shown: &Shown, case: &BoardCase, now: Time) -> Option<String> {
    let statuses = statuses(state, now);
    let needed = needed(state, &statuses, &allotted(state, &statuses, now), now);
    let is_its = |it: &Needed| matches!(it, Needed::Robbed { case: own, .. } if *own == case.case);
    let (set, _) = needed.iter().find(|(_, it)| is_its(it))?;
    let told = shown.forecast.as_ref().and_then(|it| it.set(set)).and_then(|told| when(told, state, now));
    let told = told.map(|told| format!(", expected {told}")).unwrap_or_default();
    Some(format!("Set {set} is made ready in its place{told}: keep it for this case."))
}

/// A row of a set with the time at which it should be ready.
pub fn set(mut row: SetRow, shown: &Shown, set: &BoardSet, (state, now): (&State, Time)) -> SetRow {
    let on_the_way = matches!(set.status, SetReadiness::InTurn) && set.ready_at.is_none();
    let told = shown.forecast.as_ref().and_then(|it| it.set(&set.set)).filter(|_| on_the_way);
    let Some(told) = told else { return row };
    if let Some(words) = when(told, state, now) {
        row.say.words = format!("in reprocessing, expected {words}");
    }
    let why =
        told.not_known.clone().or_else(|| told.held_up_by.as_ref().map(|step| format!("Longest: {step}.")));
    row.why = [row.why, why.unwrap_or_default()].join(" ").trim().to_string();
    row
}

/// "11:40 (9 in 10 by 12:05)".
fn when(told: &SetForecast, state: &State, now: Time) -> Option<String> {
    let at = time(state, told.ready_at?, now);
    let late = told.ready_9_in_10.map(|late| format!(" (9 in 10 by {})", time(state, late, now)));
    Some(format!("{at}{}", late.unwrap_or_default()))
}

/// What the heading says of the cases that wait: the least likely first.
pub fn heading(state: &State, shown: &Shown, now: Time) -> String {
    let mut waiting: Vec<&CaseForecast> = shown.board.cases.iter().filter_map(follows).collect();
    waiting.sort_by(|a, b| {
        a.chance.unwrap_or(0.0).total_cmp(&b.chance.unwrap_or(0.0)).then(a.start.cmp(&b.start))
    });
    let told: Vec<String> = waiting
        .iter()
        .filter(|told| matches!(told.likely, Likely::Expected | Likely::Unlikely))
        // The heading is of today: an hour of tomorrow would be taken for one of today.
        .filter(|told| told.start.date(state.zone) == now.date(state.zone))
        .take(TOLD)
        .map(|told| {
            let start = told.start.clock(state.zone);
            format!("case {} at {start}: {}", told.case, told.words)
        })
        .collect();
    match told.is_empty() {
        true => String::new(),
        false => format!(" Of those that wait: {}.", listed(&told)),
    }
}

/// What the forecast does not know, and of when it is.
pub fn not_known(state: &State, forecast: Option<&Forecast>, now: Time) -> Vec<String> {
    let Some(forecast) = forecast else {
        return vec!["The forecast is being worked out: no chances are shown yet.".into()];
    };
    let of = format!("Chances and expected times are a forecast of {}.", time(state, forecast.as_of, now));
    std::iter::once(of).chain(forecast.not_known.clone()).collect()
}
