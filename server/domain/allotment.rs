//! Which set each need of the open cases gets: what is out for it or kept for it stays; the others are given complete
//! sets in the order in which the cases start, so that no earlier one is worse off for a later one. The emergency
//! reserve comes before every planned case, and never has what is kept for one.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::board::Equipped;
use super::board_cases::{Look, grade};
use super::case::Case;
use super::id::Id;
use super::readiness::SetReadiness;
use super::set::SetState;
use super::stage::Stage;
use super::state::State;
use crate::analysis::assign::{Ask, assign};

/// How a need came to its set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Given {
    /// Out for it already.
    Out(Id),
    /// A person keeps it for the case.
    Kept(Id),
    /// What was chosen for the case lies in it, or it is free and comes in time.
    Free(Id),
    /// Nothing comes in time: of what is left, the one that is nearest to it.
    Left(Id),
    /// It is all that there is, and is held back for emergencies.
    Reserve(Id),
    Nothing,
}

/// One need of one case that no decision fills, in the order in which they are given sets.
#[derive(Clone, Copy)]
enum Asking<'a> {
    Reserve,
    Case { at: usize, need: usize, case: &'a Case },
}

/// The sets, by the place of the case and of its need. Cases are in the order of their starts.
pub(super) fn given(look: &Look, open: &[&Case]) -> Vec<Vec<Given>> {
    let mut given: Vec<Vec<Given>> = open.iter().map(|case| decided(look, case)).collect();
    let mut sheets: BTreeSet<&Id> = open.iter().flat_map(|case| &case.needs).collect();
    sheets.retain(|sheet| look.state.sheets.contains_key(*sheet));
    for sheet in sheets {
        of_sheet(look, open, sheet, &mut given);
    }
    given
}

/// The sets in which something lies that is out at a case.
fn out_for<'a>(state: &'a State, case: &Case) -> BTreeSet<&'a Id> {
    // Asked of the parts that are out, which are few, not of every part of every set.
    let out = case.parts.iter().filter(|(_, part)| part.out).filter_map(|(asset, _)| state.assets.get(asset));
    out.filter_map(|asset| asset.seat.as_ref()).map(|seat| &seat.set).collect()
}

/// What was decided for a case: out for it, kept for it, or holding what was chosen for it.
fn decided(look: &Look, case: &Case) -> Vec<Given> {
    let state = look.state;
    let out = out_for(state, case);
    let mut already: BTreeSet<Id> = BTreeSet::new();
    let one = |need: &Id| {
        let fits = |set: &&Id| {
            !already.contains(*set) && state.sets.get(*set).is_some_and(|set| set.count_sheet == *need)
        };
        let is_chosen =
            |set: &&Id| look.chosen.get(*set).into_iter().flatten().any(|by| by.case == case.case);
        let found = out.iter().copied().find(fits).map(|set| Given::Out(set.clone()));
        // What is being sterilised for it alone is its own.
        let made = || {
            let all = look.statuses.iter().filter(|(_, it)| it.made_for.as_ref() == Some(&case.case));
            all.map(|(set, _)| *set).find(fits).map(|set| Given::Kept(set.clone()))
        };
        let found = found.or_else(made);
        let found = found.or_else(|| case.promised.iter().find(fits).map(|set| Given::Kept(set.clone())));
        let found = found.or_else(|| {
            let mut chosen = look.chosen.keys().copied().filter(fits).filter(is_chosen);
            chosen.find(|set| may_take(look, case, set)).map(|set| Given::Free(set.clone()))
        });
        already.extend(found.as_ref().and_then(Given::set).cloned());
        found.unwrap_or(Given::Nothing)
    };
    case.needs.iter().map(one).collect()
}

impl Given {
    pub fn set(&self) -> Option<&Id> {
        match self {
            Given::Out(set)
            | Given::Kept(set)
            | Given::Free(set)
            | Given::Left(set)
            | Given::Reserve(set) => Some(set),
            Given::Nothing => None,
        }
    }
}

/// Whether no other case has a set by a decision, at the same time.
fn may_take(look: &Look, case: &Case, set: &Id) -> bool {
    let Look { state, chosen, .. } = *look;
    let others = chosen.get(set).into_iter().flatten().filter(|other| other.case != case.case);
    // Where a promise was set aside, the last decision holds.
    let turnaround = state.policy.turnaround_minutes;
    let mut yields =
        others.map(|other| !other.overlaps(case, turnaround) || case.has_over(state, other, set));
    state.keeper(set, case).is_none() && yields.all(|yields| yields)
}

