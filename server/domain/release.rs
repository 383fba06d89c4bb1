//! The release of a load: what stands against it, and what it makes of the parts. The program releases nothing by
//! itself; a person decides.

use std::sync::Arc;

use chrono::Days;

use super::condition::{AROUND_A_DAY, Condition, Test};
use super::event::Moved;
use super::hold::HoldKind;
use super::load::{Indicator, IndicatorKind, IndicatorResult, Load, LoadPart};
use super::machine::test_words;
use super::model::{Method, StepKind};
use super::programme::{Biological, Chemical};
use super::refusal::{Code, Problem};
use super::site::BiologicalPolicy;
use super::state::{Asset, State};
use super::text::ended;
use super::time::{Time, told_day};

/// What stands against releasing a load now, at `at`; `by` is the one who would, where it is known.
pub fn against(state: &State, load: &Load, by: Option<&str>, dry: Option<bool>, at: Time) -> Vec<Problem> {
    let (mut problems, pending) = weighed(state, load, by, dry, at);
    problems.extend(pending);
    problems
}

/// As [`against`], with the biological indicator that is not read yet apart from the rest.
pub fn weighed(
    state: &State,
    load: &Load,
    by: Option<&str>,
    dry: Option<bool>,
    at: Time,
) -> (Vec<Problem>, Option<Problem>) {
    let reject = format!("Reject load {}; its parts go back before {}.", load.load, goes_back_before(load));
    let mut problems = machine(state, load, &reject);
    problems.extend(processing(state, load, &reject));
    problems.extend(record(load, dry, &reject));
    problems.extend(indicators(load, &reject));
    problems.extend(overdue(state, load));
    problems.extend(aeration(state, load, at));
    let pending = pending(state, load);
    let two = state.policy.two_people && sterilises(load);
    if two && by.is_some_and(|by| by == &*load.started_by) {
        let second = Problem::new(
            Code::SamePerson,
            format!("The same person started load {}.", load.load),
            "Here the loader and the releaser of a steriliser load are two people.",
            "Let a second person release it. Alone at night, set the rule aside and name the reserve that needs it.",
        );
        let all_passed = problems.is_empty() && pending.is_none();
        problems.push(if all_passed { second.open_to_override() } else { second });
    }
    (problems, pending)
}

fn sterilises(load: &Load) -> bool {
    load.programme.step() == StepKind::Sterilised
}

fn goes_back_before(load: &Load) -> &'static str {
    if sterilises(load) { "packing" } else { "cleaning" }
}

fn record(load: &Load, dry: Option<bool>, reject: &str) -> Option<Problem> {
    let name = &load.load;
    match &load.judged {
        None => Some(Problem::new(
            Code::NoRecord,
            format!("Load {name} has no cycle record."),
            "A readable record of its cycle, or readings confirmed by a second person, is needed.",
            "Enter the record. A load without one is not released.",
        )),
        Some(judged) if !judged.passed => Some(Problem::new(
            Code::RecordFailed,
            format!(
                "The record of load {name} does not meet its programme: {}",
                judged.whole.as_ref().map(|whole| whole.why_failed()).unwrap_or_default()
            ),
            "A record that meets every limit of the programme is needed.",
            reject,
        )),
        // What goes straight to its case is not wrapped, and its cycle may end without drying (common practice): it is carried
        // covered, and a release that asked for "dry" would only be told so. Moisture undoes what is wrapped and stored.
        Some(_) if dry == Some(false) && load.immediate_use.is_none() => Some(Problem::new(
            Code::RecordFailed,
            format!("Load {name} is not dry."),
            "A load that is visibly dry at unloading is needed.",
            reject,
        )),
        Some(_) => None,
    }
}

