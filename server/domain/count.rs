//! Counts beside the one that closes a case: at its opening, and of a set at its receipt and at packing. By scanning
//! or by ticking the sheet; what is not there is missing from that moment on, and loud until an outcome is named.

use std::collections::BTreeSet;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::case::Case;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::missing::SearchOutcome;
use super::model::unknown;
use super::person::Role;
use super::planning::known_case;
use super::refusal::{Code, Problem};
use super::scan::{Mode, resolve};
use super::set::SetState;
use super::state::{Asset, Named};
use super::text::{Line, Scan};
use super::time::Time;

/// More lines without parts than this in one count are a mistake.
const MOST_OTHERS: usize = 100;
/// More pieces than this on one line are a slip of the finger.
const MOST_PIECES: u32 = 999;

/// Lines without parts of their own that every case is asked for.
pub const OTHERS: [&str; 3] = ["mouth guard", "throat pack", "swabs"];

/// A line that has a number; one without says nothing.
pub(super) fn numbered(others: &[OtherLine]) -> Vec<OtherLine> {
    others.iter().filter(|it| it.went_in.is_some() || it.came_out.is_some()).cloned().collect()
}

/// When a count is taken.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
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

/// A line without parts of its own: mouth guard, throat pack, swabs. How many went in, how many came out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OtherLine {
    pub line: Line,
    #[serde(default, rename = "in", skip_serializing_if = "Option::is_none")]
    pub went_in: Option<u32>,
    #[serde(default, rename = "out", skip_serializing_if = "Option::is_none")]
    pub came_out: Option<u32>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
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

/// Each line once, with a number that hands can count.
pub(super) fn others_whole(others: &[OtherLine]) -> Result<(), Malformed> {
    if others.len() > MOST_OTHERS {
        let n = others.len();
        return Err(wrong("/others", format!("found {n} lines; at most {MOST_OTHERS} are needed")));
    }
    let mut seen = BTreeSet::new();
    for (i, it) in others.iter().enumerate() {
        if !seen.insert(&it.line) {
            let detail = format!("found \"{}\" a second time; each line once is needed", it.line.0);
            return Err(wrong(format!("/others/{i}/line"), detail));
        }
        for (name, number) in [("in", it.went_in), ("out", it.came_out)] {
            if let Some(number) = number.filter(|number| *number > MOST_PIECES) {
                let detail = format!("found {number}; 0 to {MOST_PIECES} is needed");
                return Err(wrong(format!("/others/{i}/{name}"), detail));
            }
        }
    }
    Ok(())
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

/// A line without parts at a case: what went in, what came out, and what became of the search for the rest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OtherState {
    pub line: Line,
    #[serde(default, rename = "in", skip_serializing_if = "Option::is_none")]
    pub went_in: Option<u32>,
    #[serde(default, rename = "out", skip_serializing_if = "Option::is_none")]
    pub came_out: Option<u32>,
    /// The closing count that says what came out, and when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_by: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<SearchOutcome>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over_at: Option<Time>,
}

impl OtherState {
    /// How many of it did not come back; none before the closing count, nor after they were found.
    pub fn lacks(&self) -> u32 {
        if self.closed_at.is_none() || self.over_at.is_some() {
            return 0;
        }
        self.went_in.unwrap_or(0).saturating_sub(self.came_out.unwrap_or(0))
    }

    /// More came out than went in: one of the two counts is wrong.
    pub fn more_out(&self) -> bool {
        matches!((self.went_in, self.came_out), (Some(went_in), Some(came_out)) if came_out > went_in)
    }

    /// Not back, and nobody has named an outcome.
    pub fn is_loud(&self) -> bool {
        self.lacks() > 0 && self.outcome.is_none()
    }
}

impl Case {
    /// The lines without parts that did not all come back.
    pub fn not_back(&self) -> impl Iterator<Item = &OtherState> {
        self.others.iter().filter(|it| it.lacks() > 0)
    }

    /// Takes what a count says of lines without parts. A count that closes tells of every line that went in.
    pub(super) fn count_others(&mut self, told: &[OtherLine], closing: Option<(u64, Time)>) {
        for it in told {
            let at = self.others.iter().position(|known| known.line == it.line);
            let at = at.unwrap_or_else(|| {
                let (line, went_in, came_out) = (it.line.clone(), None, None);
                let (closed_by, closed_at, outcome, over_at) = (None, None, None, None);
                let fresh = OtherState { line, went_in, came_out, closed_by, closed_at, outcome, over_at };
                self.others.push(fresh);
                self.others.len() - 1
            });
            if let Some(known) = self.others.get_mut(at) {
                known.went_in = it.went_in.or(known.went_in);
                known.came_out = it.came_out.or(known.came_out);
            }
        }
        if let Some((entry, at)) = closing {
            for known in self.others.iter_mut().filter(|known| known.closed_at.is_none()) {
                (known.closed_by, known.closed_at) = (Some(entry), Some(at));
            }
        }
    }

    /// Takes a closing count of such lines back.
    pub(super) fn uncount_others(&mut self, entry: u64) {
        for known in self.others.iter_mut().filter(|known| known.closed_by == Some(entry)) {
            (known.closed_by, known.closed_at, known.came_out) = (None, None, None);
            (known.outcome, known.over_at) = (None, None);
        }
        self.counts.retain(|kept| kept.entry != entry);
    }
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
        if asset.missing {
            deciding.against(super::missing::already(deciding.state, asset));
        } else if asset.retired.is_some() {
            deciding.against(super::scan::retired(asset));
        } else if !is(&expected, asset) || is(&broken, asset) || seen.as_ref().is_some_and(|s| is(s, asset)) {
            deciding.deviates(Code::OutOfOrder);
        }
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
    let holds = piece_hold(deciding, &broken, of.unwrap_or_default(), it.moment);
    let lacked = lacked.iter().map(|asset| lack(deciding, asset, it.moment)).collect();
    Some(What::Counted(Tally {
        moment: it.moment,
        case: it.case.clone(),
        set: set.map(|set| set.set.clone()),
        counted,
        lacked,
        broken,
        extra,
        others: numbered(&it.others),
        holds,
    }))
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

/// What came with a piece missing is held, wherever that was seen.
fn piece_hold(deciding: &mut Deciding, broken: &[Id], of: &str, moment: Moment) -> Vec<HoldPlaced> {
    if broken.is_empty() {
        return Vec::new();
    }
    let reason = format!("count at {}, {of}: a piece is missing", moment.name());
    let hold = deciding.new_hold();
    let placed =
        hold.map(|hold| HoldPlaced { hold, kind: HoldKind::Quality, reason, assets: broken.to_vec() });
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
