//! Times of messages: with and without an offset, and the hours in which clocks change. The rule of the zone is that of
//! the zone database: in Berlin clocks go from 2 to 3 on 29 March 2026, and from 3 to 2 on 25 October 2026.

use fettle::formats::hl7::moment::{minutes, moment};

use super::{Told, asked, next, read, taken, told, ward};
use fettle::domain::schedule_next::Next;

fn at(start: &str, end: &str, length: &str) -> Told {
    told("S12").with(|it| (it.start, it.end, it.minutes) = (start.into(), end.into(), length.into()))
}

#[test]
fn a_time_without_an_offset_is_the_site_s() {
    for (start, utc) in [
        ("202603031000", "2026-03-03T09:00:00Z"),
        ("20260303100000.5", "2026-03-03T09:00:00Z"),
        ("20260303100000+0000", "2026-03-03T10:00:00Z"),
        ("202603031000-0500", "2026-03-03T15:00:00Z"),
        ("202607011000", "2026-07-01T08:00:00Z"),
        // An offset of its own stands, whatever the zone has then.
        ("202607011000+0100", "2026-07-01T09:00:00Z"),
        ("202603290130", "2026-03-29T00:30:00Z"),
        ("202603290300", "2026-03-29T01:00:00Z"),
    ] {
        let mut ward = ward();
        taken(&mut ward, &at(start, "", "60"));
        assert_eq!(ward.paper.state.cases["A-1"].start.to_string(), utc, "{start}");
    }
}

#[test]
fn hours_that_do_not_exist_or_come_twice_are_asked_about() {
    let ward = ward();
    for (told, words) in [
        (at("202603290230", "", "60"), "clocks go forward"),
        (at("202610250230", "", "60"), "its hour comes twice"),
        (at("202610250200", "202610250300", ""), "its hour comes twice"),
    ] {
        let (why, _) = asked(&ward, &told);
        assert!(why.contains(words), "{told:?}: {why}");
    }
    // Where the end and the length say which of them is meant, it is taken.
    for (start, end, length, utc, minutes) in [
        ("202610250230", "202610250330", "60", "2026-10-25T01:30:00Z", 60),
        ("202610250230", "202610250330", "120", "2026-10-25T00:30:00Z", 120),
        ("202610250130", "202610250330", "", "2026-10-24T23:30:00Z", 180),
    ] {
        let mut ward = super::ward();
        taken(&mut ward, &at(start, end, length));
        let case = &ward.paper.state.cases["A-1"];
        assert_eq!((case.start.to_string().as_str(), case.minutes), (utc, minutes), "{start} {end} {length}");
    }
    // By the wall it is two hours, by the clock three: which is meant is not known.
    assert!(asked(&ward, &at("202610250130", "202610250330", "120")).0.contains("it is 180"));
}

/// Nothing that was sent in the hour that comes twice is taken as stale by it.
#[test]
fn the_hour_that_comes_twice_makes_no_message_stale() {
    let mut ward = ward();
    ward.at("2026-10-24T12:00:00+02:00");
    let sent = |sent: &str, room: &str| {
        let room = room.to_string();
        at("202610261000", "", "60").with(|it| (it.sent, it.room) = (sent.into(), room))
    };
    taken(&mut ward, &sent("20261025023000", "OR^1"));
    taken(&mut ward, &sent("20261025021000", "OR^2"));
    assert!(matches!(next(&ward, &sent("20261025015900", "OR^3")), Next::Nothing(_)));
    // A sender that tells the day alone may have sent it at any hour of it.
    taken(&mut ward, &sent("20261025", "OR^4"));
}

#[test]
fn moments_and_lengths_are_read_to_the_letter() {
    for text in [
        "",
        "2026",
        "202603",
        "2026030",
        "20260303100",
        "202603032500",
        "20260303100000.",
        "20260303100000.x",
        "202603031000+1",
        "202603031000+9900",
        "２０２６0303",
        "20260303100000Z",
        "-0303031000",
        "99999999",
    ] {
        assert_eq!(moment(text), None, "{text}");
    }
    for (value, unit, found) in [
        ("60", "min", Some(60)),
        ("60", "", Some(60)),
        ("1", "h", Some(60)),
        ("5400", "s", Some(90)),
        ("1.5", "HR", Some(90)),
        ("0", "min", None),
        ("61", "s", None),
        ("60", "furlong", None),
        ("-5", "min", None),
        ("1e9", "min", None),
        ("9999999999", "min", None),
        (".", "min", None),
    ] {
        assert_eq!(minutes(value, unit), found, "{value} {unit}");
    }
    let it = read(&ward(), &told("S14").with(|it| it.sent = "nonsense".into()).text());
    assert!(it.schedule.sent.is_none() && it.faults.is_empty(), "{:?}", it.faults);
}
