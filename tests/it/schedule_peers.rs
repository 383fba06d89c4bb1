//! Peers of the schedule's door that send garbage, hang, leave or are many.

use std::time::Duration;

use fettle::domain::person::Role::Charge;
use fettle::formats::hl7::frame::framed;
use fettle::web::mllp::{self, Limits};
use serde_json::json;
use tokio::io::AsyncWriteExt;

use super::page::{act, open, person};
use super::schedule::{Told, told};
use super::schedule_served::{Peer, QUICK, case, letters, opened, seq, shut};
use super::served::{BOTH, Kind};

#[tokio::test(flavor = "multi_thread")]
async fn garbage_many_frames_and_large_ones_are_answered_each() {
    for kind in BOTH {
        let (served, door) = opened(kind).await;
        let mut peer = Peer::to(door.address).await;
        let one =
            |n: u32| told("S12").with(|it| (it.filler, it.control) = (format!("A-{n}"), format!("M-{n}")));
        // Several frames in one write, garbage between them, one that never ended, line feeds for line ends.
        let bytes = [
            b"\r\nnoise".as_slice(),
            &framed(&one(1).text()),
            b"garbage\r\n",
            b"\x0bMSH|^~\\&|A|B never ends",
            &framed(&one(2).text().replace('\r', "\r\n")),
            &framed(&one(3).text().replace('\r', "\n")),
        ];
        peer.send(&bytes.concat()).await;
        for n in 1..=3 {
            let (letters, id, _) = letters(&peer.answer().await.expect("an answer"));
            assert_eq!((letters, id), ("AA".to_string(), format!("M-{n}")));
        }
        // Two messages in one frame: neither is taken for the other.
        let (first, id, words) = peer.ask(&(one(4).text() + &one(5).text())).await;
        assert_eq!((first.as_str(), id.as_str()), ("AE", "M-4"));
        assert!(words.contains("More than one message"), "{words}");
        // Byte by byte, and one that is too large: the connection goes on.
        for byte in framed(&one(6).text()) {
            peer.send(&[byte]).await;
        }
        assert_eq!(letters(&peer.answer().await.expect("an answer")).1, "M-6");
        let large = one(7).with(|it| it.more = format!("NTE|1||{}\r", "x".repeat(300_000)));
        let (first, id, words) = peer.ask(&large.text()).await;
        assert_eq!((first.as_str(), id.as_str()), ("AR", "M-7"));
        assert!(words.contains("256 KiB"), "{words}");
        assert_eq!(peer.ask(&one(8).text()).await.0, "AA");
        let (_, cases) = served.get("cases").await;
        let names: Vec<&str> =
            cases["items"].as_array().into_iter().flatten().filter_map(|it| it["case"].as_str()).collect();
        assert_eq!(names, ["A-1", "A-2", "A-3", "A-6", "A-8"]);
        shut(served, door).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn peers_that_hang_or_leave_hold_nobody_up() {
    let (served, door) = opened(Kind::Embedded).await;
    let address = door.address;
    let good = told("S12").text();
    // No end, slower than the time that a frame has, garbage without end, no message at all: the connection ends.
    let mut endless = Peer::to(address).await;
    endless.send(&framed(&good)[..200]).await;
    let mut slow = Peer::to(address).await;
    let dripping = async {
        for byte in framed(&good) {
            if slow.0.write_all(&[byte]).await.is_err() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        slow.answer().await
    };
    let mut noisy = Peer::to(address).await;
    let noise = async {
        // It may be cut off while it sends.
        let _ = noisy.0.write_all(&vec![b'x'; 1_000_000]).await;
        noisy.answer().await
    };
    let mut no_message = Peer::to(address).await;
    no_message.send(&framed("PID|1\r")).await;
    let (a, b, c, d) = tokio::join!(endless.answer(), dripping, noise, no_message.answer());
    assert_eq!((a, b, c, d), (None, None, None, None));
    assert!(!served.get("cases").await.1.to_string().contains("A-1"), "none of it was taken");
    // Somebody leaves before the answer: what was sent stands, and the resend changes nothing.
    let mut gone = Peer::to(address).await;
    gone.send(&framed(&good)).await;
    drop(gone);
    for _ in 0..200 {
        if served.get("cases/A-1").await.0 == 200 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let before = seq(&served).await;
    let mut again = Peer::to(address).await;
    assert_eq!(again.ask(&good).await.0, "AA");
    assert_eq!(seq(&served).await, before);
    shut(served, door).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_connections_are_served_at_once() {
    for kind in BOTH {
        let (served, door) = opened(kind).await;
        let mut open = Vec::new();
        for _ in 0..200 {
            open.push(Peer::to(door.address).await);
        }
        let begun = seq(&served).await;
        let asked = open.into_iter().enumerate().map(|(n, mut peer)| async move {
            let one = |filler: String| -> Told {
                told("S12").with(|it| (it.filler, it.control) = (filler, format!("M-{n}")))
            };
            // Each its own appointment, and all of them the same one.
            let own = peer.ask(&one(format!("B-{n}")).text()).await.0;
            let same = peer.ask(&told("S12").text()).await.0;
            (peer, own, same)
        });
        let heard = futures_util::future::join_all(asked).await;
        assert!(heard.iter().all(|(_, own, same)| own == "AA" && same == "AA"));
        assert_eq!(seq(&served).await, begun + 201, "200 cases of their own, and one that all of them told");
        // Past the limit a newcomer is turned away at once, and those who are there go on.
        let mut peers: Vec<Peer> = heard.into_iter().map(|(peer, ..)| peer).collect();
        let mut more = Vec::new();
        for _ in 0..25 {
            more.push(Peer::to(door.address).await);
        }
        tokio::time::sleep(Duration::from_millis(300)).await;
        let last = more.last_mut().expect("a peer");
        // The connection may be reset while it is written to.
        let _ = last.0.write_all(&framed(&told("S12").text())).await;
        assert_eq!(last.answer().await, None);
        assert_eq!(peers[0].ask(&told("S12").text()).await.0, "AA");
        shut(served, door).await;
    }
}

/// A letter that is read wrongly is another code, or another patient.
#[tokio::test(flavor = "multi_thread")]
async fn a_character_set_that_is_not_read_here_is_not_guessed() {
    let (served, door) = opened(Kind::Embedded).await;
    let mut peer = Peer::to(door.address).await;
    let one = |n: u32, set: &str, code: &[u8]| {
        let text =
            told("S12").with(|it| (it.filler, it.control) = (format!("A-{n}"), format!("M-{n}"))).text();
        let text = text.replacen("|P|2.5\r", &format!("|P|2.5||||||{set}\r"), 1);
        let (before, after) = text.split_once("BRONCH^").expect("a code");
        [b"\x0b", before.as_bytes(), code, b"^", after.as_bytes(), b"\x1c\r"].concat()
    };
    for (n, set, code, first) in [
        (1, "GB 18030-2000", b"\xb2\xe9".as_slice(), "AE"),
        (2, "ISO IR87", "\u{fc}".as_bytes(), "AE"),
        (3, "ISO IR87", b"PLAIN", "AA"),
        (4, "8859/1", b"\xfc", "AA"),
        (5, "UNICODE UTF-8", "\u{fc}".as_bytes(), "AA"),
        (6, "", b"\xfc", "AA"),
    ] {
        peer.send(&one(n, set, code)).await;
        let (letters, _, words) = letters(&peer.answer().await.expect("an answer"));
        assert_eq!(letters, first, "{set}: {words}");
        assert_eq!(words.contains("MSH-18"), first == "AE", "{words}");
    }
    for n in 3..=6 {
        assert_eq!(served.get(&format!("cases/A-{n}")).await.0, 200);
    }
    let (_, lines) = served.get("schedule-lines").await;
    assert_eq!(lines["items"].as_array().map(Vec::len), Some(2), "{lines}");
    assert_eq!(lines["items"][0]["schedule"].get("codes"), None, "{lines}");
    shut(served, door).await;
}

/// From a line of the list to a case that later messages find, on the page alone.
#[tokio::test(flavor = "multi_thread")]
async fn a_case_is_planned_by_hand_from_its_line() {
    let (served, door) = opened(Kind::Embedded).await;
    let mut peer = Peer::to(door.address).await;
    let odd = told("S12").with(|it| (it.minutes, it.filler) = ("1.25".into(), "A 7".into()));
    assert_eq!(peer.ask(&odd.text()).await.0, "AE");
    let client = person(&served, Charge).await;
    let (_, _, page) = open(&client, &served, "/schedule").await;
    for words in [
        "What to do.</b> Ask whoever keeps the schedule to put it right and send it anew",
        "Plan the case of line-00001 by hand",
        "value=\"A-7\"",
        "type=\"datetime-local\" value=\"2026-03-03T10:00\"",
        "value=\"OR 3\"",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let fields = [
        ("do", "plan_case"),
        ("back", "/schedule"),
        ("case", "A-7"),
        ("start:local", "2026-03-03T10:00"),
        ("minutes:int", "75"),
        ("room", "OR 3"),
        ("needs:each", "adult"),
    ];
    let (status, _, page) = act(&client, &served, &fields).await;
    assert!(status == 200 && page.contains("<option>A-7</option>"), "{page}");
    let fields = [
        ("do", "settle_schedule_message"),
        ("back", "/schedule"),
        ("line", "line-00001"),
        ("outcome", "entered_by_hand"),
        ("case", "A-7"),
    ];
    let (status, _, page) = act(&client, &served, &fields).await;
    assert!(status == 200 && page.contains("Nothing of the schedule waits"), "{page}");
    let cancelled = told("S15").with(|it| (it.control, it.filler) = ("M-2".into(), "A 7".into()));
    assert_eq!(peer.ask(&cancelled.text()).await.0, "AA");
    assert_eq!(case(&served, "A-7").await["status"], "cancelled");
    // Put right and sent anew: the lines say so, and are settled together.
    for n in [8, 9] {
        let wrong = told("S12").with(|it| (it.minutes, it.filler) = ("1.25".into(), format!("A-{n}")));
        assert_eq!(peer.ask(&wrong.text()).await.0, "AE");
        let right = told("S12").with(|it| (it.control, it.filler) = (format!("M-{n}"), format!("A-{n}")));
        assert_eq!(peer.ask(&right.text()).await.0, "AA");
    }
    let (_, _, page) = open(&client, &served, "/schedule").await;
    assert_eq!(
        page.matches("What to do.</b> A later message of the schedule has made the case").count(),
        2,
        "{page}"
    );
    assert!(page.contains("<a href=\"/cases/A-8\">A-8</a>") && !page.contains("Plan the case of"), "{page}");
    let mut fields = vec![
        ("do", "settle_schedule_message"),
        ("back", "/schedule"),
        ("lines:each", "line-00002"),
        ("lines:each", "line-00003"),
    ];
    let (status, _, page) = act(&client, &served, &fields).await;
    assert!(status == 422 && page.contains("is empty"), "what lacks is named: {page}");
    fields.push(("outcome", "overtaken"));
    let (status, _, page) = act(&client, &served, &fields).await;
    assert!(status == 200 && page.contains("Nothing of the schedule waits"), "{page}");
    assert_eq!(page.matches("overtaken by what came later").count(), 2, "{page}");
    shut(served, door).await;
}

/// Some senders open a connection for each message and forget the one before.
#[tokio::test(flavor = "multi_thread")]
async fn a_sender_that_forgets_its_connections_is_heard_all_the_same() {
    let (served, door) = opened(Kind::Embedded).await;
    let limits = Limits { connections: 3, crowded: Duration::from_millis(400), ..QUICK };
    let site = fettle::domain::id::Id::new(&served.site);
    let small = mllp::listen("127.0.0.1:0", served.house.clone(), site, limits).await.expect("a door");
    let one =
        |n: usize| told("S12").with(|it| (it.filler, it.control) = (format!("A-{n}"), format!("M-{n}")));
    let mut open = Vec::new();
    for n in 0..3 {
        let mut peer = Peer::to(small.address).await;
        assert_eq!(peer.ask(&one(n).text()).await.0, "AA");
        open.push(peer);
    }
    // While all of them were heard a moment ago, a newcomer is turned away.
    let mut early = Peer::to(small.address).await;
    let _ = early.0.write_all(&framed(&one(9).text())).await;
    assert_eq!(early.answer().await, None);
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert_eq!(open[0].ask(&one(0).text()).await.0, "AA");
    let mut late = Peer::to(small.address).await;
    assert_eq!(late.ask(&one(3).text()).await.0, "AA", "it took the place of one that was quiet");
    // Whoever was quiet longest went, and who was heard since is there.
    assert_eq!(open[1].answer().await, None);
    assert_eq!(open[0].ask(&one(4).text()).await.0, "AA");
    small.close().await;
    shut(served, door).await;
}

/// Some schedules send everything again each night: a person is asked once.
#[tokio::test(flavor = "multi_thread")]
async fn what_waits_already_is_not_asked_again() {
    for kind in BOTH {
        let (served, door) = opened(kind).await;
        let mut peer = Peer::to(door.address).await;
        let night = |n: u32, patient: &str| {
            let odd = told("S12").with(|it| {
                (it.minutes, it.control) = ("1.25".into(), format!("M-{n}"));
                it.sent = format!("2026030208{n:02}00+0100");
                it.patient = format!("{patient}^^^NORTH^MR");
            });
            odd.text()
        };
        let (_, _, words) = peer.ask(&night(1, "PAT-1")).await;
        assert!(words.contains("line-00001"), "{words}");
        let before = seq(&served).await;
        let again = peer.ask(&night(2, "PAT-1")).await;
        assert_eq!(again, ("AE".into(), "M-2".into(), words.clone()), "answered as before");
        assert_eq!(seq(&served).await, before, "and nothing is written");
        assert!(peer.ask(&night(3, "PAT-2")).await.2.contains("line-00002"), "it names another patient");
        let settle = |line: &str, outcome: &str| json!({"do": "settle_schedule_message", "line": line, "outcome": outcome});
        served.done(Charge, settle("line-00001", "not_ours")).await;
        served.done(Charge, settle("line-00002", "sender_told")).await;
        assert_eq!(peer.ask(&night(4, "PAT-1")).await.2, words, "what is not ours stays so");
        assert!(peer.ask(&night(5, "PAT-2")).await.2.contains("line-00003"), "it was not put right");
        shut(served, door).await;
    }
}
