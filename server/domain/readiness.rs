//! Whether a set is ready: what its count sheet asks for against what its parts are.

use super::id::Id;
use super::set::SetState;
use super::state::{Asset, Stage, State};
use super::time::Time;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SetReadiness {
    Ready,
    ReadyShort,
    InTurn,
    NotReady,
    Held,
    Out,
}

pub struct LineStatus {
    pub line: String,
    pub needed: u32,
    pub present: Vec<Id>,
    pub essential: bool,
    pub pack: String,
}

pub struct Due {
    pub why: &'static str,
    pub limit: u32,
    pub found: u32,
}

pub struct SetStatus {
    pub status: SetReadiness,
    pub lines: Vec<LineStatus>,
    pub missing: Vec<String>,
    pub due: Vec<Due>,
    pub ready_at: Option<Time>,
}

pub fn set_status(state: &State, set: &SetState, _now: Time) -> SetStatus {
    let sheet = state.sheets.get(&set.count_sheet);
    let mut lines = Vec::new();
    let (mut missing, mut essential) = (Vec::new(), false);
    for line in sheet.iter().flat_map(|sheet| &sheet.lines) {
        let seated = set.seats.iter().filter(|((name, _), _)| name == line.line.as_str());
        let present: Vec<Id> = seated.map(|(_, id)| id.clone()).collect();
        if (present.len() as u32) < line.quantity {
            missing.push(line.line.0.clone());
            essential |= line.essential;
        }
        lines.push(LineStatus {
            line: line.line.0.clone(),
            needed: line.quantity,
            present,
            essential: line.essential,
            pack: line.pack.0.clone(),
        });
    }
    let status = if state.members(set).any(|part| matches!(part.stage, Stage::Issued | Stage::InUse)) {
        SetReadiness::Out
    } else if essential {
        SetReadiness::NotReady
    } else if state.members(set).any(|part| !part.holds.is_empty()) {
        SetReadiness::Held
    } else if state.members(set).any(|part| part.stage != Stage::Ready) {
        SetReadiness::InTurn
    } else if missing.is_empty() {
        SetReadiness::Ready
    } else {
        SetReadiness::ReadyShort
    };
    SetStatus { status, lines, missing, due: Vec::new(), ready_at: None }
}

pub fn due(state: &State, asset: &Asset, _now: Time) -> Vec<Due> {
    let limit = state.model(&asset.model).and_then(|model| model.limits.inspect_every_cycles);
    let since = asset.cycles - asset.inspected.as_ref().map_or(0, |last| last.cycles.min(asset.cycles));
    limit
        .filter(|limit| since >= *limit)
        .map(|limit| Due { why: "inspect_every_cycles", limit, found: since })
        .into_iter()
        .collect()
}
