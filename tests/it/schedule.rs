//! What messages of a schedule come to, without a connection: times, contradictions, moves, what a person decided.
//! Fields and events after HL7 version 2.5, chapter 10, from memory and from published pages (see SOURCES.md).

use fettle::domain::command::Command;
use fettle::domain::person::Role::{Charge, Lead};
use fettle::domain::schedule_line::Answered;
use fettle::domain::schedule_next::{self, Next};
use fettle::domain::schedule_read::{self, Incoming};
use fettle::formats::hl7;
use serde_json::{Value, json};

use super::ward::Ward;

mod bytes;
mod kept;
mod needs;
mod time;

/// A message about appointment `A-1` unless the fields say otherwise, in the order in which people write them.
#[derive(Clone, Debug)]
pub struct Told {
    pub event: &'static str,
    pub control: String,
    pub filler: String,
    pub sent: String,
    pub start: String,
    pub end: String,
    pub minutes: String,
    pub room: String,
    pub code: String,
    pub patient: String,
    pub status: String,
    /// More segments.
    pub more: String,
}

pub fn told(event: &'static str) -> Told {
    Told {
        event,
        control: "M-1".into(),
        filler: "A-1".into(),
        sent: "20260302080000+0100".into(),
        start: "20260303100000".into(),
        end: String::new(),
        minutes: "60".into(),
        room: "OR^3".into(),
        code: "BRONCH^Rigid bronchoscopy".into(),
        patient: "PAT-1^^^NORTH^MR".into(),
        status: String::new(),
        more: String::new(),
    }
}

impl Told {
    pub fn text(&self) -> String {
        let Told { event, control, filler, sent, start, end, minutes, room, code, patient, status, more } =
            self;
        let gap = "|".repeat(14);
        format!(
            "MSH|^~\\&|THEATRE|NORTH|FETTLE|WARD|{sent}||SIU^{event}^SIU_S12|{control}|P|2.5\r\
             SCH||{filler}||||BOOK|||{minutes}|min|^^^{start}^{end}{gap}{status}\r\
             PID|1||{patient}||NAME^SOMEBODY||19700101\rRGS|1\rAIS|1||{code}\rAIL|1||{room}\r{more}"
        )
    }

    pub fn with(mut self, change: impl FnOnce(&mut Told)) -> Told {
        change(&mut self);
        self
    }
}

pub fn read(ward: &Ward, text: &str) -> Incoming {
    let message = hl7::read(text).expect("a message");
    schedule_read::read(&message, ward.paper.state.zone).expect("a scheduling message")
}

pub fn next(ward: &Ward, told: &Told) -> Next {
    // The ward keeps no words behind its seals, so a patient that is known is taken as the same.
    let incoming = read(ward, &told.text());
    let patient = incoming.patient.as_ref().map(|it| it.as_str().to_string());
    schedule_next::next(&ward.paper.state, &incoming, patient.as_deref(), ward.now)
}

/// Takes a message that has to come to a command, and gives it.
pub fn taken(ward: &mut Ward, told: &Told) -> Value {
    match next(ward, told) {
        Next::Give(act) => {
            let command = Command::plain(act).to_value().expect("a command");
            ward.done(Charge, command.clone());
            command
        }
        other => panic!("{told:?}: {other:?}"),
    }
}

/// Why a message waits for a person, and how it is answered.
pub fn asked(ward: &Ward, told: &Told) -> (String, Answered) {
    match next(ward, told) {
        Next::Ask { why, answered, .. } => (why.join(" "), answered),
        other => panic!("{told:?}: {other:?}"),
    }
}

pub fn nothing(ward: &Ward, told: &Told) {
    let came = next(ward, told);
    assert!(matches!(came, Next::Nothing(_)), "{told:?}: {came:?}");
}

/// A ward with a count sheet and a set that a case can need.
pub fn ward() -> Ward {
    let mut ward = Ward::open();
    let line = json!({"line": "part", "models": ["part"], "quantity": 1, "essential": true});
    ward.done(
        Lead,
        json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult", "lines": [line]}),
    );
    ward.done(
        Lead,
        json!({"do": "define_count_sheet", "count_sheet": "stent", "name": "Stents", "lines": [line]}),
    );
    ward
}