/// Gives out the sets of one count sheet.
fn of_sheet(look: &Look, open: &[&Case], sheet: &Id, given: &mut [Vec<Given>]) {
    let Look { state, statuses, .. } = *look;
    let sets: Vec<&SetState> =
        state.sets.values().map(|set| &**set).filter(|set| set.count_sheet == *sheet).collect();
    let place: BTreeMap<&Id, usize> = sets.iter().enumerate().map(|(at, set)| (&set.set, at)).collect();
    let turnaround = state.policy.turnaround_minutes;
    let decided: BTreeSet<usize> =
        given.iter().flatten().filter_map(Given::set).filter_map(|set| place.get(set).copied()).collect();
    let mut asking: Vec<Asking> = Vec::new();
    let mut asks: Vec<Ask> = Vec::new();
    for _ in 0..state.reserves.get(sheet).copied().unwrap_or(0) {
        let level = |set: &SetState| {
            let status = statuses.get(&set.set)?;
            status.made_for.is_none().then(|| reserve_level(status.status))?
        };
        // The last ones first: cases take from the front.
        let all = sets.iter().enumerate().rev().filter(|(at, _)| !decided.contains(at));
        let mut options: Vec<(usize, u8)> = all.filter_map(|(at, set)| Some((at, level(set)?))).collect();
        options.sort_by_key(|(_, level)| *level);
        asking.push(Asking::Reserve);
        asks.push(Ask { options });
    }
    for (at, case) in open.iter().enumerate() {
        for need in (0..case.needs.len()).filter(|need| case.needs.get(*need) == Some(sheet)) {
            if given.get(at).and_then(|all| all.get(need)) == Some(&Given::Nothing) {
                asking.push(Asking::Case { at, need, case });
                asks.push(Ask { options: options(look, &sets, (case, given.get(at))) });
            }
        }
    }
    let clash = |a: usize, b: usize, _: usize| match (asking.get(a), asking.get(b)) {
        (Some(Asking::Case { case, at, .. }), Some(Asking::Case { case: other, at: own, .. })) => {
            at == own || case.overlaps(other, turnaround)
        }
        (Some(Asking::Case { case, .. }), Some(Asking::Reserve))
        | (Some(Asking::Reserve), Some(Asking::Case { case, .. })) => !case.emergency,
        _ => true,
    };
    let found = assign(&asks, &clash);
    let mut held_back: BTreeSet<usize> = BTreeSet::new();
    for (ask, found) in asking.iter().zip(&found) {
        match (ask, found.and_then(|found| Some((found, sets.get(found)?)))) {
            (Asking::Reserve, Some((at, _))) => drop(held_back.insert(at)),
            (Asking::Case { at, need, case }, Some((_, set))) => {
                // What is kept for a later day counts for the reserve until then: the last of it is not given away either.
                let found = match leaves_reserve(look, (open, given), case, &sets) {
                    true => Given::Free(set.set.clone()),
                    false => Given::Reserve(set.set.clone()),
                };
                put(given, *at, *need, found)
            }
            (_, None) => {}
        }
    }
    for ask in &asking {
        if let Asking::Case { at, need, case } = ask
            && given.get(*at).and_then(|all| all.get(*need)) == Some(&Given::Nothing)
        {
            let found = left(look, (open, given), case, &sets, &held_back);
            put(given, *at, *need, found);
            nearer(look, (open, given), (*at, *need));
        }
    }
    for ask in &asking {
        if let Asking::Case { at, need, case } = ask {
            round_again(look, (open, given), (*at, *need, case), (&sets, &held_back));
        }
    }
}

/// The sets that a case may be given, with how well each would serve it.
fn options(look: &Look, sets: &[&SetState], (case, own): (&Case, Option<&Vec<Given>>)) -> Vec<(usize, u8)> {
    let own: BTreeSet<&Id> = own.into_iter().flatten().filter_map(Given::set).collect();
    let free = sets.iter().enumerate().filter(|(_, set)| !own.contains(&set.set));
    let free = free.filter(|(_, set)| may_take(look, case, &set.set));
    // A case that should have begun takes what comes first, however late.
    let waits = case.should_have_begun(look.now);
    let is_coming = |set: &SetState| {
        look.statuses.get(&set.set).is_some_and(|status| status.status == SetReadiness::InTurn)
    };
    let graded = free.map(|(at, set)| (at, *set, grade(look, set, case)));
    let mut options: Vec<(usize, u8, Near)> = graded
        .filter(|(_, set, (equipped, _))| *equipped != Equipped::NotReady || (waits && is_coming(set)))
        .map(|(at, set, (_, level))| (at, level, nearness(look.state, set)))
        .collect();
    // Of those that are on their way, the furthest first.
    options.sort_by_key(|(_, level, near)| (*level, *near));
    options.into_iter().map(|(at, level, _)| (at, level)).collect()
}

