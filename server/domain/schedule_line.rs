//! Messages of a schedule that a person has to look at: what each said, why it was not taken, and what became of it.

use std::sync::Arc;

use serde::{Deserialize, Deserializer, Serialize};
use utoipa::ToSchema;

use super::apply::When;
use super::apply_case::change_case;
use super::case::Case;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::{Id, next_free};
use super::model::unknown;
use super::planning::known_case;
use super::refusal::{Code, Problem};
use super::schedule::{OfSchedule, Scheduled};
use super::state::State;
use super::text::{Line, Sealed, Text};
use super::time::Time;

/// A message as it came, less what names people: at most 20,000 characters and the sign that it was cut.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Raw(pub String);

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        match text.chars().count() {
            1..=20_010 => Ok(Raw(text)),
            n => Err(serde::de::Error::custom(format!("found {n} characters; 1 to 20,000 are needed"))),
        }
    }
}

/// How a message was answered.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub enum Answered {
    /// It was understood, and waits here.
    #[serde(rename = "AA")]
    Accepted,
    /// The message itself cannot be used.
    #[serde(rename = "AE")]
    Error,
}

/// Puts a message on the list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeepScheduleMessage {
    /// What the message was sent for, as S13; the control id of the message.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trigger: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub control_id: Option<Line>,
    pub schedule: Box<Scheduled>,
    /// The case that it is about, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    /// Why a person has to look, in sentences.
    pub why: Vec<Text>,
    pub answered: Answered,
    /// The number of HL7 table 0357 that it was answered with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub error: Option<u16>,
    pub message: Raw,
}

impl KeepScheduleMessage {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self.why.len() {
            1..=20 if self.why.iter().all(|why| !why.is_blank()) => Ok(()),
            _ => Err(wrong("/why", "found no reason, or more than 20; why a person has to look is needed")),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScheduleKept {
    pub line: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trigger: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub control_id: Option<Line>,
    pub schedule: Box<Scheduled>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    pub why: Vec<String>,
    pub answered: Answered,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub error: Option<u16>,
    /// The message less what names people but by their numbers, in the erasable table.
    pub message: Sealed,
}

/// What became of a message.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Became {
    /// What it says was entered here by a person.
    EnteredByHand,
    /// It is about nothing of this service.
    NotOurs,
    /// A later message, or what happened since, has settled it.
    Overtaken,
    /// Whoever keeps the schedule was told, and puts it right there.
    SenderTold,
}

impl Became {
    pub const ALL: [Became; 4] =
        [Became::EnteredByHand, Became::NotOurs, Became::Overtaken, Became::SenderTold];

