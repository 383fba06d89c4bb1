//! What happened: one event for one accepted command, with all that is needed to apply it.

use serde::{Deserialize, Serialize, Serializer};
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::command::LateCause;
use super::id::Id;
use super::refusal::Code;
use super::sizes::Doubt;
use super::state::Stage;
use super::text::{Line, Quantity, Sealed};
pub use super::thing::Thing;
use super::time::{Date, Time};
use super::{
    alert, asset, check, choosing, correct, count, dedicate, exception, exposure, finding, hold,
    inspect_next, load, loan, lookback, machine, marking, measuring, missing, mixed, model, paper, procedure,
    recall, record_form, repair, request, schedule_line, set, shelf, signing, site, step, stranger, tried,
    upkeep, wrong_thing,
};

/// One entry of the ledger, as its canonical text carries it, with its event as JSON or as it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry<E = Value> {
    pub site: Id,
    pub seq: u64,
    /// When it happened.
    pub at: Time,
    /// When it was written.
    pub recorded_at: Time,
    pub actor: String,
    pub station: Option<String>,
    pub key: Option<String>,
    pub kind: String,
    pub version: u32,
    pub event: E,
}

/// An event with what may stand beside any of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    pub beside: Beside,
    pub what: What,
}

/// What an event says beside its own facts.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Beside {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub late: Option<ToldLate>,
    #[serde(rename = "override", skip_serializing_if = "Option::is_none")]
    pub overridden: Option<Overridden>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub deviation: Vec<Code>,
    /// Sets that were scanned, beside the parts that the event itself names.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sets: Vec<Id>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left: Vec<Left>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub also_opened: Vec<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub made: Option<Id>,
    /// What looked wrong in what was defined, by what was known then, and was saved all the same.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<Doubt>,
}

const BESIDE: [&str; 9] =
    ["note", "late", "override", "deviation", "sets", "left", "also_opened", "made", "doubts"];

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ToldLate {
    pub cause: LateCause,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<Line>,
    /// The line of the sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done_by: Option<Sealed>,
}

impl ToldLate {
    /// Who did it, where a sheet of a paper day names somebody whom the site knows.
    pub fn doer(&self) -> Option<&str> {
        let on_paper = self.cause == LateCause::Downtime && self.sheet.is_some();
        self.done_by.as_deref().filter(|by| on_paper && !by.starts_with(SEALED))
    }
}

/// How a sealed text begins.
pub const SEALED: &str = "sealed:";

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Overridden {
    pub codes: Vec<Code>,
    pub reason: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_person: Option<Sealed>,
}

/// A part of a scanned set that the act left as it was, and why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Left {
    pub asset: Id,
    pub code: Code,
    pub detail: String,
}

/// A part that moved along or back: from where to where, in which turn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Moved {
    pub asset: Id,
    pub turn: u32,
    pub from: Stage,
    pub from_next: u32,
    pub to: Stage,
    pub next: u32,
    /// What the part was before, where the move forgets it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<Box<Was>>,
    /// The pack that it was packed in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sterile_until: Option<Date>,
}

/// What a new turn or an opened pack forgets.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Was {
    pub turn: u32,
    pub turn_began_at: Time,
    pub route: Id,
    pub route_version: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack: Option<super::state::PackOf>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packaging: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_load: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sterile_until: Option<Date>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cool_at: Option<Time>,
}

/// A part that an act names without moving it, in the turn that the act belongs to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Noted {
    pub asset: Id,
    pub turn: u32,
}

/// The fields of two forms in one object.
#[derive(Serialize)]
struct Flat<'a, T> {
    #[serde(flatten)]
    beside: &'a Beside,
    #[serde(flatten)]
    what: &'a T,
}

/// The event as it stands in the entry.
impl Serialize for Event {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        self.what.write(&self.beside, to)
    }
}

/// A measured check of an inspection.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Check {
    pub check: Line,
    /// The part that it is of, where several were scanned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Line>,
    pub passed: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Line>,
}

