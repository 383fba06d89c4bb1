//! What is expected, beside what is: how likely a case has its sets by its start, when a set should be ready, and which
//! step takes longest. A chance is told in tenths, and no more exact than it is.

use super::board::{CaseRow, SetRow};
use super::requests;
use super::say::Say;
use super::shared::{listed, time};
use crate::app::board::Shown;
use crate::domain::board::{BoardCase, BoardSet, Equipped};
use crate::domain::forecast::{CaseForecast, Forecast, Likely, SetForecast};
use crate::domain::readiness::SetReadiness;
use crate::domain::state::State;
use crate::domain::time::Time;

/// How many cases the heading tells of.
const TOLD: usize = 2;

/// Whether the case waits for sets that are on their way, and for nothing that a person has to do first.
fn waits(shown: &Shown, case: &BoardCase) -> bool {
    let on_the_way = |set: &&BoardSet| matches!(set.status, SetReadiness::InTurn | SetReadiness::Out);
    let mut sets = case.sets.iter().filter_map(|id| shown.board.sets.iter().find(|set| set.set == *id));
    match case.status {
        Equipped::Ready => false,
        Equipped::InTurn => true,
        Equipped::NotReady => {
            case.chosen_fails.is_none() && !case.sets.is_empty() && sets.all(|set| on_the_way(&set))
        }
    }
}

fn of_case<'a>(shown: &'a Shown, case: &BoardCase) -> Option<&'a CaseForecast> {
    shown.forecast.as_ref()?.case(&case.case).filter(|_| waits(shown, case))
}

/// A row of a case with its chance in words, and what holds it up.
pub fn case(mut row: CaseRow, shown: &Shown, case: &BoardCase, (state, now): (&State, Time)) -> CaseRow {
    let told = shown.forecast.as_ref().and_then(|it| it.case(&case.case));
    row.acts = told.map(|told| requests::acts(state, told, TOLD, now)).unwrap_or_default();
    let Some(told) = of_case(shown, case) else { return row };
    row.say = match told.likely {
        Likely::Expected => Say::new("turn2", "turn", format!("in reprocessing, {}", told.words)),
        Likely::Unlikely => Say::new("turn1", "due", format!("in reprocessing, {}", told.words)),
        Likely::No => Say::new("not_ready", "stop", format!("not ready in time: {}", told.words)),
        Likely::ReadyNow | Likely::NotKnown => return row,
    };
    if let Some(step) = &told.held_up_by {
        row.why.insert(0, format!("Where it is late, {step} takes longest."));
    }
    row
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
    let mut waiting: Vec<&CaseForecast> =
        shown.board.cases.iter().filter_map(|case| of_case(shown, case)).collect();
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
            let start = told.start.in_zone(state.zone).format("%H:%M");
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
