//! Findings: a defect that somebody reported in ten seconds: which part, what, how bad.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::wrong;
use super::deciding::Deciding;
use super::event::What;
use super::hold::{HoldKind, HoldPlaced};
use super::id::{Id, next_free};
use super::model::unknown;
use super::refusal::{Code, Problem};
use super::state::{Asset, State};
use super::text::{Line, Text, one_scan};
use super::time::Time;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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
    /// Whoever reported it withdrew it within the site's minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn_at: Option<Time>,
    /// The line of the function check that made it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check: Option<Line>,
    /// Pictures, by the SHA-256 of their bytes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub photos: Vec<String>,
}

/// More pictures of one defect are a mistake.
const MOST_PHOTOS: usize = 12;

/// Takes an own report back, soon after it was made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WithdrawFinding {
    pub finding: Id,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FindingWithdrawn {
    pub finding: Id,
    pub asset: Id,
    /// The hold that it placed is lifted with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold: Option<Id>,
    /// The line of the case's function check that waits again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
}

/// A picture that follows a report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AddPhoto {
    pub finding: Id,
    /// The SHA-256 of an attachment that the site keeps.
    pub photo: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PhotoAdded {
    pub finding: Id,
    pub asset: Id,
    pub photo: String,
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
    // A part that was not at the case is reported all the same, and the entry says that it was not.
    let was_there =
        |case: &Id| state.cases.get(case).is_none_or(|case| case.parts.contains_key(&asset.asset));
    if it.case.as_ref().is_some_and(|case| !was_there(case)) {
        deciding.deviates(Code::OutOfOrder);
    }
    let finding = next_free("finding", 4, state.findings.len(), |id| state.findings.contains_key(id))?;
    deciding.made = Some(finding.clone());
    let mut holds = Vec::new();
    if it.severity == Severity::Stop
        && asset.retired.is_none()
        && let Some(hold) = deciding.new_hold()
    {
        let assets = vec![asset.asset.clone()];
        let reason = format!("{finding}: {}", it.what.0);
        holds.push(HoldPlaced {
            hold,
            kind: HoldKind::Quality,
            reason,
            assets,
            notice: None,
            dedicated_to: None,
        });
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

fn known(deciding: &mut Deciding, id: &Id) -> Option<Arc<Finding>> {
    let found = deciding.state.findings.get(id).cloned();
    if found.is_none() {
        deciding.against(unknown("defect report", id.as_str()));
    }
    let last_at =
        found.as_ref().and_then(|it| deciding.state.assets.get(&it.asset)).map(|asset| asset.last_at);
    deciding.touches(last_at);
    found
}

pub(super) fn withdraw(deciding: &mut Deciding, it: &WithdrawFinding) -> Option<What> {
    let found = known(deciding, &it.finding)?;
    let state = deciding.state;
    let minutes = state.policy.undo_minutes;
    let (id, told) = (&found.finding, found.at.told(state.zone));
    if found.taken_back || !state.is_open(&found) {
        let why = if found.taken_back { "is already withdrawn" } else { "was looked into already" };
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{id} {why}."),
            "A report that nobody has looked into is needed.",
            "Nothing needs to be done.",
        ));
    } else if found.by != deciding.asked.actor.code {
        let problem = Problem::new(
            Code::OutOfOrder,
            format!("{id} was reported by {}.", found.by),
            "Only the person who reported it withdraws it.",
            "Ask that person, or let the lead correct the entry, or have the part inspected.",
        );
        deciding.against(problem.even_late());
    } else if deciding.asked.now > found.at.plus_minutes(i64::from(minutes)) {
        let problem = Problem::new(
            Code::OutOfOrder,
            format!("{id} was reported on {told}, more than {minutes} minutes ago."),
            format!("A report is withdrawn within {minutes} minutes, by the site's policy."),
            "Let the lead correct the entry, or have the part inspected.",
        );
        deciding.against(problem.even_late());
    }
    Some(What::FindingWithdrawn(FindingWithdrawn {
        finding: found.finding.clone(),
        asset: found.asset.clone(),
        hold: found.hold.clone(),
        case: found.case.clone().filter(|_| found.check.is_some()),
    }))
}

/// What is said of a document where a picture is needed.
pub const NO_PICTURE: &str = "found a document; a defect report takes pictures: PNG, JPEG or WebP";

pub(super) fn add_photo(deciding: &mut Deciding, it: &AddPhoto) -> Option<What> {
    let found = known(deciding, &it.finding)?;
    let photo = it.photo.as_str();
    match deciding.asked.attachments.get(photo) {
        Some(kind) if kind.is_picture() => {}
        Some(_) => deciding.malformed.push(wrong("/photo", NO_PICTURE)),
        None => deciding.against(unknown("attachment", photo)),
    }
    if found.photos.iter().any(|known| known == photo) {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} has this picture already.", found.finding),
            "Another picture is needed.",
            "Nothing needs to be done.",
        ));
    } else if found.photos.len() >= MOST_PHOTOS {
        deciding.against(Problem::new(
            Code::LineFull,
            format!("{} has {} pictures already.", found.finding, found.photos.len()),
            format!("A report has at most {MOST_PHOTOS} pictures."),
            "Report what else is wrong by itself.",
        ));
    }
    let (finding, asset) = (found.finding.clone(), found.asset.clone());
    Some(What::PhotoAdded(PhotoAdded { finding, asset, photo: photo.to_string() }))
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
