//! The independent checker: judges a whole state without the code that decides. It says what is wrong, and where.

use std::collections::{BTreeMap, BTreeSet};

use super::checks_case;
use super::hold::HoldKind;
use super::id::Id;
use super::lifetime::Clock;
use super::load::{IndicatorKind, IndicatorResult, Load, LoadStatus};
use super::machine::EMPTY_CYCLES_NEEDED;
use super::model::StepKind;
use super::programme::{Biological, Chemical};
use super::state::{Asset, Changes, Condition, Named, Stage, State};

/// Everything that cannot be true at once, in sentences. Empty where nothing was found.
pub fn check(state: &State) -> Vec<String> {
    let mut wrong = Vec::new();
    things(state, &mut wrong);
    for load in state.loads.values() {
        one_load(load, &mut wrong);
    }
    for asset in state.assets.values() {
        cycles(state, asset, &mut wrong);
    }
    checks_case::check(state, &mut wrong);
    wrong
}

/// As [`check`], but of cases and loads, which only ever grow, and of what was counted over them, only those that
/// changed: what was right and did not change is right still.
pub fn check_changes(state: &State, changes: &Changes) -> Vec<String> {
    let mut wrong = Vec::new();
    things(state, &mut wrong);
    for load in changes.loads.iter().filter_map(|load| state.loads.get(load)) {
        one_load(load, &mut wrong);
    }
    for asset in changes.assets.iter().filter_map(|asset| state.assets.get(asset)) {
        cycles(state, asset, &mut wrong);
    }
    checks_case::check_changes(state, changes, &mut wrong);
    wrong
}

/// Sets, parts and machines: what there is no more of than stands in the house.
fn things(state: &State, wrong: &mut Vec<String>) {
    seats(state, wrong);
    names(state, wrong);
    for asset in state.assets.values() {
        one_asset(state, asset, wrong);
    }
    running(state, wrong);
    super::checks_recall::check(state, wrong);
    super::checks_request::check(state, wrong);
    super::paper::check(state, wrong);
    super::wrong_thing::check(state, wrong);
    super::checks_visit::check(state, wrong);
    packs(state, wrong);
    machines(state, wrong);
    open_exceptions(state, wrong);
}

/// No asset sits twice, and both sides of a seat agree.
fn seats(state: &State, wrong: &mut Vec<String>) {
    let mut taken: BTreeMap<&Id, &Id> = BTreeMap::new();
    for set in state.sets.values() {
        for ((line, position), asset) in &set.seats {
            if let Some(other) = taken.insert(asset, &set.set) {
                wrong.push(format!("{asset} sits in set {other} and in set {}", set.set));
            }
            let seat = state.assets.get(asset).and_then(|asset| asset.seat.as_ref());
            if !seat.is_some_and(|s| s.set == set.set && s.line == *line && s.position == *position) {
                wrong.push(format!(
                    "set {} seats {asset} at {line} {position}, the part says otherwise",
                    set.set
                ));
            }
        }
    }
    for asset in state.assets.values().filter(|asset| asset.seat.is_some()) {
        if !taken.contains_key(&asset.asset) {
            wrong.push(format!("{} claims a seat that no set has", asset.asset));
        }
    }
}

/// Every id, set code and mark of one piece names exactly its thing.
fn names(state: &State, wrong: &mut Vec<String>) {
    let mut expected: BTreeMap<&str, Named> = BTreeMap::new();
    for set in state.sets.values() {
        expected.insert(set.set.as_str(), Named::Set(set.set.clone()));
    }
    for asset in state.assets.values() {
        let mark = asset.mark.iter().map(|mark| mark.as_str()).filter(|mark| super::mark::names_one(mark));
        for name in std::iter::once(asset.asset.as_str()).chain(mark) {
            if expected.insert(name, Named::Asset(asset.asset.clone())).is_some() {
                wrong.push(format!("\"{name}\" names two things"));
            }
        }
    }
    if expected.len() != state.names.len()
        || expected.iter().any(|(name, thing)| state.names.get(*name) != Some(thing))
    {
        wrong.push("the index of names differs from the things".into());
    }
    let mut keys: BTreeMap<String, BTreeSet<&Id>> = BTreeMap::new();
    for asset in state.assets.values() {
        if let Some(key) = asset.mark.as_ref().and_then(|mark| super::mark::key_of(&mark.0)) {
            keys.entry(key).or_default().insert(&asset.asset);
        }
    }
    let filed = |(key, all): (&String, &BTreeSet<&Id>)| *all == state.pieces_of(key).iter().collect();
    if keys.len() != state.pieces.len() || !keys.iter().all(filed) {
        wrong.push("the index of what marks name differs from the marks".into());
    }
}

