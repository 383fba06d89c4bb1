//! Steps told as facts: what happened is recorded whatever rule it broke, and the broken rule beside it.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::deciding::Deciding;
use super::event::{Moved, Noted, What};
use super::hold::HoldKind;
use super::id::Id;
use super::model::{Method, StepKind};
use super::refusal::{Code, Problem};
use super::scan::{Mode, Picked, blocking_hold, broken_pack_of};
use super::state::{Asset, Stage};
use super::step::{RecordStep, StepRecorded, single_use_spent, skips_cleaning};
use super::time::Time;

/// A fact about one part: what it does to it.
pub(super) enum Told {
    Moves(Moved),
    Notes(Noted),
    Known(Problem),
}

pub(super) fn record_fact(deciding: &mut Deciding, it: &RecordStep) -> Option<What> {
    let picked = deciding.pick(&it.scan, Mode::Fact);
    let alone: Vec<Picked> = picked.iter().filter(|part| part.alone).cloned().collect();
    let in_sets: Vec<Picked> = picked.into_iter().filter(|part| !part.alone).collect();
    // A set that came back although nobody recorded that it went out: its ready parts begin their next turn.
    let first: Vec<Picked> =
        in_sets.iter().filter(|part| stands_for(deciding, &part.asset, it.step)).cloned().collect();
    // Told late, it may be meant of parts that have gone on meanwhile; then what lies ready stays where it is.
    let gone_on = deciding.late() && in_sets.iter().any(|part| deciding.at() < part.asset.act_at);
    let chosen = if first.is_empty() && alone.is_empty() && back_at_desk(it.step) && !gone_on {
        in_sets
            .iter()
            .filter(|part| part.asset.counts() && part.asset.stage == Stage::Ready)
            .cloned()
            .collect()
    } else {
        first
    };
    let mut skipped = in_sets;
    skipped.retain(|part| !chosen.iter().any(|taken| taken.asset.asset == part.asset.asset));
    let (mut parts, mut noted): (Vec<Moved>, Vec<Noted>) = (Vec::new(), Vec::new());
    let told: Vec<Id> = alone.iter().chain(&chosen).map(|part| part.asset.asset.clone()).collect();
    for part in alone.iter().chain(&chosen) {
        match told_of(deciding, &part.asset, it) {
            Told::Moves(moved) => {
                // What comes back alone was taken out of its pack, and that opened it.
                for mate in opened_with(deciding, &part.asset, it.step, &told) {
                    if !parts.iter().any(|moved| moved.asset == mate.asset) {
                        deciding.also_opened.push(mate.asset.clone());
                        parts.push(mate.back_before_packed(deciding.state));
                    }
                }
                parts.push(moved);
            }
            Told::Notes(note) => noted.push(note),
            Told::Known(problem) => {
                deciding.against(problem);
                continue;
            }
        }
        deciding.touches(Some(part.asset.last_at));
    }
    let left: Vec<_> = skipped
        .into_iter()
        .map(|part| {
            let problem = why_not_meant(deciding, &part.asset, it.step);
            (part.asset, vec![problem])
        })
        .collect();
    if parts.is_empty() && noted.is_empty() {
        left.into_iter().flat_map(|(_, problems)| problems).for_each(|problem| deciding.against(problem));
    } else {
        deciding.leave(left);
    }
    let (taken_out, short) = (Vec::new(), Vec::new());
    let (packaging, solution) = (it.packaging.clone(), it.solution.clone());
    let step = it.step;
    Some(What::StepRecorded(StepRecorded {
        step,
        parts,
        noted,
        taken_out,
        short,
        packaging,
        solution,
        held: Vec::new(),
        delayed: Vec::new(),
    }))
}

/// A step as it is told of one part. A manual disinfection whose record fails took the part nowhere.
fn told_of(deciding: &mut Deciding, asset: &Asset, it: &RecordStep) -> Told {
    let told = tell(deciding, asset, it.step, false);
    let against = match told {
        Told::Moves(_) if it.step == StepKind::Disinfected => {
            super::solution::against(deciding, asset, it.solution.as_deref())
        }
        _ => Vec::new(),
    };
    if against.is_empty() {
        return told;
    }
    against.iter().for_each(|problem| deciding.deviates(problem.code));
    Told::Notes(Noted { asset: asset.asset.clone(), turn: asset.turn })
}

/// The rest of a pack out of which one part came back by itself.
fn opened_with(deciding: &Deciding, asset: &Asset, step: StepKind, told: &[Id]) -> Vec<Arc<Asset>> {
    if !back_at_desk(step) {
        return Vec::new();
    }
    let mut mates = broken_pack_of(deciding.state, asset);
    mates.retain(|mate| !told.contains(&mate.asset) && mate.counts());
    mates
}

fn back_at_desk(step: StepKind) -> bool {
    matches!(step, StepKind::Treated | StepKind::Received)
}

/// In a fact a set stands for every member in the house that has not done this act or a later one in this turn.
pub(super) fn stands_for(deciding: &Deciding, asset: &Asset, step: StepKind) -> bool {
    let away = asset.stage.is_out();
    let not_yet = match step {
        StepKind::Treated => asset.stage < Stage::Treated || away,
        StepKind::Received => asset.stage < Stage::Received || away,
        _ => {
            let route = deciding.state.route_of(asset);
            route.iter().position(|on| on.step == step).is_some_and(|at| at as u32 >= asset.next)
        }
    };
    asset.counts() && not_yet
}

