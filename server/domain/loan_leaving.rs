//! What stands against a loan that leaves: it is counted against what came, and it is decontaminated, or says that it is not.

use std::sync::Arc;

use serde_json::json;

use super::apply::{When, moves};
use super::apply_parts;
use super::asset::Cause;
use super::deciding::Deciding;
use super::event::{Moved, What};
use super::id::Id;
use super::loan::{CleanedBy, Leave, LeftPart, LoanLeft};
use super::loan_kept::{Leaving, Loan};
use super::loaning::told;
use super::model::{reason_given, unknown};
use super::refusal::{Code, Problem};
use super::scan::{Mode, broken_pack_of};
use super::state::{Asset, State};

pub(super) fn leave(deciding: &mut Deciding, it: &Leave) -> Option<What> {
    let state = deciding.state;
    let Some(loan) = state.loans.get(&it.loan).cloned() else {
        deciding.against(unknown("loan", it.loan.as_str()));
        return None;
    };
    deciding.touches(Some(loan.last_at()));
    if !loan.is_open(state) {
        let problem = Problem::new(
            Code::AlreadyDone,
            format!("Everything of {} has left.", loan.loan),
            "A loan of which something is still here is needed.",
            "Nothing needs to be done; print its certificate again where it was lost.",
        );
        deciding.against(problem.even_late());
    }
    if deciding.at() < loan.came.at {
        let problem = Problem::new(
            Code::OutOfOrder,
            format!("{} came on {}.", loan.loan, loan.came.at.told(state.zone)),
            "What leaves came before.",
            "Look at the time at which it left.",
        );
        deciding.against(problem.even_late());
    }
    let said = it.not_decontaminated.as_ref();
    said.into_iter().for_each(|why| reason_given(deciding, why));
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let going =
        deciding.each(picked, |deciding, asset| against_leaving(deciding, asset, &loan, said.is_some()));
    if let Some(problem) = promised(state, &loan, deciding) {
        deciding.against(problem.even_late());
    }
    let mut moved: Vec<Moved> = Vec::new();
    for asset in &going {
        for mate in broken_pack_of(state, asset) {
            let goes = going.iter().any(|it| it.asset == mate.asset);
            if !goes && !moved.iter().any(|it| it.asset == mate.asset) {
                deciding.also_opened.push(mate.asset.clone());
                moved.push(mate.back_before_packed(state));
            }
        }
    }
    let parts: Vec<LeftPart> = going.iter().map(|asset| left_part(state, asset)).collect();
    if parts.iter().any(|part| part.by.is_none()) {
        deciding.deviates(Code::OutOfOrder);
    }
    let left_behind = loan.still_here(state);
    let gone = |asset: &Id| parts.iter().any(|part| part.asset == *asset);
    let lacking: Vec<Id> =
        left_behind.iter().filter(|asset| !gone(&asset.asset)).map(|asset| asset.asset.clone()).collect();
    if !lacking.is_empty() {
        deciding.deviates(Code::NotComplete);
    }
    let stays = |set: &Id| {
        let seats = state.sets.get(set).into_iter().flat_map(|set| set.seats.values());
        seats.filter(|asset| !gone(asset)).count() > 0
    };
    let set = loan.set.clone().filter(|set| state.sets.contains_key(set) && !stays(set));
    let not_decontaminated = said.map(|text| text.0.clone());
    Some(What::LoanLeft(LoanLeft { loan: loan.loan.clone(), parts, lacking, not_decontaminated, moved, set }))
}

fn left_part(state: &State, asset: &Arc<Asset>) -> LeftPart {
    LeftPart {
        asset: asset.asset.clone(),
        turn: asset.turn,
        by: state.cleaned_by(asset),
        seat: asset.seat.clone(),
    }
}

/// A set that is kept for a case does not leave before somebody has let it go.
fn promised(state: &State, loan: &Loan, deciding: &Deciding) -> Option<Problem> {
    let set = loan.set.as_ref()?;
    let scanned = deciding.sets.contains(set);
    let kept = state.open_cases().find(|case| case.promised.contains(set)).filter(|_| scanned)?;
    let problem = Problem::new(
        Code::PromisedElsewhere,
        format!("Set {set} is kept for case {}.", kept.case),
        "A set that no case counts on is needed.",
        "Let the charge nurse take the set from the case first.",
    );
    Some(problem.with_remedy(json!({"do": "withdraw_promise", "case": kept.case, "set": set})))
}

fn against_leaving(deciding: &Deciding, asset: &Asset, loan: &Loan, uncleaned: bool) -> Vec<Problem> {
    let state = deciding.state;
    let called = asset.called();
    let mut problems = Vec::new();
    let came = loan.parts.iter().any(|(part, _)| *part == asset.asset);
    if !came || loan.has_left(&asset.asset) {
        let found = match came {
            true => format!("{called} has left with {} already.", loan.loan),
            false => format!("{called} did not come with {}.", loan.loan),
        };
        problems.push(
            Problem::new(
                Code::NotOnSheet,
                found,
                "Parts that came with this loan, and are still here, are needed.",
                "Leave it here, and look for the piece that belongs to the loan.",
            )
            .even_late(),
        );
    }
    problems.extend(asset.in_load.as_ref().map(|load| super::load::in_load(&called, load).even_late()));
    if asset.stage.is_out() {
        let problem = Problem::new(
            Code::OutOfOrder,
            format!("{called} is out at a case."),
            "A part that is back is needed.",
            "Close the count of the case, or record the part as received.",
        );
        problems.push(problem.even_late());
    } else if !uncleaned && state.cleaned_by(asset).is_none() {
        problems.push(Problem::new(
            Code::OutOfOrder,
            format!("{called} is not decontaminated: it is {}.", asset.stage.words()),
            "What leaves the house is decontaminated, or goes with a label that says that it is not.",
            "Wash it first; if it has to go as it is, say why, and its certificate says NOT DECONTAMINATED.",
        ));
    }
    problems
}

pub(super) fn left(state: &mut State, when: &When, it: &LoanLeft) {
    moves(state, when, &it.moved);
    for part in &it.parts {
        part.seat.iter().for_each(|seat| apply_parts::seat(state, when, &part.asset, seat, false));
        apply_parts::retire(state, when, &part.asset, Cause::Returned, false);
    }
    if let Some(set) = &it.set {
        apply_parts::set_leaves(state, when, set);
    }
    if let Some(loan) = state.loans.get_mut(&it.loan) {
        Arc::make_mut(loan).leavings.push(Leaving {
            told: told(when),
            parts: it.parts.clone(),
            lacking: it.lacking.clone(),
            not_decontaminated: it.not_decontaminated.clone(),
        });
        state.changes.loans.insert(it.loan.clone());
    }
}

impl CleanedBy {
    /// "load W-12", "hand".
    pub fn words(&self) -> String {
        self.load.as_ref().map_or("hand".into(), |load| format!("load {load}"))
    }
}
