//! Takes an entry back: everything is as it was before it, but for the ledger, which has both.

use std::sync::Arc;

use super::apply_case::edit_case;
use super::event::{Moved, What};
use super::exposure::{Back, Counted, Exposed, Exposure};
use super::hold::HoldPlaced;
use super::id::Id;
use super::set::Seat;
use super::shelf::StockUsed;
use super::state::{Asset, HeldBy, Stage, State};

/// Undoes the last entry of everything that it touched; `entry` is its place in the ledger.
pub(super) fn undo(state: &mut State, entry: u64, what: &What) {
    match what {
        What::StepRecorded(it) => {
            it.taken_out.iter().for_each(|out| seat(state, &out.asset, &out.seat, true));
            closed_again(state, entry, &it.parts);
            moves(state, &it.parts);
        }
        What::PackBroken(it) => {
            not_broken(state, entry);
            closed_again(state, entry, &it.parts);
            moves(state, &it.parts);
        }
        What::Inspected(it) => {
            for part in &it.parts {
                moves(state, part.moved.as_slice());
                change(state, &part.asset, |asset| {
                    if part.outcome == super::step::Outcome::Passed {
                        asset.inspected = part.inspected_before.clone();
                    }
                    if part.asked_before.is_some() {
                        asset.asked = part.asked_before.clone();
                    }
                });
            }
            super::inspection_values::forget(state, entry, it);
            it.holds.iter().for_each(|hold| unhold(state, hold));
        }
        What::PutAway(it) => {
            for part in &it.parts {
                change(state, &part.asset, |asset| asset.location = part.was.clone());
            }
        }
        What::PutInSet(it) => {
            seat(state, &it.asset, &it.seat, false);
            change(state, &it.asset, |asset| asset.sat_in.retain(|sat| sat.entry != entry));
            closed_again(state, entry, &it.moved);
            moves(state, &it.moved);
        }
        What::TakenFromSet(it) => {
            seat(state, &it.asset, &it.seat, true);
            closed_again(state, entry, &it.moved);
            moves(state, &it.moved);
        }
        What::HoldPlaced(it) => unhold(state, it),
        What::HoldLifted(it) => hold_again(state, &it.hold, &it.assets),
        What::Issued(_) | What::Opened(_) | What::Used(_) | What::CountClosed(_) => {
            at_case(state, entry, what)
        }
        What::StockUsed(it) => not_used_of_shelf(state, entry, it),
        What::MissingReported(it) => accounted_for(state, &it.asset),
        What::Found(it) => {
            moves(state, it.moved.as_slice());
            change(state, &it.asset, |asset| asset.missing |= !it.piece);
            if let Some(missing) = state.missing.get_mut(&it.asset) {
                let missing = Arc::make_mut(missing);
                missing.over_at = None;
                missing.piece |= it.piece;
                state.changes.missing.insert(it.asset.clone());
            }
        }
        What::FindingReported(it) => {
            it.holds.iter().for_each(|hold| unhold(state, hold));
            if let Some(finding) = state.findings.get_mut(&it.finding) {
                Arc::make_mut(finding).taken_back = true;
                state.changes.findings.insert(it.finding.clone());
            }
        }
        _ => {}
    }
}

/// What a case is said to have used lies on the shelf again, as far as it came from there.
fn not_used_of_shelf(state: &mut State, entry: u64, it: &StockUsed) {
    for item in it.items.iter().filter(|item| item.from_shelf > 0) {
        let Some(shelf) = state.shelf.get_mut(&item.model) else { continue };
        let lot = Arc::make_mut(shelf).lots.iter_mut().find(|lot| lot.lot == item.lot);
        lot.into_iter().for_each(|lot| lot.left = lot.left.saturating_add(item.from_shelf));
        state.changes.shelf.insert(item.model.clone());
    }
    if let Some(stock) = state.case_stock.get_mut(&it.case) {
        Arc::make_mut(stock).used.retain(|used| used.told.entry != entry);
        state.changes.case_stock.insert(it.case.clone());
    }
}

/// The packs that the entry told of count as broken no more.
fn not_broken(state: &mut State, entry: u64) {
    let of_entry = state.broken.values().filter(|it| it.entry == entry).map(|it| it.broken.clone());
    for broken in of_entry.collect::<Vec<_>>() {
        if let Some(it) = state.broken.get_mut(&broken) {
            Arc::make_mut(it).taken_back = true;
        }
        state.changes.broken.insert(broken);
    }
}

