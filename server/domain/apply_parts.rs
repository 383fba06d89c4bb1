//! Makes true what happened to parts, sets and holds.

use std::sync::Arc;

use super::apply::{When, change, moves, touch_all};
use super::asset::{AssetAdded, Cause};
use super::event::What;
use super::hold::{HoldKind, HoldLifted, HoldPlaced, HoldState};
use super::id::Id;
use super::migration::SatIn;
use super::set::{BuildSet, Seat, SetState};
use super::state::{Asset, HeldBy, Named, RetiredAs, Seating, Stage, State, TurnBegan};

pub(super) fn seat(state: &mut State, when: &When, asset: &Id, seat: &Seat, joined: bool) {
    let key = (seat.line.clone(), seat.position);
    if let Some(set) = state.sets.get_mut(&seat.set) {
        let set = Arc::make_mut(set);
        if joined {
            set.seats.insert(key, asset.clone());
        } else {
            set.seats.remove(&key);
        }
        set.last_at = set.last_at.max(when.at);
        state.changes.sets.insert(seat.set.clone());
    }
    change(state, when, asset, |asset| {
        asset.seat = joined.then(|| seat.clone());
        if joined && asset.last_set() != Some(&seat.set) {
            let (at, entry, by) = (when.at, when.seq, when.actor.to_string());
            asset.sat_in.push(SatIn { set: seat.set.clone(), at, entry, by });
        }
    });
    state.changes.seatings.push(Seating {
        seq: when.seq,
        asset: asset.clone(),
        set: seat.set.clone(),
        line: seat.line.clone(),
        position: seat.position,
        joined,
    });
}

pub(super) fn parts(state: &mut State, when: &When, what: &What) {
    match what {
        What::AssetAdded(it) => add(state, when, it),
        What::PutAway(it) => {
            for part in &it.parts {
                change(state, when, &part.asset, |asset| asset.location = Some(it.location.clone()));
            }
            touch_all(state, when, it.noted.iter().map(|noted| &noted.asset));
        }
        What::Retired(it) => {
            it.seat.iter().for_each(|taken| seat(state, when, &it.asset, taken, false));
            retire(state, when, &it.asset, it.cause, it.failure);
        }
        What::SetBuilt(it) => build(state, when, it),
        What::PutInSet(it) => {
            moves(state, when, &it.moved);
            super::apply_case::opened_otherwise(state, when, &it.moved);
            seat(state, when, &it.asset, &it.seat, true);
        }
        What::TakenFromSet(it) => {
            moves(state, when, &it.moved);
            super::apply_case::opened_otherwise(state, when, &it.moved);
            seat(state, when, &it.asset, &it.seat, false);
        }
        What::Replaced(it) => {
            it.added.iter().for_each(|added| add(state, when, added));
            moves(state, when, &it.moved);
            super::apply_case::opened_otherwise(state, when, &it.moved);
            seat(state, when, &it.old, &it.seat, false);
            retire(state, when, &it.old, it.cause, it.failure);
            seat(state, when, &it.new, &it.seat, true);
        }
        What::Dedicated(it) => {
            it.lifted.iter().for_each(|lifted| lift_from(state, when, lifted));
            place_hold(state, when, &it.hold);
        }
        What::HoldPlaced(it) => place_hold(state, when, it),
        What::HoldLifted(it) => lift_hold(state, when, &it.hold, &it.assets),
        _ => {}
    }
}

pub(super) fn build(state: &mut State, when: &When, it: &BuildSet) {
    let set = SetState {
        set: it.set.clone(),
        count_sheet: it.count_sheet.clone(),
        name: it.name.clone(),
        seats: Default::default(),
        last_at: when.at,
    };
    state.sets.insert(it.set.clone(), Arc::new(set));
    state.names.insert(it.set.to_string(), Named::Set(it.set.clone()));
    state.changes.sets.insert(it.set.clone());
}

/// A set that was lent is no longer in the house; nothing is seated in it.
pub(super) fn set_leaves(state: &mut State, when: &When, set: &Id) {
    if let Some(mut left) = state.sets.remove(set) {
        Arc::make_mut(&mut left).last_at = when.at.max(left.last_at);
        state.names.remove(set.as_str());
        state.sets_left.insert(set.clone(), left);
        state.changes.sets.insert(set.clone());
    }
}

