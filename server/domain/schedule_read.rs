//! A scheduling message as it concerns cases: which appointment, what of it, and everything in the message that
//! contradicts itself or is lacking. Nothing is guessed.

use chrono_tz::Tz;

use super::schedule::{Coded, Scheduled};
use super::schedule_time::{all_same, clock, instants, minute_of, sent, short};
use super::text::{LONGEST_LINE, Line, is_blank};
use super::time::Time;
use crate::formats::hl7::Message;
use crate::formats::hl7::appointment::{Appointment, appointment};
use crate::formats::hl7::moment;
use crate::formats::hl7::schedule::{self, Answer, Refused, Schedule};
use crate::formats::json::normal;

/// What a message is sent for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Trigger {
    Book,
    Move,
    Modify,
    Cancel,
    Delete,
    NoShow,
}

impl Trigger {
    fn of(event: &str) -> Option<Trigger> {
        Some(match event {
            "S12" => Trigger::Book,
            "S13" => Trigger::Move,
            "S14" => Trigger::Modify,
            "S15" => Trigger::Cancel,
            "S17" => Trigger::Delete,
            "S26" => Trigger::NoShow,
            _ => return None,
        })
    }

    /// Whether the appointment does not take place.
    pub fn ends(self) -> bool {
        match self {
            Trigger::Book | Trigger::Move | Trigger::Modify => false,
            Trigger::Cancel | Trigger::Delete | Trigger::NoShow => true,
        }
    }
}

/// What is wrong with a message, with the number of HL7 table 0357.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fault {
    pub number: u16,
    pub words: String,
}

pub(super) fn fault(number: u16, words: impl Into<String>) -> Fault {
    Fault { number, words: words.into() }
}

/// A required field is missing; a value is none of its type; two of them do not go together.
pub(super) const MISSING: u16 = 101;
pub(super) const TYPE: u16 = 102;
pub(super) const VALUES: u16 = 103;
const SEQUENCE: u16 = 100;

/// A scheduling message that may be about a case.
#[derive(Clone, PartialEq, Debug)]
pub struct Incoming {
    pub trigger: Option<Trigger>,
    /// As the message writes it, as S13.
    pub event: Option<Line>,
    pub control_id: Option<Line>,
    pub schedule: Scheduled,
    /// The patient's number.
    pub patient: Option<Line>,
    /// Why it is cancelled, where that is told by a code.
    pub reason: Option<String>,
    pub faults: Vec<Fault>,
}

impl Incoming {
    /// The same where its character set is none that is read here: nothing in it is taken for what it says.
    pub fn not_certain(mut self) -> Incoming {
        let words = "Its character set (MSH-18) is none that is read here, and letters stand in it that it tells otherwise.";
        self.faults.insert(0, fault(VALUES, words));
        (self.patient, self.schedule.room, self.schedule.codes) = (None, None, None);
        self
    }
}

/// A text as a line of the ledger holds it; none where nothing can be read in it.
fn line(text: &str) -> Option<Line> {
    let plain: String = text.chars().filter(|sign| !sign.is_control()).collect();
    let plain: String = normal(plain.trim()).chars().take(LONGEST_LINE).collect();
    (!is_blank(&plain)).then_some(Line(plain))
}

/// Reads a message.
///
/// # Errors
/// Where it is none that is taken here, which is not for a person: another type, event or version.
pub fn read(message: &Message<'_>, zone: Tz) -> Result<Incoming, Refused> {
    let told = match schedule::of(message) {
        Ok(told) => Ok(told),
        Err(refused) if refused.answer() == Some(Answer::Error) => Err(refused),
        Err(refused) => return Err(refused),
    };
    let it = appointment(message);
    let header = |field| message.header().map(|header| header.field(field)).unwrap_or_default();
    let event = message.component(header(9), 2);
    let number = |text: &str| line(&message.unescaped(text)).filter(|number| number.as_str() != "\"\"");
    let sender = line(&it.sender).unwrap_or_else(|| Line("unnamed sender".into()));
    let mut all = Incoming {
        trigger: Trigger::of(event),
        event: line(event),
        control_id: number(header(10)),
        schedule: Scheduled {
            sender,
            placer: told.as_ref().ok().and_then(|told| number(&told.placer_id)),
            filler: told.as_ref().ok().and_then(|told| number(&told.filler_id)),
            sent: sent(&it.sent, zone),
            start: None,
            minutes: None,
            room: line(&it.room),
            codes: None,
        },
        patient: line(&it.patient),
        reason: None,
        faults: Vec::new(),
    };
    if it.headers > 1 {
        all.faults.push(fault(SEQUENCE, "More than one message stands in one frame."));
    }
    match told {
        Err(refused) => all.faults.push(fault(refused.number(), refused.words())),
        Ok(told) => appointment_of(&mut all, &it, &told, zone),
    }
    Ok(all)
}

