//! Which sets each open case has, or would take: one answer for the board and for the sheets of cases, so that no sheet
//! offers as free what the board counts on for somebody else.

use std::collections::BTreeMap;

use super::board::Equipped;
use super::board_cases::{Look, fill};
use super::case::Case;
use super::id::Id;
use super::readiness::{SetStatus, glance};
use super::state::State;
use super::time::Time;

/// One need of a case, and the set that fills it.
#[derive(Clone, Debug)]
pub struct Need {
    pub count_sheet: Id,
    /// One that is out for it, one that is kept for it, or the best one free.
    pub set: Option<Id>,
    pub equipped: Equipped,
    /// Why it is not simply ready.
    pub why: Vec<String>,
}

/// A case with its needs, in their order.
#[derive(Clone, Debug)]
pub struct Allotted<'a> {
    pub case: &'a Case,
    pub needs: Vec<Need>,
}

impl Allotted<'_> {
    pub fn sets(&self) -> impl Iterator<Item = &Id> {
        self.needs.iter().filter_map(|need| need.set.as_ref())
    }
}

/// How each set stands.
pub fn statuses(state: &State, now: Time) -> BTreeMap<&Id, SetStatus> {
    state.sets.values().map(|set| (&set.set, glance(state, set, now))).collect()
}

/// The open cases in the order in which they start, each with the sets that it has or would take; what an earlier one
/// takes, a later one that overlaps it does not.
pub fn allotted<'a>(state: &'a State, statuses: &BTreeMap<&Id, SetStatus>, now: Time) -> Vec<Allotted<'a>> {
    let mut open: Vec<&Case> = state.open_cases().collect();
    open.sort_by_key(|case| (case.start, case.case.clone()));
    let mut taken: BTreeMap<Id, Vec<&Case>> = BTreeMap::new();
    let look = Look { state, statuses, now, chosen: &state.chosen_by_set() };
    let mut all = Vec::new();
    for case in open {
        let mut sets: Vec<Id> = Vec::new();
        let mut needs = Vec::new();
        for need in &case.needs {
            let (set, equipped, why) = fill(&look, case, need, &sets, &taken);
            if let Some(set) = &set {
                taken.entry(set.clone()).or_default().push(case);
                sets.push(set.clone());
            }
            needs.push(Need { count_sheet: need.clone(), set, equipped, why });
        }
        all.push(Allotted { case, needs });
    }
    all
}

/// The other cases that would take a set at the same time as this one.
pub fn counting_on<'a>(
    state: &State,
    all: &'a [Allotted<'a>],
    set: &'a Id,
    case: &'a Case,
) -> impl Iterator<Item = &'a Case> {
    let turnaround = state.policy.turnaround_minutes;
    let others = all.iter().filter(move |it| it.case.case != case.case && it.case.overlaps(case, turnaround));
    others.filter(move |it| it.sets().any(|its| its == set)).map(|it| it.case)
}
