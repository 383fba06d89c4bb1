//! Seats: a part put into a set, taken out, or replaced in one act.

use serde_json::json;

use super::asset::{AddAsset, AssetAdded, new_asset, opened_pack, retirable};
use super::deciding::Deciding;
use super::event::What;
use super::hold::HoldKind;
use super::id::Id;
use super::model::unknown;
use super::refusal::{Code, Problem};
use super::set::{
    NewModel, NewPart, PutInSet, Replace, Replaced, Seat, Seated, SetState, SheetLine, TakeFromSet,
};
use super::state::Asset;
use super::text::Line;

/// A set and one of its sheet's lines, by name.
fn set_and_line(deciding: &mut Deciding, set: &Id, line: &Line) -> Option<(SetState, SheetLine)> {
    let Some(found) = deciding.state.sets.get(set).cloned() else {
        deciding.against(unknown("set", set.as_str()));
        return None;
    };
    deciding.touches(Some(found.last_at));
    let sheet = deciding.state.sheets.get(&found.count_sheet)?;
    let Some(on_sheet) = sheet.line(line.as_str()).cloned() else {
        let lines: Vec<&str> = sheet.lines.iter().map(|line| line.line.as_str()).collect();
        deciding.against(Problem::new(
            Code::NotOnSheet,
            format!("Count sheet {} has no line \"{}\".", found.count_sheet, line.as_str()),
            format!("One of its lines is needed: {}.", lines.join(", ")),
            "Choose one of these lines.",
        ));
        return None;
    };
    Some(((*found).clone(), on_sheet))
}

/// What stands against a part taking a seat, beside the seat itself.
fn may_sit(deciding: &mut Deciding, asset: &Asset, line: &SheetLine) {
    deciding.general(asset);
    if deciding.state.strangers.get(&asset.asset).is_some_and(|stranger| stranger.is_open()) {
        let problem = Problem::new(
            Code::Held,
            format!("{} is a stranger: what it is, and whose, is not settled.", asset.called()),
            "A part of this house is needed.",
            "Let the lead settle what it is first.",
        );
        deciding.against(problem.even_late());
    }
    let Some(model) = deciding.state.model(&asset.model) else {
        return;
    };
    if !line.takes(model) {
        deciding.against(Problem::new(
            Code::NotFitting,
            format!("{} is a {} of model {}.", asset.called(), model.family.words(), asset.model),
            format!("Line \"{}\" takes {}.", line.line.as_str(), line.wants()),
            "Choose another part, or another line.",
        ));
    }
    if let Some(load) = &asset.in_load {
        deciding.against(super::load::in_load(&asset.called(), load).even_late());
    }
}

/// What stands against a part joining those that lie in a set; `leaves` goes out by the same act.
fn may_join(deciding: &mut Deciding, asset: &Asset, set: &SetState, leaves: Option<&Id>) {
    let state = deciding.state;
    let others =
        state.members(set).filter(|other| Some(&other.asset) != leaves && other.asset != asset.asset);
    let others: Vec<_> = others.cloned().collect();
    let exchanged = super::migration::exchanges(state, asset, set);
    let kept = super::dedicate::joins(state, asset, &others);
    exchanged.into_iter().chain(kept).for_each(|problem| deciding.against(problem));
}

fn sits_elsewhere(asset: &Asset, seat: &Seat) -> Problem {
    Problem::new(
        Code::OutOfOrder,
        format!("{} is in set {}, line \"{}\".", asset.called(), seat.set, seat.line),
        "A part is in one set at a time.",
        format!("Take it from set {} first.", seat.set),
    )
    .even_late()
    .with_remedy(json!({"do": "take_from_set", "set": seat.set, "line": seat.line, "position": seat.position,
                        "asset": asset.asset}))
}