macro_rules! kinds {
    ($($name:literal $variant:ident($form:ty);)*) => {
        /// What happened, as a closed list. Every kind is at version 1.
        // An event lives alone, and briefly: a box would cost more than the room.
        #[allow(clippy::large_enum_variant)]
        #[derive(Clone, Debug, PartialEq)]
        pub enum What { $($variant($form),)* }

        impl What {
            pub const KINDS: &'static [&'static str] = &[$($name,)*];

            pub fn kind(&self) -> &'static str {
                match self { $(What::$variant(_) => $name,)* }
            }

            /// Writes the fields, and what stands beside them, as one object.
            fn write<S: Serializer>(&self, beside: &Beside, to: S) -> Result<S::Ok, S::Error> {
                match self { $(What::$variant(what) => Flat { beside, what }.serialize(to),)* }
            }

            fn read(kind: &str, fields: Value) -> Result<What, serde_json::Error> {
                match kind {
                    $($name => serde_json::from_value(fields).map(What::$variant),)*
                    other => Err(serde::de::Error::custom(format!("found kind \"{other}\", which no release wrote"))),
                }
            }

            /// Reads the fields from text that may hold those beside them too.
            fn read_text(kind: &str, text: &str) -> Option<What> {
                match kind {
                    $($name => serde_json::from_str(text).map(What::$variant).ok(),)*
                    _ => None,
                }
            }
        }
    };
}

kinds! {
    "site_founded" SiteFounded(site::SiteFounded);
    "policy_set" PolicySet(site::SetPolicy);
    "reserve_set" ReserveSet(set::SetReserve);
    "route_defined" RouteDefined(model::RouteDefined);
    "model_defined" ModelDefined(model::DefineModel);
    "count_sheet_defined" CountSheetDefined(set::DefineCountSheet);
    "machine_defined" MachineDefined(machine::DefineMachine);
    "machine_out" MachineOut(machine::MachineOut);
    "machine_back" MachineBack(machine::MachineBack);
    "machine_tested" MachineTested(machine::MachineTested);
    "record_form_defined" RecordFormDefined(record_form::DefineRecordForm);
    "flag_cleared" FlagCleared(machine::ClearFlag);
    "asset_added" AssetAdded(asset::AssetAdded);
    "put_away" PutAway(asset::PutAwayDone);
    "retired" Retired(asset::Retired);
    "asset_measured" AssetMeasured(measuring::AssetMeasured);
    "mark_given" MarkGiven(marking::MarkGiven);
    "set_built" SetBuilt(set::BuildSet);
    "put_in_set" PutInSet(set::Seated);
    "taken_from_set" TakenFromSet(set::Seated);
    "replaced" Replaced(set::Replaced);
    "hold_placed" HoldPlaced(hold::HoldPlaced);
    "hold_lifted" HoldLifted(hold::HoldLifted);
    "dedicated" Dedicated(dedicate::Dedicated);
    "step_recorded" StepRecorded(step::StepRecorded);
    "inspected" Inspected(step::Inspected);
    "pack_broken" PackBroken(step::PackBrokenDone);
    "load_started" LoadStarted(load::LoadStarted);
    "load_judged" LoadJudged(load::LoadJudged);
    "indicator_recorded" IndicatorRecorded(load::IndicatorRecorded);
    "load_released" LoadReleased(load::LoadReleased);
    "load_rejected" LoadRejected(load::LoadRejected);
    "countersigned" Countersigned(exception::Countersign);
    "case_planned" CasePlanned(exposure::CasePlanned);
    "case_changed" CaseChanged(exposure::CaseChanged);
    "case_cancelled" CaseCancelled(exposure::CaseCancelled);
    "promised" Promised(exposure::Promised);
    "promise_withdrawn" PromiseWithdrawn(exposure::Promised);
    "issued" Issued(exposure::Issued);
    "opened" Opened(exposure::Exposures);
    "used" Used(exposure::Exposures);
    "count_closed" CountClosed(exposure::CountClosed);
    "configuration_chosen" ConfigurationChosen(choosing::ConfigurationChosen);
    "fit_confirmed" FitConfirmed(tried::FitConfirmed);
    "checked" Checked(check::Checked);
    "counted" Counted(count::Tally);
    "patient_erased" PatientErased(exposure::PatientErased);
    "missing_reported" MissingReported(missing::MissingReported);
    "found" Found(missing::FoundAgain);
    "missing_closed" MissingClosed(missing::MissingClosed);
    "line_closed" LineClosed(missing::LineClosed);
    "finding_reported" FindingReported(finding::FindingReported);
    "finding_withdrawn" FindingWithdrawn(finding::FindingWithdrawn);
    "photo_added" PhotoAdded(finding::PhotoAdded);
    "sent_to_repair" SentToRepair(repair::SentToRepair);
    "back_from_repair" BackFromRepair(repair::CameFromRepair);
    "model_costs_set" ModelCostsSet(upkeep::SetModelCosts);
    "life_limit_set" LifeLimitSet(upkeep::LifeLimitSet);
    "inspection_requested" InspectionRequested(inspect_next::InspectionRequested);
    "look_back_opened" LookBackOpened(lookback::LookBackOpened);
    "look_back_closed" LookBackClosed(lookback::LookBackClosed);
    "recalled" Recalled(recall::Recalled);
    "recall_narrowed" RecallNarrowed(recall::RecallNarrowed);
    "recall_answered" RecallAnswered(recall::RecallAnswered);
    "recall_closed" RecallClosed(recall::RecallClosed);
    "corrected" Corrected(correct::Corrected);
    "procedure_mapped" ProcedureMapped(procedure::MapProcedure);
    "procedures_applied" ProceduresApplied(procedure::ProceduresApplied);
    "schedule_kept" ScheduleKept(schedule_line::ScheduleKept);
    "schedule_settled" ScheduleSettled(schedule_line::ScheduleSettled);
    "request_sent" RequestSent(request::RequestSent);
    "request_answered" RequestAnswered(request::RequestAnswered);
    "request_withdrawn" RequestWithdrawn(request::RequestWithdrawn);
    "arrived" Arrived(loan::Arrived);
    "loan_left" LoanLeft(loan::LoanLeft);
    "stranger_received" StrangerReceived(stranger::StrangerReceived);
    "owner_told" OwnerTold(stranger::OwnerTold);
    "stranger_settled" StrangerSettled(stranger::StrangerSettled);
    "identity_doubted" IdentityDoubted(mixed::IdentityDoubted);
    "identity_settled" IdentitySettled(mixed::IdentitySettled);
    "stock_taken_in" StockTakenIn(shelf::StockTakenIn);
    "stock_taken_out" StockTakenOut(shelf::StockTakenOut);
    "stock_used" StockUsed(shelf::StockUsed);
    "stock_minimum_set" StockMinimumSet(shelf::SetStockMinimum);
    "sheets_printed" SheetsPrinted(paper::SheetsPrinted);
    "sheet_voided" SheetVoided(paper::SheetVoided);
    "sheet_finished" SheetFinished(paper::SheetFinished);
    "wrong_thing_reported" WrongThingReported(wrong_thing::WrongThingReported);
    "wrong_thing_settled" WrongThingSettled(wrong_thing::WrongThingSettled);
    "alert_set" AlertSet(alert::SetAlert);
    "alert_dropped" AlertDropped(alert::DropAlert);
    "taken_over" TakenOver(signing::TakenOver);
    "exceptions_reviewed" ExceptionsReviewed(signing::ExceptionsReviewed);
}

