//! What a scheduling message (SIU) says of an appointment, as it says it: nothing is completed or put right here.

use serde::Serialize;

use super::{Message, NoMessage, read};

/// The versions whose messages are read.
const VERSIONS: [&str; 5] = ["2.3", "2.3.1", "2.4", "2.5", "2.5.1"];
/// Events that make, move, change and cancel appointments, and the one that says that the patient did not come.
const EVENTS: [&str; 6] = ["S12", "S13", "S14", "S15", "S17", "S26"];

/// An appointment by the fields of the message. What is not told is empty; escapes are left as they are.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize)]
pub struct Schedule {
    /// The message's type with its event (MSH-9).
    #[serde(rename = "type")]
    pub kind: String,
    pub control_id: String,
    pub version: String,
    /// The number that the one who asked for the appointment gave it (SCH-1), and the one who keeps the list (SCH-2).
    pub placer_id: String,
    pub filler_id: String,
    /// Why this message is sent (SCH-6), else the reason of the appointment (SCH-7).
    pub reason: String,
    pub duration: String,
    pub unit: String,
    pub start: String,
    pub end: String,
    pub status: String,
    pub patient_ids: Vec<String>,
    pub procedures: Vec<String>,
    /// Point of care and room.
    pub rooms: Vec<String>,
    /// What and how many.
    pub equipment: Vec<[String; 2]>,
    /// Who, and in which role.
    pub people: Vec<[String; 2]>,
}

/// The letters of an acknowledgement that refuses.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
pub enum Answer {
    /// The content cannot be used: the same message will not be taken if it is sent again.
    #[serde(rename = "AE")]
    Error,
    /// The message is none that is taken here.
    #[serde(rename = "AR")]
    Reject,
}

impl Answer {
    pub fn letters(self) -> &'static str {
        match self {
            Answer::Error => "AE",
            Answer::Reject => "AR",
        }
    }
}

/// Why a message is no appointment. `number` is that of HL7 table 0357.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Refused {
    NoMessage(NoMessage),
    NotScheduling,
    Event,
    Version,
    /// A test or training message (MSH-11 is not P).
    Processing,
    NoControlId,
    NoSchedule,
    TwoSchedules,
    NoIdentity,
}

impl Refused {
    pub fn code(self) -> &'static str {
        match self {
            Refused::NoMessage(_) => "no_message",
            Refused::NotScheduling => "unsupported_message_type",
            Refused::Event => "unsupported_event",
            Refused::Version => "unsupported_version",
            Refused::Processing => "unsupported_processing_id",
            Refused::NoControlId | Refused::NoIdentity => "required_field_missing",
            Refused::NoSchedule | Refused::TwoSchedules => "segment_sequence_error",
        }
    }

    pub fn number(self) -> u16 {
        match self {
            Refused::NoMessage(_) | Refused::NoSchedule | Refused::TwoSchedules => 100,
            Refused::NoControlId | Refused::NoIdentity => 101,
            Refused::NotScheduling => 200,
            Refused::Event => 201,
            Refused::Processing => 202,
            Refused::Version => 203,
        }
    }

    /// None where nothing can be acknowledged.
    pub fn answer(self) -> Option<Answer> {
        match self {
            Refused::NoMessage(_) => None,
            Refused::NotScheduling | Refused::Event | Refused::Version | Refused::Processing => {
                Some(Answer::Reject)
            }
            Refused::NoControlId | Refused::NoSchedule | Refused::TwoSchedules | Refused::NoIdentity => {
                Some(Answer::Error)
            }
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Refused::NoMessage(why) => why.words(),
            Refused::NotScheduling => "The message is no scheduling message (SIU).",
            Refused::Event => "Of scheduling messages S12 to S15, S17 and S26 are taken.",
            Refused::Version => "Versions 2.3 to 2.5.1 are taken.",
            Refused::Processing => {
                "The message is marked as a test or for training (MSH-11); only P is taken."
            }
            Refused::NoControlId => {
                "The message has no control id (MSH-10), so that it cannot be acknowledged by it."
            }
            Refused::NoSchedule => "The message has no appointment (SCH).",
            Refused::TwoSchedules => "The message has more than one appointment (SCH).",
            Refused::NoIdentity => "The appointment has neither a filler's nor a placer's id (SCH-2, SCH-1).",
        }
    }
}

