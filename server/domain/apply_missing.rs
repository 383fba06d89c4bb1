//! Makes true what checks and counts found: what failed, what is missing, and what became of the search.

use std::sync::Arc;

use super::apply::{When, change, moves};
use super::apply_case::change_case;
use super::apply_parts::place_hold;
use super::check::{CheckTold, Checked, failed_words};
use super::count::{CountKept, Moment, Tally};
use super::event::{Moved, What};
use super::exposure::{Back, CountClosed};
use super::finding::{Finding, FindingReported, FindingWithdrawn, Severity};
use super::id::Id;
use super::missing::{Lacked, LineClosed, MissingClosed, MissingState, SearchOutcome};
use super::state::State;

pub(super) fn found_out(state: &mut State, when: &When, what: &What) {
    match what {
        What::Checked(it) => checked(state, when, it),
        What::Counted(it) => counted(state, when, it),
        What::MissingReported(it) => lose(state, when, &it.asset, it.case.clone()),
        What::Found(it) => {
            if it.piece {
                change(state, when, &it.asset, |_| {});
                piece_found(state, when, &it.asset);
            } else {
                find(state, when, &it.asset, it.moved.as_ref());
            }
            if it.location.is_some() && !it.piece {
                change(state, when, &it.asset, |asset| asset.location = it.location.clone());
            }
        }
        What::MissingClosed(it) => missing_closed(state, when, it),
        What::LineClosed(it) => line_closed(state, when, it),
        What::FindingReported(it) => found_wrong(state, when, it),
        What::FindingWithdrawn(it) => withdrawn(state, when, it),
        What::PhotoAdded(it) => {
            change(state, when, &it.asset, |_| {});
            if let Some(finding) = state.findings.get_mut(&it.finding) {
                Arc::make_mut(finding).photos.push(it.photo.clone());
                state.changes.findings.insert(it.finding.clone());
            }
        }
        _ => {}
    }
}

fn checked(state: &mut State, when: &When, it: &Checked) {
    let by = when.actor.to_string();
    change_case(state, when, &it.case, |case| {
        case.checks.extend(it.lines.iter().map(|told| CheckTold {
            told: told.clone(),
            at: when.at,
            entry: when.seq,
            by: by.clone(),
            taken_back: false,
        }));
    });
    for line in &it.lines {
        let Some(asset) = &line.asset else { continue };
        change(state, when, asset, |_| {});
        let Some(finding) = &line.finding else { continue };
        let made = Finding {
            finding: finding.clone(),
            asset: asset.clone(),
            turn: line.turn.unwrap_or_default(),
            what: failed_words(line),
            severity: line.severity.unwrap_or(Severity::Stop),
            case: Some(it.case.clone()),
            at: when.at,
            by: by.clone(),
            hold: line.hold.clone(),
            taken_back: false,
            withdrawn_at: None,
            check: Some(line.line.clone()),
            photos: Vec::new(),
        };
        state.findings.insert(finding.clone(), Arc::new(made));
        state.changes.findings.insert(finding.clone());
    }
    it.holds.iter().for_each(|hold| place_hold(state, when, hold));
}

fn counted(state: &mut State, when: &When, it: &Tally) {
    if let Some(case) = &it.case {
        let kept = CountKept {
            moment: it.moment,
            at: when.at,
            entry: when.seq,
            by: when.actor.to_string(),
            counted: u32::try_from(it.counted.len()).unwrap_or(u32::MAX),
            lacked: it.lacked.iter().map(|lacked| lacked.asset.clone()).collect(),
            broken: it.broken.clone(),
            others: it.others.clone(),
        };
        change_case(state, when, case, |case| {
            case.counts.push(kept);
            case.count_in(&it.others, when.at);
            for lacked in &it.lacked {
                if let Some(part) = case.parts.get_mut(&lacked.asset) {
                    part.out = false;
                }
            }
        });
    }
    if let Some(set) = &it.set {
        super::apply_case::touch_set(state, when, set);
    }
    it.lacked.iter().for_each(|lacked| lose(state, when, &lacked.asset, lacked.case.clone()));
    let case = it.case.clone();
    it.broken.iter().for_each(|asset| lose_piece(state, when, asset, case.clone()));
    it.holds.iter().for_each(|hold| place_hold(state, when, hold));
}