    pub fn name(self) -> &'static str {
        match self {
            Became::EnteredByHand => "entered_by_hand",
            Became::NotOurs => "not_ours",
            Became::Overtaken => "overtaken",
            Became::SenderTold => "sender_told",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Became::EnteredByHand => "entered by hand",
            Became::NotOurs => "not ours",
            Became::Overtaken => "overtaken by what came later",
            Became::SenderTold => "whoever keeps the schedule was told",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SettleScheduleMessage {
    /// One line, or several of which the same became.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Id>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<Id>,
    pub outcome: Became,
    /// The case that it was entered as, or that it means: later messages about the appointment find it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
}

/// So many lines are settled at once.
const MOST_AT_ONCE: usize = 500;

impl SettleScheduleMessage {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match (&self.line, self.lines.len()) {
            (Some(_), 0) | (None, 1..=MOST_AT_ONCE) => {}
            (Some(_), _) => return Err(wrong("/lines", "found beside line; one of the two is needed")),
            (None, 0) => return Err(wrong("/line", "missing, and so is lines; one of the two is needed")),
            (None, n) => return Err(wrong("/lines", format!("found {n} lines; at most 500 are needed"))),
        }
        match self.case.is_some() && self.line.is_none() {
            true => Err(wrong("/case", "found a case beside several lines; it belongs to one")),
            false => Ok(()),
        }
    }

    fn all(&self) -> impl Iterator<Item = &Id> {
        self.line.iter().chain(&self.lines)
    }
}

impl ScheduleSettled {
    pub fn lines(&self) -> impl Iterator<Item = &Id> {
        std::iter::once(&self.line).chain(&self.also)
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScheduleSettled {
    pub line: Id,
    /// Lines of which the same became.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<Id>,
    pub outcome: Became,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
}

/// A line of the list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ScheduleLine {
    #[serde(flatten)]
    pub kept: ScheduleKept,
    pub at: Time,
    pub entry: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settled: Option<Settled>,
    /// The message was erased.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub erased: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Settled {
    pub outcome: Became,
    pub at: Time,
    pub by: String,
    pub entry: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
}

pub(super) fn keep(deciding: &mut Deciding, it: &KeepScheduleMessage) -> Option<What> {
    deciding.touches(None);
    if let Some(case) = &it.case
        && !deciding.state.cases.contains_key(case)
    {
        deciding.against(unknown("case", case.as_str()));
    }
    let state = deciding.state;
    let taken = |id: &Id| state.schedule_lines.contains_key(id);
    let line = next_free("line", 5, state.schedule_lines.len(), taken)?;
    deciding.made = Some(line.clone());
    let message = deciding.seal_always(&it.message.0);
    Some(What::ScheduleKept(ScheduleKept {
        line,
        trigger: it.trigger.clone(),
        control_id: it.control_id.clone(),
        schedule: it.schedule.clone(),
        case: it.case.clone(),
        why: it.why.iter().map(|why| why.0.clone()).collect(),
        answered: it.answered,
        error: it.error,
        message,
    }))
}

/// The lines that are still open, each once; where none is, whatever became of the first.
fn still_open(deciding: &mut Deciding, it: &SettleScheduleMessage) -> Option<Vec<Arc<ScheduleLine>>> {
    let mut open: Vec<Arc<ScheduleLine>> = Vec::new();
    let mut before = None;
    for id in it.all() {
        let Some(line) = deciding.state.schedule_lines.get(id).cloned() else {
            deciding.against(unknown("line of the schedule", id.as_str()));
            return None;
        };
        deciding.touches(Some(line.settled.as_ref().map_or(line.at, |settled| settled.at)));
        match &line.settled {
            None if open.iter().any(|known| known.kept.line == line.kept.line) => {}
            None => open.push(line),
            Some(settled) => before = before.or(Some((id.clone(), settled.clone()))),
        }
    }
    if let (true, Some((id, settled))) = (open.is_empty(), before) {
        let problem = Problem::new(
            Code::AlreadyDone,
            format!("Line {id} was settled by {}: {}.", settled.by, settled.outcome.words()),
            "A line that is still open is needed.",
            "Nothing needs to be done.",
        );
        deciding.against(problem.even_late());
    }
    Some(open)
}

pub(super) fn settle(deciding: &mut Deciding, it: &SettleScheduleMessage) -> Option<What> {
    let open = still_open(deciding, it)?;
    let known = it.all().next().and_then(|id| deciding.state.schedule_lines.get(id)).cloned();
    let line = open.first().cloned().or(known)?;
    if let Some(id) = &it.case {
        let case = known_case(deciding, id)?;
        let other = case.schedule.as_ref().is_some_and(|of| of.told.keys().ne(line.kept.schedule.keys()));
        if it.outcome != Became::EnteredByHand {
            deciding
                .malformed
                .push(wrong("/case", "found a case; it is named only where it was entered by hand"));
        } else if other {
            let problem = Problem::new(
                Code::AlreadyDone,
                format!("Case {id} is another appointment of the schedule already."),
                "A case that no appointment of the schedule stands for is needed.",
                "Name another case, or none.",
            );
            deciding.against(problem.even_late());
        }
    }
    Some(What::ScheduleSettled(ScheduleSettled {
        line: line.kept.line.clone(),
        also: open.iter().skip(1).map(|line| line.kept.line.clone()).collect(),
        outcome: it.outcome,
        case: it.case.clone(),
    }))
}

/// The sealed message of a line that may be erased: one that is settled. No retention holds it, since it tells of no
/// exposure; what became a case keeps its own reference.
pub(super) fn erased(deciding: &mut Deciding, line: &Id) -> Option<Sealed> {
    let Some(found) = deciding.state.schedule_lines.get(line).cloned() else {
        deciding.against(unknown("line of the schedule", line.as_str()));
        return None;
    };
    deciding.touches(Some(found.settled.as_ref().map_or(found.at, |settled| settled.at)));
    if found.settled.is_none() {
        deciding.against(Problem::new(
            Code::StillReferenced,
            format!("Line {line} of the schedule is not settled yet."),
            "A message is erased only when nobody has to look at it any more.",
            "Settle it first.",
        ));
    } else if found.erased {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("The message of line {line} was erased already."),
            "A line whose message is still kept is needed.",
            "Nothing needs to be done.",
        ));
    }
    Some(found.kept.message.clone())
}

/// The message of a line is kept no longer.
pub(super) fn forgotten(state: &mut State, line: &Id) {
    if let Some(known) = state.schedule_lines.get_mut(line) {
        Arc::make_mut(known).erased = true;
        state.changes.schedule_lines.insert(line.clone());
    }
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    match what {
        What::ScheduleKept(it) => {
            let line =
                ScheduleLine { kept: it.clone(), at: when.at, entry: when.seq, settled: None, erased: false };
            state.changes.schedule_lines.insert(it.line.clone());
            state.schedule_lines.insert(it.line.clone(), Arc::new(line));
        }
        What::ScheduleSettled(it) => {
            let settled = |case: Option<Id>| {
                Some(Settled {
                    outcome: it.outcome,
                    at: when.at,
                    by: when.actor.to_string(),
                    entry: when.seq,
                    case,
                })
            };
            for id in it.lines() {
                if let Some(line) = state.schedule_lines.get_mut(id) {
                    Arc::make_mut(line).settled = settled(it.case.clone());
                    state.changes.schedule_lines.insert(id.clone());
                }
            }
            let Some(told) = state.schedule_lines.get(&it.line).map(|line| (*line.kept.schedule).clone())
            else {
                return;
            };
            if let Some(case) = &it.case {
                of_schedule(state, when, case, told);
            }
        }
        _ => {}
    }
}

/// The case stands for an appointment from now on; what a person planned in it stays theirs.
fn of_schedule(state: &mut State, when: &When, case: &Id, told: Scheduled) {
    change_case(state, when, case, |case| {
        if case.schedule.is_none() {
            case.schedule = Some(OfSchedule::planned_by_hand(&told, when.seq));
        }
    });
    state.index_schedule(case, &[]);
}

impl State {
    /// The lines that nobody has settled, the oldest first.
    pub fn open_schedule_lines(&self) -> Vec<&ScheduleLine> {
        let open = self.schedule_lines.values().filter(|line| line.settled.is_none());
        let mut all: Vec<&ScheduleLine> = open.map(|line| &**line).collect();
        all.sort_by_key(|line| (line.at, line.entry));
        all
    }
}

/// What the schedule leaves open about a case, in sentences: they name neither procedure nor patient, since a wall may
/// show them.
pub fn says(case: &Case, open: &[&ScheduleLine]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    if case.is_open() && case.by_schedule_not_known() {
        all.push("Needs not known: nobody has said yet what its procedure needs.".into());
    } else if case.is_open() && case.needs_not_known() {
        all.push("Needs not known: no count sheet is named for it.".into());
    }
    if case.is_open() && case.schedule.as_ref().is_some_and(|of| of.procedure_changed) {
        all.push("The schedule names another procedure since its needs were chosen: look at them.".into());
    }
    for line in open.iter().filter(|line| line.kept.case.as_ref() == Some(&case.case)) {
        all.push(format!("The schedule says something else of it; {} waits for a person.", line.kept.line));
    }
    all
}
