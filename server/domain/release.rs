//! The release of a load: what stands against it, and what it makes of the parts. The program releases nothing by
//! itself; a person decides.

use std::sync::Arc;

use chrono::Days;

use super::event::Moved;
use super::hold::HoldKind;
use super::load::{IndicatorKind, IndicatorResult, Load};
use super::model::StepKind;
use super::programme::{Biological, Chemical};
use super::refusal::{Code, Problem};
use super::state::{Asset, State};
use super::time::Time;

/// What stands against releasing a load; `by` is the one who would, where it is known.
pub fn against(state: &State, load: &Load, by: Option<&str>, dry: Option<bool>) -> Vec<Problem> {
    let mut problems = Vec::new();
    let name = &load.load;
    let reject = format!("Reject load {name}; its parts go back before {}.", goes_back_before(load));
    match &load.judged {
        None => problems.push(Problem::new(
            Code::NoRecord,
            format!("Load {name} has no cycle record."),
            "A readable record of its cycle, or readings confirmed by a second person, is needed.",
            "Enter the record. A load without one is not released.",
        )),
        Some(judged) if !judged.passed => problems.push(Problem::new(
            Code::RecordFailed,
            format!(
                "The record of load {name} does not meet its programme: {}",
                judged.whole.as_ref().map(|whole| whole.why_failed()).unwrap_or_default()
            ),
            "A record that meets every limit of the programme is needed.",
            &reject,
        )),
        Some(_) if dry == Some(false) => problems.push(Problem::new(
            Code::RecordFailed,
            format!("Load {name} is not dry."),
            "A load that is visibly dry at unloading is needed.",
            &reject,
        )),
        Some(_) => {}
    }
    problems.extend(indicators(load, &reject));
    let two = state.policy.two_people && load.programme.step() == StepKind::Sterilised;
    if two && by.is_some_and(|by| by == &*load.started_by) {
        let second = Problem::new(
            Code::SamePerson,
            format!("The same person started load {name}."),
            "Here the loader and the releaser of a steriliser load are two people.",
            "Let a second person release it. Alone at night, set the rule aside and name the reserve that needs it.",
        );
        problems.push(if problems.is_empty() { second.open_to_override() } else { second });
    }
    problems
}

fn goes_back_before(load: &Load) -> &'static str {
    if load.programme.step() == StepKind::Sterilised { "packing" } else { "cleaning" }
}

fn indicators(load: &Load, reject: &str) -> Vec<Problem> {
    let mut problems = Vec::new();
    let name = &load.load;
    let last =
        |kind: IndicatorKind| load.indicators.iter().rev().find(|indicator| indicator.indicator == kind);
    let missing = |what: &str| {
        Problem::new(
            Code::IndicatorMissing,
            format!("No {what} indicator of load {name} is recorded."),
            format!("A passed {what} indicator is needed."),
            "Read the indicator and record it.",
        )
    };
    let failed = |what: &str| {
        Problem::new(
            Code::IndicatorFailed,
            format!("A {what} indicator of load {name} failed."),
            "Every indicator of the load has to pass.",
            reject,
        )
    };
    let chemical =
        |result| load.indicators.iter().any(|i| i.indicator == IndicatorKind::Chemical && i.result == result);
    if chemical(IndicatorResult::Fail) {
        problems.push(failed("chemical"));
    } else if load.programme.chemical(load.kind) != Chemical::None && !chemical(IndicatorResult::Pass) {
        problems.push(missing("chemical"));
    }
    // No growth in the control: the test is void, neither pass nor fail.
    let void =
        last(IndicatorKind::BiologicalControl).is_some_and(|control| control.result == IndicatorResult::Fail);
    let biological = last(IndicatorKind::Biological).filter(|_| !void);
    match biological.map(|indicator| indicator.result) {
        Some(IndicatorResult::Fail) => problems.push(failed("biological")),
        None if load.programme.biological == Biological::EachLoad => problems.push(missing("biological")),
        _ => {}
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
    let ended_at = load.judged.as_ref().map_or(released_at, |judged| judged.ended_at);
    Some(ended_at.plus_s(i64::from(cooling_s)))
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
