//! The checker of cases: what is out and where, what was used and how often, who is looked for, and whether a look-back
//! finds every exposure from either end.

use std::collections::{BTreeMap, BTreeSet};

use super::case::Case;
use super::exposure::Exposure;
use super::id::Id;
use super::load::LoadStatus;
use super::lookback::{AtCase, Origin, Trace, trace};
use super::state::{Asset, Changes, Stage, State};
use super::text::Line;

pub(super) fn check(state: &State, wrong: &mut Vec<String>) {
    indexes(state, wrong);
    state.cases.values().for_each(|case| one_case(state, case, wrong));
    state.assets.values().for_each(|asset| uses(state, asset, wrong));
    out(state, wrong);
    aside(state, wrong);
    look_backs(state, state.cases.values().map(|case| &**case), wrong);
}

pub(super) fn check_changes(state: &State, changes: &Changes, wrong: &mut Vec<String>) {
    let changed = || changes.cases.iter().filter_map(|case| state.cases.get(case)).map(|case| &**case);
    for case in changed() {
        one_case(state, case, wrong);
        if case.is_open() != state.open_cases.contains(&case.case) {
            wrong.push(format!(
                "case {} is {} and its index says otherwise",
                case.case,
                case.status().name()
            ));
        }
        for asset in case.parts.keys() {
            let known = state.cases_of.get(asset).is_some_and(|cases| cases.contains(&case.case));
            let exposed = case.all_parts().any(|(id, part)| id == asset && part.exposure.is_some());
            if known != exposed {
                wrong.push(format!("{asset} at case {}: the index of exposures says otherwise", case.case));
            }
        }
    }
    for load in changes.loads.iter().filter_map(|load| state.loads.get(load)) {
        for part in &load.contents {
            let mut lay = state.loads_of.of(&part.asset);
            if !lay.any(|(other, turn)| *other == load.load && turn == part.turn) {
                wrong.push(format!("{} in load {}: the index of loads lacks it", part.asset, load.load));
            }
        }
    }
    for asset in changes.assets.iter().filter_map(|asset| state.assets.get(asset)) {
        uses(state, asset, wrong);
    }
    out(state, wrong);
    aside(state, wrong);
    look_backs(state, changed(), wrong);
}

/// The indexes are what follows from cases and loads: nothing more, nothing less, oldest entry first.
fn indexes(state: &State, wrong: &mut Vec<String>) {
    let open: BTreeSet<&Id> =
        state.cases.values().filter(|case| case.is_open()).map(|case| &case.case).collect();
    if open.len() != state.open_cases.len() || !state.open_cases.iter().all(|case| open.contains(case)) {
        wrong.push("the index of open cases differs from the cases".into());
    }
    let unfollowed: BTreeSet<&Id> =
        state.cases.values().filter(|case| case.is_unfollowed()).map(|case| &case.case).collect();
    if !state.unfollowed.iter().eq(unfollowed) {
        wrong.push("the index of emergencies without a patient differs from the cases".into());
    }
    let mut cases: BTreeMap<&Id, Vec<(u64, &Id)>> = BTreeMap::new();
    let mut again = state.clone();
    again.scheduled.clear();
    let all = state.cases.values().filter(|case| case.schedule.is_some());
    all.for_each(|case| again.index_schedule(&case.case, &[]));
    if again.scheduled != state.scheduled {
        wrong.push("the cases of a schedule are not those that their numbers lead to".into());
    }
    for case in state.cases.values() {
        let mut first: BTreeMap<&Id, u64> = BTreeMap::new();
        for (asset, part) in case.all_parts().filter(|(_, part)| part.exposure.is_some()) {
            let since = first.entry(asset).or_insert(part.since);
            *since = (*since).min(part.since);
        }
        for (asset, since) in first {
            cases.entry(asset).or_default().push((since, &case.case));
        }
    }
    let mut loads: BTreeMap<&Id, Vec<(u64, &Id, u32)>> = BTreeMap::new();
    for load in state.loads.values() {
        for part in &load.contents {
            loads.entry(&part.asset).or_default().push((load.entry, &load.load, part.turn));
        }
    }
    for asset in state.assets.keys() {
        let mut derived = cases.remove(asset).unwrap_or_default();
        derived.sort();
        let indexed = state.cases_of.get(asset).into_iter().flat_map(|cases| cases.iter());
        if !indexed.eq(derived.iter().map(|(_, case)| *case)) {
            wrong.push(format!("{asset}: the index of its cases differs from the cases"));
        }
        let mut derived = loads.remove(asset).unwrap_or_default();
        derived.sort();
        if !state.loads_of.of(asset).eq(derived.iter().map(|(_, load, turn)| (*load, *turn))) {
            wrong.push(format!("{asset}: the index of its loads differs from the loads"));
        }
    }
    for stranger in cases.keys().chain(loads.keys()) {
        wrong.push(format!("{stranger} was in a case or a load, and is no part of this site"));
    }
}

