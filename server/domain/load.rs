//! Loads: what was in one machine for one cycle, with the record, the indicators and the decision.

use std::sync::Arc;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::claims::Robbed;
use super::command::{Malformed, wrong};
use super::event::Moved;
use super::exception::{Alone, AskEarly, Early, ReleasedAlone, ReleasedEarly};
use super::id::Id;
use super::immediate_use::ImmediateUse;
use super::machine::MachineKind;
use super::programme::Programme;
use super::recall::Recalled;
use super::refusal::{Code, Problem};
use super::sha256::Sha256Of;
use super::text::{Line, Quantity, Scan, Text};
use super::time::Time;
use super::verdict::Judged;
use crate::formats::encoding;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Start {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    pub machine: Id,
    pub programme: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cycle_no: Option<CycleNo>,
    pub scan: Scan,
    /// For one case that needs it now: nothing of it is ever stored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub immediate_use: Option<Box<ImmediateUse>>,
}

/// The machine's own number of the cycle: a text, or a whole number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CycleNo(pub String);

impl<'de> Deserialize<'de> for CycleNo {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged, expecting = "found no cycle number; a text or a whole number is needed")]
        enum Form {
            Number(u64),
            Text(Line),
        }
        Ok(CycleNo(match Form::deserialize(from)? {
            Form::Number(number) => number.to_string(),
            Form::Text(text) => text.0,
        }))
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Judge {
    pub load: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub record: Option<String>,
    /// The file's own bytes, where they are no UTF-8, or hold U+0000: then `record` is what windows-1252 makes of them, one character for
    /// each byte, so that the same file is the same command. A program cannot send them; an upload and a folder do.
    #[serde(skip)]
    pub raw: Option<Arc<[u8]>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient_kpa: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<Readings>,
}

/// Read from the machine's printout by one person and confirmed by another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Readings {
    pub min_c: Quantity,
    pub max_c: Quantity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_s: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub a0_s: Option<Quantity>,
    pub complete: bool,
    pub second_reader: Line,
    /// The SHA-256 of a picture or scan of the printout that was stored before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<String>,
}