#[test]
fn bookings_are_made_moved_changed_and_cancelled() {
    let mut ward = ward();
    taken(&mut ward, &told("S12"));
    let case = ward.paper.state.cases.get("A-1").expect("a case").clone();
    assert_eq!((case.start.to_string().as_str(), case.minutes), ("2026-03-03T09:00:00Z", 60));
    assert_eq!(case.room.as_ref().map(|room| room.as_str()), Some("OR 3"));
    assert!(case.patient.as_ref().is_some_and(|it| it.starts_with("sealed:")));
    // The same content under another control id changes nothing.
    nothing(&ward, &told("S14").with(|it| it.control = "M-2".into()));
    let moved = told("S13").with(|it| {
        it.start = "20260303130000".into();
        it.sent = "20260302090000+0100".into();
    });
    let command = taken(&mut ward, &moved);
    assert_eq!((&command["do"], &command["start"]), (&json!("change_case"), &json!("2026-03-03T12:00:00Z")));
    assert!(command.get("minutes").is_none() && command.get("room").is_none(), "{command}");
    taken(
        &mut ward,
        &told("S14").with(|it| {
            it.start = "20260303130000".into();
            it.room = "OR^5".into();
            it.sent = "20260302093000+0100".into();
        }),
    );
    assert_eq!(ward.paper.state.cases["A-1"].room.as_ref().map(|room| room.as_str()), Some("OR 5"));
    // What was sent before the last message is stale.
    nothing(&ward, &moved);
    taken(&mut ward, &told("S15").with(|it| it.sent = "20260302100000+0100".into()));
    assert_eq!(
        ward.paper.state.cases["A-1"].cancelled.as_deref(),
        Some("By the schedule: it was cancelled there (BOOK).")
    );
    nothing(&ward, &told("S26").with(|it| it.sent = "20260302101000+0100".into()));
    let (why, answered) = asked(&ward, &told("S13").with(|it| it.sent = "20260302110000+0100".into()));
    assert!(why.contains("cancelled here") && answered == Answered::Accepted, "{why}");
    // Booked anew under the same number it is a case of its own.
    taken(&mut ward, &told("S12").with(|it| it.sent = "20260302120000+0100".into()));
    assert!(ward.paper.state.cases["A-1-2"].is_open());
    taken(&mut ward, &told("S17").with(|it| it.sent = "20260302130000+0100".into()));
    assert!(!ward.paper.state.cases["A-1-2"].is_open());
}

/// The numbers of the keeper and of the one who asks: several appointments may be asked for under one.
#[test]
fn cases_are_found_by_either_number() {
    let mut ward = ward();
    let both = |filler: &str, placer: &str, event: &'static str| {
        let text = told(event).with(|it| it.filler = filler.into()).text();
        text.replace(&format!("SCH||{filler}"), &format!("SCH|{placer}|{filler}"))
    };
    let come = |ward: &Ward, text: &str| {
        let incoming = read(ward, text);
        schedule_next::next(&ward.paper.state, &incoming, Some("PAT-1"), ward.now)
    };
    let give = |ward: &mut Ward, text: &str| match come(ward, text) {
        Next::Give(act) => drop(ward.done(Charge, Command::plain(act).to_value().expect("a command"))),
        other => panic!("{text}: {other:?}"),
    };
    give(&mut ward, &both("", "P-1", "S12"));
    assert!(ward.paper.state.cases.contains_key("P-1"));
    // The keeper's number comes later, and finds the case by the other.
    give(&mut ward, &both("F-1", "P-1", "S14"));
    assert!(matches!(come(&ward, &both("F-1", "", "S14")), Next::Nothing(_)));
    give(&mut ward, &both("F-2", "P-1", "S12"));
    assert!(ward.paper.state.cases.contains_key("F-2"), "another appointment under the same request");
    give(&mut ward, &both("F-1", "", "S15"));
    assert!(ward.paper.state.cases["P-1"].cancelled.is_some() && ward.paper.state.cases["F-2"].is_open());
}

