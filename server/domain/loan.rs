//! Sets and parts that are lent to the house or tried in it: what came, with what, from whom and until when; what went back.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asset::{AssetAdded, Owner};
use super::command::{Malformed, wrong};
use super::event::Moved;
use super::hold::HoldPlaced;
use super::id::Id;
use super::set::{BuildSet, Seat};
use super::text::{Line, Scan, Sealed, Text};
use super::time::Date;

/// More parts than this in one arrival are several loans.
const MOST_PARTS: usize = 200;
/// More pieces than this on a lender's count sheet are a slip of the finger.
const MOST_PIECES: u32 = 999;

/// Why it is here.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LoanKind {
    Loan,
    Trial,
}

impl LoanKind {
    pub fn words(self) -> &'static str {
        match self {
            LoanKind::Loan => "loan",
            LoanKind::Trial => "trial",
        }
    }

    pub(super) fn owner(self) -> Owner {
        match self {
            LoanKind::Loan => Owner::Loan,
            LoanKind::Trial => Owner::Trial,
        }
    }
}

/// One piece that came. A piece that was here before is found again by its mark or id, and needs no model.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ArrivingPart {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prior_cycles: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prior_uses: Option<u32>,
    /// Its line in the set that came.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Line>,
    /// What is wrong with it as it came: it is held until somebody has looked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub damage: Option<Line>,
}

/// The set that came, built by the arrival. One that was here before needs its code alone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ArrivingSet {
    pub set: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count_sheet: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<Line>,
}

/// A named risk: who takes it, and why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NamedRisk {
    pub reason: Text,
    /// Who answers for it.
    #[serde(deserialize_with = "super::text::a_person")]
    pub person: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Arrive {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loan: Option<Id>,
    pub kind: LoanKind,
    /// Who lends it.
    pub from: Line,
    /// The case that it is for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    /// When it is to go back at the latest; without one, after its case.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_back: Option<Date>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<ArrivingSet>,
    pub parts: Vec<ArrivingPart>,
    /// How many pieces the lender's count sheet names; without it no count sheet came.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pieces: Option<u32>,
    /// The edition of the maker's instructions that came; without it none came.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instructions: Option<Line>,
    /// How it looks, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condition: Option<Text>,
    /// Whether its label says that it is decontaminated. It is decontaminated here whatever the label says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub labelled_decontaminated: Option<bool>,
    /// What lets it in without the maker's instructions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<NamedRisk>,
}

impl Arrive {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.parts.is_empty() || self.parts.len() > MOST_PARTS {
            let detail = format!("found {} parts; 1 to {MOST_PARTS} are needed", self.parts.len());
            return Err(wrong("/parts", detail));
        }
        if self.case.is_none() && self.due_back.is_none() {
            return Err(wrong("/due_back", "missing; the case that it is for, or the day it is due back"));
        }
        if self.from.is_blank() {
            return Err(wrong("/from", "found a blank; who lends it is needed"));
        }
        if self.pieces.is_some_and(|pieces| !(1..=MOST_PIECES).contains(&pieces)) {
            return Err(wrong("/pieces", format!("found another number; 1 to {MOST_PIECES} is needed")));
        }
        let mut seen: BTreeSet<&str> = BTreeSet::new();
        for (n, part) in self.parts.iter().enumerate() {
            super::mark::may_be_kept(&format!("/parts/{n}"), part.mark.as_ref())?;
            if part.line.is_some() && self.set.is_none() {
                return Err(wrong(format!("/parts/{n}/line"), "found a line without a set that came"));
            }
            let names = part.asset.iter().map(Id::as_str).chain(part.mark.iter().map(Line::as_str));
            for name in names {
                if !seen.insert(name)
                    && part.asset.as_ref().map(Id::as_str) != part.mark.as_ref().map(Line::as_str)
                {
                    let detail = format!("found \"{name}\" a second time; each piece once is needed");
                    return Err(wrong(format!("/parts/{n}"), detail));
                }
            }
            let most = super::upkeep::MOST_AGE;
            for (name, age) in [("prior_cycles", part.prior_cycles), ("prior_uses", part.prior_uses)] {
                if age.is_some_and(|age| age > most) {
                    let detail = format!("found more than {most}; 0 to {most} is needed");
                    return Err(wrong(format!("/parts/{n}/{name}"), detail));
                }
            }
        }
        Ok(())
    }
}

/// A piece that was here before: its next turn begins soiled.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HereAgain {
    pub moved: Moved,
    pub owner: Owner,
    /// The holds whose notices name it since.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub held: Vec<Id>,
}

/// A piece as the event lets it in: new, or here again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ArrivedPart {
    pub asset: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub added: Option<AssetAdded>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub again: Option<HereAgain>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat: Option<Seat>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub damage: Option<String>,
}

/// Who took the risk of instructions that did not come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TakenRisk {
    pub reason: String,
    pub person: Sealed,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Arrived {
    pub loan: Id,
    pub kind: LoanKind,
    pub from: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_back: Option<Date>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<BuildSet>,
    pub parts: Vec<ArrivedPart>,
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
    /// What came damaged is held.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold: Option<HoldPlaced>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Leave {
    pub loan: Id,
    /// What goes, piece by piece or by its set.
    pub scan: Scan,
    /// Why something goes that is not decontaminated; its certificate says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_decontaminated: Option<Text>,
}

/// A part as it left.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LeftPart {
    pub asset: Id,
    pub turn: u32,
    /// What decontaminated it in this turn, where something did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<CleanedBy>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat: Option<Seat>,
}

/// What decontaminated a part: a load, or hands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CleanedBy {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    /// The load that sterilised it since, where one did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sterilised: Option<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoanLeft {
    pub loan: Id,
    pub parts: Vec<LeftPart>,
    /// What came and is not among what left, nor left before: the loan stays open.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lacking: Vec<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_decontaminated: Option<String>,
    /// Packs that were opened by taking parts out of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moved: Vec<Moved>,
    /// Its set is no longer in the house.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
}