fn one_asset(state: &State, asset: &Asset, wrong: &mut Vec<String>) {
    let id = &asset.asset;
    let mut say = |what: String| wrong.push(format!("{id} {what}"));
    if let Some(last) = &asset.inspected {
        let then = state.age_then(asset, Clock::Cycles, (last.at, last.entry));
        if last.cycles != then {
            say(format!("passed its last inspection at {} cycles, and had {then} then", last.cycles));
        }
    }
    if asset.cycles < asset.prior_cycles || asset.uses < asset.prior_uses {
        say("has fewer cycles or uses than it came with".into());
    }
    if asset.retired.is_some() && asset.seat.is_some() {
        say("is retired and sits in a set".into());
    }
    let route = state.route_of(asset);
    if route.is_empty() {
        say("has no route".into());
    }
    let ends_sterile = route.last().is_some_and(|last| last.step == StepKind::Sterilised);
    if matches!(asset.stage, Stage::Ready | Stage::Issued) && ends_sterile {
        let released = asset.load.as_ref().and_then(|load| state.loads.get(load)).is_some_and(|load| {
            load.status == LoadStatus::Released
                && load.judged.as_ref().is_some_and(|judged| judged.passed)
                && load.contents.iter().any(|part| part.asset == asset.asset && part.turn == asset.turn)
        });
        if !released {
            say("is ready or issued without a released load of this turn that passed".into());
        }
        if asset.has_hold(HoldKind::Prion) && asset.load.is_none() {
            say("is ready under a prion hold".into());
        }
    }
    if asset.stage == Stage::Ready && (asset.next as usize) < route.len() {
        say("is ready before the end of its route".into());
    }
    for held in &asset.holds {
        if state.holds.get(&held.hold).is_none_or(|hold| hold.lifted_at.is_some() || hold.kind != held.kind) {
            say(format!("is held by {}, which is not in force", held.hold));
        }
    }
    if asset.last_at < asset.act_at || asset.act_at < asset.turn_began_at {
        say("has times out of order".into());
    }
}

/// A load's status agrees with its record and its decision.
fn one_load(load: &Load, wrong: &mut Vec<String>) {
    let open = matches!(load.status, LoadStatus::Running | LoadStatus::Judged);
    if load.status == LoadStatus::Released && !load.judged.as_ref().is_some_and(|judged| judged.passed) {
        wrong.push(format!("load {} is released without a record that passed", load.load));
    }
    if load.status == LoadStatus::Released {
        released(load, wrong);
    }
    if load.decided_by.is_some() == open {
        wrong.push(format!("load {} is {} and its decision says otherwise", load.load, load.status.name()));
    }
}

/// A released load has the indicators that its programme asks for. What was recorded after the release does not count
/// against it here: the recall follows from it.
fn released(load: &Load, wrong: &mut Vec<String>) {
    let passed = |kind: IndicatorKind| {
        load.indicators.iter().any(|it| it.indicator == kind && it.result == IndicatorResult::Pass)
    };
    let mut lacks = |what: &str| wrong.push(format!("load {} is released without {what}", load.load));
    if load.programme.chemical(load.kind) != Chemical::None && !passed(IndicatorKind::Chemical) {
        lacks("a chemical indicator that passed");
    }
    let by_biological = load.programme.biological == Biological::EachLoad;
    if by_biological && load.early.is_none() && !passed(IndicatorKind::Biological) {
        lacks("a biological indicator that passed");
    }
    if let (Some(alone), Some(by)) = (&load.alone, &load.decided_by)
        && (load.started_by != *by || alone.signed_by.as_deref() == Some(&**by))
    {
        lacks("a second person, and says so of another");
    }
}

