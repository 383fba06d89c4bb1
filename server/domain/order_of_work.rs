//! What is taken next at each step, and why: the same sum for the forecast and for the desk.

use std::collections::BTreeMap;

use super::allotted::Allotted;
use super::board::Equipped;
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::{SetReadiness, SetStatus};
use super::state::State;
use super::time::Time;

/// What a set on its way is for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Needed {
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
        for it in allotted.iter().filter(|it| it.case.start >= now) {
            let needs = it.needs.iter().filter(|need| (need.equipped != Equipped::NotReady) == in_time);
            for set in needs.filter_map(|need| need.set.as_ref()) {
                let case = || Needed::Case { start: it.case.start, case: it.case.case.clone() };
                all.entry(set.clone()).or_insert_with(case);
            }
        }
    };
    cases(&mut all, true);
    for (sheet, minimum) in &state.reserves {
        let of_sheet = || state.sets.values().filter(|set| set.count_sheet == *sheet);
        let status = |set: &Id| statuses.get(set).map(|status| status.status);
        let ready = of_sheet().filter(|set| status(&set.set).is_some_and(is_ready)).count() as u32;
        // As many as lack, those that no case counts on, the furthest on their way first.
        let mut refills: Vec<&Id> = of_sheet()
            .map(|set| &set.set)
            .filter(|set| status(set) == Some(SetReadiness::InTurn) && !all.contains_key(*set))
            .collect();
        let left = |set: &Id| state.sets.get(set).map(|set| state.members(set).map(|it| it.stage).min());
        refills.sort_by_key(|set| (std::cmp::Reverse(left(set)), (*set).clone()));
        for set in refills.into_iter().take(minimum.saturating_sub(ready) as usize) {
            all.insert(set.clone(), Needed::Reserve);
        }
    }
    // What comes too late for a case is needed all the same, unless the reserve needs it.
    cases(&mut all, false);
    all
}