/// Takes back what happened at a case.
fn at_case(state: &mut State, entry: u64, what: &What) {
    match what {
        What::Issued(it) => {
            moves(state, &it.parts);
            edit_case(state, &it.case, |case| {
                for part in &it.parts {
                    // What was told of it at this case before it went out stays told.
                    match case.parts.get_mut(&part.asset).filter(|known| known.exposure.is_some()) {
                        Some(known) => (known.issued, known.out) = (false, false),
                        None => {
                            case.parts.remove(&part.asset);
                            came_once(case, &part.asset);
                        }
                    }
                }
                for part in &it.noted {
                    if case.parts.get(&part.asset).is_some_and(|part| part.exposure.is_none()) {
                        case.parts.remove(&part.asset);
                    }
                }
            });
        }
        What::Opened(it) | What::Used(it) => {
            it.holds.iter().for_each(|hold| unhold(state, hold));
            it.parts.iter().for_each(|part| unexposed(state, entry, &it.case, part));
            it.not_used.iter().for_each(|asset| used_after_all(state, &it.case, asset));
        }
        What::CountClosed(it) => {
            it.holds.iter().for_each(|hold| unhold(state, hold));
            it.parts.iter().for_each(|part| uncounted(state, entry, &it.case, part));
            let counted = |id: &Id| it.parts.iter().any(|part| part.asset == *id);
            it.pieces.iter().filter(|id| !counted(id)).for_each(|id| piece_there(state, entry, id));
            edit_case(state, &it.case, |case| {
                case.closed = false;
                case.uncount_others(entry);
            });
        }
        _ => {}
    }
}

/// An act that opened a pack at a case exposed what lay in it; taken back, it did not.
fn closed_again(state: &mut State, entry: u64, moved: &[Moved]) {
    for moved in moved.iter().filter(|moved| moved.from == Stage::Issued && moved.to == Stage::InUse) {
        let at = |case: &&super::case::Case| {
            case.parts.get(&moved.asset).is_some_and(|part| part.since == entry && part.exposure.is_some())
        };
        let case = state.open_cases().find(at).map(|case| case.case.clone());
        if let Some(case) = case {
            take_exposure(state, entry, &case, &moved.asset, Some(Exposure::Opened));
        }
    }
}

/// What was at the case in an earlier turn is what was there last.
fn came_once(case: &mut super::case::Case, asset: &Id) {
    let last = case.earlier.iter().rposition(|it| it.asset == *asset);
    if let (false, Some(last)) = (case.parts.contains_key(asset), last) {
        let earlier = case.earlier.remove(last);
        case.parts.insert(earlier.asset, earlier.part);
    }
}

fn change(state: &mut State, id: &Id, change: impl FnOnce(&mut Asset)) {
    if let Some(asset) = state.assets.get_mut(id) {
        change(Arc::make_mut(asset));
        state.changes.assets.insert(id.clone());
        state.changes.turned.insert(id.clone());
    }
}

/// Each part is where it was; what a move forgot stands in it.
fn moves(state: &mut State, moved: &[Moved]) {
    for moved in moved {
        change(state, &moved.asset, |asset| {
            asset.stage = moved.from;
            asset.next = moved.from_next;
            if let Some(was) = &moved.was {
                asset.turn = was.turn;
                asset.turn_began_at = was.turn_began_at;
                asset.route = was.route.clone();
                asset.route_version = was.route_version;
                asset.pack = was.pack.clone();
                asset.packaging = was.packaging.clone();
                asset.load = was.load.clone();
                asset.in_load = was.in_load.clone();
                asset.sterile_until = was.sterile_until;
                asset.cool_at = was.cool_at;
            } else if !moved.from.in_pack() {
                asset.pack = None;
                asset.packaging = None;
                asset.sterile_until = None;
            }
        });
    }
}

fn seat(state: &mut State, asset: &Id, seat: &Seat, joined: bool) {
    if let Some(set) = state.sets.get_mut(&seat.set) {
        let set = Arc::make_mut(set);
        let key = (seat.line.clone(), seat.position);
        if joined {
            set.seats.insert(key, asset.clone());
        } else {
            set.seats.remove(&key);
        }
        state.changes.sets.insert(seat.set.clone());
    }
    change(state, asset, |asset| asset.seat = joined.then(|| seat.clone()));
}