/// What stands against it at its machine as it is known now, whenever the release is said to have been: out of service or
/// requalifying, a test that failed since the load began, no air-removal test of the load's own test day. A machine that
/// is out for the growth of this very load is told by the load's indicator, as long as that growth counts.
fn machine(state: &State, load: &Load, reject: &str) -> Vec<Problem> {
    let Some(machine) = state.machines.get(&load.machine) else { return Vec::new() };
    let name = &machine.machine;
    let mut problems = Vec::new();
    let own = matches!(&machine.condition, Condition::Out { load: Some(grown), .. } if *grown == load.load)
        && spores(load) == Spores::Grew;
    if !own && machine.condition != Condition::InService {
        // No waiting mends a record that failed.
        let failed = load.judged.as_ref().is_some_and(|judged| !judged.passed);
        let wait = format!("{reject} Or wait until {name} is in service again.");
        problems.push(Problem::new(
            Code::MachineNotReady,
            format!("{name} is {}", ended(&machine.condition.words())),
            format!("A machine in service is needed to release load {}.", load.load),
            if failed { reject.to_string() } else { wait },
        ));
    }
    let test_day = state.test_day(load.started_at);
    // One of this very test day that was told only after the load had started is of it too.
    let told_since = |test: &Test| test.entry > load.entry && state.test_day(test.at) == test_day;
    let since = |test: &&Test| !test.good && (load.started_at <= test.at || told_since(test));
    let tests = machine.tests_since(load.started_at.plus_minutes(-AROUND_A_DAY)).filter(since);
    if let Some(failed) = tests.filter(|test| !machine.made_good(state, test)).last() {
        problems.push(Problem::new(
            Code::MachineNotReady,
            format!(
                "{name} failed its {} test on {}, {} load {} was started.",
                test_words(failed.test.as_str()),
                failed.at.told(state.zone),
                if load.started_at <= failed.at { "after" } else { "before" },
                load.load
            ),
            "A machine whose tests did not fail between the start and the release is needed.",
            reject,
        ));
    }
    if load.programme.air_removal_test && !load.tested {
        problems.extend(machine.no_air_removal_test(state, load.started_at).map(|problem| Problem {
            next: format!("If it was done on that day, enter it late with its time. Else: {reject}"),
            ..problem
        }));
    }
    problems
}

/// What its parts do not get or do not bear: one that went in unsuited still is, or the record goes beyond what one
/// bears. Instructions that were replaced since it went in take nothing back: what happened before keeps its own.
fn processing(state: &State, load: &Load, reject: &str) -> Vec<Problem> {
    let held = load.judged.as_ref().and_then(|judged| judged.whole.as_ref()).map(|whole| whole.held());
    let by_steam = load.programme.method == Method::Steam;
    let inside = inside(state, load);
    let unsuited = inside.iter().filter_map(|asset| {
        let model = state.model(&asset.model)?;
        let beyond = || held.filter(|_| by_steam).and_then(|held| held.beyond(model));
        let unsuited = load.unsuited.contains(&asset.asset).then(|| load.programme.unsuitable(model));
        let why = unsuited.flatten().or_else(beyond)?;
        Some(Problem::new(
            Code::ProgrammeUnsuitable,
            format!("{} does not suit load {}: {why}.", asset.called(), load.load),
            "A cycle that meets the processing instructions of every part in it is needed.",
            reject,
        ))
    });
    unsuited.collect()
}

fn aeration(state: &State, load: &Load, at: Time) -> Option<Problem> {
    let over = ended_at(load)?.plus_s(i64::from(load.programme.aeration_s?));
    let told = over.minute_up().told(state.zone);
    (at < over).then(|| {
        Problem::new(
            Code::StillCooling,
            format!("Load {} airs until {told}.", load.load),
            "A load whose aeration is over is needed.",
            "Leave it in the aerator until then.",
        )
    })
}

/// What a load's biological indicators say together.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Spores {
    /// None is read, or every one that is was void.
    NotRead,
    Passed,
    Grew,
}

