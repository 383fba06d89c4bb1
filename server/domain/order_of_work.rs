//! What is taken next at each step, and why: the same sum for the forecast and for the desk.

use std::collections::BTreeMap;

use super::allotted::Allotted;
use super::board::Equipped;
use super::case::Case;
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::{SetReadiness, SetStatus};
use super::stage::Stage;
use super::state::State;
use super::time::Time;

/// What a set on its way is for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Needed {
    /// An emergency took the set that was kept for this case: what comes in its place goes before everything.
    Robbed {
        start: Time,
        case: Id,
    },
    /// The emergency reserve is below its minimum: what refills it goes before everything.
    Reserve,
    Case {
        start: Time,
        case: Id,
    },
}

/// What each set is for, the first need where there are several. What is for nothing waits behind what is.
pub fn needed(
    state: &State,
    statuses: &BTreeMap<&Id, SetStatus>,
    allotted: &[Allotted],
    now: Time,
) -> BTreeMap<Id, Needed> {
    let mut all: BTreeMap<Id, Needed> = BTreeMap::new();
    let cases = |all: &mut BTreeMap<Id, Needed>, in_time: bool| {
        // What should have begun is the most urgent of all.
        let comes = |it: &&Allotted| it.case.start >= now || it.case.should_have_begun(now);
        for it in allotted.iter().filter(comes) {
            let needs = it.needs.iter().filter(|need| (need.equipped != Equipped::NotReady) == in_time);
            for set in needs.filter_map(|need| need.set.as_ref()) {
                let case = || Needed::Case { start: it.case.start, case: it.case.case.clone() };
                all.entry(set.clone()).or_insert_with(case);
            }
        }
    };
    cases(&mut all, true);
    instead_of_robbed(state, statuses, now, &mut all);
    for (sheet, minimum) in &state.reserves {
        let of_sheet = || state.sets.values().filter(|set| set.count_sheet == *sheet);
        let status = |set: &Id| statuses.get(set).map(|status| status.status);
        let ready = of_sheet().filter(|set| status(&set.set).is_some_and(is_ready)).count() as u32;
        // As many as lack, those that no case counts on, the furthest on their way first.
        let mut refills: Vec<&Id> = of_sheet()
            .map(|set| &set.set)
            .filter(|set| status(set) == Some(SetReadiness::InTurn) && !all.contains_key(*set))
            .collect();
        refills.sort_by_key(|set| nearest(state, set));
        for set in refills.into_iter().take(minimum.saturating_sub(ready) as usize) {
            all.insert(set.clone(), Needed::Reserve);
        }
    }
    // What comes too late for a case is needed all the same, unless the reserve needs it.
    cases(&mut all, false);
    all
}

/// The furthest on its way first.
fn nearest(state: &State, set: &Id) -> (std::cmp::Reverse<Option<Option<Stage>>>, Id) {
    let left = state.sets.get(set).map(|set| state.members(set).map(|it| it.stage).min());
    (std::cmp::Reverse(left), set.clone())
}

/// For each set that was kept for a case and is out at another one: the next of its count sheet that no case counts on.
fn instead_of_robbed(
    state: &State,
    statuses: &BTreeMap<&Id, SetStatus>,
    now: Time,
    all: &mut BTreeMap<Id, Needed>,
) {
    let status = |set: &Id| statuses.get(set).map(|status| status.status);
    let is_here = |case: &Case, set: &Id| {
        let set = state.sets.get(set).into_iter().flat_map(|set| set.seats.values());
        set.into_iter().any(|asset| case.parts.get(asset).is_some_and(|part| part.out))
    };
    let mut robbed: Vec<(&Case, &Id)> = Vec::new();
    for case in state.open_cases().filter(|case| case.start >= now) {
        let gone = case.promised.iter().filter(|set| status(set) == Some(SetReadiness::Out));
        robbed.extend(gone.filter(|set| !is_here(case, set)).map(|set| (case, set)));
    }
    robbed.sort_by_key(|(case, set)| (case.start, case.case.clone(), (*set).clone()));
    for (case, gone) in robbed {
        let Some(sheet) = state.sets.get(gone).map(|set| &set.count_sheet) else { continue };
        let of_sheet = state.sets.values().filter(|set| set.count_sheet == *sheet).map(|set| &set.set);
        // What a later case counts on may be needed by this one first.
        let free = |set: &&Id| match all.get(*set) {
            None => true,
            Some(Needed::Case { start, .. }) => *start > case.start,
            Some(Needed::Robbed { .. } | Needed::Reserve) => false,
        };
        let coming = of_sheet.filter(|set| status(set) == Some(SetReadiness::InTurn)).filter(free);
        if let Some(next) = coming.min_by_key(|set| nearest(state, set)).cloned() {
            all.insert(next, Needed::Robbed { start: case.start, case: case.case.clone() });
        }
    }
}
