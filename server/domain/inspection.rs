//! Inspections: passed, back to cleaning, or out of use until somebody with the right to it says otherwise.

use super::deciding::Deciding;
use super::event::{Moved, What};
use super::fact::{Told, stands_for, tell, why_already, why_not_meant};
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::inspection_checks::{self, Checked};
use super::inspection_values::Measured;
use super::model::StepKind;
use super::refusal::{Code, Problem};
use super::scan::{Mode, Picked};
use super::state::{Asset, Stage, State};
use super::step::{
    Inspect, Inspected, InspectedPart, Outcome, at_limit, out_of_order, single_use, single_use_spent,
    skips_cleaning,
};

/// What an inspection says of each part: the same of all, but for those that it names.
struct Said {
    in_general: Outcome,
    special: Vec<(Id, Outcome, Option<String>)>,
    /// What was checked and measured, each of its part.
    checked: Checked,
    /// Parts that did not pass all that was checked, though somebody tells afterwards that they had passed.
    doubted: Vec<Id>,
}

impl Said {
    fn of(&self, asset: &Asset) -> (Outcome, Option<String>) {
        let own = self.special.iter().find(|(id, ..)| *id == asset.asset);
        own.map_or((self.in_general, None), |(_, outcome, note)| (*outcome, note.clone()))
    }

    fn values_of(&self, asset: &Asset) -> Vec<Measured> {
        let own = self.checked.values.iter().filter(|(id, _)| *id == asset.asset);
        own.map(|(_, measured)| measured.clone()).collect()
    }
}

pub(super) fn inspect(deciding: &mut Deciding, it: &Inspect) -> Option<What> {
    let mut picked = deciding.pick(&it.scan, Mode::Permission);
    let mut said = Said {
        in_general: it.outcome(),
        special: Vec::new(),
        checked: Checked::default(),
        doubted: Vec::new(),
    };
    for except in &it.except {
        let Some(asset) = deciding.one(except.asset.as_str()) else {
            continue;
        };
        let note = except.note.as_ref().map(|note| note.0.clone());
        said.special.push((asset.asset.clone(), except.outcome, note));
        match picked.iter_mut().find(|part| part.asset.asset == asset.asset) {
            // Named by itself, so it has to be acceptable by itself.
            Some(part) => part.alone = true,
            None => deciding.against(super::model::unknown("scanned part", except.asset.as_str())),
        }
    }
    said.checked = inspection_checks::checked(deciding, &it.checks, &picked);
    if said.special.iter().any(|(_, outcome, _)| *outcome != Outcome::Passed) {
        // A failed check of nobody's is that of the part that is named as not passed.
        said.checked.failed.retain(|(of, _)| of.is_some());
    }
    let done = if deciding.late() {
        told(deciding, picked, &mut said)
    } else {
        let parts = deciding.each(picked, |deciding, asset| against_inspecting(deciding, asset, &said));
        let state = deciding.state;
        parts.iter().map(|asset| inspected(state, asset, &said)).collect()
    };
    let holds = holds_after(deciding, &done, said.doubted);
    let checks = it.checks.clone();
    Some(What::Inspected(Inspected { parts: done, checks, holds }))
}

fn against_inspecting(deciding: &Deciding, asset: &Asset, said: &Said) -> Vec<Problem> {
    let state = deciding.state;
    let next = state.next_step(asset);
    let mut problems = Vec::new();
    if single_use_spent(deciding, asset) {
        problems.push(single_use(asset));
    }
    if let Some(load) = &asset.in_load {
        problems.push(super::load::in_load(&asset.called(), load));
    }
    if asset.stage == Stage::Inspected {
        problems.push(why_already(asset, StepKind::Inspected));
    } else if next.is_none_or(|next| next.step != StepKind::Inspected) {
        let problem = out_of_order(asset, next, "The route does not allow an inspection now.");
        let route = state.route_of(asset);
        let to = route.iter().position(|on| on.step == StepKind::Inspected);
        let open = to.is_some_and(|to| !skips_cleaning(route, asset, to));
        problems.push(if open { problem.open_to_override() } else { problem });
    }
    if said.of(asset).0 == Outcome::Passed {
        problems.extend(at_limit(deciding, asset));
        problems.extend(inspection_checks::against(state, asset, &said.checked));
    }
    problems
}