/// Growth stands, whatever is read later, unless its control did not grow: then the test is void, neither pass nor fail.
/// A control belongs to the indicators of its lot; where either names no lot, it belongs to all of them.
pub fn spores(load: &Load) -> Spores {
    let mut answer = Spores::NotRead;
    let of = |kind: IndicatorKind| load.indicators.iter().rev().filter(move |it| it.indicator == kind);
    for read in of(IndicatorKind::Biological) {
        let matches = |control: &&Indicator| match (read.lot.as_ref(), control.lot.as_ref()) {
            (Some(lot), Some(of)) => lot == of,
            (None, _) | (_, None) => true,
        };
        let control = of(IndicatorKind::BiologicalControl).find(matches);
        if control.is_some_and(|control| control.result == IndicatorResult::Fail) {
            continue;
        }
        match read.result {
            IndicatorResult::Fail => return Spores::Grew,
            IndicatorResult::Pass => answer = Spores::Passed,
        }
    }
    answer
}

/// Whether biological indicators of a load were read, and every one of them is void.
pub fn is_void(load: &Load) -> bool {
    let read = load.indicators.iter().any(|it| it.indicator == IndicatorKind::Biological);
    read && spores(load) == Spores::NotRead
}

/// The implants that are still in a steriliser load.
pub fn implants(state: &State, load: &Load) -> Vec<Arc<Asset>> {
    let implant = |asset: &Arc<Asset>| state.model(&asset.model).is_some_and(|model| model.implant);
    inside(state, load).into_iter().filter(|asset| sterilises(load) && implant(asset)).collect()
}

/// Whether a biological indicator is asked of a load, whatever lies in it still: by its programme, by the site, or for an
/// implant that went in.
pub(super) fn asks_for_spores(state: &State, load: &Load) -> bool {
    let implant = |part: &LoadPart| {
        let model = state.assets.get(&part.asset).and_then(|asset| state.model(&asset.model));
        model.is_some_and(|model| model.implant)
    };
    let by_site = state.policy.biological == BiologicalPolicy::EachLoad;
    let by_programme = load.programme.biological == Biological::EachLoad;
    by_programme || (sterilises(load) && (by_site || load.contents.iter().any(implant)))
}

/// A biological indicator that is asked for and not read yet: by the programme, by the site, or for an implant
/// (MMWR 2003;52(RR17): every load with an implant, read before use whenever possible).
fn pending(state: &State, load: &Load) -> Option<Problem> {
    if spores(load) != Spores::NotRead {
        return None;
    }
    let implants = implants(state, load);
    let by_site = sterilises(load) && state.policy.biological == BiologicalPolicy::EachLoad;
    if let Some(implant) = implants.first() {
        return Some(Problem::new(
            Code::IndicatorMissing,
            format!(
                "No biological indicator of load {} is recorded, and it holds an implant: {}.",
                load.load,
                implant.called()
            ),
            "A passed biological indicator is needed before an implant is used.",
            "Read the indicator and record it. In an emergency the lead may release it early, as an exception.",
        ));
    }
    let asked = by_site || load.programme.biological == Biological::EachLoad;
    asked.then(|| missing(load, "biological"))
}

/// Where the site says so, a biological indicator of the machine that is overdue stands against its loads.
fn overdue(state: &State, load: &Load) -> Option<Problem> {
    let machine = state.machines.get(&load.machine).filter(|_| sterilises(load))?;
    let every = state.policy.biological.every_days().filter(|_| state.policy.biological_overdue_stops)?;
    let (day, last) = (state.test_day(load.started_at), machine.last_biological());
    let in_time = last.is_some_and(|last| (day - state.test_day(last)).num_days() <= i64::from(every));
    let found = match last {
        Some(last) => format!(
            "The last biological indicator of {} that passed is of {}.",
            load.machine,
            told_day(state.test_day(last))
        ),
        None => format!("No biological indicator of {} has passed yet.", load.machine),
    };
    (!in_time).then(|| {
        Problem::new(
            Code::IndicatorMissing,
            found,
            format!("Here one has to pass every {}.", if every == 1 { "day" } else { "week" }),
            "Read the indicator that runs, and record it with its load.",
        )
    })
}