/// How far a set is on its way: the furthest first.
type Near = Reverse<Option<Stage>>;

fn nearness(state: &State, set: &SetState) -> Near {
    Reverse(state.members(set).filter(|it| it.counts()).map(|it| it.stage).min())
}

/// Whether a set is another case's too that needs it at the same time.
fn is_counted_on(look: &Look, (open, given): (&[&Case], &[Vec<Given>]), case: &Case, set: &Id) -> bool {
    let turnaround = look.state.policy.turnaround_minutes;
    let theirs = open.iter().zip(given).filter(|(other, _)| other.overlaps(case, turnaround));
    theirs.flat_map(|(_, given)| given).any(|it| it.set() == Some(set))
}

/// A case for which nothing comes in time takes the set that comes first, where a later one that has it is as well off with
/// the one that is left.
fn nearer(
    look: &Look,
    (open, given): (&[&Case], &mut [Vec<Given>]),
    (at, need): (usize, usize),
) -> Option<()> {
    let state = look.state;
    let found = given.get(at)?.get(need)?.clone();
    let (case, Given::Left(own)) = (*open.get(at)?, &found) else { return None };
    let own = state.sets.get(own)?;
    let level = |set: &SetState, case: &Case| grade(look, set, case).1;
    for (later, place) in
        (at + 1..open.len()).flat_map(|later| (0..given[later].len()).map(move |n| (later, n)))
    {
        let (other, Given::Free(theirs)) = (*open.get(later)?, given.get(later)?.get(place)?) else {
            continue;
        };
        let Some(theirs) = state.sets.get(theirs).filter(|it| it.count_sheet == own.count_sheet) else {
            continue;
        };
        let is_chosen = look.chosen.get(&theirs.set).into_iter().flatten().any(|by| by.case == other.case);
        let is_better =
            level(theirs, case) == level(own, case) && nearness(state, theirs) < nearness(state, own);
        let as_well = level(own, other) == level(theirs, other) && may_take(look, other, &own.set);
        let mut between =
            open.iter().zip(given.iter()).filter(|(it, _)| it.case != other.case && it.case != case.case);
        let turnaround = state.policy.turnaround_minutes;
        let is_free = !between.any(|(it, given)| {
            let has = |set: &Id| given.iter().any(|given| given.set() == Some(set));
            (it.overlaps(case, turnaround) && has(&theirs.set))
                || (it.overlaps(other, turnaround) && has(&own.set))
        });
        if is_better && as_well && is_free && !is_chosen && may_take(look, case, &theirs.set) {
            let (mine, yours) = (Given::Left(theirs.set.clone()), Given::Free(own.set.clone()));
            put(given, later, place, yours);
            put(given, at, need, mine);
            return Some(());
        }
    }
    None
}

/// The earlier case that takes a set first which is ready now: an open one that is given it and has still to take it. One from
/// which a later decision took it does not.
pub(super) fn goes_first<'a>(
    look: &Look,
    open: &[&'a Case],
    given: &[Vec<Given>],
    (set, case): (&Id, &Case),
) -> Option<&'a Id> {
    let Look { state, now, .. } = *look;
    let turnaround = state.policy.turnaround_minutes;
    let is_before = |other: &Case| (other.start, &other.case) < (case.start, &case.case);
    let lost = |other: &Case| other.overlaps(case, turnaround) && case.has_over(state, other, set);
    let counts = |it: &Given| it.set() == Some(set) && !matches!(it, Given::Left(_) | Given::Reserve(_));
    let mut before = open.iter().zip(given).filter(|(other, given)| {
        let kept = given.iter().any(|it| matches!(it, Given::Kept(own) if own == set));
        is_before(other) && other.is_to_take(now) && !(kept && lost(other))
    });
    before.find(|(_, given)| given.iter().any(counts)).map(|(other, _)| &other.case)
}

