//! Packs opened at a case, and parts that touched the patient: facts, whatever rule they broke.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::case::{Case, Open, Risk, Use};
use super::deciding::Deciding;
use super::event::{Moved, What};
use super::exposure::{Exposed, Exposure, Exposures};
use super::fact::turn_at;
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::load::IndicatorResult;
use super::planning::{known_case, prion_hold};
use super::refusal::{Code, Problem};
use super::scan::{Mode, Picked, broken_pack_of};
use super::state::{Asset, HeldBy, Stage, State};

pub(super) fn open(deciding: &mut Deciding, it: &Open) -> Option<What> {
    if it.indicator == Some(IndicatorResult::Fail) {
        deciding.deviates(Code::IndicatorFailed);
    }
    let mut done =
        expose(deciding, &it.case, Exposure::Opened, |deciding| deciding.pick(&it.scan, Mode::Fact))?;
    done.pack_intact = it.pack_intact;
    done.indicator = it.indicator;
    Some(What::Opened(done))
}

pub(super) fn used(deciding: &mut Deciding, it: &Use) -> Option<What> {
    let mut done =
        expose(deciding, &it.case, Exposure::Used, |deciding| deciding.pick(&it.scan, Mode::Fact))?;
    done.not_used = opened_alone(deciding, &it.case, &done.parts);
    Some(What::Used(done))
}

/// A count that was closed before anybody had told of a use took all that was out for used. The first use that is told
/// afterwards says of the others that they were only opened, as it would have before the count.
fn opened_alone(deciding: &Deciding, case: &Id, told: &[Exposed]) -> Vec<Id> {
    let Some(case) = deciding.state.cases.get(case).filter(|case| deciding.late() && case.closed) else {
        return Vec::new();
    };
    if case.parts.values().any(|part| part.told_used) {
        return Vec::new();
    }
    let taken_for_used =
        case.parts.iter().filter(|(_, part)| part.exposure == Some(Exposure::Used) && !part.told_used);
    let used = |id: &Id| told.iter().any(|part| part.asset == *id && part.exposure == Exposure::Used);
    let others = taken_for_used.filter(|(id, _)| !used(id));
    others.map(|(id, _)| id.clone()).collect()
}

/// How a part is known to have been exposed at a case. That a count took it for used does not stand against somebody who tells
/// it afterwards.
fn known_exposure(deciding: &Deciding, case: &Case, asset: &Id) -> Option<Exposure> {
    let part = case.parts.get(asset)?;
    let inferred = deciding.late() && part.exposure == Some(Exposure::Used) && !part.told_used;
    if inferred { Some(Exposure::Opened) } else { part.exposure }
}

/// What gathers while an opening is looked at.
#[derive(Default)]
struct Told {
    parts: Vec<Exposed>,
    doubted: Vec<Id>,
}

fn expose(
    deciding: &mut Deciding,
    case: &Id,
    exposure: Exposure,
    pick: impl FnOnce(&mut Deciding) -> Vec<Picked>,
) -> Option<Exposures> {
    let case = known_case(deciding, case);
    let picked = pick(deciding);
    let case = case?;
    if !case.is_open() && !deciding.late() {
        deciding.deviates(Code::OutOfOrder);
    }
    let mut told = Told::default();
    let mut left = Vec::new();
    let scanned: Vec<Id> = picked.iter().map(|part| part.asset.asset.clone()).collect();
    // Told late, a set stands for those of its parts that went to the case: it may hold others now.
    let went: BTreeSet<&Id> = case.parts.iter().filter(|(_, part)| part.issued).map(|(id, _)| id).collect();
    let others = deciding.late() && picked.iter().any(|part| !part.alone && went.contains(&part.asset.asset));
    for part in picked {
        let known = known_exposure(deciding, &case, &part.asset.asset);
        if others && !part.alone && !went.contains(&part.asset.asset) {
            let problem = not_there(&part.asset, &case);
            left.push((part.asset, vec![problem]));
        } else if !part.alone && (!part.asset.counts() || known >= Some(exposure)) {
            let problem = not_meant(deciding.state, &part.asset, &case, exposure);
            left.push((part.asset, vec![problem]));
        } else if known >= Some(exposure) {
            deciding.against(not_meant(deciding.state, &part.asset, &case, exposure));
        } else if part.asset.missing {
            deciding.against(super::asset::missing(deciding.state, &part.asset));
        } else {
            one(deciding, &case, &part.asset, exposure, &scanned, &mut told);
        }
    }
    if told.parts.is_empty() {
        left.into_iter().flat_map(|(_, problems)| problems).for_each(|problem| deciding.against(problem));
    } else {
        deciding.leave(left);
    }
    let mut holds = Vec::new();
    if !told.doubted.is_empty()
        && let Some(hold) = deciding.new_hold()
    {
        let reason = format!("case {}: {} although it was not fit for it", case.case, exposure.name());
        holds.push(HoldPlaced {
            hold,
            kind: HoldKind::Quality,
            reason,
            assets: told.doubted,
            notice: None,
            dedicated_to: None,
        });
    }
    if case.risk == Risk::PrionSuspected {
        let parts: Vec<Id> = told.parts.iter().map(|part| part.asset.clone()).collect();
        holds.extend(prion_hold(deciding, &case.case, &parts));
    }
    let (parts, not_used) = (told.parts, Vec::new());
    Some(Exposures { case: case.case, parts, pack_intact: None, indicator: None, holds, not_used })
}