/// What a closing count leaves beside its parts: itself, and the lines without parts.
pub(super) fn closing(state: &mut State, when: &When, it: &CountClosed) {
    let of =
        |back: Back| it.parts.iter().filter(move |part| part.back == back).map(|part| part.asset.clone());
    let lacked: Vec<Id> = of(Back::Missing).collect();
    let kept = CountKept {
        moment: Moment::Closing,
        at: when.at,
        entry: when.seq,
        by: when.actor.to_string(),
        counted: u32::try_from(it.parts.len() - lacked.len()).unwrap_or(u32::MAX),
        lacked,
        broken: of(Back::Broken).collect(),
        others: it.others.clone(),
    };
    change_case(state, when, &it.case, |case| {
        case.counts.push(kept);
        case.count_others(&it.others, Some((when.seq, when.at)));
    });
    for asset in &it.pieces {
        lose_piece(state, when, asset, Some(it.case.clone()));
    }
}

fn told_missing(when: &When, asset: &Id, piece: bool) -> MissingState {
    MissingState {
        asset: asset.clone(),
        since: when.at,
        case: None,
        told_by: when.actor.to_string(),
        outcome: None,
        over_at: None,
        piece,
        lacked: None,
    }
}

/// What was reported before stays as it was reported: since when, by whom, and what the search came to.
pub(super) fn lose(state: &mut State, when: &When, asset: &Id, case: Option<Id>) {
    let before = state.missing.get(asset).filter(|known| known.over_at.is_none());
    let gone = state.assets.get(asset).is_some_and(|asset| asset.missing);
    let mut missing = match before.filter(|_| gone) {
        Some(known) => (**known).clone(),
        None => told_missing(when, asset, before.is_some_and(|known| known.piece)),
    };
    missing.case = missing.case.or(case);
    missing.lacked = missing.lacked.or_else(|| state.missing.get(asset).and_then(|known| known.lacked));
    change(state, when, asset, |asset| asset.missing = true);
    state.missing.insert(asset.clone(), Arc::new(missing));
    state.changes.missing.insert(asset.clone());
}

/// A part came back, and a piece of it did not: the piece is looked for as a part is. What was reported before stays.
fn lose_piece(state: &mut State, when: &When, asset: &Id, case: Option<Id>) {
    change(state, when, asset, |_| {});
    let open = state.missing.get(asset).filter(|known| known.over_at.is_none());
    // Another case than the one that lost it is another piece.
    let same = |known: &&Arc<MissingState>| case.is_none() || known.case.is_none() || known.case == case;
    let mut missing = match open.filter(same) {
        Some(known) => MissingState { outcome: known.outcome.filter(|_| known.piece), ..(**known).clone() },
        None => told_missing(when, asset, true),
    };
    missing.piece = true;
    let before = state.missing.get(asset).and_then(|known| known.lacked);
    missing.lacked = before.or(Some(Lacked { at: when.at, entry: when.seq }));
    missing.case = missing.case.or(case);
    state.missing.insert(asset.clone(), Arc::new(missing));
    state.changes.missing.insert(asset.clone());
}

/// In the house again, where it was not retired meanwhile. A piece that was missed before is looked for still.
fn find(state: &mut State, when: &When, asset: &Id, moved: Option<&Moved>) {
    change(state, when, asset, |asset| asset.missing = false);
    moves(state, when, moved.map_or(&[], std::slice::from_ref));
    part_found(state, when, asset);
}

fn part_found(state: &mut State, when: &When, asset: &Id) {
    if let Some(missing) = state.missing.get_mut(asset) {
        let missing = Arc::make_mut(missing);
        if missing.piece {
            // What was named for the part says nothing of its piece.
            missing.outcome = None;
        } else {
            missing.over_at.get_or_insert(when.at);
        }
        state.changes.missing.insert(asset.clone());
    }
}

fn piece_found(state: &mut State, when: &When, asset: &Id) {
    if let Some(missing) = state.missing.get_mut(asset) {
        let missing = Arc::make_mut(missing);
        missing.piece = false;
        missing.over_at.get_or_insert(when.at);
        state.changes.missing.insert(asset.clone());
    }
}