pub(super) fn why_not_meant(deciding: &Deciding, asset: &Asset, step: StepKind) -> Problem {
    if !asset.counts()
        && let Some(problem) = super::scan::general_problems(deciding.state, asset).into_iter().next()
    {
        return problem;
    }
    let next = deciding.state.next_step(asset);
    Problem::new(
        Code::AlreadyDone,
        format!("{} is {} in this turn.", asset.called(), asset.stage.words()),
        next.map_or("It has no further step.".to_string(), |next| {
            format!("Next it has to be {}.", next.words())
        }),
        format!("If it was {} all the same, scan the part by itself.", step.words()),
    )
}

/// Takes a fact about one part as it comes: moves the part where it can, notes it where it cannot, and writes down
/// the rule that was broken. `own_command`: the step is told by the command that it has of its own.
pub(super) fn tell(deciding: &mut Deciding, asset: &Asset, step: StepKind, own_command: bool) -> Told {
    let at = deciding.at();
    if asset.missing {
        return Told::Known(super::asset::missing(deciding.state, asset));
    }
    if deciding.late() && at < asset.act_at {
        return Told::Notes(Noted { asset: asset.asset.clone(), turn: turn_at(deciding, asset) });
    }
    let note = Told::Notes(Noted { asset: asset.asset.clone(), turn: asset.turn });
    let stays = [
        (asset.retired.is_some(), Code::Retired),
        (asset.in_repair, Code::InRepair),
        (asset.in_load.is_some(), Code::InLoad),
    ];
    if let Some((_, code)) = stays.into_iter().find(|(stays, _)| *stays) {
        deciding.deviates(code);
        return note;
    }
    if asset.stage == Stage::after(step) {
        return Told::Known(why_already(asset, step));
    }
    if back_at_desk(step) {
        return tell_back(deciding, asset, step, note);
    }
    let state = deciding.state;
    let route = state.route_of(asset);
    let Some(to) = route.iter().position(|on| on.step == step).map(|to| to as u32) else {
        deciding.deviates(Code::OutOfOrder);
        return note;
    };
    if to + 1 == asset.next && asset.stage == Stage::Ready {
        return Told::Known(why_already(asset, step));
    }
    let held = step == StepKind::Packed && blocking_hold(state, asset).is_some();
    if held || asset.has_hold(HoldKind::Prion) {
        deciding.deviates(Code::Held);
    }
    if step >= StepKind::Cleaned && single_use_spent(deciding, asset) {
        deciding.deviates(Code::SingleUse);
    }
    let by_load = step == StepKind::Sterilised
        || (step == StepKind::Disinfected
            && route.get(to as usize).is_some_and(|on| on.by() != Some(Method::Manual)));
    if by_load
        || (step == StepKind::Inspected && !own_command)
        || to < asset.next
        || skips_cleaning(route, asset, to as usize)
    {
        deciding.deviates(Code::OutOfOrder);
        return note;
    }
    if to > asset.next {
        deciding.deviates(Code::OutOfOrder);
    }
    Told::Moves(asset.advanced(state, step))
}

pub(super) fn why_already(asset: &Asset, step: StepKind) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} is already {}.", asset.called(), step.words()),
        "An act that is not yet recorded is needed.",
        "Nothing needs to be done.",
    )
}

/// Pre-cleaned at the point of use, or received: moves what is soiled, begins the next turn of what was out or ready.
fn tell_back(deciding: &mut Deciding, asset: &Asset, step: StepKind, note: Told) -> Told {
    let state = deciding.state;
    let moved = match asset.stage {
        Stage::Soiled | Stage::Treated => asset.advanced(state, step),
        Stage::Issued | Stage::InUse => asset.next_turn(state, step),
        Stage::Ready => {
            deciding.deviates(Code::OutOfOrder);
            asset.next_turn(state, step)
        }
        _ => {
            deciding.deviates(Code::OutOfOrder);
            return note;
        }
    };
    let route = match moved.was {
        Some(_) => state.current_route(&asset.model).2,
        None => state.route_of(asset),
    };
    let from = if moved.was.is_some() { 0 } else { asset.next };
    let jumped = route.iter().take(moved.next.saturating_sub(1) as usize).skip(from as usize);
    if jumped.into_iter().any(|on| on.step != step && on.step < step) {
        deciding.deviates(Code::OutOfOrder);
    }
    Told::Moves(moved)
}

/// The turn in whose span the told time lies.
pub(super) fn turn_at(deciding: &Deciding, asset: &Asset) -> u32 {
    turn_then(deciding.asked.turns, asset, deciding.at())
}

/// The turn in whose span a time lies, from when each turn of the part began.
pub(super) fn turn_then(turns: &BTreeMap<Id, Vec<(u32, Time)>>, asset: &Asset, at: Time) -> u32 {
    if at >= asset.turn_began_at {
        return asset.turn;
    }
    let turns = turns.get(&asset.asset);
    let spans = turns.into_iter().flatten().filter(|(_, began)| *began <= at);
    spans.map(|(turn, _)| *turn).next_back().unwrap_or(1)
}
