//! Makes true what happened to recalls, and by them to parts and machines.

use std::sync::Arc;

use super::apply::{When, change, change_machine, moves, turn};
use super::apply_parts::{hold_on, place_hold};
use super::event::What;
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::load::LoadStarted;
use super::model::StepKind;
use super::recall::{Answer, Narrowed, Recall, RecallAnswered, RecallNarrowed, Recalled};
use super::state::{Condition, State};

pub(super) fn recalls(state: &mut State, when: &When, what: &What) {
    match what {
        What::Recalled(it) => begin(state, when, it),
        What::RecallNarrowed(it) => narrow(state, when, it),
        What::RecallAnswered(it) => answer(state, when, it),
        What::RecallClosed(it) => {
            let hold = state.recalls.get(&it.recall).map(|recall| recall.hold.clone());
            change_recall(state, &it.recall, |recall| {
                recall.closed_at = Some(when.at);
                recall.closed_by = Some(when.actor.to_string());
                recall.outcome = Some(it.outcome.clone());
            });
            hold.iter().for_each(|hold| over(state, when, hold));
        }
        _ => {}
    }
}

fn change_recall(state: &mut State, id: &Id, change: impl FnOnce(&mut Recall)) {
    if let Some(recall) = state.recalls.get_mut(id) {
        change(Arc::make_mut(recall));
        state.changes.recalls.insert(id.clone());
    }
}

pub(super) fn begin(state: &mut State, when: &When, it: &Recalled) {
    let of_first = it.loads.first().and_then(|load| state.loads.get(load));
    let step = of_first.map_or(StepKind::Sterilised, |load| load.programme.step());
    let recall = Recall {
        recall: it.recall.clone(),
        machine: it.machine.clone(),
        step,
        reason: it.reason.clone(),
        opened_at: when.at,
        opened_by: when.actor.to_string(),
        since: it.since.clone(),
        from: it.from,
        to: it.to,
        loads: it.loads.clone(),
        hold: it.hold.clone(),
        parts: Default::default(),
        cases: Default::default(),
        narrowed: Vec::new(),
        closed_at: None,
        closed_by: None,
        outcome: None,
    };
    state.recalls.insert(it.recall.clone(), Arc::new(recall));
    state.changes.recalls.insert(it.recall.clone());
    let (hold, kind, assets) = (it.hold.clone(), HoldKind::Recall, it.assets.clone());
    let reason = format!("{}: {}", it.recall, it.reason);
    place_hold(state, when, &HoldPlaced { hold, kind, reason, assets, notice: None, dedicated_to: None });
    if it.machine_out {
        let reason = format!("{}: {}", it.recall, it.reason);
        let out = Condition::Out { reason, since: when.at, test: None, load: None, good: None };
        change_machine(state, &it.machine, |machine| {
            if !matches!(machine.condition, Condition::Out { .. }) {
                machine.becomes(out, when.at);
            }
        });
    }
}

/// A load told after the fact that started inside an open recall: it belongs to it, with what still lies in it.
pub(super) fn joins(state: &mut State, when: &When, recall: &Id, it: &LoadStarted) {
    change_recall(state, recall, |recall| recall.loads.push(it.load.clone()));
    let Some(hold) = state.recalls.get(recall).map(|recall| recall.hold.clone()) else { return };
    let inside = it.contents.iter().map(|part| &part.asset).filter(|asset| !it.moved_on.contains(asset));
    inside.for_each(|asset| hold_on(state, when, &hold, HoldKind::Recall, asset));
}

fn narrow(state: &mut State, when: &When, it: &RecallNarrowed) {
    let Some(hold) = state.recalls.get(&it.recall).map(|recall| recall.hold.clone()) else { return };
    change_recall(state, &it.recall, |recall| {
        recall.narrowed.push(Narrowed {
            reason: it.reason.clone(),
            at: when.at,
            by: when.actor.to_string(),
            before: recall.loads.len() as u32,
            after: it.loads.len() as u32,
        });
        recall.loads = it.loads.clone();
    });
    it.lifted.iter().for_each(|asset| lift(state, when, &hold, asset));
}

fn answer(state: &mut State, when: &When, it: &RecallAnswered) {
    let hold = state.recalls.get(&it.recall).map(|recall| recall.hold.clone());
    let answer = Answer {
        outcome: it.outcome.clone(),
        then: it.then,
        entry: when.seq,
        at: when.at,
        by: when.actor.to_string(),
    };
    change_recall(state, &it.recall, |recall| {
        recall.parts.extend(it.assets.iter().map(|asset| (asset.clone(), answer.clone())));
        recall.cases.extend(it.cases.iter().map(|case| (case.clone(), answer.clone())));
    });
    moves(state, when, &it.parts);
    super::apply_case::opened_otherwise(state, when, &it.parts);
    for asset in &it.assets {
        match (&hold, it.then) {
            (Some(hold), Some(_)) => lift(state, when, hold, asset),
            _ => turn(state, when, asset, |_| {}),
        }
    }
}

fn lift(state: &mut State, when: &When, hold: &Id, asset: &Id) {
    change(state, when, asset, |asset| asset.holds.retain(|held| held.hold != *hold));
}

/// Every part is answered for: the hold is over, also on what was retired under it.
fn over(state: &mut State, when: &When, hold: &Id) {
    let held = state.assets.values().filter(|asset| asset.holds.iter().any(|held| held.hold == *hold));
    let held: Vec<Id> = held.map(|asset| asset.asset.clone()).collect();
    held.iter().for_each(|asset| lift(state, when, hold, asset));
    if let Some(found) = state.holds.get_mut(hold) {
        Arc::make_mut(found).lifted_at = Some(when.at);
        state.changes.holds.insert(hold.clone());
    }
}
