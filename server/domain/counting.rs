//! The count that closes a case: everything back, or named as missing.

use std::collections::BTreeSet;

use super::case::{Case, CloseCount, Risk};
use super::deciding::Deciding;
use super::event::What;
use super::exposure::{Back, CasePart, CountClosed, Counted, Exposure};
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::malformed::wrong;
use super::planning::{known_case, prion_hold};
use super::refusal::{Code, Problem};
use super::scan::{Mode, broken_pack_of, resolve};
use super::state::{Asset, Named, Stage};
use super::text::Line;

/// What the closing says of parts by name.
struct Said {
    unopened: BTreeSet<Id>,
    missing: BTreeSet<Id>,
    broken: BTreeSet<Id>,
    /// What was scanned as back, where the count was taken by scanning.
    seen: Option<BTreeSet<Id>>,
}

pub(super) fn close(deciding: &mut Deciding, it: &CloseCount) -> Option<What> {
    let case = known_case(deciding, &it.case);
    let sets_before = deciding.sets.len();
    let unopened = it.unopened.as_ref().map(|scan| deciding.pick(scan, Mode::Fact)).unwrap_or_default();
    deciding.sets.truncate(sets_before);
    let said = Said {
        unopened: unopened
            .iter()
            .filter(|part| part.alone || is_untouched(case.as_ref(), &part.asset.asset))
            .map(|part| part.asset.asset.clone())
            .collect(),
        missing: named(deciding, &it.missing),
        broken: named(deciding, &it.broken),
        seen: it.counted.as_ref().map(|scan| {
            super::count::seen(deciding, scan).into_iter().map(|asset| asset.asset.clone()).collect()
        }),
    };
    not_both(deciding, it, &said.missing);
    let case = case?;
    may_close(deciding, it, &case);
    let sets_there =
        unopened.iter().filter(|part| !part.alone).any(|part| is_out(Some(&case), &part.asset.asset));
    let sets_named = unopened.iter().any(|part| !part.alone);
    if sets_named && !sets_there {
        deciding.deviates(Code::OutOfOrder);
    }
    let any_use = case.parts.values().any(|part| part.told_used);
    let (mut parts, mut pieces) = (Vec::new(), Vec::new());
    for (id, part) in case.parts.iter().filter(|(_, part)| part.out) {
        let Some(asset) = deciding.state.assets.get(id).cloned() else { continue };
        if asset.turn == part.turn && deciding.at() < asset.act_at {
            // Told late, of a time before it was opened: it is still out, and has to be counted. What is
            // told of it as missing is reported all the same.
            deciding.deviates(Code::CountOpen);
            if said.missing.contains(id) {
                let (turn, was_missing) = (part.turn, asset.missing);
                let (back, exposure, moved) = (Back::Missing, None, None);
                parts.push(Counted { asset: id.clone(), turn, back, exposure, moved, was_missing });
            } else if said.broken.contains(id) {
                pieces.push(id.clone());
            }
            continue;
        }
        parts.push(counted(deciding, &case, &asset, &said, any_use));
        deciding.touches(Some(asset.last_at));
    }
    strangers(deciding, &case, &said, &mut parts);
    pieces.extend(parts.iter().filter(|part| part.back == Back::Broken).map(|part| part.asset.clone()));
    let holds = holds(deciding, &case, &parts, &pieces);
    let others = super::count_other::numbered(&it.others);
    Some(What::CountClosed(CountClosed { case: case.case, parts, holds, pieces, others }))
}

/// What stands against closing: it is over, or nothing went out at all.
fn may_close(deciding: &mut Deciding, it: &CloseCount, case: &Case) {
    if !case.is_open() && !case.anything_out() {
        let over = if case.cancelled.is_some() {
            format!("Case {} was cancelled.", it.case)
        } else {
            format!("The count of case {} is already closed.", it.case)
        };
        deciding.against(Problem::new(
            Code::AlreadyDone,
            over,
            "A case with something out is needed.",
            "If a part was missed since, report it as missing by itself.",
        ));
    } else if case.parts.is_empty() && case.others.is_empty() && it.others.is_empty() && !deciding.late() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Nothing has gone out for case {}, so there is nothing to count back.", it.case),
            "A case with something out is needed.",
            "Issue its sets first; if it does not take place, cancel it.",
        ));
    } else if !case.anything_out() {
        deciding.deviates(Code::OutOfOrder);
    }
}

/// What a closing count puts on hold: what came back with a piece missing, and what a suspected prion disease touched.
fn holds(deciding: &mut Deciding, case: &Case, parts: &[Counted], pieces: &[Id]) -> Vec<HoldPlaced> {
    let mut holds = Vec::new();
    if !pieces.is_empty()
        && let Some(hold) = deciding.new_hold()
    {
        let reason = format!("case {}: came back with a piece missing", case.case);
        holds.push(HoldPlaced {
            hold,
            kind: HoldKind::Quality,
            reason,
            assets: pieces.to_vec(),
            notice: None,
            dedicated_to: None,
        });
    }
    if case.risk == Risk::PrionSuspected {
        let exposed = |it: &&Counted| {
            it.exposure.is_some() || case.parts.get(&it.asset).is_some_and(|part| part.exposure.is_some())
        };
        let exposed: Vec<Id> = parts.iter().filter(exposed).map(|it| it.asset.clone()).collect();
        holds.extend(prion_hold(deciding, &case.case, &exposed));
    }
    holds
}

