//! Inspections: passed, back to cleaning, or out of use until somebody with the right to it says otherwise.

use super::deciding::Deciding;
use super::event::What;
use super::fact::why_already;
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::model::StepKind;
use super::scan::Mode;
use super::state::{Asset, Stage, State};
use super::step::{
    Inspect, Inspected, InspectedPart, Outcome, at_limit, out_of_order, single_use, single_use_spent,
    skips_cleaning,
};

pub(super) fn inspect(deciding: &mut Deciding, it: &Inspect) -> Option<What> {
    let mut picked = deciding.pick(&it.scan, Mode::Permission);
    let mut special: Vec<(Id, Outcome, Option<String>)> = Vec::new();
    for except in &it.except {
        let Some(asset) = deciding.one(except.asset.as_str()) else {
            continue;
        };
        special.push((asset.asset.clone(), except.outcome, except.note.as_ref().map(|note| note.0.clone())));
        match picked.iter_mut().find(|part| part.asset.asset == asset.asset) {
            // Named by itself, so it has to be acceptable by itself.
            Some(part) => part.alone = true,
            None => deciding.against(super::model::unknown("scanned part", except.asset.as_str())),
        }
    }
    let outcome_of = |asset: &Asset| {
        let own = special.iter().find(|(id, ..)| *id == asset.asset);
        own.map_or((it.outcome(), None), |(_, outcome, note)| (*outcome, note.clone()))
    };
    let parts = deciding.each(picked, |deciding, asset| {
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
            let open = to.is_some_and(|to| !skips_cleaning(route, asset.next, to));
            problems.push(if open { problem.open_to_override() } else { problem });
        }
        if outcome_of(asset).0 == Outcome::Passed {
            problems.extend(at_limit(deciding, asset));
        }
        problems
    });
    let state = deciding.state;
    let mut done = Vec::new();
    for asset in &parts {
        let (outcome, note) = outcome_of(asset);
        done.push(inspected(state, asset, outcome, note));
    }
    let holds = holds_after(deciding, &done);
    let checks = it.checks.clone();
    Some(What::Inspected(Inspected { parts: done, checks, holds }))
}

/// What an outcome makes of one part.
fn inspected(state: &State, asset: &Asset, outcome: Outcome, note: Option<String>) -> InspectedPart {
    let moved = match outcome {
        Outcome::Passed => Some(asset.advanced(state, StepKind::Inspected)),
        Outcome::Reclean => Some(asset.back_before(state, StepKind::Cleaned)),
        Outcome::Repair | Outcome::Retire | Outcome::Hold => None,
    };
    let (asset, turn) = (asset.asset.clone(), asset.turn);
    InspectedPart { asset, turn, outcome, note, moved }
}

/// A part that did not pass is out of use until somebody with the right to it says otherwise.
fn holds_after(deciding: &mut Deciding, parts: &[InspectedPart]) -> Vec<HoldPlaced> {
    let wanted = [
        (Outcome::Repair, HoldKind::Repair, "inspection: to be repaired"),
        (Outcome::Retire, HoldKind::Quality, "inspection: to be retired"),
        (Outcome::Hold, HoldKind::Quality, "inspection not passed"),
    ];
    let mut holds: Vec<HoldPlaced> = Vec::new();
    for (outcome, kind, reason) in wanted {
        let of = parts.iter().filter(|part| part.outcome == outcome);
        let assets: Vec<Id> = of.map(|part| part.asset.clone()).collect();
        let taken: Vec<&Id> = holds.iter().map(|hold| &hold.hold).collect();
        let free = (1..10_000u64).find_map(|n| {
            let id = Id::new(&format!("hold-{:04}", deciding.state.holds.len() as u64 + n))?;
            (!deciding.state.holds.contains_key(&id) && !taken.contains(&&id)).then_some(id)
        });
        if let (false, Some(hold)) = (assets.is_empty(), free) {
            deciding.made.get_or_insert_with(|| hold.clone());
            holds.push(HoldPlaced { hold, kind, reason: reason.into(), assets });
        }
    }
    holds
}