/// Sixty-four hexadecimal digits, small letters.
fn is_sha256(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

impl Judge {
    /// A record from the bytes of a file.
    pub fn by_file(load: Id, bytes: Vec<u8>) -> Judge {
        let mut judge = Judge { load, record: None, raw: None, ambient_kpa: None, readings: None };
        judge.take_file(bytes);
        judge
    }

    /// Takes the bytes of a file as the record.
    pub fn take_file(&mut self, bytes: Vec<u8>) {
        match String::from_utf8(bytes) {
            Ok(text) if !text.contains('\0') => self.record = Some(text),
            other => {
                let bytes = other.map_or_else(|error| error.into_bytes(), String::into_bytes);
                // U+0000 stands in no command, but in every file in UTF-16; no byte is taken for its sign.
                self.record = Some(encoding::one_for_each(&bytes).replace('\0', "\u{2400}"));
                self.raw = Some(bytes.into());
            }
        }
    }

    /// The record's bytes, as they came.
    pub fn bytes(&self) -> Option<&[u8]> {
        self.raw.as_deref().or_else(|| self.record.as_deref().map(str::as_bytes))
    }

    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match (&self.record, &self.readings) {
            (None, None) => Err(wrong("/record", "missing; a record or readings are needed")),
            (Some(_), Some(_)) => {
                Err(wrong("/readings", "found a record and readings; one of them is needed"))
            }
            (_, Some(readings)) if readings.hold_s.is_none() == readings.a0_s.is_none() => {
                Err(wrong("/readings", "found none or both of hold_s and a0_s; one of them is needed"))
            }
            (_, Some(Readings { hold_s: Some(hold_s), .. })) if hold_s.0 < Decimal::ZERO => {
                Err(wrong("/readings/hold_s", "found less than nothing; a hold is zero or longer"))
            }
            (_, Some(Readings { a0_s: Some(a0_s), .. })) if a0_s.0 < Decimal::ZERO => {
                Err(wrong("/readings/a0_s", "found less than nothing; an A0 is zero or more"))
            }
            (_, Some(readings)) if readings.min_c > readings.max_c => {
                Err(wrong("/readings/min_c", "found a minimum above the maximum"))
            }
            (_, Some(readings)) if readings.second_reader.as_str().trim().is_empty() => {
                Err(wrong("/readings/second_reader", "found a blank; the code of a second person is needed"))
            }
            (_, Some(readings)) if readings.photo.as_ref().is_some_and(|photo| !is_sha256(photo)) => {
                let needed = "found no SHA-256; the 64 hexadecimal digits of a stored attachment are needed";
                Err(wrong("/readings/photo", needed))
            }
            _ => Ok(()),
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum IndicatorKind {
    Chemical,
    Biological,
    BiologicalControl,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum IndicatorResult {
    Pass,
    Fail,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordIndicator {
    pub load: Id,
    pub indicator: IndicatorKind,
    pub result: IndicatorResult,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Release {
    pub load: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dry: Option<bool>,
    /// Released before the biological indicator of an implant is read, as an exception.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early: Option<AskEarly>,
}

impl Release {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        self.early.as_ref().map_or(Ok(()), AskEarly::whole)
    }

    pub(super) fn note_is_clear(&self, note: Option<&Text>) -> Result<(), Malformed> {
        self.early.as_ref().map_or(Ok(()), |early| early.note_is_clear(note))
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reject {
    pub load: Id,
    pub reason: Text,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ran: Option<bool>,
}

/// A part in a load, in the turn in which it went in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadPart {
    pub asset: Id,
    pub turn: u32,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LoadStatus {
    Running,
    Judged,
    Released,
    Rejected,
}

impl LoadStatus {
    pub fn name(self) -> &'static str {
        match self {
            LoadStatus::Running => "running",
            LoadStatus::Judged => "judged",
            LoadStatus::Released => "released",
            LoadStatus::Rejected => "rejected",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Indicator {
    pub indicator: IndicatorKind,
    pub result: IndicatorResult,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    pub at: Time,
    pub by: Arc<str>,
}

/// The verdict on a load: what the rules ask of it, and the whole of it until the load is decided. After that the whole
/// stands in its entry alone, since years of decided loads stay in memory.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// The entry that tells it.
    pub entry: u64,
    /// Who gave the record, or read the readings first.
    pub by: Arc<str>,
    pub passed: bool,
    /// The cycle has certainly ended by then.
    pub ended_at: Time,
    /// Of the record, where it stands on one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub record: Option<Sha256Of>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub whole: Option<Arc<Judged>>,
}

/// A load with the limits that were copied when it started.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    pub load: Id,
    pub machine: Id,
    pub kind: MachineKind,
    pub programme: Arc<Programme>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cycle_no: Option<CycleNo>,
    pub contents: Vec<LoadPart>,
    /// How many packs lay in it when it started; loads of earlier releases do not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packs: Option<u32>,
    pub status: LoadStatus,
    pub started_at: Time,
    pub started_by: Arc<str>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub judged: Option<Verdict>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub indicators: Vec<Indicator>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decided_by: Option<Arc<str>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decided_at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The entry that started it.
    pub entry: u64,
    pub last_at: Time,
    /// The air-removal test of its machine had passed on its test day when it was told.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub tested: bool,
    /// Parts that went in although its programme did not suit them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unsuited: Vec<Id>,
    /// What was said of its dryness when it was released.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dry: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alone: Option<Box<ReleasedAlone>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early: Option<Box<ReleasedEarly>>,
    /// Rejected, and its machine had not run: no cycle for what lay in it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub did_not_run: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub immediate_use: Option<Box<ImmediateUse>>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadStarted {
    pub load: Id,
    pub machine: Id,
    pub kind: MachineKind,
    pub programme: Programme,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cycle_no: Option<CycleNo>,
    pub contents: Vec<LoadPart>,
    /// Parts among the contents that were elsewhere when it was told: the load's decision does not move them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moved_on: Vec<Id>,
    /// It was told after the fact, and belongs to this open recall: what lies in it is held.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recall: Option<Id>,
    /// Packs in a steriliser.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packs: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub immediate_use: Option<Box<ImmediateUse>>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadJudged {
    pub load: Id,
    #[serde(flatten)]
    pub judged: Judged,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct IndicatorRecorded {
    pub load: Id,
    pub indicator: IndicatorKind,
    pub result: IndicatorResult,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    /// Growth takes the machine out of service.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_out: Option<Id>,
    /// A control that did not grow leaves the load without the biological evidence that it had.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub void: bool,
    /// What is held because of it: after growth everything from the machine since the last good evidence.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recall: Option<Recalled>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadReleased {
    pub load: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dry: Option<bool>,
    /// Nobody said whether a steam load was dry when it was unloaded.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub dryness_not_stated: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cool_at: Option<Time>,
    pub parts: Vec<Moved>,
    /// Released by the person who started it, where two are asked for: somebody else countersigns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alone: Option<Alone>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early: Option<Early>,
    /// The case to which its contents went at once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub issued_to: Option<Id>,
    /// Other cases that lose by that.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub robs: Vec<Robbed>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadRejected {
    pub load: Id,
    pub reason: String,
    pub ran: bool,
    pub parts: Vec<Moved>,
}

/// A part in a running load.
pub fn in_load(called: &str, load: &Id) -> Problem {
    Problem::new(
        Code::InLoad,
        format!("{called} is in load {load}, which is not decided."),
        "A part outside a running load is needed.",
        format!("Release or reject load {load} first."),
    )
}