fn one_case(state: &State, case: &Case, wrong: &mut Vec<String>) {
    let id = &case.case;
    let mut say = |what: String| wrong.push(format!("case {id} {what}"));
    if case.cancelled.is_some() && case.anything_out() {
        say("is cancelled with something out".into());
    }
    if !case.is_open() && !case.promised.is_empty() && !case.closed {
        say("is over and keeps a set".into());
    }
    // Two cases that overlap may both keep a set where somebody with the right to it said so; the state cannot tell.
    let kept: BTreeSet<&Id> = case.promised.iter().collect();
    if kept.len() != case.promised.len() || !kept.iter().all(|set| state.sets.contains_key(*set)) {
        say("keeps a set twice, or one that is not there".into());
    }
    for (asset, part) in case.parts.iter() {
        let Some(known) = state.assets.get(asset) else {
            say(format!("names {asset}, which is no part of this site"));
            continue;
        };
        if part.turn > known.turn {
            say(format!("had {asset} in turn {}, and it is in turn {}", part.turn, known.turn));
        }
        if part.exposure.is_some() != (part.since > 0) {
            say(format!("exposed {asset} by no entry"));
        }
        if part.told_used && part.exposure != Some(Exposure::Used) {
            say(format!("was told that {asset} was used, and does not count it"));
        }
        if part.out && part.missing {
            say(format!("has {asset} out and counted as not accounted for"));
        }
        let went = matches!(known.stage, Stage::Issued | Stage::InUse);
        if part.out && part.turn == known.turn && !went && known.retired.is_none() {
            say(format!("has {asset} out, which is {} in that turn", known.stage.name()));
        }
    }
}

/// A part counts a use for every case that used it, and no other.
fn uses(state: &State, asset: &Asset, wrong: &mut Vec<String>) {
    let cases = state.cases_of.get(&asset.asset).into_iter().flat_map(|cases| cases.iter());
    let used_at = |case: &&Id| {
        state.cases.get(*case).is_some_and(|case| {
            case.all_parts().any(|(id, part)| *id == asset.asset && part.exposure == Some(Exposure::Used))
        })
    };
    let used = cases.filter(used_at).count() as u64;
    let counted = u64::from(asset.uses);
    if counted != u64::from(asset.prior_uses) + used {
        wrong.push(format!(
            "{} came with {} uses, was used at {used} cases and counts {counted}",
            asset.asset, asset.prior_uses
        ));
    }
}

/// What was issued is out at one case, and what is out somewhere is at a case.
fn out(state: &State, wrong: &mut Vec<String>) {
    let mut at: BTreeMap<&Id, Vec<(&Id, u32, bool)>> = BTreeMap::new();
    for case in state.open_cases.iter().filter_map(|case| state.cases.get(case)) {
        for (asset, part) in case.parts.iter().filter(|(_, part)| part.out) {
            at.entry(asset).or_default().push((&case.case, part.turn, part.issued));
        }
    }
    for (asset, cases) in &at {
        // It may have been opened at another case than the one that it was issued to, which is a deviation there.
        if cases.iter().filter(|(.., issued)| *issued).count() > 1 {
            wrong.push(format!("{asset} is issued to {} cases at once", cases.len()));
        }
    }
    for asset in state.assets.values().filter(|asset| asset.retired.is_none() && !asset.missing) {
        let here = at.get(&asset.asset).into_iter().flatten();
        let now = here.filter(|(_, turn, _)| *turn == asset.turn).count();
        if matches!(asset.stage, Stage::Issued | Stage::InUse) && now == 0 {
            wrong.push(format!("{} is {} and out at no case", asset.asset, asset.stage.name()));
        }
    }
}

/// Who is looked for is missing, what is in repair has a repair under way, and a finding's hold is there.
fn aside(state: &State, wrong: &mut Vec<String>) {
    for asset in state.assets.values() {
        let open = state.missing.get(&asset.asset).filter(|missing| missing.over_at.is_none());
        if open.is_some() != (asset.missing || open.is_some_and(|missing| missing.piece)) {
            wrong.push(format!("{}: the list of what is looked for says otherwise", asset.asset));
        }
    }
    let away: BTreeSet<&Id> = state
        .repairs
        .values()
        .filter(|repair| repair.back_at.is_none())
        .map(|repair| &repair.asset)
        .collect();
    for asset in state.assets.values().filter(|asset| asset.in_repair != away.contains(&asset.asset)) {
        wrong.push(format!("{}: the list of repairs says otherwise", asset.asset));
    }
    for finding in state.findings.values() {
        if !state.assets.contains_key(&finding.asset)
            || finding
                .hold
                .as_ref()
                .is_some_and(|hold| !finding.taken_back && !state.holds.contains_key(hold))
        {
            wrong.push(format!("finding {} is about a part or a hold that is not there", finding.finding));
        }
    }
}

/// Every exposure of these cases is found from its part, and from each released load that the part lay in that turn.
fn look_backs<'a>(state: &State, cases: impl Iterator<Item = &'a Case>, wrong: &mut Vec<String>) {
    let mut from_loads: BTreeMap<Id, Option<Trace>> = BTreeMap::new();
    let mut from_assets: BTreeMap<Id, Option<Trace>> = BTreeMap::new();
    for case in cases {
        for (asset, part) in case.all_parts() {
            let Some(exposure) = part.exposure else { continue };
            let exposed = AtCase { asset: asset.clone(), turn: part.turn, exposure };
            let finds = |trace: &Option<Trace>| {
                trace.as_ref().is_some_and(|trace| {
                    trace.cases.get(&case.case).is_some_and(|parts| parts.contains(&exposed))
                })
            };
            let of_asset = from_assets.entry(asset.clone()).or_insert_with(|| {
                let asset = Some(Line(asset.to_string()));
                trace(state, &Origin { asset, ..Origin::default() })
            });
            if !finds(of_asset) {
                wrong.push(format!("a look-back from {asset} misses case {}", case.case));
            }
            for (load, _) in state.loads_of.of(asset).filter(|(_, turn)| *turn == part.turn) {
                if state.loads.get(load).is_none_or(|load| load.status == LoadStatus::Rejected) {
                    continue;
                }
                let of_load = from_loads.entry(load.clone()).or_insert_with(|| {
                    trace(state, &Origin { load: Some(load.clone()), ..Origin::default() })
                });
                if !finds(of_load) {
                    wrong.push(format!("a look-back from load {load} misses {asset} at case {}", case.case));
                }
            }
        }
    }
}