/// Reads a scheduling message.
///
/// # Errors
/// The first reason for which it is none that can be used.
pub fn schedule(text: &str) -> Result<Schedule, Refused> {
    of(&read(text).map_err(Refused::NoMessage)?)
}

/// The appointment of a message that is already divided.
///
/// # Errors
/// The first reason for which it is none that can be used.
pub fn of(message: &Message<'_>) -> Result<Schedule, Refused> {
    let header = message.header().ok_or(Refused::NoMessage(NoMessage::NoHeader))?;
    let (kind, version) = (header.field(9), message.component(header.field(12), 1));
    if message.component(kind, 1) != "SIU" {
        return Err(Refused::NotScheduling);
    } else if !EVENTS.contains(&message.component(kind, 2)) {
        return Err(Refused::Event);
    } else if !VERSIONS.contains(&version) {
        return Err(Refused::Version);
    } else if !matches!(message.component(header.field(11), 1), "P" | "") {
        return Err(Refused::Processing);
    } else if header.field(10).is_empty() {
        return Err(Refused::NoControlId);
    }
    let mut appointments = message.all("SCH");
    let sch = appointments.next().ok_or(Refused::NoSchedule)?;
    if appointments.next().is_some() {
        return Err(Refused::TwoSchedules);
    }
    let part = |field: usize, component: usize| message.component(sch.field(field), component).to_owned();
    let mut told = Schedule {
        kind: kind.to_owned(),
        control_id: header.field(10).to_owned(),
        version: version.to_owned(),
        placer_id: part(1, 1),
        filler_id: part(2, 1),
        reason: Some(part(6, 1)).filter(|reason| !reason.is_empty()).unwrap_or_else(|| part(7, 1)),
        duration: part(9, 1),
        unit: part(10, 1),
        start: part(11, 4),
        end: part(11, 5),
        status: part(25, 1),
        ..Schedule::default()
    };
    if told.placer_id.is_empty() && told.filler_id.is_empty() {
        return Err(Refused::NoIdentity);
    }
    timing(message, &mut told);
    resources(message, &mut told);
    Ok(told)
}

/// Where the appointment itself tells no time, version 2.5 tells it in a segment of its own (TQ1), and older feeds with
/// the service.
fn timing(message: &Message<'_>, told: &mut Schedule) {
    let mut fill = |name: &str, start: usize, end: Option<usize>| {
        let Some(segment) = message.segment(name) else { return };
        if told.start.is_empty() {
            told.start = message.component(segment.field(start), 1).to_owned();
        }
        if let Some(end) = end.filter(|_| told.end.is_empty()) {
            told.end = message.component(segment.field(end), 1).to_owned();
        }
    };
    fill("TQ1", 7, Some(8));
    fill("AIS", 4, None);
}

fn resources(message: &Message<'_>, told: &mut Schedule) {
    let owned = |field, component| message.component(field, component).to_owned();
    for patient in message.all("PID") {
        for repetition in patient.field(3).split(message.separators.repetition) {
            let id = message.component(repetition, 1);
            told.patient_ids.extend((!id.is_empty()).then(|| id.to_owned()));
        }
    }
    told.procedures.extend(message.all("AIS").map(|service| owned(service.field(3), 1)));
    told.equipment
        .extend(message.all("AIG").map(|thing| [owned(thing.field(3), 1), owned(thing.field(6), 1)]));
    told.people.extend(message.all("AIP").map(|who| [owned(who.field(3), 1), owned(who.field(4), 1)]));
    for place in message.all("AIL") {
        let (ward, room) = (message.component(place.field(3), 1), message.component(place.field(3), 2));
        let name = [ward, room].join(&message.separators.component.to_string());
        told.rooms.push(name.trim_end_matches(message.separators.component).to_owned());
    }
}
