//! Which sets each open case has, or would take: one answer for the board and for the sheets of cases, so that no sheet
//! offers as free what the board counts on for somebody else.

use std::collections::BTreeMap;

use super::allotment::{Given, given, goes_first};
use super::board::Equipped;
use super::board_cases::{Look, Said, tell};
use super::case::Case;
use super::closing::{Short, short};
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
    /// The essential lines that its set is short of, with what would close them.
    pub short: Vec<Short>,
    /// The earlier case that its set goes to first.
    pub after: Option<Id>,
    /// What keeps it from its set, in a few words.
    pub because: Option<String>,
    /// The case that its set went to.
    pub robbed_by: Option<Id>,
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

/// The open cases in the order in which they start, each with the sets that it has or would take. An earlier one is never
/// worse off for a later one; it may have another set of the same standing, so that the later one has one too.
pub fn allotted<'a>(state: &'a State, statuses: &BTreeMap<&Id, SetStatus>, now: Time) -> Vec<Allotted<'a>> {
    let mut open: Vec<&Case> = state.open_cases().collect();
    open.sort_by_key(|case| (case.start, case.case.clone()));
    let look = Look { state, statuses, now, chosen: &state.chosen_by_set() };
    let given = given(&look, &open);
    let counted = |set: &Id, case: &Case| {
        let turnaround = state.policy.turnaround_minutes;
        let theirs = open.iter().zip(&given).filter(|(other, _)| other.overlaps(case, turnaround));
        theirs.flat_map(|(other, given)| given.iter().map(move |it| (other, it))).any(|(other, it)| {
            other.case != case.case
                && it.set() == Some(set)
                && !matches!(it, Given::Left(_) | Given::Reserve(_))
        })
    };
    let one = |(case, own): (&&'a Case, &Vec<Given>)| {
        let needs = case.needs.iter().zip(own).map(|(need, found)| {
            let Said { mut equipped, mut why, because, robbed_by } = tell(&look, case, need, found);
            let given_set = found.set().cloned();
            // One set is ready for one case alone: the later one has it when it has come round again.
            let after = given_set.as_ref().filter(|_| equipped == Equipped::Ready);
            let after = after.and_then(|set| goes_first(&look, &open, &given, (set, case))).cloned();
            if let (Some(first), Some(set)) = (&after, &given_set) {
                equipped = Equipped::InTurn;
                why.push(format!(
                    "Set {set} goes to case {first} first, and has to come round again for it."
                ));
            }
            let (given, set) = (found, given_set);
            let short = match (equipped, given) {
                (Equipped::NotReady, Given::Kept(set) | Given::Free(set) | Given::Left(set)) => {
                    short(&look, case, set, &|set| counted(set, case))
                }
                _ => Vec::new(),
            };
            Need { count_sheet: need.clone(), set, equipped, why, short, after, because, robbed_by }
        });
        Allotted { case, needs: needs.collect() }
    };
    open.iter().zip(&given).map(one).collect()
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