pub(super) fn put_in(deciding: &mut Deciding, it: &PutInSet) -> Option<What> {
    let found = set_and_line(deciding, &it.set, &it.line);
    let asset = deciding.one(it.asset.as_str());
    let ((set, line), asset) = (found?, asset?);
    may_sit(deciding, &asset, &line);
    may_join(deciding, &asset, &set, None);
    if let Some(seat) = &asset.seat {
        if seat.set == it.set && seat.line == it.line.as_str() {
            deciding.against(Problem::new(
                Code::AlreadyDone,
                format!("{} is already in that line, position {}.", asset.called(), seat.position),
                "A part that is not yet there is needed.",
                "Nothing needs to be done.",
            ));
        } else {
            deciding.against(sits_elsewhere(&asset, seat));
        }
    }
    let free = (1..=line.quantity).find(|n| !set.seats.contains_key(&(it.line.0.clone(), *n)));
    let position = it.position.or(free).filter(|n| (1..=line.quantity).contains(n));
    let taken = position.and_then(|n| set.seats.get(&(it.line.0.clone(), n)));
    if position.is_none() || taken.is_some() {
        let by = taken.map_or(String::new(), |by| format!(" by {by}"));
        deciding.against(Problem::new(
            Code::LineFull,
            format!(
                "Line \"{}\" of set {} takes {}, and that place is taken{by}.",
                it.line.0, it.set, line.quantity
            ),
            format!("A free position from 1 to {} is needed.", line.quantity),
            "Take a part out first, or replace it in one act.",
        ));
    }
    let moved = opened_pack(deciding, &asset, true);
    let seat = Seat { set: it.set.clone(), line: it.line.0.clone(), position: position.unwrap_or(1) };
    Some(What::PutInSet(Seated { asset: asset.asset.clone(), seat, moved }))
}

pub(super) fn take_from(deciding: &mut Deciding, it: &TakeFromSet) -> Option<What> {
    let found = set_and_line(deciding, &it.set, &it.line);
    let asset = deciding.one(it.asset.as_str());
    let (_, asset) = (found?, asset?);
    let seat = asset.seat.clone().filter(|seat| {
        seat.set == it.set && seat.line == it.line.0 && it.position.is_none_or(|n| n == seat.position)
    });
    if asset.has_hold(HoldKind::Prion) {
        deciding.general(&asset);
    }
    if let Some(load) = &asset.in_load {
        deciding.against(super::load::in_load(&asset.called(), load).even_late());
    }
    let Some(seat) = seat else {
        deciding.against(Problem::new(
            Code::NotOnSheet,
            format!("{} is not in line \"{}\" of set {}.", asset.called(), it.line.0, it.set),
            "A part that sits there is needed.",
            "Look the part up to see where it is.",
        ));
        return None;
    };
    let moved = opened_pack(deciding, &asset, true);
    Some(What::TakenFromSet(Seated { asset: asset.asset.clone(), seat, moved }))
}

pub(super) fn replace(deciding: &mut Deciding, it: &Replace) -> Option<What> {
    let (set, line) = set_and_line(deciding, &it.set, &it.line)?;
    let at_line = |n: u32| set.seats.get(&(it.line.0.clone(), n)).map(|id| (n, id.clone()));
    let seated = match it.position {
        Some(n) => at_line(n),
        None => (1..=line.quantity).find_map(at_line),
    };
    let Some((position, old)) = seated else {
        deciding.against(unknown("part in that line", it.line.as_str()));
        return None;
    };
    let old = deciding.one(old.as_str())?;
    if old.has_hold(HoldKind::Prion) {
        // Only biomed takes it out of the house, by destruction: a replacement at the desk is no way round.
        deciding.general(&old);
    }
    if let Some(problem) = retirable(deciding.state, &old, it.cause) {
        deciding.against(problem);
    }
    let mut moved = opened_pack(deciding, &old, false);
    let seat = Seat { set: it.set.clone(), line: it.line.0.clone(), position };
    let (new, added) = match &it.new {
        NewPart::Known(scan) => {
            let new = deciding.one(scan.as_str())?;
            may_sit(deciding, &new, &line);
            may_join(deciding, &new, &set, Some(&old.asset));
            if let Some(elsewhere) = &new.seat {
                deciding.against(sits_elsewhere(&new, elsewhere));
            }
            moved.extend(opened_pack(deciding, &new, true));
            (new.asset.clone(), None)
        }
        NewPart::New(new) => {
            let added = added_for(deciding, new, &line)?;
            deciding.made = Some(added.asset.clone());
            (added.asset.clone(), Some(added))
        }
    };
    Some(What::Replaced(Replaced {
        old: old.asset.clone(),
        cause: it.cause,
        failure: it.failure,
        new,
        added,
        seat,
        moved,
    }))
}

fn added_for(deciding: &mut Deciding, new: &NewModel, line: &SheetLine) -> Option<AssetAdded> {
    let ask = AddAsset { mark: new.mark.clone(), lot: new.lot.clone(), ..AddAsset::of(&new.model) };
    let added = new_asset(deciding, &ask)?;
    let model = deciding.state.model(&new.model)?;
    if !line.takes(model) {
        deciding.against(Problem::new(
            Code::NotFitting,
            format!("Model {} is a {}.", new.model, model.family.words()),
            format!("Line \"{}\" takes {}.", line.line.as_str(), line.wants()),
            "Choose another model.",
        ));
    }
    Some(added)
}
