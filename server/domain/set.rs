//! Count sheets and sets: what a tray must hold, and what it holds.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asset::{AssetAdded, Cause, taken};
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Moved, What};
use super::id::Id;
use super::model::{Family, Model, unknown};
use super::state::State;
use super::text::Line;
use super::time::Time;

/// A pack's name where a line gives none.
pub const TRAY: &str = "tray";

fn tray() -> Line {
    Line(TRAY.into())
}

/// One line of a count sheet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DefineCountSheet {
    pub count_sheet: Id,
    pub name: Line,
    pub lines: Vec<SheetLine>,
    /// Its sets must not exchange parts with others: what is in them touches high-risk tissue.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub keeps_parts: bool,
}

pub type CountSheet = DefineCountSheet;

impl DefineCountSheet {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.lines.is_empty() || self.lines.len() > 500 {
            return Err(wrong("/lines", "found none or more than 500; 1 to 500 lines are needed"));
        }
        for (i, line) in self.lines.iter().enumerate() {
            if self.lines.iter().take(i).any(|earlier| earlier.line == line.line) {
                return Err(wrong(format!("/lines/{i}/line"), "found the name twice; each line has its own"));
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BuildSet {
    pub set: Id,
    pub count_sheet: Id,
    pub name: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutInSet {
    pub set: Id,
    pub line: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<u32>,
    pub asset: Line,
}

pub type TakeFromSet = PutInSet;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(
    untagged,
    expecting = "found no part; an asset's id, or an object with model, mark? and lot? is needed"
)]
pub enum NewPart {
    Known(Line),
    New(NewModel),
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewModel {
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
}

impl NewPart {
    pub(super) fn whole(&self) -> Result<(), super::command::Malformed> {
        match self {
            NewPart::Known(_) => Ok(()),
            NewPart::New(it) => super::mark::may_be_kept("/new", it.mark.as_ref()),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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
        for model in line.models.iter().filter(|model| !deciding.state.models.contains_key(*model)) {
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
    if let Some(problem) = taken(deciding.state, it.set.as_str()) {
        deciding.against(problem);
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

impl State {
    /// How many parts of a line of a set are in the house.
    pub fn present(&self, set: &SetState, line: &str) -> u32 {
        let here = self.members(set).filter(|asset| asset.counts());
        here.filter(|asset| asset.seat.as_ref().is_some_and(|seat| seat.line == line)).count() as u32
    }
}