/// An inspection told after the fact: recorded in the turn that it belongs to, and moving only what nothing moved
/// since.
fn told(deciding: &mut Deciding, picked: Vec<Picked>, said: &mut Said) -> Vec<InspectedPart> {
    let step = StepKind::Inspected;
    let mut done = Vec::new();
    let mut left = Vec::new();
    for part in picked {
        let asset = &part.asset;
        let later_act = deciding.at() < asset.act_at;
        if !part.alone && !later_act && !stands_for(deciding, asset, step) {
            let problem = why_not_meant(deciding, asset, step);
            left.push((part.asset, vec![problem]));
            continue;
        }
        let (outcome, note) = said.of(asset);
        if outcome == Outcome::Passed {
            doubt(deciding, asset, said);
        }
        let one = |turn, moved: Option<Moved>| InspectedPart {
            asset: asset.asset.clone(),
            turn,
            outcome,
            note: note.clone(),
            moved,
            inspected_before: asset.inspected.clone(),
            asked_before: asset.asked.clone(),
            values: said.values_of(asset),
        };
        match tell(deciding, asset, step, true) {
            Told::Known(problem) => {
                deciding.against(problem);
                continue;
            }
            Told::Notes(noted) => done.push(one(noted.turn, None)),
            Told::Moves(_) => done.push(inspected(deciding.state, asset, said)),
        }
        if let (Outcome::Passed, false, Some(limit)) = (outcome, later_act, at_limit(deciding, asset)) {
            deciding.against(limit);
        }
        deciding.touches(Some(asset.last_at));
    }
    if done.is_empty() {
        left.into_iter().flat_map(|(_, problems)| problems).for_each(|problem| deciding.against(problem));
    } else {
        deciding.leave(left);
    }
    done
}

/// What was checked stands against a part that is told to have passed: a deviation, and the part is in doubt, unless
/// somebody looked at it since and passed it.
fn doubt(deciding: &mut Deciding, asset: &Asset, said: &mut Said) {
    let beyond = inspection_checks::against(deciding.state, asset, &said.checked);
    let since = asset.inspected.as_ref().is_some_and(|last| last.at > deciding.at());
    let doubted = !beyond.is_empty() && !since && asset.retired.is_none();
    beyond.into_iter().for_each(|problem| deciding.against(problem));
    if doubted && deciding.set_aside(Code::LimitReached).is_none() {
        said.doubted.push(asset.asset.clone());
    }
}

/// What an outcome makes of one part.
fn inspected(state: &State, asset: &Asset, said: &Said) -> InspectedPart {
    let (outcome, note) = said.of(asset);
    let moved = match outcome {
        Outcome::Passed => Some(asset.advanced(state, StepKind::Inspected)),
        Outcome::Reclean => Some(asset.back_before(state, StepKind::Cleaned)),
        Outcome::Repair | Outcome::Retire | Outcome::Hold => None,
    };
    InspectedPart {
        asset: asset.asset.clone(),
        turn: asset.turn,
        outcome,
        note,
        moved,
        inspected_before: asset.inspected.clone(),
        asked_before: asset.asked.clone(),
        values: said.values_of(asset),
    }
}
/// A part that did not pass is out of use until somebody with the right to it says otherwise.
fn holds_after(deciding: &mut Deciding, parts: &[InspectedPart], doubted: Vec<Id>) -> Vec<HoldPlaced> {
    let of = |outcome: Outcome| -> Vec<Id> {
        parts.iter().filter(|part| part.outcome == outcome).map(|part| part.asset.clone()).collect()
    };
    let passed = of(Outcome::Passed);
    let doubted = doubted.into_iter().filter(|id| passed.contains(id)).collect();
    let wanted = [
        (of(Outcome::Repair), HoldKind::Repair, "inspection: to be repaired"),
        (of(Outcome::Retire), HoldKind::Quality, "inspection: to be retired"),
        (of(Outcome::Hold), HoldKind::Quality, "inspection not passed"),
        (doubted, HoldKind::Quality, "inspection told late as passed, against its own checks"),
    ];
    let mut holds: Vec<HoldPlaced> = Vec::new();
    for (assets, kind, reason) in wanted {
        if assets.is_empty() {
            continue;
        }
        if let Some(hold) = deciding.new_hold() {
            deciding.made.get_or_insert_with(|| hold.clone());
            holds.push(HoldPlaced {
                hold,
                kind,
                reason: reason.into(),
                assets,
                notice: None,
                dedicated_to: None,
            });
        }
    }
    holds
}
