//! The checker of loans, strangers, doubts of identity and the shelf.

use std::collections::{BTreeMap, BTreeSet};

use super::id::Id;
use super::state::State;

pub(super) fn check(state: &State, wrong: &mut Vec<String>) {
    for (name, loan) in &state.loans {
        for (asset, _) in &loan.parts {
            let Some(part) = state.assets.get(asset) else {
                wrong.push(format!("{name} came with {asset}, which is not there"));
                continue;
            };
            // What left came again with another loan, or is gone.
            let again = state.loan_of(asset).is_some_and(|last| last.came.entry > loan.came.entry);
            let back = again || state.strangers.values().any(|it| it.is_one_with() == Some(asset));
            if loan.has_left(asset) && part.retired.is_none() && !back {
                wrong.push(format!("{asset} left with {name}, and is in the house"));
            }
        }
        if loan.leavings.iter().any(|leaving| leaving.told.entry <= loan.came.entry) {
            wrong.push(format!("{name} left before it came"));
        }
    }
    for (code, set) in &state.sets_left {
        if state.sets.contains_key(code) || !set.seats.is_empty() {
            wrong.push(format!("set {code} left, and is in the house or has parts in it"));
        }
    }
    for (tag, stranger) in &state.strangers {
        let Some(bearer) = state.assets.get(tag) else {
            wrong.push(format!("stranger {tag} is no part"));
            continue;
        };
        let held = bearer.holds.iter().any(|held| held.hold == stranger.hold);
        if stranger.is_open() != held || stranger.is_open() && bearer.seat.is_some() {
            wrong.push(format!("stranger {tag} is open, and not kept from being packed, or the other way"));
        }
    }
    for (name, mixed) in &state.mixed {
        let mut seen = BTreeSet::new();
        for group in &mixed.groups {
            let models: BTreeSet<&Id> =
                group.iter().filter_map(|it| state.assets.get(&it.asset)).map(|it| &it.model).collect();
            if group.len() < 2 || models.len() != 1 || !group.iter().all(|it| seen.insert(&it.asset)) {
                wrong.push(format!("{name} is no doubt between parts of one model"));
            }
        }
    }
    shelf(state, wrong);
}

/// Nothing is on the shelf that did not come, and what cases took from it is gone.
fn shelf(state: &State, wrong: &mut Vec<String>) {
    let mut used: BTreeMap<(&Id, Option<&str>), u64> = BTreeMap::new();
    for it in state.case_stock.values().flat_map(|case| &case.used) {
        let lot = it.used.lot.as_ref().map(|lot| lot.as_str());
        *used.entry((&it.used.model, lot)).or_default() += u64::from(it.used.from_shelf);
    }
    for shelf in state.shelf.values() {
        let mut seen = BTreeSet::new();
        for lot in &shelf.lots {
            let name = lot.lot.as_ref().map(|lot| lot.as_str());
            let taken = used.get(&(&shelf.model, name)).copied().unwrap_or(0);
            if u64::from(lot.left) + taken > u64::from(lot.came) || !seen.insert(name) {
                wrong.push(format!("{} of {}: more left than came, or twice", lot.called(), shelf.model));
            }
        }
    }
    for case in state.case_stock.keys().filter(|case| !state.cases.contains_key(*case)) {
        wrong.push(format!("case {case} used something, and is not there"));
    }
}
