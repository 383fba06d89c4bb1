//! The checker of requests: what they name is there, what waits is for a case that is still to begin, and nothing was done with
//! one before it was sent.

use super::case::CaseStatus;
use super::state::State;

pub(super) fn check(state: &State, wrong: &mut Vec<String>) {
    for (name, request) in &state.requests {
        let asks = &request.asks;
        let Some(case) = state.cases.get(&asks.case) else {
            wrong.push(format!("{name} is for case {}, which is not there", asks.case));
            continue;
        };
        let there = asks
            .set
            .as_ref()
            .is_none_or(|set| state.sets.contains_key(set) || state.sets_left.contains_key(set))
            && asks.asset.as_ref().is_none_or(|asset| state.assets.contains_key(asset))
            && asks.machine.as_ref().is_none_or(|machine| state.machines.contains_key(machine))
            && asks.count_sheet.as_ref().is_none_or(|sheet| state.sheets.contains_key(sheet));
        if !there {
            wrong.push(format!("{name} names something that is not there"));
        }
        let closed = request.withdrawn.is_some() || request.over.is_some();
        if state.current_requests.contains(name) == closed {
            wrong.push(format!("{name}: the index of requests says otherwise"));
        }
        if !closed && !matches!(case.status(), CaseStatus::Planned | CaseStatus::Issued) {
            wrong.push(format!("{name} waits, and case {} is {}", asks.case, case.status().name()));
        }
        let mut entries = request.answers.iter().map(|it| it.told.entry);
        if entries.any(|entry| entry <= request.sent.entry) {
            wrong.push(format!("{name} was answered before it was sent"));
        }
    }
    for name in state.current_requests.iter().filter(|name| !state.requests.contains_key(*name)) {
        wrong.push(format!("{name} stands in the index of requests alone"));
    }
}
