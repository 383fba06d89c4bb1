//! What the fields of a scheduling message say beside those that name the appointment: when, how long, where, for what,
//! each as often as it is told, so that what contradicts itself can be seen.

use super::{Message, Segment};

/// More repetitions, procedures or resources than this are not looked at.
const MOST: usize = 100;

/// A time and a length that a resource of the appointment is booked for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Booked {
    pub segment: &'static str,
    pub start: String,
    pub duration: String,
    pub unit: String,
}

/// What is told, unescaped; empty texts are left out of lists.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Appointment {
    /// The sending application and facility (MSH-3, MSH-4).
    pub sender: String,
    /// The receiving facility (MSH-6).
    pub receiver: String,
    pub sent: String,
    pub starts: Vec<String>,
    pub ends: Vec<String>,
    pub durations: Vec<[String; 2]>,
    pub booked: Vec<Booked>,
    /// Codes and names of procedures (AIS-3), without those that the message takes away.
    pub codes: Vec<[String; 2]>,
    /// Whether any service stands in it at all.
    pub tells_codes: bool,
    pub room: String,
    /// How many patients it names (PID).
    pub patients: usize,
    /// The patient's number: the medical record number where one is marked as such, else the first.
    pub patient: String,
    /// How many headers stand in it: more than one are several messages in one frame.
    pub headers: usize,
}

fn told(message: &Message<'_>, value: &str) -> String {
    // Two quotes say that a value is taken away: they are none themselves.
    if value.trim() == "\"\"" {
        return String::new();
    }
    message.unescaped(value).trim().to_owned()
}

fn name(message: &Message<'_>, field: &str, number: usize) -> String {
    let first = field.split(message.separators.repetition).next().unwrap_or_default();
    let part = first.split(message.separators.component).nth(number - 1).unwrap_or_default();
    told(message, part)
}

fn add(list: &mut Vec<String>, value: String) {
    if !value.is_empty() && list.len() < MOST && !list.contains(&value) {
        list.push(value);
    }
}

/// Reads a message whatever it is: what it does not tell is empty.
pub fn appointment(message: &Message<'_>) -> Appointment {
    let header = |field| message.header().map(|it| name(message, it.field(field), 1)).unwrap_or_default();
    let sender = [header(3), header(4)].join(" ");
    let mut it = Appointment {
        sender: sender.trim().to_owned(),
        receiver: header(6),
        sent: header(7),
        headers: message.all("MSH").count(),
        patients: message.all("PID").count(),
        ..Appointment::default()
    };
    times(message, &mut it);
    for (segment, start, duration, unit) in RESOURCES {
        for line in message.all(segment).take(MOST).filter(|line| !taken_away(line)) {
            let of = |field: usize| name(message, line.field(field), 1);
            let booked = Booked { segment, start: of(start), duration: of(duration), unit: of(unit) };
            it.booked.extend((!booked.start.is_empty() || !booked.duration.is_empty()).then_some(booked));
        }
    }
    it.tells_codes = message.segment("AIS").is_some();
    for service in message.all("AIS").take(MOST).filter(|service| !taken_away(service)) {
        let coded = [name(message, service.field(3), 1), name(message, service.field(3), 2)];
        it.codes.extend((!coded[0].is_empty() && !it.codes.contains(&coded)).then_some(coded));
    }
    let places = message.all("AIL").filter(|place| !taken_away(place));
    let rooms = places.map(|place| {
        let (ward, room) = (name(message, place.field(3), 1), name(message, place.field(3), 2));
        [ward, room].join(" ").trim().to_owned()
    });
    it.room = rooms.into_iter().find(|room| !room.is_empty()).unwrap_or_default();
    it.patient = patient(message);
    it
}

/// Segments of resources, with the places of their start, duration and unit.
const RESOURCES: [(&str, usize, usize, usize); 4] =
    [("AIS", 4, 7, 8), ("AIG", 8, 11, 12), ("AIL", 6, 9, 10), ("AIP", 6, 9, 10)];

