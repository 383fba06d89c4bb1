//! Count sheets and sets: what a tray must hold, and what it holds.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::json;

use super::asset::{AddAsset, AssetAdded, Cause, name_taken, new_asset, opened_pack, retirable};
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Moved, What};
use super::id::Id;
use super::model::{Family, Model, unknown};
use super::refusal::{Code, Problem};
use super::state::Asset;
use super::text::Line;
use super::time::Time;

/// A pack's name where a line gives none.
pub const TRAY: &str = "tray";

fn tray() -> Line {
    Line(TRAY.into())
}

/// One line of a count sheet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetLine {
    pub line: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub family: Option<Family>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub models: Vec<Id>,
    pub quantity: u32,
    pub essential: bool,
    #[serde(default = "tray")]
    pub pack: Line,
}

impl SheetLine {
    pub fn takes(&self, model: &Model) -> bool {
        let family = self.family.is_none_or(|family| family == model.family);
        family && (self.models.is_empty() || self.models.contains(&model.model))
    }

    /// What the line asks for, in words.
    pub fn wants(&self) -> String {
        let models: Vec<&str> = self.models.iter().map(Id::as_str).collect();
        match (self.family, models.is_empty()) {
            (Some(family), true) => format!("a {}", family.words()),
            (_, false) if models.len() == 1 => models.join(""),
            (_, false) => format!("one of {}", models.join(", ")),
            (None, true) => "any part".into(),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DefineCountSheet {
    pub count_sheet: Id,
    pub name: Line,
    pub lines: Vec<SheetLine>,
}

pub type CountSheet = DefineCountSheet;

impl DefineCountSheet {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.lines.is_empty() || self.lines.len() > 500 {
            return Err(wrong(
                "/lines",
                "found none or more than 500; 1 to 500 lines are needed",
            ));
        }
        for (i, line) in self.lines.iter().enumerate() {
            if self.lines.iter().take(i).any(|earlier| earlier.line == line.line) {
                return Err(wrong(
                    format!("/lines/{i}/line"),
                    "found the name twice; each line has its own",
                ));
            }
            if !(1..=500).contains(&line.quantity) {
                return Err(wrong(
                    format!("/lines/{i}/quantity"),
                    "found none or more than 500; 1 to 500 is needed",
                ));
            }
        }
        Ok(())
    }

    pub fn line(&self, name: &str) -> Option<&SheetLine> {
        self.lines.iter().find(|line| line.line.as_str() == name)
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BuildSet {
    pub set: Id,
    pub count_sheet: Id,
    pub name: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PutInSet {
    pub set: Id,
    pub line: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<u32>,
    pub asset: Line,
}

pub type TakeFromSet = PutInSet;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Replace {
    pub set: Id,
    pub line: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<u32>,
    pub cause: Cause,
    pub failure: bool,
    pub new: NewPart,
}

/// What comes instead: a part in the house, or one that is new.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "found no part; an asset's id, or an object with model, mark? and lot? is needed"
)]
pub enum NewPart {
    Known(Line),
    New(NewModel),
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NewModel {
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetReserve {
    pub count_sheet: Id,
    pub minimum: u32,
}

/// Where in a set a part sits.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Seat {
    pub set: Id,
    pub line: String,
    pub position: u32,
}

/// A physical tray built to a count sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct SetState {
    pub set: Id,
    pub count_sheet: Id,
    pub name: Line,
    /// By line and position. Derived from the parts' own seats.
    pub seats: BTreeMap<(String, u32), Id>,
    pub last_at: Time,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Seated {
    pub asset: Id,
    pub seat: Seat,
    /// Its own pack, opened by the act: back before packing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moved: Vec<Moved>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Replaced {
    pub old: Id,
    pub cause: Cause,
    pub failure: bool,
    pub new: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub added: Option<AssetAdded>,
    pub seat: Seat,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moved: Vec<Moved>,
}

pub(super) fn define_count_sheet(deciding: &mut Deciding, it: &DefineCountSheet) -> Option<What> {
    deciding.touches(None);
    for line in &it.lines {
        for model in line
            .models
            .iter()
            .filter(|model| !deciding.state.models.contains_key(*model))
        {
            deciding.against(unknown("model", model.as_str()));
        }
    }
    Some(What::CountSheetDefined(it.clone()))
}

pub(super) fn build(deciding: &mut Deciding, it: &BuildSet) -> Option<What> {
    deciding.touches(None);
    if !deciding.state.sheets.contains_key(&it.count_sheet) {
        deciding.against(unknown("count sheet", it.count_sheet.as_str()));
    }
    if deciding.state.names.contains_key(it.set.as_str()) {
        deciding.against(name_taken(deciding.state, it.set.as_str()));
    }
    Some(What::SetBuilt(it.clone()))
}

pub(super) fn set_reserve(deciding: &mut Deciding, it: &SetReserve) -> Option<What> {
    deciding.touches(None);
    if !deciding.state.sheets.contains_key(&it.count_sheet) {
        deciding.against(unknown("count sheet", it.count_sheet.as_str()));
    }
    Some(What::ReserveSet(it.clone()))
}

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
            format!(
                "Count sheet {} has no line \"{}\".",
                found.count_sheet,
                line.as_str()
            ),
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
    let Some(model) = deciding.state.model(&asset.model) else {
        return;
    };
    if !line.takes(model) {
        deciding.against(Problem::new(
            Code::NotFitting,
            format!(
                "{} is a {} of model {}.",
                asset.called(),
                model.family.words(),
                asset.model
            ),
            format!("Line \"{}\" takes {}.", line.line.as_str(), line.wants()),
            "Choose another part, or another line.",
        ));
    }
    if let Some(load) = &asset.in_load {
        deciding.against(super::load::in_load(&asset.called(), load));
    }
}

fn sits_elsewhere(asset: &Asset, seat: &Seat) -> Problem {
    Problem::new(
        Code::OutOfOrder,
        format!(
            "{} is in set {}, line \"{}\".",
            asset.called(),
            seat.set,
            seat.line
        ),
        "A part is in one set at a time.",
        format!("Take it from set {} first.", seat.set),
    )
    .with_remedy(
        json!({"do": "take_from_set", "set": seat.set, "line": seat.line, "position": seat.position,
                        "asset": asset.asset}),
    )
}

pub(super) fn put_in(deciding: &mut Deciding, it: &PutInSet) -> Option<What> {
    let found = set_and_line(deciding, &it.set, &it.line);
    let asset = deciding.one(it.asset.as_str());
    let ((set, line), asset) = (found?, asset?);
    may_sit(deciding, &asset, &line);
    if let Some(seat) = &asset.seat {
        if seat.set == it.set && seat.line == it.line.as_str() {
            deciding.against(Problem::new(
                Code::AlreadyDone,
                format!(
                    "{} is already in that line, position {}.",
                    asset.called(),
                    seat.position
                ),
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
    let seat = Seat {
        set: it.set.clone(),
        line: it.line.0.clone(),
        position: position.unwrap_or(1),
    };
    Some(What::PutInSet(Seated {
        asset: asset.asset.clone(),
        seat,
        moved,
    }))
}

pub(super) fn take_from(deciding: &mut Deciding, it: &TakeFromSet) -> Option<What> {
    let found = set_and_line(deciding, &it.set, &it.line);
    let asset = deciding.one(it.asset.as_str());
    let (_, asset) = (found?, asset?);
    let seat = asset.seat.clone().filter(|seat| {
        seat.set == it.set && seat.line == it.line.0 && it.position.is_none_or(|n| n == seat.position)
    });
    if asset.has_hold(super::hold::HoldKind::Prion) {
        deciding.general(&asset);
    }
    if let Some(load) = &asset.in_load {
        deciding.against(super::load::in_load(&asset.called(), load));
    }
    let Some(seat) = seat else {
        deciding.against(Problem::new(
            Code::NotOnSheet,
            format!(
                "{} is not in line \"{}\" of set {}.",
                asset.called(),
                it.line.0,
                it.set
            ),
            "A part that sits there is needed.",
            "Look the part up to see where it is.",
        ));
        return None;
    };
    let moved = opened_pack(deciding, &asset, true);
    Some(What::TakenFromSet(Seated {
        asset: asset.asset.clone(),
        seat,
        moved,
    }))
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
    if let Some(problem) = retirable(&old, it.cause) {
        deciding.against(problem);
    }
    let mut moved = opened_pack(deciding, &old, false);
    let seat = Seat {
        set: it.set.clone(),
        line: it.line.0.clone(),
        position,
    };
    let (new, added) = match &it.new {
        NewPart::Known(scan) => {
            let new = deciding.one(scan.as_str())?;
            may_sit(deciding, &new, &line);
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
    let ask = AddAsset {
        asset: None,
        mark: new.mark.clone(),
        model: new.model.clone(),
        serial: None,
        lot: new.lot.clone(),
        acquired: None,
        prior_cycles: None,
        prior_uses: None,
        cost_cents: None,
        owner: None,
    };
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
