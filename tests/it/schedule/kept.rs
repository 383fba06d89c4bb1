//! What is kept of a message that waits for a person: what it tells of the appointment, and nothing of anybody.

use fettle::domain::command::Command;
use fettle::domain::person::Role::Charge;
use fettle::domain::schedule_line::Answered;
use fettle::domain::schedule_next::{self, Next};
use fettle::formats::hl7;
use serde_json::json;

use super::{asked, next, read, told, ward};

#[test]
fn what_stands_beside_a_code_or_in_the_place_of_a_time_is_not_repeated() {
    let ward = ward();
    let text = told("S12")
        .text()
        .replace("|BOOK|", "|BOOK^Jo Example asked for it^L|CODE^for Jo Example|KIND^Example's own|");
    let message = hl7::read(&text).expect("a message");
    let kept = hl7::appointment::reduced(&message, true);
    assert!(!kept.contains("Example") && kept.contains("|BOOK|CODE|KIND|"), "{kept}");
    // A name in the wrong field: the ledger holds the sentence in clear.
    for (start, quoted) in [("Example Jo", "\"....... ..\""), ("2026-03-03T10:00Z", "\"2026-03-03T10:00Z\"")]
    {
        let (why, answered) = asked(&ward, &told("S12").with(|it| it.start = start.into()));
        assert!(why.contains(quoted) && answered == Answered::Error, "{why}");
    }
    let more = "AIL|2||OR^4|||Example Jo|||45|min\r";
    let (why, _) = asked(&ward, &told("S12").with(|it| it.more = more.into()));
    assert!(why.contains("of its room is none") && !why.contains("Example"), "{why}");
}

/// Two quotes are a value that is taken away, in a component as in a field.
#[test]
fn a_value_that_is_taken_away_is_none() {
    let ward = ward();
    let given = told("S12").with(|it| {
        it.patient = "\"\"^^^NORTH^MR".into();
        it.room = "\"\"^3".into();
        it.code = "\"\"^Nothing".into();
    });
    let incoming = read(&ward, &given.text());
    assert_eq!((incoming.patient, incoming.schedule.codes), (None, Some(Vec::new())));
    assert_eq!(incoming.schedule.room.as_ref().map(|room| room.as_str()), Some("3"));
    assert!(incoming.faults.is_empty(), "{:?}", incoming.faults);
    let without = told("S12").text().replace("SCH||A-1|", "SCH|\"\"^NS|A-1|");
    let incoming = read(&ward, &without);
    assert_eq!((incoming.schedule.placer, incoming.schedule.filler.is_some()), (None, true));
}

#[test]
fn a_patient_is_not_known_by_the_beginning_of_a_number() {
    let ward = ward();
    let long = told("S12").with(|it| it.patient = format!("{}^^^NORTH^MR", "7".repeat(201)));
    let (why, answered) = asked(&ward, &long);
    assert!(why.contains("longer than 200 characters") && answered == Answered::Error, "{why}");
    assert_eq!(read(&ward, &long.text()).patient, None);
    let fits = told("S12").with(|it| it.patient = format!("{}^^^NORTH^MR", "7".repeat(200)));
    assert!(matches!(next(&ward, &fits), Next::Give(_)));
}

/// Whoever plans it by hand needs to know for when it was told.
#[test]
fn the_start_is_told_whatever_else_is_wrong() {
    let ward = ward();
    let start = |it: &super::Told| read(&ward, &it.text()).schedule.start.map(|start| start.to_string());
    let at = Some("2026-03-03T09:00:00Z".to_string());
    for (what, it) in [
        ("a length in words", told("S12").with(|it| it.minutes = "one".into())),
        ("a length of days", told("S12").with(|it| it.minutes = "3000".into())),
        ("an end before it", told("S12").with(|it| it.end = "20260303090000".into())),
        ("an end that is none", told("S12").with(|it| it.end = "later".into())),
    ] {
        let incoming = read(&ward, &it.text());
        assert!(!incoming.faults.is_empty(), "{what}");
        assert_eq!(start(&it), at, "{what}");
        assert!(matches!(
            schedule_next::next(&ward.paper.state, &incoming, None, ward.now),
            Next::Ask { .. }
        ));
    }
    for it in [
        told("S12").with(|it| it.more = "TQ1|1||||||20260303110000\r".into()),
        told("S12").with(|it| (it.start, it.minutes) = ("202610250230".into(), "one".into())),
    ] {
        assert_eq!(start(&it), None, "told in two ways, or twice");
    }
}

/// A feed that sends a day of wrong messages is settled in one act.
#[test]
fn several_lines_are_settled_at_once() {
    let mut ward = ward();
    for n in 1..=4 {
        let schedule = json!({"sender": "THEATRE NORTH", "filler": format!("A-{n}")});
        let kept = json!({"do": "keep_schedule_message", "schedule": schedule, "why": ["Its start is no time."],
                          "answered": "AE", "message": "MSH|"});
        ward.done(Charge, kept);
    }
    let settle = |fields: serde_json::Value| {
        let mut all = json!({"do": "settle_schedule_message", "outcome": "not_ours"});
        all.as_object_mut().expect("an object").extend(fields.as_object().expect("fields").clone());
        all
    };
    for (wrong, pointer) in [
        (json!({}), "/line"),
        (json!({"line": "line-00001", "lines": ["line-00002"]}), "/lines"),
        (json!({"lines": ["line-00001"], "outcome": "entered_by_hand", "case": "A-1"}), "/case"),
        (json!({"lines": vec!["line-00001"; 501]}), "/lines"),
    ] {
        let read = Command::read(settle(wrong.clone())).expect_err("it is refused");
        assert!(format!("{read:?}").contains(&format!("{pointer:?}")), "{wrong}: {read:?}");
    }
    ward.done(Charge, settle(json!({"line": "line-00002"})));
    // What was settled meanwhile stays as it is; one that stands twice counts once.
    let several =
        json!({"lines": ["line-00002", "line-00001", "line-00003", "line-00001"], "outcome": "sender_told"});
    let event = ward.done(Charge, settle(several)).to_value().expect("an event");
    assert_eq!(event["also"], json!(["line-00003"]), "{event}");
    let outcome = |n: u32| {
        let line = &ward.paper.state.schedule_lines[format!("line-0000{n}").as_str()];
        line.settled.as_ref().map(|settled| settled.outcome.name())
    };
    let all: Vec<_> = (1..=4).map(outcome).collect();
    assert_eq!(all, [Some("sender_told"), Some("not_ours"), Some("sender_told"), None]);
    ward.refused(Charge, settle(json!({"lines": ["line-00001", "line-00002"]})), "already_done");
    ward.refused(Charge, settle(json!({"lines": ["line-00004", "line-00009"]})), "unknown_thing");
    let event = ward.done(Charge, settle(json!({"lines": ["line-00004"]}))).to_value().expect("an event");
    assert_eq!(
        (&event["line"], event.get("also")),
        (&json!("line-00004"), None),
        "as an old entry is written"
    );
}
