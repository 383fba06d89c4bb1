//! Findings: a defect that somebody reported in ten seconds: which part, what, how bad.

use serde::{Deserialize, Serialize};

use super::deciding::Deciding;
use super::event::What;
use super::hold::{HoldKind, HoldPlaced};
use super::id::{Id, next_free};
use super::model::unknown;
use super::refusal::Code;
use super::state::{Asset, State};
use super::text::{Line, Text, one_scan};
use super::time::Time;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    Note,
    Watch,
    Stop,
}

impl Severity {
    pub const ALL: [Severity; 3] = [Severity::Note, Severity::Watch, Severity::Stop];

    pub fn name(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::Watch => "watch",
            Severity::Stop => "stop",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Severity::Note => "to be noted",
            Severity::Watch => "to be watched",
            Severity::Stop => "not to be used",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReportFinding {
    /// One part.
    #[serde(deserialize_with = "one_scan")]
    pub scan: Line,
    pub what: Text,
    pub severity: Severity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
}

/// A defect report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    pub finding: Id,
    pub asset: Id,
    pub turn: u32,
    pub what: String,
    pub severity: Severity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    pub at: Time,
    pub by: String,
    /// The hold that it placed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold: Option<Id>,
    /// The report named the wrong part, and was corrected.
    #[serde(default)]
    pub taken_back: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FindingReported {
    pub finding: Id,
    pub asset: Id,
    pub turn: u32,
    pub what: String,
    pub severity: Severity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
}

pub(super) fn report(deciding: &mut Deciding, it: &ReportFinding) -> Option<What> {
    super::model::reason_given(deciding, &it.what);
    if let Some(case) = &it.case
        && !deciding.state.cases.contains_key(case)
    {
        deciding.against(unknown("case", case.as_str()));
    }
    let asset = deciding.one(it.scan.as_str())?;
    if asset.retired.is_some() {
        deciding.deviates(Code::Retired);
    }
    let state = deciding.state;
    let finding = next_free("finding", 4, state.findings.len(), |id| state.findings.contains_key(id))?;
    deciding.made = Some(finding.clone());
    let mut holds = Vec::new();
    if it.severity == Severity::Stop
        && asset.retired.is_none()
        && let Some(hold) = deciding.new_hold()
    {
        let assets = vec![asset.asset.clone()];
        let reason = format!("{finding}: {}", it.what.0);
        holds.push(HoldPlaced { hold, kind: HoldKind::Quality, reason, assets });
    }
    Some(What::FindingReported(FindingReported {
        finding,
        asset: asset.asset.clone(),
        turn: super::fact::turn_at(deciding, &asset),
        what: it.what.0.clone(),
        severity: it.severity,
        case: it.case.clone(),
        holds,
    }))
}

impl State {
    /// Whether nobody has looked into it yet: a stop until its hold is lifted, anything else until the part passes an
    /// inspection or goes to repair.
    pub fn is_open(&self, finding: &Finding) -> bool {
        let in_house = |asset: &&std::sync::Arc<Asset>| asset.retired.is_none() && !finding.taken_back;
        let Some(asset) = self.assets.get(&finding.asset).filter(in_house) else {
            return false;
        };
        match &finding.hold {
            Some(hold) => asset.holds.iter().any(|held| held.hold == *hold),
            None => !asset.in_repair && looked_at(asset).is_none_or(|at| at < finding.at),
        }
    }
}

fn looked_at(asset: &Asset) -> Option<Time> {
    asset.inspected.as_ref().map(|inspected| inspected.at)
}
