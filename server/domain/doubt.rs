//! What casts doubt on loads that were released, and is told only afterwards: growth in a biological indicator, a control
//! that did not grow, a chemical indicator read as failed, a failed test of the machine. The entry that tells it carries the
//! recall of what was made ready meanwhile, so that it is held at once.

use super::affected::{relying, window};
use super::condition::{Machine, Test};
use super::deciding::Deciding;
use super::id::{Id, next_free};
use super::load::{Indicator, IndicatorKind, IndicatorResult, Load, LoadStatus, RecordIndicator};
use super::machine::{AIR_REMOVAL, BIOLOGICAL, LEAK_RATE, RecordMachineTest, test_words};
use super::recall::{Recalled, Since};
use super::release::{Spores, asks_for_spores, spores};
use super::state::State;
use super::time::Time;

/// The loads recalled: since the good evidence, from one time on, up to another.
#[derive(Default)]
pub(super) struct Reach {
    pub since: Option<Since>,
    pub from: Option<Time>,
    pub to: Option<Time>,
}

impl Reach {
    fn loads(&self, state: &State, machine: &Id) -> Vec<Id> {
        let after = self.since.as_ref().filter(|since| since.load.is_some()).map(|since| since.at);
        // What started when a test had just passed stands on it.
        let tested = self.since.as_ref().filter(|since| since.load.is_none()).map(|since| since.at);
        window(state, machine, after, self.from.max(tested), self.to)
    }
}

pub(super) fn grew(load: &Load) -> bool {
    spores(load) == Spores::Grew
}

/// The last biological evidence of a machine before a time: the last load whose indicator showed no growth, or a spore
/// test of the machine itself.
pub(super) fn last_negative(state: &State, machine: &Id, before: Time) -> Option<Since> {
    let good = state.loads.values().filter(|load| {
        load.machine == *machine
            && load.started_at < before
            && load.status == LoadStatus::Released
            && spores(load) == Spores::Passed
    });
    let last = good.max_by_key(|load| (load.started_at, load.entry));
    let last = last.map(|load| Since { load: Some(load.load.clone()), test: None, at: load.started_at });
    let known = state.machines.get(machine);
    let tested = known.and_then(|machine| last_passed(machine, &[BIOLOGICAL], before));
    [last, tested].into_iter().flatten().max_by_key(|since| since.at)
}

/// The last of these tests that passed before a time, as the evidence that it is.
fn last_passed(machine: &Machine, kinds: &[&str], before: Time) -> Option<Since> {
    let passed = |test: &&Test| test.good && test.at < before && kinds.contains(&test.test.as_str());
    let last = machine.tests.iter().rev().find(passed)?;
    Some(Since { load: None, test: Some(last.test.clone()), at: last.at })
}

pub(super) fn recalled(
    deciding: &mut Deciding,
    recall: Id,
    machine: &Id,
    reach: Reach,
    reason: String,
) -> Option<Recalled> {
    let state = deciding.state;
    let loads = reach.loads(state, machine);
    let Reach { since, from, to } = reach;
    let assets: Vec<Id> = relying(state, loads.iter()).into_iter().collect();
    let hold = deciding.new_hold()?;
    let machine = machine.clone();
    Some(Recalled { recall, machine, reason, since, from, to, loads, hold, assets, machine_out: false })
}

/// One load alone.
fn alone(deciding: &mut Deciding, load: &Load, reason: String) -> Option<Recalled> {
    let state = deciding.state;
    let loads = vec![load.load.clone()];
    Some(Recalled {
        recall: next_recall(state)?,
        machine: load.machine.clone(),
        reason,
        since: None,
        from: Some(load.started_at),
        to: Some(load.started_at),
        assets: relying(state, loads.iter()).into_iter().collect(),
        hold: deciding.new_hold()?,
        loads,
        machine_out: false,
    })
}

pub(super) fn next_recall(state: &State) -> Option<Id> {
    next_free("recall", 4, state.recalls.len(), |id| state.recalls.contains_key(id))
}

/// Whether an open recall holds what came from this load already.
fn is_recalled(state: &State, load: &Load) -> bool {
    state.recalls.values().any(|recall| recall.is_open() && recall.loads.contains(&load.load))
}

/// Growth in a biological indicator: everything from the machine since its last negative, at once.
pub(super) fn after_growth(deciding: &mut Deciding, load: &Load) -> Option<Recalled> {
    let state = deciding.state;
    // The same growth told again. Where that load alone is recalled for another reason, the others are not held yet.
    if grew(load) && is_recalled(state, load) {
        return None;
    }
    let since = last_negative(state, &load.machine, load.started_at);
    let reason = format!("growth in the biological indicator of load {}", load.load);
    let reach = Reach { since, ..Reach::default() };
    let recalled = recalled(deciding, next_recall(state)?, &load.machine, reach, reason)?;
    Some(Recalled { machine_out: true, ..recalled })
}

