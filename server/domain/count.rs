//! Counts beside the one that closes a case: at its opening, and of a set at its receipt and at packing. By scanning
//! or by ticking the sheet; what is not there is missing from that moment on, and loud until an outcome is named.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::Case;
use super::command::{Malformed, wrong};
use super::count_other::{OtherLine, numbered, others_whole};
use super::deciding::Deciding;
use super::event::What;
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::model::unknown;
use super::person::Role;
use super::planning::known_case;
use super::refusal::{Code, Problem};
use super::scan::{Mode, resolve};
use super::set::SetState;
use super::state::{Asset, Named};
use super::text::{Line, Scan};
use super::time::Time;

/// When a count is taken.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Moment {
    Opening,
    Closing,
    Receipt,
    Packing,
}

impl Moment {
    pub fn name(self) -> &'static str {
        match self {
            Moment::Opening => "opening",
            Moment::Closing => "closing",
            Moment::Receipt => "receipt",
            Moment::Packing => "packing",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordCount {
    pub moment: Moment,
    /// At an opening.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    /// At receipt and at packing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    /// What was scanned or ticked as there. Absent: all, but for what is named as missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counted: Option<Scan>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Line>,
    /// There, with a piece missing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub broken: Vec<Line>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<OtherLine>,
}

impl RecordCount {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match (self.moment, &self.case, &self.set) {
            (Moment::Closing, ..) => {
                return Err(wrong("/moment", "found closing; the count that closes a case is close_count"));
            }
            (Moment::Opening, Some(_), None) | (Moment::Receipt | Moment::Packing, None, Some(_)) => {}
            (Moment::Opening, None, _) => return Err(wrong("/case", "missing; an opening is a case's")),
            (Moment::Receipt | Moment::Packing, _, None) => {
                return Err(wrong("/set", "missing; at receipt and packing a set is counted"));
            }
            (Moment::Opening, Some(_), Some(_)) => {
                return Err(wrong("/set", "found it at an opening; the case is counted"));
            }
            (Moment::Receipt | Moment::Packing, Some(_), Some(_)) => {
                return Err(wrong("/case", "found it at receipt or packing; the set is counted"));
            }
        }
        if self.moment != Moment::Opening && !self.others.is_empty() {
            return Err(wrong("/others", "found lines without parts; they are counted at a case"));
        }
        others_whole(&self.others)
    }

    /// Who counts: at the table those who stand there, at packing those of sterile processing, at receipt both.
    pub(super) fn admits(&self, role: Role) -> bool {
        let (table, desk) =
            (matches!(role, Role::Charge | Role::Clinician), matches!(role, Role::Desk | Role::Lead));
        match self.moment {
            Moment::Opening | Moment::Closing => table,
            Moment::Receipt => table || desk,
            Moment::Packing => desk,
        }
    }
}

/// A part that a count did not find, with the case after which it may be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lacked {
    pub asset: Id,
    pub turn: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
}

/// A count as its entry keeps it: what was counted, and what lacked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tally {
    pub moment: Moment,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    pub counted: Vec<Id>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lacked: Vec<Lacked>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub broken: Vec<Id>,
    /// There, although nobody expected it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub extra: Vec<Id>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<OtherLine>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
    /// Those of which a piece lacks, with the case after which it may be, where the count itself is no case's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pieces: Vec<Lacked>,
}

/// A count as its case keeps it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CountKept {
    pub moment: Moment,
    pub at: Time,
    pub entry: u64,
    pub by: String,
    pub counted: u32,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lacked: Vec<Id>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub broken: Vec<Id>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<OtherLine>,
}

/// Parts named by their own scans.
pub(super) fn named(deciding: &mut Deciding, names: &[Line]) -> Vec<Arc<Asset>> {
    let mut all: Vec<Arc<Asset>> = Vec::new();
    for name in names {
        if let Some(asset) = deciding.one(name.as_str())
            && !all.iter().any(|known| known.asset == asset.asset)
        {
            all.push(asset);
        }
    }
    all
}

/// What is scanned in a count. A part that is looked for says so at once.
pub(super) fn seen(deciding: &mut Deciding, scan: &Scan) -> Vec<Arc<Asset>> {
    let picked = deciding.pick(scan, Mode::Fact);
    for part in picked.iter().filter(|part| part.alone && part.asset.missing) {
        deciding.against(super::asset::missing(deciding.state, &part.asset));
    }
    picked.into_iter().filter(|part| part.alone || part.asset.counts()).map(|part| part.asset).collect()
}

/// What a count expects to find.
fn expected(deciding: &Deciding, case: Option<&Case>, set: Option<&SetState>) -> Vec<Arc<Asset>> {
    let state = deciding.state;
    let of_case = case.into_iter().flat_map(|case| case.parts.iter().filter(|(_, part)| part.out));
    let of_case = of_case.filter_map(|(id, _)| state.assets.get(id));
    let of_set = set.into_iter().flat_map(|set| state.members(set)).filter(|asset| asset.counts());
    of_case.chain(of_set).filter(|asset| !asset.missing).cloned().collect()
}