/// A machine knows since when it is not in service, needs a good empty cycle where it requalifies, and has its tests in
/// their order.
fn machines(state: &State, wrong: &mut Vec<String>) {
    for machine in state.machines.values() {
        let mut say = |what: &str| wrong.push(format!("machine {} {what}", machine.machine));
        if (machine.condition == Condition::InService) != machine.not_in_service_since.is_none() {
            say("does not know since when it is not in service");
        }
        if matches!(machine.condition, Condition::Requalifying { good } if good >= EMPTY_CYCLES_NEEDED) {
            say("requalifies with enough good cycles");
        }
        if !machine.tests.iter().is_sorted_by_key(|test| (test.at, test.entry)) {
            say("has tests out of order");
        }
        let of_it = |load: &Id| state.loads.get(load).is_some_and(|load| load.machine == machine.machine);
        if machine.flag.as_ref().is_some_and(|flag| !of_it(&flag.load)) {
            say("is flagged for a load that it did not run");
        }
    }
}

/// The index of open exceptions names exactly the loads whose exception is open.
fn open_exceptions(state: &State, wrong: &mut Vec<String>) {
    for load in &state.loads_with_open_exception {
        let open = state.loads.get(load).is_some_and(|load| {
            let signed = load.alone.as_ref().is_none_or(|alone| alone.signed_at.is_some());
            let read = load.early.as_ref().is_none_or(|early| early.read_at.is_some());
            load.status == LoadStatus::Released && !(signed && read)
        });
        if !open {
            wrong.push(format!("load {load} stands on the list of exceptions, and none of it is open"));
        }
    }
}

/// A machine runs at most one load, and what is in a running load says so.
fn running(state: &State, wrong: &mut Vec<String>) {
    // A load told after the fact may be open beside the one that runs, but what runs is open, and its machine's own.
    for machine in state.machines.values() {
        let Some(running) = &machine.running else { continue };
        let open = state.loads.get(running).is_some_and(|load| {
            matches!(load.status, LoadStatus::Running | LoadStatus::Judged) && load.machine == machine.machine
        });
        if !open {
            wrong.push(format!("machine {} and load {running} disagree about running", machine.machine));
        }
    }
    for asset in state.assets.values() {
        if let Some(load) = &asset.in_load {
            let open = state.loads.get(load).is_some_and(|load| {
                matches!(load.status, LoadStatus::Running | LoadStatus::Judged)
                    && load.contents.iter().any(|part| part.asset == asset.asset)
            });
            if !open {
                wrong.push(format!("{} is in load {load}, which does not hold it", asset.asset));
            }
        }
    }
}

/// A part's cycles are those of the steriliser loads that it lay in: each released one, and a rejected one where the
/// machine ran, which the load does not tell any more.
fn cycles(state: &State, asset: &Asset, wrong: &mut Vec<String>) {
    let (mut released, mut rejected) = (0, 0);
    for load in state.loads_of.of(&asset.asset).filter_map(|(load, _)| state.loads.get(load)) {
        if load.programme.step() == StepKind::Sterilised {
            released += u32::from(load.status == LoadStatus::Released);
            rejected += u32::from(load.status == LoadStatus::Rejected);
        }
    }
    let counted = asset.cycles.saturating_sub(asset.prior_cycles);
    if !(released..=released + rejected).contains(&counted) {
        wrong.push(format!(
            "{} counts {counted} cycles and lay in {released} released and {rejected} rejected loads",
            asset.asset
        ));
    }
}

/// A pack lies between packed and issued, in the set that it was packed in.
fn packs(state: &State, wrong: &mut Vec<String>) {
    for asset in state.assets.values() {
        if let Some(pack) = &asset.pack
            && (!asset.stage.in_pack() || asset.seat.as_ref().is_none_or(|seat| seat.set != pack.set))
        {
            wrong.push(format!(
                "{} says it is in a pack of set {}, but it is {}",
                asset.asset,
                pack.set,
                asset.stage.name()
            ));
        }
    }
}