fn not_there(asset: &Asset, case: &Case) -> Problem {
    Problem::new(
        Code::OutOfOrder,
        format!("{} was not issued to case {} with its set.", asset.called(), case.case),
        "A part that was there is needed.",
        "If it was there all the same, scan it by itself.",
    )
}

fn not_meant(state: &State, asset: &Asset, case: &Case, exposure: Exposure) -> Problem {
    // What is recorded already is said first, whatever became of the part since.
    let recorded = case.parts.get(&asset.asset).is_some_and(|part| part.exposure >= Some(exposure));
    if !asset.counts()
        && !recorded
        && let Some(problem) = super::scan::general_problems(state, asset).into_iter().next()
    {
        return problem;
    }
    Problem::new(
        Code::AlreadyDone,
        format!("{} is already recorded as {} at case {}.", asset.called(), exposure.name(), case.case),
        "An act that is not yet recorded is needed.",
        "Nothing needs to be done.",
    )
}

/// One part, and with it its pack where that was still closed.
fn one(
    deciding: &mut Deciding,
    case: &Case,
    asset: &Arc<Asset>,
    exposure: Exposure,
    scanned: &[Id],
    told: &mut Told,
) {
    let fresh = exposed(deciding, case, asset, exposure, told);
    deciding.touches(Some(asset.last_at));
    if !fresh {
        return;
    }
    for mate in broken_pack_of(deciding.state, asset) {
        let apart = scanned.contains(&mate.asset) || told.parts.iter().any(|part| part.asset == mate.asset);
        if !apart {
            exposed(deciding, case, &mate, Exposure::Opened, told);
            deciding.also_opened.push(mate.asset.clone());
        }
    }
}

/// Writes down one exposure; says whether the act opened the part's pack.
fn exposed(deciding: &mut Deciding, case: &Case, asset: &Asset, exposure: Exposure, told: &mut Told) -> bool {
    let known = case.parts.get(&asset.asset);
    let told_already = told.parts.iter().any(|part| part.asset == asset.asset);
    let before = deciding.late() && deciding.at() < asset.act_at;
    // What began its next turn before the count was at the case in the turn before.
    let turn = match known {
        // After its count the case is told of as it was, whatever became of its parts since.
        Some(known) if known.out || before || !case.is_open() => known.turn,
        _ => turn_at(deciding, asset),
    };
    let gone_on = before || turn < asset.turn;
    let (mut moved, mut fresh): (Option<Moved>, bool) = (None, false);
    if before && turn == asset.turn && asset.stage.in_pack() && asset.retired.is_none() && !told_already {
        // It went on as if its pack had stayed closed, and lies in the store or is out again.
        deciding.deviates(Code::OutOfOrder);
        told.doubted.push(asset.asset.clone());
        fresh = true;
    }
    if !gone_on && !told_already {
        let stays = [(asset.retired.is_some(), Code::Retired), (asset.in_repair, Code::InRepair)];
        if let Some((_, code)) = stays.into_iter().find(|(stays, _)| *stays) {
            deciding.deviates(code);
        } else {
            let out_here = known.is_some_and(|known| known.out);
            let doubts = doubts(deciding, asset, out_here);
            // Out at another case it was fit; that it was opened at this one is told beside it.
            // But what was sterilised for one case alone was fit for no other.
            let alone = deciding.state.use_now(asset).is_some();
            let fit =
                doubts.iter().all(|code| *code == Code::OutOfOrder) && asset.stage == Stage::Issued && !alone;
            if !doubts.is_empty() && !fit && asset.stage != Stage::InUse {
                told.doubted.push(asset.asset.clone());
            }
            doubts.into_iter().for_each(|code| deciding.deviates(code));
            fresh = asset.stage.in_pack();
            moved = (asset.stage != Stage::InUse).then(|| asset.in_use());
        }
    }
    let taken_for_used = known.is_some_and(|known| known.exposure == Some(Exposure::Used));
    told.parts.push(Exposed { asset: asset.asset.clone(), turn, exposure, moved, taken_for_used });
    fresh
}

/// Why a part's readiness is in doubt when it is opened or used: each stands beside the fact, and holds the part.
fn doubts(deciding: &Deciding, asset: &Asset, out_here: bool) -> Vec<Code> {
    let (state, at) = (deciding.state, deciding.at());
    let mut codes = Vec::new();
    // What is told late is of before a hold that was placed meanwhile: by a check that failed afterwards, say.
    let by_then = |held: &HeldBy| state.holds.get(&held.hold).is_none_or(|hold| hold.placed_at <= at);
    // What is kept for this patient is theirs.
    let counts = |held: &&HeldBy| !(out_here && held.kind == HoldKind::Dedicated);
    if asset.holds.iter().filter(counts).any(by_then) {
        codes.push(Code::Held);
    }
    if !(out_here && asset.stage.is_out()) {
        codes.push(Code::OutOfOrder);
    }
    if asset.in_load.is_some() {
        codes.push(Code::InLoad);
    }
    if asset.cool_at.is_some_and(|cool| cool > at) {
        codes.push(Code::StillCooling);
    }
    if asset.past_date(state, at) {
        codes.push(Code::PastDate);
    }
    codes
}