pub(super) fn record(deciding: &mut Deciding, it: &RecordCount) -> Option<What> {
    let case = match &it.case {
        Some(case) => Some(known_case(deciding, case)?),
        None => None,
    };
    let set = match it.set.as_ref().map(|set| (set, resolve(deciding.state, set.as_str()))) {
        Some((_, Ok(Named::Set(set)))) => deciding.state.sets.get(&set).cloned(),
        Some((set, _)) => {
            deciding.against(unknown("set", set.as_str()));
            return None;
        }
        None => None,
    };
    if case.as_ref().is_some_and(|case| case.closed) && !it.others.is_empty() {
        // Kept as it is told; what the closed count lacks is not made good by it.
        deciding.deviates(Code::OutOfOrder);
    }
    let expected = expected(deciding, case.as_ref(), set.as_deref());
    let seen = it.counted.as_ref().map(|scan| seen(deciding, scan));
    let (missing, broken) = (named(deciding, &it.missing), named(deciding, &it.broken));
    if expected.is_empty() && missing.is_empty() && it.others.is_empty() {
        deciding.against(nothing_to_count(it));
    }
    let is = |all: &[Arc<Asset>], asset: &Asset| all.iter().any(|other| other.asset == asset.asset);
    let not_seen = |asset: &Asset| seen.as_ref().is_some_and(|seen| !is(seen, asset)) && !is(&broken, asset);
    let mut lacked = Vec::new();
    for asset in &missing {
        if is(&broken, asset) || seen.as_ref().is_some_and(|seen| is(seen, asset)) {
            let detail = format!(
                "found {}, which is told to be there as well; it is either there, or missing",
                asset.asset
            );
            deciding.malformed.push(wrong("/missing", detail));
        }
        may_lack(deciding, asset, is(&expected, asset));
        lacked.push(asset.clone());
    }
    lacked.extend(expected.iter().filter(|asset| not_seen(asset) && !is(&missing, asset)).cloned());
    let extra: Vec<Id> = seen
        .iter()
        .flatten()
        .chain(&broken)
        .filter(|asset| !is(&expected, asset))
        .map(|asset| asset.asset.clone())
        .collect();
    if !extra.is_empty() {
        deciding.deviates(Code::OutOfOrder);
    }
    let there = |asset: &&Arc<Asset>| !is(&lacked, asset);
    let counted = expected.iter().filter(there).map(|asset| asset.asset.clone()).collect();
    let broken: Vec<Id> = broken.iter().filter(there).map(|asset| asset.asset.clone()).collect();
    let of = case.as_ref().map_or_else(|| it.set.as_ref().map(Id::as_str), |case| Some(case.case.as_str()));
    let state = deciding.state;
    let held = |id: &&Id| state.assets.get(*id).is_none_or(|asset| !super::missing::piece_held(state, asset));
    let to_hold: Vec<Id> = broken.iter().filter(held).cloned().collect();
    let holds = piece_hold(deciding, &to_hold, of.unwrap_or_default(), it.moment);
    let pieces = pieces(deciding, it, &broken);
    Some(What::Counted(Tally {
        moment: it.moment,
        case: it.case.clone(),
        set: set.map(|set| set.set.clone()),
        counted,
        lacked: lacked.iter().map(|asset| lack(deciding, asset, it.moment)).collect(),
        broken,
        extra,
        others: numbered(&it.others),
        holds,
        pieces,
    }))
}

/// What stands against telling that a part is not there.
fn may_lack(deciding: &mut Deciding, asset: &Asset, is_expected: bool) {
    if asset.missing {
        deciding.against(super::missing::already(deciding.state, asset));
    } else if asset.retired.is_some() {
        deciding.against(super::scan::retired(asset));
    } else if !is_expected {
        deciding.deviates(Code::OutOfOrder);
    }
}

fn lack(deciding: &mut Deciding, asset: &Asset, moment: Moment) -> Lacked {
    deciding.touches(Some(asset.last_at));
    // What is not in the pack when it is opened did not stay at this case.
    let case = match moment {
        Moment::Opening => super::missing::case_before(deciding.state, asset),
        Moment::Closing | Moment::Receipt | Moment::Packing => super::missing::case_of(deciding.state, asset),
    };
    Lacked { asset: asset.asset.clone(), turn: super::fact::turn_at(deciding, asset), case }
}

/// A piece that lacks at receipt or at packing may have stayed at the last case of its part.
fn pieces(deciding: &mut Deciding, it: &RecordCount, broken: &[Id]) -> Vec<Lacked> {
    let state = deciding.state;
    let assets = broken.iter().filter(|_| it.case.is_none()).filter_map(|id| state.assets.get(id));
    let all: Vec<Lacked> = assets.map(|asset| lack(deciding, asset, it.moment)).collect();
    all.into_iter().filter(|lacked| lacked.case.is_some()).collect()
}

/// What came with a piece missing is held, wherever that was seen.
fn piece_hold(deciding: &mut Deciding, broken: &[Id], of: &str, moment: Moment) -> Vec<HoldPlaced> {
    if broken.is_empty() {
        return Vec::new();
    }
    let reason = format!("count at {}, {of}: a piece is missing", moment.name());
    let hold = deciding.new_hold();
    let placed = hold.map(|hold| HoldPlaced {
        hold,
        kind: HoldKind::Quality,
        reason,
        assets: broken.to_vec(),
        notice: None,
        dedicated_to: None,
    });
    placed.into_iter().collect()
}

fn nothing_to_count(it: &RecordCount) -> Problem {
    let found = match (&it.case, &it.set) {
        (Some(case), _) => {
            format!("Nothing is out at case {case}: its count is closed, or nothing went to it.")
        }
        (None, set) => {
            let set = set.as_ref().map(Id::as_str).unwrap_or_default();
            format!("Set {set} has no part in the house.")
        }
    };
    Problem::new(
        Code::AlreadyDone,
        found,
        "Something that is there to be counted is needed.",
        "If a part was missed since, report it as missing by itself.",
    )
}