pub(super) fn lift_hold(state: &mut State, when: &When, hold: &Id, assets: &[Id]) {
    for id in assets {
        change(state, when, id, |asset| asset.holds.retain(|held| held.hold != *hold));
    }
    if let Some(found) = state.holds.get_mut(hold) {
        Arc::make_mut(found).lifted_at = Some(when.at);
        state.changes.holds.insert(hold.clone());
    }
}

/// Ends a hold for these parts; where no other is held by it any more, for good.
fn lift_from(state: &mut State, when: &When, it: &HoldLifted) {
    for id in &it.assets {
        change(state, when, id, |asset| asset.holds.retain(|held| held.hold != it.hold));
    }
    let holds = |asset: &Arc<Asset>| asset.holds.iter().any(|held| held.hold == it.hold);
    let over = !state.assets.values().any(holds);
    if let Some(hold) = state.holds.get_mut(&it.hold).filter(|_| over) {
        Arc::make_mut(hold).lifted_at = Some(when.at);
        state.changes.holds.insert(it.hold.clone());
    }
}

pub(super) fn add(state: &mut State, when: &When, it: &AssetAdded) {
    let asset = Asset {
        asset: it.asset.clone(),
        mark: it.mark.clone(),
        model: it.model.clone(),
        serial: it.serial.clone(),
        lot: it.lot.clone(),
        acquired: it.acquired,
        prior_cycles: it.prior_cycles,
        prior_uses: it.prior_uses,
        cost_cents: it.cost_cents,
        owner: it.owner,
        seat: None,
        location: None,
        turn: 1,
        turn_began_at: when.at,
        route: it.route.clone(),
        route_version: it.route_version,
        next: 0,
        stage: Stage::Soiled,
        pack: None,
        in_load: None,
        load: None,
        packaging: None,
        sterile_until: None,
        cool_at: None,
        cycles: it.prior_cycles,
        uses: it.prior_uses,
        holds: Vec::new(),
        in_repair: false,
        missing: false,
        retired: None,
        measured: None,
        asked: None,
        supplier: it.supplier.clone(),
        inspected: None,
        added_at: when.at,
        last_at: when.at,
        last_entry: when.seq,
        act_at: when.at,
        soiled_since: None,
        sat_in: Vec::new(),
    };
    state.name_asset(&asset);
    state.assets.insert(it.asset.clone(), Arc::new(asset));
    state.changes.assets.insert(it.asset.clone());
    state.changes.turned.insert(it.asset.clone());
    let began = TurnBegan { seq: when.seq, asset: it.asset.clone(), turn: 1, at: when.at };
    state.changes.turns.insert((it.asset.clone(), 1), began);
    for hold in &it.held {
        if let Some(kind) = state.holds.get(hold).map(|hold| hold.kind) {
            hold_on(state, when, hold, kind, &it.asset);
        }
    }
}

pub(super) fn retire(state: &mut State, when: &When, id: &Id, cause: Cause, failure: bool) {
    change(state, when, id, |asset| {
        asset.retired = Some(RetiredAs { cause, failure, at: when.at });
        asset.pack = None;
    });
    super::apply_missing::search_over(state, when, id);
}

pub(super) fn hold_on(state: &mut State, when: &When, hold: &Id, kind: HoldKind, asset: &Id) {
    change(state, when, asset, |asset| asset.holds.push(HeldBy { hold: hold.clone(), kind }));
}

pub(super) fn place_hold(state: &mut State, when: &When, it: &HoldPlaced) {
    it.assets.iter().for_each(|asset| hold_on(state, when, &it.hold, it.kind, asset));
    let hold = HoldState {
        hold: it.hold.clone(),
        kind: it.kind,
        reason: it.reason.clone(),
        placed_at: when.at,
        placed_by: when.actor.to_string(),
        lifted_at: None,
        notice: it.notice.clone(),
        dedicated_to: it.dedicated_to.clone(),
    };
    state.holds.insert(it.hold.clone(), Arc::new(hold));
    state.changes.holds.insert(it.hold.clone());
}