/// The part is gone for good, and nobody looks for it any more. What was missed at a case, the part or a piece of it, is
/// looked for until an outcome is named: it may have stayed in a patient.
pub(super) fn search_over(state: &mut State, when: &When, asset: &Id) {
    let Some(open) = state.missing.get(asset).filter(|known| known.over_at.is_none()) else {
        change(state, when, asset, |asset| asset.missing = false);
        return;
    };
    let (piece, named, at_case) = (open.piece, open.outcome.is_some(), open.case.is_some());
    match (piece, named) {
        (true, false) => {}
        (true, true) => {
            change(state, when, asset, |asset| asset.missing = false);
            piece_found(state, when, asset);
        }
        (false, false) if at_case => {}
        (false, _) => {
            change(state, when, asset, |asset| asset.missing = false);
            part_found(state, when, asset);
        }
    }
}

fn missing_closed(state: &mut State, when: &When, it: &MissingClosed) {
    let gone = state.assets.get(&it.asset).is_some_and(|asset| asset.missing);
    if it.outcome == SearchOutcome::Found {
        match gone {
            true => find(state, when, &it.asset, it.moved.as_ref()),
            false => piece_found(state, when, &it.asset),
        }
        change(state, when, &it.asset, |_| {});
        return;
    }
    change(state, when, &it.asset, |_| {});
    if let Some(missing) = state.missing.get_mut(&it.asset) {
        Arc::make_mut(missing).outcome = Some(it.outcome);
        state.changes.missing.insert(it.asset.clone());
    }
    // One that was retired before it was missed stays missing: it may still lie where it was used.
    let since = state.missing.get(&it.asset).map(|known| known.since);
    let retired = state.assets.get(&it.asset).and_then(|asset| asset.retired.as_ref()).map(|it| it.at);
    if retired.is_some() && (!gone || retired > since) {
        search_over(state, when, &it.asset);
    }
}

fn line_closed(state: &mut State, when: &When, it: &LineClosed) {
    change_case(state, when, &it.case, |case| {
        for known in case.others.iter_mut().filter(|known| known.line == it.line) {
            known.outcome = Some(it.outcome);
            // What was seen to go where it belongs is accounted for, as what was found is.
            if matches!(it.outcome, SearchOutcome::Found | SearchOutcome::DiscardedSeen) {
                known.over_at = Some(when.at);
            }
        }
    });
}

fn found_wrong(state: &mut State, when: &When, it: &FindingReported) {
    change(state, when, &it.asset, |_| {});
    let finding = Finding {
        finding: it.finding.clone(),
        asset: it.asset.clone(),
        turn: it.turn,
        what: it.what.clone(),
        severity: it.severity,
        case: it.case.clone(),
        at: when.at,
        by: when.actor.to_string(),
        hold: it.holds.first().map(|hold| hold.hold.clone()),
        taken_back: false,
        withdrawn_at: None,
        check: None,
        photos: Vec::new(),
    };
    state.findings.insert(it.finding.clone(), Arc::new(finding));
    state.changes.findings.insert(it.finding.clone());
    it.holds.iter().for_each(|hold| place_hold(state, when, hold));
}

fn withdrawn(state: &mut State, when: &When, it: &FindingWithdrawn) {
    change(state, when, &it.asset, |asset| {
        asset.holds.retain(|held| it.hold.as_ref() != Some(&held.hold));
    });
    if let Some(hold) = it.hold.as_ref().and_then(|hold| state.holds.get_mut(hold)) {
        let hold = Arc::make_mut(hold);
        hold.lifted_at = Some(when.at);
        state.changes.holds.insert(hold.hold.clone());
    }
    if let Some(finding) = state.findings.get_mut(&it.finding) {
        let finding = Arc::make_mut(finding);
        finding.taken_back = true;
        finding.withdrawn_at = Some(when.at);
        state.changes.findings.insert(it.finding.clone());
    }
    let Some(case) = &it.case else { return };
    change_case(state, when, case, |case| {
        for told in case.checks.iter_mut().filter(|told| told.told.finding.as_ref() == Some(&it.finding)) {
            told.taken_back = true;
        }
    });
}