#[test]
fn what_contradicts_itself_or_lacks_something_waits_for_a_person() {
    let ward = ward();
    let all: [(&str, Told, &str); 13] = [
        ("an end before the start", told("S12").with(|it| it.end = "20260303090000".into()), "not later"),
        ("a length that is another", told("S12").with(|it| it.end = "20260303114500".into()), "it is 105"),
        ("a start without its hour", told("S12").with(|it| it.start = "20260303".into()), "tells no minute"),
        ("a start that is none", told("S12").with(|it| it.start = "20260231100000".into()), "is no time"),
        ("no start", told("S12").with(|it| it.start = String::new()), "No time stands in it"),
        ("no length", told("S12").with(|it| it.minutes = String::new()), "no length and no end"),
        ("a length in words", told("S12").with(|it| it.minutes = "one".into()), "no whole minutes"),
        ("booked as cancelled", told("S12").with(|it| it.status = "Cancelled".into()), "its status is"),
        ("cancelled as booked", told("S15").with(|it| it.status = "Booked".into()), "its status is"),
        (
            "a room three days earlier",
            told("S12").with(|it| it.more = "AIL|2||OR^4|||20260228100000|||45|min\r".into()),
            "its room is booked for 28 February",
        ),
        (
            "another start beside it",
            told("S12").with(|it| it.more = "TQ1|1||||||20260303110000\r".into()),
            "is told as",
        ),
        ("two patients", told("S12").with(|it| it.more = "PID|2||PAT-2\r".into()), "names 2 patients"),
        (
            "two messages in a frame",
            told("S12").with(|it| it.more = told("S12").text()),
            "More than one message",
        ),
    ];
    for (what, told, words) in all {
        let (why, answered) = asked(&ward, &told);
        assert!(why.contains(words) && answered == Answered::Error, "{what}: {why}");
    }
    // A room that is booked a little longer than the appointment contradicts nothing.
    let longer = told("S12").with(|it| it.more = "AIL|2||OR^4|||20260303093000|||120|min\r".into());
    assert!(matches!(next(&ward, &longer), Next::Give(_)));
    for event in ["S15", "S17", "S26"] {
        let (why, answered) = asked(&ward, &told(event));
        assert!(why.contains("no case here stands for") && answered == Answered::Accepted, "{why}");
    }
    let (why, answered) = asked(&ward, &told("S12").with(|it| it.start = "20260301100000".into()));
    assert!(why.contains("which is past") && answered == Answered::Accepted, "{why}");
}

#[test]
fn what_names_people_is_not_kept() {
    let text = told("S12")
        .with(|it| it.more = "AIP|1||77^SURGEON^NORA|SURGEON\rNTE|1||call NAME\rNK1|1|KIN^SOME\r".into());
    let text = text.text();
    let message = hl7::read(&text).expect("a message");
    let kept = hl7::appointment::reduced(&message, true);
    for name in ["NAME", "SOMEBODY", "19700101", "NORA", "KIN", "call"] {
        assert!(!kept.contains(name), "{name}: {kept}");
    }
    assert!(kept.contains("PAT-1") && kept.contains("20260303100000") && kept.contains("NK1|…"), "{kept}");
    assert!(!hl7::appointment::reduced(&message, false).contains("PAT-1"));
}

/// One entry of each kind that the schedule brings, in a department with the count sheet `adult`.
pub async fn every_kind(served: &super::served::Served) {
    let schedule = json!({"sender": "THEATRE NORTH", "filler": "A-1", "codes": [{"code": "BRONCH"}]});
    let start = "2999-03-03T09:00:00Z";
    for command in [
        json!({"do": "plan_case", "case": "A-1", "start": start, "minutes": 45, "needs": [], "schedule": schedule}),
        json!({"do": "map_procedure", "code": "BRONCH", "needs": ["adult"]}),
        json!({"do": "apply_procedures", "cases": ["A-1"]}),
        json!({"do": "keep_schedule_message", "schedule": schedule, "why": ["No time stands in it."],
               "answered": "AE", "message": "MSH|"}),
        json!({"do": "settle_schedule_message", "line": "line-00001", "outcome": "sender_told"}),
    ] {
        served.done(Charge, command).await;
    }
}
