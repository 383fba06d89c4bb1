//! Lines without parts of their own: suction catheters, mouth guards, anti-fog, swabs, and implants that come sterile. They are kept
//! by model and lot, counted in and out, and used at a case by lot or by their own number.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::id::Id;
use super::request::Told;
use super::set::SheetLine;
use super::state::State;
use super::text::{Line, is_blank};
use super::time::{Date, Time};

/// More pieces than this in one act are a slip of the finger.
pub const MOST_PIECES: u32 = 100_000;
/// More kinds than this at one case are a mistake.
const MOST_ITEMS: usize = 100;
/// No lot is good for longer than this from now on; a later date was misread.
pub(super) const MOST_YEARS: u32 = 30;
/// What expires within these days is told before it does. Common practice.
pub const EXPIRES_SOON_DAYS: i64 = 30;

/// What a box or a pack says of what is in it, as it was scanned or typed.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Boxed {
    /// The mark on it (GS1 or HIBC): product, lot, date and number are read from it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scan: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    /// The last good day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Date>,
}

macro_rules! boxed {
    ($of:ty) => {
        impl $of {
            /// What it says of itself.
            pub fn boxed(&self) -> Boxed {
                Boxed {
                    scan: self.scan.clone(),
                    model: self.model.clone(),
                    lot: self.lot.clone(),
                    expires: self.expires,
                }
            }
        }
    };
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StockIn {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scan: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Date>,
    /// How many pieces.
    pub quantity: u32,
}
boxed!(StockIn);

/// Why something goes from the shelf that no case used.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StockWhy {
    Expired,
    Damaged,
    Recalled,
    Returned,
    /// The shelf was counted, and held fewer.
    Counted,
}

impl StockWhy {
    pub const ALL: [StockWhy; 5] =
        [StockWhy::Expired, StockWhy::Damaged, StockWhy::Recalled, StockWhy::Returned, StockWhy::Counted];

    pub fn name(self) -> &'static str {
        match self {
            StockWhy::Expired => "expired",
            StockWhy::Damaged => "damaged",
            StockWhy::Recalled => "recalled",
            StockWhy::Returned => "returned",
            StockWhy::Counted => "counted",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            StockWhy::Expired => "past its date",
            StockWhy::Damaged => "damaged",
            StockWhy::Recalled => "recalled",
            StockWhy::Returned => "given back",
            StockWhy::Counted => "fewer on the shelf than recorded",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StockOut {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scan: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Date>,
    pub quantity: u32,
    pub why: StockWhy,
}
boxed!(StockOut);

/// What was used of one lot, or one implant by its number.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StockUse {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scan: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Date>,
    /// The number of this one piece, where it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    /// One if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantity: Option<u32>,
}
boxed!(StockUse);

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UseStock {
    pub case: Id,
    pub items: Vec<StockUse>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetStockMinimum {
    pub model: Id,
    /// With fewer on the shelf it is told as low; 0 takes it back.
    pub minimum: u32,
}

fn counted(at: &str, quantity: u32) -> Result<(), Malformed> {
    match (1..=MOST_PIECES).contains(&quantity) {
        true => Ok(()),
        false => {
            let detail = format!("found {quantity}; 1 to {MOST_PIECES} is needed");
            Err(wrong(format!("{at}/quantity"), detail))
        }
    }
}

impl Boxed {
    /// Something says of what it is, and no name of it is blank.
    fn whole(&self, at: &str) -> Result<(), Malformed> {
        if self.scan.is_none() && self.model.is_none() {
            return Err(wrong(format!("{at}/model"), "missing; a model or the scan of a mark is needed"));
        }
        if self.lot.as_ref().is_some_and(|lot| is_blank(&lot.0)) {
            return Err(wrong(
                format!("{at}/lot"),
                "found a blank; the lot as it stands on the box, or nothing",
            ));
        }
        Ok(())
    }
}

impl StockIn {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        counted("", self.quantity)?;
        self.boxed().whole("")
    }
}

impl StockOut {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        counted("", self.quantity)?;
        self.boxed().whole("")
    }
}

impl UseStock {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.items.is_empty() || self.items.len() > MOST_ITEMS {
            let detail = format!("found {} items; 1 to {MOST_ITEMS} are needed", self.items.len());
            return Err(wrong("/items", detail));
        }
        for (n, item) in self.items.iter().enumerate() {
            let at = format!("/items/{n}");
            item.boxed().whole(&at)?;
            counted(&at, item.quantity.unwrap_or(1))?;
            if item.serial.is_some() && item.quantity.unwrap_or(1) != 1 {
                return Err(wrong(format!("{at}/quantity"), "found several with one number; 1 is needed"));
            }
        }
        Ok(())
    }
}