fn appointment_of(all: &mut Incoming, it: &Appointment, told: &Schedule, zone: Tz) {
    if it.patient.chars().count() > LONGEST_LINE {
        // Two numbers that begin alike are two patients.
        all.patient = None;
        all.faults.push(fault(TYPE, "The patient's number is longer than 200 characters."));
    }
    let too_long = [&told.placer_id, &told.filler_id].into_iter().any(|id| id.chars().count() > LONGEST_LINE);
    if too_long || (all.schedule.placer.is_none() && all.schedule.filler.is_none()) {
        all.faults.push(fault(TYPE, "The appointment's id is blank, or longer than 200 characters."));
    }
    if it.patients > 1 {
        all.faults
            .push(fault(VALUES, format!("The message names {} patients; a case has one.", it.patients)));
    }
    let coded = |code: &str| {
        code.len() <= 40 && code.bytes().all(|b| b.is_ascii_alphanumeric() || b"_-.".contains(&b))
    };
    all.reason = Some(told.reason.clone()).filter(|reason| !reason.is_empty() && coded(reason));
    status(all, &told.status);
    if it.tells_codes {
        let codes =
            it.codes.iter().filter_map(|[code, name]| Some(Coded { code: line(code)?, name: line(name) }));
        all.schedule.codes = Some(codes.collect());
    }
    if all.trigger.is_some_and(Trigger::ends) {
        // What does not take place needs no time.
        return;
    }
    match span(it, zone) {
        Ok((start, minutes)) => {
            all.schedule.start = start;
            all.schedule.minutes = minutes;
            if let (Some(start), Some(minutes)) = (start, minutes) {
                all.faults.extend(elsewhere(it, (start, minutes), zone));
            }
        }
        Err(fault) => {
            all.faults.push(fault);
            // Whoever looks at it is told the start all the same, where one is told.
            all.schedule.start = start_alone(it, zone);
        }
    }
    if all.faults.is_empty() && all.schedule.start.is_none() && all.trigger != Some(Trigger::Modify) {
        all.faults.push(fault(
            MISSING,
            "No time stands in it: the appointment's start is needed (SCH-11 or TQ1-7).",
        ));
    }
}

/// What is booked and told as cancelled, or the other way about.
fn status(all: &mut Incoming, status: &str) {
    let status: String = status.to_ascii_lowercase().chars().filter(char::is_ascii_alphanumeric).collect();
    let ended = ["cancelled", "canceled", "noshow", "deleted", "discontinued"].contains(&status.as_str());
    let stands =
        ["booked", "pending", "waitlist", "started", "complete", "completed"].contains(&status.as_str());
    let event = all.event.as_ref().map_or("?", |event| event.as_str()).to_string();
    let words = match all.trigger.map(Trigger::ends) {
        Some(false) if ended => {
            format!("{event} says that the appointment takes place; its status is \"{status}\".")
        }
        Some(true) if stands => {
            format!("{event} says that the appointment ends; its status is \"{status}\".")
        }
        _ => return,
    };
    all.faults.push(fault(VALUES, words));
}

fn lengths(it: &Appointment) -> Result<Option<u32>, Fault> {
    let mut known = None;
    for [value, unit] in &it.durations {
        let found = moment::minutes(value, unit);
        let told = || format!("{} {}", short(value), short(unit));
        let found =
            found.ok_or_else(|| fault(TYPE, format!("Its length \"{}\" is no whole minutes.", told())))?;
        known = Some(found);
    }
    Ok(known)
}

