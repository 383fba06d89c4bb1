//! Scheduling messages.

use fettle::formats::hl7::schedule::{Refused, schedule};
use fettle::formats::hl7::{self, Acknowledged, NoMessage};
use serde_json::{Value, json};

use super::answer;

/// The fields as another library reads them (see SOURCES.md).
#[test]
fn messages_are_read_as_another_library_reads_them() {
    let specimens: Value = serde_json::from_str(include_str!("../../specimens/hl7_schedule.json")).unwrap();
    let messages = specimens["messages"].as_array().unwrap();
    assert_eq!(messages.len(), 5);
    for message in messages {
        let text = message["message"].as_str().unwrap();
        assert_eq!(serde_json::to_value(schedule(text).unwrap()).unwrap(), message["expect"], "{text}");
        // Framed, and with line feeds as many feeds send them, it says the same.
        let framed = format!("\u{b}{}\u{1c}\r", text.replace('\r', "\r\n"));
        assert_eq!(answer(&["schedule"], framed.as_bytes()), message["expect"], "{text}");
    }
}

const HEADER: &str = "MSH|^~\\&|A|B|C|D|20260101||";

#[test]
fn what_is_no_appointment_is_refused_with_the_letters_that_fit() {
    for (message, code, ack) in [
        ("PID|1\r".to_owned(), "no_message", Value::Null),
        ("MSH|^^\\&|A\r".to_owned(), "no_message", Value::Null),
        (format!("{HEADER}ADT^A01|1|P|2.5\rPID|1||9\r"), "unsupported_message_type", "AR".into()),
        (format!("{HEADER}SIU^S23|1|P|2.5\rSCH|1\r"), "unsupported_event", "AR".into()),
        (format!("{HEADER}SIU^S12|5|P|2.5\rPID|1||9\r"), "segment_sequence_error", "AE".into()),
        (format!("{HEADER}SIU^S12|5|P|2.5\rSCH|1\rSCH|2\r"), "segment_sequence_error", "AE".into()),
        (format!("{HEADER}SIU^S12|6|P|9.9\rSCH|1\r"), "unsupported_version", "AR".into()),
        (format!("{HEADER}SIU^S12|6|T|2.5\rSCH|1\r"), "unsupported_processing_id", "AR".into()),
        (format!("{HEADER}SIU^S12||P|2.5\rSCH|1\r"), "required_field_missing", "AE".into()),
        (format!("{HEADER}SIU^S12|7|P|2.5\rSCH||||||BOOK\r"), "required_field_missing", "AE".into()),
    ] {
        let said = answer(&["schedule"], message.as_bytes());
        assert_eq!((&said["refused"]["code"], &said["refused"]["ack"]), (&json!(code), &ack), "{message}");
        assert!(said["refused"]["why"].as_str().is_some_and(|why| why.ends_with('.')), "{message}");
    }
}

/// The answer names what it answers, changes sender and receiver, and is a message itself.
#[test]
fn an_acknowledgement_names_what_it_answers() {
    let text = "MSH#*~\\&#SCHED#GENERAL#ASSET#WEST|1#2026##SIU*S12#M-1#P#2.4\rSCH#1\r";
    let message = hl7::read(text).unwrap();
    assert_eq!(message.header().map(|header| header.field(1)), Some("#"));
    let stored = hl7::acknowledge(&message, Acknowledged::Stored, "K1", "20260302071500+0000");
    assert_eq!(
        stored,
        "MSH|^~\\&|ASSET|WEST\\F\\1|SCHED|GENERAL|20260302071500+0000||ACK^S12^ACK|K1|P|2.4\rMSA|AA|M-1\r"
    );
    let refused = Acknowledged::Refused { letters: "AE", number: 102, why: "The start is no time.|" };
    let refused = hl7::acknowledge(&message, refused, "K2", "2026");
    let read = hl7::read(&refused).unwrap();
    assert_eq!(read.segment("MSA").map(|it| (it.field(1), it.field(2))), Some(("AE", "M-1")));
    let error = read.segment("ERR").unwrap();
    assert_eq!(error.field(3), "102^^HL70357");
    assert_eq!(read.unescaped(error.field(8)), "The start is no time.|");
}

#[test]
fn escapes_and_character_sets_are_read() {
    let message = hl7::read("MSH|^~\\&|A\r").unwrap();
    for (value, shown) in [
        ("plain", "plain"),
        ("5\\T\\6\\F\\7\\S\\8\\R\\9\\E\\", "5&6|7^8~9\\"),
        ("\\XC3A5\\re\\.br\\x\\H\\bold\\N\\", "åre\nxbold"),
        ("a\\b", "a\\b"),
        ("\\XC\\a", "a"),
    ] {
        assert_eq!(message.unescaped(value), shown, "{value}");
    }
    let latin = |set: &str| {
        [b"MSH|^~\\&|A|B|C|D|1||SIU^S12|1|P|2.3||||||".as_slice(), set.as_bytes(), b"\rSCH|\xc5\r"].concat()
    };
    for (set, shown) in [("8859/1", 'Å'), ("", 'Å'), ("8859/5", 'Х'), ("UNICODE UTF-8", '\u{fffd}')] {
        assert!(hl7::text(&latin(set)).contains(shown), "{set}");
    }
    assert_eq!(schedule(&"x".repeat(hl7::LONGEST + 1)).unwrap_err(), Refused::NoMessage(NoMessage::TooLong));
}