fn unhold(state: &mut State, it: &HoldPlaced) {
    for id in &it.assets {
        change(state, id, |asset| asset.holds.retain(|held| held.hold != it.hold));
    }
    if let Some(hold) = state.holds.get_mut(&it.hold) {
        let hold = Arc::make_mut(hold);
        hold.lifted_at = Some(hold.placed_at);
        state.changes.holds.insert(it.hold.clone());
    }
}

fn hold_again(state: &mut State, id: &Id, assets: &[Id]) {
    let Some(hold) = state.holds.get_mut(id) else { return };
    let hold = Arc::make_mut(hold);
    hold.lifted_at = None;
    let held = HeldBy { hold: id.clone(), kind: hold.kind };
    state.changes.holds.insert(id.clone());
    for asset in assets {
        change(state, asset, |asset| asset.holds.push(held.clone()));
    }
}

/// The exposure before this entry: none where the entry was the first to say so.
fn before(since: u64, entry: u64) -> Option<Exposure> {
    (since != entry).then_some(Exposure::Opened)
}

/// Without the use that somebody told, the count takes what was out for used again.
fn used_after_all(state: &mut State, case: &Id, asset: &Id) {
    let mut counts = false;
    edit_case(state, case, |case| {
        counts = !case.used_earlier(asset);
        if let Some(part) = case.parts.get_mut(asset) {
            counts &= part.exposure != Some(Exposure::Used);
            part.exposure = Some(Exposure::Used);
        }
    });
    change(state, asset, |asset| asset.uses += u32::from(counts));
}

fn unexposed(state: &mut State, entry: u64, case: &Id, it: &Exposed) {
    moves(state, it.moved.as_slice());
    if it.taken_for_used {
        edit_case(state, case, |case| {
            case.parts.get_mut(&it.asset).into_iter().for_each(|part| part.told_used = false);
        });
        return;
    }
    take_exposure(state, entry, case, &it.asset, Some(it.exposure));
    let told = it.exposure == Exposure::Used;
    edit_case(state, case, |case| {
        let Some(part) = case.parts.get_mut(&it.asset) else { return };
        part.told_used &= !told;
        if part.exposure.is_none() && !part.issued {
            case.parts.remove(&it.asset);
            came_once(case, &it.asset);
        }
    });
}

/// Takes back an exposure that the entry said, in the case, in the index and in the part's wear.
fn take_exposure(state: &mut State, entry: u64, case: &Id, asset: &Id, said: Option<Exposure>) {
    let Some(said) = said else { return };
    let mut unused = false;
    let mut gone = false;
    edit_case(state, case, |case| {
        let Some(part) = case.parts.get_mut(asset) else { return };
        let was = before(part.since, entry);
        unused = said == Exposure::Used && part.exposure == Some(Exposure::Used);
        gone = was.is_none();
        part.exposure = was;
        part.since = if gone { 0 } else { part.since };
    });
    if gone && let Some(cases) = state.cases_of.get_mut(asset) {
        Arc::make_mut(cases).retain(|at| at != case);
    }
    if gone && state.cases_of.get(asset).is_some_and(|cases| cases.is_empty()) {
        state.cases_of.remove(asset);
    }
    change(state, asset, |asset| asset.uses = asset.uses.saturating_sub(u32::from(unused)));
}

fn uncounted(state: &mut State, entry: u64, case: &Id, it: &Counted) {
    moves(state, it.moved.as_slice());
    take_exposure(state, entry, case, &it.asset, it.exposure);
    edit_case(state, case, |case| {
        if let Some(part) = case.parts.get_mut(&it.asset) {
            part.out = true;
            part.missing = false;
        }
    });
    match it.back {
        Back::Missing if it.was_missing => {}
        Back::Missing => accounted_for(state, &it.asset),
        Back::Broken => piece_there(state, entry, &it.asset),
        Back::Unopened | Back::Soiled => {}
    }
}

fn piece_there(state: &mut State, entry: u64, asset: &Id) {
    if let Some(missing) = state.missing.get_mut(asset) {
        let missing = Arc::make_mut(missing);
        missing.piece = false;
        missing.lacked = missing.lacked.filter(|lacked| lacked.entry != entry);
    }
    accounted_for(state, asset);
}

fn accounted_for(state: &mut State, asset: &Id) {
    change(state, asset, |asset| asset.missing = false);
    if let Some(missing) = state.missing.get_mut(asset) {
        let missing = Arc::make_mut(missing);
        if !missing.piece {
            missing.over_at = Some(missing.since);
        }
        state.changes.missing.insert(asset.clone());
    }
}
