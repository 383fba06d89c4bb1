//! What would close the line that a case is short of: a part in no set, in another set that nobody counts on, on its way,
//! or in repair.

use std::sync::Arc;

use serde::Serialize;

use super::board_cases::Look;
use super::case::Case;
use super::id::Id;
use super::set::SetState;
use super::state::{Asset, State};
use super::time::{Time, told_day};

/// So many parts are named for a line, the nearest first.
const MOST_NAMED: usize = 3;

/// An essential line of a set that has fewer parts than it needs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Short {
    pub set: Id,
    pub line: String,
    pub lacks: u32,
    /// What would close it, the nearest first; nothing where nothing in the house would.
    pub closes: Vec<Closes>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Closes {
    pub asset: Id,
    pub place: Place,
    /// The set in which it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    pub sentence: String,
}

/// Where a part is that would close a line, the nearest first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Ready, in no set.
    Spare,
    /// In a set that no case at that time counts on.
    OtherSet,
    /// In no set, on its way.
    InTurn,
    InRepair,
}

/// The lines that a case is short of by its set.
pub(super) fn short(look: &Look, case: &Case, set: &Id, is_counted_on: &dyn Fn(&Id) -> bool) -> Vec<Short> {
    let state = look.state;
    let known = state.sets.get(set).zip(look.statuses.get(set));
    let Some((set, status)) = known else { return Vec::new() };
    let lacking = status.lines.iter().filter(|line| line.essential && status.missing.contains(&line.line));
    let told = lacking.map(|line| Short {
        set: set.set.clone(),
        line: line.line.clone(),
        lacks: line.needed.saturating_sub(line.present.len() as u32),
        closes: closes(look, case, set, &line.line, is_counted_on),
    });
    told.collect()
}

fn closes(
    look: &Look,
    case: &Case,
    set: &SetState,
    line: &str,
    is_counted_on: &dyn Fn(&Id) -> bool,
) -> Vec<Closes> {
    let state = look.state;
    let Some(line) = state.sheets.get(&set.count_sheet).and_then(|sheet| sheet.line(line)) else {
        return Vec::new();
    };
    let fits = |asset: &&Arc<Asset>| {
        asset.retired.is_none()
            && !asset.missing
            && asset.holds.iter().all(|held| held.kind == super::hold::HoldKind::Repair)
            && (asset.holds.is_empty() || asset.in_repair)
            && state.model(&asset.model).is_some_and(|model| line.takes(model))
            && state.chooser(asset, case).is_none()
            && state.made_for_another(asset, Some(&case.case)).is_none()
    };
    let mut found: Vec<(Place, &Asset)> = Vec::new();
    for asset in state.assets.values().filter(fits) {
        let seat = asset.seat.as_ref().map(|seat| &seat.set);
        let place = match seat {
            _ if seat == Some(&set.set) && !asset.in_repair => continue,
            _ if asset.in_repair => Place::InRepair,
            Some(_) if asset.stage.is_out() => continue,
            Some(other) if is_counted_on(other) || state.keeper(other, case).is_some() => continue,
            Some(_) => Place::OtherSet,
            None if asset.ready(state, look.now) => Place::Spare,
            None => Place::InTurn,
        };
        found.push((place, asset));
    }
    found.sort_by_key(|(place, asset)| (*place, asset.asset.clone()));
    found.truncate(MOST_NAMED);
    let told = found.into_iter().map(|(place, asset)| Closes {
        asset: asset.asset.clone(),
        place,
        set: asset.seat.as_ref().map(|seat| seat.set.clone()),
        sentence: sentence(state, place, asset, look.now),
    });
    told.collect()
}

fn sentence(state: &State, place: Place, asset: &Asset, now: Time) -> String {
    let called = asset.called();
    match (place, &asset.seat) {
        (Place::OtherSet, Some(seat)) => {
            let how = if asset.ready(state, now) { "ready" } else { asset.stage.words() };
            format!(
                "{called} of set {} would close it: it is {how}, and no case at that time counts on that set.",
                seat.set
            )
        }
        (Place::InRepair, _) => {
            let open = state.repairs.values().filter(|it| it.asset == asset.asset && it.back_at.is_none());
            let told = open.max_by_key(|it| it.sent_at).map(|it| {
                let back = it
                    .expected
                    .map_or_else(String::new, |day| format!(", expected back on {}", told_day(day)));
                format!(" since {}{back}", told_day(it.sent_at.date(state.zone)))
            });
            format!("{called} would close it: it is in repair{}.", told.unwrap_or_default())
        }
        (Place::InTurn, _) => {
            format!("{called} would close it: it is in no set, and {} so far.", asset.stage.words())
        }
        (Place::Spare | Place::OtherSet, _) => {
            format!("{called} would close it: it is ready, and in no set.")
        }
    }
}
