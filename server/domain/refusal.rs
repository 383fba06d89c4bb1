//! Why not: a closed list of codes in the order in which they outrank each other, and the sentences beside them.

use std::fmt;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

use super::id::Id;

/// Refusal codes. Where several apply, the first in this order is the refusal's own, the others stand in `also`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Code {
    UnknownThing,
    AmbiguousScan,
    InTheFuture,
    TooLate,
    AlreadyDone,
    Retired,
    Missing,
    NameTaken,
    SingleUse,
    Held,
    InRepair,
    PromisedElsewhere,
    ReserveWouldBeUndercut,
    OutOfOrder,
    InLoad,
    MachineNotReady,
    ProgrammeUnsuitable,
    NoRecord,
    RecordFailed,
    IndicatorMissing,
    IndicatorFailed,
    SamePerson,
    StillCooling,
    PastDate,
    NotComplete,
    LineFull,
    NotOnSheet,
    NotFitting,
    LimitReached,
    CountOpen,
    NeedsReason,
    NotLast,
    StillReferenced,
}

impl Code {
    pub fn name(self) -> &'static str {
        match self {
            Code::UnknownThing => "unknown_thing",
            Code::AmbiguousScan => "ambiguous_scan",
            Code::InTheFuture => "in_the_future",
            Code::TooLate => "too_late",
            Code::AlreadyDone => "already_done",
            Code::Retired => "retired",
            Code::Missing => "missing",
            Code::NameTaken => "name_taken",
            Code::SingleUse => "single_use",
            Code::Held => "held",
            Code::InRepair => "in_repair",
            Code::PromisedElsewhere => "promised_elsewhere",
            Code::ReserveWouldBeUndercut => "reserve_would_be_undercut",
            Code::OutOfOrder => "out_of_order",
            Code::InLoad => "in_load",
            Code::MachineNotReady => "machine_not_ready",
            Code::ProgrammeUnsuitable => "programme_unsuitable",
            Code::NoRecord => "no_record",
            Code::RecordFailed => "record_failed",
            Code::IndicatorMissing => "indicator_missing",
            Code::IndicatorFailed => "indicator_failed",
            Code::SamePerson => "same_person",
            Code::StillCooling => "still_cooling",
            Code::PastDate => "past_date",
            Code::NotComplete => "not_complete",
            Code::LineFull => "line_full",
            Code::NotOnSheet => "not_on_sheet",
            Code::NotFitting => "not_fitting",
            Code::LimitReached => "limit_reached",
            Code::CountOpen => "count_open",
            Code::NeedsReason => "needs_reason",
            Code::NotLast => "not_last",
            Code::StillReferenced => "still_referenced",
        }
    }

    /// Whether it stands even against a fact. What happened is recorded whatever rule it broke, but not of a thing that
    /// nobody knows, not twice, not before its time, and not where the record would contradict itself.
    pub fn binds_facts(self) -> bool {
        match self {
            Code::UnknownThing
            | Code::AmbiguousScan
            | Code::InTheFuture
            | Code::TooLate
            | Code::AlreadyDone
            | Code::Missing
            | Code::NameTaken
            | Code::LineFull
            | Code::NotOnSheet
            | Code::NeedsReason
            | Code::NotLast
            | Code::StillReferenced => true,
            Code::Retired
            | Code::SingleUse
            | Code::Held
            | Code::InRepair
            | Code::PromisedElsewhere
            | Code::ReserveWouldBeUndercut
            | Code::OutOfOrder
            | Code::InLoad
            | Code::MachineNotReady
            | Code::ProgrammeUnsuitable
            | Code::NoRecord
            | Code::RecordFailed
            | Code::IndicatorMissing
            | Code::IndicatorFailed
            | Code::SamePerson
            | Code::StillCooling
            | Code::PastDate
            | Code::NotComplete
            | Code::NotFitting
            | Code::LimitReached
            | Code::CountOpen => false,
        }
    }

    /// The title that stands above the sentences of a refusal.
    pub fn title(self) -> &'static str {
        match self {
            Code::UnknownThing => "Nothing here has that name",
            Code::AmbiguousScan => "That scan names two things",
            Code::InTheFuture => "That time has not come yet",
            Code::TooLate => "Something later is already recorded",
            Code::AlreadyDone => "That is already recorded",
            Code::Retired => "Retired",
            Code::Missing => "Not accounted for",
            Code::NameTaken => "That name is taken",
            Code::SingleUse => "For single use",
            Code::Held => "On hold",
            Code::InRepair => "In repair",
            Code::PromisedElsewhere => "Kept for another case",
            Code::ReserveWouldBeUndercut => "The reserve would fall below its minimum",
            Code::OutOfOrder => "Something else comes next",
            Code::InLoad => "In a running load",
            Code::MachineNotReady => "The machine is not ready",
            Code::ProgrammeUnsuitable => "The programme does not suit",
            Code::NoRecord => "No record, no release",
            Code::RecordFailed => "The record does not meet its programme",
            Code::IndicatorMissing => "An indicator is missing",
            Code::IndicatorFailed => "An indicator failed",
            Code::SamePerson => "A second person is needed",
            Code::StillCooling => "Still cooling",
            Code::PastDate => "Past its date",
            Code::NotComplete => "Not complete",
            Code::LineFull => "That line is full",
            Code::NotOnSheet => "Not on the count sheet",
            Code::NotFitting => "Does not fit the line",
            Code::LimitReached => "The maker's limit is reached",
            Code::CountOpen => "The count is open",
            Code::NeedsReason => "A reason is needed",
            Code::NotLast => "Something happened since",
            Code::StillReferenced => "Still needed",
        }
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One thing that stands against a command, in sentences: what was found, what is needed, what to do next.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    pub code: Code,
    pub found: String,
    pub needed: String,
    pub next: String,
    /// A command that would put it right, in the form that the command door takes.
    pub remedy: Option<Value>,
    /// What may have been meant: the name of a thing that a scan misses by its letters alone.
    pub meant: Option<Box<Id>>,
    /// Whether an override by the right person may set it aside here.
    pub open_to_override: bool,
    /// Whether it stands even against what is told after the fact.
    pub even_late: bool,
}