/// A chemical indicator that is read as failed after the release: what came from that load is held at once.
pub(super) fn after_release(deciding: &mut Deciding, load: &Load) -> Option<Recalled> {
    if load.status != LoadStatus::Released || is_recalled(deciding.state, load) {
        return None;
    }
    let reason = format!("a chemical indicator of load {} was read as failed after its release", load.load);
    alone(deciding, load, reason)
}

/// Whether this control, which did not grow, leaves a load without the biological evidence that it had.
pub(super) fn voids(deciding: &Deciding, load: &Load, it: &RecordIndicator) -> bool {
    if it.indicator != IndicatorKind::BiologicalControl || it.result != IndicatorResult::Fail {
        return false;
    }
    let mut with = load.clone();
    with.indicators.push(Indicator {
        indicator: it.indicator,
        result: it.result,
        lot: it.lot.clone(),
        at: deciding.at(),
        by: deciding.asked.actor.code.as_str().into(),
    });
    spores(load) != Spores::NotRead && spores(&with) == Spores::NotRead
}

/// A control that did not grow, read after the release: the load has no biological evidence any more. Where it needed
/// some, what came from it is held at once; where an open recall reached back to it as the last good evidence, so is what
/// lies between it and the evidence before.
pub(super) fn after_void(deciding: &mut Deciding, load: &Load) -> Option<Recalled> {
    let state = deciding.state;
    if load.status != LoadStatus::Released || spores(load) != Spores::Passed {
        return None;
    }
    let void = format!(
        "the control of the biological indicator of load {} did not grow, so the indicator is void",
        load.load
    );
    let rested = state.recalls.values().find(|recall| {
        recall.is_open() && recall.since.as_ref().is_some_and(|since| since.load.as_ref() == Some(&load.load))
    });
    if let Some(rested) = rested {
        let reason = format!("{void}, and {} reached back to it as the last good evidence", rested.recall);
        let since = last_negative(state, &load.machine, load.started_at);
        let reach = Reach { since, from: None, to: Some(load.started_at) };
        return recalled(deciding, next_recall(state)?, &load.machine, reach, reason);
    }
    let needed = asks_for_spores(state, load) && !is_recalled(state, load);
    needed.then(|| alone(deciding, load, void)).flatten()
}

/// What a failed test of a machine says of its loads: on which evidence they stand, and whether they are in doubt at all.
fn stands_on(test: &str) -> Option<&'static [&'static str]> {
    match test {
        AIR_REMOVAL => Some(&[AIR_REMOVAL]),
        // A chamber that held its vacuum, or that let its air be removed, was tight enough then.
        LEAK_RATE => Some(&[LEAK_RATE, AIR_REMOVAL]),
        _ => None,
    }
}

/// A test that failed although loads of its test day are released: everything from the machine since the last good
/// evidence of that kind, at once. (No or failed air-removal test: quarantine the loads already run that day, common
/// practice; a leak above the limit likewise.) Before the first load of the day it holds nothing. A spore test that grew is
/// growth: everything since the last negative.
pub(super) fn after_test(
    deciding: &mut Deciding,
    machine: &Machine,
    it: &RecordMachineTest,
) -> Option<Recalled> {
    let (state, at) = (deciding.state, deciding.at());
    let (name, day) = (it.test.as_str(), state.test_day(at));
    let reach = match stands_on(name) {
        Some(kinds) => Reach {
            since: last_passed(machine, kinds, at),
            from: None,
            to: good_again(state, machine, name, kinds, at),
        },
        None if name == BIOLOGICAL => {
            Reach { since: last_negative(state, &machine.machine, at), ..Reach::default() }
        }
        None => return None,
    };
    let in_doubt = |load: &Load| {
        let concerned = name == BIOLOGICAL || state.test_day(load.started_at) == day;
        concerned && load.status == LoadStatus::Released && !is_recalled(state, load)
    };
    let loads = reach.loads(state, &machine.machine);
    if !loads.iter().filter_map(|load| state.loads.get(load)).any(|load| in_doubt(load)) {
        return None;
    }
    let measured = it.value.map(|value| {
        let unit = it.unit.as_ref().map_or("mbar/min", |unit| unit.as_str());
        format!(" ({value} {unit})")
    });
    let reason = format!(
        "the {} test of {} failed{}, with loads already released",
        test_words(name),
        at.told(state.zone),
        measured.unwrap_or_default()
    );
    recalled(deciding, next_recall(state)?, &machine.machine, reach, reason)
}

/// Up to when loads stand on a test that failed at a time, where it is told late: until the named repeat of that test day,
/// or the first good test of a later one.
fn good_again(state: &State, machine: &Machine, name: &str, kinds: &[&str], at: Time) -> Option<Time> {
    let day = state.test_day(at);
    let again = machine.tests_since(at).filter(|test| at < test.at).filter(|test| {
        let of_day = state.test_day(test.at) == day;
        let repeated = of_day && test.repeat && test.test.as_str() == name;
        test.good && kinds.contains(&test.test.as_str()) && (repeated || !of_day)
    });
    again.last().map(|test| Time(test.at.0 - 1))
}
