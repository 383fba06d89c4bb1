//! A cycle record as it was given, and what it is read as: the plain form first, else the form of its machine.

use std::fmt;
use std::sync::Arc;

use super::deciding::Deciding;
use super::deciding_end::AHEAD_MINUTES;
use super::id::Id;
use super::load::Load;
use super::refusal::{Code, Problem};
use super::sha256::Sha256Of;
use super::state::State;
use super::text::Quantity;
use super::time::Time;
use super::verdict::{Judged, Judgement};
use crate::analysis::record::Record;
use crate::analysis::steam::OutOfRange;
use crate::formats::form::{Form, Is};
use crate::formats::mapping;
use crate::formats::record::{self, RecordError, Warning};
use crate::formats::said::{self, Said};

/// The bytes of a record, and what they are read with.
#[derive(Clone, Copy)]
pub struct Given<'a> {
    pub bytes: &'a [u8],
    /// The form of the machine that wrote it, where it has one.
    pub form: Option<&'a Arc<Form>>,
    pub ambient_kpa: Option<Quantity>,
}

/// A record as it was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    pub record: Record,
    pub warnings: Vec<Warning>,
    pub said: Said,
    /// The form by which it was read; none where it is in the plain form.
    pub form: Option<Arc<Form>>,
}

/// Why a record could not be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Unreadable {
    pub plain: RecordError,
    /// Where its machine has a form.
    pub by_form: Option<Box<RecordError>>,
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.by_form {
            None => self.plain.fmt(f),
            Some(error) => {
                write!(
                    f,
                    "read by the machine's record form: {error}. Read in the plain form: {}",
                    self.plain
                )
            }
        }
    }
}

/// Reads a record. One that is in the plain form is read so, whatever its machine's form is.
pub fn take(given: &Given, want_pressure: bool) -> Result<Taken, Unreadable> {
    let plain = record::read(given.bytes, given.ambient_kpa.map(Quantity::f64), want_pressure);
    let plain = plain.and_then(|(record, warnings)| {
        let said = said::of_plain(given.bytes)?;
        // What is read after all is not passed over.
        let passed = |it: &Warning| !matches!(it.column.as_str(), "cycle_no" | "machine");
        let warnings = warnings.into_iter().filter(passed).collect();
        Ok(Taken { record, warnings, said, form: None })
    });
    let (plain, form) = match (plain, given.form) {
        (Ok(taken), _) => return Ok(taken),
        (Err(plain), None) => return Err(Unreadable { plain, by_form: None }),
        (Err(plain), Some(form)) => (plain, form),
    };
    match mapping::read(given.bytes, form, given.ambient_kpa.map(|kpa| kpa.0), want_pressure) {
        Ok(mapped) => Ok(Taken {
            record: mapped.record,
            warnings: mapped.warnings,
            said: mapped.said,
            form: Some(form.clone()),
        }),
        Err(by_form) => Err(Unreadable { plain, by_form: Some(Box::new(by_form)) }),
    }
}

/// A pressure inside the hold that no saturated steam has, at the line and the column of the file it was read from.
pub(super) fn unsaturated(
    bytes: &[u8],
    form: Option<&Form>,
    sample: usize,
    range: &OutOfRange,
) -> RecordError {
    let (before, column) = match form {
        Some(form) => {
            let column = form.columns.iter().find(|column| column.is == Is::Pressure);
            let before = u64::from(form.skip_lines) + u64::from(form.skip_rows);
            (before, column.map(|column| column.column.clone()))
        }
        None => (0, record::pressure_column(bytes)),
    };
    // The header stands before the first sample, and lines are counted from 1.
    RecordError::unsaturated(before + sample as u64 + 2, column.as_deref(), range)
}

/// Whether two texts are the same number of a cycle: the same text, or the same whole number, since machines write
/// zeros before it that people leave out.
pub fn same_cycle(one: &str, other: &str) -> bool {
    let number = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    let short = |text: &str| text.trim_start_matches('0').to_string();
    let (one, other) = (one.trim(), other.trim());
    one == other || (number(one) && number(other) && short(one) == short(other))
}