impl SetStockMinimum {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self.minimum <= MOST_PIECES {
            true => Ok(()),
            false => {
                Err(wrong("/minimum", format!("found more than {MOST_PIECES}; 0 to {MOST_PIECES} is needed")))
            }
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StockTakenIn {
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Date>,
    pub quantity: u32,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StockTakenOut {
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    pub quantity: u32,
    pub why: StockWhy,
}

/// What a case used of a lot, with what was known of it then.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Used {
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Date>,
    pub quantity: u32,
    /// It stays in the patient.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub implant: bool,
    /// So many of them were on the shelf by its record; the others were not.
    pub from_shelf: u32,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StockUsed {
    pub case: Id,
    pub items: Vec<Used>,
}

/// What lies on the shelf of one lot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lot {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Date>,
    pub came: u32,
    pub left: u32,
}

impl Lot {
    /// The day named is the last good one.
    pub fn is_past(&self, today: Date) -> bool {
        self.expires.is_some_and(|last| last < today)
    }

    pub fn called(&self) -> String {
        self.lot.as_ref().map_or("without a lot".into(), |lot| format!("lot {}", lot.0))
    }
}

/// What is kept of a model without parts of its own.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shelf {
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minimum: Option<u32>,
    /// In the order in which they came.
    pub lots: Vec<Lot>,
    pub last_at: Time,
}

impl Shelf {
    pub fn of_lot(&self, lot: Option<&Line>) -> Option<&Lot> {
        self.lots.iter().find(|it| it.lot.as_ref() == lot)
    }

    /// So many may be used on a day.
    pub fn good(&self, today: Date) -> u32 {
        let good = self.lots.iter().filter(|lot| !lot.is_past(today));
        good.fold(0, |sum, lot| sum.saturating_add(lot.left))
    }

    pub fn is_low(&self, today: Date) -> bool {
        self.minimum.is_some_and(|minimum| self.good(today) < minimum)
    }

    /// Lots that lie there, those that expire first standing first.
    pub fn there(&self) -> Vec<&Lot> {
        let mut all: Vec<&Lot> = self.lots.iter().filter(|lot| lot.left > 0).collect();
        all.sort_by_key(|lot| (lot.expires.is_none(), lot.expires));
        all
    }
}

/// What a case used of the shelf.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UsedAt {
    #[serde(flatten)]
    pub used: Used,
    #[serde(flatten)]
    pub told: Told,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaseStock {
    pub case: Id,
    pub used: Vec<UsedAt>,
}

impl State {
    /// How many of the pieces that a line lacks lie on the shelf.
    pub fn from_shelf(&self, line: &SheetLine, lacks: u32, today: Date) -> u32 {
        if lacks == 0 || self.shelf.is_empty() {
            return 0;
        }
        let takes = |shelf: &&Arc<Shelf>| self.model(&shelf.model).is_some_and(|model| line.takes(model));
        let good = self.shelf.values().filter(takes).fold(0u32, |sum, it| sum.saturating_add(it.good(today)));
        good.min(lacks)
    }

    /// What a case used of the shelf.
    pub fn stock_at(&self, case: &Id) -> &[UsedAt] {
        self.case_stock.get(case).map_or(&[], |it| &it.used)
    }

    /// The cases at which a lot of a model was used, or one piece by its number: all of the model where neither is told.
    pub fn cases_of_stock(
        &self,
        model: Option<&Id>,
        lot: Option<&str>,
        serial: Option<&str>,
    ) -> Vec<(Id, Vec<UsedAt>)> {
        let fits = |it: &&UsedAt| {
            model.is_none_or(|model| it.used.model == *model)
                && lot.is_none_or(|lot| it.used.lot.as_ref().is_some_and(|own| own.0 == lot))
                && serial.is_none_or(|serial| it.used.serial.as_ref().is_some_and(|own| own.0 == serial))
        };
        let of_case = |it: &Arc<CaseStock>| {
            let used: Vec<UsedAt> = it.used.iter().filter(fits).cloned().collect();
            (!used.is_empty()).then(|| (it.case.clone(), used))
        };
        self.case_stock.values().filter_map(of_case).collect()
    }
}