/// Whether the line says that its resource is booked no longer.
fn taken_away(line: &Segment<'_>) -> bool {
    line.field(2).eq_ignore_ascii_case("D")
}

/// When the appointment itself is, in the older form (SCH-9 to 11) and the newer one (TQ1).
fn times(message: &Message<'_>, it: &mut Appointment) {
    for appointment in message.all("SCH").take(1) {
        for timing in appointment.field(11).split(message.separators.repetition).take(MOST) {
            add(&mut it.starts, name(message, timing, 4));
            add(&mut it.ends, name(message, timing, 5));
        }
        let length = [9, 10].map(|field| name(message, appointment.field(field), 1));
        it.durations.extend((!length[0].is_empty()).then_some(length));
    }
    for timing in message.all("TQ1").take(MOST) {
        add(&mut it.starts, name(message, timing.field(7), 1));
        add(&mut it.ends, name(message, timing.field(8), 1));
    }
}

/// The number by which the house knows the patient.
fn patient(message: &Message<'_>) -> String {
    let Some(person) = message.segment("PID") else { return String::new() };
    let all: Vec<&str> = person.field(3).split(message.separators.repetition).take(MOST).collect();
    let kind = |wanted: &str| {
        all.iter().find(|id| name(message, id, 5) == wanted && !name(message, id, 1).is_empty())
    };
    let any = || all.iter().find(|id| !name(message, id, 1).is_empty());
    kind("MR").or_else(|| kind("PI")).or_else(any).map(|id| name(message, id, 1)).unwrap_or_default()
}

/// The fields of each segment that are kept; of a patient the numbers alone, and nobody of the staff.
const KEPT: [(&str, &[usize]); 9] = [
    ("MSH", &[3, 4, 5, 6, 7, 9, 10, 11, 12, 18]),
    ("SCH", &[1, 2, 3, 4, 6, 7, 8, 9, 10, 11, 25]),
    ("TQ1", &[1, 7, 8]),
    ("PID", &[3]),
    ("RGS", &[1, 2, 3]),
    ("AIS", &[1, 2, 3, 4, 5, 6, 7, 8, 9, 10]),
    ("AIG", &[1, 2, 3, 4, 6, 8, 9, 10, 11, 12, 14]),
    ("AIL", &[1, 2, 3, 4, 6, 7, 8, 9, 10, 12]),
    ("AIP", &[1, 2, 4, 6, 7, 8, 9, 10, 12]),
];
/// Coded reasons and kinds of an appointment: beside the code stands free text, which may name anybody.
const CODED: [usize; 3] = [6, 7, 8];
/// A reduced message is no longer than this.
const LONGEST_REDUCED: usize = 20_000;

/// The message less what names people: of each segment the fields that scheduling needs, and the name alone of those
/// that it does not. The patient's numbers stand in it where they are wanted.
pub fn reduced(message: &Message<'_>, with_patient: bool) -> String {
    let mut out = String::new();
    let field_sign = message.separators.field;
    for segment in &message.segments {
        let kept = KEPT.iter().find(|(name, _)| *name == segment.name).map_or(&[][..], |(_, fields)| fields);
        let kept = if segment.name == "PID" && !with_patient { &[] } else { kept };
        let mut line: String =
            segment.name.chars().filter(|sign| sign.is_ascii_alphanumeric()).take(3).collect();
        let own_first = segment.name == "MSH";
        for number in (if own_first { 2 } else { 1 })..=kept.last().copied().unwrap_or(0) {
            line.push(field_sign);
            if kept.contains(&number) || (own_first && number == 2) {
                let field = segment.field(number);
                match segment.name == "SCH" && CODED.contains(&number) {
                    true => line.push_str(message.component(field, 1)),
                    false => line.push_str(field),
                }
            }
        }
        if kept.is_empty() {
            line.push(field_sign);
            line.push('…');
        }
        if out.len() + line.len() > LONGEST_REDUCED {
            out.push('…');
            break;
        }
        out.push_str(&line);
        out.push('\n');
    }
    out
}