/// A part is not there, or there with a piece missing: by its mark it is the same part as by its id.
fn not_both(deciding: &mut Deciding, it: &CloseCount, missing: &BTreeSet<Id>) {
    for (i, name) in it.broken.iter().enumerate() {
        if matches!(resolve(deciding.state, name.as_str()), Ok(Named::Asset(id)) if missing.contains(&id)) {
            let detail = "found a part that is named as missing too; it is either not there, or there with a piece missing";
            deciding.malformed.push(wrong(format!("/broken/{i}"), detail));
        }
    }
}

/// Out at the case and not opened there: what a set stands for where it is named as unopened.
fn is_untouched(case: Option<&Case>, asset: &Id) -> bool {
    case.and_then(|case| case.parts.get(asset)).is_some_and(|part| part.out && part.exposure.is_none())
}

fn is_out(case: Option<&Case>, asset: &Id) -> bool {
    case.is_some_and(|case| case.parts.get(asset).is_some_and(|part| part.out))
}

fn named(deciding: &mut Deciding, names: &[Line]) -> BTreeSet<Id> {
    super::count::named(deciding, names).into_iter().map(|asset| asset.asset.clone()).collect()
}

fn counted(deciding: &mut Deciding, case: &Case, asset: &Asset, said: &Said, any_use: bool) -> Counted {
    let absent = CasePart::default();
    let part = case.parts.get(&asset.asset).unwrap_or(&absent);
    let id = &asset.asset;
    let closed_pack = broken_pack_of(deciding.state, asset)
        .iter()
        .all(|mate| said.unopened.contains(&mate.asset) || !is_out(Some(case), &mate.asset));
    let untouched =
        part.exposure.is_none() && asset.stage == Stage::Issued && asset.turn == part.turn && closed_pack;
    let not_seen = said.seen.as_ref().is_some_and(|seen| !seen.contains(id));
    let named = said.broken.contains(id) || said.unopened.contains(id);
    // What was missed during the case is not back because nobody says so again.
    let back = if said.missing.contains(id) || asset.missing || (not_seen && !named) {
        Back::Missing
    } else if said.broken.contains(id) {
        Back::Broken
    } else if said.unopened.contains(id) && untouched {
        Back::Unopened
    } else {
        Back::Soiled
    };
    if said.unopened.contains(id) && back != Back::Unopened {
        // It was opened, or it is named twice: it does not go back into the store.
        deciding.deviates(Code::OutOfOrder);
    }
    let inferred = if any_use { Exposure::Opened } else { Exposure::Used };
    let exposure = (back != Back::Unopened && part.exposure < Some(inferred)).then_some(inferred);
    let here = asset.turn == part.turn && asset.stage.is_out();
    let moved = match back {
        // What was sterilised for immediate use is never stored, opened or not: its next turn begins. Nor is what was
        // issued, late, before it was ready.
        Back::Unopened
            if deciding.state.use_now(asset).is_some() || !asset.has_come_round(deciding.state) =>
        {
            Some(asset.next_turn_soiled())
        }
        Back::Unopened => Some(asset.back_ready()),
        Back::Missing => None,
        Back::Soiled | Back::Broken => here.then(|| asset.next_turn_soiled()),
    };
    Counted { asset: id.clone(), turn: part.turn, back, exposure, moved, was_missing: asset.missing }
}

/// Parts that the closing names although they were not out at the case: told all the same.
fn strangers(deciding: &mut Deciding, case: &Case, said: &Said, parts: &mut Vec<Counted>) {
    let out = |id: &&Id| is_out(Some(case), id);
    if said.unopened.iter().chain(said.seen.iter().flatten()).any(|id| !out(&id)) {
        deciding.deviates(Code::OutOfOrder);
    }
    for (names, back) in [(&said.missing, Back::Missing), (&said.broken, Back::Broken)] {
        for id in names.iter().filter(|id| !out(id)) {
            let Some(asset) = deciding.state.assets.get(id).cloned() else { continue };
            if asset.missing {
                deciding.against(super::missing::already(deciding.state, &asset));
                continue;
            }
            deciding.deviates(if asset.retired.is_some() { Code::Retired } else { Code::OutOfOrder });
            if asset.retired.is_none() && !parts.iter().any(|part| part.asset == *id) {
                let turn = case.parts.get(id).map_or(asset.turn, |part| part.turn);
                let (exposure, moved, was_missing) = (None, None, false);
                parts.push(Counted { asset: id.clone(), turn, back, exposure, moved, was_missing });
            }
        }
    }
}
