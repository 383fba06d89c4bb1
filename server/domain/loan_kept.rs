//! Loans as they are kept: what came and left with each, what is still here, and by when it goes back.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::asset::Cause;
use super::id::Id;
use super::loan::{CleanedBy, LeftPart, LoanKind, TakenRisk};
use super::request::Told;
use super::state::{Asset, State};
use super::text::Line;
use super::time::{Date, Time};

impl Cause {
    /// It left the house without being at its end.
    pub fn is_parting(self) -> bool {
        matches!(self, Cause::Returned | Cause::Identified)
    }

    /// What leaves goes by acts of its own.
    pub(super) fn may_be_told(self) -> Result<(), super::command::Malformed> {
        match self.is_parting() {
            true => Err(super::command::wrong(
                "/cause",
                "found a cause of what leaves; leave or settle_stranger tells it",
            )),
            false => Ok(()),
        }
    }
}

/// One of the times at which something of a loan left.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Leaving {
    #[serde(flatten)]
    pub told: Told,
    pub parts: Vec<LeftPart>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lacking: Vec<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_decontaminated: Option<String>,
}

/// A loan or a trial, with what became of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Loan {
    pub loan: Id,
    pub kind: LoanKind,
    pub from: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_back: Option<Date>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pieces: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instructions: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condition: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub labelled_decontaminated: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<TakenRisk>,
    pub came: Told,
    /// Each piece that came, and whether it had been here before.
    pub parts: Vec<(Id, bool)>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub leavings: Vec<Leaving>,
}

impl Loan {
    /// Whether this piece has left with this loan.
    pub fn has_left(&self, asset: &Id) -> bool {
        self.leavings.iter().any(|leaving| leaving.parts.iter().any(|part| part.asset == *asset))
    }

    /// The pieces that are still to leave. What was retired here goes nowhere any more; it is told with the certificate.
    pub fn still_here(&self, state: &State) -> Vec<Arc<Asset>> {
        let here = self.parts.iter().filter(|(asset, _)| !self.has_left(asset));
        here.filter_map(|(asset, _)| state.assets.get(asset))
            .filter(|asset| asset.retired.is_none())
            .cloned()
            .collect()
    }

    /// What came with it and was retired here: the lender is to be told.
    pub fn retired_here(&self, state: &State) -> Vec<Arc<Asset>> {
        let rest = self.parts.iter().filter(|(asset, _)| !self.has_left(asset));
        rest.filter_map(|(asset, _)| state.assets.get(asset))
            .filter(|asset| asset.retired.is_some())
            .cloned()
            .collect()
    }

    pub fn is_open(&self, state: &State) -> bool {
        !self.still_here(state).is_empty()
    }

    /// What the last leaving left behind and is still not gone.
    pub fn lacking(&self, state: &State) -> Vec<Arc<Asset>> {
        if self.leavings.is_empty() { Vec::new() } else { self.still_here(state) }
    }

    /// The day by which it goes back: as it was told, else that of its case.
    pub fn due(&self, state: &State) -> Option<Date> {
        let case = || self.case.as_ref().and_then(|case| state.cases.get(case));
        self.due_back.or_else(|| case().map(|case| case.start.date(state.zone)))
    }

    /// The last thing that happened to it.
    pub(super) fn last_at(&self) -> Time {
        self.leavings.last().map_or(self.came.at, |leaving| leaving.told.at.max(self.came.at))
    }

    /// Fewer or more pieces than the lender's count sheet names.
    pub fn differs(&self) -> Option<(u32, u32)> {
        let came = self.parts.len() as u32;
        self.pieces.filter(|pieces| *pieces != came).map(|pieces| (pieces, came))
    }
}

/// An open loan as lists tell it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OpenLoan {
    pub loan: Id,
    pub kind: LoanKind,
    pub from: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    /// The day by which it goes back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due: Option<Date>,
    pub overdue: bool,
    /// It left, and these did not.
    pub lacking: Vec<Id>,
    pub parts: usize,
    pub sentence: String,
}

impl State {
    /// The loans of which something is still to leave, those that are due first standing first.
    pub fn open_loans(&self, now: Time) -> Vec<OpenLoan> {
        let open = self.loans.values().filter(|loan| loan.is_open(self));
        let mut all: Vec<OpenLoan> = open.map(|loan| self.told_open(loan, now)).collect();
        all.sort_by_key(|it| (it.lacking.is_empty(), it.due.is_none(), it.due, it.loan.clone()));
        all
    }

    fn told_open(&self, loan: &Loan, now: Time) -> OpenLoan {
        let due = loan.due(self);
        let overdue = due.is_some_and(|due| due < now.date(self.zone));
        let lacking: Vec<Id> = loan.lacking(self).iter().map(|part| part.asset.clone()).collect();
        let here = loan.still_here(self).len();
        let named: Vec<&str> = lacking.iter().map(Id::as_str).collect();
        let day = due.map(super::time::told_day).unwrap_or_default();
        let sentence = match (lacking.is_empty(), due, overdue) {
            (false, ..) => format!(
                "{} of {} left without {}: find what lacks, or tell the lender.",
                loan.loan,
                loan.from.0,
                named.join(", ")
            ),
            (true, Some(_), true) => {
                format!("{} goes back to {}: it was due on {day}.", loan.loan, loan.from.0)
            }
            (true, Some(_), false) => format!("{} goes back to {} by {day}.", loan.loan, loan.from.0),
            (true, None, _) => format!("{} goes back to {}.", loan.loan, loan.from.0),
        };
        let came = loan.parts.len() as u32;
        let sentence = match loan.pieces.filter(|pieces| *pieces > came) {
            Some(pieces) => format!("{sentence} It came with {came} of {pieces} pieces."),
            None => sentence,
        };
        OpenLoan {
            loan: loan.loan.clone(),
            kind: loan.kind,
            from: loan.from.0.clone(),
            case: loan.case.clone(),
            set: loan.set.clone(),
            due,
            overdue,
            lacking,
            parts: here,
            sentence,
        }
    }

    /// The newest loan with which a part came.
    pub fn loan_of(&self, asset: &Id) -> Option<&Arc<Loan>> {
        let with_it = self.loans.values().filter(|loan| loan.parts.iter().any(|(part, _)| part == asset));
        with_it.max_by_key(|loan| loan.came.entry)
    }

    /// What decontaminated a part in this turn: all that its route has of cleaning and disinfecting lies behind it.
    pub fn cleaned_by(&self, asset: &Asset) -> Option<CleanedBy> {
        use super::model::StepKind;
        let cleans =
            |step: StepKind| matches!(step, StepKind::Cleaned | StepKind::Ultrasonic | StepKind::Disinfected);
        let route = self.route_of(asset);
        let last = route.iter().rposition(|on| cleans(on.step))?;
        if asset.next as usize <= last || asset.stage.is_out() {
            return None;
        }
        let of_turn = |step: StepKind| {
            let loads = self.loads_of.of(&asset.asset).rev().filter(|(_, turn)| *turn == asset.turn);
            let mut loads = loads.filter_map(|(load, _)| self.loads.get(load)).filter(|load| {
                load.status == super::load::LoadStatus::Released && load.programme.step() == step
            });
            loads.next().map(|load| load.load.clone())
        };
        let sterilised = (asset.stage == super::stage::Stage::Ready).then(|| of_turn(StepKind::Sterilised));
        Some(CleanedBy { load: of_turn(StepKind::Disinfected), sterilised: sterilised.flatten() })
    }
}