impl What {
    /// The version of the form in which this release writes the kind.
    pub fn version(&self) -> u32 {
        1
    }
}

impl Event {
    /// The event as a value of JSON.
    pub fn to_value(&self) -> Result<Value, serde_json::Error> {
        serde_json::to_value(self)
    }

    /// Reads an event of a kind and version back from its entry.
    pub fn read(kind: &str, version: u32, event: Value) -> Result<Event, serde_json::Error> {
        if version != 1 {
            return Err(serde::de::Error::custom(format!("found version {version} of {kind}; 1 is known")));
        }
        let Value::Object(mut fields) = event else {
            return Err(serde::de::Error::custom("found no object as an event"));
        };
        let mut beside = Map::new();
        for name in BESIDE {
            if let Some(value) = fields.remove(name) {
                beside.insert(name.into(), value);
            }
        }
        Ok(Event {
            beside: serde_json::from_value(Value::Object(beside))?,
            what: What::read(kind, Value::Object(fields))?,
        })
    }

    /// Reads an event as [`Event::read`] does, from its text. Most forms pass over the fields beside their own, and
    /// are read without a tree of values in between; the others refuse what is not theirs, and are read as ever.
    pub fn read_text(kind: &str, version: u32, text: &str) -> Result<Event, serde_json::Error> {
        if version == 1
            && text.starts_with('{')
            && let Some(what) = What::read_text(kind, text)
            && let Ok(beside) = serde_json::from_str(text)
        {
            return Ok(Event { beside, what });
        }
        Event::read(kind, version, serde_json::from_str(text)?)
    }

    /// The things under which the entry is found: each set scanned stands for its members.
    pub fn things(&self) -> Vec<Thing> {
        let mut all = super::history::things(&self.what);
        all.extend(self.beside.sets.iter().map(|set| Thing::set(set.as_str())));
        all.extend(self.beside.also_opened.iter().map(|asset| Thing::asset(asset.as_str())));
        all.sort();
        all.dedup();
        all
    }
}