/// What a record says of itself that its load cannot be: another cycle, another machine.
pub(super) fn of_another(load: &Load, said: &Said, form: Option<&Arc<Form>>) -> Vec<Problem> {
    let mut problems = Vec::new();
    // In the plain form a file names its machine by the code here; by its form, by what the machine calls itself.
    let called = form.and_then(|form| form.called.as_deref()).unwrap_or(load.machine.as_str()).trim();
    let another = |machine: &str| machine != called && machine != load.machine.as_str();
    if let Some((machine, line)) = said.machine.as_ref().filter(|(machine, _)| another(machine)) {
        problems.push(Problem::new(
            Code::NoRecord,
            format!(
                "The record names machine \"{machine}\" in line {line}; load {} ran in {}.",
                load.load, load.machine
            ),
            format!("A record that names \"{called}\" is needed."),
            "Take the file of this load's own cycle.",
        ));
    }
    let number = load.cycle_no.as_ref().map(|cycle| cycle.0.as_str());
    if let (Some((found, line)), Some(number)) = (&said.cycle_no, number)
        && !same_cycle(found, number)
    {
        problems.push(Problem::new(
            Code::NoRecord,
            format!(
                "The record is of cycle \"{found}\" (line {line}); load {} is cycle {number} of {}.",
                load.load, load.machine
            ),
            format!("The record of cycle {number} is needed."),
            "Take the file of this load's own cycle.",
        ));
    }
    // A record of something else is no evidence, whenever it is told.
    problems.into_iter().map(Problem::even_late).collect()
}

/// A record whose own times lie wholly on another day than its load. A machine's clock may be wrong by hours, so a day
/// before the start is let through; nothing is measured ahead of now.
pub(super) fn of_another_time(state: &State, load: &Load, of: &Judgement, now: Time) -> Option<Problem> {
    let (first, last) = (of.first_at?, of.last_at?);
    let from = load.started_at.plus_minutes(-24 * 60);
    let until = now.max(load.started_at).plus_minutes(AHEAD_MINUTES);
    (last < from || first > until).then(|| {
        Problem::new(
            Code::NoRecord,
            format!(
                "The record runs from {} to {}; load {} was started on {}.",
                first.told(state.zone),
                last.told(state.zone),
                load.load,
                load.started_at.told(state.zone)
            ),
            "A record of the time in which the load ran is needed.",
            "Take the file of this load's own cycle. If the machine's clock is wrong, have it set.",
        )
        .even_late()
    })
}

/// The cycle's end: the record's own last time, else its span after the start; never after now, when the record is there,
/// and never before the load was started.
pub(super) fn ended_at(load: &Load, of: &Judgement, now: Time) -> Time {
    let by_span = load.started_at.plus_s(of.span_s.ceil() as i64);
    of.last_at.filter(|last| *last >= load.started_at).unwrap_or(by_span).min(now).max(load.started_at)
}

/// The cycle's end where somebody read its printout: no earlier than its hold may have ended, and by now.
pub(super) fn read_at(load: &Load, hold_s: Option<Quantity>, at: Time, now: Time) -> Time {
    let hold_s = hold_s.map_or(0.0, |hold_s| hold_s.f64().ceil());
    at.max(load.started_at.plus_s(hold_s as i64)).min(now).max(load.started_at)
}

/// More loads than this are not named.
const NAMED_MOST: usize = 20;

/// The other loads whose verdict stands on these very bytes.
pub(super) fn judged_elsewhere(state: &State, load: &Load, sha256: &str) -> Vec<Id> {
    let hash = Sha256Of::parse(sha256);
    let same = |other: &&Arc<Load>| {
        other.load != load.load && other.judged.as_ref().is_some_and(|judged| judged.record == hash)
    };
    state.loads.values().filter(same).map(|other| other.load.clone()).take(NAMED_MOST).collect()
}

/// The same bytes, read in the same way, say nothing new of the same load.
pub(super) fn already_judged(deciding: &mut Deciding, load: &Load, judged: &Judged) {
    let before = load.judged.as_ref().and_then(|verdict| Some((verdict.entry, verdict.whole.as_ref()?)));
    let Some((entry, _)) = before.filter(|(_, before)| before.by.says_as(&judged.by)) else { return };
    let verdict = if judged.passed { "passes" } else { "fails" };
    deciding.against(Problem::new(
        Code::AlreadyDone,
        format!("Load {} was already judged by this very record, in entry {entry}: it {verdict}.", load.load),
        "Another record is needed to judge it again.",
        "Nothing needs to be done; the record is kept.",
    ));
}