/// When the appointment starts and how many minutes it takes, as far as it is told.
fn span(it: &Appointment, zone: Tz) -> Result<(Option<Time>, Option<u32>), Fault> {
    let services = || it.booked.iter().filter(|booked| booked.segment == "AIS");
    let mut starts = it.starts.clone();
    if starts.is_empty() {
        // Some tell it with the service alone; of several one after the other the first begins the appointment.
        starts
            .extend(services().map(|service| service.start.clone()).filter(|start| !start.is_empty()).min());
    }
    let starts = all_same(&starts, "start", zone)?;
    let ends = all_same(&it.ends, "end", zone)?;
    let mut length = lengths(it)?;
    if length.is_none()
        && ends.is_none()
        && let [service] = services().collect::<Vec<_>>().as_slice()
        && !service.duration.is_empty()
    {
        length = moment::minutes(&service.duration, &service.unit);
    }
    let Some(starts) = starts else { return Ok((None, length)) };
    let told = |at: Time| at.told(zone);
    let Some(ends) = ends else {
        return match starts.as_slice() {
            [start] => Ok((Some(*start), within_a_day(length)?)),
            _ => Err(twice(&starts, zone)),
        };
    };
    let all = starts.iter().flat_map(|start| ends.iter().map(|end| (*start, *end)));
    let mut fitting: Vec<(Time, i64)> =
        all.map(|(start, end)| (start, end.since_s(start))).filter(|(_, seconds)| *seconds > 0).collect();
    if fitting.is_empty() {
        let (start, end) =
            (starts.first().copied().unwrap_or_default(), ends.last().copied().unwrap_or_default());
        return Err(fault(
            VALUES,
            format!("It starts on {} and ends on {}, not later.", told(start), told(end)),
        ));
    }
    if let Some(length) = length {
        let between = fitting.iter().map(|(_, seconds)| seconds / 60).min().unwrap_or_default();
        fitting.retain(|(_, seconds)| *seconds == i64::from(length) * 60);
        if fitting.is_empty() {
            let words =
                format!("It is said to take {length} minutes; from its start to its end it is {between}.");
            return Err(fault(VALUES, words));
        }
    }
    match fitting.as_slice() {
        [(start, seconds)] => {
            let minutes = u32::try_from((seconds + 59) / 60).ok();
            Ok((Some(*start), within_a_day(minutes.or(length))?))
        }
        _ => Err(twice(&starts, zone)),
    }
}

/// The start that is told, whatever else is wrong; none where it is told in two ways.
fn start_alone(it: &Appointment, zone: Tz) -> Option<Time> {
    match all_same(&it.starts, "start", zone).ok()??.as_slice() {
        [start] => Some(*start),
        _ => None,
    }
}

fn within_a_day(minutes: Option<u32>) -> Result<Option<u32>, Fault> {
    match minutes {
        Some(minutes) if minutes > 24 * 60 => {
            Err(fault(VALUES, format!("It is said to take {minutes} minutes, which is more than a day.")))
        }
        other => Ok(other),
    }
}

fn twice(starts: &[Time], zone: Tz) -> Fault {
    let told = starts.first().map(|start| start.told(zone)).unwrap_or_default();
    fault(
        VALUES,
        format!("Around {told} clocks go back, and its hour comes twice: which of them is not told."),
    )
}

/// Resources that are booked for a time at which the appointment is not.
fn elsewhere(it: &Appointment, (start, minutes): (Time, u32), zone: Tz) -> Vec<Fault> {
    let end = start.plus_minutes(i64::from(minutes));
    let mut all = Vec::new();
    for booked in it.booked.iter().filter(|booked| !booked.start.is_empty()) {
        let what = match booked.segment {
            "AIS" => "procedure",
            "AIL" => "room",
            "AIG" => "equipment",
            _ => "staff",
        };
        let Ok(at) = minute_of(&booked.start, what) else {
            all.push(fault(TYPE, format!("The time \"{}\" of its {what} is none.", clock(&booked.start))));
            continue;
        };
        let length = moment::minutes(&booked.duration, &booked.unit).unwrap_or(minutes);
        let meets = |at: &Time| *at < end && at.plus_minutes(i64::from(length)) > start;
        let found = instants(at.local, at.offset_minutes, zone);
        if !found.iter().any(meets) {
            let when = found.first().map_or_else(|| clock(&booked.start), |at| at.told(zone));
            all.push(fault(
                VALUES,
                format!("The appointment is on {}, its {what} is booked for {when}.", start.told(zone)),
            ));
        }
    }
    all.dedup();
    all.truncate(10);
    all
}