fn missing(load: &Load, what: &str) -> Problem {
    Problem::new(
        Code::IndicatorMissing,
        format!("No {what} indicator of load {} is recorded.", load.load),
        format!("A passed {what} indicator is needed."),
        "Read the indicator and record it.",
    )
}

fn indicators(load: &Load, reject: &str) -> Vec<Problem> {
    let mut problems = Vec::new();
    let failed = |what: &str| {
        Problem::new(
            Code::IndicatorFailed,
            format!("A {what} indicator of load {} failed.", load.load),
            "Every indicator of the load has to pass.",
            reject,
        )
    };
    let chemical =
        |result| load.indicators.iter().any(|i| i.indicator == IndicatorKind::Chemical && i.result == result);
    if chemical(IndicatorResult::Fail) {
        problems.push(failed("chemical"));
    } else if load.programme.chemical(load.kind) != Chemical::None && !chemical(IndicatorResult::Pass) {
        problems.push(missing(load, "chemical"));
    }
    if spores(load) == Spores::Grew {
        problems.push(failed("biological"));
    }
    problems
}

/// The parts that are still in the load: a part whose pack broke since, or that was told to be elsewhere, is not.
pub fn inside(state: &State, load: &Load) -> Vec<Arc<Asset>> {
    let parts = load.contents.iter().filter_map(|part| state.assets.get(&part.asset));
    parts.filter(|asset| asset.in_load.as_ref() == Some(&load.load)).cloned().collect()
}

/// When a released load has cooled or aired: the cycle's end and the programme's time for it.
pub fn cool_at(load: &Load, released_at: Time) -> Option<Time> {
    let cooling_s = load.programme.cooling_s?;
    let ended_at = ended_at(load).unwrap_or(released_at);
    Some(ended_at.plus_s(i64::from(cooling_s)))
}

/// When the cycle of a judged load has certainly ended: never before the load was started, whatever an entry says.
fn ended_at(load: &Load) -> Option<Time> {
    load.judged.as_ref().map(|judged| judged.ended_at.max(load.started_at))
}

/// Where a decision on a load is said to have been made before what it rests on: no decision of now, whenever it is told.
pub(super) fn decided_before(state: &State, load: &Load, at: Time, since: Time) -> Option<Problem> {
    let (decided, rests_on) = at.told_apart(since, state.zone);
    let what = if since > load.started_at { "its last evidence is of" } else { "it was started on" };
    (at < since).then(|| {
        Problem::new(
            Code::TooLate,
            format!("Load {} is said to have been decided on {decided}; {what} {rests_on}.", load.load),
            "A load is decided after it was started and its evidence was there.",
            "Leave the time out, or correct it.",
        )
    })
}

/// What a release makes of the parts. What is under a prion hold stays out of use: it goes back before packing.
pub fn parts(state: &State, load: &Load, at: Time) -> Vec<Moved> {
    let step = load.programme.step();
    let inside = inside(state, load);
    let day = at.date(state.zone);
    let shelf_life = |asset: &Asset| {
        let days = state.model(&asset.model)?.limits.shelf_life_days?;
        day.checked_add_days(Days::new(u64::from(days)))
    };
    let moved = inside.iter().map(|asset| {
        if asset.has_hold(HoldKind::Prion) {
            return asset.back_before(
                state,
                if step == StepKind::Sterilised { StepKind::Packed } else { StepKind::Cleaned },
            );
        }
        if let Some(moved) = super::immediate_use::released(state, load, asset) {
            return moved;
        }
        let mut moved = asset.advanced(state, step);
        if step == StepKind::Sterilised {
            // A pack keeps as long as the shortest-lived of its parts.
            let same_pack = inside.iter().filter(|mate| mate.pack.is_some() && mate.pack == asset.pack);
            moved.sterile_until =
                same_pack.filter_map(|mate| shelf_life(mate)).chain(shelf_life(asset)).min();
        }
        moved
    });
    moved.collect()
}