/// A case whose set goes to an earlier one first has one that nobody counts on, where that is on its way and comes in time.
fn round_again(
    look: &Look,
    (open, given): (&[&Case], &mut [Vec<Given>]),
    (at, need, case): (usize, usize, &Case),
    (sets, held_back): (&[&SetState], &BTreeSet<usize>),
) -> Option<()> {
    let Given::Free(own) = given.get(at)?.get(need)? else { return None };
    let is_chosen = look.chosen.get(own).into_iter().flatten().any(|by| by.case == case.case);
    if is_chosen || goes_first(look, open, given, (own, case)).is_none() {
        return None;
    }
    let comes = |set: &SetState| matches!(grade(look, set, case), (Equipped::InTurn, 2));
    let is_free = |set: &Id| {
        may_take(look, case, set)
            && !given.get(at).into_iter().flatten().any(|it| it.set() == Some(set))
            && !is_counted_on(look, (open, given), case, set)
            && !open.iter().zip(given.iter()).any(|(other, given)| {
                other.start < case.start && given.iter().any(|it| it.set() == Some(set))
            })
    };
    let others = sets.iter().enumerate().filter(|(at, set)| !held_back.contains(at) && comes(set));
    let found = others.filter(|(_, set)| is_free(&set.set)).min_by_key(|(_, set)| nearness(look.state, set));
    let found = found.map(|(_, set)| Given::Free(set.set.clone()))?;
    put(given, at, need, found);
    None
}

/// Whether as many sets as the reserve needs are left where this case takes one too, beside those that earlier cases of the same
/// time take.
fn leaves_reserve(
    look: &Look,
    (open, given): (&[&Case], &[Vec<Given>]),
    case: &Case,
    sets: &[&SetState],
) -> bool {
    let Some(sheet) = sets.first().map(|set| &set.count_sheet) else { return true };
    let minimum = look.state.reserves.get(sheet).copied().unwrap_or(0) as usize;
    if minimum == 0 || case.emergency {
        return true;
    }
    let there = sets.iter().filter(|set| grade(look, set, case).0 != Equipped::NotReady).count();
    let turnaround = look.state.policy.turnaround_minutes;
    let earlier = |other: &Case| other.start <= case.start && other.overlaps(case, turnaround);
    let theirs = open.iter().zip(given).filter(|(other, _)| other.case == case.case || earlier(other));
    let taken = theirs.flat_map(|(_, given)| given).filter(|it| match it {
        Given::Kept(set) | Given::Free(set) => sets.iter().any(|own| own.set == *set),
        Given::Out(_) | Given::Left(_) | Given::Reserve(_) | Given::Nothing => false,
    });
    there > taken.count() + minimum
}

/// How well a set serves as the reserve: one that is not whole, or out, does not.
fn reserve_level(status: SetReadiness) -> Option<u8> {
    match status {
        SetReadiness::Ready => Some(0),
        SetReadiness::ReadyShort => Some(1),
        SetReadiness::InTurn => Some(2),
        SetReadiness::Out | SetReadiness::NotReady | SetReadiness::Held => None,
    }
}

fn put(given: &mut [Vec<Given>], at: usize, need: usize, what: Given) {
    if let Some(place) = given.get_mut(at).and_then(|all| all.get_mut(need)) {
        *place = what;
    }
}

/// What is nearest to a need that nothing fills: of the sets that nobody else counts on, the reserve last.
fn left(
    look: &Look,
    (open, given): (&[&Case], &[Vec<Given>]),
    case: &Case,
    sets: &[&SetState],
    held_back: &BTreeSet<usize>,
) -> Given {
    let turnaround = look.state.policy.turnaround_minutes;
    let theirs = open
        .iter()
        .zip(given)
        .filter(|(other, _)| other.case == case.case || other.overlaps(case, turnaround));
    let counted: BTreeSet<&Id> = theirs.flat_map(|(_, given)| given).filter_map(Given::set).collect();
    let free = sets.iter().enumerate().filter(|(_, set)| !counted.contains(&set.set));
    let free = free.filter(|(_, set)| may_take(look, case, &set.set));
    let best = free
        .min_by_key(|(at, set)| (held_back.contains(at), grade(look, set, case), nearness(look.state, set)));
    match best {
        Some((at, set)) if held_back.contains(&at) => Given::Reserve(set.set.clone()),
        Some((_, set)) => Given::Left(set.set.clone()),
        None => Given::Nothing,
    }
}