impl Problem {
    pub fn new(
        code: Code,
        found: impl Into<String>,
        needed: impl Into<String>,
        next: impl Into<String>,
    ) -> Problem {
        Problem {
            code,
            found: found.into(),
            needed: needed.into(),
            next: next.into(),
            remedy: None,
            meant: None,
            open_to_override: false,
            even_late: code.binds_facts(),
        }
    }

    pub fn with_remedy(mut self, remedy: Value) -> Problem {
        self.remedy = Some(remedy);
        self
    }

    pub fn perhaps(mut self, meant: Id) -> Problem {
        self.meant = Some(Box::new(meant));
        self
    }

    pub fn open_to_override(mut self) -> Problem {
        self.open_to_override = true;
        self
    }

    /// What is told after the fact has to meet it too: a decision, or what the record could not hold.
    pub fn even_late(mut self) -> Problem {
        self.even_late = true;
        self
    }

    pub fn detail(&self) -> String {
        format!("{} {}", self.found, self.needed)
    }
}

/// A command refused: the reasons, the outranking one first. Never empty.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusal {
    pub first: Problem,
    pub others: Vec<Problem>,
}

impl Refusal {
    /// Orders what stands against a command; `None` where nothing does. The sort is stable, so within a code the
    /// part scanned first is named first.
    pub fn of(mut problems: Vec<Problem>) -> Option<Refusal> {
        problems.sort_by_key(|problem| problem.code);
        let mut rest = problems.into_iter();
        rest.next().map(|first| Refusal { first, others: rest.collect() })
    }

    pub fn code(&self) -> Code {
        self.first.code
    }

    /// The other codes, each once, in order.
    pub fn also(&self) -> Vec<Code> {
        let mut codes: Vec<Code> =
            self.others.iter().map(|p| p.code).filter(|code| *code != self.first.code).collect();
        codes.dedup();
        codes
    }

    pub fn reasons(&self) -> impl Iterator<Item = &Problem> {
        std::iter::once(&self.first).chain(&self.others)
    }
}
